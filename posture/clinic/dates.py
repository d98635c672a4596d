"""When something was filmed or done, as far as it is known: a day, a month, a year, or only about; and events by it."""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from posture.errors import DateError

Precision = Literal["day", "month", "year"]
EventKind = Literal["surgery", "patching", "glasses", "other"]

ABOUT = {"day": 31, "month": 92, "year": 365}
"""Days by which "about" widens a date to both sides: the next larger step or so, as people remember (common practice, no source)."""

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December",
)  # fmt: skip
DAYS_PER_MONTH = 365.25 / 12

_FORM = re.compile(r"(about\s+|~\s*)?(\d{4})(?:-(\d{2})(?:-(\d{2})(?:[T ]\S.*)?)?)?", re.IGNORECASE)


@dataclass(frozen=True)
class When:
    """A date with its precision: it lies from `first` to `last`, both included."""

    first: date
    last: date
    precision: Precision
    about: bool

    @property
    def middle(self) -> date:
        """The day in the middle of what is possible."""
        return self.first + (self.last - self.first) / 2

    def is_before(self, other: When) -> bool:
        """Whether it lies before another date for certain."""
        return self.last < other.first

    def say(self) -> str:
        """The date in words, as precisely as it is known: "12 March 2021", "about 2019"."""
        at = self.middle if self.about else self.first
        words = {"year": f"{at.year}", "month": f"{MONTHS[at.month - 1]} {at.year}"}
        said = words.get(self.precision, f"{at.day} {MONTHS[at.month - 1]} {at.year}")
        return f"about {said}" if self.about else said


@dataclass(frozen=True)
class Event:
    """Something that was done on a date: of a kind, and in words."""

    on: str
    kind: EventKind
    words: str


def parse_when(text: str) -> When:
    """Read a date.

    Parameters
    ----------
    text : str
        "2021-03-12" (a time of day after it is left out), "2021-03", "2021", each also with "about" before it.

    Returns
    -------
    When

    Raises
    ------
    DateError
        If it is none of these, or not in the calendar.
    """
    when = _read(text)
    if when is None:
        raise DateError(
            f"Expected a date as 2021-03-12, 2021-03, 2021 or 'about 2021'; {text[:40]!r} came. Write it in one of these forms."
        )
    return when


def _read(text: str) -> When | None:
    """The same; None for what is no date."""
    form = _FORM.fullmatch(text.strip())
    if form is None:
        return None
    about, year = form[1] is not None, int(form[2])
    month, day = (None if part is None else int(part) for part in (form[3], form[4]))
    precision: Precision = "day" if form[4] else "month" if form[3] else "year"
    try:
        last_month = 12 if month is None else month
        first = date(year, 1 if month is None else month, 1 if day is None else day)
        last = date(year, last_month, calendar.monthrange(year, last_month)[1] if day is None else day)
        margin = timedelta(ABOUT[precision] if about else 0)
        return When(first - margin, last + margin, precision, about)
    except (ValueError, OverflowError):
        return None


def when_of(text: str | None) -> When | None:
    """Read a date that may be missing."""
    return parse_when(text) if text and text.strip() else None


def when_if_clear(text: str | None) -> When | None:
    """Read a date that was typed freely; None where it is missing or cannot be read."""
    return _read(text) if text else None


def least_months_between(earlier: When, later: When) -> int:
    """Whole months that lie between two dates at the least; 0 where their order is not certain."""
    start, end = earlier.last, later.first
    months = 12 * (end.year - start.year) + end.month - start.month - (end.day < start.day)
    return max(0, months)


def say_age(months: int) -> str:
    """An age in words: "2 years 3 months"."""
    years, rest = divmod(months, 12)
    parts = [(years, "year"), (rest, "month")]
    return " ".join(f"{n} {unit}{'' if n == 1 else 's'}" for n, unit in parts if n) or "0 months"
