"""What happened to a child beside the clips: operations and glasses, visits with what was found, consents."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any, cast

import streamlit as st

from posture.errors import ChangedMeanwhileError, PostureError
from posture.page.ask import ask_date
from posture.page.findings import ask_findings
from posture.page.kept import ChildFile, hold, let_go, opened, read_date, round_of, say_date, tell
from posture.page.style import no_markup, tag
from posture.records.dates import PartialDate
from posture.records.store import Records
from posture.records.texts import LONGEST
from posture.records.values import Consent, Event, EventKind, Scope, Visit

KINDS: dict[str, str] = {"surgery": "Surgery", "patching": "Patching", "glasses": "Glasses", "other": "Something else"}

SCOPES: dict[str, str] = {"care": "care", "letter": "letters", "teaching": "teaching", "audit": "audit"}

EVENT_NOTE = "What was done and when: it stands in the figure, and what was filmed before and after it is told apart."

CONSENT_NOTE = (
    "Who consented, when, and to what; no names: “mother”, “the patient”. A clip without consent to audit is skipped by an audit and"
    " listed there."
)


def draw_events(child: ChildFile) -> None:
    """Draw the events and a form for another one.

    Parameters
    ----------
    child : ChildFile
    """
    st.html(tag("p", EVENT_NOTE, "p-note"))
    for event in child.events:
        words = f"{say_date(event.on)}: {KINDS[event.kind].lower()}{', ' + event.text if event.text else ''}"
        with st.expander(no_markup(words[:120])):
            _draw_event(f"event-{event.id}", event, child)
    st.html(tag("p", "Add one", "p-head"))
    _draw_event(f"event-new-{child.person.id}", None, child)


def draw_visits(child: ChildFile) -> None:
    """Draw the visits and a form for another one.

    Parameters
    ----------
    child : ChildFile
    """
    for visit in reversed(child.visits):
        with st.expander(no_markup(f"{say_date(visit.on)}{': ' + visit.question if visit.question else ''}"[:120])):
            _draw_visit(f"visit-{visit.id}", visit, child)
    with st.expander("Add a visit", expanded=not child.visits):
        _draw_visit(f"visit-new-{child.person.id}", None, child)


def draw_consents(child: ChildFile) -> None:
    """Draw the consents, with withdrawing, and a form for another one.

    Parameters
    ----------
    child : ChildFile
    """
    st.html(tag("p", CONSENT_NOTE, "p-note"))
    for consent in child.consents:
        what = ", ".join(SCOPES[scope] for scope in SCOPES if scope in consent.scopes)
        of_what = "all clips" if consent.clip_id is None else "one clip"
        gone = f"; withdrawn {say_date(consent.withdrawn_on)}" if consent.withdrawn_on else ""
        with st.expander(no_markup(f"{say_date(consent.given_on)}, {consent.by_whom}: {what}, {of_what}{gone}")):
            _draw_consent(consent)
    st.html(tag("p", "Add a consent", "p-head"))
    _draw_new_consent(child)


def save(name: str, do: Callable[[Records], object], done: str = "Kept.") -> None:
    """Do something to the records and begin the form anew; what was changed meanwhile is told and read anew.

    Parameters
    ----------
    name : str
        Of the form.
    do : callable
    done : str
        Told once it is on disk.
    """
    try:
        with opened() as records:
            do(records)
    except ChangedMeanwhileError as error:
        tell(str(error), is_error=True)
    except PostureError as error:
        st.error(no_markup(str(error)))
        return
    else:
        tell(done)
    let_go(name)
    st.rerun()


def _draw_event(name: str, event: Event | None, child: ChildFile) -> None:
    """The form of an event; a new one where None."""
    held, key = None if event is None else hold(name, event), f"{name}-{round_of(name)}"
    with st.form(key, border=False):
        first, second = st.columns(2)
        kind = first.selectbox(
            "What", list(KINDS), format_func=lambda k: KINDS.get(k, k), key=f"{key}-kind",
            index=0 if held is None else list(KINDS).index(held.kind),
        )  # fmt: skip
        typed = ask_date(second, "When", f"{key}-on", None if held is None else held.on)
        text = st.text_input(
            "In words", value="" if held is None else held.text, key=f"{key}-text", max_chars=400,
            placeholder="such as: superior oblique tuck",
        )  # fmt: skip
        keep = st.form_submit_button("Keep" if held else "Add", key=f"{key}-keep")
        remove = held is not None and st.form_submit_button("Remove", key=f"{key}-remove")
    if remove and held is not None:
        save(name, lambda records: records.events.remove(held), "Removed.")
    if not keep:
        return

    def do(records: Records) -> None:
        on, words = read_date(typed, "the event"), " ".join((text or "").split())
        if held is None:
            records.events.add(Event(child.person.id, cast(EventKind, kind), on, words))
        else:
            records.events.change(replace(held, kind=cast(EventKind, kind), on=on, text=words))

    save(name, do)


def _draw_visit(name: str, visit: Visit | None, child: ChildFile) -> None:
    """The form of a visit; a new one where None. Findings are asked only where they are wanted: there are many."""
    held, key = None if visit is None else hold(name, visit), f"{name}-{round_of(name)}"
    today = PartialDate(date.today().isoformat())
    first, second = st.columns(2)
    typed = ask_date(first, "Date of the visit", f"{key}-on", today if held is None else held.on)
    texts: dict[str, Any] = {
        "examiner": second.text_input("Examiner", value="" if held is None else held.examiner, key=f"{key}-who", max_chars=100),
        "question": st.text_area(
            "The question asked",
            value="" if held is None else held.question,
            key=f"{key}-question",
            height=80,
            max_chars=LONGEST,
        ),
        "eye_estimate": st.text_input(
            "The examiner's own estimate by eye",
            value="" if held is None else held.eye_estimate,
            key=f"{key}-eye",
            max_chars=200,
        ),
    }
    findings = None
    if held is not None and held.findings.model_fields_set:
        st.html(
            tag("p", f"Findings are kept: {', '.join(sorted(held.findings.model_fields_set))}.".replace("_", " "), "p-note")
        )
    if st.toggle("Enter what was found" if held is None else "Enter the findings anew", key=f"{key}-found"):
        _, findings = ask_findings(f"{key}-sheet")
    first, second = st.columns(2)
    keep = first.button("Keep" if held else "Add this visit", key=f"{key}-keep", type="primary")
    if held is not None and second.button("Remove", key=f"{key}-remove"):
        save(name, lambda records: records.visits.remove(held), "Removed.")
    if not keep:
        return

    def do(records: Records) -> None:
        plain = {what: (text or "").strip() for what, text in texts.items()}
        values: dict[str, Any] = {
            **plain,
            "on": read_date(typed, "the visit"),
            **({} if findings is None else {"findings": findings}),
        }
        if held is None:
            records.visits.add(Visit(child.person.id, **values))
        else:
            records.visits.change(replace(held, **values))

    save(name, do)


def _draw_consent(consent: Consent) -> None:
    """Withdraw a consent."""
    if consent.withdrawn_on is not None:
        st.html(tag("p", "It allows nothing any more.", "p-note"))
        return
    name = f"consent-{consent.id}"
    held, key = hold(name, consent), f"{name}-{round_of(name)}"
    with st.form(key, border=False):
        typed = ask_date(st, "Withdrawn on", f"{key}-on", PartialDate(date.today().isoformat()))
        if not st.form_submit_button("Withdraw", key=f"{key}-keep"):
            return
    save(name, lambda records: records.consents.change(replace(held, withdrawn_on=read_date(typed, "it"))), "Withdrawn.")


def _draw_new_consent(child: ChildFile) -> None:
    """The form of a new consent."""
    name = f"consent-new-{child.person.id}"
    key = f"{name}-{round_of(name)}"
    names: dict[int | None, str] = {None: "all clips of the child"} | {
        clip.id: f"only {clip.kind} {number}, {say_date(clip.filmed_on)}" for number, clip in enumerate(child.clips, start=1)
    }
    with st.form(key, border=False):
        first, second = st.columns(2)
        who = first.text_input("By whom", key=f"{key}-who", max_chars=100, placeholder="mother, father, the patient")
        typed = ask_date(second, "Date", f"{key}-on", PartialDate(date.today().isoformat()))
        scopes = first.multiselect("To what", list(SCOPES), format_func=lambda s: SCOPES.get(s, s), key=f"{key}-scopes")
        clip = second.selectbox("For", list(names), format_func=lambda c: names.get(c, ""), key=f"{key}-clip")
        if not st.form_submit_button("Add", key=f"{key}-keep"):
            return

    def do(records: Records) -> None:
        to = frozenset(cast(Scope, scope) for scope in scopes)
        records.consents.add(Consent(child.person.id, clip, (who or "").strip(), read_date(typed, "the consent"), to))

    save(name, do)
