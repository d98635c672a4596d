"""A child's time line: the answer first, then the figure over the years, the clips, and what can be done with them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from functools import partial

import streamlit as st

from posture.clinic.change import Change
from posture.clinic.change_words import say_change
from posture.clinic.course import Course, course_of
from posture.clinic.dates import say_age
from posture.clinic.sentences import CHANGES
from posture.clinic.urgency import urgency_of
from posture.clinic.visits import visit_sentences, visits_after
from posture.errors import PostureError
from posture.page.ask import ask_person, known_of
from posture.page.before_after import draw_before_after, since_surgery
from posture.page.clip_rows import draw_clips
from posture.page.happened import draw_consents, draw_events, draw_visits, save
from posture.page.keep import draw_offer
from posture.page.kept import (
    ChildFile,
    cached,
    draw_told,
    hold,
    open_child,
    opened,
    read_child,
    round_of,
    say_date,
    say_person,
)
from posture.page.look import card_html, figure_html, head_html, list_html
from posture.page.result import draw_disclaimer
from posture.page.shoebox import draw_shoebox
from posture.page.style import no_markup, tag
from posture.page.take import draw_away, draw_erase, draw_report
from posture.records.values import Clip
from posture.report.course import draw_course
from posture.summary.words import say_angle, say_interval, say_size

FIGURE_WORDS = "The tilt in each film and picture over the years, with its interval, and what was done when"

OVER_YEARS = "Over the years"

FIRST_CAUTIONS = 2
"""Cautions that are shown without unfolding, the most important ones."""

EMPTY = "No clip is kept for this child yet. Measure one under “New clip” and keep it here, or add old films below."


def draw_person(person_id: int) -> None:
    """Draw a child; where it is gone meanwhile, a line and the way back.

    Parameters
    ----------
    person_id : int
    """
    st.button("← All children", key="back", on_click=open_child, args=(None,))
    draw_told()
    try:
        with opened() as records:
            child = read_child(records, person_id)
        course = course_of(child.dated, child.happened)
        change = since_surgery(child)
    except PostureError as error:
        st.error(no_markup(str(error)))
        return
    parts = "".join(tag("span", part) for part in say_person(child.person, child.names_sides))
    st.html(f'<div class="k-top">{tag("h1", child.person.code)}{parts}</div>')
    draw_offer(child.person)
    _draw_answer(child, course, change)
    sections: dict[str, Callable[[ChildFile], None]] = {
        OVER_YEARS: partial(_draw_years, course=course, change=change),
        "Before and after": draw_before_after,
        "Report": draw_report,
        "Events": draw_events,
        "Visits": draw_visits,
        "Consent": draw_consents,
        "Old films": draw_shoebox,
        "Data": _draw_data,
    }
    chosen = st.segmented_control(
        "Section", list(sections), key=f"section-{person_id}", default=OVER_YEARS, required=True, label_visibility="collapsed"
    )  # fmt: skip
    sections[chosen or OVER_YEARS](child)
    draw_disclaimer()


def cards_of(child: ChildFile, course: Course, change: Change | None) -> Iterator[str]:
    """The answers as cards: how it is now, since when, and what the operation changed.

    Parameters
    ----------
    child : ChildFile
    course : Course
    change : Change or None
        From before to after surgery.
    """
    last = _last_clip(child)
    if last is not None:
        yield _now_html(child, last)
    if course.sentences and child.names_sides:
        first, *rest = course.sentences
        yield card_html("Since when", first, rest, is_urgent=course.flag is not None)
    elif course.sentences:
        yield card_html("Since when", "Cannot be said yet", ["The side of no clip is settled."])
    if change is not None:
        yield _change_html(change)


def urgent_lines(child: ChildFile, course: Course, change: Change | None) -> list[str]:
    """What is read before everything else."""
    found = urgency_of(child.findings)
    lines = [] if found.speed is None else [f"At the last visit, urgent: {'; '.join(found.reasons)}."]
    if course.flag is not None:
        lines += list(course.cautions[:1])
    if change is not None and change.is_worse:
        lines += [CHANGES["worse"].text]
    return lines


def _draw_answer(child: ChildFile, course: Course, change: Change | None) -> None:
    """What is urgent, and the cards."""
    if not child.clips:
        st.html(tag("p", EMPTY, "p-note"))
        return
    urgent = urgent_lines(child, course, change)
    if urgent:
        st.html(f'<div class="p-urgent">{"".join(tag("p", f"⚠ {line}") for line in urgent)}</div>')
    st.html(f'<div class="k-cards">{"".join(cards_of(child, course, change))}</div>')


def _draw_years(child: ChildFile, course: Course, change: Change | None) -> None:
    """The figure, what must be read with it, and the clips."""
    if not child.clips:
        return
    if len(child.clips) > 1:
        st.html(cached("course", child.mark, lambda: figure_html(draw_course(course, child.happened), "course", FIGURE_WORDS)))
    urgent = urgent_lines(child, course, change)
    of_change = [] if change is None else [text for text in change.cautions if text not in urgent]
    cautions = [text for text in dict.fromkeys([*course.cautions, *of_change]) if text not in urgent]
    if cautions:
        st.html(list_html(cautions[:FIRST_CAUTIONS]))
    if more := cautions[FIRST_CAUTIONS:]:
        with st.expander(f"{len(more)} more things to keep in mind"):
            st.html(list_html(more))
    filmed = [None if clip.filmed_on is None else str(clip.filmed_on) for clip in child.clips]
    if due := visit_sentences(visits_after(child.happened, filmed, date.today())):
        st.html(tag("p", "Visits, as published practice has them", "p-head") + list_html(due))
    draw_clips(child)


def _last_clip(child: ChildFile) -> Clip | None:
    """The latest clip with a date, else the last one; films before photographs of the same day."""
    ordered = sorted(child.clips, key=lambda c: ("" if c.filmed_on is None else c.filmed_on.stored, c.kind == "film", c.id))
    open_eyed = [c for c in ordered if child.summaries[c.id].conditions.covered_eye in (None, "none")]
    latest = open_eyed or ordered
    return latest[-1] if latest else None


def _now_html(child: ChildFile, clip: Clip) -> str:
    """The card of the latest clip."""
    summary = child.summaries[clip.id]
    held = summary.habitual or summary.moment
    tilt = held.tilt_deg if held is not None and summary.sided else None
    age = summary.conditions.age_months
    when = f"{say_date(clip.filmed_on)}" + ("" if age is None else f", at {say_age(age)}")
    if tilt is not None:
        said = say_angle("tilt", tilt)
        note = say_interval("tilt", tilt) + ("" if summary.habitual else "; one moment, not a habit")
        return card_html("Last clip", said[0].upper() + said[1:], [note, when], head_html(tilt))
    if summary.unsided and summary.unsided.tilt_size_deg:
        words = f"Tilt of {say_size(summary.unsided.tilt_size_deg).split(' (')[0]}"
        return card_html("Last clip", words, ["side not settled", when])
    if len(summary.postures) == 2:
        return card_html("Last clip", "Two separate postures", [when])
    return card_html("Last clip", "No tilt can be given", [when])


def _change_html(change: Change) -> str:
    """The card of the change: from where to where, then by how much and whether it is real."""
    before, after = change.tilt_deg.before, change.tilt_deg.after
    first, *said = say_change("tilt", change.tilt_deg, change.sided)
    # Whether it is real stands beside the answer in a few words.
    verdicts = {CHANGES[key].text for key in ("real", "not real")}
    said = [text for text in said if text not in verdicts]
    notes = [*said, *([CHANGES[change.residual_tilt].text] if change.residual_tilt else [])]
    notes += [f"No verdict: {'; '.join(change.why)}."] if change.why else []
    words = first
    if before is not None and after is not None and change.sided:
        is_one_side = round(before.value) * round(after.value) > 0
        start = f"{abs(round(before.value))}" if is_one_side else say_angle("tilt", before)
        words = f"From {start} to {say_angle('tilt', after)}"
        by = first.split(", a change of ")
        notes = [*([f"A change of {by[1]}"] if len(by) == 2 else []), *notes]
    real = change.tilt_deg.real
    verdict = {True: "a real change", False: "not shown to be a real change", None: "no verdict"}[real]
    return card_html("Since the operation", words, notes, "", verdict, is_open=not real, is_urgent=change.is_worse)


def _draw_data(child: ChildFile) -> None:
    """What is known of the child, to be corrected; taking away; erasing."""
    _draw_known(child)
    draw_away(child)
    draw_erase(child)


def _draw_known(child: ChildFile) -> None:
    """The form of the child itself."""
    name = f"person-{child.person.id}"
    held, key = hold(name, child.person), f"{name}-{round_of(name)}"
    st.html(tag("p", "What is known of the child", "p-head"))
    with st.form(key, border=False):
        answers = ask_person(key, held)
        if not st.form_submit_button("Keep", key=f"{key}-keep"):
            return
    save(name, lambda records: records.persons.change(replace(held, **known_of(answers))))
