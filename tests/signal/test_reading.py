"""Reading is a pure function: mirroring, upright and line of sight, and nothing of the track changes."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from posture.geometry.angles import FACING, camera_matrix, posture_matrix
from posture.geometry.lens import Lens
from posture.signal.chin_zero import SETTING_SD_DEG, ChinZero
from posture.signal.reading import (
    AS_FILMED_PITCH_SD_DEG,
    AS_FILMED_ROLL_SD_DEG,
    STATED_PITCH_SD_DEG,
    STATED_ROLL_SD_DEG,
    UNKNOWN_PITCH_SD_DEG,
    UNKNOWN_ROLL_SD_DEG,
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
    assert "rolled by 6.0 and pitched by 18.0" in read.steps[-1]


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


def swaying(track: HeadTrack, roll_deg: np.ndarray, pitch_deg: float) -> HeadTrack:
    """The same head and place, filmed by a camera that rolls from frame to frame, whose scene says so."""
    camera = camera_matrix(roll_deg, pitch_deg)
    n = len(track.time_s)
    return replace(
        track,
        rotation=FACING @ camera @ FACING @ track.rotation,
        place_cm=(camera @ track.place_cm[..., None])[..., 0],
        camera_roll_deg=roll_deg,
        camera_pitch_deg=np.full(n, pitch_deg),
        camera_roll_sd_deg=np.full(n, 0.3),
        camera_pitch_sd_deg=np.full(n, 1.0),
    )


@pytest.mark.parametrize("mirrored", ["no", "yes"])
def test_scene_takes_the_cameras_own_way_out_of_every_frame(make_track: Callable[..., HeadTrack], mirrored: str) -> None:
    time_s = np.arange(150) / 15
    level = make_track(time_s, -14.0, 20.0, -6.0, place_cm=(15.0, -8.0, 70.0))
    seen = swaying(level, 5 + 4 * np.sin(time_s * 1.2), 12.0)
    read = read_track(seen, ReadSettings(mirrored, from_scene=True))  # type: ignore[arg-type]
    sign = -1 if mirrored == "yes" else 1
    assert read.upright.kind == "scene"
    away = np.abs(read.angles_deg - [sign * -14.0, sign * 20.0, -6.0])
    assert np.median(away, axis=0).max() < 0.2
    assert away.max() < 1.0  # At the ends, where the smoothing has one side only.
    # Without it, sway and pitch stand in the tilt.
    assert np.ptp(read_track(seen, ReadSettings(mirrored)).angles_deg[:, 0]) > 6  # type: ignore[arg-type]


def test_scene_that_says_nothing_is_read_as_filmed(track: HeadTrack) -> None:
    asked, plain = (read_track(track, ReadSettings("no", from_scene=s)) for s in (True, False))
    assert asked.upright == plain.upright
    assert (asked.upright.kind, asked.scene) == ("as-filmed", None)
    assert np.array_equal(asked.angles_deg, plain.angles_deg, equal_nan=True)
    # Nothing says that it was set up by eye rather than held aslant; a pitch that was stated stands.
    assert (plain.upright.roll_sd_deg, plain.upright.pitch_sd_deg) == (UNKNOWN_ROLL_SD_DEG, UNKNOWN_PITCH_SD_DEG)
    pitched = read_track(track, ReadSettings("no", upright_from(None, 12.0))).upright
    assert (pitched.roll_sd_deg, pitched.pitch_sd_deg) == (UNKNOWN_ROLL_SD_DEG, STATED_PITCH_SD_DEG)
    level = read_track(track, ReadSettings("no", upright_from(0.0))).upright
    assert (level.roll_sd_deg, level.pitch_sd_deg) == (STATED_ROLL_SD_DEG, AS_FILMED_PITCH_SD_DEG)


def test_as_filmed_against_what_the_scene_says_is_less_sure(make_track: Callable[..., HeadTrack]) -> None:
    time_s = np.arange(60) / 15
    seen = swaying(make_track(time_s, -14.0), np.full(60, 12.0), -15.0)
    read = read_track(seen, ReadSettings("no"))
    assert (read.upright.kind, read.upright.roll_deg) == ("as-filmed", 0.0)
    assert 1.96 * read.upright.roll_sd_deg > 12.0
    assert 1.96 * read.upright.pitch_sd_deg > 15.0
    agreeing = read_track(swaying(make_track(time_s), np.full(60, 0.5), 1.0), ReadSettings("no"))
    assert agreeing.upright.roll_sd_deg == AS_FILMED_ROLL_SD_DEG
    # What was marked stands, whatever the scene says.
    marked = read_track(seen, ReadSettings("no", upright_from(1.0, 0.0)))
    assert (marked.upright.roll_deg, marked.upright.roll_sd_deg) == (1.0, STATED_ROLL_SD_DEG)


def test_pitch_from_the_scene_follows_the_lens(make_track: Callable[..., HeadTrack]) -> None:
    seen = swaying(make_track(np.arange(60) / 15), np.zeros(60), 20.0)
    lens = Lens(1.3 * seen.focal_px, 0.1, "a test")
    known, vague = (read_track(seen, ReadSettings("no", from_scene=True, lens=other)) for other in (None, lens))
    tangents = [np.tan(np.radians(r.upright.pitch_deg)) for r in (known, vague)]
    assert tangents[1] / tangents[0] == pytest.approx(1.3)
    assert vague.upright.pitch_sd_deg > known.upright.pitch_sd_deg


@pytest.mark.parametrize(
    ("target", "turn", "chin"),
    [((-30, 0, 0), 26.565, 0), ((30, 0, 0), -26.565, 0), ((0, -30, 0), 0, 26.565), ((0, 0, 20), 0, 0)],
)
def test_facing_a_target_elsewhere_is_no_turn(
    make_track: Callable[..., HeadTrack], target: tuple[float, float, float], turn: float, chin: float
) -> None:
    """To face something 30 cm beside the camera from 60 cm takes atan(30 / 60); to the camera's left is to the person's right."""
    track = make_track(np.arange(5.0), 8.0, turn, chin, place_cm=(0.0, 0.0, 60.0))
    read = read_track(track, ReadSettings("no", target_cm=target))
    assert read.angles_deg == pytest.approx(np.tile([8.0, 0.0, 0.0], (5, 1)), abs=0.001)
    assert read.camera_angles_deg == pytest.approx(np.tile([8.0, turn, chin], (5, 1)))


def test_chin_zero_is_that_of_the_times_in_which_the_head_was_set(make_track: Callable[..., HeadTrack]) -> None:
    time_s = np.arange(150) / 15
    chin = np.where(time_s < 4, -9.0, np.where(time_s > 7, -20.0, 0.0))
    track = make_track(time_s, -14.0, 0.0, chin)
    read = read_track(track, ReadSettings("no", head_set=((0, 3.9),)))
    assert read.chin_zero == ChinZero(pytest.approx(-9.0), SETTING_SD_DEG, 1)
    assert read.angles_deg[time_s > 7, 2] == pytest.approx(np.full((time_s > 7).sum(), -11.0))
    # Tilt is never zeroed.
    assert read.angles_deg[:, 0] == pytest.approx(np.full(150, -14.0))
    other = read_track(track, ReadSettings("no", chin_zero=ChinZero(3.0, 2.0, 4)))
    assert other.angles_deg[time_s > 7, 2] == pytest.approx(np.full((time_s > 7).sum(), -23.0))
    both = read_track(track, ReadSettings("no", head_set=((0, 3.9),), chin_zero=ChinZero(3.0, 2.0, 4)))
    assert both.chin_zero == read.chin_zero
