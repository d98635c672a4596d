"""The habitual posture: what a person holds, for how much of the time, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posture.conventions import STRAIGHT_DEG
from posture.signal.clean import clean_track
from posture.signal.clusters import two_postures
from posture.signal.interval import Interval, spell_interval, weighted_quantile
from posture.signal.reading import ReadTrack
from posture.signal.rhythm import Rhythm, find_rhythm
from posture.signal.steady import Spell, find_spells, frame_seconds
from posture.signal.uncertainty import angle_sds_deg

Array = NDArray[np.float64]

MIN_STEADY_S, MIN_SPELLS = 5.0, 4
"""Less gives no habitual posture, only a moment."""

ENOUGH_STEADY_S, ENOUGH_SPELLS = 30.0, 10
"""Less gives a number with a warning."""

REACH_SHARE = 0.01
"""Reach is what one frame in a hundred exceeds: a single frame is an error more often than a reach."""


@dataclass(frozen=True)
class HeldAngle:
    """One angle of a held posture, degrees: the median with its interval, and the middle half of the steady time."""

    interval: Interval
    middle_half: tuple[float, float]


@dataclass(frozen=True)
class HeldPosture:
    """A posture that is held: its share of the steady time and its three angles."""

    share: float
    tilt: HeldAngle
    turn: HeldAngle
    chin: HeldAngle


@dataclass(frozen=True)
class Moment:
    """A single moment, where there is too little for a habitual posture. Intervals hold no sampling part."""

    time_s: float
    tilt: Interval
    turn: Interval
    chin: Interval


@dataclass(frozen=True)
class Reach:
    """The farthest that was seen to either side, degrees, 0 or more; not having looked is not being unable."""

    tilt_right_deg: float
    tilt_left_deg: float
    turn_right_deg: float
    turn_left_deg: float


@dataclass(frozen=True)
class HabitualPosture:
    """What a reading comes to. Signs are the person's own, or the picture's own while mirroring is unknown.

    Attributes
    ----------
    postures : tuple of HeldPosture
        None, one, or two; two are never averaged.
    moment : Moment or None
        Where there is too little for a posture, and a face was seen.
    steady_s : float
    spells : tuple of Spell
    share_tilt_right, share_tilt_left : float
        Of the steady time, tilted by `STRAIGHT_DEG` or more.
    reach : Reach or None
    rhythm : Rhythm or None
    read : ReadTrack
        As read, not cleaned.
    cleaned : ReadTrack
        The same frames cleaned; the spells index it.
    """

    postures: tuple[HeldPosture, ...]
    moment: Moment | None
    steady_s: float
    spells: tuple[Spell, ...]
    share_tilt_right: float
    share_tilt_left: float
    reach: Reach | None
    rhythm: Rhythm | None
    read: ReadTrack
    cleaned: ReadTrack


def find_habitual_posture(read: ReadTrack) -> HabitualPosture:
    """Find what a person habitually holds.

    Parameters
    ----------
    read : ReadTrack
        As read, not cleaned: rhythm is looked for first.

    Returns
    -------
    HabitualPosture
    """
    rhythm = find_rhythm(read)
    cleaned = clean_track(read)
    spells = find_spells(cleaned)
    seconds = frame_seconds(cleaned.time_s)
    angles = cleaned.angles_deg
    index = np.concatenate([np.arange(s.first, s.last + 1) for s in spells]) if spells else np.zeros(0, int)
    which = np.repeat(np.arange(len(spells)), [s.last - s.first + 1 for s in spells])
    steady_s = float(seconds[index].sum())
    tilt, weight = angles[index, 0], seconds[index]
    total = max(steady_s, 1e-9)
    postures: tuple[HeldPosture, ...] = ()
    if steady_s >= MIN_STEADY_S and len(spells) >= MIN_SPELLS:
        second = two_postures(angles[index, :2], weight, which)
        parts = [np.ones(len(index), bool)] if second is None else [second, ~second]
        postures = tuple(_held(cleaned, index[part], weight[part], which[part], steady_s) for part in parts)
    return HabitualPosture(
        postures=postures,
        moment=None if postures else _moment(cleaned, spells),
        steady_s=steady_s,
        spells=tuple(spells),
        share_tilt_right=float(weight[tilt >= STRAIGHT_DEG].sum() / total),
        share_tilt_left=float(weight[tilt <= -STRAIGHT_DEG].sum() / total),
        reach=_reach(cleaned),
        rhythm=rhythm,
        read=read,
        cleaned=cleaned,
    )


def _held(
    cleaned: ReadTrack, index: NDArray[np.int64], weight: Array, which: NDArray[np.int64], steady_s: float
) -> HeldPosture:
    """The duration-weighted medians of some steady frames, with their intervals."""
    angles = cleaned.angles_deg[index]
    spells = np.unique(which)
    spell_seconds = np.array([weight[which == s].sum() for s in spells])
    middles = [weighted_quantile(angles[:, k], weight, 0.5) for k in range(3)]
    central = index[np.abs(angles - middles).sum(1).argmin()]
    sds = angle_sds_deg(cleaned, int(central), index)
    held = []
    for k in range(3):
        of_spells = [weighted_quantile(angles[which == s, k], weight[which == s], 0.5) for s in spells]
        interval = spell_interval(middles[k], of_spells, spell_seconds).widened(sds[k])
        half = (weighted_quantile(angles[:, k], weight, 0.25), weighted_quantile(angles[:, k], weight, 0.75))
        held.append(HeldAngle(interval, half))
    return HeldPosture(float(weight.sum() / steady_s), *held)


def _moment(cleaned: ReadTrack, spells: list[Spell]) -> Moment | None:
    """The middle of the longest spell, or the face nearest to the middle of those seen."""
    seen = np.flatnonzero(cleaned.face_found)
    if len(seen) == 0:
        return None
    if spells:
        longest = max(spells, key=lambda s: s.seconds)
        inside = seen[(seen >= longest.first) & (seen <= longest.last)]
        seen = inside if len(inside) else seen
    angles = cleaned.angles_deg[seen]
    at = int(seen[np.abs(angles - np.median(angles, axis=0)).sum(1).argmin()])
    sds = angle_sds_deg(cleaned, at, np.array([at]))
    values = [Interval(float(v), float(v), float(v)).widened(sd) for v, sd in zip(cleaned.angles_deg[at], sds, strict=True)]
    return Moment(float(cleaned.time_s[at]), *values)


def _reach(cleaned: ReadTrack) -> Reach | None:
    """How far the head was seen to go."""
    angles = cleaned.angles_deg[cleaned.face_found]
    if len(angles) == 0:
        return None
    low, high = np.quantile(angles[:, :2], [REACH_SHARE, 1 - REACH_SHARE], axis=0)
    return Reach(*(float(max(v, 0.0)) for v in (high[0], -low[0], high[1], -low[1])))
