"""What else was seen in a clip, folded away: how even the face is, and explorations that are no part of the hint."""

from __future__ import annotations

import streamlit as st

from posture.measure import Measurement
from posture.page.asked import CSS, figure_html
from posture.page.style import tag
from posture.report.explorations import draw_explorations, say_explorations
from posture.report.style import svg_text
from posture.report.symmetry import draw_symmetry
from posture.signal.explore import explore
from posture.summary.checks import NO_GRAVITY

SYMMETRY = "Symmetry of the face"
SYMMETRY_NOTE = "It says how long a posture may have been there, never whether it comes from the eye or from the neck."

EXPLORATIONS = "Explorations, no part of the hint"


def more_figures(measured: Measurement) -> dict[str, str]:
    """The figures of what is folded away, as SVG under the names "symmetry" and "explorations", where there is something to draw.

    Parameters
    ----------
    measured : Measurement

    Returns
    -------
    dict of str
        No explorations of a child that lies or is held: gravity is no zero there.
    """
    summary, figures = measured.summary, {}
    if summary.symmetry is not None and summary.sided:
        figures["symmetry"] = svg_text(draw_symmetry(summary), "symmetry")
    explored = None if summary.conditions.position in NO_GRAVITY else explore(measured.found)
    if explored is not None and (explored.trunk.slope is not None or explored.let_go is not None):
        figures["explorations"] = svg_text(draw_explorations(explored, summary.sided), "explorations")
    return figures


def draw_more(measured: Measurement, figures: dict[str, str]) -> None:
    """Draw what is folded away.

    Parameters
    ----------
    measured : Measurement
    figures : dict of str
        From `more_figures`, among others.
    """
    if "symmetry" in figures:
        with st.expander(SYMMETRY):
            st.html(CSS + tag("p", SYMMETRY_NOTE, "p-note"))
            st.html(figure_html(figures["symmetry"], "How even the face is", small_letters=True))
    if "explorations" in figures:
        with st.expander(EXPLORATIONS):
            said = say_explorations(explore(measured.found), measured.summary.sided)
            st.html(CSS + figure_html(figures["explorations"], " ".join(said), small_letters=True))
