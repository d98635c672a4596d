"""Asks what the examiner found, in the order of an examination; everything may stay open, and open is never "normal"."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from functools import partial
from typing import Any, BinaryIO, Literal, cast

import streamlit as st

from posture.clinic.findings import RED_FLAGS_SOON, RED_FLAGS_TODAY, Findings, read_findings
from posture.clinic.outcome import Suspected
from posture.clinic.sentences import CAUTIONS
from posture.clinic.urgency import NECK_SCREEN, neck_may_move, urgency_of
from posture.conventions import Side
from posture.errors import FindingsError, PostureError
from posture.page.sheet import EYE_HIGHER, OPEN, TILT_TO, TORSION, Sheet
from posture.page.style import no_markup, tag
from posture.page.uploads import kept_upload
from posture.summary.record import Conditions

CSS = """<style>
.p-urgent { border: 3px solid #9b1c1c; border-left-width: 12px; background: #fff; border-radius: 6px; padding: .8rem 1.2rem; }
.p-urgent p { font-size: 1.25rem; line-height: 1.4; font-weight: 600; color: #9b1c1c; margin: .2rem 0; }
.p-asked { border: 2px dashed #855300; background: #fff; border-radius: 6px; padding: .7rem 1.2rem; }
.p-asked p { font-size: 1.15rem; line-height: 1.4; font-weight: 600; color: #855300; margin: 0; }
[class*="st-key-find-grid"] [data-testid="stHorizontalBlock"] { flex-wrap: nowrap; gap: .6rem; }
[class*="st-key-find-grid"] [data-testid="stColumn"] { min-width: 0; flex: 1 1 0; }
[class*="st-key-find-"] [data-testid="stCheckbox"] p { font-size: 1.05rem; line-height: 1.35; }
</style>"""

ASKED_NONE = "All of these were asked, and there are none"
SCREEN_NONE = "All of these were asked, and every answer is no"
FROM_FILE = "a line was answered yes, by the file"

SUSPECTED = {"unknown": "Not stated", "right": "Right", "left": "Left", "both": "Both"}

YES_NO = {True: "Yes", False: "No"}
OF_NECK = {"right": "Right", "left": "Left", "none": "None felt"}
STAYS = {"stays": "Stays", "goes": "Goes"}

LARGEST_BYTES = 1_000_000
"""Of a file of findings; a full one has some two thousand."""


def ask_findings(key: str, conditions: Conditions | None = None) -> tuple[Suspected, Findings]:
    """Ask for the suspected side and for what was found.

    Parameters
    ----------
    key : str
        Of the clip: answers are kept for it, also while the questions are not shown, and go with it.
    conditions : Conditions or None
        How the clip was filmed, to say what is known from there.

    Returns
    -------
    tuple
        {"right", "left", "both", "unknown"} and the findings; what cannot be read is said, stays as typed, and counts as open.
    """
    sheet = Sheet(key)
    st.html(CSS)
    with st.expander("Findings from a file"):
        _draw_upload(sheet)
    _head("On which side is an eye muscle suspected to be weak?")
    suspected = sheet.choose("suspected", "Side of the weak muscle that is suspected", SUSPECTED, first="unknown", hidden=True)
    urgent = _ask_red_flags(sheet)
    neck = _ask_neck_screen(sheet)
    _ask_onset(sheet)
    tests = _ask_deviation(sheet, conditions)
    with st.expander("More findings"):
        _ask_rest(sheet)
    findings = sheet.findings()
    _say_urgent(urgent, findings)
    if findings.neck_safe is False:
        neck.html(box_html([CAUTIONS["do not move"].text], "p-urgent"))
    if not neck_may_move(findings):
        tests.html(tag("p", "No tilt test and no neck range before the neck screen is answered, every line no.", "p-note"))
    text = findings.model_dump_json(exclude_none=True, indent=1) + "\n"
    st.download_button("Findings (JSON)", text, "findings.json", "application/json", key=f"find-take|{key}", on_click="ignore")
    return cast(Suspected, suspected), findings


def _ask_red_flags(sheet: Sheet) -> Any:
    """The tick list of red flags; returns the place of the urgent line."""
    _head("Red flags", "Tick what there is. Nothing ticked means that they were not asked.")
    none = sheet.tick("flags none", ASKED_NONE)
    found = []
    for title, flags in (("To be seen today", RED_FLAGS_TODAY), ("Within two weeks, sooner if it changes", RED_FLAGS_SOON)):
        st.html(tag("p", title, "p-note"))
        found += _tick_list(sheet, "flag", flags, "flags")
    if found or none:
        sheet.values["red_flags"] = found
    if found and none:
        st.html(tag("p", "Something is ticked as well as that there is none: what is ticked counts.", "p-note"))
    return st.empty()


def _ask_neck_screen(sheet: Sheet) -> Any:
    """The tick list before a neck is moved; returns the place of the line that forbids it."""
    _head("Before the neck is moved", "Tick what is so. A line that was not asked counts as the screen not done.")
    none = sheet.tick("screen none", SCREEN_NONE)
    lines = dict(NECK_SCREEN)
    if sheet.kept.get("screen.file"):
        lines["file"] = FROM_FILE
    ticked = _tick_list(sheet, "screen", lines, "screen")
    if ticked or none:
        sheet.values["neck_safe"] = not ticked
    if ticked and none:
        st.html(tag("p", "Something is ticked as well as that every answer is no: what is ticked counts.", "p-note"))
    if {"pain", "infection", "nerves"} & set(ticked):
        st.html(tag("p", "Tick it among the red flags above too, where it is one.", "p-note"))
    return st.empty()


def _ask_onset(sheet: Sheet) -> None:
    """Since when, and injuries; the neck screen answers what it asked already, and never makes it less urgent."""
    _head("Since when?")
    options = {"infancy": "Since infancy", "childhood": "Since later in childhood", "new": "New, within 6 months"}
    onset = sheet.choose("onset", "Onset", options, hidden=True)
    trauma = sheet.choose("trauma", "Injury of head or neck", YES_NO)
    if trauma or sheet.kept.get("screen.injury") or sheet.kept.get("loss_of_consciousness", OPEN) != OPEN:
        sheet.choose("loss_of_consciousness", "Was consciousness lost?", YES_NO)
    screen = {"onset": ("new", onset, "screen.new"), "trauma": (True, trauma, "screen.injury")}
    for name, (value, answer, line) in screen.items():
        if sheet.kept.get(line):
            sheet.values[name] = value
            if answer not in (None, value):
                text = f"The neck screen says “{NECK_SCREEN[line.split('.')[1]]}”, which counts. Correct one of the two."
                st.html(tag("p", text, "p-note"))


def _ask_deviation(sheet: Sheet, conditions: Conditions | None) -> Any:
    """Vertical deviation, torsion, neck and cover; returns the place of what is said about moving the neck."""
    _head(
        "Vertical deviation, prism dioptres",
        "Head straight, not in the habitual posture; about 30 degrees on each shoulder. + the right eye higher, or R/L 8, L/R 8."
        " Laid out as you face the child.",
    )
    place = st.empty()
    rows = (
        (("gaze_right", "Gaze right"), ("primary", "Primary"), ("gaze_left", "Gaze left")),
        (("tilt_right", "Tilt right"), ("supine", "Lying"), ("tilt_left", "Tilt left")),
    )
    _grid(sheet, "pd", rows, "hypertropia_pd.", EYE_HIGHER)
    methods = {"alternate prism cover": "Alternate prism cover", "other": "Other"}
    sheet.choose("hypertropia_method", "Measured by", methods)
    _head("Torsion, degrees", "+ outwards (ex), or ex 5, in 5.")
    _grid(sheet, "torsion", ((("right_eye", "Right eye"), ("left_eye", "Left eye")),), "torsion_deg.", TORSION)
    _head("Neck range, degrees", "How far it went to each side, without a sign.")
    rows_of_neck = tuple(
        (((f"{way}_right", f"{way.title()} right"), (f"{way}_left", f"{way.title()} left"))) for way in ("tilt", "turn")
    )
    _grid(sheet, "neck", rows_of_neck, "neck_range_deg.")
    sheet.choose("neck_range_deg.passive", "Who moved it", {False: "The child (active)", True: "The examiner (passive)"})
    sheet.choose("neck_band_or_mass", "Band or mass in the neck muscle", OF_NECK)
    _head("Tilt under cover, degrees", "+ to the right shoulder, or R 5, L 5; with its interval, as a measured clip gives it.")
    covered = conditions.covered_eye if conditions else None
    if covered in ("right", "left"):
        text = f"This clip was filmed with the {covered} eye covered: it counts as such, beside a clip with both eyes open."
        st.html(tag("p", text, "p-note"))
    sides: tuple[Side, ...] = ("right", "left")
    for side in sides:
        st.html(tag("p", f"While the {side} eye was covered", "p-note"))
        cells = (("tilt_deg.value", "Tilt"), ("tilt_deg.low", "From"), ("tilt_deg.high", "To"), ("minutes", "Minutes"))
        _grid(sheet, f"cover-{side}", (cells,), f"cover.{side}_eye.", TILT_TO)
        sheet.leave_out_unclear_cover(side)
    return place


def _ask_rest(sheet: Sheet) -> None:
    """What is asked less often."""
    sheet.number("age_months", "Age, months", hint="as said for the clip")
    sheet.number("v_pattern_pd", "V pattern, prism dioptres (an A pattern is negative)")
    sheet.choose("asleep", "The posture asleep", STAYS)
    sheet.choose("lying_awake", "The posture lying awake", STAYS)
    sheet.choose("fixing_eye", "Fixing eye", {"right": "Right", "left": "Left", "alternating": "Alternating"})
    _grid(sheet, "acuity", ((("right", "Acuity right, logMAR"), ("left", "Acuity left, logMAR")),), "va_logmar.")
    sheet.number("stereo", "Stereo, seconds of arc, or none")
    sheet.choose("nystagmus", "Nystagmus", {"none": "None", "old": "Old", "new": "New or one-sided", "latent": "Latent"})
    sheet.choose("previous_eye_surgery", "Earlier eye-muscle surgery", YES_NO)
    sheet.choose("glasses_effect", "With glasses the posture is", {"none": "The same", "less": "Less", "more": "More"})
    sheet.choose("hearing_loss_side", "One-sided hearing loss", {"right": "Right", "left": "Left", "none": "None"})
    sheet.choose("feeding_related", "Comes with feeds", YES_NO)
    sheet.choose("attacks", "Comes in attacks", YES_NO)


def _tick_list(sheet: Sheet, kind: str, lines: Mapping[str, str], place: str) -> list[str]:
    """Lines to tick in two columns; returns those that are."""
    columns = st.container(key=f"find-{place}-{len(lines)}").columns(2)
    half = -(-len(lines) // 2)
    parts = [column.container(gap=None) for column in columns]
    return [
        code
        for i, (code, words) in enumerate(lines.items())
        if sheet.tick(f"{kind}.{code}", f"{words[0].upper()}{words[1:]}", parts[i >= half])
    ]


def _grid(
    sheet: Sheet, name: str, rows: Iterable[Iterable[tuple[str, str]]], path: str, signs: Mapping[str, int] | None = None
) -> None:
    """Numbers side by side, also in a narrow window."""
    with st.container(key=f"find-grid-{name}", gap="small"):
        for row in rows:
            cells = list(row)
            columns, below = st.columns(len(cells)), st.container()
            for column, (part, label) in zip(columns, cells, strict=True):
                sheet.number(f"{path}{part}", label, column, signs, below, "–")


def _draw_upload(sheet: Sheet) -> None:
    """Ask for a file of findings, to put in the place of the answers."""
    key = f"find-file|{sheet.key}"
    st.file_uploader("A file of findings (JSON)", type=["json"], key=key, on_change=partial(_take_file, sheet.key, key))
    error = sheet.kept.get("file error")
    if error:
        st.error(no_markup(error))
    elif sheet.kept.get("file taken"):
        st.html(tag("p", "The answers below are those of the file.", "p-note"))


def _take_file(key: str, uploader: str) -> None:
    """Take the findings of a file, or keep the answers and say what is wrong with it."""
    sheet, upload = Sheet(key), st.session_state.get(uploader)
    sheet.kept.pop("file error", None)
    if upload is None:
        return
    try:
        sheet.replace(_read_upload(upload))
        sheet.kept["file taken"] = True
    except PostureError as error:
        sheet.kept["file error"] = f"{error} The answers are as they were."


def _read_upload(upload: BinaryIO) -> Findings:
    """The findings of an upload; it may not point to other files, which lie elsewhere."""
    data = upload.read(LARGEST_BYTES + 1)
    if len(data) > LARGEST_BYTES:
        raise FindingsError(f"Expected a file of findings under {LARGEST_BYTES // 1000} kB; a larger one came. Choose another.")
    try:
        values = json.loads(data)
    except (ValueError, RecursionError):
        values = None  # What is wrong with it is said where findings are read.
    cover = values.get("cover") if isinstance(values, dict) else None
    eyes = cover.values() if isinstance(cover, dict) else ()
    if any(isinstance(eye, dict) and eye.get("summary") is not None for eye in eyes):
        raise FindingsError(
            "Expected the tilt under cover in the file itself; it names the summary of another clip, which cannot be followed from"
            " here. Type the tilt with its interval."
        )
    with kept_upload(upload) as path:
        return read_findings(path)


def _say_urgent(place: Any, findings: Findings) -> None:
    """The urgent line, in its place below the red flags."""
    urgency = urgency_of(findings)
    if urgency.speed is not None:
        place.html(box_html([CAUTIONS[urgency.speed].text.format(reasons="; ".join(urgency.reasons))], "p-urgent"))


def box_html(lines: Iterable[str], style: Literal["p-urgent", "p-asked"]) -> str:
    """Lines in a box of their own, for what is read before everything else.

    Parameters
    ----------
    lines : iterable of str
        Anything.
    style : {"p-urgent", "p-asked"}
    """
    return f'<div class="{style}" role="alert">{"".join(tag("p", line) for line in lines)}</div>'


def _head(title: str, note: str = "") -> None:
    """The heading of a group of questions."""
    st.html(tag("p", title, "p-head") + (tag("p", note, "p-note") if note else ""))
