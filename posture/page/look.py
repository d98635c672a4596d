"""How the pages on children look: cards with the answer, rows that can be pressed, a small head that shows a tilt."""

from __future__ import annotations

import base64
import html
from collections.abc import Iterable
from functools import lru_cache

from matplotlib.figure import Figure

from posture.page.style import tag
from posture.report.style import svg_text
from posture.summary.record import Interval

CSS = """<style>
[data-testid="stMainBlockContainer"] { padding-top: 4rem; }
.k-top { display: flex; flex-wrap: wrap; align-items: baseline; gap: .2rem 1rem; }
.k-top h1 { font-size: 2.1rem; font-weight: 650; letter-spacing: -.01em; line-height: 1.2; margin: 0; padding: 0; overflow-wrap: anywhere; }
.k-top span { font-size: 1.05rem; color: #45575e; overflow-wrap: anywhere; }
.k-cards { display: grid; grid-template-columns: repeat(auto-fit, minmax(235px, 1fr)); gap: .9rem; }
.k-card { background: #fff; border: 1px solid #d8e0e1; border-top: 5px solid #1f5f78; border-radius: 6px; padding: .8rem 1.1rem 1rem;
  position: relative; }
.k-card h3 { font-size: 1rem; font-weight: 600; color: #45575e; margin: 0; padding: 0; }
.k-card p { font-size: 1.28rem; line-height: 1.32; font-weight: 600; margin: .35rem 0; overflow-wrap: anywhere; }
.k-card small { display: block; font-size: .98rem; line-height: 1.4; color: #45575e; overflow-wrap: anywhere; }
.k-card .k-head { float: right; margin: .1rem 0 .2rem .6rem; }
.k-card em { display: inline-block; font-style: normal; font-size: 1rem; font-weight: 650; border: 2px solid #1f5f78; color: #1f5f78;
  border-radius: 999px; padding: .05rem .7rem; margin: 0 0 .35rem; }
.k-card em.k-open { border-style: dashed; border-color: #767676; color: #45575e; }
.k-urgent { border-top-color: #9b1c1c; } .k-urgent p { color: #9b1c1c; }
.k-row { display: grid; grid-template-columns: 52px minmax(9.5rem, 1fr) 2fr; gap: .1rem .9rem; align-items: center; background: #fff;
  border: 1px solid #d8e0e1; border-radius: 6px; padding: .35rem .9rem; min-height: 3.6rem; }
.k-row b { font-size: 1.2rem; font-weight: 650; overflow-wrap: anywhere; line-height: 1.25; }
.k-row span { font-size: 1.1rem; line-height: 1.3; overflow-wrap: anywhere; }
.k-row small { font-size: .95rem; line-height: 1.35; color: #45575e; display: block; overflow-wrap: anywhere; }
.k-row em { font-style: normal; font-weight: 600; color: #855300; font-size: .95rem; }
.k-head { width: 46px; height: 46px; display: block; }
[class*="st-key-row-"] { position: relative; gap: 0; }
[class*="st-key-row-"] [data-testid="stElementContainer"]:has(button) { position: absolute; inset: 0; width: 100% !important; height: 100%; }
[class*="st-key-row-"] .stButton, [class*="st-key-row-"] .stButton > div, [class*="st-key-row-"] button { width: 100%; height: 100%; }
[class*="st-key-row-"] button { background: transparent !important; border: 2px solid transparent !important; opacity: 1; }
[class*="st-key-row-"] button p { opacity: 0; }
[class*="st-key-row-"] button:hover, [class*="st-key-row-"] button:focus-visible { border-color: #1f5f78 !important; }
.k-figure { background: #fff; border: 1px solid #d8e0e1; border-radius: 6px; overflow-x: auto; }
.k-figure img { width: 100%; min-width: 620px; display: block; }
.k-list { margin: .2rem 0 0 1.2rem !important; padding: 0 !important; font-size: 1.08rem; line-height: 1.45; }
.k-list li { overflow-wrap: anywhere; }
@media (max-width: 640px) { .k-row { grid-template-columns: 46px 1fr; } .k-row > span { grid-column: 2; } }
</style>"""

MOST_DRAWN_DEG = 45.0
"""A small head is not drawn further over; the words say how far it was."""

HEAD = (
    '<circle cx="23" cy="21" r="13" fill="#f4d9c4" stroke="#222" stroke-width="1.6"/>'
    '<circle cx="18" cy="19" r="1.7" fill="#222"/><circle cx="28" cy="19" r="1.7" fill="#222"/>'
    '<path d="M23 20.5v5M19.5 28.5h7" stroke="#222" stroke-width="1.5" fill="none" stroke-linecap="round"/>'
    '<path d="M23 34v6" stroke="#222" stroke-width="5"/>'
)
"""Seen from the front, upright; it turns about the foot of the neck."""


def head_html(tilt: Interval | None) -> str:
    """A small head as one who faces the child sees it, with a plumb line; an empty place where no side is known.

    Parameters
    ----------
    tilt : Interval or None
        + to the child's right, which is at the left of the drawing.
    """
    if tilt is None:
        return '<i class="k-head"></i>'
    angle = max(-MOST_DRAWN_DEG, min(MOST_DRAWN_DEG, tilt.value))
    return f'<img class="k-head" src="{_head_url(round(angle))}" alt="">'


@lru_cache(maxsize=256)
def _head_url(angle_deg: int) -> str:
    """The drawing as an address that holds it: the browser is given no other drawing inside of text."""
    drawn = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 46 46">'
        f'<g transform="rotate({-angle_deg} 23 40)">{HEAD}</g>'
        '<path d="M23 2v42" stroke="#1f5f78" stroke-width="1.2" stroke-dasharray="3 2.4"/></svg>'
    )
    return f"data:image/svg+xml;base64,{base64.b64encode(drawn.encode()).decode('ascii')}"


def card_html(
    title: str,
    words: str,
    notes: Iterable[str] = (),
    before: str = "",
    verdict: str = "",
    *,
    is_open: bool = False,
    is_urgent: bool = False,
) -> str:
    """A card with an answer: what it is about, the answer, and what stands with it.

    Parameters
    ----------
    title, words : str
    notes : iterable of str
    before : str
        HTML that stands beside the words.
    verdict : str
        In a few words, between the answer and the notes.
    is_open : bool
        The verdict is none, or not proven.
    is_urgent : bool
    """
    small = "".join(tag("small", note) for note in notes)
    chip = tag("em", verdict, "k-open" if is_open else "") if verdict else ""
    style = "k-card k-urgent" if is_urgent else "k-card"
    return f'<div class="{style}">{before}{tag("h3", title)}{tag("p", words)}{chip}{small}</div>'


def list_html(lines: Iterable[str]) -> str:
    """Lines as a list."""
    return f'<ul class="k-list">{"".join(tag("li", line) for line in lines)}</ul>'


def figure_html(figure: Figure, name: str, words: str) -> str:
    """A figure as an element that holds it; on a phone it can be pushed sideways.

    Parameters
    ----------
    figure : Figure
    name : str
        Of letters only.
    words : str
        What it shows, for those who cannot see it.
    """
    data = base64.b64encode(svg_text(figure, name).encode()).decode("ascii")
    return f'<div class="k-figure"><img src="data:image/svg+xml;base64,{data}" alt="{html.escape(words)}"></div>'
