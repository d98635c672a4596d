"""How often the 95 % interval holds the truth: ``python -m tests.proof.coverage [--runs N]``.

The sampling part alone (`posture.signal.interval.spell_interval`), for spells whose true middle is known: values with a standard
deviation of 3 degrees about it, each drawn towards the one before (first-order autocorrelation), lasting 0.6 s and an exponential
time of 1.5 s on average. Camera, lens, landmarks and the zero of the chin come on top of that in quadrature and are not simulated.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posture.signal.interval import spell_interval, weighted_quantile

SPELLS = (5, 8, 12, 20, 40)
CORRELATIONS = (0.0, 0.3, 0.5)
SPREAD_DEG = 3.0
SHORTEST_S, MEAN_EXTRA_S = 0.6, 1.5
RUNS = 3000
SEED = 2026

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Coverage:
    """What came of many simulated clips: the share whose interval held the truth, its standard error, the median half width."""

    share: float
    share_error: float
    half_deg: float


def simulate_spells(n: int, correlation: float, rng: np.random.Generator) -> tuple[Array, Array]:
    """Values (degrees about a true middle of 0) and seconds of n spells, each of shape (n,)."""
    fresh = rng.normal(size=n)
    values = np.empty(n)
    values[0] = fresh[0]
    for i in range(1, n):
        values[i] = correlation * values[i - 1] + np.sqrt(1 - correlation**2) * fresh[i]
    return SPREAD_DEG * values, SHORTEST_S + rng.exponential(MEAN_EXTRA_S, n)


def find_coverage(n: int, correlation: float, runs: int, seed: int = SEED) -> Coverage:
    """Simulate clips of n spells and count how often the interval of the median holds the truth.

    Parameters
    ----------
    n : int
        Spells of a clip.
    correlation : float
        Of neighbouring spells.
    runs : int
    seed : int

    Returns
    -------
    Coverage
    """
    rng = np.random.default_rng([seed, n, round(100 * correlation)])
    held, halves = 0, np.empty(runs)
    for run in range(runs):
        values, seconds = simulate_spells(n, correlation, rng)
        interval = spell_interval(weighted_quantile(values, seconds, 0.5), values, seconds)
        held += interval.low <= 0.0 <= interval.high
        halves[run] = (interval.high - interval.low) / 2
    share = held / runs
    return Coverage(share, float(np.sqrt(share * (1 - share) / runs)), float(np.median(halves)))


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=RUNS, help=f"clips simulated for each entry (default {RUNS})")
    runs = parser.parse_args(argv).runs
    print(
        f"Coverage of the sampling part of the 95 % interval, {runs} simulated clips each, spells with a standard deviation of"
        f" {SPREAD_DEG:g} degrees.\nPer cent that hold the truth (standard error about {100 * np.sqrt(0.05 * 0.95 / runs):.1f});"
        " in brackets the median half width in degrees."
    )
    print("correlation of neighbours" + "".join(f"{f'{n} spells':>16}" for n in SPELLS))
    for correlation in CORRELATIONS:
        row = [find_coverage(n, correlation, runs) for n in SPELLS]
        print(f"{correlation:<25g}" + "".join(f"{f'{100 * c.share:.1f} ({c.half_deg:.1f})':>16}" for c in row), flush=True)


if __name__ == "__main__":
    main()
