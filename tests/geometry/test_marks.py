"""The camera's stand from marked lines, against lines of invented rooms drawn by an unsteady hand."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from posture.errors import ConditionsError, PostureError
from posture.geometry.angles import camera_matrix
from posture.geometry.fit import Camera
from posture.geometry.marks import DRAWN_SD_SHARE, HEADING_SD_DEG, PITCH_PRIOR_SD_DEG, PLUMB_SD_DEG, stand_from_marks

CAMERA = Camera(1280, 720, 1000.0)
UPRIGHT = Camera(720, 1280, 1100.0)

N_DRAWS = 150

DOWN = np.array([0.0, 1.0, 0.0])


def seen(ends_m: np.ndarray, roll_deg: float, pitch_deg: float, camera: Camera = CAMERA) -> np.ndarray:
    """Where an edge of the level frame, (2, 3), is in the picture: x0, y0, x1, y1."""
    in_camera = ends_m @ camera_matrix(roll_deg, pitch_deg).T
    return (in_camera[:, :2] / in_camera[:, 2:] * camera.focal_px + camera.middle_px).ravel()


def plumb(x_m: float, roll_deg: float, pitch_deg: float, camera: Camera = CAMERA) -> np.ndarray:
    """An exactly drawn plumb edge, three metres away."""
    return seen(np.array([[x_m, -0.6, 3.0], [x_m, 0.7, 3.0]]), roll_deg, pitch_deg, camera)


def level(y_m: float, roll_deg: float, pitch_deg: float, heading_deg: float = 0.0) -> np.ndarray:
    """An exactly drawn level edge, three metres away and so far below the camera."""
    way = np.array([np.cos(np.radians(heading_deg)), 0.0, np.sin(np.radians(heading_deg))])
    return seen(np.array([0.0, y_m, 3.0]) + np.array([[-0.7], [0.7]]) * way, roll_deg, pitch_deg)


def drawn(rng: np.random.Generator, kind: str, roll_deg: float, pitch_deg: float, camera: Camera) -> np.ndarray:
    """An edge somewhere in a room, nearly plumb or level, as a hand draws it; the picture holds it and it is not short."""
    longer_px = max(camera.width_px, camera.height_px)
    while True:
        off = rng.normal(0, np.radians(PLUMB_SD_DEG), 2)
        heading = np.radians(rng.normal(0, HEADING_SD_DEG))
        way = np.array([off[0], 1, off[1]]) if kind == "plumb" else np.array([np.cos(heading), off[0], np.sin(heading)])
        middle = rng.uniform([-0.6, -0.5, 1], [0.6, 0.5, 1]) * rng.uniform(1.5, 4)
        ends = middle + np.array([[-0.5], [0.5]]) * rng.uniform(0.5, 2.2) * way
        if ((ends @ camera_matrix(roll_deg, pitch_deg).T)[:, 2] < 0.3).any():
            continue
        px = seen(ends, roll_deg, pitch_deg, camera) + rng.normal(0, DRAWN_SD_SHARE * longer_px, 4)
        inside = (px >= 0).all() and (px <= np.tile([camera.width_px, camera.height_px], 2)).all()
        if inside and np.hypot(px[2] - px[0], px[3] - px[1]) > 0.12 * longer_px:
            return px if rng.random() < 0.5 else px[[2, 3, 0, 1]]


@pytest.mark.parametrize(
    ("n_plumb", "n_level"),
    [
        pytest.param(1, 0, id="one-plumb"),
        pytest.param(2, 0, id="two-plumb"),
        pytest.param(2, 1, id="two-plumb-one-level"),
        pytest.param(1, 1, id="one-of-each"),
        pytest.param(0, 1, id="one-level"),
    ],
)
def test_the_truth_lies_within_what_is_said(n_plumb: int, n_level: int):
    rng = np.random.default_rng(5)
    misses, sds, refused = [], [], 0
    for number in range(N_DRAWS):
        camera = CAMERA if number % 2 else UPRIGHT
        roll, pitch = rng.normal(0, 8), rng.normal(0, PITCH_PRIOR_SD_DEG)
        lines = [
            [drawn(rng, kind, roll, pitch, camera) for _ in range(n)] for kind, n in (("plumb", n_plumb), ("level", n_level))
        ]
        try:
            stand = stand_from_marks(*lines, camera)
        except PostureError:
            refused += 1
            continue
        misses.append([stand.roll_deg - roll, stand.pitch_deg - pitch])
        sds.append([stand.roll_sd_deg, stand.pitch_sd_deg])
    in_sds = np.array(misses) / np.array(sds)
    inside = (np.abs(in_sds) <= 1.96).mean(0)
    assert refused <= 0.02 * N_DRAWS
    assert (inside >= 0.92).all(), inside
    # Not by saying little: the misses are as wide as what is said.
    assert (in_sds.std(0) > 0.75).all(), in_sds.std(0)


@pytest.mark.parametrize("roll_deg", [-30.0, -6.0, 0.0, 4.0, 25.0])
@pytest.mark.parametrize("pitch_deg", [-9.0, 0.0, 12.0])
def test_two_plumb_lines_give_roll_and_pitch(roll_deg: float, pitch_deg: float):
    stand = stand_from_marks([plumb(-1.2, roll_deg, pitch_deg), plumb(1.2, roll_deg, pitch_deg)], [], CAMERA)
    assert stand.roll_deg == pytest.approx(roll_deg, abs=0.3)
    assert stand.pitch_deg == pytest.approx(pitch_deg, abs=0.1 * abs(pitch_deg) + 0.1)
    assert stand.roll_sd_deg < 1.0
    assert stand.pitch_sd_deg < 2.5


def test_signs_are_those_of_the_conventions():
    # Turning the picture counter-clockwise carries the lower end of a plumb edge to the right.
    assert stand_from_marks([[640, 100, 700, 600]], [], CAMERA).roll_deg > 5
    # A level edge then rises to the right.
    assert stand_from_marks([], [[300, 380, 900, 320]], CAMERA).roll_deg > 5
    # Seen from above, plumb edges run together towards the floor.
    assert stand_from_marks([[200, 100, 260, 600], [1080, 100, 1020, 600]], [], CAMERA).pitch_deg > 5


def test_one_plumb_line_in_the_middle_says_the_roll_well_and_one_aside_carries_the_unknown_pitch():
    middle, aside = (stand_from_marks([plumb(x, 7.0, 0.0)], [], CAMERA) for x in (0.0, 1.3))
    assert middle.roll_deg == pytest.approx(7.0, abs=0.2)
    assert middle.roll_sd_deg < 1.2
    assert aside.roll_sd_deg > 2 * middle.roll_sd_deg
    assert middle.pitch_sd_deg == pytest.approx(PITCH_PRIOR_SD_DEG, rel=0.05)
    # An edge aside leans under a pitched camera; what is said has room for that.
    leaning = stand_from_marks([plumb(1.3, 0.0, 10.0)], [], CAMERA)
    assert abs(leaning.roll_deg) > 3
    assert abs(leaning.roll_deg) < 1.96 * leaning.roll_sd_deg


def test_a_level_edge_far_below_the_camera_says_less_than_one_at_its_height():
    at_height, below = (stand_from_marks([], [level(y, 5.0, 0.0)], CAMERA) for y in (0.0, 1.0))
    assert at_height.roll_deg == pytest.approx(5.0, abs=0.2)
    assert below.roll_sd_deg > 2 * at_height.roll_sd_deg
    # One that runs away from the camera leans without any roll: no more than is said.
    oblique = stand_from_marks([], [level(1.0, 0.0, 0.0, heading_deg=30.0)], CAMERA)
    assert abs(oblique.roll_deg) > 5
    assert abs(oblique.roll_deg) < 1.96 * oblique.roll_sd_deg


def test_more_lines_never_say_less():
    one = stand_from_marks([plumb(-1.0, 3.0, 5.0)], [], CAMERA)
    two = stand_from_marks([plumb(-1.0, 3.0, 5.0), plumb(1.1, 3.0, 5.0)], [], CAMERA)
    three = stand_from_marks([plumb(-1.0, 3.0, 5.0), plumb(1.1, 3.0, 5.0)], [level(0.3, 3.0, 5.0)], CAMERA)
    assert one.roll_sd_deg > two.roll_sd_deg >= three.roll_sd_deg
    # A level edge that does not lean hints at the horizon, which moves the pitch a little and so what is known of it.
    assert one.pitch_sd_deg > 2 * two.pitch_sd_deg
    assert three.pitch_sd_deg == pytest.approx(two.pitch_sd_deg, rel=0.1)


def test_a_mirrored_picture_mirrors_the_roll():
    line = plumb(0.7, 6.0, 4.0)
    flipped = line * [-1, 1, -1, 1] + [CAMERA.width_px - 1, 0, CAMERA.width_px - 1, 0]
    there, back = (stand_from_marks([px], [], CAMERA) for px in (line, flipped))
    assert back.roll_deg == pytest.approx(-there.roll_deg, abs=0.02)
    assert back.roll_sd_deg == pytest.approx(there.roll_sd_deg, rel=0.02)


def test_neither_the_order_of_ends_nor_the_size_of_the_picture_matters():
    line = plumb(0.5, 6.0, 4.0)
    first = stand_from_marks([line], [], CAMERA)
    assert stand_from_marks([line[[2, 3, 0, 1]]], [], CAMERA).roll_deg == pytest.approx(first.roll_deg, abs=1e-6)
    twice = Camera(2560, 1440, 2000.0)
    larger = stand_from_marks([(line + 0.5) * 2 - 0.5], [], twice)
    assert (larger.roll_deg, larger.roll_sd_deg) == pytest.approx((first.roll_deg, first.roll_sd_deg), abs=1e-6)


@pytest.mark.parametrize(
    ("plumb_px", "level_px", "words"),
    [
        pytest.param([], [], "at least one marked line; none came", id="none"),
        pytest.param([[1, 2, 3]], [], r"plumb lines as rows .* shape \(1, 3\)", id="three-numbers"),
        pytest.param([], [[0, 0, np.nan, 9]], "level lines as rows .* Give four numbers", id="gap"),
        pytest.param([[640, 300, 640, 400]], [], r"at least 10 % .* 8 % came\. Draw it along a longer edge", id="short"),
        pytest.param([[640, 300, 640, 300]], [], "0 % came", id="point"),
        pytest.param([[200, 360, 1000, 380]], [], "at most 60 degrees; .* by 8[0-9]", id="level-as-plumb"),
        pytest.param([[200, 360, 1000, 360]], [], "at most 60 degrees; .* by 8[0-9]", id="flat-as-plumb"),
        pytest.param([], [[640, 100, 640, 600]], "at most 60 degrees; .* by 8[0-9]", id="plumb-as-level"),
        pytest.param([[500, 100, 500, 600], [580, 100, 780, 600]], [], "agree on .*plumb line [0-9-]+, the plumb line 2", id="apart"),
        pytest.param([[200, 100, 200, 600], [1080, 100, 1080, 600]], [[340, 480, 940, 240]], "agree on .*level line 2", id="slope"),
    ],
)  # fmt: skip
def test_lines_that_cannot_be_used_are_refused(plumb_px: list, level_px: list, words: str):
    with pytest.raises(ConditionsError, match=words):
        stand_from_marks(plumb_px, level_px, CAMERA)


@pytest.mark.parametrize(
    "steep", [pytest.param(lambda: plumb(-1.2, 0, 30), id="one"), pytest.param(lambda: plumb(1.2, 0, 30), id="other")]
)
def test_a_camera_that_looks_far_down_is_no_contradiction(steep: Callable[[], np.ndarray]):
    stand = stand_from_marks([plumb(-1.0, 0, 30), steep()], [], CAMERA)
    assert abs(stand.roll_deg) < 12
