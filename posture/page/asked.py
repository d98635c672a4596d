"""What was asked of the child in a clip: the question, what came of it, and what is said of a posture beside it."""

from __future__ import annotations

import base64
import html
from dataclasses import replace
from typing import Any

import streamlit as st
from matplotlib.figure import Figure

from posture.clinic.examination import Examination, examination_sentences
from posture.clinic.sentences import EXAMINATION
from posture.errors import SpanError
from posture.measure import Measurement, Settings
from posture.page.style import no_markup, tag
from posture.report.asked import draw_asked
from posture.report.asked_words import asked_row, say_end
from posture.report.style import svg_text
from posture.samples import SampleInfo
from posture.signal.asked import Asked, asked_from, say_asked
from posture.summary.record import Summary

CSS = """<style>
.p-figure { background: #fff; border: 1px solid #d8e0e1; border-radius: 6px; overflow-x: auto; }
.p-figure img { width: 100%; display: block; }
.p-figure + .p-figure { margin-top: .9rem; }
.p-small-letters img { min-width: 600px; }
</style>"""
"""A figure of small letters is moved aside in a narrow window, not made smaller; one whose numbers stand in words is shown whole."""

TITLE = "What was asked of the child, if anything"

QUESTION = "Movements that were asked, and from when to when"

FORM = "such as turn-right 0:02-0:05, tilt-left 0:07-0:10"

NOTE = (
    "Turns and tilts of the head that somebody asked for or made, as far as they go or for a head-tilt test. Only after the neck screen, every"
    " line no. What was done then counts as a movement and never as the child's habit."
)

WHO = {"active": "The child moved its head", "passive": "The examiner moved it"}

NO_POSTURE = (
    "No habitual posture is given of this clip: the child did what it was asked. For that, film it busy and unasked for at least three"
    " minutes."
)

BESIDE = "The posture below is from the time in which nothing was asked."

WORDS = "How far the head went when asked"

OPEN_ANSWERS: dict[str, Any] = {"asked": "", "asked_who": "active"}
"""The answers by their keys, as they stand before they are given."""


def ask_asked(settings: Settings, disabled: bool) -> Settings:
    """Ask, folded away, which movements were asked of the child and when.

    Parameters
    ----------
    settings : Settings
        As far as they are answered.
    disabled : bool
        While a clip is being measured.

    Returns
    -------
    Settings
        With the movements; what cannot be read is said, and counts as none.
    """
    with st.expander(TITLE):
        st.html(tag("p", NOTE, "p-note"))
        text = st.text_input(QUESTION, key="asked", placeholder=FORM, max_chars=500, disabled=disabled) or ""
        who = st.radio(
            "Who moved the head", list(WHO), format_func=lambda w: WHO.get(w, w), key="asked_who", horizontal=True, disabled=disabled,
            label_visibility="collapsed",
        )  # fmt: skip
        try:
            asked = asked_from(text)
        except SpanError as error:
            st.error(no_markup(str(error)))
            return settings
        return replace(settings, asked=asked, passive=bool(asked) and who == "passive")


def with_sample_asked(settings: Settings, info: SampleInfo) -> Settings:
    """The settings with what was asked in a sample.

    Parameters
    ----------
    settings : Settings
    info : SampleInfo
    """
    asked = tuple(Asked(one.movement, one.start_s, one.end_s) for one in info.asked)
    return replace(settings, asked=asked, passive=bool(asked) and info.passive)


def say_sample_asked(settings: Settings) -> str:
    """What was asked in a sample, in a line; empty where nothing was."""
    who = "moved by the examiner" if settings.passive else "moved by the child"
    return f"Asked in it, {who}: {say_asked(settings.asked)} (seconds)." if settings.asked else ""


def asked_figures(measured: Measurement) -> dict[str, str]:
    """The figure of what was asked, as SVG under the name "asked"; empty where nothing was.

    Parameters
    ----------
    measured : Measurement
    """
    examination = measured.examination
    if examination is None:
        return {}
    return {"asked": svg_text(draw_asked(examination, measured.summary.conditions.age_months), "asked")}


def draw_asked_part(examination: Examination, summary: Summary, figure: str) -> bool:
    """Draw what was asked and what came of it, before the posture.

    Parameters
    ----------
    examination : Examination
    summary : Summary
        Of the same clip.
    figure : str
        SVG, see `asked_figures`.

    Returns
    -------
    bool
        Whether the clip has a posture beside it that means something.
    """
    has_posture = bool(summary.habitual or summary.unsided or summary.postures)
    said = [*say_ends(examination), BESIDE if has_posture else NO_POSTURE]
    st.html(CSS + f'<div class="p-said">{"".join(tag("p", line) for line in said)}</div>')
    st.html(figure_html(figure, WORDS))
    lines = examination_sentences(examination)
    of_all = {text for text in lines if text in {sentence.text for sentence in EXAMINATION.values()}}
    with st.expander("Every movement in words"):
        st.html("".join(tag("p", line, "p-note") for line in lines if line not in of_all))
    st.html("".join(tag("p", line, "p-note") for line in lines if line in of_all))
    return has_posture


def say_ends(examination: Examination) -> list[str]:
    """The farthest to each side in a line for tilts and one for turns; no side while that is not known.

    Parameters
    ----------
    examination : Examination
    """
    said = []
    for row in (asked_row(examination, "front"), asked_row(examination, "above")):
        ends = [say_end(one, side) for side, one in row.ends.items() if one is not None]
        if ends:
            said.append(f"Asked to {'tilt' if row.is_tilt else 'turn'}: {', '.join(ends)}.")
    return said


def figure_html(figure: Figure | str, words: str, *, small_letters: bool = False) -> str:
    """A figure as an element that holds it; `CSS` goes with it.

    Parameters
    ----------
    figure : Figure or str
        Or its SVG.
    words : str
        What is seen in it; escaped.
    small_letters : bool
        Whether it must keep its size in a narrow window.
    """
    svg = figure if isinstance(figure, str) else svg_text(figure, "figure")
    data = base64.b64encode(svg.encode()).decode("ascii")
    style = "p-figure p-small-letters" if small_letters else "p-figure"
    return f'<div class="{style}"><img src="data:image/svg+xml;base64,{data}" alt="{html.escape(words)}"></div>'
