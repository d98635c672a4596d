"""An exploration, no part of the hint: whether the head goes with the trunk as it leans in free play, or is kept to gravity.

The slope of tilt on lean is about 0 for a head kept to gravity and about 1 for one that goes with the body. What is known of how the
shoulder line errs is taken out or carried: an error in the lean by itself would draw any slope towards 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from posture.signal.habitual import HabitualPosture
from posture.signal.interval import MIN_FREEDOM, Interval, inflation_by_neighbours

Array = NDArray[np.float64]

READ_SHARE, READ_SHARE_SD = 0.88, 0.07
"""Of a true lean so much is read, on rendered adults (``python -m tests.proof.trunk``); between people it differs by about the second."""

HEAD_SHARES = (0.0, 0.05, 0.1)
"""Of the head's tilt so much is read as a lean: 0.05 on rendered people; the outer ones are tried to see how far the slope moves."""

LEAN_SDS_DEG = (1.0, 1.6, 2.2)
"""Standard deviation of the error of a spell's lean about the person's own line. On rendered adults single looks err by 2.4, of which the
share that is misread makes 1.0; what all looks at one person have in common no slope notices, and several looks make a spell. So it is
2.2 at most; the outer ones are tried to see how far the slope moves."""

MIN_SPELLS = 10
"""Fewer spells do not show their own scatter."""

MIN_LEAN_SD_DEG = 3.0
"""With a trunk that leans less (standard deviation between spells, the error taken out) most of what is read is error."""

LEAST_SHARE_OF_SPELL = 0.5
"""A spell counts where the shoulders are known for so much of it."""

MOST_CAMERA_SD_DEG = 1.0
"""A camera that rolls by more, and is not read from the scene, tilts head and trunk together, which looks like a slope of 1."""

HALF_WAY = 0.5
"""Half the way from 0 to 1; a slope is one or the other only where all of its interval is on one side."""


@dataclass(frozen=True)
class TrunkSlope:
    """The slope of tilt on trunk lean.

    Attributes
    ----------
    slope : Interval or None
        Degrees of tilt for each degree of lean. A clip and its mirror image have the same.
    lean_deg, tilt_deg : ndarray, shape (n,)
        Medians of each spell in which both are known; the lean corrected for what is usually misread.
    lean_sd_deg : float or None
        How much the trunk leaned: standard deviation between spells, the error of reading taken out; None with under two spells.
    refused : str or None
        Why there is no slope, a sentence.
    """

    slope: Interval | None
    lean_deg: Array
    tilt_deg: Array
    lean_sd_deg: float | None
    refused: str | None

    @property
    def goes_with(self) -> str | None:
        """What the head goes with, as 'gravity' or 'body'; None where the interval is not clear of the middle between them."""
        if self.slope is None:
            return None
        if self.slope.high < HALF_WAY:
            return "gravity"
        return "body" if self.slope.low > HALF_WAY else None


def explore_trunk(found: HabitualPosture) -> TrunkSlope:
    """Find the slope of tilt on trunk lean over the steady spells.

    Parameters
    ----------
    found : HabitualPosture
        Spells in which an examiner had set the head are no part of it.

    Returns
    -------
    TrunkSlope
        With a sentence instead of a slope where it cannot be told.
    """
    read_deg, tilt_deg = _spell_medians(found)
    lean_deg = _true_lean(read_deg, tilt_deg, HEAD_SHARES[1])
    spread = None
    if len(lean_deg) > 1:
        spread = max(float(np.var(lean_deg, ddof=1)) - (LEAN_SDS_DEG[1] / READ_SHARE) ** 2, 0.0) ** 0.5
    refused = _refuse(found, len(lean_deg), spread)
    slope = None if refused else find_slope(read_deg, tilt_deg)
    if slope is None and refused is None:
        refused = "How head and trunk go together is too uncertain to be given. Film longer, with toys on either side."
    return TrunkSlope(slope, lean_deg, tilt_deg, spread, refused)


def find_slope(read_deg: Array, tilt_deg: Array) -> Interval | None:
    """The slope of tilt on true lean, with the errors of reading the lean allowed for.

    The lean as read is taken to be a share of the true one, a share of the head's tilt, and an error. Share and leak are divided and
    subtracted out. The error's variance is subtracted from the lean's, as it makes the ordinary slope too small. The interval leaves out
    one spell at a time, and is widened for neighbouring spells that resemble each other; it is found with each of the likely leaks and
    errors, and the farthest ends are kept; what is not known of the share is added in quadrature.

    Parameters
    ----------
    read_deg, tilt_deg : ndarray, shape (n,)
        Lean as read and tilt, of each spell in order of time.

    Returns
    -------
    Interval or None
        None where the lean is no more than its error may be.
    """
    middle = _jackknife(_true_lean(read_deg, tilt_deg, HEAD_SHARES[1]), tilt_deg, LEAN_SDS_DEG[1] / READ_SHARE)
    if middle is None:
        return None
    low, high = middle.low, middle.high
    for head_share, sd in product(HEAD_SHARES, LEAN_SDS_DEG):
        one = _jackknife(_true_lean(read_deg, tilt_deg, head_share), tilt_deg, sd / READ_SHARE)
        if one is None:
            return None
        low, high = min(low, one.low), max(high, one.high)
    return Interval(middle.value, low, high).widened(abs(middle.value) * READ_SHARE_SD / READ_SHARE)


def _spell_medians(found: HabitualPosture) -> tuple[Array, Array]:
    """Lean as read and tilt of the spells in which the shoulders are known, each (n,)."""
    cleaned = found.cleaned
    rows = []
    for spell in found.spells:
        lean, tilt = (values[spell.first : spell.last + 1] for values in (cleaned.trunk.tilt_deg, cleaned.angles_deg[:, 0]))
        both = np.isfinite(lean) & np.isfinite(tilt)
        if both.mean() >= LEAST_SHARE_OF_SPELL:
            rows.append((float(np.median(lean[both])), float(np.median(tilt[both]))))
    pairs = np.array(rows).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]


def _true_lean(read_deg: Array, tilt_deg: Array, head_share: float) -> Array:
    """What the lean would be, without what is usually misread."""
    return np.asarray((read_deg - head_share * tilt_deg) / READ_SHARE)


def _refuse(found: HabitualPosture, spells: int, spread_deg: float | None) -> str | None:
    """Why the slope is not looked for."""
    scene, upright = found.read.scene, found.read.upright
    if scene is not None and upright.kind != "scene" and float(np.std(scene.roll_deg)) > MOST_CAMERA_SD_DEG:
        return (
            "The camera moved, which tilts head and trunk together. Read upright from the scene, or film from something firm."
        )
    if spells < MIN_SPELLS:
        return f"The shoulders are known in {spells} steady spells; {MIN_SPELLS} are needed. Film them too, and for longer."
    if spread_deg is None or spread_deg < MIN_LEAN_SD_DEG:
        return (
            f"The trunk hardly leaned (by about {spread_deg or 0.0:.0f} degrees, {MIN_LEAN_SD_DEG:.0f} are needed), so nothing shows"
            " what the head does then. Film play with toys on either side."
        )
    return None


def _jackknife(lean_deg: Array, tilt_deg: Array, lean_error_sd_deg: float) -> Interval | None:
    """Slope and interval for one size of the error of lean; None where the lean is no more than its error."""
    n = len(lean_deg)
    slope = _corrected_slope(lean_deg, tilt_deg, lean_error_sd_deg)
    without = [_corrected_slope(np.delete(lean_deg, k), np.delete(tilt_deg, k), lean_error_sd_deg) for k in range(n)]
    if slope is None or None in without:
        return None
    pseudo = n * slope - (n - 1) * np.array(without, float)
    inflation = inflation_by_neighbours(pseudo - pseudo.mean())
    error = float(np.std(pseudo, ddof=1) * np.sqrt(inflation / n))
    half = error * float(stdtrit(max(n / inflation - 2, MIN_FREEDOM), 0.975))
    return Interval(slope, slope - half, slope + half)


def _corrected_slope(lean_deg: Array, tilt_deg: Array, lean_error_sd_deg: float) -> float | None:
    """Covariance over the variance of lean without its error's; None where nothing is left of that."""
    (own, together), _ = np.cov(lean_deg, tilt_deg)
    true = own - lean_error_sd_deg**2
    return float(together / true) if true > 0 else None
