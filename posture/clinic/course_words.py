"""The words for a course of films and pictures; no side is named that is not settled."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from posture.clinic.course_entry import LONG_MONTHS, LONG_OCCASIONS, Course, Entry, months_over, occasions
from posture.clinic.dates import say_age
from posture.clinic.sentences import COURSES
from posture.summary.words import say_angle, say_interval

SIDES = {1: "right", -1: "left"}


def course_sentences(course: Course) -> Iterator[str]:
    """What the course says.

    Parameters
    ----------
    course : Course
    """
    counting = course.counting
    if not counting:
        yield COURSES["nothing counts"].text
        return
    if not course.since:
        yield COURSES["no tilt"].text.format(share=_counted(counting))
        yield COURSES["not enough"].text.format(missing="no tilt of 5 degrees or more is clear")
        return
    at = counting.index(course.since)
    before, from_then = counting[:at], counting[at:]
    same = [entry for entry in from_then if entry.side == course.side]
    share = _counted(same, from_then)
    yield COURSES["tilt in"].text.format(side=SIDES[course.side], share=share, from_when=say_from(course.since))
    if before:
        yield COURSES["tilt in, before"].text.format(share=_counted(before))
    others = [entry for entry in from_then if entry.side != course.side]
    if others:
        yield COURSES["not so in"].text.format(exceptions="; ".join(f"{say_entry(e)} ({_say_tilt(e)})" for e in others))
    yield from _status_sentences(course, same)


def _status_sentences(course: Course, same: Sequence[Entry]) -> Iterator[str]:
    """Since when, growing or changing side."""
    if course.status == "changing side":
        yield COURSES["changing side"].text
    if course.flag and course.growth:
        rise = course.growth.degrees
        yield COURSES["growing"].text.format(
            degrees=round(rise.value),
            between=say_interval("tilt", rise),
            first=course.growth.first.when.say() if course.growth.first.when else "",
            last=course.growth.last.when.say() if course.growth.last.when else "",
        )
    elif course.may_grow:
        yield COURSES["may grow"].text
    if course.status == "long-standing":
        yield COURSES["long-standing"].text.format(count=occasions(same), months=months_over(same))
    elif course.status == "since at least":
        yield COURSES["since at least"].text.format(when=_say_since(course.since), missing=_missing(course, same))
    elif course.status == "not enough":
        yield COURSES["not enough"].text.format(missing="the tilt is seen in fewer than half of what counts")


def _missing(course: Course, same: Sequence[Entry]) -> str:
    """What a long-standing tilt would still need."""
    count, months = occasions(same), months_over(same)
    lacks = []
    if count < LONG_OCCASIONS:
        lacks.append(f"{count} of {LONG_OCCASIONS} occasions")
    if months < LONG_MONTHS:
        lacks.append(f"{months} of {LONG_MONTHS} months for certain")
    if course.may_grow:
        lacks.append("it may be growing")
    return ", ".join(lacks)


def course_cautions(course: Course) -> Iterator[str]:
    """What must be read with the course, the most important first.

    Parameters
    ----------
    course : Course
    """
    if course.flag:
        yield COURSES["growing, urgent"].text
    if course.status == "long-standing":
        yield COURSES["long-standing, limits"].text
    elif course.since and not course.flag:
        yield COURSES["excludes nothing"].text
    aside = [entry for entry in course.entries if not entry.counts]
    if aside:
        yield COURSES["did not count"].text.format(which="; ".join(f"{say_entry(e)} ({', '.join(e.why_not)})" for e in aside))
    unlike = [entry for entry in course.counting if entry.unlike]
    if unlike:
        yield COURSES["unlike"].text.format(which="; ".join(f"{say_entry(e)} ({', '.join(e.unlike)})" for e in unlike))
    if _has_open_order(course.counting):
        yield COURSES["order not certain"].text
    if any(entry.item.kind == "photograph" for entry in course.entries):
        yield COURSES["moments"].text
        yield COURSES["scans"].text


def _has_open_order(counting: Sequence[Entry]) -> bool:
    """Whether the order of two that count is not certain."""
    whens = sorted({e.when for e in counting if e.when}, key=lambda when: when.first)
    return any(not a.is_before(b) for i, a in enumerate(whens) for b in whens[i + 1 :])


def say_entry(entry: Entry) -> str:
    """Which item it is: "film of March 2021", "photograph without a date"."""
    return f"{entry.item.kind} of {entry.when.say()}" if entry.when else f"{entry.item.kind} without a date"


def say_from(entry: Entry) -> str:
    """From when on: by age where it is known, else by date."""
    if entry.age_months is not None:
        return f"from age {say_age(entry.age_months)} on"
    return f"from {entry.when.say()} on" if entry.when else ""


def _say_since(entry: Entry | None) -> str:
    """A date, with the age where it is known."""
    if entry is None or entry.when is None:
        return ""
    age = f" (age {say_age(entry.age_months)})" if entry.age_months is not None else ""
    return f"{entry.when.say()}{age}"


def _say_tilt(entry: Entry) -> str:
    """The tilt of an exception in words."""
    if entry.tilt is None:
        return "no tilt"
    return f"{say_angle('tilt', entry.tilt)}, {say_interval('tilt', entry.tilt)}"


def _counted(some: Sequence[Entry], of: Sequence[Entry] | None = None) -> str:
    """How many: "9 films and 1 photograph", or of how many: "7 of 9 films"."""
    parts = []
    for kind in ("film", "photograph"):
        n, total = (sum(entry.item.kind == kind for entry in entries) for entries in (some, some if of is None else of))
        if total:
            parts.append(f"{n if of is None else f'{n} of {total}'} {kind if total == 1 else f'{kind}s'}")
    return " and ".join(parts)
