"""A real face, turned, mirrored or shrunk by known amounts, gives the same posture once that is taken out."""

import numpy as np
import pytest

from posture.geometry.angles import angle_between_deg
from posture.geometry.lens import DEFAULT_VIEW_SHARE
from tests.proof import photographs, readings, shrunk
from tests.proof.material import CLIPS_MISSING, clips_present

STEPS_DEG = (-45.0, -30.0, -15.0, 15.0, 30.0, 45.0)


@pytest.fixture(scope="module")
def changes(astronaut: np.ndarray) -> dict[float | str, photographs.Change]:
    return {change.what: change for change in photographs.compare(astronaut, STEPS_DEG)}


@pytest.mark.parametrize("step", STEPS_DEG)
def test_turned_photograph_is_a_camera_roll(changes: dict[float | str, photographs.Change], step: float) -> None:
    tilt, turn, chin = changes[step].difference_deg
    assert abs(tilt) <= 0.6
    assert abs(turn) <= 2
    assert abs(chin) <= 2


def test_mirrored_photograph_negates_tilt_and_turn(changes: dict[float | str, photographs.Change]) -> None:
    tilt, turn, chin = changes["mirrored"].difference_deg
    assert abs(tilt) <= 0.8
    assert abs(turn) <= 2
    assert abs(chin) <= 2


def test_turned_photograph_has_the_posture_turned_from_the_left(astronaut: np.ndarray) -> None:
    focal_px = DEFAULT_VIEW_SHARE * max(astronaut.shape[:2])
    before, after = (photographs.look(photographs.turned(astronaut, a), focal_px) for a in (0.0, 20.0))
    assert before is not None
    assert after is not None
    c, s = np.cos(np.radians(20.0)), np.sin(np.radians(20.0))
    expected = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ before.pose.rotation
    assert angle_between_deg(expected, after.pose.rotation) < 2.0
    # Turned the other way it would be 40 degrees off.
    assert angle_between_deg(expected.T @ before.pose.rotation, np.eye(3)) == pytest.approx(20.0, abs=0.01)


def test_turned_puts_the_top_of_the_picture_to_the_left() -> None:
    picture = np.zeros((101, 101, 3), np.uint8)
    picture[8:13, 48:53] = 255
    dot = photographs.turned(picture, 90.0)[..., 0]
    rows, columns = np.nonzero(dot > 128)
    middle = (dot.shape[0] - 1) / 2
    assert columns.mean() == pytest.approx(middle - 40, abs=0.6)
    assert rows.mean() == pytest.approx(middle, abs=0.6)


def test_library_matrix_has_the_same_signs(astronaut: np.ndarray) -> None:
    for angle in (-25.0, 25.0):
        pair = photographs.against_library(photographs.turned(astronaut, angle))
        assert pair is not None
        ours, theirs = pair
        assert ours[0] * theirs[0] > 0
        assert abs(ours[0] - theirs[0]) < 3
        assert np.abs(ours[1:] - theirs[1:]).max() < 12
    mirrored = photographs.against_library(np.ascontiguousarray(astronaut[:, ::-1]))
    upright = photographs.against_library(astronaut)
    assert mirrored is not None
    assert upright is not None
    # Each opinion on its own changes the side of turn, by as much.
    assert mirrored[0][1] - upright[0][1] == pytest.approx(mirrored[1][1] - upright[1][1], abs=3)


def test_shrunk_photograph_keeps_its_angles(astronaut: np.ndarray) -> None:
    changes = {change.what: change for change in shrunk.compare_shrunk(astronaut, (80.0, 45.0, 400.0))}
    # The face is lower than 400 px as it is.
    assert set(changes) == {"enlarged 80", "small 80", "enlarged 45", "small 45"}
    for what, most in (("enlarged 80", (0.5, 1.2, 1.5)), ("small 80", (0.5, 1.2, 1.5)), ("enlarged 45", (1.2, 2.5, 3.0))):
        assert changes[what].found, what
        assert (np.abs(changes[what].difference_deg) < most).all(), (what, changes[what].difference_deg)


def test_plain_reading_is_near_ours(astronaut: np.ndarray) -> None:
    """What ours is compared with is a reading, not a straw man: signs, axes and scale are the same."""
    focal_px = DEFAULT_VIEW_SHARE * max(astronaut.shape[:2])
    for picture in (astronaut, photographs.turned(astronaut, 20.0)):
        ours, plain = (read(picture, focal_px) for read in (readings.look, readings.look_plainly))
        assert ours is not None
        assert plain is not None
        difference = readings.angles(ours.pose.rotation, ours.pose.place_cm) - readings.angles(
            plain.pose.rotation, plain.pose.place_cm
        )
        assert np.abs(difference) == pytest.approx(0, abs=3)
        assert abs(difference[0]) < 1
        assert plain.pose.place_cm[2] == pytest.approx(ours.pose.place_cm[2], rel=0.1)


def test_shrunk_pictures_have_the_size_and_place_they_say() -> None:
    picture = np.zeros((120, 200, 3), np.uint8)
    picture[40:80, 60:140] = (200, 40, 40)
    small = shrunk.shrunk(picture, 0.25)
    assert small.shape == (30, 50, 3)
    assert small[15, 25].astype(int) == pytest.approx([200, 40, 40], abs=12)
    canvas = shrunk.on_canvas(small, 200, 120)
    rows, columns = np.nonzero(canvas[..., 0] > 170)
    assert (rows.mean(), columns.mean()) == pytest.approx((59.5, 99.5), abs=0.6)
    assert np.ptp(columns) == pytest.approx(19, abs=1)


@pytest.mark.slow
@pytest.mark.skipif(not clips_present(), reason=CLIPS_MISSING)
def test_turned_and_mirrored_clips_keep_their_tilt() -> None:
    changes = [
        change
        for path in photographs.clip_paths()
        for picture in photographs.clip_pictures(path, 1)
        for change in photographs.compare(picture, (-30.0, 15.0))
    ]
    turned, n_turned, lost = photographs.mean_sizes(changes, mirrored=False)
    mirrored, n_mirrored, _ = photographs.mean_sizes(changes, mirrored=True)
    assert n_turned >= 12
    assert n_mirrored >= 6
    assert lost <= 0.2 * n_turned
    assert turned[0] <= 0.4
    assert mirrored[0] <= 0.5


@pytest.mark.slow
@pytest.mark.skipif(not clips_present(), reason=CLIPS_MISSING)
def test_library_matrix_has_the_same_signs_on_clips() -> None:
    pairs = [
        pair
        for path in photographs.clip_paths()
        for picture in photographs.clip_pictures(path, 3)
        if (pair := photographs.against_library(picture)) is not None
    ]
    assert len(pairs) >= 10
    ours, theirs = (np.array([pair[k] for pair in pairs]) for k in (0, 1))
    clear = (np.abs(ours[:, :2]) > 5) & (np.abs(theirs[:, :2]) > 5)
    assert clear.sum(0).min() >= 3
    assert (ours[:, :2] * theirs[:, :2] > 0)[clear].all()
