"""Shows the hint: what is urgent first, the outcome in a sentence, then everything that it rests on."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence

import streamlit as st
from matplotlib.figure import Figure

from posture.clinic.clips import Clips, cover_of, read_clips
from posture.clinic.evidence import RANK, PointsTo
from posture.clinic.examination import Examination
from posture.clinic.expected import EXPECTED
from posture.clinic.findings import Findings
from posture.clinic.held import MIN_HINT_MONTHS
from posture.clinic.hint import EvidenceRecord, Hint, hint_of
from posture.clinic.outcome import Suspected
from posture.clinic.sentences import CAUTIONS, EXAMINATION, OUTCOMES, SIDES
from posture.clinic.urgency import neck_may_move
from posture.errors import PostureError
from posture.page.asked import CSS as FIGURE_CSS
from posture.page.asked import figure_html
from posture.page.findings import CSS as BOX_CSS
from posture.page.findings import ask_findings, box_html
from posture.page.others import Document, Others, ask_others
from posture.page.style import no_markup, tag
from posture.report.asked import draw_asked
from posture.report.expected import draw_expected, neck_may_show
from posture.report.strip import draw_strip
from posture.report.strip_rows import strip_parts
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
STRIP_WORDS = "The tilt in each clip, and what changed it"
ASKED_WORDS = "How far the child went to each side when asked"

PAIR = EXAMINATION["pair accepted"].text.partition("{")[0]
"""Begins what is said of a filmed head-tilt test, accepted or not."""

ASKED_LATER = (
    "What was asked of the neck is shown when the neck screen is answered, every line no, and nothing forbids moving it."
)


@st.fragment
def draw_beside(summary: Summary, key: str, measured: Sequence[Document] = ()) -> None:
    """Draw the whole section, folded until it is asked for; an answer in it draws nothing else anew.

    Parameters
    ----------
    summary : Summary
        Of the clip that is shown.
    key : str
        Of the clip: the answers go with it.
    measured : sequence of Summary and Examination
        Clips measured since the page was opened, and what was asked in them; the user says which are of the same child.
    """
    if not st.toggle("Lay the posture beside the examination", key=f"beside|{key}"):
        st.html(tag("p", LEAD, "p-note"))
        return
    others = ask_others(key, summary, measured)
    suspected, findings = ask_findings(key, summary.conditions)
    draw_hint(summary, suspected, findings, others)


def draw_hint(summary: Summary, suspected: Suspected, findings: Findings, others: Others | None = None) -> None:
    """Draw the hint; an error becomes a line.

    Parameters
    ----------
    summary : Summary
    suspected : {"right", "left", "both", "unknown"}
        Side of the eye muscle that is suspected to be weak.
    findings : Findings
    others : Others or None
        Other records of the same child.
    """
    others = others or Others()
    summaries = [summary, *others.summaries]
    try:
        hint = hint_of(summaries, suspected, findings, others.examinations)
        # Today's referral comes before any comparison, which would show the eye alone.
        is_today = hint.urgency == "today"
        clips = read_clips(summaries, findings)
        picture = "" if is_today else _expected_html(clips.main or summary, suspected, hint)
        strips = "" if is_today else _strips_html(clips, findings)
        asked = "" if is_today else _asked_html(summary, findings, others.examinations)
    except PostureError as error:
        st.error(no_markup(str(error)))
        return
    st.html(BOX_CSS + CSS + FIGURE_CSS)
    first, rest = split_cautions(hint)
    st.html(tag("p", "The hint", "p-head") + _first_html(first))
    st.html(_said_html(hint, rest))
    st.html(_sides_html(hint))
    if picture:
        st.html(picture)
    if strips:
        st.html(tag("p", "What changes the tilt", "p-head") + strips)
    if asked:
        asked += "".join(tag("p", text, "p-note") for text in hint.cautions if text.startswith(PAIR))
        st.html(tag("p", "What was asked, and what was reached", "p-head") + asked)
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


def _expected_html(summary: Summary, suspected: Suspected, hint: Hint) -> str:
    """The measured head beside those to expect."""
    wide, narrow = (draw_expected(summary, suspected, hint, columns) for columns in (3, 1))
    return _figures_html(wide, narrow, PICTURE_WORDS)


def _strips_html(clips: Clips, findings: Findings) -> str:
    """The cover test and the comparisons under different demand; those without a side in a strip of their own."""
    if clips.age_months is not None and clips.age_months < MIN_HINT_MONTHS:
        return ""
    cover = cover_of(clips, findings)
    sided = [one for one in clips.demand if one.sided]
    unsided = [one for one in clips.demand if not one.sided]
    strips = [(cover, sided), (None, unsided)]
    return "".join(
        _figures_html(draw_strip(*strip), draw_strip(*strip, narrow=True), STRIP_WORDS)
        for strip in strips
        if strip_parts(*strip)
    )


def _asked_html(summary: Summary, findings: Findings, examinations: Sequence[Examination]) -> str:
    """What was reached in each film of movements that were asked; why not, where it may not be shown."""
    if examinations and not neck_may_move(findings):
        return tag("p", ASKED_LATER, "p-note")
    parts = []
    for one in examinations:
        if one.sided and not summary.sided:
            parts.append(tag("p", CAUTIONS["mirroring"].text, "p-note"))
        else:
            figure = draw_asked(one, summary.conditions.age_months)
            parts.append(figure_html(figure, ASKED_WORDS))
    return "".join(dict.fromkeys(parts))


def _figures_html(wide: Figure, narrow: Figure, words: str) -> str:
    """A figure, once for a wide and once for a narrow window."""
    parts = []
    for style, figure in (("wide", wide), ("narrow", narrow)):
        parts.append(f'<div class="p-{style}">{_image_html(figure, style, words)}</div>')
    return "".join(parts)


def _image_html(figure: Figure, name: str, words: str) -> str:
    """A figure as an element that holds it."""
    data = base64.b64encode(svg_text(figure, name).encode()).decode("ascii")
    return f'<img src="data:image/svg+xml;base64,{data}" alt="{words}">'


def _capital(text: str) -> str:
    """The text as a sentence begins."""
    return f"{text[:1].upper()}{text[1:]}"
