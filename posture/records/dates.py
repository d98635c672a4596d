"""Dates that are known to the day, to the month or to the year, or only about."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from posture.clinic.dates import parse_when, when_if_clear
from posture.errors import RecordsError

_FORM = re.compile(r"[0-9]{4}(?:-[0-9]{2}(?:-[0-9]{2})?)?")

ABOUT = "about "

STORED_ABOUT = "~"
"""After a date that is known only about, as ISO 8601-2 writes it."""

FIRST_YEAR = 1850
"""Before the first photographs of children; what is older is a slip of the hand."""

ABOUT_DAYS = 366
"""How far a date that is known only about may lie outside of what is possible."""


@dataclass(frozen=True)
class PartialDate:
    """A date as far as it is known.

    Attributes
    ----------
    text : str
        "YYYY", "YYYY-MM" or "YYYY-MM-DD".
    about : bool
        Known only about.
    """

    text: str
    about: bool = False

    def __post_init__(self) -> None:
        if not isinstance(self.text, str) or not _is_date(self.text):
            raise RecordsError(
                f"Expected a date such as 2019, 2019-05 or 2019-05-31, with 'about' before it where it is a guess; '{self.text}'"
                f" came. The year is {FIRST_YEAR} or later."
            )

    def __str__(self) -> str:
        return (ABOUT if self.about else "") + self.text

    @classmethod
    def parse(cls, text: str) -> PartialDate:
        """Read a date as `str` writes it: "2019-05-31", "2019-05", "2019", one of these after "about", or as `stored`.

        Parameters
        ----------
        text : str

        Raises
        ------
        RecordsError
            If it is no date.
        """
        plain = " ".join(text.split()).casefold()
        if plain.endswith(STORED_ABOUT):
            return cls(plain.removesuffix(STORED_ABOUT), about=True)
        return cls(plain.removeprefix(ABOUT), plain.startswith(ABOUT))

    @property
    def stored(self) -> str:
        """As it is kept: in the order of time when sorted as text."""
        return self.text + (STORED_ABOUT if self.about else "")

    @property
    def earliest(self) -> date:
        """The first day that it may be; what is only about is taken at its word."""
        return parse_when(self.text).first

    @property
    def latest(self) -> date:
        """The last day that it may be; what is only about is taken at its word."""
        return parse_when(self.text).last


def _is_date(text: str) -> bool:
    """Whether a text is a day, a month or a year of the calendar."""
    when = when_if_clear(text) if _FORM.fullmatch(text) else None
    return when is not None and when.first.year >= FIRST_YEAR


def check_possible(on: PartialDate | None, born: PartialDate | None, what: str) -> None:
    """Refuse a date in the future or before birth.

    Parameters
    ----------
    on, born : PartialDate or None
        None is not known.
    what : str
        What happened then, for the error.

    Raises
    ------
    RecordsError
    """
    if on is None:
        return
    slack = timedelta(days=ABOUT_DAYS if on.about else 0)
    # It may be tomorrow already where the user is.
    if on.earliest - slack > datetime.now(UTC).date() + timedelta(days=1):
        raise RecordsError(f"Expected that {what} lies in the past; {on} came. Correct the date, or leave it open.")
    if born is not None and on.latest + slack < born.earliest:
        raise RecordsError(f"Expected that {what} lies after birth ({born}); {on} came. Correct one of the two.")
