"""Reading is a pure function: mirroring, upright and line of sight, and nothing of the track changes."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from posture.geometry.angles import FACING, camera_matrix, posture_matrix
from posture.signal.reading import (
    AS_FILMED_PITCH_SD_DEG,
    AS_FILMED_ROLL_SD_DEG,
    STATED_PITCH_SD_DEG,
    STATED_ROLL_SD_DEG,
    ReadSettings,
    read_track,
    upright_from,
)
from posture.signal.track import HeadTrack


@pytest.fixture
def track(make_track: Callable[..., HeadTrack]) -> HeadTrack:
    time_s = np.arange(20) / 15
    return make_track(time_s, -14 + time_s, 12.0, np.sin(time_s), missing=np.arange(20) == 7, place_cm=(15.0, -8.0, 70.0))


def test_not_mirrored_gives_the_angles_against_the_line_of_sight(track: HeadTrack) -> None:
    read = read_track(track, ReadSettings(mirrored="no"))
    seen = track.face_found
    assert read.angles_deg[seen, 0] == pytest.approx(-14 + track.time_s[seen])
    assert read.angles_deg[seen, 1] == pytest.approx(np.full(seen.sum(), 12.0))
    assert read.angles_deg[seen, 2] == pytest.approx(np.sin(track.time_s[seen]))
    assert np.isnan(read.angles_deg[~seen]).all()
    assert (read.face_found == seen).all()


def test_mirrored_negates_tilt_and_turn(track: HeadTrack) -> None:
    no, yes = (read_track(track, ReadSettings(mirrored=m)) for m in ("no", "yes"))
    assert yes.angles_deg == pytest.approx(no.angles_deg * [-1, -1, 1], nan_ok=True)
    assert yes.camera_angles_deg == pytest.approx(no.camera_angles_deg * [-1, -1, 1], nan_ok=True)
    assert yes.azimuth_deg == pytest.approx(-no.azimuth_deg, nan_ok=True)
    assert "mirrored picture read as the person's own sides" in yes.steps[-1]
    assert "mirrored" not in no.steps[-1]


def test_unknown_mirroring_leaves_the_pictures_own_values(track: HeadTrack) -> None:
    no, unknown = (read_track(track, ReadSettings(mirrored=m)) for m in ("no", "unknown"))
    assert np.array_equal(unknown.angles_deg, no.angles_deg, equal_nan=True)


def test_reading_changes_nothing_of_the_track(track: HeadTrack) -> None:
    before = track.rotation.copy()
    read_track(track, ReadSettings("yes", upright_from(5.0, 10.0)))
    assert np.array_equal(track.rotation, before, equal_nan=True)


@pytest.mark.parametrize("mirrored", ["no", "yes"])
def test_stated_roll_and_pitch_are_taken_out(make_track: Callable[..., HeadTrack], mirrored: str) -> None:
    """The camera's roll is that of the file as stored, mirrored or not."""
    camera = FACING @ camera_matrix(6.0, 18.0) @ FACING
    sign = -1 if mirrored == "yes" else 1
    level, place = posture_matrix(sign * -14.0, sign * 9.0, -6.0), np.array([10.0, 5.0, 60.0])
    track = make_track(np.arange(3.0))
    seen_place = camera_matrix(6.0, 18.0) @ place
    seen = replace(track, rotation=np.tile(camera @ level, (3, 1, 1)), place_cm=np.tile(seen_place, (3, 1)))
    read = read_track(seen, ReadSettings(mirrored, upright_from(6.0, 18.0)))  # type: ignore[arg-type]
    assert read.camera_angles_deg == pytest.approx(np.tile([-14.0, 9.0, -6.0], (3, 1)))
    assert read.azimuth_deg == pytest.approx(np.full(3, sign * np.degrees(np.arctan2(10, 60))))
    assert "rolled by 6 and pitched by 18" in read.steps[-1]


def test_turn_against_the_line_of_sight_is_wrapped(make_track: Callable[..., HeadTrack]) -> None:
    read = read_track(make_track(np.arange(2.0), turn_deg=-170.0, place_cm=(60.0, 0.0, 60.0)), ReadSettings("no"))
    assert read.angles_deg[:, 1] == pytest.approx([-170.0, -170.0])


@pytest.mark.parametrize(
    ("roll", "pitch", "kind", "roll_sd", "pitch_sd"),
    [
        (None, None, "as-filmed", AS_FILMED_ROLL_SD_DEG, AS_FILMED_PITCH_SD_DEG),
        (0.0, None, "marked", STATED_ROLL_SD_DEG, AS_FILMED_PITCH_SD_DEG),
        (3.0, 12.0, "marked", STATED_ROLL_SD_DEG, STATED_PITCH_SD_DEG),
        (None, 12.0, "as-filmed", AS_FILMED_ROLL_SD_DEG, STATED_PITCH_SD_DEG),
    ],
)
def test_stated_zero_is_not_unknown(
    roll: float | None, pitch: float | None, kind: str, roll_sd: float, pitch_sd: float
) -> None:
    upright = upright_from(roll, pitch)
    assert (upright.kind, upright.roll_sd_deg, upright.pitch_sd_deg) == (kind, roll_sd, pitch_sd)
    assert (upright.roll_deg, upright.pitch_deg) == (roll or 0.0, pitch or 0.0)
