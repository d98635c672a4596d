"""Nodding is found with its frequency and size; looking about and noise are not."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.signal import lombscargle

from posture.signal.reading import ReadTrack
from posture.signal.rhythm import _power_shares, find_rhythm

MakeRead = Callable[..., ReadTrack]
RATE_HZ = 15.0


def wander(n: int, rng: np.random.Generator, spread_deg: float = 8.0) -> np.ndarray:
    """Holds of about a second and a half with quick smooth moves between, and landmark noise, (n,)."""
    out, value = [], 0.0
    while len(out) < n:
        hold, move = int((0.4 + rng.exponential(1.2)) * RATE_HZ), int(rng.uniform(0.25, 0.6) * RATE_HZ)
        target = rng.normal(0, spread_deg)
        out += list(value + (target - value) * (0.5 - 0.5 * np.cos(np.linspace(0, np.pi, move)))) + [target] * hold
        value = target
    return np.array(out[:n]) + rng.normal(0, 0.2, n)


@pytest.mark.parametrize("axis", [0, 1, 2], ids=["tilt", "turn", "chin"])
@pytest.mark.parametrize("hz", [1.5, 2.5, 4.0])
def test_nod_is_found(make_read: MakeRead, axis: int, hz: float) -> None:
    time_s = np.arange(0, 20, 1 / RATE_HZ)
    angles = np.random.default_rng(4).normal(0, 0.15, (3, len(time_s)))
    inside = (time_s >= 7) & (time_s < 13)
    angles[axis] += np.where(inside, 1.0 * np.sin(2 * np.pi * hz * time_s), 0.0)
    found = find_rhythm(make_read(time_s, *angles))
    assert found is not None
    assert found.hz == pytest.approx(hz, abs=0.2)
    assert found.deg == pytest.approx(1.0, rel=0.25)
    assert 4 <= found.seconds <= 9


def test_nod_is_found_at_uneven_times_with_frames_missing(make_read: MakeRead) -> None:
    rng = np.random.default_rng(5)
    time_s = np.cumsum(rng.uniform(0.5, 1.5, 300) / RATE_HZ)
    chin = 1.0 * np.sin(2 * np.pi * 2.5 * time_s) + rng.normal(0, 0.15, 300)
    found = find_rhythm(make_read(time_s, chin_deg=chin, missing=rng.random(300) < 0.1))
    assert found is not None
    assert found.hz == pytest.approx(2.5, abs=0.2)
    assert found.deg == pytest.approx(1.0, rel=0.25)


def test_looking_about_is_no_rhythm(make_read: MakeRead) -> None:
    time_s = np.arange(0, 30, 1 / RATE_HZ)
    seeds = range(40)
    false = 0
    for seed in seeds:
        rng = np.random.default_rng([6, seed])
        false += find_rhythm(make_read(time_s, *(wander(len(time_s), rng) for _ in range(3)))) is not None
    assert false <= 0.05 * len(seeds)


@pytest.mark.parametrize("sd_deg", [0.3, 1.0, 3.0])
def test_noise_is_no_rhythm(make_read: MakeRead, sd_deg: float) -> None:
    time_s = np.arange(0, 10, 1 / RATE_HZ)
    found = [
        find_rhythm(make_read(time_s, *np.random.default_rng([7, seed]).normal(0, sd_deg, (3, len(time_s)))))
        for seed in range(20)
    ]
    assert found == [None] * 20


def test_movement_that_is_too_small_too_short_or_too_slow_is_no_rhythm(make_read: MakeRead) -> None:
    time_s = np.arange(0, 12, 1 / RATE_HZ)
    small = 0.3 * np.sin(2 * np.pi * 2.5 * time_s)
    short = np.where(np.abs(time_s - 6) < 0.8, 2 * np.sin(2 * np.pi * 2.5 * time_s), 0.0)
    slow = 5 * np.sin(2 * np.pi * 0.3 * time_s)
    assert [find_rhythm(make_read(time_s, chin_deg=c)) for c in (small, short, slow)] == [None, None, None]


def test_too_few_frames_say_nothing(make_read: MakeRead) -> None:
    slow_camera = np.arange(0, 20, 0.5)
    assert find_rhythm(make_read(slow_camera, chin_deg=2 * np.sin(2 * np.pi * 2.5 * slow_camera))) is None
    assert find_rhythm(make_read(np.zeros(1))) is None
    assert find_rhythm(make_read(np.zeros(0))) is None
    assert find_rhythm(make_read(np.arange(90) / 15, missing=np.ones(90, bool))) is None


def test_head_at_rest_has_no_rhythm(make_read: MakeRead) -> None:
    assert find_rhythm(make_read(np.arange(0, 20, 1 / RATE_HZ), 12.0)) is None


def test_power_shares_equal_the_library() -> None:
    rng = np.random.default_rng(4)
    time_s = np.sort(rng.uniform(-1.5, 1.5, 45))
    moved = np.sin(2 * np.pi * 2.3 * time_s + 0.7) + rng.normal(0, 0.4, 45)
    moved -= moved.mean()
    hz = np.arange(1, 5, 0.05)
    expected = lombscargle(time_s, moved, 2 * np.pi * hz, normalize=True)
    assert _power_shares(time_s, moved[:, None], hz)[:, 0] == pytest.approx(expected, abs=1e-9)
