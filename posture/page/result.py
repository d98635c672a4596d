"""Shows a measured clip: sentences, figures, the three angles in words, checks, and what may be taken away."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import streamlit as st

from posture.conventions import DISCLAIMER
from posture.measure import Measurement
from posture.page.asked import asked_figures, draw_asked_part
from posture.page.family import draw_family
from posture.page.more import draw_more, more_figures
from posture.page.style import tag
from posture.report import figures_svg, render_html
from posture.summary.record import Interval, Summary
from posture.summary.words import result_sentences, say_angle, say_interval, say_size

TITLES = {"tilt": "Tilt of the head", "turn": "Turn of the face", "chin": "Chin"}

LEVELS = {"fail": ("✕", "Fails"), "warn": ("!", "Take care"), "pass": ("✓", "Good")}
"""Sign and word of each level of a check, so that colour alone says nothing."""


@dataclass(frozen=True)
class Block:
    """One angle in words."""

    title: str
    words: str
    note: str


@dataclass(frozen=True)
class Shown:
    """A measurement as it is shown: made once, and again only when it is read anew.

    Attributes
    ----------
    measured : Measurement
    figures : dict of str
        SVG texts by name.
    stem : str
        Of the names of files.
    track_path, summary_path : Path
        Where the results are kept.
    """

    measured: Measurement
    figures: dict[str, str]
    stem: str
    track_path: Path
    summary_path: Path


def keep(measured: Measurement, folder: Path) -> Shown:
    """Write the results, then make what is shown of them.

    Parameters
    ----------
    measured : Measurement
    folder : Path

    Returns
    -------
    Shown

    Raises
    ------
    OutputError
        If they cannot be written; nothing is shown that is not on disk.
    """
    stem = file_stem(measured.summary.clip.label)
    track_path, summary_path = measured.save(folder, stem)
    return Shown(
        measured=measured,
        figures=figures_svg(measured.summary, measured.found) | asked_figures(measured) | more_figures(measured),
        stem=stem,
        track_path=track_path,
        summary_path=summary_path,
    )


def file_stem(label: str | None) -> str:
    """The name that files get: the label with nothing but letters, digits, dots and dashes, or "clip"."""
    return re.sub(r"[^\w.-]+", "-", label or "", flags=re.ASCII).strip(".-") or "clip"


def angle_blocks(summary: Summary) -> list[Block]:
    """The three angles in words, with their intervals.

    Parameters
    ----------
    summary : Summary

    Returns
    -------
    list of Block
        Without a side while mirroring is unknown; empty where there is no number to give.
    """
    if summary.habitual:
        held = summary.habitual
        aside = "" if held.turn_counts else "; not evidence, as what the child looked at is not known"
        return [
            _block("tilt", held.tilt_deg),
            _block("turn", held.turn_deg, aside),
            _block("chin", held.chin_deg, aside),
        ]
    if summary.unsided:
        tilt, turn = summary.unsided.tilt_size_deg, summary.unsided.turn_size_deg
        sizes = [
            Block(TITLES[name], say_size(size).split(" (")[0] if size else "not given", _size_note(size))
            for name, size in (("tilt", tilt), ("turn", turn))
        ]
        return [*sizes, _block("chin", summary.unsided.chin_deg)]
    if len(summary.postures) == 2:
        return [
            Block(
                f"{100 * posture.share:.0f} % of the steady time",
                f"Tilt {say_angle('tilt', posture.tilt_deg)}" if posture.tilt_deg else "Tilt not given",
                f"Face {say_angle('turn', posture.turn_deg)} ({say_interval('turn', posture.turn_deg)})",
            )
            for posture in summary.postures
        ]
    if summary.moment:
        when = f"; at one moment, {summary.moment.time_s:.0f} s into the clip"
        angles = {"tilt": summary.moment.tilt_deg, "turn": summary.moment.turn_deg, "chin": summary.moment.chin_deg}
        return [_block(name, angle, when) for name, angle in angles.items() if angle is not None]
    return []


def draw_result(shown: Shown) -> None:
    """Draw the result.

    Parameters
    ----------
    shown : Shown
    """
    summary, examination = shown.measured.summary, shown.measured.examination
    has_posture = examination is None or draw_asked_part(examination, summary, shown.figures["asked"])
    if has_posture:
        st.html(f'<div class="p-said">{"".join(tag("p", line) for line in result_sentences(summary))}</div>')
    if not summary.sided:
        st.html(tag("p", "Answer “Is the picture mirrored?” above: the result changes at once.", "p-note"))
    if has_posture:
        _draw_posture(shown)
    st.image(shown.figures["timeline"], width="stretch", alt="The angles through the clip")
    if has_posture:
        st.image(shown.figures["map"], width="stretch", alt="Tilt against turn, a circle for every steady spell")
    draw_more(shown.measured, shown.figures)
    draw_family(shown.measured, shown.stem)
    # Of a clip of movements alone nobody expects time in which the child was left to itself.
    st.html(tag("p", "How far to trust this", "p-head") + _checks_html(summary, () if has_posture else ("steady time",)))
    _draw_downloads(shown)


def _draw_posture(shown: Shown) -> None:
    """The head as it is held, and the three angles in words."""
    summary = shown.measured.summary
    st.image(shown.figures["heads"], width="stretch", alt="Drawing of the head as it is held")
    blocks = "".join(
        f'<div class="p-block">{tag("h3", b.title)}{tag("p", b.words)}{tag("small", b.note)}</div>'
        for b in angle_blocks(summary)
    )
    if blocks:
        st.html(f'<div class="p-blocks">{blocks}</div>')


def draw_disclaimer() -> None:
    """Draw what the result is not; always the last of the page."""
    st.html(tag("div", DISCLAIMER, "p-small"))


def _checks_html(summary: Summary, left_out: tuple[str, ...] = ()) -> str:
    """The checks as a list, failing ones first as they come, without those left out by name."""
    rows = []
    for check in (one for one in summary.checks if one.name not in left_out):
        sign, word = LEVELS[check.level]
        rows.append(f'<li class="p-{check.level}">{tag("i", sign)}{tag("b", word)}{tag("span", check.text)}</li>')
    return f'<ul class="p-checks">{"".join(rows)}</ul>'


def _draw_downloads(shown: Shown) -> None:
    """The files to take away, and where the results are kept."""
    st.html(tag("p", "Take away", "p-head"))
    stem, measured = shown.stem, shown.measured
    report, summary, track, *asked = st.columns(3 if measured.examination is None else 4)
    # Made when it is asked for: with it, a changed answer would take twice as long.
    html = partial(render_html, measured.summary, measured.found, title_code=measured.summary.clip.label)
    report.download_button(
        "Report for the notes", html, f"{stem}.html", "text/html", key="report", on_click="ignore", width="stretch"
    )
    summary.download_button(
        "Summary (JSON)", shown.summary_path.read_bytes(), f"{stem}.summary.json", "application/json", key="json",
        on_click="ignore", width="stretch",
    )  # fmt: skip
    track.download_button(
        "Track (CSV)", shown.track_path.read_bytes(), f"{stem}.track.csv", "text/csv", key="csv", on_click="ignore",
        width="stretch",
    )  # fmt: skip
    if measured.examination is not None:
        asked[0].download_button(
            "What was asked (JSON)", measured.examination.to_json(), f"{stem}.examination.json", "application/json", key="asked-json",
            on_click="ignore", width="stretch",
        )  # fmt: skip
    st.html(tag("p", f"Summary and track are kept on this computer in {shown.summary_path.parent}; no picture is.", "p-note"))


def _block(name: str, angle: Interval | None, aside: str = "") -> Block:
    """An angle with its side."""
    if angle is None:
        return Block(TITLES[name], "not given", "gravity is no zero in this position")
    words = say_angle(name, angle)
    return Block(TITLES[name], words[0].upper() + words[1:], f"{say_interval(name, angle)}{aside}")


def _size_note(size: Interval | None) -> str:
    """The interval of a size without its side."""
    if size is None:
        return "gravity is no zero in this position"
    return f"between {round(size.low)} and {round(size.high)}; the side is not known"
