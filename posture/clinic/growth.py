"""How much a tilt grew over years: by its trend, and by its last step."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from posture.clinic.dates import When
from posture.clinic.natural import NATURAL_SD_DEG, Z95
from posture.summary.record import Interval

Array = NDArray[np.float64]


def certainly_ordered(whens: Sequence[When]) -> list[int]:
    """Which dates stand in an order that is certain, in that order: of those that overlap the most precise one.

    Parameters
    ----------
    whens : sequence of When

    Returns
    -------
    list of int
        Places in the sequence.
    """
    kept: list[int] = []
    for i in sorted(range(len(whens)), key=lambda i: whens[i].last - whens[i].first):
        if all(whens[k].is_before(whens[i]) or whens[i].is_before(whens[k]) for k in kept):
            kept.append(i)
    return sorted(kept, key=lambda i: whens[i].first)


def variance_of(tilt: Interval) -> float:
    """Variance of one recording's tilt, measurement and natural variation, in square degrees."""
    # The natural variation of a difference is that of two recordings; one has half of it, in squares.
    return (max(tilt.value - tilt.low, tilt.high - tilt.value) / Z95) ** 2 + NATURAL_SD_DEG["tilt"] ** 2 / 2


def trend_of(at: Array, tilt: Array, variance: Array) -> Interval:
    """Rise of the weighted straight line from the first to the last, degrees."""
    weight = 1 / variance
    middle = np.average(at, weights=weight)
    spread = float(np.sum(weight * (at - middle) ** 2))
    span = float(at[-1] - at[0])
    rise = float(np.sum(weight * (at - middle) * tilt)) / spread * span
    half = Z95 * span / math.sqrt(spread)
    return Interval(value=rise, low=rise - half, high=rise + half)


def last_step_of(tilt: Array, variance: Array) -> Interval:
    """Rise of the last above the weighted mean of the earlier, degrees: an old tilt that worsens late."""
    weight = 1 / variance[:-1]
    rise = float(tilt[-1] - np.average(tilt[:-1], weights=weight))
    half = Z95 * math.sqrt(float(variance[-1] + 1 / weight.sum()))
    return Interval(value=rise, low=rise - half, high=rise + half)
