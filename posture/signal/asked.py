"""What a child was asked to do with the head, and how far it went: the farthest that was really held, along the way that was asked."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from posture.conventions import wrap_deg
from posture.errors import SpanError
from posture.geometry.angles import line_of_sight
from posture.signal.interval import Z95, Interval
from posture.signal.reading import ReadTrack
from posture.signal.spans import inside, say_spans, spans_from
from posture.signal.steady import frame_seconds
from posture.signal.uncertainty import angle_sds_deg

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

Movement = Literal["turn right", "turn left", "tilt right", "tilt left"]
Reference = Literal["shoulder line", "gravity", "line of sight"]

MOVEMENTS: tuple[Movement, ...] = get_args(Movement)

WINDOW_S, LEAST_FRAMES = 0.5, 3
"""What is reached is the farthest of the medians over so long, each of so many pictures with a face: a single picture is an error more
often than a reach (common practice, no source)."""

NEAR_DEG = 3.0
"""A position within this of the farthest still counts as held: a child that is asked to hold still sways by a degree or two (common
practice, no source)."""

BEYOND_DEG = 45.0
"""A face turned by more is out of one frontal camera's sight: the far eye and cheek hide behind the nose (rule of the clinic)."""

LOST_S = 0.3
"""A face that is gone for longer was lost; a blink of the landmarks is shorter (common practice, no source)."""

LOST_NEAR_DEG = 10.0
"""Lost so near to the farthest that was seen, it may have gone farther unseen: about what a head turns in a tenth of a second."""

SHOULDERS_SHARE = 0.5
"""Of the pictures with a face in which the shoulder line has to stand, in the whole time and while the farthest was held; and of the time
for which the farthest was held against gravity, that for which it was held against the shoulder line."""

FAR_FROM_DEG, FAR_SD_SHARE = 25.0, 0.1
"""The scatter of landmarks was learned on heads turned within the first; for each degree beyond, one standard deviation grows by the
second (`python -m tests.proof.ranges`)."""

TURN_SD_SHARE = 0.05
"""A face deeper or flatter than the average one reads its turn too large or too small by a share of it: one standard deviation (rendered
heads turned by 20 degrees read from 7 % too little to 15 % too much, `python -m tests.proof.ranges`)."""

_MOVE = re.compile(r"\s*(turn|tilt)[\s_-]+(right|left)\s*[=:\s]\s*(.+?)\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Asked:
    """A movement that was asked of the child, and from when to when of the clip; the person's own sides."""

    movement: Movement
    start_s: float
    end_s: float

    @property
    def is_turn(self) -> bool:
        """Whether it is a turn, else a tilt."""
        return self.movement.startswith("turn")

    @property
    def sign(self) -> int:
        """The sign of the angle that was asked for, see `posture.conventions`."""
        return 1 if self.movement.endswith("right") else -1


@dataclass(frozen=True)
class AskedReach:
    """What came of one movement. Angles are along the way that was asked: + is there, - is the other way.

    Attributes
    ----------
    asked : Asked
    reached : Interval or None
        Degrees; of one that is `beyond_camera` only value and low count. None where the face was not seen long enough.
    reference : {"shoulder line", "gravity", "line of sight"}
        A tilt is against the shoulder line where that was seen, else against gravity; a turn against the line from the head to the camera.
    beyond_camera : bool
        The face was lost near the end of the movement, or turned out of sight: the value is the least that was reached.
    held_s : float
        How long it stayed within `NEAR_DEG` of the farthest.
    trunk_tilt : Interval or None
        Lean of the shoulder line at that time; None where it was not seen.
    found_share : float
        Of the pictures of the time asked, those with a face; 0 where there is no picture.
    """

    asked: Asked
    reached: Interval | None
    reference: Reference
    beyond_camera: bool
    held_s: float
    trunk_tilt: Interval | None
    found_share: float


def asked_from(text: str) -> tuple[Asked, ...]:
    """Read what was asked as people write it.

    Parameters
    ----------
    text : str
        For example "turn-right=3-9, tilt-left=0:12-0:18": movement, from - to, with commas between. May be empty.

    Returns
    -------
    tuple of Asked
        In order of time.

    Raises
    ------
    SpanError
        Naming the part that cannot be read, is empty, or reaches into another.
    """
    found = []
    for part in filter(str.strip, text.split(",")):
        match = _MOVE.fullmatch(part)
        if match is None:
            raise SpanError(
                f"Expected movements such as 'turn-right=3-9, tilt-left=0:12-0:18'; '{part.strip()}' came. Write turn or tilt, right or"
                " left, and from when to when."
            )
        movement = next(m for m in MOVEMENTS if m == f"{match[1]} {match[2]}".lower())
        ((start_s, end_s),) = spans_from(match[3])
        found.append(Asked(movement, start_s, end_s))
    found.sort(key=lambda asked: asked.start_s)
    for one, other in pairwise(found):
        if other.start_s < one.end_s:
            raise SpanError(
                f"Expected one movement at a time; '{say_asked([one])}' and '{say_asked([other])}' overlap. Correct the times."
            )
    return tuple(found)


def say_asked(asked: Sequence[Asked], *, sided: bool = True) -> str:
    """What was asked as text that `asked_from` reads back, unless sides must not be named."""
    ways = [name.replace(" ", "-") for name in names_of(asked, sided=sided)]
    return ", ".join(f"{way}={say_spans([(one.start_s, one.end_s)])}" for way, one in zip(ways, asked, strict=True))


def names_of(asked: Sequence[Asked], *, sided: bool) -> list[str]:
    """The movements by name; while sides must not be named, the first side that was asked is the one side, whichever it is."""
    if sided:
        return [one.movement for one in asked]
    return [f"{one.movement.split()[0]} {'one' if one.sign == asked[0].sign else 'other'} side" for one in asked]


def reaches_of(read: ReadTrack, asked: Sequence[Asked]) -> tuple[AskedReach, ...]:
    """Find what came of every movement of a clip.

    Parameters
    ----------
    read : ReadTrack
        As read and cleaned.
    asked : sequence of Asked

    Returns
    -------
    tuple of AskedReach
        While mirroring is unknown the way asked is taken to be the way that most of them went, so that a clip and its mirror image give the
        same.
    """
    if read.settings.mirrored != "unknown":
        return tuple(reach_of(read, one) for one in asked)
    ways = [tuple(reach_of(read, one, flipped=flipped) for one in asked) for flipped in (False, True)]
    return max(ways, key=lambda way: sum(one.reached.value for one in way if one.reached))


def reach_of(read: ReadTrack, asked: Asked, *, flipped: bool = False) -> AskedReach:
    """Find how far a movement went: the farthest that was really held, and how sure that is.

    Parameters
    ----------
    read : ReadTrack
        As read and cleaned.
    asked : Asked
    flipped : bool
        Whether right in this reading is the person's left, as in a mirrored picture that was read as it is.

    Returns
    -------
    AskedReach
    """
    sign = -asked.sign if flipped else asked.sign
    frames = np.flatnonzero(inside(read.time_s, [(asked.start_s, asked.end_s)]))
    seen = frames[read.face_found[frames]]
    share = len(seen) / len(frames) if len(frames) else 0.0
    reference: Reference = "line of sight" if asked.is_turn else "gravity"
    values = sign * (_turn_to_camera(read) if asked.is_turn else read.angles_deg[:, 0])
    place = by_gravity = _farthest(read.time_s, values, seen)
    if place is not None and not asked.is_turn:
        on_trunk = values - sign * read.trunk.tilt_deg
        known = seen[np.isfinite(on_trunk[seen])]
        on_trunk_place = _farthest(read.time_s, on_trunk, known)
        stands = min(_known(read, seen), _known(read, place.frames)) >= SHOULDERS_SHARE
        if stands and on_trunk_place is not None and on_trunk_place.held_s >= SHOULDERS_SHARE * place.held_s:
            reference, values, place, seen = "shoulder line", on_trunk, on_trunk_place, known
    if place is None:
        return AskedReach(asked, None, reference, False, 0.0, None, share)
    interval = _interval(read, reference, place)
    is_lost = _is_lost(read, values, frames, place.value_deg)
    if asked.is_turn and place.value_deg > BEYOND_DEG:
        is_lost, interval = True, Interval(BEYOND_DEG, min(interval.low, BEYOND_DEG), interval.high)
    return AskedReach(asked, interval, reference, is_lost, place.held_s, _trunk_tilt(read, sign, place, by_gravity), share)


@dataclass(frozen=True)
class _Place:
    """The farthest of one movement: its value along the way asked, the frames that held it, how long, and how they scattered."""

    value_deg: float
    frames: NDArray[np.int64]
    at: int
    held_s: float
    sd_deg: float


def _turn_to_camera(read: ReadTrack) -> Array:
    """Turn against the line from the head to the camera, whatever the target, shape (n,)."""
    azimuth, _ = line_of_sight(read.place_cm)
    return np.asarray(wrap_deg(read.camera_angles_deg[:, 1] - azimuth))


def _farthest(time_s: Array, values: Array, seen: NDArray[np.int64]) -> _Place | None:
    """The farthest of the running medians of some frames; None where nothing was seen for long enough."""
    if not len(seen):
        return None
    at, angle = time_s[seen], values[seen]
    first = np.searchsorted(at, at - WINDOW_S / 2 - 1e-9)
    last = np.searchsorted(at, at + WINDOW_S / 2 + 1e-9, side="right")
    middle = np.array([np.median(angle[a:b]) if b - a >= LEAST_FRAMES else -np.inf for a, b in zip(first, last, strict=True)])
    peak = int(middle.argmax())
    value = float(middle[peak])
    if not np.isfinite(value):
        return None
    near = (middle >= value - NEAR_DEG) & np.isfinite(middle)
    begin = end = peak
    while begin > 0 and near[begin - 1] and at[begin] - at[begin - 1] <= WINDOW_S:
        begin -= 1
    while end < len(seen) - 1 and near[end + 1] and at[end + 1] - at[end] <= WINDOW_S:
        end += 1
    held = seen[begin : end + 1]
    nearest = int(held[np.abs(values[held] - value).argmin()])
    # Smoothed frames half a second apart are about two looks.
    sd = float(np.std(angle[first[peak] : last[peak]])) / np.sqrt(2)
    # With the pictures between them: a shoulder line that is missing in some does not shorten what was held.
    return _Place(value, held, nearest, float(frame_seconds(time_s)[held[0] : held[-1] + 1].sum()), sd)


def _known(read: ReadTrack, frames: NDArray[np.int64]) -> float:
    """Share of some frames in which the shoulder line stands."""
    return float(np.isfinite(read.trunk.tilt_deg[frames]).mean()) if len(frames) else 0.0


def _interval(read: ReadTrack, reference: Reference, place: _Place) -> Interval:
    """The value with what is not known of it; on the shoulder line the camera's roll drops out."""
    on_trunk, is_turn = reference == "shoulder line", reference == "line of sight"
    sd = float(angle_sds_deg(read, place.at, place.frames, with_roll=not on_trunk)[int(is_turn)])
    turn = abs(float(_turn_to_camera(read)[place.at]))
    parts = [sd, place.sd_deg, FAR_SD_SHARE * max(turn - FAR_FROM_DEG, 0.0), TURN_SD_SHARE * turn * is_turn]
    parts += [read.trunk.sd_deg] if on_trunk else []
    return Interval(place.value_deg, place.value_deg, place.value_deg).widened(float(np.linalg.norm(parts)))


def _trunk_tilt(read: ReadTrack, sign: int, place: _Place, by_gravity: _Place | None) -> Interval | None:
    """Lean of the shoulder line against gravity while the farthest was held, + along the way asked."""
    lean = read.trunk.tilt_deg[place.frames]
    if _known(read, place.frames) < SHOULDERS_SHARE:
        return None
    value = sign * float(np.nanmedian(lean))
    if by_gravity is not None and by_gravity is not place and np.isin(by_gravity.frames, place.frames).any():
        # The reach and the lean add up to the tilt against gravity, which is known better than the shoulder line.
        value = by_gravity.value_deg - place.value_deg
    half = Z95 * float(np.hypot(read.trunk.sd_deg, read.upright.roll_sd_deg))
    return Interval(value, value - half, value + half)


def _is_lost(read: ReadTrack, values: Array, frames: NDArray[np.int64], farthest_deg: float) -> bool:
    """Whether the face was gone for longer than a moment, and was near the farthest just before or just after."""
    time_s, found = read.time_s, read.face_found
    there = frames[found[frames] & np.isfinite(values[frames])]
    edges = np.concatenate([[frames[0] - 1], there, [frames[-1] + 1]])
    for before, after in pairwise(edges):
        gone = np.arange(before + 1, after)
        gone = gone[~found[gone]]
        if not len(gone):
            continue
        ends = [time_s[k] for k in (before, after) if frames[0] <= k <= frames[-1]]
        times = [*ends, time_s[gone[0]], time_s[gone[-1]]]
        if max(times) - min(times) <= LOST_S:
            continue
        known = [values[k] for k in (before, after) if frames[0] <= k <= frames[-1]]
        if any(value >= farthest_deg - LOST_NEAR_DEG for value in known):
            return True
    return False
