"""The course of the films and photographs that count, what was left out of it and why, and both as a text without file names."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from posture.clinic.course import course_of
from posture.clinic.course_entry import Course, Dated, Entry
from posture.clinic.dates import Event, say_age, when_of
from posture.family.items import FamilyItem
from posture.family.same_child import CAN_MISS
from posture.summary.words import say_angle, say_interval, say_size


@dataclass(frozen=True)
class LeftOut:
    """An item that is no part of the course, and why."""

    item: FamilyItem
    reason: str


@dataclass(frozen=True)
class FamilyCourse:
    """The course, and what was left out of it.

    Attributes
    ----------
    course : Course
        Its entries hold reasons of their own: not dated, posed, side not settled.
    items : tuple of FamilyItem
        What the entries of the course are of: entry ``n`` is of ``items[entry.number]``.
    left_out : tuple of LeftOut
    """

    course: Course
    items: tuple[FamilyItem, ...]
    left_out: tuple[LeftOut, ...]


def family_course(items: Sequence[FamilyItem], events: Sequence[Event] = ()) -> FamilyCourse:
    """Lay what may count out over time; what may be of another child counts only when somebody looked.

    Parameters
    ----------
    items : sequence of FamilyItem
    events : sequence of Event

    Returns
    -------
    FamilyCourse
    """
    kept: list[FamilyItem] = []
    left_out: list[LeftOut] = []
    for item in items:
        reason = why_left_out(item)
        if reason:
            left_out.append(LeftOut(item, reason))
        else:
            kept.append(item)
    return FamilyCourse(course_of([dated_of(item) for item in kept], events), tuple(kept), tuple(left_out))


def why_left_out(item: FamilyItem) -> str:
    """Why an item is no part of the course; empty where it is."""
    said = item.listed.is_the_child
    if said is False:
        return "said not to be the child"
    if item.summary is None:
        return "not measured"
    if item.summary.clip.person is None:
        return "no face measured"
    if item.persons > 1 and item.listed.person is None:
        return f"{item.persons} persons in it, and not said which is the child"
    if item.doubt is not None and item.doubt.must_confirm and said is None:
        return {"not compared": "its face was not compared with the others, and nobody said that it is the child"}.get(
            item.doubt.verdict, "may be another child, and nobody said that it is this one"
        )
    if item.kind == "photograph" and item.listed.posed is None:
        return "not said whether it was posed"
    return ""


def dated_of(item: FamilyItem) -> Dated:
    """An item as the course takes it."""
    if item.summary is None:
        raise ValueError("Expected an item that was measured; one without a summary came.")
    return Dated(
        summary=item.summary,
        filmed_on=item.filmed_on,
        age_months=item.age_months,
        kind=item.kind,
        posed=bool(item.listed.posed),
        filmed_by=item.listed.filmed_by,
    )


def say_item(item: FamilyItem) -> str:
    """Which item it is, without the name of its file: "film of March 2021 (3f2a90c1)"."""
    when = when_of(item.filmed_on)
    dated = f"of {when.say()}" if when else "without a date"
    return f"{item.kind if item.summary is not None else 'file'} {dated} ({item.sha256[:8] or 'cannot be read'})"


def say_tilt(item: FamilyItem) -> str:
    """The tilt of an item in words; no side where it is not settled."""
    summary = item.summary
    if summary is None:
        return "nothing measured"
    if summary.habitual and summary.habitual.tilt_deg:
        held = summary.habitual.tilt_deg
        return f"tilt {say_angle('tilt', held)}, {say_interval('tilt', held)}"
    if summary.unsided and summary.unsided.tilt_size_deg:
        return f"tilt of {say_size(summary.unsided.tilt_size_deg)}, side not settled"
    if summary.moment and summary.moment.tilt_deg and summary.sided:
        tilt = summary.moment.tilt_deg
        return f"a moment only: tilt {say_angle('tilt', tilt)}, {say_interval('tilt', tilt)}"
    return "no tilt found"


def family_lines(family: FamilyCourse) -> Iterator[str]:
    """The words of the course, one paragraph a line: what it says, what limits it, every item, and what was left out.

    Parameters
    ----------
    family : FamilyCourse
    """
    course = family.course
    yield from course.sentences
    yield from course.cautions
    if family.left_out:
        yield "No part of what is said above:"
        yield from (f"- {say_item(out.item)}: {say_reason(out)}." for out in family.left_out)
    if course.entries:
        yield "In the order of time:"
        yield from (f"- {_say_entry(family, entry)}." for entry in course.entries)
    yield CAN_MISS


def say_reason(out: LeftOut) -> str:
    """Why an item was left out, with how alike its face is in two numbers where that is the reason."""
    doubt = out.item.doubt
    if doubt is not None and doubt.verdict == "may be another child" and doubt.alike is not None and "another" in out.reason:
        return f"{out.reason} (unlike the others by {doubt.alike.picture:.2f} in picture and {doubt.alike.shape:.3f} in shape)"
    return out.reason


def _say_entry(family: FamilyCourse, entry: Entry) -> str:
    """An entry of the course with its item, age, tilt, source of the date, and why it does not count."""
    item = family.items[entry.number]
    age = f", age {say_age(entry.age_months)}" if entry.age_months is not None else ""
    source = f", date: {item.filmed_on_source}" if item.filmed_on_source else ""
    counts = "counts" if entry.counts else f"does not count ({', '.join(entry.why_not)})"
    note = f"; {item.note}" if item.note else ""
    return f"{say_item(item)}{age}{source}: {say_tilt(item)}; {counts}{note}"
