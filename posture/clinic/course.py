"""The course of a tilt over films and pictures of years: since when, to which side, whether it grows.

Only what is dated, unposed and of a settled side counts; everything is listed with the reason why it does not. How long a tilt has
been there excludes nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from posture.clinic.conditions import covered_eye_of, is_under_drops
from posture.clinic.course_entry import (
    GROWTH_DEG,
    LONG_MONTHS,
    LONG_OCCASIONS,
    Course,
    Dated,
    Entry,
    Growth,
    Kind,
    Status,
    months_over,
    occasions,
)
from posture.clinic.course_words import course_cautions, course_sentences
from posture.clinic.dates import Event, when_of
from posture.clinic.growth import Array, certainly_ordered, last_step_of, trend_of, variance_of
from posture.clinic.held import MIN_HINT_MONTHS, Sign, clear_sign, posture_of
from posture.conventions import STRAIGHT_DEG
from posture.summary.record import Interval, Summary

__all__ = ["Course", "Dated", "Entry", "Growth", "Kind", "Status", "course_of"]

HABIT_SHARE = 0.5
"""A tilt that is seen in fewer of what counts is not said to be there since its first time (common practice, no source)."""

DAYS_PER_YEAR = 365.25


def course_of(items: Sequence[Dated], events: Sequence[Event] = ()) -> Course:
    """Lay films and photographs of one person out over time.

    Parameters
    ----------
    items : sequence of Dated
    events : sequence of Event
        What was filmed after the first surgery, or may have been, does not count.

    Returns
    -------
    Course

    Raises
    ------
    DateError
        If a date cannot be read.
    """
    entries = _ordered(_marked(_without_copies([_entry(i, item, events) for i, item in enumerate(items)])))
    counting = [entry for entry in entries if entry.counts]
    side = _main_side(counting)
    along = side or 1
    # One that leans to the other side may be mirrored; it must not look like growth.
    growth = _growth([e for e in counting if e.item.kind == "film" and not e.unlike and e.side != -along], along)
    grows = side != 0 and growth is not None and growth.is_shown
    rise = _rise_by_value(counting, along)
    course = Course(
        entries=tuple(entries),
        status=_status(counting, side, grows=grows, rise_deg=rise),
        side=side,
        since=next((entry for entry in counting if side and entry.side == side), None),
        growth=growth if side else None,
        may_grow=side != 0 and rise > GROWTH_DEG and not grows,
        flag="worsening_tilt" if grows else None,
    )
    return replace(course, sentences=tuple(course_sentences(course)), cautions=tuple(course_cautions(course)))


def _entry(number: int, item: Dated, events: Sequence[Event]) -> Entry:
    """An item as the course sees it."""
    age = item.age_months if item.age_months is not None else item.summary.conditions.age_months
    when = when_of(item.filmed_on)
    tilt, size, on_trunk = _tilt_of(item, age)
    entry = Entry(number, item, when, age, tilt, size, clear_sign(tilt, STRAIGHT_DEG), on_trunk, ())
    return replace(entry, why_not=tuple(_why_not(entry, events)))


def _tilt_of(item: Dated, age_months: int | None) -> tuple[Interval | None, Interval | None, bool]:
    """Tilt, or its size where no side is settled, and whether it is on the shoulder line."""
    summary = item.summary
    posture = posture_of(summary, age_months)
    if posture is not None:
        usable = posture.tilt if posture.by_gravity or posture.on_trunk else None
        return (usable, None, posture.on_trunk) if posture.sided else (None, usable, posture.on_trunk)
    if item.kind == "photograph" and summary.sided and summary.moment:
        return summary.moment.tilt_deg, None, False
    return None, None, False


def _why_not(entry: Entry, events: Sequence[Event]) -> Iterator[str]:
    """Why an entry does not count, as parts of a list."""
    summary, conditions = entry.item.summary, entry.item.summary.conditions
    if entry.when is None:
        yield "not dated"
    if not summary.sided:
        yield "side not settled"
    elif entry.tilt is None:
        yield _why_no_tilt(summary)
    if entry.item.posed:
        yield "posed"
    if covered_eye_of(conditions) != "none":
        yield "an eye covered"
    if is_under_drops(conditions):
        yield "under drops"
    if entry.age_months is not None and entry.age_months < MIN_HINT_MONTHS:
        yield "under 4 months old"
    operated = [when for event in events if event.kind == "surgery" and (when := when_of(event.on))]
    if entry.when and any(not entry.when.is_before(when) for when in operated):
        yield "after an operation, or not surely before it"


def _why_no_tilt(summary: Summary) -> str:
    """Why a sided clip gives no tilt."""
    if len(summary.postures) == 2:
        return "two separate postures"
    held = summary.habitual
    if held is not None or (summary.moment is not None and summary.conditions.position in ("lying", "held")):
        return "gravity no zero in this position"
    return "too little held steady" if summary.moment is not None else "no face measured"


def _without_copies(entries: list[Entry]) -> list[Entry]:
    """The same, a second copy of a file marked as such; one with a date is the original."""
    seen: set[tuple[object, ...]] = set()
    marked: dict[int, Entry] = {}
    for entry in sorted(entries, key=lambda e: (not e.counts, e.when is None)):
        clip = entry.item.summary.clip
        key = (clip.sha256, clip.person, entry.tilt and entry.tilt.value, entry.when)
        marked[entry.number] = replace(entry, why_not=(*entry.why_not, "the same file again")) if key in seen else entry
        seen.add(key)
    return [marked[entry.number] for entry in entries]


def _marked(entries: list[Entry]) -> list[Entry]:
    """The same, with how each was filmed otherwise than most of what counts."""
    usual = {name: _most([_condition(e, name) for e in entries if e.counts]) for name in UNLIKE}
    return [
        replace(
            entry,
            unlike=tuple(
                f"{words}: {value}"
                for name, words in UNLIKE.items()
                if (value := _condition(entry, name)) is not None and usual[name] is not None and value != usual[name]
            ),
        )
        for entry in entries
    ]


UNLIKE = {"position": "position", "correction": "correction", "trunk": "measured against", "camera_height": "camera height"}
"""Conditions in which an item may be unlike most others; a tilt counts on any target."""


def _condition(entry: Entry, name: str) -> str | None:
    """A condition of an entry in words; None is not known."""
    if name == "trunk":
        return None if entry.tilt is None else "the shoulder line" if entry.on_trunk else "gravity"
    value = getattr(entry.item.summary.conditions, name)
    return " ".join(value.casefold().split()) or None if value is not None else None


def _most(values: Sequence[str | None]) -> str | None:
    """The most frequent of the values that are known; of equal ones the first in the alphabet, so that the order does not matter."""
    known = Counter(value for value in values if value is not None)
    return min(known, key=lambda value: (-known[value], value)) if known else None


def _ordered(entries: list[Entry]) -> list[Entry]:
    """In the order of time, those without a date last, by age."""
    far = 10_000
    return sorted(
        entries,
        key=lambda e: (
            e.when is None,
            e.when.middle if e.when else date.max,
            e.age_months if e.age_months is not None else far,
            e.number,
        ),
    )


def _main_side(counting: Sequence[Entry]) -> Sign:
    """The side that is clear more often; of both alike the later one; 0 where none is clear."""
    right, left = (sum(entry.side == side for entry in counting) for side in (1, -1))
    if right == left:
        return next((entry.side for entry in reversed(counting) if entry.side), 0)
    return 1 if right > left else -1


def _status(counting: Sequence[Entry], side: Sign, *, grows: bool, rise_deg: float) -> Status:
    """What the course comes to."""
    same = [entry for entry in counting if side and entry.side == side]
    if not same:
        return "not enough"
    if any(entry.side == -side for entry in counting):
        return "changing side"
    if grows:
        return "growing"
    after_first = counting[counting.index(same[0]) :]
    if len(same) < HABIT_SHARE * len(after_first):
        return "not enough"
    is_long = occasions(same) >= LONG_OCCASIONS and months_over(same) >= LONG_MONTHS and rise_deg <= GROWTH_DEG
    return "long-standing" if is_long else "since at least"


def _growth(films: Sequence[Entry], side: Sign) -> Growth | None:
    """How much the tilt grew in films under like conditions whose order is certain: by its trend, or by its last step."""
    used = [films[i] for i in certainly_ordered([e.when for e in films if e.when])]
    if len(used) < 2:
        return None
    at, tilt, variance = _figures(used, side)
    rises = [trend_of(at, tilt, variance)] + ([last_step_of(tilt, variance)] if len(used) > 2 else [])
    shown = [rise for rise in rises if rise.low > 0] or rises
    return Growth(max(shown, key=lambda rise: rise.value), used[0], used[-1])


def _figures(entries: Sequence[Entry], side: Sign) -> tuple[Array, Array, Array]:
    """Years, tilt along the side in degrees, and variance of each, shapes (n,)."""
    at = np.array([e.when.middle.toordinal() / DAYS_PER_YEAR for e in entries if e.when])
    tilts = [e.tilt for e in entries if e.tilt is not None]
    return at, side * np.array([tilt.value for tilt in tilts]), np.array([variance_of(tilt) for tilt in tilts])


def _rise_by_value(counting: Sequence[Entry], side: Sign) -> float:
    """The rise of everything that counts, by its middle dates and however uncertain: what forbids to say long-standing."""
    if len({e.when.middle for e in counting if e.when}) < 2:
        return 0.0
    at, tilt, variance = _figures(counting, side)
    last = last_step_of(tilt, variance).value if len(tilt) > 2 else 0.0
    return max(trend_of(at, tilt, variance).value, last)
