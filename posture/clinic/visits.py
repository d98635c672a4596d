"""When published series looked again after surgery: suggested, never demanded, as no series compared such plans."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from posture.clinic.dates import DAYS_PER_MONTH, MONTHS, Event, When, when_if_clear
from posture.clinic.sentences import VISITS


@dataclass(frozen=True)
class Published:
    """A time after surgery in which published series looked again, months; the last one has no end."""

    first_month: float
    last_month: float | None
    source: str

    def say(self) -> str:
        """The time in words."""
        if self.last_month is None:
            return f"{self.first_month:g} months or more after surgery"
        return f"{self.first_month:g} to {self.last_month:g} months after surgery"


PUBLISHED = (Published(3, 6, "[89] [92]"), Published(8, 15, "[92]"), Published(24, None, "[90]"))
"""Head turns in nystagmus, the only series with a plan of visits in months: results at 3 to 6 months, again at 8 to 15 with a drift back of
some degrees [92], and from 24 months on, when the result foretells the last one [90]. Those of superior oblique palsies give means only."""


@dataclass(frozen=True)
class Visit:
    """A time to look again, and whether it was done, is due now, is to come, or has gone by.

    Attributes
    ----------
    published : Published
    first, last : date or None
        None: it has no end.
    state : {"done", "due", "to come", "missed"}
    """

    published: Published
    first: date
    last: date | None
    state: str


def visits_after(events: Iterable[Event], filmed_on: Iterable[str | None], today: date) -> tuple[Visit, ...]:
    """The visits that published practice suggests after the last surgery.

    Parameters
    ----------
    events : iterable of Event
        Only surgery counts, and only where its date is known to about two months.
    filmed_on : iterable of str or None
        Dates of the clips; one that may lie outside of a visit's time does not count as that visit.
    today : date

    Returns
    -------
    tuple of Visit
        None without a dated surgery.
    """
    operated = [when for event in events if event.kind == "surgery" and (when := _surely(event.on))]
    if not operated:
        return ()
    surgery = max(operated, key=lambda when: when.first).middle
    filmed = [when for text in filmed_on if (when := when_if_clear(text))]
    found = []
    for published in PUBLISHED:
        first = surgery + _months(published.first_month)
        last = None if published.last_month is None else surgery + _months(published.last_month)
        done = any(first <= when.first and (last is None or when.last <= last) for when in filmed)
        state = "done" if done else "to come" if today < first else "due" if last is None or today <= last else "missed"
        found.append(Visit(published, first, last, state))
    return tuple(found)


def visit_sentences(visits: Iterable[Visit]) -> list[str]:
    """What to suggest: what is due first, then the next to come; nothing that was done or missed.

    Parameters
    ----------
    visits : iterable of Visit

    Returns
    -------
    list of str
    """
    said = [
        VISITS["due"].text.format(when=visit.published.say(), source=visit.published.source) for visit in _in(visits, "due")
    ]
    for visit in _in(visits, "to come")[:1]:
        day = f"{visit.first.day} {MONTHS[visit.first.month - 1]} {visit.first.year}"
        said.append(VISITS["next"].text.format(date=day, when=visit.published.say(), source=visit.published.source))
    return [*said, VISITS["masked"].text] if said else []


def _in(visits: Iterable[Visit], state: str) -> list[Visit]:
    """Those in a state."""
    return [visit for visit in visits if visit.state == state]


def _surely(text: str) -> When | None:
    """A date that is known to about two months."""
    when = when_if_clear(text)
    return when if when is not None and when.last - when.first <= timedelta(days=62) else None


def _months(months: float) -> timedelta:
    """Months as days."""
    return timedelta(days=round(months * DAYS_PER_MONTH))
