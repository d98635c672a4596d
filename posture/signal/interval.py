"""The middle of a posture held in spells, and how sure it is: resampling spells, not frames."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

Array = NDArray[np.float64]

RESAMPLES = 400
"""The standard error of 400 resamples is itself good to 4 %; more changes nothing that can be read."""

CORRELATION_BEFORE = 0.2
CORRELATION_WORTH_SPELLS = 8
"""Neighbouring spells resemble each other. Their correlation cannot be told from few, so the estimate is drawn towards 0.2 as if
that had been seen in 8 spells; coverage with true correlations of 0 to 0.5 is shown by `python -m tests.proof.coverage`."""

MAX_CORRELATION = 0.8
MIN_FREEDOM = 1.25

_EXACT = 1e-9
"""Weights that differ by less, as a share of all, are equal."""

SEED = 20_240_229
"""The resampling is the same every time, so that a clip measured twice gives the same interval."""


@dataclass(frozen=True)
class Interval:
    """A value with its 95 % interval, in the unit of what it measures."""

    value: float
    low: float
    high: float

    def widened(self, sd: float) -> Interval:
        """The interval with a further independent uncertainty added in quadrature on either side."""
        extra = Z95 * sd
        return Interval(
            self.value,
            self.value - float(np.hypot(self.value - self.low, extra)),
            self.value + float(np.hypot(self.high - self.value, extra)),
        )


Z95 = 1.959964
"""Half width of a 95 % interval in standard deviations."""


def weighted_quantile(values: ArrayLike, weights: ArrayLike, share: float) -> float:
    """The smallest value at or below which at least a share of the weight lies; where that is met exactly, the mean with the next.

    So a mirrored reading has the mirrored median.

    Parameters
    ----------
    values, weights : array_like, shape (n,)
        n of 1 or more; weights not negative, not all 0.
    share : float
        0 to 1; 0.5 is the weighted median.
    """
    v, w = np.asarray(values, float), np.asarray(weights, float)
    order = np.argsort(v, kind="stable")
    heaped = np.cumsum(w[order])
    heaped /= heaped[-1]
    last = len(v) - 1
    lower, upper = (min(int(np.searchsorted(heaped, share + away)), last) for away in (-_EXACT, _EXACT))
    return float((v[order][lower] + v[order][upper]) / 2)


def spell_interval(value: float, spell_values: ArrayLike, spell_seconds: ArrayLike) -> Interval:
    """The sampling part of the 95 % interval of a duration-weighted median.

    Spells are resampled; the standard error of their weighted medians is widened for the resemblance of neighbouring spells
    and scaled with Student's t at the number of spells that they are effectively worth. (A plain percentile bootstrap of five
    spells covers 86 %.)

    Parameters
    ----------
    value : float
        The median that the interval is for, degrees.
    spell_values : array_like, shape (n,)
        Each spell's own median in order of time, degrees; n of 2 or more.
    spell_seconds : array_like, shape (n,)

    Returns
    -------
    Interval

    Raises
    ------
    ValueError
        With fewer than two spells.
    """
    values, seconds = np.asarray(spell_values, float), np.asarray(spell_seconds, float)
    n = len(values)
    if n < 2:
        raise ValueError(f"Expected at least two spells for an interval; {n} came.")
    draws = np.random.default_rng(SEED).integers(0, n, (RESAMPLES, n))
    error = _weighted_medians(values[draws], seconds[draws]).std(ddof=1)
    worth = seconds.sum() ** 2 / (seconds**2).sum()
    inflation = inflation_by_neighbours(values - np.average(values, weights=seconds))
    freedom = max(worth / inflation - 1, MIN_FREEDOM)
    half = float(error * np.sqrt(inflation) * stdtrit(freedom, 0.975))
    return Interval(value, value - half, value + half)


def inflation_by_neighbours(residual: Array) -> float:
    """By how much the variance of a mean is larger than that of independent spells, as neighbouring ones resemble each other.

    Parameters
    ----------
    residual : ndarray, shape (n,)
        Of each spell in order of time, about the middle; n of 2 or more.
    """
    n = len(residual)
    lag = np.arange(1, n)
    return 1 + 2 * float(((1 - lag / n) * _correlation(residual) ** lag).sum())


def _correlation(residual: Array) -> float:
    """Correlation of neighbouring spells, corrected for its small-sample bias and drawn towards what is usual."""
    n = len(residual)
    power = float((residual**2).sum())
    seen = float((residual[1:] * residual[:-1]).sum()) / power if power > 0 else 0.0
    seen += (1 + 3 * seen) / n
    drawn = (n * seen + CORRELATION_WORTH_SPELLS * CORRELATION_BEFORE) / (n + CORRELATION_WORTH_SPELLS)
    return float(np.clip(drawn, 0, MAX_CORRELATION))


def _weighted_medians(values: Array, weights: Array) -> Array:
    """Weighted median of each row, shapes (b, n)."""
    order = np.argsort(values, 1)
    heaped = np.cumsum(np.take_along_axis(weights, order, 1), 1)
    heaped /= heaped[:, -1:]
    ordered = np.take_along_axis(values, order, 1)
    rows = np.arange(len(values))
    lower, upper = ((heaped >= 0.5 + away).argmax(1) for away in (-_EXACT, _EXACT))
    return np.asarray((ordered[rows, lower] + ordered[rows, upper]) / 2)
