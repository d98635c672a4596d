"""Shows the hint: what is urgent first, the outcome in a sentence, then everything that it rests on."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence

import streamlit as st

from posture.clinic.evidence import RANK, PointsTo
from posture.clinic.expected import EXPECTED
from posture.clinic.findings import Findings
from posture.clinic.hint import EvidenceRecord, Hint, hint_of
from posture.clinic.outcome import Suspected
from posture.clinic.sentences import CAUTIONS, OUTCOMES, SIDES
from posture.errors import PostureError
from posture.page.findings import CSS as BOX_CSS
from posture.page.findings import ask_findings, box_html
from posture.page.style import no_markup, tag
from posture.report.expected import draw_expected, neck_may_show
from posture.report.style import svg_text
from posture.summary.record import Summary

CSS = """<style>
.p-sides { display: grid; grid-template-columns: repeat(auto-fit, minmax(250px, 1fr)); gap: .9rem; }
.p-sides > div { background: #fff; border: 1px solid #d8e0e1; border-radius: 6px; padding: .8rem 1.1rem; }
.p-sides h3 { font-size: 1.1rem; font-weight: 600; margin: 0 0 .3rem; padding: 0; }
.p-sides ul, .p-list { margin: .2rem 0 0 1.2rem !important; padding: 0 !important; font-size: 1.08rem; line-height: 1.45; }
.p-sides p { font-size: 1.05rem; color: #45575e; margin: 0; }
.p-table { width: 100%; border-collapse: collapse; font-size: 1rem; line-height: 1.4; background: #fff; }
.p-table th { text-align: left; font-weight: 600; color: #45575e; }
.p-table th, .p-table td { border: 0; border-top: 1px solid #d8e0e1; padding: .55rem .6rem; vertical-align: top; }
.p-table td:first-child { font-weight: 600; }
.p-table .p-word { white-space: nowrap; }
.p-table small { font-size: .92rem; color: #45575e; }
.p-wide img, .p-narrow img { width: 100%; background: #fff; border: 1px solid #d8e0e1; border-radius: 6px; }
.p-narrow { display: none; }
@media (max-width: 640px) {
  .p-wide { display: none; } .p-narrow { display: block; }
  .p-table thead { display: none; }
  .p-table, .p-table tbody, .p-table tr { display: block; }
  .p-table tr { border-top: 2px solid #d8e0e1; padding: .5rem 0; }
  .p-table td { display: block; border: 0; padding: .15rem .6rem; }
}
</style>"""

POINTS: dict[PointsTo, str] = {"eye": "◉ eye", "neck": "▲ neck", "neither": "– neither"}
"""Sign and word of what a line points to."""

STRENGTHS = {"weak": "●○○ weak", "moderate": "●●○ moderate", "strong": "●●● strong"}

AGREES = {"agrees": "✓", "against": "✕", "open": "?"}

LEAD = (
    "Optional. Enter what the examination found, as far as it goes; the posture is laid beside it at once. A screening hint, not a"
    " diagnosis."
)

NOT_STATED = "Not stated until the urgent questions are answered."

PICTURE_WORDS = "The measured head beside the heads to expect"


@st.fragment
def draw_beside(summary: Summary, key: str) -> None:
    """Draw the whole section, folded until it is asked for; an answer in it draws nothing else anew.

    Parameters
    ----------
    summary : Summary
        Of the clip that is shown.
    key : str
        Of the clip: the answers go with it.
    """
    if not st.toggle("Lay the posture beside the examination", key=f"beside|{key}"):
        st.html(tag("p", LEAD, "p-note"))
        return
    suspected, findings = ask_findings(key, summary.conditions)
    draw_hint(summary, suspected, findings)


def draw_hint(summary: Summary, suspected: Suspected, findings: Findings) -> None:
    """Draw the hint; an error becomes a line.

    Parameters
    ----------
    summary : Summary
    suspected : {"right", "left", "both", "unknown"}
        Side of the eye muscle that is suspected to be weak.
    findings : Findings
    """
    try:
        hint = hint_of([summary], suspected, findings)
        # Today's referral comes before any comparison, which would show the eye alone.
        picture = "" if hint.urgency == "today" else _picture_html(summary, suspected, hint)
    except PostureError as error:
        st.error(no_markup(str(error)))
        return
    st.html(BOX_CSS + CSS)
    first, rest = split_cautions(hint)
    st.html(tag("p", "The hint", "p-head") + _first_html(first))
    st.html(_said_html(hint, rest))
    st.html(_sides_html(hint))
    if picture:
        st.html(picture)
    if hint.next:
        st.html(tag("p", "Next", "p-head") + _list_html(hint.next))
    if hint.evidence:
        st.html(tag("p", "Evidence", "p-head") + _evidence_html(hint.evidence))
    if hint.also_fits:
        with st.expander(f"Also fits: {len(hint.also_fits)} causes that a hint must not swallow"):
            rows = [(row.cause, tag("td", row.separates), tag("td", row.speed)) for row in hint.also_fits]
            st.html(_table_html(("Cause", "What separates it", "How fast"), rows))
    if neck_may_show(hint) and summary.sided:
        with st.expander("Published sizes of the expected postures"):
            st.html(_published_html())
    st.html(tag("p", "Cautions", "p-head") + _list_html(rest))


def split_cautions(hint: Hint) -> tuple[list[str], list[str]]:
    """What is read before everything else, what is urgent at its head, and the other cautions.

    Parameters
    ----------
    hint : Hint

    Returns
    -------
    tuple of list of str
    """
    asked = CAUTIONS["red flags"].text
    before = [text for text in hint.cautions if text.startswith("Urgent") or text == CAUTIONS["do not move"].text]
    if hint.urgency is not None:
        before += [text for text in hint.cautions if text == CAUTIONS["not stated"].text]
    first = before + ([asked] if asked in hint.cautions else [])
    return first, [text for text in hint.cautions if text not in first]


def _first_html(first: Sequence[str]) -> str:
    """The urgent lines in a box, and whether red flags were asked in another."""
    asked = CAUTIONS["red flags"].text
    urgent = [text for text in first if text != asked]
    boxes = [box_html([f"⚠ {text}" for text in urgent], "p-urgent")] if urgent else []
    boxes += [box_html([asked], "p-asked")] if asked in first else []
    return "".join(boxes)


def _said_html(hint: Hint, rest: Sequence[str]) -> str:
    """Outcome, side and agreement, each a sentence, and what limits them most."""
    side = "neck" if hint.outcome == "neck-driven" else "eye"
    sentences = [OUTCOMES[hint.outcome].text]
    sentences.append(SIDES[side].text.format(side=hint.side) if hint.side else SIDES["none"].text)
    sentences.append(f"{AGREES[hint.suspected]} {SIDES[hint.suspected].text}")
    # The last caution, that this is screening, stands at the end of every list; the neck screen is asked for above.
    limits = [text for text in rest[:-1] if text != CAUTIONS["neck screen"].text]
    mirroring = CAUTIONS["mirroring"].text
    sentences += [mirroring] if mirroring in limits else limits[:1]
    return f'<div class="p-said">{"".join(tag("p", text) for text in sentences)}</div>'


def _sides_html(hint: Hint) -> str:
    """What points to the eye and what to the neck, side by side, the strongest first."""
    leads = {"eye-driven": ("For: ", "Against: "), "neck-driven": ("Against: ", "For: ")}.get(hint.outcome, ("", ""))
    eye = _points_html(hint.evidence, "eye", leads[0])
    neck = _points_html(hint.evidence, "neck", leads[1], "" if hint.urgency is None else NOT_STATED)
    return f'<div class="p-sides">{eye}{neck}</div>'


def _points_html(lines: Iterable[EvidenceRecord], to: PointsTo, lead: str, instead: str = "") -> str:
    """What points one way."""
    found = sorted((line for line in lines if line.points_to == to), key=lambda line: -RANK[line.strength])
    rows = "".join(tag("li", f"{_capital(line.finding)} ({line.strength})") for line in found)
    body = f"<ul>{rows}</ul>" if rows else tag("p", instead or "Nothing was found.")
    return f"<div>{tag('h3', f'{lead}{POINTS[to]}')}{body}</div>"


def _evidence_html(lines: Iterable[EvidenceRecord]) -> str:
    """The evidence as a table, a line each."""
    rows = []
    for line in lines:
        cells = tag("td", POINTS[line.points_to], "p-word") + tag("td", STRENGTHS[line.strength], "p-word")
        why = f"<td>{tag('span', line.text)} {tag('small', f'Source: {line.source}')}</td>"
        rows.append((_capital(line.finding), cells, why))
    return _table_html(("What was found", "Points to", "Strength", "Why, and source"), rows)


def _table_html(heads: Iterable[str], rows: Iterable[tuple[str, str, str]]) -> str:
    """A table; the first cell of a row is text, the others are cells already."""
    head = "".join(tag("th", text) for text in heads)
    body = "".join(f"<tr>{tag('td', first)}{''.join(cells)}</tr>" for first, *cells in rows)
    return f'<table class="p-table"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'


def _published_html() -> str:
    """Every published size and frequency of the expected postures, with its source, each once."""
    rows = {}
    for cause in EXPECTED:
        kind = "superior oblique, both sides" if cause.side == "both" else cause.kind
        for figure in (*cause.sizes, *cause.frequencies):
            is_share = figure in cause.frequencies
            value = f"{100 * figure.value:.0f} %" if is_share else f"{figure.value:g} degrees"
            reach = "" if figure.low is None or figure.high is None else f" ({figure.low:.0f} to {figure.high:.0f})"
            cells = tag("td", f"{value}{reach}"), tag("td", f"{figure.of} {figure.source}")
            rows[kind, figure.text, figure.source] = (f"{kind}: {figure.text}", *cells)
    return _table_html(("What", "Size", "Of whom, and source"), rows.values())


def _list_html(lines: Iterable[str]) -> str:
    """Lines as a list."""
    return f'<ul class="p-list">{"".join(tag("li", line) for line in lines)}</ul>'


def _picture_html(summary: Summary, suspected: Suspected, hint: Hint) -> str:
    """The figure, once for a wide and once for a narrow window."""
    parts = []
    for style, columns in (("p-wide", 3), ("p-narrow", 1)):
        svg = svg_text(draw_expected(summary, suspected, hint, columns), style.split("-")[1])
        url = f"data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode('ascii')}"
        parts.append(f'<div class="{style}"><img src="{url}" alt="{PICTURE_WORDS}"></div>')
    return "".join(parts)


def _capital(text: str) -> str:
    """The text as a sentence begins."""
    return f"{text[:1].upper()}{text[1:]}"
