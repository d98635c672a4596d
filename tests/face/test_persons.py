"""Who is who: stretches made up, joined by where a face went, how it moved, and what it looks like."""

from collections.abc import Callable

import numpy as np
import pytest

from posture.face.looks import Looks
from posture.face.persons import ALIKE, LEAST_S, Person, join_stretches
from posture.face.stretch import Stretch

RATE_HZ = 15.0
SIZE = 100.0

At = Callable[[float], tuple[float, float]]


def colours(unlike: float = 0.0) -> np.ndarray:
    """Looks at that distance from those of ``colours(0)``."""
    angle = 2 * np.arcsin(unlike / 2)
    made = np.zeros(48)
    made[0], made[1] = np.cos(angle), np.sin(angle)
    return made


def stretch(
    number: int,
    start_s: float,
    stop_s: float,
    at: At = lambda _: (300.0, 300.0),
    unlike: float = 0.0,
    met: tuple[bool, bool] = (False, False),
    size: float = SIZE,
    slope_deg: float = 0.0,
) -> Stretch:
    """A stretch of a face with these places and looks."""
    times = np.arange(round((stop_s - start_s) * RATE_HZ) + 1) / RATE_HZ + start_s
    made = Stretch(number, *met)
    for t in times:
        made.times_s.append(float(t))
        made.places.append(np.array([*at(float(t)), size, slope_deg, 0.0, 0.2]))
    made.looks = [Looks(float(t), colours(unlike), 1.0) for t in times[::6]]
    made.portrait = np.full((96, 96, 3), number, np.uint8)
    return made


def joined(*stretches: Stretch) -> list[list[int]]:
    """Numbers of the stretches of each person; who began at the same time may come in either order."""
    return sorted([s.number for s in person.stretches] for person in join_stretches(stretches, 60.0))


def moving(x_px: float, speed_px_s: float, at_s: float = 0.0) -> At:
    """Along a row of the picture."""
    return lambda t: (x_px + speed_px_s * (t - at_s), 300.0)


def test_nobody_and_one() -> None:
    assert join_stretches([], 60.0) == []
    assert join_stretches([Stretch(1)], 60.0) == []
    assert joined(stretch(1, 0, 3)) == [[1]]


@pytest.mark.parametrize("unlike", [0.0, ALIKE, 1.15 * ALIKE])
def test_face_goes_on_after_a_short_gap(unlike: float) -> None:
    """Looks that leave it open are settled by the place."""
    assert joined(stretch(1, 0, 3), stretch(2, 3.5, 6, unlike=unlike)) == [[1, 2]]


def test_moving_face_goes_on_where_it_was_going() -> None:
    before = stretch(1, 0, 3, moving(300, 100))
    goes_on, elsewhere = moving(300, 100), moving(-450, 100)
    assert joined(before, stretch(2, 3.6, 6, goes_on, ALIKE)) == [[1, 2]]
    assert joined(before, stretch(2, 3.6, 6, elsewhere, 1.1 * ALIKE)) == [[1], [2]]


@pytest.mark.parametrize(("speed_px_s", "persons"), [(400.0, 1), (-400.0, 2)])
def test_face_does_not_turn_round_at_full_speed(speed_px_s: float, persons: int) -> None:
    """It is where it was, but goes the other way."""
    before = stretch(1, 0, 1, moving(300, 400, 1.0))
    after = stretch(2, 1.2, 3, moving(300 if speed_px_s < 0 else 380, speed_px_s, 1.2), 1.1 * ALIKE)
    assert len(joined(before, after)) == persons


def test_wholly_unlike_face_in_the_same_place_is_somebody_else() -> None:
    assert joined(stretch(1, 0, 3), stretch(2, 3.5, 6, unlike=0.7)) == [[1], [2]]


@pytest.mark.parametrize("reverse", [False, True])
def test_those_who_cross_keep_their_ways(reverse: bool) -> None:
    """They look the same: only the way each went tells them apart."""
    right, left = moving(400, 150, 2.0), moving(400, -150, 2.0)
    parts = [
        stretch(1, 0, 1.8, right, met=(False, True)),
        stretch(2, 0, 1.8, left, met=(False, True)),
        stretch(3, 2.2, 5, left if reverse else right, met=(True, False)),
        stretch(4, 2.3, 5, right if reverse else left, met=(True, False)),
    ]
    assert joined(*parts) == ([[1, 4], [2, 3]] if reverse else [[1, 3], [2, 4]])


def test_those_who_turn_back_at_a_meeting_are_known_by_their_looks() -> None:
    parts = [
        stretch(1, 0, 1.8, moving(400, 150, 2.0), 0.0, (False, True)),
        stretch(2, 0, 1.8, moving(400, -150, 2.0), 0.6, (False, True)),
        stretch(3, 2.2, 5, moving(400, -150, 2.0), 0.0, (True, False)),
        stretch(4, 2.3, 5, moving(400, 150, 2.0), 0.6, (True, False)),
    ]
    assert joined(*parts) == [[1, 3], [2, 4]]


def test_two_at_once_are_never_one_person() -> None:
    assert joined(stretch(1, 0, 5), stretch(2, 4, 9)) == [[1], [2]]
    # Nor by way of a third.
    assert joined(stretch(1, 0, 3), stretch(2, 3.2, 6), stretch(3, 5.5, 9)) == [[1, 2], [3]]


@pytest.mark.parametrize(("unlike", "persons"), [(0.0, 1), (0.15, 1), (0.4, 2), (0.8, 2)])
def test_long_gap_is_bridged_by_looks(unlike: float, persons: int) -> None:
    parts = [stretch(1, 0, 5), stretch(2, 60, 70, lambda _: (900.0, 200.0), unlike)]
    assert len(joined(*parts)) == persons


def test_who_comes_back_is_the_one_most_alike() -> None:
    parts = [
        stretch(1, 0, 10, lambda _: (200.0, 300.0), 0.0),
        stretch(2, 0, 10, lambda _: (800.0, 300.0), 0.45),
        stretch(3, 30, 40, lambda _: (200.0, 300.0), 0.43),
        stretch(4, 31, 40, lambda _: (800.0, 300.0), 0.02),
    ]
    assert joined(*parts) == [[1, 4], [2, 3]]


@pytest.mark.parametrize("slope_deg", [179.0, -179.0])
def test_slope_of_a_hanging_face_does_not_tell_it_from_itself(slope_deg: float) -> None:
    assert joined(stretch(1, 0, 3, slope_deg=179.0), stretch(2, 3.3, 6, unlike=ALIKE, slope_deg=slope_deg)) == [[1, 2]]


@pytest.mark.parametrize("changed", [{"size": 2.2 * SIZE}, {"slope_deg": 90.0}], ids=["size", "slope"])
def test_face_of_another_size_or_slope_does_not_go_on(changed: dict[str, float]) -> None:
    assert joined(stretch(1, 0, 3), stretch(2, 3.2, 6, unlike=ALIKE, **changed)) == [[1], [2]]  # type: ignore[arg-type]


def test_short_sight_of_somebody_is_nobody() -> None:
    assert joined(stretch(1, 0, 10), stretch(2, 2, 2 + LEAST_S / 2, lambda _: (900.0, 300.0), 0.7)) == [[1]]


def test_photograph_of_a_moment_is_somebody() -> None:
    both = stretch(1, 0, 0), stretch(2, 0, 0, lambda _: (900.0, 300.0))
    assert len(join_stretches(both, 0.0)) == 2
    assert join_stretches(both, 60.0) == []


def test_persons_come_in_order_of_first_sight() -> None:
    far = lambda _: (900.0, 300.0)  # noqa: E731
    persons = join_stretches([stretch(1, 0, 4), stretch(2, 1, 9, far, 0.7), stretch(3, 4.2, 12)], 60.0)
    assert [[s.number for s in p.stretches] for p in persons] == [[1, 3], [2]]


def test_portrait_of_a_person_is_that_of_the_longest_stretch() -> None:
    person = Person((stretch(1, 0, 2), stretch(2, 3, 9), stretch(3, 10, 11)))
    assert person.portrait is not None
    assert person.portrait[0, 0, 0] == 2
    assert len(person.looks) == sum(len(s.looks) for s in person.stretches)
