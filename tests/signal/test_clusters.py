"""Two postures are found where there are two, and one broad one is never split."""

import numpy as np
import pytest

from posture.signal.clusters import two_postures


def steady(
    spell_means: np.ndarray, rng: np.random.Generator, frames: int = 30, within_deg: float = 0.8
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Frames (tilt and turn), seconds and spell numbers of spells about given means (n, 2)."""
    angles = np.repeat(spell_means, frames, axis=0) + rng.normal(0, within_deg, (len(spell_means) * frames, 2))
    return angles, np.full(len(angles), 1 / 15), np.repeat(np.arange(len(spell_means)), frames)


def around(centre: tuple[float, float], n: int, rng: np.random.Generator, spread_deg: float = 1.5) -> np.ndarray:
    return np.array(centre) + rng.normal(0, spread_deg, (n, 2))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        pytest.param((14.0, 0.0), (-4.0, 0.0), id="tilt"),
        pytest.param((0.0, 20.0), (0.0, 2.0), id="turn"),
        pytest.param((12.0, 15.0), (0.0, 0.0), id="both"),
        pytest.param((12.0, -15.0), (0.0, 0.0), id="opposite"),
    ],
)
@pytest.mark.parametrize("share", [0.25, 0.5, 0.75])
def test_two_postures_are_found(first: tuple[float, float], second: tuple[float, float], share: float) -> None:
    for seed in range(10):
        rng = np.random.default_rng([11, seed])
        n = round(20 * share)
        means = np.concatenate([around(first, n, rng), around(second, 20 - n, rng)])
        order = rng.permutation(20)
        angles, seconds, spell = steady(means[order], rng)
        found = two_postures(angles, seconds, spell)
        assert found is not None
        truly_first = (order < n)[spell]
        # The first is that with the larger tilt; where tilt is equal, either may be.
        agreement = (found == truly_first).mean()
        assert (agreement if first[0] > second[0] else max(agreement, 1 - agreement)) > 0.98


@pytest.mark.parametrize("apart_deg", [0.0, 4.0, 6.5])
def test_postures_less_than_8_degrees_apart_are_one(apart_deg: float) -> None:
    for seed in range(20):
        rng = np.random.default_rng([12, seed])
        means = np.concatenate([around((0, 0), 10, rng, 0.5), around((apart_deg, 0), 10, rng, 0.5)])
        assert two_postures(*steady(means, rng)) is None


def test_posture_with_15_per_cent_is_not_counted() -> None:
    for seed in range(20):
        rng = np.random.default_rng([13, seed])
        means = np.concatenate([around((0, 0), 17, rng), around((18, 0), 3, rng)])
        assert two_postures(*steady(means, rng)) is None


def test_posture_taken_up_once_is_an_event() -> None:
    rng = np.random.default_rng(14)
    angles, seconds, spell = steady(np.concatenate([around((0, 0), 8, rng), [[18.0, 0.0]]]), rng)
    seconds = np.where(spell == 8, 4 * seconds, seconds)
    assert seconds[spell == 8].sum() / seconds.sum() > 0.3
    assert two_postures(angles, seconds, spell) is None


@pytest.mark.parametrize("spread_deg", [3.0, 6.0, 10.0])
@pytest.mark.parametrize("shape", ["normal", "uniform"])
@pytest.mark.parametrize("n", [20, 60])
def test_one_broad_posture_is_rarely_split(shape: str, spread_deg: float, n: int) -> None:
    split = 0
    runs = 100
    for seed in range(runs):
        rng = np.random.default_rng([15, seed, n])
        unit = rng.normal(size=(n, 2)) if shape == "normal" else rng.uniform(-np.sqrt(3), np.sqrt(3), (n, 2))
        split += two_postures(*steady(spread_deg * unit, rng, frames=15)) is not None
    assert split <= 0.05 * runs, f"{split} of {runs} split"


def test_fewer_than_four_spells_are_never_split() -> None:
    rng = np.random.default_rng(16)
    assert two_postures(*steady(np.array([[0.0, 0], [20, 0], [0, 0]]), rng)) is None
    assert two_postures(np.zeros((0, 2)), np.zeros(0), np.zeros(0, int)) is None


def test_head_that_never_moves_is_one_posture() -> None:
    assert two_postures(*steady(np.zeros((10, 2)), np.random.default_rng(17), within_deg=0.0)) is None
