"""Roll and pitch off drawn rooms, in a reduced version; the full list is ``python -m tests.proof.upright``."""

from dataclasses import replace

import numpy as np
import pytest

from posture.face.lines import straight_lines
from posture.geometry.angles import camera_matrix
from posture.geometry.plumb import Stand, stand_from_lines
from tests.proof import upright
from tests.proof.material import HEADS_MISSING, frame_of, heads_present
from tests.proof.upright import CAMERA, FOCAL_PX, Row, Wall, draw_room, make_case, show, summary_line, tilt_line

needs_heads = pytest.mark.skipif(not heads_present(), reason=HEADS_MISSING)

STAND = Stand(1.0, 2.0, 0.4, 1.2)


@needs_heads
@pytest.mark.parametrize(("backdrop", "seed"), [("plain", 3), ("furnished", 3), ("furnished", 8)])
def test_a_room_behind_a_person_gives_roll_and_pitch(backdrop: str, seed: int) -> None:
    row = upright.measure(backdrop, seed, turned=True)
    assert row.stand is not None
    assert abs(row.roll_error_deg) < 1.0
    assert abs(row.pitch_error_deg) < 3.0
    assert abs(row.tilt_error_deg) < abs(row.tilt_error_true_stand_deg) + 1.5


@pytest.mark.slow
@needs_heads
def test_accepted_rooms_are_right_and_say_how_sure_they_are() -> None:
    rows = [upright.measure(backdrop, 300 + k, turned=False) for backdrop in upright.BACKDROPS for k in range(4)]
    found = [row for row in rows if row.stand is not None]
    assert len(found) >= 0.5 * len(rows)
    roll, pitch = (np.array([getattr(row, name) for row in found]) for name in ("roll_error_deg", "pitch_error_deg"))
    assert np.abs(roll).mean() <= 1.0
    assert np.abs(roll).max() <= 2.5
    assert np.abs(pitch).mean() <= 3.0
    inside = [np.abs(row.roll_error_deg) <= 1.96 * row.stand.roll_sd_deg for row in found if row.stand is not None]
    assert np.mean(inside) >= 0.85


@pytest.mark.slow
@needs_heads
def test_a_swaying_camera_is_followed() -> None:
    stand, roll, pitch = upright.sway_clip("plain", 301, 2.5)
    assert stand is not None
    assert not stand.still
    assert np.abs(stand.roll_deg - roll).mean() < 0.6
    assert np.abs(stand.pitch_deg - pitch).mean() < 1.5
    assert np.ptp(roll) > 5


@needs_heads
@pytest.mark.parametrize("name", upright.NEGATIVE)
def test_what_says_nothing_is_refused(name: str) -> None:
    rgb = upright.NEGATIVE[name](np.random.default_rng(12))
    assert upright.look_at(rgb)[0] is None


@pytest.mark.parametrize("turned_deg", [-9.0, 6.0])
def test_a_photograph_turned_in_its_plane_changes_roll_by_as_much(turned_deg: float) -> None:
    brick = upright.load_photographs()["brick"]
    first, errors = upright.photograph_rolls(brick, [turned_deg])
    assert first is not None
    assert abs(errors[0]) < 0.5


def test_a_turned_photograph_has_no_border_and_one_size() -> None:
    rgb = np.full((300, 400, 3), 90, np.uint8)
    rgb[:, 395:] = 250
    sizes = {upright.turned_photograph(rgb, angle).shape for angle in (0.0, 14.0, -14.0)}
    assert len(sizes) == 1
    assert upright.turned_photograph(rgb, 14.0).max() == 90


@pytest.mark.parametrize(("roll", "pitch"), [(0.0, 0.0), (8.0, -12.0)])
def test_a_plumb_edge_is_drawn_where_the_camera_sees_it(roll: float, pitch: float) -> None:
    sheets: list[upright.Sheet] = []
    wall = Wall(sheets, (-1.5, 1.2, 2.5), (1, 0, 0), 3.0)
    wall.box(0, -2, 3.0, 6, (200.0, 200.0, 200.0))
    wall.box(1.0, -2, 0.7, 6, (60.0, 60.0, 60.0))
    picture = show(sheets, roll, pitch).astype(float)
    for x in (-0.5, 0.2):
        seen = camera_matrix(roll, pitch) @ [x, 0.1, 2.5]
        column, row = seen[:2] / seen[2] * FOCAL_PX + CAMERA.middle_px
        along = picture[round(row), round(column) - 8 : round(column) + 9, 0]
        # The edge lies where half of the step is done.
        bright = (along - 60).sum() / 140
        expected = 8.5 + (column - round(column))
        assert (bright if x < 0 else 17 - bright) == pytest.approx(expected, abs=0.6 + 8 * abs(np.tan(np.radians(roll))) * 0.1)


def test_rooms_differ_and_are_the_same_again() -> None:
    def drawn(seed: int, kind: str) -> np.ndarray:
        return show(draw_room(np.random.default_rng(seed), kind), 3.0, 5.0)

    assert (drawn(1, "furnished") == drawn(1, "furnished")).all()
    assert (drawn(1, "furnished") != drawn(2, "furnished")).any()
    lines = [len(straight_lines(frame_of(drawn(4, kind)), [])) for kind in ("bare", "cluttered")]
    assert lines[0] < lines[1]


@needs_heads
def test_a_case_stands_in_the_picture() -> None:
    case = make_case("furnished", 4, 10.0, turned=True)
    assert 15 <= abs(case.posture_deg[1]) <= 25
    seen = camera_matrix(0.0, 10.0) @ case.place_m
    column, row = seen[:2] / seen[2] * FOCAL_PX + CAMERA.middle_px
    assert 0 < column < 1280
    assert 200 < row < 720


def test_a_room_without_noise_is_read_nearly_exactly() -> None:
    room = draw_room(np.random.default_rng(8), "furnished")
    stand = stand_from_lines(straight_lines(frame_of(show(room, -7.0, 4.0)), []), CAMERA)
    assert stand is not None
    assert stand.roll_deg == pytest.approx(-7.0, abs=1.0)
    assert stand.pitch_deg == pytest.approx(4.0, abs=3.0)


def test_summary_counts_refusals_and_truths_inside() -> None:
    right, wrong = Row("bare", STAND, 0.1, -0.5, 0.0), Row("bare", STAND, -1.0, 5.0, 0.0)
    cells = summary_line("bare", [right, wrong, Row("bare", None)]).split()
    assert cells == ["bare", "3", "66.7", "0.55", "1.00", "0.40", "50.0", "2.75", "5.00", "1.20", "50.0"]
    assert "none accepted" in summary_line("bare", [Row("bare", None)])
    turned = replace(right, tilt_error_deg=-1.0, tilt_error_as_filmed_deg=7.0, tilt_error_true_stand_deg=0.5, turned=True)
    assert (
        tilt_line([turned, wrong]) == "tilt of 1 heads turned 15-25: by the scene 1.00, as filmed 7.00, by the true stand 0.50"
    )
    assert "none seen" in tilt_line([wrong])
