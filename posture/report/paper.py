"""The page for the notes, on paper: one sheet of A4 with selectable text, in the order of the clinical rules, section 12.

Readable in black and white and without colours: every sign has its word beside it. A second sheet holds a figure over time, or what
unusually long findings push off the first.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from pathlib import Path

from posture.clinic.sentences import CAUTIONS
from posture.conventions import DISCLAIMER
from posture.report.free_text import show_text
from posture.report.notes import Notes, shortened
from posture.report.page import NOT_ENTERED
from posture.report.paper_band import BAND_MM, draw_band
from posture.report.paper_findings import (
    also_fits_words,
    entered_words,
    evidence_rows,
    not_examined,
    outcome_words,
    red_flag_words,
    reliability_lines,
    source_words,
)
from posture.report.paper_heads import Views, paper_views
from posture.report.paper_words import (
    angle_words,
    conditions_text,
    date_rows,
    measured_title,
    method_words,
    other_clips,
    question_rows,
    seconds_words,
    settled_text,
    shoulder_words,
)
from posture.report.sheet import HEIGHT_MM, MARGIN_MM, TEXT_MM, Sheet
from posture.summary.files import write_whole_bytes

SIZES = ((9.0, 100.0), (8.5, 95.0), (8.0, 94.0), (8.0, 84.0))
"""Size of the letters and their width in per cent: the first with which all stands on one sheet. Nothing on paper is under 8 points."""

LABEL_BOX_MM = (70.0, 31.0)
"""For the label of a patient, which clinics print up to some 70 mm wide."""

LEAST_COURSE_MM = 70.0
"""Height below which a figure over time goes to the next sheet."""

MOST_PAGES, MOST_ROWS = 2, 6
"""Sheets, and rows of one kind, such as other clips."""

LONGEST_TEXT, SHORT_TEXT = 400, 110
"""Letters of one free text that are printed, and of each where more sheets would be needed: a page for the notes is no place for more."""

COURSE_WORDS = "The course over time"
PATIENT_LABEL = "patient label"
TITLE = "Head posture"


def paper_bytes(notes: Notes) -> bytes:
    """Write the page for the notes.

    Parameters
    ----------
    notes : Notes

    Returns
    -------
    bytes
        A PDF of one sheet, or two; no name of a file, an author, a program or a place in it.
    """
    notes = shortened(notes, LONGEST_TEXT)
    views = paper_views(notes.main)
    # The smallest letters are taken whether all fits or not.
    index = bisect_left(range(len(SIZES) - 1), True, key=lambda i: _fits(notes, views, SIZES[i]))
    sheet = _filled(notes, views, SIZES[index])
    if sheet.pdf.pages_count > MOST_PAGES:
        sheet.close()
        notes = shortened(notes, SHORT_TEXT)
        sheet = _filled(notes, views, SIZES[-1])
    if notes.course is not None:
        _draw_course(sheet, notes)
    return sheet.to_bytes()


def write_paper(notes: Notes, path: Path) -> None:
    """Write the page for the notes to a file, whole or not at all.

    Parameters
    ----------
    notes : Notes
    path : Path

    Raises
    ------
    OutputError
        If it cannot be written; nothing of it is left behind.
    """
    write_whole_bytes(path, paper_bytes(notes))


def _fits(notes: Notes, views: Views, size: tuple[float, float]) -> bool:
    """Whether all text stands on one sheet in letters of a size."""
    tried = _filled(notes, views, size, is_draft=True)
    tried.close()
    return tried.pdf.pages_count == 1


def _filled(notes: Notes, views: Views, size: tuple[float, float], *, is_draft: bool = False) -> Sheet:
    """All text, in letters of a size, on as many sheets as it takes; a draft has no figures."""
    sheet = Sheet(*size, f"{notes.code} \u00b7" if notes.code else "", is_draft=is_draft)
    _draw_urgent(sheet, notes)
    _draw_head(sheet, notes)
    _draw_what_was_done(sheet, notes)
    _draw_measured(sheet, notes, views)
    _draw_examination(sheet, notes)
    _draw_evidence(sheet, notes)
    _draw_reliability(sheet, notes)
    return sheet


def _draw_urgent(sheet: Sheet, notes: Notes) -> None:
    """What is read before everything else; that the red flags were not asked is the first of all cautions."""
    asked = [] if notes.flags_asked else [CAUTIONS["red flags"].text]
    if notes.urgent:
        sheet.box([f"! {text}" for text in notes.urgent], style="B", size_pt=10.5, border_mm=1.0)
    if asked:
        sheet.box([f"! {text}" for text in asked], style="B", size_pt=9.5, border_mm=0.4)


def _draw_head(sheet: Sheet, notes: Notes) -> None:
    """The empty box for the label, the code, dates, age, examiner and the line to sign."""
    width, height = LABEL_BOX_MM
    top, left = sheet.y, MARGIN_MM + TEXT_MM - width
    sheet.frame(left, top, width, height, 0.4)
    sheet.y = top + 1
    sheet.text(left + 2, width - 4, PATIENT_LABEL, size_pt=8, grey=True)
    sheet.y = top
    inside = TEXT_MM - width - 5
    sheet.text(MARGIN_MM, inside, TITLE, style="B", size_pt=15)
    sheet.text(MARGIN_MM, inside, f"Code: {show_text(notes.code or NOT_ENTERED)}", style="B", size_pt=11)
    sheet.y += 0.8
    rows = [*date_rows(notes), ("Examiner", notes.main.conditions.examiner or notes.examiner or NOT_ENTERED)]
    for label, words in rows:
        sheet.row(label, show_text(words), width=inside)
    low = max(sheet.y, top + height)
    sheet.y = max(sheet.y + 4.5, top + height - 3.5)
    _draw_signature(sheet, inside)
    sheet.y = max(low, sheet.y) + 1.0


def _draw_signature(sheet: Sheet, width: float) -> None:
    """Lines for the signature and its date."""
    sheet.pdf.set_draw_color(0x22)
    sheet.pdf.set_line_width(0.25)
    y = sheet.y
    sheet.pdf.line(MARGIN_MM, y, MARGIN_MM + 0.62 * width, y)
    sheet.pdf.line(MARGIN_MM + 0.68 * width, y, MARGIN_MM + width, y)
    sheet.y = y + 0.3
    sheet.text(MARGIN_MM, 0.62 * width, "Signature of the examiner", size_pt=8, grey=True)
    sheet.y = y + 0.3
    sheet.text(MARGIN_MM + 0.68 * width, 0.32 * width, "Date", size_pt=8, grey=True)


def _draw_what_was_done(sheet: Sheet, notes: Notes) -> None:
    """From the question to the seconds used."""
    for label, words in question_rows(notes):
        sheet.row(label, show_text(words), style="B")
    sheet.row("Method", show_text(method_words(notes)))
    sheet.row("Conditions", show_text(conditions_text(notes)))
    sheet.row("Upright, mirroring", show_text(settled_text(notes)))
    sheet.row("Seconds used", show_text(seconds_words(notes.main)))


def _draw_measured(sheet: Sheet, notes: Notes, views: Views) -> None:
    """The three angles, large, beside the heads; then what stands with them."""
    summary = notes.main
    sheet.heading(measured_title(summary), BAND_MM)
    draw_band(sheet, angle_words(summary), views)
    sheet.row("On shoulder line", show_text(shoulder_words(summary)))
    for line in _at_most(other_clips(notes)):
        sheet.row("Other clip", show_text(line))
    sheet.row("Estimate by eye", f"{show_text(notes.eye_estimate)} (the examiner's own)" if notes.eye_estimate else NOT_ENTERED)
    for line in _at_most(notes.change):
        sheet.row("Change", show_text(line))
    if notes.events:
        sheet.row("Events", show_text("; ".join(_at_most(notes.events))))


def _at_most(lines: Sequence[str]) -> list[str]:
    """The first lines, and how many there are beyond them."""
    more = len(lines) - MOST_ROWS
    return [*lines[:MOST_ROWS], *([f"and {more} more"] if more > 0 else [])]


def _draw_examination(sheet: Sheet, notes: Notes) -> None:
    """What was entered, what was not, and whether the red flags were asked."""
    sheet.heading("Examination, as entered")
    entered = "; ".join(entered_words(notes))
    sheet.row("Findings entered", show_text(f"{entered[:1].upper()}{entered[1:]}." if entered else "none."))
    sheet.row("Not examined", f"or not entered here: {', '.join(not_examined(notes.findings))}.")
    sheet.row("Red flags asked", show_text(red_flag_words(notes.findings)), style="B")


def _draw_evidence(sheet: Sheet, notes: Notes) -> None:
    """What the findings fit, the evidence for and against, and what would settle it."""
    sheet.heading("Evidence for and against: what points to the eye, to the neck, to neither")
    hint = notes.hint
    sheet.text(MARGIN_MM, TEXT_MM, outcome_words(hint), style="B")
    if hint is None:
        return
    for label, lines in evidence_rows(hint):
        for i, line in enumerate(lines):
            sheet.row("" if i else label, show_text(line))
    if hint.also_fits:
        sheet.row("Also fits", show_text(also_fits_words(hint)))
    if hint.next:
        sheet.heading("What would settle it")
        sheet.text(MARGIN_MM, TEXT_MM, " ".join(f"{i}. {text}" for i, text in enumerate(hint.next, 1)))


def _draw_reliability(sheet: Sheet, notes: Notes) -> None:
    """How far to trust the numbers, the disclaimer word for word, and the sources."""
    sheet.heading("How far to trust the numbers")
    lines = reliability_lines(notes)
    sheet.bullets([(mark, show_text(text)) for mark, text in lines])
    sheet.y += 1.0
    sheet.box([DISCLAIMER], style="", size_pt=8.0, border_mm=0.4)
    sources = source_words(notes.hint, *(text for _, text in lines), *notes.change)
    sheet.row("Sources", show_text(sources))


def _draw_course(sheet: Sheet, notes: Notes) -> None:
    """The figure over time, on a sheet where it has room."""
    assert notes.course is not None
    wide, high = notes.course.get_size_inches()
    height = min(TEXT_MM * float(high / wide), HEIGHT_MM / 2)
    if sheet.pdf.pages_count == 1 or sheet.left_mm < LEAST_COURSE_MM:
        sheet.new_page()
    height = min(height, sheet.left_mm - 12.0)
    sheet.heading(COURSE_WORDS, height)
    sheet.figure(notes.course, MARGIN_MM, sheet.y + 1, TEXT_MM, height, COURSE_WORDS)
    sheet.y += height + 2
