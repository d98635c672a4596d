"""Rendered people who turn and tilt the head to known ranges, on the whole way from a film to the reach."""

import pytest

from posture.signal.asked import BEYOND_DEG, Movement
from tests.proof.material import HEADS_MISSING, heads_present
from tests.proof.ranges import SEED, Row, film_movements, table

PLAN: list[tuple[Movement, float]] = [("turn right", 20.0), ("turn left", 60.0), ("tilt left", 35.0)]
MOST_ERROR_DEG = 5.0


@pytest.fixture(scope="module")
def rows(tmp_path_factory: pytest.TempPathFactory) -> list[Row]:
    if not heads_present():
        pytest.skip(HEADS_MISSING)
    return film_movements("child_a", SEED, tmp_path_factory.mktemp("films"), PLAN)


@pytest.mark.slow
def test_known_ranges_are_reached_and_lie_in_their_intervals(rows: list[Row]) -> None:
    assert [row.reach.reached is not None and row.is_inside for row in rows] == [True] * len(PLAN)
    for row in (rows[0], rows[2]):
        assert row.reach.reached is not None
        assert abs(row.reach.reached.value - row.truth_deg) < MOST_ERROR_DEG
        assert not row.reach.beyond_camera


@pytest.mark.slow
def test_a_turn_out_of_sight_is_at_least_so_far(rows: list[Row]) -> None:
    reach = rows[1].reach
    assert reach.beyond_camera
    assert reach.reached is not None
    assert reach.reached.value <= BEYOND_DEG


@pytest.mark.slow
def test_the_table_holds_every_range(rows: list[Row]) -> None:
    lines = table(rows).splitlines()
    assert len(lines) == 2 + len(PLAN)
    assert "| turn | 60 | 1 | 1 | 1 | | | | 1 of 1 |" in lines
