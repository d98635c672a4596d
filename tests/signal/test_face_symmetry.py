"""How even a face is: known unevenness comes back, from frames that look about at the camera only, and widened by what is not known."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from posture.geometry.angles import posture_matrix
from posture.signal.face_symmetry import (
    ANGLE_SD_DEG,
    ANGLE_SHARE,
    ANGLE_SHARE_SD,
    MIN_PIECES,
    MIN_STRAIGHT_S,
    MOST_ASIDE_DEG,
    PIECE_S,
    SIZE_SD_LOG,
    SIZE_SHARE,
    SIZE_SHARE_SD,
    find_symmetry,
)
from posture.signal.habitual import find_habitual_posture
from posture.signal.interval import Z95
from posture.signal.reading import ReadSettings, read_track, upright_from
from posture.signal.track import HeadTrack

MakeTrack = Callable[..., HeadTrack]

TRUE_DEG, TRUE_SIZE = -3.0, 0.95


def uneven(track: HeadTrack, angle_deg: float = TRUE_DEG, size: float = TRUE_SIZE, noise: float = 0.1) -> HeadTrack:
    """A track of a face so uneven, as it is seen."""
    n, rng = len(track.time_s), np.random.default_rng(4)
    return replace(
        track,
        facial_angle_deg=ANGLE_SHARE * angle_deg + noise * rng.normal(size=n),
        relative_facial_size=np.exp(SIZE_SHARE * np.log(size) + 0.03 * noise * rng.normal(size=n)),
    )


@pytest.fixture
def seen(make_track: MakeTrack) -> HeadTrack:
    """Twenty seconds of a face tilted by 15 that looks about at the camera."""
    time_s = np.arange(0, 20, 1 / 15)
    return uneven(make_track(time_s, 15.0, 4.0, -5.0))


def test_known_unevenness_comes_back_with_what_is_not_known_of_it(seen: HeadTrack) -> None:
    found = find_symmetry(read_track(seen, ReadSettings("no")))
    assert found.facial_angle is not None
    assert found.relative_size is not None
    assert found.facial_angle.value == pytest.approx(TRUE_DEG, abs=0.05)
    assert found.relative_size.value == pytest.approx(TRUE_SIZE, abs=0.002)
    # Hardly any scatter, so the interval is what faces and kinds of unevenness differ by.
    half = Z95 * np.hypot(ANGLE_SD_DEG, ANGLE_SHARE_SD * TRUE_DEG)
    assert found.facial_angle.high - TRUE_DEG == pytest.approx(half, rel=0.05)
    log_half = Z95 * np.hypot(SIZE_SD_LOG, SIZE_SHARE_SD * np.log(TRUE_SIZE))
    assert np.log(found.relative_size.high / TRUE_SIZE) == pytest.approx(log_half, rel=0.08)
    assert found.straight_s == pytest.approx(20, abs=0.2)


def test_mirrored_picture_has_the_other_sides(seen: HeadTrack) -> None:
    straight, mirrored = (find_symmetry(read_track(seen, ReadSettings(m))) for m in ("no", "yes"))
    assert straight.facial_angle is not None
    assert mirrored.facial_angle is not None
    assert straight.relative_size is not None
    assert mirrored.relative_size is not None
    assert mirrored.facial_angle.value == pytest.approx(-straight.facial_angle.value, abs=1e-9)
    assert mirrored.facial_angle.low == pytest.approx(-straight.facial_angle.high, abs=1e-9)
    assert mirrored.relative_size.value == pytest.approx(1 / straight.relative_size.value, abs=1e-9)
    assert mirrored.relative_size.low == pytest.approx(1 / straight.relative_size.high, abs=1e-9)


@pytest.mark.parametrize("aside", [(MOST_ASIDE_DEG + 1, 0.0), (-MOST_ASIDE_DEG - 1, 0.0), (0.0, MOST_ASIDE_DEG + 1)])
def test_frames_turned_or_lifted_are_not_used(seen: HeadTrack, aside: tuple[float, float]) -> None:
    away = seen.time_s >= 12
    rotation, angle = np.array(seen.rotation), np.array(seen.facial_angle_deg)
    rotation[away], angle[away] = posture_matrix(15.0, *aside), 20.0
    found = find_symmetry(read_track(replace(seen, rotation=rotation, facial_angle_deg=angle), ReadSettings("no")))
    assert found.straight_s == pytest.approx(12, abs=0.2)
    assert found.facial_angle is not None
    assert found.facial_angle.value == pytest.approx(TRUE_DEG, abs=0.05)


def test_turn_is_against_the_line_to_the_camera(make_track: MakeTrack) -> None:
    """A face at the edge of the picture that looks into the camera is straight, whatever its turn against the camera's axis."""
    time_s = np.arange(0, 12, 1 / 15)
    track = uneven(make_track(time_s, 0.0, 2.0, 0.0, place_cm=(-30.0, 0.0, 60.0)))
    assert find_symmetry(read_track(track, ReadSettings("no"))).facial_angle is not None


def test_how_the_camera_stood_moves_nothing(seen: HeadTrack) -> None:
    level, rolled = (find_symmetry(read_track(seen, ReadSettings("no", upright_from(*u)))) for u in ((0.0, 0.0), (12.0, 15.0)))
    assert level == rolled


@pytest.mark.parametrize(
    ("spans", "is_given"),
    [
        pytest.param([(0.0, MIN_STRAIGHT_S - 0.5)], False, id="too short"),
        pytest.param([(0.0, PIECE_S * (MIN_PIECES - 1) - 0.01)], False, id="too few pieces"),
        pytest.param([(k * PIECE_S, k * PIECE_S + 1.5) for k in range(MIN_PIECES)], True, id="just enough"),
        pytest.param([], False, id="never"),
    ],
)
def test_too_little_gives_none(seen: HeadTrack, spans: list[tuple[float, float]], is_given: bool) -> None:
    there = np.zeros(len(seen.time_s), bool)
    for first, last in spans:
        there |= (seen.time_s >= first) & (seen.time_s <= last)
    angle = np.where(there, seen.facial_angle_deg, np.nan)
    found = find_symmetry(read_track(replace(seen, facial_angle_deg=angle), ReadSettings("no")))
    assert (found.facial_angle is not None) is is_given
    assert (found.relative_size is not None) is is_given
    assert found.straight_s == pytest.approx(there.sum() / 15, abs=0.2)


def test_track_of_an_earlier_version_has_none(make_track: MakeTrack) -> None:
    found = find_habitual_posture(read_track(make_track(np.arange(0, 20, 1 / 15)), ReadSettings("no")))
    assert (found.symmetry.facial_angle, found.symmetry.relative_size, found.symmetry.straight_s) == (None, None, 0.0)


def test_more_scatter_widens_the_interval(make_track: MakeTrack) -> None:
    time_s = np.arange(0, 20, 1 / 15)
    track = make_track(time_s)
    # Pieces that differ from each other, as when a child talks.
    slow = 2.0 * np.random.default_rng(5).normal(size=10)[(time_s // PIECE_S).astype(int)]
    calm, talking = (
        find_symmetry(
            read_track(replace(uneven(track), facial_angle_deg=uneven(track).facial_angle_deg + add), ReadSettings("no"))
        )
        for add in (0.0, slow)
    )
    assert calm.facial_angle is not None
    assert talking.facial_angle is not None
    assert talking.facial_angle.high - talking.facial_angle.low > 1.3 * (calm.facial_angle.high - calm.facial_angle.low)
