"""The habitual posture: what a person holds, for how much of the time, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from posture.conventions import STRAIGHT_DEG
from posture.geometry.angles import posture_angles, posture_matrix
from posture.signal.clean import clean_track
from posture.signal.clusters import two_postures
from posture.signal.face_symmetry import HeldSymmetry, find_symmetry
from posture.signal.interval import Interval, spell_interval, weighted_quantile
from posture.signal.reading import ReadTrack
from posture.signal.rhythm import Rhythm, find_rhythm
from posture.signal.spans import inside
from posture.signal.steady import Spell, find_spells, frame_seconds
from posture.signal.uncertainty import (
    EYE_LINE_SD_DEG,
    LINES_APART_SD_DEG,
    MIDFACE_SD_DEG,
    angle_sds_deg,
)

Array = NDArray[np.float64]

MIN_STEADY_S, MIN_SPELLS = 5.0, 4
"""Less gives no habitual posture, only a moment."""

MIN_TARGET_S, MIN_TARGET_SPELLS = 5.0, 2
"""Less steady time on the target gives no turn and chin of their own."""

SHIFT_SD_SHARE = 0.05
"""Where the shoulders end differs between people by about a twentieth of their width (common practice, no source)."""

ENOUGH_STEADY_S, ENOUGH_SPELLS = 30.0, 10
"""Less gives a number with a warning."""

ASKED_REST_S = 10.0
"""For so long before and after a movement that was asked the head is not left to itself: it waits, or comes back (common practice, no
source)."""

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
class FaceLineTilts:
    """Tilts of two lines of one face, degrees: through the eyes, and from the middle of the lips to that of the brows.

    Attributes
    ----------
    eyes, midface : Interval
    difference : Interval
        Of the mid-face line from the eye line.
    """

    eyes: Interval
    midface: Interval
    difference: Interval


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
    target_s : float or None
        Steady time with the eyes on the target; None where that was not marked.
    from_target : bool
        Turn and chin of the one posture are those of that time.
    tilt_on_trunk, head_shift : Interval or None
        Against the shoulder line, degrees, and along it, in shoulder widths, + as tilt; where the shoulders could be used.
    lines : FaceLineTilts or None
        Of the one posture.
    symmetry : HeldSymmetry
        Of the face, whatever was held.
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
    target_s: float | None
    from_target: bool
    tilt_on_trunk: Interval | None
    head_shift: Interval | None
    lines: FaceLineTilts | None
    symmetry: HeldSymmetry
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
    # What an examiner set or asked is not what the person holds.
    asked = [(begin - ASKED_REST_S, end + ASKED_REST_S) for begin, end in read.settings.asked]
    is_set = inside(read.time_s, [*read.settings.head_set, *asked])
    spells = find_spells(cleaned, is_set)
    steady = _Steady.of(cleaned, spells)
    tilt, total = steady.angles_deg[:, 0], max(steady.total_s, 1e-9)
    on_target = None if read.settings.on_target is None else inside(read.time_s, read.settings.on_target)[steady.index]
    target = steady if on_target is None else steady.part(on_target)
    from_target = on_target is not None and target.total_s >= MIN_TARGET_S and len(target.spells) >= MIN_TARGET_SPELLS
    postures: tuple[HeldPosture, ...] = ()
    if steady.total_s >= MIN_STEADY_S and len(spells) >= MIN_SPELLS:
        second = two_postures(steady.angles_deg[:, :2], steady.weight_s, steady.which)
        if second is None:
            postures = (_held(steady, target if from_target else steady, total),)
        else:
            postures = tuple(_held(part, part, total) for part in (steady.part(second), steady.part(~second)))
    is_one = len(postures) == 1
    return HabitualPosture(
        postures=postures,
        moment=None if postures else _moment(cleaned, spells, is_set),
        steady_s=steady.total_s,
        spells=tuple(spells),
        share_tilt_right=float(steady.weight_s[tilt >= STRAIGHT_DEG].sum() / total),
        share_tilt_left=float(steady.weight_s[tilt <= -STRAIGHT_DEG].sum() / total),
        reach=_reach(cleaned, is_set),
        rhythm=rhythm,
        target_s=None if on_target is None else target.total_s,
        from_target=from_target and is_one,
        tilt_on_trunk=_against_trunk(steady) if is_one else None,
        head_shift=_middle(steady, read.trunk.shift_share, SHIFT_SD_SHARE) if is_one else None,
        lines=_face_lines(steady) if is_one else None,
        symmetry=find_symmetry(cleaned),
        read=read,
        cleaned=cleaned,
    )


@dataclass(frozen=True)
class _Steady:
    """The steady frames, the time that each stands for, and the number of the spell that each is of."""

    cleaned: ReadTrack
    index: NDArray[np.int64]
    weight_s: Array
    which: NDArray[np.int64]

    @classmethod
    def of(cls, cleaned: ReadTrack, spells: list[Spell]) -> _Steady:
        """All steady frames."""
        ranges = [np.arange(s.first, s.last + 1) for s in spells]
        index = np.concatenate(ranges) if ranges else np.zeros(0, int)
        which = np.repeat(np.arange(len(spells)), [len(r) for r in ranges])
        return cls(cleaned, index, frame_seconds(cleaned.time_s)[index], which)

    @cached_property
    def angles_deg(self) -> Array:
        """Tilt, turn and chin, shape (n, 3)."""
        return self.cleaned.angles_deg[self.index]

    @property
    def total_s(self) -> float:
        """Seconds."""
        return float(self.weight_s.sum())

    @property
    def spells(self) -> NDArray[np.int64]:
        """Numbers of the spells."""
        return np.unique(self.which)

    def part(self, mask: NDArray[np.bool_]) -> _Steady:
        """Some of the frames."""
        return _Steady(self.cleaned, self.index[mask], self.weight_s[mask], self.which[mask])

    def interval(self, values: Array, sd: float) -> Interval:
        """The weighted median of values (n,) with its interval."""
        middle = weighted_quantile(values, self.weight_s, 0.5)
        of_spells = [weighted_quantile(values[self.which == s], self.weight_s[self.which == s], 0.5) for s in self.spells]
        seconds = [float(self.weight_s[self.which == s].sum()) for s in self.spells]
        return spell_interval(middle, of_spells, seconds).widened(sd)

    @cached_property
    def sds_deg(self) -> Array:
        """What is not known of tilt, turn and chin beside their sampling."""
        return angle_sds_deg(self.cleaned, self._central, self.index)

    @cached_property
    def sds_without_roll_deg(self) -> Array:
        """The same where the camera's roll drops out."""
        return angle_sds_deg(self.cleaned, self._central, self.index, with_roll=False)

    @cached_property
    def _central(self) -> int:
        """The frame with a face nearest to the middle of all."""
        seen = np.flatnonzero(self.cleaned.face_found[self.index])
        middle = [weighted_quantile(self.angles_deg[:, k], self.weight_s, 0.5) for k in range(3)]
        return int(self.index[seen[np.abs(self.angles_deg[seen] - middle).sum(1).argmin()]])


def _held(steady: _Steady, target: _Steady, total_s: float) -> HeldPosture:
    """The duration-weighted medians of some steady frames, with their intervals; turn and chin of those on the target."""
    held = []
    for k, part in enumerate((steady, target, target)):
        values = part.angles_deg[:, k]
        half = (weighted_quantile(values, part.weight_s, 0.25), weighted_quantile(values, part.weight_s, 0.75))
        held.append(HeldAngle(part.interval(values, part.sds_deg[k]), half))
    return HeldPosture(steady.total_s / total_s, *held)


def _middle(steady: _Steady, values: Array, sd: float) -> Interval | None:
    """The middle of what is known of some frames, values of shape (frames,); None where there is too little."""
    there = steady.part(~np.isnan(values[steady.index]))
    if there.total_s < MIN_STEADY_S or len(there.spells) < MIN_SPELLS:
        return None
    return there.interval(values[there.index], sd)


def _against_trunk(steady: _Steady) -> Interval | None:
    """Tilt on the shoulder line; a camera's roll drops out of it."""
    trunk = steady.cleaned.trunk
    sd = float(np.hypot(steady.sds_without_roll_deg[0], trunk.sd_deg))
    return _middle(steady, steady.cleaned.angles_deg[:, 0] - trunk.tilt_deg, sd)


def _face_lines(steady: _Steady) -> FaceLineTilts | None:
    """The tilts of the eye line and of the mid-face line."""
    cleaned = steady.cleaned
    sign = -1.0 if cleaned.settings.mirrored == "yes" else 1.0
    slopes = [sign * slope for slope in (cleaned.seen.eye_line_deg, cleaned.seen.midface_line_deg)]
    tilts = [posture_angles(cleaned.rotation @ posture_matrix(slope, 0.0, 0.0))[0] for slope in slopes]
    tilt_sd = steady.sds_deg[0]
    found = [
        _middle(steady, tilts[0], float(np.hypot(tilt_sd, EYE_LINE_SD_DEG))),
        _middle(steady, tilts[1], float(np.hypot(tilt_sd, MIDFACE_SD_DEG))),
        _middle(steady, slopes[1] - slopes[0], LINES_APART_SD_DEG),
    ]
    return None if any(f is None for f in found) else FaceLineTilts(*found)  # type: ignore[arg-type]


def _moment(cleaned: ReadTrack, spells: list[Spell], left_out: NDArray[np.bool_]) -> Moment | None:
    """The middle of the longest spell, or the face nearest to the middle of those seen."""
    seen = np.flatnonzero(cleaned.face_found & ~left_out)
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


def _reach(cleaned: ReadTrack, left_out: NDArray[np.bool_]) -> Reach | None:
    """How far the head was seen to go."""
    angles = cleaned.angles_deg[cleaned.face_found & ~left_out]
    if len(angles) == 0:
        return None
    low, high = np.quantile(angles[:, :2], [REACH_SHARE, 1 - REACH_SHARE], axis=0)
    return Reach(*(float(max(v, 0.0)) for v in (high[0], -low[0], high[1], -low[1])))
