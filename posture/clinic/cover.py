"""Cover test: does the tilt fall while one eye is covered? And whether two head tilts may be compared with each other.

The words tell what relieved the tilt, never which eye mattered.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from posture.clinic.findings import Cover, CoveredEye, Findings
from posture.clinic.sentences import COVER_NOTES, COVER_WORDS, Sentence
from posture.clinic.tilt_pair import TiltHeld, TiltPair, head_tilt_pair
from posture.conventions import STRAIGHT_DEG
from posture.summary.record import Conditions, Interval, Summary

__all__ = ["CoverTest", "Covered", "Fall", "Relief", "TiltHeld", "TiltPair", "cover_test", "cover_test_of", "head_tilt_pair"]

Relief = Literal["either eye", "right only", "left only", "neither", "too short to say", "not clear"]
Says = Literal["falls", "stays", "too short to say", "not clear", "changes side"]

FALL_LEAST_DEG = 5.0
"""A fall of this size counts, whatever the tilt. Common practice: no published bound for the cover test was found."""

FALL_SHARE = 0.5
"""A fall by this share of the tilt counts as well. Common practice; as above."""

LONG_COVER_MIN = 30.0
"""Minutes of cover before a tilt that stays says anything: 30 to 60 are used, from memory. Relief that is seen earlier counts."""

FIRST_MONTH = 6
"""Under this age in months a cover test is not interpreted. Common practice."""

NO_DROPS = frozenset({"", "no", "none"})
"""What may be written where no drops were given."""

LIKE_WITH_LIKE = ("target", "target_distance_m", "camera_height", "correction", "position", "drops", "attention")
"""Conditions that are compared; a difference is said, and where the position differs there is no verdict."""


@dataclass(frozen=True)
class Covered:
    """The tilt while one eye was covered, and the minutes that it had been."""

    tilt_deg: Interval
    minutes: float | None


@dataclass(frozen=True)
class Fall:
    """The fall of the tilt under one cover: degrees, + less tilted; `share` of the tilt with both eyes open.

    `remains_deg` is the tilt under cover, + to the side of the tilt with both eyes open.
    """

    fall_deg: Interval
    share: float
    minutes: float | None
    says: Says
    remains_deg: Interval


@dataclass(frozen=True)
class CoverTest:
    """What a cover test says: `relief` the word, None where none may be said; `words` in a line; `notes` what must be said with it."""

    open_deg: Interval
    right: Fall | None
    left: Fall | None
    relief: Relief | None
    words: str
    notes: tuple[Sentence, ...]


def cover_test(
    open_: Interval, right: Covered | None, left: Covered | None, *, age_months: int | None = None, drops: str | None = None
) -> CoverTest:
    """Find the fall of the tilt under each cover, and the word for it.

    Parameters
    ----------
    open_ : Interval
        Tilt with both eyes open, degrees.
    right, left : Covered or None
        With this eye covered; None was not done.
    age_months : int or None
    drops : str or None
        Eye drops that were given.

    Returns
    -------
    CoverTest
        "falls" where the interval of the fall excludes 0 and the fall is at least 5 degrees or half the tilt; "stays" only after 30
        minutes, and where the interval leaves no room for such a fall.
    """
    falls = {"right": _fall(open_, right), "left": _fall(open_, left)}
    said = {
        "no tilt": not _is_tilted(open_),
        "too young": age_months is not None and age_months < FIRST_MONTH,
        "drops": drops is not None and drops.strip().lower() not in NO_DROPS,
        "changes side": any(fall is not None and fall.says == "changes side" for fall in falls.values()),
        "one eye only": (right is None) != (left is None),
    }
    refused = any(said.values()) or (right is None and left is None)
    relief = None if refused else _relief(falls["right"], falls["left"])
    said |= {
        "age not said": age_months is None,
        "minutes not said": any(
            fall is not None and fall.minutes is None and fall.says == "too short to say" for fall in falls.values()
        ),
        "stays has other reasons": not said["no tilt"]
        and any(fall is not None and fall.says == "stays" for fall in falls.values()),
    }
    notes = tuple(COVER_NOTES[key] for key, is_said in said.items() if is_said)
    return CoverTest(open_, falls["right"], falls["left"], relief, _words(relief, falls, said), notes)


def cover_test_of(findings: Findings, summaries: Sequence[Summary]) -> CoverTest | None:
    """Put a cover test together out of what was typed and what was filmed.

    Parameters
    ----------
    findings : Findings
        A tilt typed in `cover` stands above a clip of the same eye.
    summaries : sequence of Summary
        `conditions.covered_eye` tells which is which; clips without a side or without a habitual tilt are left out.

    Returns
    -------
    CoverTest or None
        None where no tilt with both eyes open, or none under cover, is known. Without a verdict where the position differs.
    """
    usable = [summary for summary in summaries if summary.sided and _tilt_of(summary)]
    opened = [summary for summary in usable if summary.conditions.covered_eye in (None, "none")]
    covered = {side: _longest([s for s in usable if s.conditions.covered_eye == side]) for side in ("right", "left")}
    cover = findings.cover or Cover()
    typed = {"right": cover.right_eye, "left": cover.left_eye}
    tilts = {side: _covered(typed[side], covered[side]) for side in ("right", "left")}
    if not opened or not any(tilts.values()):
        return None
    filmed = [clip for side, clip in covered.items() if clip and getattr(typed[side], "tilt_deg", None) is None]
    used = [clip.conditions for clip in (*opened, *filmed)]
    ages = [age for age in (findings.age_months, *(one.age_months for one in used)) if age is not None]
    drops = next((one.drops for one in used if one.drops and one.drops.strip().lower() not in NO_DROPS), None)
    open_deg = _hull([tilt for clip in opened if (tilt := _tilt_of(clip))])
    found = cover_test(open_deg, tilts["right"], tilts["left"], age_months=min(ages, default=None), drops=drops)
    return _with_conditions(found, used)


def _is_tilted(tilt: Interval) -> bool:
    """Whether there is a tilt at all."""
    return abs(tilt.value) >= STRAIGHT_DEG and (tilt.low > 0 or tilt.high < 0)


def _fall(open_: Interval, covered: Covered | None) -> Fall | None:
    """The fall under one cover, along the side of the tilt with both eyes open."""
    if covered is None:
        return None
    before, after = along(open_, open_.value), along(covered.tilt_deg, open_.value)
    value = before.value - after.value
    low = value - math.hypot(before.value - before.low, after.high - after.value)
    high = value + math.hypot(before.high - before.value, after.value - after.low)
    share = value / before.value if before.value else 0.0
    fall = Interval(value=value, low=low, high=high)
    return Fall(fall, share, covered.minutes, _says(fall, before, after, covered.minutes), after)


def along(tilt: Interval, direction: float) -> Interval:
    """The same angle, + towards the side of `direction`.

    Parameters
    ----------
    tilt : Interval
    direction : float
        Any number of that sign.
    """
    return tilt if direction >= 0 else Interval(value=-tilt.value, low=-tilt.high, high=-tilt.low)


def _says(fall: Interval, before: Interval, after: Interval, minutes: float | None) -> Says:
    """What one cover says."""
    enough = min(FALL_LEAST_DEG, FALL_SHARE * before.value)
    if after.value <= -STRAIGHT_DEG:
        return "changes side"
    if fall.low > 0 and fall.value >= enough:
        return "falls"
    if minutes is None or minutes < LONG_COVER_MIN:
        return "too short to say"
    return "stays" if fall.high < enough else "not clear"


def _relief(right: Fall | None, left: Fall | None) -> Relief:
    """The word for both covers together."""
    says = (right.says if right else "too short to say", left.says if left else "too short to say")
    words: dict[tuple[Says, Says], Relief] = {
        ("falls", "falls"): "either eye",
        ("falls", "stays"): "right only",
        ("stays", "falls"): "left only",
        ("stays", "stays"): "neither",
    }
    return words.get(says, "too short to say" if "too short to say" in says else "not clear")


def _words(relief: Relief | None, falls: dict[str, Fall | None], said: dict[str, bool]) -> str:
    """The word in a line; what each cover did where there is no word for both."""
    if relief in ("too short to say", "not clear"):
        return relief
    if relief is not None:
        return COVER_WORDS["relieved"].text.format(relief=relief)
    if said["no tilt"]:
        return COVER_WORDS["no tilt"].text
    if said["too young"] or said["drops"]:
        return COVER_WORDS["refused"].text
    does = {side: fall.says if fall else "not done" for side, fall in falls.items()}
    return COVER_WORDS["each eye"].text.format(**does)


def _tilt_of(summary: Summary) -> Interval | None:
    """The habitual tilt against gravity."""
    tilt = summary.habitual and summary.habitual.tilt_deg
    return Interval(value=tilt.value, low=tilt.low, high=tilt.high) if tilt else None


def _longest(clips: list[Summary]) -> Summary | None:
    """The clip under the longest cover."""
    return max(clips, key=lambda clip: clip.conditions.covered_minutes or 0.0, default=None)


def _covered(typed: CoveredEye | None, clip: Summary | None) -> Covered | None:
    """The tilt under one cover, typed or filmed; minutes that were typed without a tilt belong to the clip."""
    if typed is not None and typed.tilt_deg is not None:
        return Covered(typed.tilt_deg, typed.minutes)
    tilt = _tilt_of(clip) if clip else None
    if clip is None or tilt is None:
        return None
    minutes = clip.conditions.covered_minutes
    return Covered(tilt, minutes if minutes is not None or typed is None else typed.minutes)


def _hull(tilts: list[Interval]) -> Interval:
    """The mean of several clips, as uncertain as all of them together: whichever of them is right, it lies inside."""
    return Interval(
        value=sum(tilt.value for tilt in tilts) / len(tilts),
        low=min(tilt.low for tilt in tilts),
        high=max(tilt.high for tilt in tilts),
    )


def _with_conditions(found: CoverTest, used: list[Conditions]) -> CoverTest:
    """The same with the differences in conditions said."""
    notes = list(found.notes)
    if all(one.covered_eye is None for one in used if one.covered_eye in (None, "none")):
        notes.append(COVER_NOTES["open not said"])
    for name in LIKE_WITH_LIKE:
        values = list(dict.fromkeys(str(getattr(one, name) or "not said") for one in used))
        if len(values) > 1:
            differs = COVER_NOTES["condition differs"]
            condition = name.removesuffix("_m").replace("_", " ")
            text = differs.text.format(condition=condition, values=", ".join(values))
            notes.append(replace(differs, key=f"{name} differs", text=text))
    positions = {one.position for one in used if one.position is not None}
    if len(positions) > 1:
        notes = [COVER_NOTES["position differs"], *(note for note in notes if note.key != "position differs")]
        return replace(found, relief=None, words=COVER_WORDS["position differs"].text, notes=tuple(notes))
    return replace(found, notes=tuple(notes))
