"""What the pages on children share: the records opened for a moment, a child read out of them, words and lines to tell.

No file of records is made by looking: it begins with the first thing that the user keeps.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

import streamlit as st

from posture.clinic.course import Dated
from posture.clinic.dates import Event as ClinicEvent
from posture.clinic.dates import parse_when, say_age
from posture.clinic.findings import Findings
from posture.errors import RecordsError
from posture.page.style import no_markup
from posture.records.dates import PartialDate
from posture.records.store import Records, open_records, records_path
from posture.records.values import Clip, Consent, Event, Person, PersonLine, Reading, Visit
from posture.summary.record import Summary

OPEN = "child-open"
"""Key of the session: the number of the child that is shown; none is the list."""

RECENT = "children-recent"
"""Key of the session: the children that were opened or kept for, the last one first."""

_TOLD, _HELD, _ROUND = "children-told", "held|", "round|"

Versioned = TypeVar("Versioned", Person, Event, Consent, Visit, Clip)

_place: list[Path] = []


@dataclass(frozen=True)
class ChildFile:
    """All that is kept of a child, read at one moment.

    Attributes
    ----------
    person : Person
    clips : tuple of Clip
        In the order of time, those without a date first.
    readings : dict
        Clip id -> its current reading.
    events : tuple of Event
    visits : tuple of Visit
    consents : tuple of Consent
    """

    person: Person
    clips: tuple[Clip, ...]
    readings: dict[int, Reading]
    events: tuple[Event, ...]
    visits: tuple[Visit, ...]
    consents: tuple[Consent, ...]

    @cached_property
    def summaries(self) -> dict[int, Summary]:
        """Clip id -> summary with the date and the age that the records know."""
        return {clip.id: _with_date(self.person, clip, self.readings[clip.id].summary) for clip in self.clips}

    @cached_property
    def dated(self) -> tuple[Dated, ...]:
        """The clips as a course takes them, in the order of `clips`."""
        return tuple(
            Dated(
                self.summaries[clip.id],
                None if clip.filmed_on is None else str(clip.filmed_on),
                self.summaries[clip.id].conditions.age_months,
                clip.kind,
                clip.posed,
                clip.filmed_by or None,
            )
            for clip in self.clips
        )

    @cached_property
    def happened(self) -> tuple[ClinicEvent, ...]:
        """The events as course and comparison take them."""
        return tuple(ClinicEvent(str(event.on), event.kind, event.text) for event in self.events)

    @property
    def last_visit(self) -> Visit | None:
        """The latest visit."""
        return self.visits[-1] if self.visits else None

    @property
    def findings(self) -> Findings:
        """What was found at the latest visit at which anything was entered; empty where there is none."""
        found = (visit.findings for visit in reversed(self.visits) if visit.findings.model_fields_set)
        return next(found, Findings())

    @property
    def names_sides(self) -> bool:
        """Whether a side may be named for the child as a whole: that of one clip at least is settled, or there is none yet."""
        return not self.clips or any(summary.sided for summary in self.summaries.values())

    @property
    def mark(self) -> tuple[object, ...]:
        """Another one whenever anything that is drawn has changed."""
        kept = [[(value.id, value.version) for value in values] for values in (self.clips, self.events, self.visits)]
        return (self.person, str(kept), tuple(sorted(reading.id for reading in self.readings.values())))


def use_records(path: Path | None) -> None:
    """Keep the records in a file of the user's choice, for as long as this process runs.

    Parameters
    ----------
    path : Path or None
        None is the program's own folder.
    """
    _place[:] = [] if path is None else [path]


def place() -> Path:
    """Where the records lie, or will lie."""
    return _place[0] if _place else records_path()


def is_there() -> bool:
    """Whether anything was kept yet."""
    return place().exists()


@contextmanager
def opened() -> Iterator[Records]:
    """The records, open for as long as the block lasts; made if they are not there.

    Raises
    ------
    RecordsError
    """
    with open_records(place()) as records:
        yield records


def read_child(records: Records, person_id: int) -> ChildFile:
    """All that is kept of a child.

    Raises
    ------
    RecordsError
        If it is not there any more.
    """
    with records.database.one_moment():
        return ChildFile(
            person=records.persons.get(person_id),
            clips=tuple(records.clips.of_person(person_id)),
            readings=records.readings.current_of_person(person_id),
            events=tuple(records.events.of_person(person_id)),
            visits=tuple(records.visits.of_person(person_id)),
            consents=tuple(records.consents.of_person(person_id)),
        )


def open_child(person_id: int | None) -> None:
    """Have a child, or the list where None, shown at the next drawing; forms begin with what is kept then."""
    st.session_state[OPEN] = person_id
    for key in [key for key in st.session_state if str(key).startswith(_HELD)]:
        del st.session_state[key]
    if person_id is not None:
        recent = st.session_state.get(RECENT, ())
        st.session_state[RECENT] = (person_id, *(one for one in recent if one != person_id))[:20]


def tell(text: str, is_error: bool = False) -> None:
    """Have a line shown at the next drawing."""
    st.session_state[_TOLD] = (*st.session_state.get(_TOLD, ()), (text, is_error))


def draw_told() -> None:
    """Show the lines that are to be told, once."""
    for text, is_error in st.session_state.pop(_TOLD, ()):
        (st.error if is_error else st.success)(no_markup(text))


def hold(name: str, current: Versioned) -> Versioned:
    """What a form shows, as it was when the form was first drawn: what others changed meanwhile is noticed when it is saved."""
    held: Versioned = st.session_state.setdefault(f"{_HELD}{name}", current)
    return held


def let_go(name: str) -> None:
    """Begin a form anew: from what is kept now, its fields as at first."""
    st.session_state.pop(f"{_HELD}{name}", None)
    st.session_state[f"{_ROUND}{name}"] = round_of(name) + 1


def round_of(name: str) -> int:
    """How often a form was begun anew; a part of the keys of its fields."""
    return int(st.session_state.get(f"{_ROUND}{name}", 0))


def say_date(on: PartialDate | None) -> str:
    """A date in words."""
    return "no date" if on is None else parse_when(str(on)).say()


def read_date(text: str | None, what: str) -> PartialDate:
    """A date that was typed.

    Raises
    ------
    RecordsError
        If there is none, or it is no date.
    """
    if not (text or "").strip():
        raise RecordsError(f"Expected a date for {what}, such as 2024-03-12, 2024-03, 2024 or about 2019; none came.")
    return PartialDate.parse(text or "")


def age_months(born: PartialDate | None, on: PartialDate | None) -> int | None:
    """Age at a date in whole months; None where either is not known, or it lies before birth."""
    if born is None or on is None:
        return None
    at, birth = parse_when(str(on)).middle, born.earliest
    months = 12 * (at.year - birth.year) + at.month - birth.month
    return months if months >= 0 else None


def say_person(person: Person, names_sides: bool = True) -> list[str]:
    """What is known of a child, in short parts of a line."""
    parts = []
    if person.born is not None:
        age = age_months(person.born, PartialDate(date.today().isoformat()))
        parts.append(f"born {say_date(person.born)}" + ("" if age is None else f", now {say_age(age)}"))
    if person.suspected != "unknown" and names_sides:
        by = f", says {person.suspected_by}" if person.suspected_by else ""
        side = "both sides" if person.suspected == "both" else f"the {person.suspected}"
        parts.append(f"weak eye muscle suspected on {side}{by}")
    return parts


def cached(name: str, mark: object, make: Any) -> Any:
    """What was made for a mark; made anew for another. One of each name is kept."""
    key = f"children-made|{name}"
    known = st.session_state.get(key)
    if known is None or known[0] != mark:
        known = mark, make()
        st.session_state[key] = known
    return known[1]


def _with_date(person: Person, clip: Clip, summary: Summary) -> Summary:
    """A summary with the date and the age that the records know."""
    known: dict[str, Any] = {}
    if clip.filmed_on is not None:
        known = {"filmed_on": str(clip.filmed_on), "filmed_on_source": clip.filmed_on_source or None}
    if summary.conditions.age_months is None:
        known["age_months"] = age_months(person.born, clip.filmed_on)
    return summary.model_copy(update={"conditions": summary.conditions.model_copy(update=known)})


def in_order(lines: Sequence[PersonLine], recent: Sequence[int] = ()) -> list[PersonLine]:
    """The newest first: what was just opened, codes without anything yet, then by the last clip or visit.

    Parameters
    ----------
    lines : sequence of PersonLine
    recent : sequence of int
        Numbers of the children that were opened here, the last one first.
    """
    ranks = {number: -rank for rank, number in enumerate(recent, 1)}
    never = -len(ranks) - 1

    def newness(line: PersonLine) -> tuple[int, date, int]:
        known = [on.latest for on in (line.last_on, line.last_visit_on) if on is not None]
        return ranks.get(line.person.id, never), max(known, default=date.max), line.person.id

    return sorted(lines, key=newness, reverse=True)
