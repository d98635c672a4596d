"""The list of children by their codes, and making a new code."""

from __future__ import annotations

import streamlit as st

from posture.errors import PostureError
from posture.page.ask import CODE_NOTE, ask_person, known_of
from posture.page.kept import (
    OPEN,
    RECENT,
    draw_told,
    in_order,
    is_there,
    let_go,
    open_child,
    opened,
    round_of,
    say_date,
    tell,
)
from posture.page.look import CSS, head_html
from posture.page.person import draw_person
from posture.page.style import no_markup, tag
from posture.records.texts import LONGEST_CODE, tidy_code
from posture.records.values import Person, PersonLine
from posture.summary.words import say_angle, say_interval

AT_ONCE = 50
"""Rows that are shown at once; more are a press away, and the search is quicker."""

EMPTY = (
    "Nothing is kept yet. Make a code for a child here, or measure a clip on the first page and keep it with a child: then its films"
    " stand beside each other over the years."
)

NO_TILT = "No tilt with a settled side yet."


def draw() -> None:
    """Draw the list, or the child that is open."""
    st.html(CSS)
    child = st.session_state.get(OPEN)
    if child is None:
        _draw_list()
    else:
        draw_person(int(child))


def row_html(line: PersonLine) -> str:
    """A child as a row: the head as it was held last, the code, and the tilt in words."""
    tilt = line.last_tilt_deg
    clips = f"{line.clips} clip{'' if line.clips == 1 else 's'}" if line.clips else "no clip yet"
    last = "" if line.last_on is None else f", last of {say_date(line.last_on)}"
    known = [f"born {say_date(line.person.born)}"] if line.person.born is not None else []
    if tilt is None:
        words, note = (NO_TILT if line.clips else ""), ""
    else:
        said = say_angle("tilt", tilt)
        words = said[0].upper() + said[1:]
        note = say_interval("tilt", tilt) + ("; one moment" if line.last_is_moment else "")
    code = f"<div>{tag('b', line.person.code)}{tag('small', ', '.join(known))}</div>"
    tilts = f"<span>{tag('span', words)}{tag('small', '; '.join(part for part in (note, clips + last) if part))}</span>"
    return f'<div class="k-row">{head_html(tilt)}{code}{tilts}</div>'


def _draw_list() -> None:
    """The search, the rows, and the form for a new code."""
    st.html(tag("h1", "Children", "p-title"))
    draw_told()
    there = is_there()
    search = ""
    if there:
        search = st.text_input(
            "Search by code", key="children-search", placeholder="Search by code", label_visibility="collapsed"
        )  # fmt: skip
    lines: list[PersonLine] = []
    if there:
        try:
            with opened() as records:
                lines = records.persons.lines(search or "")
                warnings = records.warnings
        except PostureError as error:
            st.error(no_markup(str(error)))
            return
        for warning in warnings:
            st.warning(no_markup(warning))
    with st.expander("New code", expanded=not there):
        _draw_new()
    if not lines:
        st.html(tag("p", "No code holds this text." if search else EMPTY, "p-note"))
        return
    ordered = in_order(lines, st.session_state.get(RECENT, ()))
    first = _first_shown(len(ordered), search or "")
    shown = ordered[first : first + AT_ONCE]
    if len(ordered) > AT_ONCE:
        st.html(tag("p", f"{first + 1} to {first + len(shown)} of {len(ordered)} children, the newest first", "p-note"))
    for line in shown:
        _draw_line(line)
    _draw_turning(first, len(ordered))


def _draw_line(line: PersonLine) -> None:
    """A row that opens its child when it is pressed."""
    number = line.person.id
    with st.container(key=f"row-{number}"):
        st.html(row_html(line))
        st.button(no_markup(f"Open {line.person.code}"), key=f"open-{number}", on_click=open_child, args=(number,))


def _first_shown(count: int, search: str) -> int:
    """The first row that is shown; another search begins at its beginning."""
    known, first = st.session_state.get("children-first", ("", 0))
    return first if known == search and first < count else 0


def _draw_turning(first: int, count: int) -> None:
    """Buttons to the rows before and after."""
    if count <= AT_ONCE:
        return
    back, on = st.columns(2)
    search = st.session_state.get("children-search") or ""
    for place, words, to in ((back, "Newer ones", first - AT_ONCE), (on, "Older ones", first + AT_ONCE)):
        place.button(
            words, key=f"turn-{words}", disabled=not 0 <= to < count, on_click=_turn, args=(search, to), width="stretch"
        )  # fmt: skip


def _turn(search: str, first: int) -> None:
    """Have other rows shown."""
    st.session_state["children-first"] = search, first


def _draw_new() -> None:
    """The form for a new code."""
    key = f"new-{round_of('new')}"
    with st.form(key, border=False):
        code = st.text_input("Code", key=f"{key}-code", max_chars=LONGEST_CODE, placeholder="such as K-0412")
        st.html(tag("p", CODE_NOTE, "p-note"))
        answers = ask_person(key)
        if not st.form_submit_button("Make this code", key=f"{key}-make"):
            return
    try:
        person = Person(tidy_code(code or ""), **known_of(answers))
        with opened() as records:
            kept = records.persons.add(person)
    except PostureError as error:
        st.error(no_markup(str(error)))
        return
    let_go("new")
    open_child(kept.id)
    tell(f"{kept.code} is made.")
    st.rerun()
