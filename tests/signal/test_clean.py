"""Outliers, gaps and smoothing: on rotations, on true times, the same forwards and backwards."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation, Slerp

from posture.signal.clean import CUT_OFF_HZ, clean_track, drop_outliers, fill_gaps, smooth
from posture.signal.reading import ReadTrack

MakeRead = Callable[..., ReadTrack]


def uneven(n: int, seed: int = 1, rate_hz: float = 30.0) -> np.ndarray:
    """Frame times that come irregularly."""
    return np.cumsum(np.random.default_rng(seed).uniform(0.4, 1.6, n) / rate_hz)


def backwards(read: ReadTrack) -> ReadTrack:
    """The same film played backwards."""
    return replace(
        read,
        time_s=(read.time_s[-1] - read.time_s)[::-1],
        rotation=read.rotation[::-1],
        azimuth_deg=read.azimuth_deg[::-1],
        elevation_deg=read.elevation_deg[::-1],
        face_found=read.face_found[::-1],
    )


@pytest.fixture
def busy(make_read: MakeRead) -> ReadTrack:
    """Wandering with noise, short and long gaps, and one wild frame."""
    rng = np.random.default_rng(2)
    time_s = uneven(300, rate_hz=15.0)
    wander = np.stack([8 * np.sin(0.7 * time_s), 15 * np.sin(0.4 * time_s + 1), 6 * np.cos(0.5 * time_s)])
    wander += rng.normal(0, 0.3, wander.shape)
    wander[0, 150] += 40
    missing = np.zeros(300, bool)
    missing[[20, 21, 90]] = True
    missing[200:220] = True
    return make_read(time_s, *wander, missing=missing)


@pytest.mark.parametrize("step", [drop_outliers, fill_gaps, smooth, clean_track])
def test_every_step_is_the_same_backwards(busy: ReadTrack, step: Callable[[ReadTrack], ReadTrack]) -> None:
    forwards, reversed_ = step(busy), backwards(step(backwards(busy)))
    assert reversed_.rotation == pytest.approx(forwards.rotation, abs=1e-9, nan_ok=True)
    assert (reversed_.face_found == forwards.face_found).all()


@pytest.mark.parametrize("step", [drop_outliers, fill_gaps, smooth, clean_track])
def test_every_step_keeps_a_constant(make_read: MakeRead, step: Callable[[ReadTrack], ReadTrack]) -> None:
    read = make_read(uneven(60), -14.0, 12.0, -8.0, missing=np.arange(60) == 30)
    cleaned = step(read)
    expected = np.tile([-14.0, 12.0, -8.0], (60, 1))
    seen = ~np.isnan(cleaned.rotation[:, 0, 0])
    assert seen.sum() >= 59
    assert cleaned.angles_deg[seen] == pytest.approx(expected[seen], abs=1e-9)


@pytest.mark.parametrize("step", [drop_outliers, fill_gaps, smooth, clean_track])
def test_every_step_leaves_rotations_and_says_what_it_did(busy: ReadTrack, step: Callable[[ReadTrack], ReadTrack]) -> None:
    before = busy.rotation.copy()
    cleaned = step(busy)
    seen = cleaned.rotation[~np.isnan(cleaned.rotation[:, 0, 0])]
    assert seen @ np.swapaxes(seen, 1, 2) == pytest.approx(np.tile(np.eye(3), (len(seen), 1, 1)), abs=1e-9)
    assert np.linalg.det(seen) == pytest.approx(np.ones(len(seen)))
    assert len(cleaned.steps) > len(busy.steps)
    assert np.array_equal(busy.rotation, before, equal_nan=True)


@pytest.mark.parametrize("step", [drop_outliers, fill_gaps, smooth, clean_track])
@pytest.mark.parametrize("n", [0, 1, 2, 3])
def test_every_step_takes_short_tracks(make_read: MakeRead, step: Callable[[ReadTrack], ReadTrack], n: int) -> None:
    cleaned = step(make_read(np.arange(n) / 15, 5.0))
    assert cleaned.angles_deg[:, 0] == pytest.approx(np.full(n, 5.0))


@pytest.mark.parametrize("step", [drop_outliers, fill_gaps, smooth, clean_track])
def test_every_step_takes_a_track_without_a_face(make_read: MakeRead, step: Callable[[ReadTrack], ReadTrack]) -> None:
    assert np.isnan(step(make_read(np.arange(9) / 15, missing=np.ones(9, bool))).rotation).all()


def test_outlier_is_left_out_and_a_look_aside_is_kept(make_read: MakeRead) -> None:
    time_s = np.arange(90) / 15
    tilt = np.zeros(90)
    tilt[20] = 35
    look_aside = np.interp(time_s, [3.0, 3.4, 3.8, 4.2], [0, 40, 40, 0])
    cleaned = drop_outliers(make_read(time_s, tilt, look_aside))
    assert np.flatnonzero(np.isnan(cleaned.rotation[:, 0, 0])).tolist() == [20]
    assert not cleaned.face_found[20]
    assert "1 outlying" in cleaned.steps[-1]


def test_two_wild_frames_side_by_side_are_left_out(make_read: MakeRead) -> None:
    tilt = np.zeros(60)
    tilt[30:32] = [30, -30]
    assert np.isnan(drop_outliers(make_read(np.arange(60) / 15, tilt)).rotation[30:32]).all()


def test_short_gap_follows_the_shortest_rotation(make_read: MakeRead) -> None:
    time_s = np.array([0.0, 0.1, 0.13, 0.21, 0.3])
    angles = np.array([[0, 0, 0], [4, -8, 3], [0, 0, 0], [0, 0, 0], [12, 10, -6]], float)
    read = make_read(time_s, *angles.T, missing=np.array([False, False, True, True, False]))
    filled = fill_gaps(read)
    expected = Slerp([0.1, 0.3], Rotation.from_matrix(read.rotation[[1, 4]]))([0.13, 0.21]).as_matrix()
    assert filled.rotation[2:4] == pytest.approx(expected)
    assert filled.face_found.tolist() == [True, True, False, False, True]
    assert filled.azimuth_deg[2:4] == pytest.approx([0, 0])


def test_gap_is_filled_up_to_its_limit_and_not_beyond(make_read: MakeRead) -> None:
    time_s = np.array([0.0, 0.1, 0.25, 0.4, 0.51])
    read = make_read(time_s, missing=np.array([False, True, False, True, False]))
    filled = ~np.isnan(fill_gaps(read).rotation[:, 0, 0])
    assert filled.tolist() == [True, True, True, False, True]
    assert (~np.isnan(fill_gaps(read, 0.0).rotation[:, 0, 0])).tolist() == [True, False, True, False, True]


def test_gaps_at_the_ends_stay(make_read: MakeRead) -> None:
    missing = np.array([True, False, False, True])
    assert np.isnan(fill_gaps(make_read(np.arange(4) / 30, missing=missing), 9.0).rotation[missing]).all()


@pytest.mark.parametrize("bad", [-0.1, np.inf, np.nan])
def test_gap_limit_is_checked(make_read: MakeRead, bad: float) -> None:
    with pytest.raises(ValueError, match="Expected max_gap_s of 0 or more"):
        fill_gaps(make_read(np.arange(4.0)), bad)


@pytest.mark.parametrize("name", [0, 1, 2], ids=["tilt", "turn", "chin"])
@pytest.mark.parametrize(("hz", "gain"), [(0.25, 0.7071 ** (1 / 64)), (1.0, 0.7071**0.25), (CUT_OFF_HZ, 0.7071), (4.0, 0.25)])
def test_smoothing_has_the_stated_cut_off(make_read: MakeRead, name: int, hz: float, gain: float) -> None:
    time_s = np.arange(0, 12, 1 / 60)
    angles = np.zeros((3, len(time_s)))
    angles[name] = 2 * np.sin(2 * np.pi * hz * time_s)
    left = smooth(make_read(time_s, *angles)).angles_deg[60:-60, name]
    wave = np.stack([np.sin(2 * np.pi * hz * time_s[60:-60]), np.cos(2 * np.pi * hz * time_s[60:-60])], 1)
    in_phase, across = np.linalg.lstsq(wave, left, rcond=None)[0]
    assert in_phase / 2 == pytest.approx(gain, rel=0.03)
    assert abs(across) < 0.01


def test_smoothing_works_at_uneven_frame_times(make_read: MakeRead) -> None:
    time_s = uneven(500)
    tilt = 10 * np.sin(2 * np.pi * 0.3 * time_s)
    noisy = make_read(time_s, tilt + np.random.default_rng(3).normal(0, 1, 500))
    left = smooth(noisy).angles_deg[:, 0] - tilt
    assert left[20:-20].std() < 0.45
    assert np.abs(smooth(make_read(time_s, tilt)).angles_deg[20:-20, 0] - tilt[20:-20]).max() < 0.35


def test_smoothing_does_not_reach_across_a_gap(make_read: MakeRead) -> None:
    time_s = np.arange(60) / 60
    tilt = np.where(np.arange(60) < 30, 0.0, 20.0)
    whole = smooth(make_read(time_s, tilt)).angles_deg[:, 0]
    assert whole[28] > 3
    missing = np.arange(60) == 30
    parted = smooth(make_read(time_s, tilt, missing=missing)).angles_deg[:, 0]
    assert np.isnan(parted[30])
    assert parted[:30] == pytest.approx(np.zeros(30), abs=1e-9)
    assert parted[31:] == pytest.approx(np.full(29, 20.0), abs=1e-9)


def test_smoothed_frame_is_the_weighted_mean_of_rotations(busy: ReadTrack) -> None:
    at = 60
    sigma_s = np.sqrt(np.log(2)) / (2 * np.pi * CUT_OFF_HZ)
    apart = busy.time_s - busy.time_s[at]
    near = (np.abs(apart) <= 4 * sigma_s) & busy.face_found
    weights = np.exp(-0.5 * (apart[near] / sigma_s) ** 2)
    assert near.sum() > 4
    expected = Rotation.from_matrix(busy.rotation[near]).mean(weights=weights).as_matrix()
    assert smooth(busy).rotation[at] == pytest.approx(expected, abs=1e-9)


def test_cleaning_twice_from_the_same_track_is_equal(busy: ReadTrack) -> None:
    assert np.array_equal(clean_track(busy).rotation, clean_track(busy).rotation, equal_nan=True)
