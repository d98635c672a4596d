"""Steady spells: stretches in which the head is nearly still, what the person chose to hold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posture.geometry.angles import angle_between_deg
from posture.signal.reading import ReadTrack

Array = NDArray[np.float64]

SPEED_DEG_S = 5.0
"""Above this the head is on its way. In the sample clips nineteen of twenty truly still frames read under 5 degrees a second after
smoothing and the middle one 0.4; a small shift of 2 degrees reads 6, a look aside 30 (own measurement, no source)."""

SPEED_OVER_S = 0.4
"""Speed is the rotation across this span, centred: shorter would measure noise, longer would miss a look and back."""

MIN_SPELL_S = 0.6
"""A fixation of the head shorter than this is a pause on the way (common practice, no source)."""

MAX_DRIFT_DEG = 3.0
"""A spell ends when the head has crept this far from where the spell began: slow turning is not holding."""


@dataclass(frozen=True)
class Spell:
    """One steady spell.

    Attributes
    ----------
    first, last : int
        Frames, both included.
    seconds : float
        Each frame counts for the time that it stands for, half the way to its neighbours.
    """

    first: int
    last: int
    seconds: float


def frame_seconds(time_s: Array, longest_s: float = 0.5) -> Array:
    """How much time each frame stands for: half the way to its neighbours, shape (n,).

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    longest_s : float
        A frame never stands for more, so that a gap in the clip counts for nothing.
    """
    if len(time_s) < 2:
        return np.zeros(len(time_s))
    half = np.diff(time_s) / 2
    return np.minimum(np.concatenate([[half[0]], half]) + np.concatenate([half, [half[-1]]]), longest_s)


def angular_speed_deg_s(read: ReadTrack) -> Array:
    """Angular speed of the head at each frame, shape (n,); NaN where it cannot be told.

    Parameters
    ----------
    read : ReadTrack
        Cleaned.
    """
    time_s, n = read.time_s, len(read.time_s)
    index = np.arange(n)
    before = np.minimum(np.searchsorted(time_s, time_s - SPEED_OVER_S / 2 - 1e-6), index)
    after = np.maximum(np.searchsorted(time_s, time_s + SPEED_OVER_S / 2 + 1e-6, side="right") - 1, index)
    # At the edge of a stretch, or with few frames a second, the span is one-sided or as short as there is.
    present = ~np.isnan(read.rotation[:, 0, 0])
    before = np.where(present[before], before, index)
    after = np.where(present[after], after, index)
    before = np.where((before == after) & (index > 0), np.maximum(index - 1, 0), before)
    span = time_s[after] - time_s[before]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(span > 0, angle_between_deg(read.rotation[before], read.rotation[after]) / span, np.nan)


def find_spells(read: ReadTrack, left_out: NDArray[np.bool_] | None = None) -> list[Spell]:
    """Find the steady spells.

    Parameters
    ----------
    read : ReadTrack
        Cleaned: outliers out, short gaps filled, smoothed.
    left_out : ndarray of bool, shape (n,), or None
        Frames that belong to no spell.

    Returns
    -------
    list of Spell
        In order, not overlapping.
    """
    speed = angular_speed_deg_s(read)
    still = np.nan_to_num(speed, nan=np.inf) < SPEED_DEG_S
    if left_out is not None:
        still &= ~left_out
    weight = frame_seconds(read.time_s)
    spells: list[Spell] = []
    first = None
    for i in range(len(still) + 1):
        going = i < len(still) and bool(still[i])
        if first is not None and (not going or angle_between_deg(read.rotation[first], read.rotation[i]) > MAX_DRIFT_DEG):
            seconds = float(weight[first:i].sum())
            if seconds >= MIN_SPELL_S:
                spells.append(Spell(first, i - 1, seconds))
            first = None
        if going and first is None:
            first = i
    return spells


def steady_mask(n: int, spells: list[Spell]) -> NDArray[np.bool_]:
    """Which of n frames lie in a spell, shape (n,)."""
    mask = np.zeros(n, bool)
    for spell in spells:
        mask[spell.first : spell.last + 1] = True
    return mask
