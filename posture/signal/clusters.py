"""One habitual posture or two: looked for before any centre is named."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MIN_SHARE = 0.2
MIN_APART_DEG = 8.0
"""Each of two postures holds a fifth of the steady time and they are 8 degrees apart in tilt or turn (rule of the clinic)."""

MIN_SPELLS = 2
"""A posture that was taken up once is an event, not a second posture."""

MAX_BETWEEN = 0.1
"""Share of the steady time in the middle third between the two centres. One broad posture has 17 % (even spread) to 21 %
(bell-shaped) there; two separate ones have next to none."""

CLEAR_RATIO, CLEAR_RATIO_OF_FEW = 4.5, 40.0
"""Distance between the two centres over the spread within them, both of spell medians: more than 4.5 + 40 / spells. Splitting one
even spread of spells reaches 4.7 of 60 spells and 10 of 8 in one case of a hundred (simulated), so few spells must be clearer."""

ROUNDS = 50


def two_postures(tilt_turn_deg: Array, seconds: Array, spell: NDArray[np.int64]) -> NDArray[np.bool_] | None:
    """Look for two separate postures in tilt and turn.

    Parameters
    ----------
    tilt_turn_deg : ndarray, shape (n, 2)
        Of the steady frames.
    seconds : ndarray, shape (n,)
        How much time each stands for.
    spell : ndarray of int, shape (n,)
        In which spell each lies.

    Returns
    -------
    ndarray of bool, shape (n,), or None
        Which frames belong to the posture with the larger tilt; None where there is one posture.
    """
    if len(np.unique(spell)) < 2 * MIN_SPELLS:
        return None
    best: NDArray[np.bool_] | None = None
    clearest = MAX_BETWEEN
    # Split along tilt, along turn, and along the direction in which the postures spread most.
    centred = tilt_turn_deg - np.average(tilt_turn_deg, axis=0, weights=seconds)
    main = np.linalg.eigh(np.cov(centred.T, aweights=seconds))[1][:, -1]
    for direction in (np.array([1.0, 0.0]), np.array([0.0, 1.0]), main):
        along = centred @ direction
        second = _split(along, seconds)
        if second is None or not _counts(tilt_turn_deg, seconds, spell, second):
            continue
        if not _is_clear(along, seconds, spell, second):
            continue
        low, high = (np.average(along[part], weights=seconds[part]) for part in (~second, second))
        third = (high - low) / 3
        between = seconds[(along > low + third) & (along < high - third)].sum() / seconds.sum()
        if between < clearest:
            best, clearest = second, between
    if best is not None and np.average(tilt_turn_deg[best, 0], weights=seconds[best]) < np.average(
        tilt_turn_deg[~best, 0], weights=seconds[~best]
    ):
        best = ~best
    return best


def _split(along: Array, seconds: Array) -> NDArray[np.bool_] | None:
    """The best division of a line in two (least weighted squares), True for the upper part."""
    cut = (along.min() + along.max()) / 2
    for _ in range(ROUNDS):
        upper = along > cut
        if not upper.any() or upper.all():
            return None
        middle = np.average(along[upper], weights=seconds[upper]) + np.average(along[~upper], weights=seconds[~upper])
        if abs(middle / 2 - cut) < 1e-9:
            break
        cut = middle / 2
    return along > cut


def _is_clear(along: Array, seconds: Array, spell: NDArray[np.int64], second: NDArray[np.bool_]) -> bool:
    """Whether the two centres lie farther apart, against the spread within, than chance divides one spread of spells."""
    medians: list[list[float]] = [[], []]
    for one in np.unique(spell):
        inside = spell == one
        medians[int(seconds[inside & second].sum() * 2 > seconds[inside].sum())].append(float(np.median(along[inside])))
    if min(map(len, medians)) < MIN_SPELLS:
        return False
    n = sum(map(len, medians))
    within = np.sqrt(sum(np.square(np.array(m) - np.mean(m)).sum() for m in medians) / (n - 2))
    return bool(np.mean(medians[1]) - np.mean(medians[0]) > (CLEAR_RATIO + CLEAR_RATIO_OF_FEW / n) * within)


def _counts(tilt_turn_deg: Array, seconds: Array, spell: NDArray[np.int64], second: NDArray[np.bool_]) -> bool:
    """Whether both parts are held long enough, often enough and far enough apart."""
    centres = [np.average(tilt_turn_deg[part], axis=0, weights=seconds[part]) for part in (~second, second)]
    share = seconds[second].sum() / seconds.sum()
    return bool(
        min(share, 1 - share) >= MIN_SHARE
        and np.abs(centres[0] - centres[1]).max() >= MIN_APART_DEG
        and min(len(np.unique(spell[part])) for part in (~second, second)) >= MIN_SPELLS
    )
