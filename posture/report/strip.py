"""One strip of tilts with their intervals: the cover test, and the same child under different demand.

A row for each: what was different, the head at its tilt, and on one axis the interval. Arrows show from where to where the tilt went.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from posture.clinic.cover import CoverTest
from posture.clinic.demand import Comparison
from posture.conventions import STRAIGHT_DEG
from posture.report.head import paint_head
from posture.report.strip_rows import StripPart, StripRow, as_sizes, strip_parts
from posture.report.style import (
    BLUE,
    BODY_PT,
    GREY,
    HEAD_PT,
    INK,
    PALE,
    PAPER,
    SIDE_UNKNOWN,
    SMALL_PT,
    WIDTH_IN,
    blank_axes,
    new_figure,
    put_text,
    quiet_figure,
)

ROW_IN, GAP_IN, TITLE_IN, AXIS_IN, LINE_IN = 0.78, 0.46, 0.42, 0.62, 0.17
"""Heights of a row, of the heading between two parts, of the title, of the axis with its words, and of a line of words."""

WORDS_IN, HEAD_IN, MARGIN_IN = 1.62, 0.86, 0.12
"""Widths of the words and of the head beside the axis, and of the margin."""

NARROW_IN = 3.7
"""Width for a narrow window; the words stand above their row then."""

LETTERS_PER_IN, SMALL_PER_IN = 13.0, 15.0
"""Of the body and of the small letters, so that words stay in their place."""

HEAD_LINE_IN, STRONG_SHARE = 0.24, 0.74
"""Height of a line of a heading, and how many of the letters of a line it holds, being larger and bold."""

NARROW_LINE_IN = 0.28
"""Of the words above a row in a narrow window."""

KEY = "Dot and bar: tilt with its 95 % interval. Arrow: change. Grey: counts as upright."
AS_FACED = "As you face the child. "

LEAST_LIMIT_DEG, MOST_LIMIT_DEG, STEP_DEG = 15.0, 60.0, 5.0
"""A few degrees must not look like much; what lies beyond the axis ends in a mark on its edge."""

LEAST_ARROW_DEG = 1.5
"""A shorter arrow would be all head."""

NOTHING = "Nothing is laid beside this clip: it takes another of the same child with an eye covered, or under another demand."

Place = tuple[float, float]


def draw_strip(cover: CoverTest | None, demand: Sequence[Comparison] = (), narrow: bool = False) -> Figure:
    """Draw the tilts beside each other, as one who faces the child sees them.

    Parameters
    ----------
    cover : CoverTest or None
    demand : sequence of Comparison
        From `posture.clinic.demand`.
    narrow : bool
        For a narrow window: words above their row.

    Returns
    -------
    Figure
        The child's right where one who faces the child sees it. As soon as one comparison has no side: sizes alone, without heads and
        without the cover test, which names eyes. Only words where there is nothing to compare.
    """
    sided = all(one.sided for one in demand)
    parts = strip_parts(cover, demand) if sided else [as_sizes(part) for part in strip_parts(None, demand)]
    if not parts:
        return quiet_figure(textwrap.wrap(NOTHING, 90))
    width_in = NARROW_IN if narrow else WIDTH_IN
    titles, *headings = (textwrap.wrap(part.heading, round(STRONG_SHARE * LETTERS_PER_IN * width_in)) for part in parts)
    key = textwrap.wrap((AS_FACED if sided else "") + KEY, round(SMALL_PER_IN * width_in))
    row_in = ROW_IN + (NARROW_LINE_IN if narrow else 0)
    rows_in = row_in * sum(len(part.rows) for part in parts) + sum(_gap_in(lines) for lines in headings)
    title_in = TITLE_IN + HEAD_LINE_IN * (len(titles) - 1) + LINE_IN * len(key)
    height_in = title_in + rows_in + AXIS_IN
    figure = new_figure(height_in, width_in)
    for k, line in enumerate(titles):
        put_text(figure, 0.5, 1 - (0.2 + HEAD_LINE_IN * k) / height_in, line, HEAD_PT + 1, weight="bold")
    for k, line in enumerate(key):
        put_text(figure, 0.5, 1 - (0.2 + HEAD_LINE_IN * len(titles) + LINE_IN * k) / height_in, line, SMALL_PT, color=GREY)
    left_in = MARGIN_IN + (0 if narrow else WORDS_IN) + (HEAD_IN if sided else 0)
    place = (left_in / width_in, AXIS_IN / height_in, 1 - (left_in + 0.3) / width_in, (rows_in + 0.1) / height_in)
    ax = figure.add_axes(place)
    ax.set_gid("tilts")
    limit = _limit(parts)
    _ground(ax, limit, rows_in, sided, narrow)
    y = 0.0
    for i, part in enumerate(parts):
        if i:
            lines = headings[i - 1]
            for k, line in enumerate(lines):
                up = (height_in - title_in - y - 0.66 * GAP_IN - HEAD_LINE_IN * k) / height_in
                put_text(figure, 0.5, up, line, HEAD_PT, weight="bold")
            ax.axhspan(y + 0.2 * GAP_IN, y + _gap_in(lines), color=PAPER, linewidth=0, zorder=1.5)
            ax.axhline(y + 0.2 * GAP_IN, color=GREY, linewidth=0.6, zorder=2)
            y += _gap_in(lines)
        for row in part.rows:
            middle = y + row_in - ROW_IN / 2
            _row(ax, row, middle, limit, sided)
            _beside(figure, row, (middle, y), (height_in - title_in, height_in, width_in), sided, narrow)
            y += row_in
    return figure


def _gap_in(heading: Sequence[str]) -> float:
    """Height of the heading between two parts."""
    return GAP_IN + HEAD_LINE_IN * (len(heading) - 1)


def _limit(parts: Sequence[StripPart]) -> float:
    """How far the axis reaches to each side."""
    most = max(max(abs(row.tilt.low), abs(row.tilt.high)) for part in parts for row in part.rows)
    return float(np.clip(STEP_DEG * np.ceil((most + 2) / STEP_DEG), LEAST_LIMIT_DEG, MOST_LIMIT_DEG))


def _ground(ax: Axes, limit: float, rows_in: float, sided: bool, narrow: bool) -> None:
    """The axis with its ends in words, the plumb line, and the band in which a tilt counts as none."""
    ax.set_xlim(-limit if sided else 0.0, limit)
    ax.set_ylim(rows_in, -0.1)
    ax.axvspan(-STRAIGHT_DEG if sided else 0.0, STRAIGHT_DEG, color=PALE, linewidth=0, zorder=0)
    ax.axvline(0, color=INK, linewidth=1.0, linestyle=(0, (4, 3)), zorder=1)
    for side in ("top", "left", "right"):
        ax.spines[side].set_visible(False)
    step = 10 if limit <= 30 and not (narrow and limit > 20) else 20
    ticks = np.arange(-(limit // step) * step if sided else 0, limit + 1, step)
    ax.set_xticks(ticks, [f"{abs(tick):.0f}°" if tick else "upright" for tick in ticks], fontsize=SMALL_PT, parse_math=False)
    ax.set_yticks([])
    ax.tick_params(color=GREY)
    way = "" if narrow else "to the "
    ends = [(0.0, "left", f"{way}child's right"), (1.0, "right", f"{way}child's left")] if sided else []
    for x, align, words in ends:
        put_text(ax, x, -0.39 / _height_in(ax), words, BODY_PT, transform=ax.transAxes, ha=align, weight="bold")
    if not sided:
        words = f"size of the tilt; {SIDE_UNKNOWN}"
        put_text(ax, 0.5, -0.39 / _height_in(ax), words, BODY_PT, transform=ax.transAxes, weight="bold")


def _height_in(ax: Axes) -> float:
    """The height of axes on paper."""
    return float(ax.get_position().height * _paper_in(ax)[1])


def _paper_in(ax: Axes) -> tuple[float, float]:
    """Width and height of the whole figure."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    width_in, height_in = figure.get_size_inches()
    return float(width_in), float(height_in)


def _row(ax: Axes, row: StripRow, y: float, limit: float, sided: bool) -> None:
    """The interval as a bar, its middle as a dot, and the arrow from where the tilt came."""
    # As one faces the child, the child's right, which is positive, lies at the near edge of the page.
    across = -1.0 if sided else 1.0
    low, value, high = (float(np.clip(across * x, -limit, limit)) for x in (row.tilt.low, row.tilt.value, row.tilt.high))
    if row.before is not None:
        start = float(np.clip(across * row.before.value, -limit, limit))
        ax.plot([start, start], [y - 0.16, y + 0.16], color=INK, linewidth=1.2, zorder=3)
        style = "solid" if row.is_shown else (0, (2, 2))
        if abs(value - start) > LEAST_ARROW_DEG:
            ax.annotate(
                "", (value, y - 0.14), (start, y - 0.14), zorder=3,
                arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.6, "linestyle": style, "shrinkA": 0, "shrinkB": 0,
                            "mutation_scale": 13},
            )  # fmt: skip
        put_text(
            ax,
            _inside(ax, row.change, (start + value) / 2),
            y - 0.27,
            row.change,
            BODY_PT,
            weight="bold" if row.is_shown else "normal",
        )
    ax.plot([low, high], [y + 0.06] * 2, color=BLUE, linewidth=6.0, solid_capstyle="butt", zorder=4)
    ax.plot([value], [y + 0.06], marker="o", markersize=9, color=PAPER, markeredgecolor=INK, markeredgewidth=1.6, zorder=5)


def _inside(ax: Axes, text: str, at: float) -> float:
    """Where words stand so that they stay on the axis: as near to `at` as they can."""
    low, high = ax.get_xlim()
    width_in = float(ax.get_position().width) * _paper_in(ax)[0]
    half = min(0.5, 0.5 * len(text) / LETTERS_PER_IN / width_in) * (high - low)
    return float(np.clip(at, low + half, high - half))


def _beside(figure: Figure, row: StripRow, y: Place, size: tuple[float, float, float], sided: bool, narrow: bool) -> None:
    """The words of a row, and the head at its tilt."""
    (middle, top), (rows_top_in, height_in, width_in) = y, size
    up = (rows_top_in - middle) / height_in
    if narrow:
        put_text(figure, MARGIN_IN / width_in, (rows_top_in - top - 0.17) / height_in, row.words, BODY_PT, ha="left")
    else:
        lines = textwrap.wrap(row.words, round(LETTERS_PER_IN * WORDS_IN))
        for k, line in enumerate(lines):
            shift = (k - (len(lines) - 1) / 2) * LINE_IN / height_in
            put_text(figure, MARGIN_IN / width_in, up - shift, line, BODY_PT, ha="left")
    if not sided:
        return
    left_in = MARGIN_IN + (0 if narrow else WORDS_IN)
    ax = blank_axes(figure, (left_in / width_in, up - 0.5 * ROW_IN / height_in, HEAD_IN / width_in, ROW_IN / height_in))
    ax.set_gid("head")
    paint_head(ax, row.tilt.value, 0.0, 0.0, "front")
    ax.set_xlim(-2.4, 2.4)
    ax.set_ylim(-1.15, 2.6)
