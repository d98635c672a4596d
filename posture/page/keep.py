"""Keeps a measured clip with a child: a code is chosen or made, and only what is on disk is said to be kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import streamlit as st

from posture.clinic.dates import parse_when
from posture.errors import AlreadyKeptError, PostureError, RecordsError
from posture.face.stills import jpeg_of
from posture.measure import Measurement, Settings
from posture.page.ask import CODE_NOTE, ask_date, ask_person, ask_source, known_of
from posture.page.kept import RECENT, in_order, is_there, open_child, opened, read_date
from posture.page.look import CSS
from posture.page.style import no_markup, tag
from posture.records.clips import clip_of
from posture.records.dates import PartialDate
from posture.records.pictures import clean_picture
from posture.records.seen import Measured
from posture.records.store import Records
from posture.records.texts import LONGEST_CODE, code_key, tidy_code
from posture.records.values import Person

LEAD = (
    "Optional. Kept are the result and what was seen as numbers, not the film: so the clip stands beside others over the years."
)

SIDE_OPEN = "The side is not settled: the clip is kept, and listed as such until it is."

PICTURE = "Keep one small picture of the face with it"

QUALITY = 90


@dataclass(frozen=True)
class Offer:
    """A measurement that may be kept.

    Attributes
    ----------
    measured : Measured
    portrait : bytes or None
        JPEG of the face of the one who was measured.
    key : str
        Of the clip and the person in it.
    """

    measured: Measured
    portrait: bytes | None
    key: str


def offer_of(measurement: Measurement, settings: Settings) -> Offer:
    """What may be kept of a measurement.

    Parameters
    ----------
    measurement : Measurement
    settings : Settings
        With which it was read.
    """
    measured = Measured.of(measurement, settings)
    number = measured.seen.person
    persons = measurement.seen.persons
    portrait = persons[number - 1].portrait if 1 <= number <= len(persons) else None
    picture = None if portrait is None else jpeg_of(portrait, QUALITY)
    return Offer(measured, picture, f"{measurement.summary.clip.sha256}-{number}")


@st.fragment
def draw_keep(offer: Offer) -> None:
    """Draw the whole section; an answer in it draws nothing else anew.

    Parameters
    ----------
    offer : Offer
    """
    st.html(CSS)
    done = st.session_state.get("kept-with", {}).get((offer.key, offer.measured.summary.to_json()))
    if done is not None:
        number, code = done
        st.success(no_markup(f"Kept with {code}: on disk."))
        if st.button("Open the child", key=f"keep-open|{offer.key}"):
            open_child(number)
            st.switch_page(st.session_state["page-of-children"])
        return
    st.html(tag("p", LEAD, "p-note"))
    try:
        codes = _codes()
    except PostureError as error:
        st.error(no_markup(str(error)))
        return
    key = f"keep|{offer.key}"
    code = st.selectbox(
        "Code of the child: choose one, or type a new one", codes, index=None, key=f"{key}-code", placeholder="no code chosen",
        accept_new_options=True,
    )  # fmt: skip
    code = tidy_code(str(code or ""))[:LONGEST_CODE]
    if not code:
        return
    known: dict[str, Any] = {}
    if not any(code_key(code) == code_key(known_code) for known_code in codes):
        st.html(tag("p", f"“{code}” is a new code. {CODE_NOTE}", "p-note"))
        known = ask_person(f"{key}-person")
    answers = _ask_clip(offer, key)
    if not offer.measured.summary.sided:
        st.html(tag("p", SIDE_OPEN, "p-note"))
    already = st.session_state.get(f"{key}-already")
    is_of_both = is_second = False
    if already is not None and already[0] == code:
        st.warning(no_markup(already[1]))
        if already[2] is None:
            is_of_both = st.checkbox("The clip shows both children: keep it here too", key=f"{key}-both")
        else:
            is_second = st.checkbox("Keep it beside the first, as a second reading of this file", key=f"{key}-second")
    if st.button(no_markup(f"Keep with {code}"), key=f"{key}-keep", type="primary"):
        _keep(offer, key, code, known, answers, is_of_both=is_of_both, is_second=is_second)


def draw_offer(person: Person) -> None:
    """Draw, on the page of a child, that the clip measured last is not kept yet.

    Parameters
    ----------
    person : Person
    """
    offer: Offer | None = st.session_state.get("keep-offer")
    if offer is None or any(key == offer.key for key, _ in st.session_state.get("kept-with", {})):
        return
    with st.expander("The clip that was measured last is not kept yet"):
        st.session_state.setdefault(f"keep|{offer.key}-code", person.code)
        draw_keep(offer)


def keep_clip(
    records: Records, person: Person, offer: Offer, known: dict[str, Any], *, is_of_both: bool = False, is_second: bool = False
) -> Person:
    """Keep a clip, and its child where it is new, in one transaction.

    Parameters
    ----------
    records : Records
    person : Person
        With `id` 0 it is made.
    offer : Offer
    known : dict
        Attributes of `Clip` that the user knows.
    is_of_both : bool
        The file may be kept under another code as well.
    is_second : bool
        Where the file is kept for this child already, keep the measurement beside the first one.

    Returns
    -------
    Person
        As it is kept.

    Raises
    ------
    AlreadyKeptError
        If the file is kept already and neither is said; nothing was changed.
    RecordsError
    """
    with records.database.writing():
        kept = person if person.id else records.persons.add(person)
        where, clip_id = records.clips.where_kept(offer.measured.summary.clip.sha256, kept.id)
        if where == "here" and is_second and clip_id is not None:
            records.readings.add(clip_id, offer.measured)
        else:
            records.clips.keep(clip_of(kept.id, offer.measured, **known), offer.measured, is_of_both)
    return kept


def date_of(offer: Offer) -> PartialDate | None:
    """The date that the file says, if it says one that can be read."""
    try:
        return PartialDate.parse((offer.measured.summary.conditions.filmed_on or "").split("T")[0])
    except RecordsError:
        return None


def _keep(
    offer: Offer,
    key: str,
    code: str,
    known: dict[str, Any],
    answers: dict[str, Any],
    *,
    is_of_both: bool,
    is_second: bool,
) -> None:
    """Keep it, and say so once it is on disk; what stands in the way is told, and nothing is replaced."""
    try:
        of_clip = _clip_answers(offer, answers)
        with opened() as records:
            person = records.persons.find(code) or Person(code, **(known_of(known) if known else {}))
            kept = keep_clip(records, person, offer, of_clip, is_of_both=is_of_both, is_second=is_second)
    except AlreadyKeptError as error:
        st.session_state[f"{key}-already"] = code, str(error), error.clip_id
        st.rerun()
    except PostureError as error:
        st.error(no_markup(str(error)))
        return
    st.session_state.pop(f"{key}-already", None)
    done = st.session_state.setdefault("kept-with", {})
    done[offer.key, offer.measured.summary.to_json()] = kept.id, kept.code
    recent = st.session_state.get(RECENT, ())
    st.session_state[RECENT] = (kept.id, *(one for one in recent if one != kept.id))[:20]
    st.rerun()


def _codes() -> list[str]:
    """The codes that are kept, the newest first."""
    if not is_there():
        return []
    with opened() as records:
        return [line.person.code for line in in_order(records.persons.lines(), st.session_state.get(RECENT, ()))]


def _ask_clip(offer: Offer, key: str) -> dict[str, Any]:
    """Ask when it was filmed and how that is known, by whom, whether it was posed, and for a picture."""
    known = date_of(offer)
    source = offer.measured.summary.conditions.filmed_on_source or ""
    first, second = st.columns(2)
    typed = ask_date(first, "Date filmed", f"{key}-on", known)
    answers: dict[str, Any] = {"on": typed, "source": ask_source(second, f"{key}-source", source if known else "")}
    answers["by"] = first.text_input("Who filmed", key=f"{key}-filmed", max_chars=100, placeholder="clinic, mother")
    with second.container():
        answers["posed"] = st.checkbox("Posed: the child was told how to sit or look", key=f"{key}-posed")
        if offer.portrait is not None:
            answers["picture"] = st.checkbox(PICTURE, key=f"{key}-picture")
    if known is not None:
        said = f"The file says {parse_when(str(known)).say()}{f' ({source})' if source else ''}."
        st.html(tag("p", said, "p-note"))
    return answers


def _clip_answers(offer: Offer, answers: dict[str, Any]) -> dict[str, Any]:
    """The answers as attributes of a clip."""
    typed = (answers["on"] or "").strip()
    on = read_date(typed, "the film") if typed else None
    picture = clean_picture(offer.portrait) if answers.get("picture") and offer.portrait is not None else None
    return {
        "filmed_on": on,
        "filmed_on_source": answers["source"] if on else "",
        "filmed_by": (answers["by"] or "").strip(),
        "posed": bool(answers["posed"]),
        "picture": picture,
    }


def offer_last(measurement: Measurement, settings: Settings) -> Offer:
    """Offer the result that is shown, here and on the pages of children, for as long as the session lasts."""
    offer = offer_of(measurement, settings)
    st.session_state["keep-offer"] = offer
    return offer
