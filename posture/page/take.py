"""What leaves the records for the notes, the letter, the parents and other programs; and erasing a child."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable
from functools import partial
from importlib.util import find_spec
from pathlib import Path

import streamlit as st

from posture.clinic.change import change_sentences
from posture.clinic.course import course_of
from posture.clinic.hint import hint_of
from posture.errors import PostureError
from posture.page.before_after import since_surgery
from posture.page.happened import KINDS
from posture.page.kept import ChildFile, cached, let_go, open_child, opened, round_of, say_date, tell
from posture.page.style import no_markup, tag
from posture.page.uploads import work_folder
from posture.records.erase import LIMITS, erase_person
from posture.records.exchange import export_records
from posture.records.store import Records
from posture.records.table import export_table
from posture.records.texts import code_key
from posture.records.values import Clip
from posture.report.course import draw_course
from posture.report.fhir import observations
from posture.report.letter import letter_paragraph
from posture.report.notes import Notes
from posture.report.paper import paper_bytes
from posture.report.parent import draw_parent
from posture.report.style import png_bytes

NO_CLIP = "A report needs a clip."

ERASE_TITLE = "Erase this child"


def draw_report(child: ChildFile) -> None:
    """Draw what goes into the notes: the page, the paragraph for the letter, the parents' picture.

    Parameters
    ----------
    child : ChildFile
    """
    if not child.clips:
        st.html(tag("p", NO_CLIP, "p-note"))
        return
    days = days_of(child)
    day = st.selectbox(
        "Of which day", list(days), format_func=lambda d: _day_name(days.get(d, [])), key=f"day-{child.person.id}"
    )
    clips = days.get(day) or next(iter(days.values()))
    try:
        notes = cached("notes", (child.mark, day), lambda: notes_of(child, clips))
        paragraph = cached("letter", (child.mark, day), lambda: letter_paragraph(notes))
        picture = cached("parent", (child.mark, day), lambda: png_bytes(draw_parent(notes.main)))
    except PostureError as error:
        st.error(no_markup(str(error)))
        return
    st.download_button(
        "Page for the notes (PDF)", partial(paper_bytes, notes), "head-posture.pdf", "application/pdf", key="take-pdf",
        on_click="ignore", type="primary",
    )  # fmt: skip
    st.html(tag("p", _what_is_in(child, notes), "p-note"))
    st.html(tag("p", "Paragraph for the letter", "p-head"))
    st.code(paragraph, language=None, wrap_lines=True)
    st.html(tag("p", "Picture for the parents", "p-head"))
    st.image(picture, width=340)
    st.download_button(
        "Picture (PNG)", picture, "for-the-parents.png", "image/png", key="take-picture", on_click="ignore"
    )  # fmt: skip


def days_of(child: ChildFile) -> dict[str, list[Clip]]:
    """The clips by day, the newest first; those without a date each by itself, last."""
    days: dict[str, list[Clip]] = {}
    for clip in reversed(child.clips):
        name = f"no date {clip.id}" if clip.filmed_on is None else clip.filmed_on.stored
        days.setdefault(name, []).append(clip)
    return days


def notes_of(child: ChildFile, clips: list[Clip]) -> Notes:
    """What the page for the notes says of the clips of one day.

    Parameters
    ----------
    child : ChildFile
    clips : list of Clip

    Returns
    -------
    The value; hint and findings are those of the last visit at which anything was found, and the course comes with a second clip.
    """
    person, visit, findings = child.person, child.last_visit, child.findings
    summaries = tuple(child.summaries[clip.id] for clip in clips)
    has_findings = bool(findings.model_fields_set)
    course = course_of(child.dated, child.happened)
    change = since_surgery(child)
    return Notes(
        summaries=summaries,
        code=person.code,
        born=None if person.born is None else say_date(person.born),
        measured_on=f"{child.readings[clips[0].id].made_on:%Y-%m-%d}",
        suspected=person.suspected,
        suspected_by=person.suspected_by or None,
        question=(visit.question or None) if visit else None,
        examiner=(visit.examiner or None) if visit else None,
        eye_estimate=(visit.eye_estimate or None) if visit else None,
        hint=hint_of(summaries, person.suspected, findings) if has_findings else None,
        findings=findings if has_findings else None,
        change=() if change is None else tuple(change_sentences(change)),
        course=draw_course(course, child.happened) if len(child.clips) > 1 else None,
        events=tuple(f"{say_date(e.on)}: {e.text or KINDS[e.kind].lower()}" for e in child.events),
    )


def draw_away(child: ChildFile) -> None:
    """Draw the files in which all that is kept of a child can be taken away.

    Parameters
    ----------
    child : ChildFile
    """
    st.html(tag("p", "Take away", "p-head"))
    st.html(tag("p", "All that is kept of this child, with its code; nothing of others.", "p-note"))
    first, second, third = st.columns(3)
    ids = [child.person.id]
    whole = partial(exported, lambda records, path: export_records(records, path, ids))
    rows = partial(exported, lambda records, path: export_table(records, path, ids))
    first.download_button(
        "Everything (JSON)", whole, "child.records.json", "application/json", key="take-json", on_click="ignore", width="stretch"
    )  # fmt: skip
    if not child.clips:
        return
    second.download_button("Table (CSV)", rows, "child.csv", "text/csv", key="take-csv", on_click="ignore", width="stretch")
    if find_spec("fhir") is None:
        third.html(tag("p", "FHIR needs one more library: pip install 'posture[fhir]'.", "p-note"))
        return
    third.download_button(
        "Observations (FHIR R4B)", partial(_fhir, child), "child.fhir.json", "application/fhir+json", key="take-fhir",
        on_click="ignore", width="stretch",
    )  # fmt: skip


def draw_erase(child: ChildFile) -> None:
    """Draw erasing, which is asked twice: by a switch, then by the code, typed.

    Parameters
    ----------
    child : ChildFile
    """
    name = f"erase-{child.person.id}"
    key = f"{name}-{round_of(name)}"
    st.html(tag("p", ERASE_TITLE, "p-head"))
    if not st.toggle("I want to erase this child with all its clips, visits and consents", key=f"{key}-asked"):
        return
    st.html(tag("p", LIMITS, "p-note"))
    typed = st.text_input("Type the code again; what is erased cannot be brought back", key=f"{key}-code") or ""
    is_same = code_key(typed) == code_key(child.person.code)
    if st.button("Erase for good", key=f"{key}-erase", disabled=not is_same, type="primary"):
        try:
            with opened() as records:
                erased = erase_person(records, child.person.id, typed)
        except PostureError as error:
            st.error(no_markup(str(error)))
            return
        let_go(name)
        for made in [made for made in st.session_state if str(made).startswith("children-made|")]:
            del st.session_state[made]
        open_child(None)
        tell(f"Erased, with {erased.clips} clips." if erased.left is None else erased.left, is_error=erased.left is not None)
        st.rerun()


def exported(write: Callable[[Records, Path], object]) -> bytes:
    """What a function writes into a new file, as bytes; the file is gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="export-", dir=work_folder()) as folder, opened() as records:
        path = Path(folder) / "export"
        write(records, path)
        return path.read_bytes()


def _fhir(child: ChildFile) -> bytes:
    """All clips of a child as FHIR."""
    notes = Notes(tuple(child.summaries[clip.id] for clip in child.clips), code=child.person.code)
    return (json.dumps(observations(notes), ensure_ascii=False, indent=1) + "\n").encode()


def _day_name(clips: list[Clip]) -> str:
    """A day in the list."""
    if not clips:
        return ""
    count = len(clips)
    return f"{say_date(clips[0].filmed_on)} ({count} clip{'' if count == 1 else 's'})"


def _what_is_in(child: ChildFile, notes: Notes) -> str:
    """What the page holds besides the measurement."""
    parts = ["the course on a second page"] if notes.course is not None else []
    if notes.change:
        parts.append("the change since the operation")
    if notes.hint is not None and child.last_visit is not None:
        parts.append("the findings of the last visit and the hint")
    more = f", {', '.join(parts)}" if parts else ""
    left = "" if notes.findings else " No findings are entered under Visits, so red flags stand as not asked."
    return f"One page with the measurement{more}.{left}"
