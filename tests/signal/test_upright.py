"""One stand for a camera that stood still, one a frame for one that sways, and none where the pictures do not agree."""

import numpy as np
import pytest

from posture.signal.upright import LEAST_STILL_SHARE, REACH_S, SAME_SHARE, SceneStand, smooth_stand

RATE_HZ, EVERY = 15.0, 4
"""Frames a second, and every how manieth is looked at."""


def looks(
    time_s: np.ndarray,
    roll_deg: np.ndarray | float,
    pitch_deg: np.ndarray | float,
    noise_deg: float = 0.1,
    sd_deg: tuple[float, float] = (0.4, 1.2),
    seed: int = 0,
) -> list[np.ndarray]:
    """Roll, pitch and their uncertainties of all frames, NaN but on those looked at."""
    rng = np.random.default_rng(seed)
    columns = [np.full(len(time_s), np.nan) for _ in range(4)]
    at = np.arange(0, len(time_s), EVERY)
    for column, true, scale in zip(columns[:2], (roll_deg, pitch_deg), (1.0, 2.0), strict=True):
        column[at] = np.broadcast_to(true, len(time_s))[at] + rng.normal(0, noise_deg * scale, len(at))
    columns[2][at], columns[3][at] = sd_deg
    return columns


def seconds(n_s: float) -> np.ndarray:
    """Times of the frames of so many seconds."""
    return np.arange(round(n_s * RATE_HZ)) / RATE_HZ


def hand(time_s: np.ndarray, size_deg: float, phase: float = 0.0) -> np.ndarray:
    """How a hand sways."""
    return size_deg * (np.sin(1.5 * time_s + phase) + 0.4 * np.sin(3.7 * time_s + 2 * phase))


def checked(stand: SceneStand | None, n: int) -> SceneStand:
    """The stand, which has a value for every frame."""
    assert stand is not None
    assert stand.roll_deg.shape == stand.pitch_deg.shape == (n,)
    assert np.isfinite([stand.roll_deg, stand.pitch_deg]).all()
    assert min(stand.roll_sd_deg, stand.pitch_sd_deg) > 0
    return stand


def test_a_photograph_keeps_its_one_value_and_its_uncertainty() -> None:
    stand = checked(smooth_stand([0.0], [4.0], [-9.0], [0.5], [1.5]), 1)
    assert stand.still
    assert (stand.roll_deg[0], stand.pitch_deg[0]) == (4.0, -9.0)
    assert (stand.roll_sd_deg, stand.pitch_sd_deg) == pytest.approx((0.5, 1.5))


@pytest.mark.parametrize("noise", [0.0, 0.1, 0.4])
def test_a_camera_on_a_stand_has_one_value(noise: float) -> None:
    time = seconds(20)
    stand = checked(smooth_stand(time, *looks(time, -6.0, 11.0, noise)), len(time))
    assert stand.still
    assert np.ptp(stand.roll_deg) == np.ptp(stand.pitch_deg) == 0
    assert stand.roll_deg[0] == pytest.approx(-6.0, abs=0.2)
    assert stand.pitch_deg[0] == pytest.approx(11.0, abs=0.4)


def test_the_same_lines_are_wrong_in_the_same_way() -> None:
    """A thousand looks do not make the value better than what is the same in all of them."""
    long, short = seconds(300), seconds(3)
    many = checked(smooth_stand(long, *looks(long, 0.0, 0.0, 0.4)), len(long))
    few = checked(smooth_stand(short, *looks(short, 0.0, 0.0, 0.4)), len(short))
    assert SAME_SHARE * 0.4 <= many.roll_sd_deg <= few.roll_sd_deg <= 0.5
    assert SAME_SHARE * 1.2 <= many.pitch_sd_deg <= few.pitch_sd_deg <= 1.4


def test_surer_pictures_count_more() -> None:
    time = seconds(10)
    columns = looks(time, 3.0, 0.0, 0.05)
    half = np.flatnonzero(np.isfinite(columns[0]))[::2]
    columns[0][half] += 1.0
    columns[2][half] = 1.5
    stand = checked(smooth_stand(time, *columns), len(time))
    assert stand.still
    assert stand.roll_deg[0] == pytest.approx(3.0, abs=0.15)


@pytest.mark.parametrize("still", [True, False])
def test_single_wrong_pictures_are_left_out(still: bool) -> None:
    time = seconds(20)
    roll, pitch = (2.0, -5.0) if still else (hand(time, 3.0), hand(time, 2.0, 1.0))
    columns = looks(time, roll, pitch, 0.1)
    at = np.flatnonzero(np.isfinite(columns[0]))
    columns[0][at[5::12]] += 25.0
    columns[1][at[9::12]] -= 30.0
    stand = checked(smooth_stand(time, *columns), len(time))
    assert stand.still is still
    assert np.abs(stand.roll_deg - roll).mean() < 0.4
    assert np.abs(stand.roll_deg - roll).max() < 2.0
    assert np.abs(stand.pitch_deg - pitch).mean() < 0.6


@pytest.mark.parametrize(("roll_sway", "pitch_sway"), [(3.0, 3.0), (2.5, 0.0), (0.0, 4.0), (1.0, 1.0)])
def test_a_hand_is_followed(roll_sway: float, pitch_sway: float) -> None:
    time = seconds(25)
    roll, pitch = 4.0 + hand(time, roll_sway), -8.0 + hand(time, pitch_sway, 2.0)
    stand = checked(smooth_stand(time, *looks(time, roll, pitch, 0.15)), len(time))
    assert not stand.still
    off = np.abs([stand.roll_deg - roll, stand.pitch_deg - pitch])
    assert off.mean(1) == pytest.approx(0, abs=0.3)
    assert (off[0] <= 1.96 * stand.roll_sd_deg).mean() >= 0.95
    assert (off[1] <= 1.96 * stand.pitch_sd_deg).mean() >= 0.95


def test_a_hand_that_hardly_moves_is_a_stand() -> None:
    time = seconds(20)
    stand = checked(smooth_stand(time, *looks(time, hand(time, 0.15), hand(time, 0.3), 0.1)), len(time))
    assert stand.still


def test_a_hand_is_covered_over_many_clips() -> None:
    """A part of the error is the same over a clip, as the uncertainties of the pictures say."""
    inside = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        time = seconds(8)
        roll, pitch = hand(time, 2.5, rng.uniform(0, 6)), hand(time, 2.5, rng.uniform(0, 6))
        same = rng.normal(0, [0.3, 1.0])
        stand = checked(smooth_stand(time, *looks(time, roll + same[0], pitch + same[1], 0.2, seed=seed)), len(time))
        off = np.abs([stand.roll_deg - roll, stand.pitch_deg - pitch])
        inside.append((off <= 1.96 * np.array([[stand.roll_sd_deg], [stand.pitch_sd_deg]])).mean(1))
    assert (np.mean(inside, 0) >= 0.92).all(), np.mean(inside, 0)


@pytest.mark.parametrize("reverse", [False, True])
def test_frames_before_the_first_and_after_the_last_look_hold_its_value(reverse: bool) -> None:
    time = seconds(12)
    roll = hand(time, 3.0)
    columns = looks(time, roll, 0.0, 0.0)
    ends = time < 1.0 if not reverse else time > 11.0
    for column in columns:
        column[ends] = np.nan
    stand = checked(smooth_stand(time, *columns), len(time))
    assert np.ptp(stand.roll_deg[ends]) < 0.6
    inner = np.flatnonzero(~ends)[0 if not reverse else -1]
    assert stand.roll_deg[inner] == pytest.approx(roll[inner], abs=1.0)


def test_time_runs_by_seconds_not_by_frames() -> None:
    """Every other frame of one half of the film is missing; what comes out is the same."""
    time = seconds(20)
    columns = looks(time, hand(time, 3.0), hand(time, 2.0, 1.0), 0.0)
    kept = np.isfinite(columns[0]) | (time > 10) | (np.arange(len(time)) % 2 == 0)
    full = checked(smooth_stand(time, *columns), len(time))
    part = checked(smooth_stand(time[kept], *(c[kept] for c in columns)), int(kept.sum()))
    assert part.roll_deg == pytest.approx(full.roll_deg[kept], abs=1e-6)
    moved = checked(smooth_stand(time + 1000.0, *columns), len(time))
    assert moved.roll_deg == pytest.approx(full.roll_deg, abs=1e-6)


def only(columns: list[np.ndarray], which: np.ndarray) -> list[np.ndarray]:
    """The columns with what was said in these frames alone."""
    return [np.where(which, c, np.nan) for c in columns]


def test_too_few_pictures_are_refused() -> None:
    time = seconds(60)
    columns = looks(time, 1.0, 2.0)
    at = np.flatnonzero(np.isfinite(columns[0]))
    assert smooth_stand(time, *only(columns, np.zeros(len(time), bool))) is None
    assert smooth_stand(time, *only(columns, np.isin(np.arange(len(time)), at[[3, 100]]))) is None
    # Three looks close together speak for three seconds of sixty.
    assert smooth_stand(time, *only(columns, np.isin(np.arange(len(time)), at[3:6]))) is None
    within = LEAST_STILL_SHARE * 60 + 4 * REACH_S
    assert smooth_stand(time, *only(columns, time < within)) is not None


def test_a_hand_seen_for_half_of_the_time_is_refused() -> None:
    time = seconds(40)
    columns = looks(time, hand(time, 3.0), hand(time, 3.0, 1.0))
    assert smooth_stand(time, *columns) is not None
    assert smooth_stand(time, *only(columns, time < 18)) is None


def test_pictures_that_contradict_each_other_are_refused() -> None:
    time = seconds(20)
    columns = looks(time, 0.0, 0.0)
    columns[0] += np.random.default_rng(5).uniform(-25, 25, len(time))
    assert smooth_stand(time, *columns) is None


@pytest.mark.parametrize("n", [0, 1, 2])
def test_clips_of_no_or_two_frames(n: int) -> None:
    stand = smooth_stand(np.arange(n) / 5.0, np.full(n, 2.0), np.zeros(n), np.full(n, 0.4), np.full(n, 1.1))
    if n == 0:
        assert stand is None
    else:
        assert checked(stand, n).roll_deg == pytest.approx(2.0)


def test_what_came_in_stays_as_it_was() -> None:
    time = seconds(10)
    columns = looks(time, hand(time, 3.0), 0.0)
    before = [c.copy() for c in columns]
    smooth_stand(time, *columns)
    assert all(np.array_equal(a, b, equal_nan=True) for a, b in zip(columns, before, strict=True))


@pytest.mark.parametrize(
    ("time", "roll", "words"),
    [
        ([0.0, 1.0], [0.0], r"five arrays of one shape.*\(1,\)"),
        ([1.0, 0.0], [0.0, 0.0], "do not decrease"),
        ([0.0, np.nan], [0.0, 0.0], "finite times"),
    ],
)
def test_wrong_arrays_are_an_error(time: list[float], roll: list[float], words: str) -> None:
    other = np.ones(len(time))
    with pytest.raises(ValueError, match=words):
        smooth_stand(time, roll, other, other, other)
