"""The whole job on the sample clips: draw them, measure them, write the results and one page about the first."""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from posture.measure import Settings, measure_clip
from posture.report import figures_svg, render_html
from posture.samples import sample_info, write_samples
from posture.summary.files import write_whole
from posture.summary.record import Conditions
from posture.summary.words import result_sentences

DRAWING_SHARE = 0.6
"""Share of the time that drawing the samples takes, for the bar."""

DEMO_NAMES = ("steady-left-tilt", "straight-and-lively", "right-tilt-left-turn", "two-postures", "too-short")
"""The samples of what a child does by itself with both eyes open. Those of an examination would take two thirds as long again."""


@dataclass(frozen=True)
class DemoResult:
    """What the demo found in its first clip, and the page to begin with."""

    sentences: list[str]
    page: Path


def run_demo(
    folder: Path, on_progress: Callable[[float | None], None] = lambda share: None, names: Sequence[str] = DEMO_NAMES
) -> DemoResult:
    """Draw, measure and report sample clips.

    Parameters
    ----------
    folder : Path
        Filled with the clips, and for each a track, a summary, figures and a page; ``index.html`` leads to them.
    on_progress : callable
        Told the share that is done.
    names : sequence of str
        Of the samples.

    Returns
    -------
    DemoResult
    """
    clips = write_samples(folder / "clips", names, on_progress=lambda name, share: on_progress(DRAWING_SHARE * share))
    first: DemoResult | None = None
    rows = []
    for number, (name, clip) in enumerate(zip(names, clips, strict=True)):
        info = sample_info(name)
        settings = Settings(mirrored="no", roll_deg=0.0, pitch_deg=0.0, focal_px=info.focal_px)
        conditions = Conditions.model_validate(dict(info.conditions))
        measured = measure_clip(clip, settings, conditions, label=name)
        for figure, svg in figures_svg(measured.summary, measured.found).items():
            write_whole(folder / f"{name}.{figure}.svg", svg)
        page = folder / f"{name}.html"
        write_whole(page, render_html(measured.summary, measured.found, title_code=name))
        measured.save(folder, name)
        sentences = result_sentences(measured.summary)
        rows.append((name, info.description, sentences))
        first = first or DemoResult(sentences, page)
        on_progress(DRAWING_SHARE + (1 - DRAWING_SHARE) * (number + 1) / len(clips))
    write_whole(folder / "index.html", _index(rows))
    assert first is not None
    return first


def _index(rows: list[tuple[str, str, list[str]]]) -> str:
    """A page of links to the pages of the samples."""
    items = "".join(
        f'<h2><a href="{name}.html">{html.escape(name)}</a></h2><p>{html.escape(text)}</p><p>{html.escape(" ".join(found))}</p>'
        for name, text, found in rows
    )
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Sample clips, measured</title>'
        "<style>body{font:16px/1.5 sans-serif;max-width:44rem;margin:2rem auto;padding:0 1rem}</style>"
        f"<h1>Sample clips, measured</h1><p>An invented, drawn child; no real person.</p>{items}</html>\n"
    )
