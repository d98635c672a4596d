"""Windows: to the picture and back, turned by quarters, and what a face says of itself."""

from dataclasses import replace

import numpy as np
import pytest

from posture.face.seen import LEAST_WINDOW_PX, WINDOW_FACES, WINDOW_PX, Window
from tests.face.pictures import made_face, moved, room
from tests.proof.material import frame_of

QUARTERS = (0, 1, 2, 3)
WINDOWS = [Window(10.0, 20.0, 100.0, 100), Window(-35.5, 12.25, 301.7, 128), Window(7.0, -50.0, 60.0, WINDOW_PX)]


def turned_points(points: np.ndarray, side_px: int, quarters: int) -> np.ndarray:
    """Where points of a square picture lie once it is turned counter-clockwise."""
    for _ in range(quarters):
        points = np.stack([points[:, 1], side_px - 1 - points[:, 0]], 1)
    return points


@pytest.mark.parametrize("quarters", QUARTERS)
@pytest.mark.parametrize("window", WINDOWS, ids=["copy", "smaller", "larger"])
def test_to_the_picture_and_back(window: Window, quarters: int) -> None:
    window = replace(window, quarter_turns=quarters)
    points = np.random.default_rng(quarters).uniform(-50, 450, (40, 2))
    assert window.from_picture(window.to_picture(points)) == pytest.approx(points, abs=1e-9)
    assert window.to_picture(window.from_picture(points)) == pytest.approx(points, abs=1e-9)


@pytest.mark.parametrize("quarters", QUARTERS)
def test_depth_only_changes_its_scale(quarters: int) -> None:
    window = Window(5.0, 6.0, 200.0, 100, quarters)
    points = np.array([[10.0, 20.0, 7.0], [0.0, 99.0, -3.0]])
    assert window.to_picture(points)[:, 2].tolist() == [14.0, -6.0]
    assert window.to_picture(points)[:, :2] == pytest.approx(window.to_picture(points[:, :2]))


@pytest.mark.parametrize("quarters", QUARTERS)
def test_middle_of_the_window_is_its_middle_in_the_picture(quarters: int) -> None:
    window = Window(-3.25, 14.5, 77.0, 384, quarters)
    assert window.to_picture(np.array([[191.5, 191.5]]))[0] == pytest.approx(window.middle_px)


@pytest.mark.parametrize("quarters", QUARTERS)
def test_points_of_a_window_are_where_its_pixels_come_from(quarters: int) -> None:
    """A bright dot of the picture is where `from_picture` says."""
    picture = np.zeros((120, 160, 3), np.uint8)
    picture[71, 93] = 255
    window = Window(60.0, 30.0, 64.0, 64, quarters)
    shown = window.show(frame_of(picture))
    row, column = np.unravel_index(shown[..., 0].argmax(), shown.shape[:2])
    assert window.from_picture(np.array([[93.0, 71.0]]))[0] == pytest.approx([column, row])


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_turned_picture_gives_the_same_view_and_the_points_turned(quarters: int) -> None:
    picture = moved(room(240, 240), 0.4, -0.3)
    turned = np.ascontiguousarray(np.rot90(picture, quarters))
    upright = Window(57.0, 43.0, 88.0, WINDOW_PX)
    left, top = turned_points(upright.middle_px[None], 240, quarters)[0] - 88 / 2 + 0.5
    other = Window(float(left), float(top), 88.0, WINDOW_PX, 4 - quarters)
    assert np.abs(upright.show(frame_of(picture)).astype(int) - other.show(frame_of(turned))).max() <= 2
    points = np.random.default_rng(3).uniform(0, WINDOW_PX, (30, 2))
    assert other.to_picture(points) == pytest.approx(turned_points(upright.to_picture(points), 240, quarters), abs=1e-9)


@pytest.mark.parametrize(("turns", "kept"), [(0, 0), (3, 3), (4, 0), (-1, 3), (6, 2)])
def test_window_around_a_face(turns: int, kept: int) -> None:
    window = Window.around(np.array([50.0, 80.0]), 30.0, turns)
    assert window.side_px == pytest.approx(WINDOW_FACES * 30)
    assert window.quarter_turns == kept
    assert np.abs(window.middle_px - [50, 80]).max() <= 0.5


@pytest.mark.parametrize("size_px", [20.0, 60.0, 120.0, 600.0])
def test_window_is_as_large_as_the_landmarks_need(size_px: float) -> None:
    """A small face is enlarged, but not beyond use; a large one is shrunk to a usual size."""
    window = Window.around(np.zeros(2), size_px)
    assert LEAST_WINDOW_PX <= window.out_px <= WINDOW_PX
    assert Window.around(np.zeros(2), size_px, out_px=128).out_px == 128
    assert window.out_px >= Window.around(np.zeros(2), size_px / 2).out_px


@pytest.mark.parametrize("slope_deg", [0.0, 30.0, 90.0, -90.0, 179.0])
def test_face_says_where_it_is_and_how_it_slopes(slope_deg: float) -> None:
    face = made_face((200.0, 150.0), 90.0, slope_deg)
    assert face.centre_px == pytest.approx([200, 150])
    assert face.size_px == pytest.approx(90)
    assert face.slope_deg == pytest.approx(slope_deg, abs=0.5)


@pytest.mark.parametrize("slope_deg", [0.0, 90.0])
@pytest.mark.parametrize("size_px", [40.0, 200.0])
def test_nose_is_below_the_eyes_whatever_the_size(slope_deg: float, size_px: float) -> None:
    across, down = made_face((200.0, 150.0), size_px, slope_deg).nose_share
    upright = made_face((0.0, 0.0), 100.0).nose_share
    turned = (across, down) if slope_deg == 0 else (down, -across)
    assert turned == pytest.approx(upright, rel=0.05, abs=1e-6)
    assert upright[1] > 0.1
