"""Fields that the pages on children share: a code, the month of birth, a date that may be vague, the suspected side."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any, cast

import streamlit as st

from posture.clinic.dates import MONTHS
from posture.errors import OutputError, RecordsError
from posture.records.dates import PartialDate
from posture.records.values import Person, Suspected

SUSPECTED = {"unknown": "Not stated", "right": "Right", "left": "Left", "both": "Both"}

DATE_FORM = "2024-03-12, 2024-03, 2024 or about 2019"

CODE_NOTE = "A code that your clinic understands, such as a number of your list. It must not be a name."

SOURCES = ("the file", "the family says", "the clinic's notes", "written on it", "a guess")
"""How a date is known, to choose from; anything else can be typed."""

OLDEST_YEARS = 110

ADDRESS = (
    "Expected a folder on this computer; an address or a folder of the network came. Give a folder such as /home/clinic/films."
)


def ask_date(place: Any, label: str, key: str, value: PartialDate | None = None) -> str:
    """Ask for a date in words; it is read when it is kept."""
    text = place.text_input(label, value="" if value is None else str(value), key=key, max_chars=20, placeholder=DATE_FORM)
    return str(text or "")


def ask_source(place: Any, key: str, value: str = "") -> str:
    """Ask how a date is known."""
    options = list(dict.fromkeys([*([value] if value else []), *SOURCES]))
    answer = place.selectbox(
        "How the date is known", options, key=key, index=0 if value else None, placeholder="not stated", accept_new_options=True,
    )  # fmt: skip
    return str(answer or "")[:200]


def ask_person(key: str, person: Person | None = None) -> dict[str, Any]:
    """Ask for what is known of a child beside the code.

    Parameters
    ----------
    key : str
        Of the form.
    person : Person or None
        As it is kept.

    Returns
    -------
    dict
        `month` and `year` of birth, `suspected` and `suspected_by`; for `known_of`.
    """
    born = None if person is None else person.born
    first, second = st.columns(2)
    year_now = date.today().year
    month = first.selectbox(
        "Month of birth", MONTHS, key=f"{key}-month", placeholder="not stated", index=None if born is None else born.earliest.month - 1
    )  # fmt: skip
    year = second.number_input(
        "Year of birth", min_value=year_now - OLDEST_YEARS, max_value=year_now, step=1, key=f"{key}-year",
        value=None if born is None else born.earliest.year, placeholder="not stated",
    )  # fmt: skip
    first, second = st.columns(2)
    suspected = first.selectbox(
        "Side of the weak eye muscle that is suspected", list(SUSPECTED), format_func=lambda s: SUSPECTED.get(s, s),
        key=f"{key}-suspected", index=0 if person is None else list(SUSPECTED).index(person.suspected),
    )  # fmt: skip
    by = second.text_input(
        "Who suspects it", key=f"{key}-by", max_chars=100, placeholder="such as: referring doctor",
        value="" if person is None else person.suspected_by,
    )  # fmt: skip
    return {"month": month, "year": year, "suspected": suspected, "suspected_by": by}


def known_of(answers: dict[str, Any]) -> dict[str, Any]:
    """The answers of `ask_person` as attributes of a person.

    Raises
    ------
    RecordsError
        If only one of month and year is given.
    """
    month, year = answers["month"], answers["year"]
    if (month is None) != (year is None):
        raise RecordsError("Expected month and year of birth, or neither; one of the two is missing. Fill in both.")
    born = None if month is None else PartialDate(f"{int(year):04d}-{MONTHS.index(month) + 1:02d}")
    return {
        "born": born,
        "suspected": cast(Suspected, answers["suspected"]),
        "suspected_by": " ".join((answers["suspected_by"] or "").split()),
    }


def read_folder(text: str) -> Path:
    """A folder that was typed, on this computer.

    Raises
    ------
    OutputError
        If it is an address, lies in the network, or is not there.
    """
    if "://" in text or text.startswith(("\\\\", "//")):
        raise OutputError(ADDRESS)
    path = Path(text).expanduser()
    if not path.is_dir():
        raise OutputError("Expected a folder that is there; this is none that can be used. Make it first, or choose another.")
    return path
