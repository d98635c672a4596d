"""The words of the figure of asked movements, and what stands in each of its rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from posture.clinic.examination import REFERENCES, AskedRecord, Examination, gravity_deg, was_done
from posture.clinic.filmed import reached_end
from posture.clinic.neck import NeckNorm
from posture.clinic.tilt_pair import TILT_EQUAL_DEG, TILT_REACHED_DEG
from posture.conventions import Side
from posture.report.head import View
from posture.signal.asked import BEYOND_DEG

SIDES: tuple[Side, Side] = ("right", "left")
"""In the order on the page: as one who faces the child sees them."""


@dataclass(frozen=True)
class AskedRow:
    """One direction: the farthest of either side; None where it was not asked."""

    view: View
    ends: dict[str, AskedRecord | None]

    @property
    def is_tilt(self) -> bool:
        """Whether it is the tilt."""
        return self.view == "front"

    @property
    def reached(self) -> list[AskedRecord]:
        """The ends that were reached."""
        return [one for one in self.ends.values() if one is not None and was_done(one)]


def asked_row(examination: Examination, view: View) -> AskedRow:
    """The farthest of every movement of one direction."""
    name = "tilt" if view == "front" else "turn"
    ends: dict[str, AskedRecord | None] = {}
    for side in SIDES if examination.sided else ("one side", "other side"):
        tries = [one for one in examination.asked if one.movement == f"{name} {side}"]
        ends[side] = max(tries, key=lambda one: one.reached_deg.value if one.reached_deg else -np.inf, default=None)
    return AskedRow(view, ends)


def say_title(examination: Examination) -> str:
    """The name of the figure."""
    return f"How far the head went when asked ({'moved by the examiner' if examination.passive else 'moved by the child'})"


def say_foot(examination: Examination, norm: NeckNorm | None, age_months: int | None) -> list[str]:
    """What goes for all of it."""
    kind = "passive" if examination.passive else "active"
    if norm is not None:
        spread = f"{norm.turn_sd_deg:.0f} and {norm.tilt_sd_deg:.0f}" if norm.turn_sd_deg and norm.tilt_sd_deg else None
        known = f"SD {spread}" if spread else "no SD known"
        first = f"grey mark: published {kind} range at {norm.ages}, turn {norm.turn_deg:.0f}, tilt {norm.tilt_deg:.0f} ({known}), {norm.source}"
    elif age_months is None:
        first = "No published range beside it: the age is not said."
    else:
        first = f"No published {kind} range of this age: the sides are held against each other."
    marks = "light blue: where the end lies, nineteen times of twenty     hatched: at least so far, the rest was not seen"
    bounds = (
        f"20: least of the head-tilt test     bracket: as far as the other side, within {TILT_EQUAL_DEG:.0f}°, against gravity"
    )
    return [first, marks, *([bounds] if any(one.movement.startswith("tilt") for one in examination.asked) else [])]


def say_end(one: AskedRecord | None, side: str = "") -> str:
    """The angle, large."""
    if one is None:
        return "not asked"
    if one.reached_deg is None:
        return "not seen" if one.held_s == 0 else "not given"
    if not was_done(one):
        return "not done"
    least = "at least " if one.beyond_camera else ""
    return f"{least}{one.reached_deg.value:.0f}° {side}".strip()


def say_details(one: AskedRecord | None) -> list[str]:
    """Interval, reference, how long; a line each."""
    if one is None or one.reached_deg is None:
        return [""]
    reached = one.reached_deg
    if not was_done(one):
        return ["the head stayed, or went the other way"]
    if reached.high is None:
        first = "beyond the camera" if one.is_turn and reached.value >= BEYOND_DEG else "the face was lost there"
    else:
        first = f"between {max(reached.low, 0):.0f} and {reached.high:.0f}"
    return [f"{first}, held for {one.held_s:.1f} s", f"against {REFERENCES[one.reference]}"]


def say_beside(row: AskedRow) -> list[str]:
    """What the two are beside each other, by their values; a line each."""
    if len(row.reached) < len(row.ends):
        return ["one side only: not compared"]
    is_lost = any(one.beyond_camera for one in row.reached)
    alike = len({one.reference for one in row.reached}) == 1
    one, other = (reached_end(record) for record in row.reached)
    differ, half = abs(one.deg - other.deg), one.half_width_deg + other.half_width_deg
    first = f"the sides differ by {differ:.0f}° (between {max(differ - half, 0):.0f} and {differ + half:.0f})"
    if is_lost:
        first = "an end was not seen: the sides are not compared"
    elif not alike:
        first = "the shoulders were seen on one side only: not compared"
    if not row.is_tilt:
        return [first]
    tilts = [gravity_deg(one) for one in row.reached]
    reach = "both reached 20°" if min(tilts) >= TILT_REACHED_DEG else "not both reached 20°"
    apart = abs(tilts[0] - tilts[1])
    equal = "equal within 5°" if apart <= TILT_EQUAL_DEG else f"{apart:.0f}° apart, 5° are allowed"
    if is_lost:
        equal = "whether they are equal was not seen"
    return [first, f"as a head-tilt test, against gravity: {reach}; {equal}"]
