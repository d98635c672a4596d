"""How the camera stood over a whole clip, from what single pictures said: one stand, or one that sways with the hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import Akima1DInterpolator

Array = NDArray[np.float64]

LEAST_LOOKS = 3
"""Pictures of a clip that have to have said something; of a shorter one, all of them."""

REACH_S = 1.5
"""So far in time a picture speaks for the others."""

LEAST_STILL_SHARE, LEAST_SWAY_SHARE = 0.3, 0.7
"""Of the clip that has to be within reach: a camera on a stand is where it was, a hand is not."""

STILL_ROLL_DEG, STILL_PITCH_DEG = 0.4, 0.8
"""Changes (as a standard deviation) below these are not followed: following would add as much as it takes away."""

EXPLAINED = 1.3
"""A spread up to so many of the uncertainties is explained by them: a spread itself is only known to some 20 %."""

WANDERS = 1.7
"""A camera moved where values spread this much more than neighbouring ones differ; noise alone gives 1."""

OUT_SD, OUT_DEG = 3.5, 1.5
"""A value further from the course of the others than so many robust standard deviations, and than so many degrees of roll (twice of
pitch) beside its own uncertainty, is left out."""

NEIGHBOURS_S = 0.8
MOST_PASSES = 12
"""Of leaving out what does not agree; neighbours in time are those within the first."""

MOST_OUT = 0.35
"""Where more than this share has to be left out, the values do not agree."""

MOST_NOISE_DEG = 2.5
"""Nor where the roll scatters by more than this (standard deviation) from one picture to the next."""

WIDTH_S = 0.25
"""Standard deviation of the weights by which a swaying camera is smoothed: a hand sways about once in one to five seconds, and single
pictures are read to a few tenths of a degree."""

LEAST_SMOOTHED = 4
"""Where fewer values are near, the width grows until half of it reaches that many."""

SWAY_ROLL_SD_DEG, SWAY_PITCH_SD_DEG = 0.3, 0.6
"""How far a hand strays from the smooth course between two looks (drawn sways of 5 degrees: 0.2 to 0.3)."""

SAME_SHARE = 0.7
"""The same lines are wrong in the same way in every picture: at least this share of a picture's uncertainty stays."""


@dataclass(frozen=True)
class SceneStand:
    """How the camera stood in every frame; signs as in `posture.conventions`.

    Attributes
    ----------
    roll_deg, pitch_deg : ndarray, shape (n,)
        No NaN.
    roll_sd_deg, pitch_sd_deg : float
        Standard deviations of the two, of a usual frame.
    still : bool
        Whether the camera is taken to have stood still; roll and pitch are then the same in every frame.
    """

    roll_deg: Array
    pitch_deg: Array
    roll_sd_deg: float
    pitch_sd_deg: float
    still: bool


def smooth_stand(
    time_s: ArrayLike, roll_deg: ArrayLike, pitch_deg: ArrayLike, roll_sd_deg: ArrayLike, pitch_sd_deg: ArrayLike
) -> SceneStand | None:
    """Give every frame a roll and a pitch of the camera, from the frames in which the scene was looked at.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Not decreasing.
    roll_deg, pitch_deg, roll_sd_deg, pitch_sd_deg : array_like, shape (n,)
        Of each frame; NaN where the scene was not looked at or did not say.

    Returns
    -------
    SceneStand or None
        None where too few frames said something, or they contradict each other.

    Raises
    ------
    ValueError
        If the shapes differ, or the time decreases or is not finite.
    """
    time = np.asarray(time_s, float)
    columns = [np.asarray(a, float) for a in (roll_deg, pitch_deg, roll_sd_deg, pitch_sd_deg)]
    if time.ndim != 1 or any(a.shape != time.shape for a in columns):
        shapes = [a.shape for a in (time, *columns)]
        raise ValueError(
            f"Expected five arrays of one shape (n,); got {shapes}. Give one value a frame, NaN where there is none."
        )
    if not np.isfinite(time).all() or (np.diff(time) < 0).any():
        raise ValueError("Expected finite times that do not decrease; got others. Give the frames in order.")
    said = np.isfinite(columns).all(0) & (columns[2] > 0) & (columns[3] > 0)
    if said.sum() < max(1, min(LEAST_LOOKS, len(time))):
        return None
    at, values, sds = time[said], np.stack([c[said] for c in columns[:2]], 1), np.stack([c[said] for c in columns[2:]], 1)
    usual_sd = np.median(sds, 0)
    if _is_still(values, sds):
        if _near_share(time, at) < LEAST_STILL_SHARE:
            return None
        return _still(len(time), values, sds)
    kept = _agreeing(at, values, sds)
    if kept.mean() < 1 - MOST_OUT or kept.sum() < LEAST_LOOKS:
        return None
    at, values, sds = at[kept], values[kept], sds[kept]
    if _noise(values)[0] > MOST_NOISE_DEG or _near_share(time, at) < LEAST_SWAY_SHARE:
        return None
    smooth = _local_curves(at, values, sds, np.ones(len(at), bool), leave_out=False)
    # What is left about the smooth course is noise of single pictures; a few of them make each value.
    noise = 1.4826 * np.median(np.abs(values - smooth), 0)
    sd = np.sqrt(_same(usual_sd, noise) ** 2 + noise**2 / 2 + np.array([SWAY_ROLL_SD_DEG, SWAY_PITCH_SD_DEG]) ** 2)
    roll, pitch = (_between(time, at, smooth[:, k]) for k in range(2))
    return SceneStand(roll, pitch, float(sd[0]), float(sd[1]), False)


def _near_share(time: Array, at: Array) -> float:
    """Which share of the frames has a look within reach."""
    after = np.searchsorted(at, time)
    before = np.abs(time - at[np.maximum(after - 1, 0)])
    return float((np.minimum(before, np.abs(time - at[np.minimum(after, len(at) - 1)])) <= REACH_S).mean())


def _spread(values: Array) -> Array:
    """Robust standard deviation of columns (m, 2), shape (2,)."""
    return np.asarray(1.4826 * np.median(np.abs(values - np.median(values, 0)), 0))


def _noise(values: Array) -> Array:
    """Robust standard deviation by which single values of (m, 2) differ from a smooth course, shape (2,); 0 for one."""
    if len(values) < 2:
        return np.zeros(2)
    return np.asarray(1.4826 * np.median(np.abs(np.diff(values, axis=0)), 0) / np.sqrt(2))


def _is_still(values: Array, sds: Array) -> bool:
    """Whether the spread over time is what the uncertainties explain, and no smooth movement besides."""
    spread, noise = _spread(values), _noise(values)
    least = np.array([STILL_ROLL_DEG, STILL_PITCH_DEG])
    explained = spread <= np.maximum(EXPLAINED * np.median(sds, 0), least)
    wanders = (spread > WANDERS * noise) & (spread > least) & (len(values) > 2 * LEAST_LOOKS)
    return bool((explained & ~wanders).all())


def _same(usual_sd: Array, noise: Array) -> Array:
    """The part (2,) of the uncertainty that is the same in every picture."""
    return np.maximum(np.sqrt(np.maximum(usual_sd**2 - noise**2, 0)), SAME_SHARE * usual_sd)


def _still(n: int, values: Array, sds: Array) -> SceneStand:
    """One stand for all of n frames: the weighted mean of the values near their weighted median."""
    centre, sd = np.zeros(2), np.zeros(2)
    for k in range(2):
        weight = sds[:, k] ** -2
        order = np.argsort(values[:, k], kind="stable")
        middle = values[order[np.searchsorted(np.cumsum(weight[order]), weight.sum() / 2)], k]
        spread = max(_spread(values)[k], float(np.median(sds[:, k])) / 3)
        near = np.abs(values[:, k] - middle) <= OUT_SD * spread
        centre[k] = np.average(values[near, k], weights=weight[near])
        noise = float(np.sqrt(np.average((values[near, k] - centre[k]) ** 2, weights=weight[near])))
        independent = weight[near].sum() ** 2 / (weight[near] ** 2).sum()
        best = np.sqrt(np.average(sds[near, k] ** 2, weights=weight[near]))
        # One picture alone has its whole uncertainty; noise over time shows which part of it more pictures take away.
        sd[k] = best if len(values) == 1 else np.sqrt(_same(best, np.array(noise)) ** 2 + noise**2 / independent)
    return SceneStand(np.full(n, centre[0]), np.full(n, centre[1]), float(sd[0]), float(sd[1]), True)


def _agreeing(at: Array, values: Array, sds: Array) -> NDArray[np.bool_]:
    """Which values (m, 2) agree with the course of the others, shape (m,)."""
    kept = np.ones(len(at), bool)
    least = OUT_DEG * np.array([1.0, 2.0]) + np.median(sds, 0)
    for _ in range(MOST_PASSES):
        off = np.abs(values - _local_curves(at, values, sds, kept, leave_out=True))
        # Of the first and the last only what the neighbours hold is known, not where they go.
        off[(at <= at[kept][0]) | (at >= at[kept][-1])] /= 2
        excess = (off / np.maximum(OUT_SD * 1.4826 * np.median(off[kept], 0), least)).max(1)
        if excess[kept].max() <= 1 or kept.sum() <= LEAST_LOOKS:
            return np.asarray(excess <= 1)
        # A wrong value pulls the course off its neighbours too: only the worst of a neighbourhood goes at a time.
        among = np.where(kept, excess, 0.0)
        first, last = np.searchsorted(at, at - NEIGHBOURS_S), np.searchsorted(at, at + NEIGHBOURS_S, "right")
        worst = np.array([among[a:b].max() for a, b in zip(first, last, strict=True)])
        kept &= (excess <= 1) | (excess < worst)
    return kept


def _local_curves(at: Array, values: Array, sds: Array, kept: NDArray[np.bool_], leave_out: bool) -> Array:
    """Weighted parabolas through the kept of values (m, 2) around each time (m,), there; straight lines would cut off turns."""
    smooth = np.empty_like(values)
    for k in range(len(at)):
        first, last = np.searchsorted(at, [at[k] - REACH_S, at[k] + REACH_S * (1 + 1e-9)])
        near = np.arange(first, last)
        near = near[kept[near] & ((near != k) | (not leave_out))]
        if len(near) < LEAST_SMOOTHED:
            others = np.flatnonzero(kept & ((np.arange(len(at)) != k) | (not leave_out)))
            near = np.sort(others[np.argsort(np.abs(at[others] - at[k]), kind="stable")[:LEAST_SMOOTHED]])
        away = at[near] - at[k]
        width = max(WIDTH_S, float(np.sort(np.abs(away))[min(LEAST_SMOOTHED, len(near)) - 1]) / 2)
        is_bent = len(near) >= LEAST_SMOOTHED and not (leave_out and (away[0] > 0) == (away[-1] > 0))
        powers = np.vander(away / width, 3 if is_bent else 1, increasing=True)
        # lstsq takes the square root of a weight: half of the exponent, and one over the standard deviation.
        root = (np.exp(-0.25 * (away / width) ** 2) / sds[near].mean(1))[:, None]
        smooth[k] = np.linalg.lstsq(powers * root, values[near] * root, rcond=None)[0][0]
    return smooth


def _between(time: Array, at: Array, smooth: Array) -> Array:
    """Smoothed values (m,) at the times of all frames, held before the first and after the last."""
    apart = np.concatenate([[True], np.diff(at) > 0])
    inside = np.clip(time, at[0], at[-1])
    if apart.sum() < LEAST_SMOOTHED:
        return np.interp(inside, at, smooth)
    return np.asarray(Akima1DInterpolator(at[apart], smooth[apart])(inside), float)
