"""What all figures share: colours, sizes, words on a canvas, and the way out as vectors or pixels.

Figures are matplotlib objects that nobody else knows of: no pyplot, no settings changed, so that several can be drawn at once in
one process. Letters leave as outlines, so that a figure prints the same on every machine.
"""

from __future__ import annotations

import io
import re
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text

from posture.summary.checks import NO_GRAVITY
from posture.summary.record import Summary

BLUE, SKY = "#0072B2", "#56B4E9"
"""Of Okabe and Ito's colours, which eight kinds of colour vision can tell apart; their greys differ too."""

INK, GREY, PALE, PAPER = "#222222", "#767676", "#E6E6E6", "#FFFFFF"

WIDTH_IN = 7.1
"""The width between the margins of an A4 page."""

BODY_PT, SMALL_PT, HEAD_PT = 9.5, 8.0, 11.5
"""Sizes of letters; nothing on paper is smaller than 8 points."""

SIDE_UNKNOWN = "side not known"
TILT_NOT_GIVEN = "Tilt is not given: gravity is no zero in this position."


def new_figure(height_in: float, width_in: float = WIDTH_IN) -> Figure:
    """An empty white figure that belongs to no window."""
    return Figure(figsize=(width_in, height_in), facecolor=PAPER)


def blank_axes(figure: Figure, place: tuple[float, float, float, float]) -> Axes:
    """Axes without frame or ticks, one unit as long across as up.

    Parameters
    ----------
    figure : Figure
    place : tuple of float
        From the near edge, from below, width and height, in shares of the figure.
    """
    ax = figure.add_axes(place)
    ax.set_axis_off()
    ax.set_aspect("equal")
    return ax


def put_text(where: Axes | Figure, x: float, y: float, text: str, size: float = BODY_PT, **style: Any) -> Text:
    """Words on axes or figure, centred, and never read as mathematics."""
    return where.text(x, y, text, fontsize=size, parse_math=False, **({"ha": "center", "va": "center", "color": INK} | style))


def quiet_figure(lines: list[str], height_in: float = 1.0) -> Figure:
    """A figure that only says something, where there is nothing to draw."""
    figure = new_figure(height_in)
    for i, line in enumerate(lines):
        y = 0.5 + (len(lines) - 1) * 0.12 - i * 0.24
        put_text(figure, 0.5, y, line, BODY_PT if i == 0 else SMALL_PT, color=INK if i == 0 else GREY)
    return figure


def tilt_given(summary: Summary) -> bool:
    """Whether gravity is a zero for tilt in the position that was entered."""
    return summary.conditions.position not in NO_GRAVITY


def png_bytes(figure: Figure, dots_per_inch: float = 150.0) -> bytes:
    """The figure as a PNG picture."""
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=dots_per_inch)
    return out.getvalue()


def svg_text(figure: Figure, name: str) -> str:
    """The figure as an SVG element that can stand in a page beside others.

    Parameters
    ----------
    figure : Figure
    name : str
        Of letters only; put before every id, so that two figures in one page do not share any.

    Returns
    -------
    str
        From ``<svg`` to ``</svg>``: no prologue, no date, no address but the names of the two namespaces.

    Raises
    ------
    ValueError
        If the name is not of letters only.
    """
    if not (name.isascii() and name.isalpha()):
        raise ValueError(f"Expected a name of letters only; {name!r} came. It becomes part of ids.")
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    svg = out.getvalue()
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r'(\sid=")', rf"\1{name}-", svg)
    return re.sub(r'(url\(#|href="#)', rf"\1{name}-", svg).strip()
