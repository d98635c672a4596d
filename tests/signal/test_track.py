"""A HeadTrack is valid or does not exist."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from posture.errors import PostureError, TrackError
from posture.signal.track import HeadTrack

N = 5


@pytest.fixture
def track(make_track: Callable[..., HeadTrack]) -> HeadTrack:
    return make_track(np.arange(N) / 15, 3.0, missing=np.array([False, False, True, False, False]))


def changed(array: np.ndarray, at: object, value: float) -> np.ndarray:
    out = array.copy()
    out[at] = value
    return out


def test_face_found_is_where_there_is_a_rotation(track: HeadTrack) -> None:
    assert track.face_found.tolist() == [True, True, False, True, True]


def test_arrays_are_copied_and_read_only(track: HeadTrack) -> None:
    own = np.arange(N) / 15
    other = replace(track, time_s=own)
    own[0] = -9
    assert other.time_s[0] == 0
    for name in ("time_s", "rotation", "place_cm", "quality", "camera_roll_deg"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(other, name)[0] = 1


def test_empty_track_is_valid(make_track: Callable[..., HeadTrack]) -> None:
    assert len(make_track(np.zeros(0)).face_found) == 0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        pytest.param(lambda t: {"time_s": t.time_s[:-1]}, r"Expected rotation of shape \(4, 3, 3\)", id="short time"),
        pytest.param(lambda t: {"rotation": t.rotation[:, :2]}, r"Expected rotation of shape \(5, 3, 3\)", id="rotation"),
        pytest.param(lambda t: {"place_cm": t.place_cm[:, :2]}, r"Expected place_cm of shape \(5, 3\)", id="place"),
        pytest.param(lambda t: {"quality": t.quality[:, None]}, r"Expected quality of shape \(5,\)", id="quality"),
        pytest.param(lambda t: {"time_s": changed(t.time_s, 3, np.nan)}, "frame 3 has none", id="time missing"),
        pytest.param(lambda t: {"time_s": changed(t.time_s, 4, np.inf)}, "finite or NaN; infinity", id="infinite time"),
        pytest.param(
            lambda t: {"time_s": changed(t.time_s, 2, t.time_s[1])}, "increase; frame 2 is at 0.067 s", id="equal times"
        ),
        pytest.param(lambda t: {"time_s": t.time_s[::-1]}, "Expected time_s to increase; frame 1", id="backwards"),
        pytest.param(lambda t: {"rotation": changed(t.rotation, (0, 1, 1), np.nan)}, "missing in part", id="part of rotation"),
        pytest.param(lambda t: {"place_cm": changed(t.place_cm, 0, np.nan)}, "missing in part", id="place alone missing"),
        pytest.param(lambda t: {"place_cm": changed(t.place_cm, 2, 1.0)}, "missing in part", id="place without rotation"),
        pytest.param(lambda t: {"place_cm": changed(t.place_cm, (0, 2), np.inf)}, "infinity", id="infinite place"),
        pytest.param(lambda t: {"rotation": t.rotation * 1.01}, "Expected rotation matrices", id="scaled"),
        pytest.param(lambda t: {"rotation": t.rotation * [[[-1], [1], [1]]]}, "mirror the picture", id="mirrored"),
        pytest.param(
            lambda t: {"shoulders_px": np.zeros((N, 2))}, r"Expected shoulders_px of shape \(5, 2, 2\)", id="shoulders"
        ),
        pytest.param(
            lambda t: {"shoulders_px": np.full((N, 2, 2), np.inf)}, "shoulders_px to be finite", id="infinite shoulders"
        ),
        pytest.param(lambda t: {"shoulders_turn_deg": np.zeros(2)}, r"Expected shoulders_turn_deg of shape", id="trunk"),
        pytest.param(lambda t: {"arm_raised": np.zeros((N, 2))}, r"Expected arm_raised of shape \(5,\)", id="arms"),
        pytest.param(lambda t: {"eye_line_deg": np.zeros(N + 1)}, r"Expected eye_line_deg of shape \(5,\); \(6,\)", id="eyes"),
        pytest.param(lambda t: {"midface_line_deg": np.full(N, -np.inf)}, "midface_line_deg to be finite", id="infinite line"),
        pytest.param(
            lambda t: {"relative_facial_size": np.array([1.0, np.nan, 1.1, 0.0, 1.0])},
            "relative_facial_size above 0; 0 came",
            id="no face",
        ),
        pytest.param(lambda t: {"camera_roll_sd_deg": np.zeros(0)}, r"Expected camera_roll_sd_deg of shape", id="camera, none"),
        pytest.param(lambda t: {"width_px": 0}, "above 0; 0 x 720", id="width"),
        pytest.param(lambda t: {"height_px": -1}, "above 0; 1280 x -1", id="height"),
        pytest.param(lambda t: {"focal_px": 0.0}, "focal length above 0", id="focal"),
        pytest.param(lambda t: {"focal_px": np.inf}, "focal length above 0", id="infinite focal"),
        pytest.param(lambda t: {"focal_px": np.nan}, "focal length above 0", id="no focal"),
    ],
)
def test_broken_track_is_refused(track: HeadTrack, change: Callable[[HeadTrack], dict], message: str) -> None:
    with pytest.raises(TrackError, match=message) as caught:
        replace(track, **change(track))
    assert isinstance(caught.value, PostureError)
    assert isinstance(caught.value, ValueError)


def test_rotation_kept_as_32_bit_numbers_is_accepted(track: HeadTrack) -> None:
    assert replace(track, rotation=track.rotation.astype(np.float32)).rotation.dtype == np.float64


LOOKS = ("shoulders_px", "shoulders_turn_deg", "arm_raised", "eye_line_deg", "midface_line_deg", "facial_angle_deg", "camera_roll_deg",
         "camera_pitch_deg", "camera_roll_sd_deg", "camera_pitch_sd_deg")  # fmt: skip


@pytest.mark.parametrize("name", LOOKS)
def test_what_was_not_looked_at_is_missing_in_every_frame(track: HeadTrack, name: str) -> None:
    bare = HeadTrack(track.time_s, track.rotation, track.place_cm, track.face_height_px, track.quality, 1280, 720, 1000.0)
    assert np.isnan(getattr(bare, name)).all()
    assert getattr(bare, name).shape == ((N, 2, 2) if name == "shoulders_px" else (N,))
    assert bare.focal_sd_share == 0.0
    assert not getattr(bare, name).flags.writeable


@pytest.mark.parametrize("name", LOOKS)
def test_what_was_looked_at_is_kept_with_its_gaps(track: HeadTrack, name: str) -> None:
    """A look may be missing where a face was seen, and be there where none was: a scene is there without a face."""
    values = np.arange(4.0 * N).reshape(N, 2, 2) if name == "shoulders_px" else np.arange(1.0 * N)
    values[1] = np.nan
    kept = getattr(replace(track, **{name: values}), name)
    assert np.array_equal(kept, values, equal_nan=True)
    values[0] = -9
    assert kept[0].min() >= 0
