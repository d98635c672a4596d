"""When a film was made: as the list says, else as the file says, and never what cannot be."""

from __future__ import annotations

from datetime import date, timedelta

from posture.clinic.dates import DAYS_PER_MONTH, When, when_of
from posture.errors import DateError

THE_LIST = "the list"
"""Where a date comes from that the list says."""


def check_date(text: str | None, born: When | None) -> When | None:
    """Read a date that may be missing.

    Parameters
    ----------
    text : str or None
    born : When or None

    Raises
    ------
    DateError
        If it is none, in the future, or before birth.
    """
    when = when_of(text)
    if when is None:
        return None
    # It may be tomorrow already where the film was made.
    if when.first > date.today() + timedelta(days=1):
        raise DateError(f"Expected a date in the past; {when.say()} came. Correct it, or leave it open.")
    if born is not None and when.is_before(born):
        raise DateError(f"Expected a date after birth, {born.say()}; {when.say()} came. Correct one of them.")
    return when


def date_of(
    said: str | None, file_on: str | None, file_source: str | None, born: When | None
) -> tuple[str | None, str | None, str]:
    """The date of a film.

    Parameters
    ----------
    said : str or None
        By the list, which stands above the file.
    file_on, file_source : str or None
        By the file, and by what in it.
    born : When or None

    Returns
    -------
    tuple of str or None
        Date, where it comes from, and what is to be said of it.
    """
    if said:
        return said, file_source if said == _day(file_on) else THE_LIST, ""
    try:
        check_date(_day(file_on), born)
    except DateError:
        return None, None, f"the date in the file, {_day(file_on)}, cannot be and is not taken"
    return _day(file_on), file_source, ""


def _day(text: str | None) -> str | None:
    """A date without the time of day."""
    return text.split("T")[0].split(" ")[0] if text else None


def age_months(on: str | None, born: When | None) -> int | None:
    """Whole months from birth to a date, each in the middle of what is possible."""
    when = when_of(on)
    if when is None or born is None:
        return None
    return max(0, int((when.middle - born.middle).days / DAYS_PER_MONTH))
