"""What was asked of the child and what was reached: a head at each end, its angle, its interval, and what it is held against."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Wedge
from numpy.typing import NDArray

from posture.clinic.examination import AskedRecord, Examination, gravity_deg, was_done
from posture.clinic.neck import NeckNorm, published_range
from posture.clinic.tilt_pair import TILT_EQUAL_DEG, TILT_REACHED_DEG
from posture.conventions import Side
from posture.report.asked_words import SIDES, AskedRow, asked_row, say_beside, say_details, say_end, say_foot, say_title
from posture.report.head import View, paint_head
from posture.report.style import (
    BLUE,
    BODY_PT,
    GREY,
    HEAD_PT,
    INK,
    PALE,
    SIDE_UNKNOWN,
    SKY,
    SMALL_PT,
    blank_axes,
    new_figure,
    put_text,
    quiet_figure,
)

Array = NDArray[np.float64]

FAN: dict[View, tuple[float, float]] = {"front": (2.42, 2.86), "above": (1.55, 2.05)}
"""Inner and outer radius of the dial, clear of the head, in lengths of `posture.report.head`."""

LIMITS: dict[View, tuple[tuple[float, float], tuple[float, float]]] = {
    "front": ((-3.6, 3.6), (-1.1, 3.4)),
    "above": ((-3.6, 3.6), (-2.5, 1.05)),
}

UNSEEN_TO_DEG = 28.0
"""So far beyond the last that was seen the dial is hatched: enough to see that it goes on."""

TITLE_IN, NAME_IN, WORDS_IN, LINE_IN = 0.45, 0.3, 1.22, 0.19
"""Heights of the title, of the name of a direction, of the words below its heads, and of a line of small ones."""

HEAD_IN: dict[View, float] = {"front": 2.2, "above": 1.74}
BIG_PT = 15.0


def draw_asked(examination: Examination, age_months: int | None = None) -> Figure:
    """Draw how far the child went to each side.

    Parameters
    ----------
    examination : Examination
    age_months : int or None
        For the published range; only one of this age and kind is drawn.

    Returns
    -------
    Figure
        Bars without a side while mirroring is unknown; only words where nothing was asked.
    """
    rows = [row for row in (asked_row(examination, "front"), asked_row(examination, "above")) if any(row.ends.values())]
    if not rows:
        return quiet_figure(["No movement was asked in this clip, so none is drawn."])
    if not examination.sided:
        return _bars(rows)
    norm = published_range(age_months, bool(examination.passive))
    foot = say_foot(examination, norm, age_months)
    height_in = TITLE_IN + sum(_height_in(row) for row in rows) + LINE_IN * (len(foot) + 0.6)
    figure = new_figure(height_in)
    put_text(figure, 0.5, 1 - 0.22 / height_in, say_title(examination), HEAD_PT, weight="bold")
    top_in = height_in - TITLE_IN
    for row in rows:
        _draw_row(figure, row, norm, top_in, height_in)
        top_in -= _height_in(row)
    for k, text in enumerate(reversed(foot)):
        put_text(figure, 0.5, LINE_IN * (k + 0.8) / height_in, text, SMALL_PT, color=GREY)
    return figure


def _height_in(row: AskedRow) -> float:
    """Inches on the page of a direction."""
    return NAME_IN + HEAD_IN[row.view] + WORDS_IN


def _draw_row(figure: Figure, row: AskedRow, norm: NeckNorm | None, top_in: float, height_in: float) -> None:
    """Two heads, their angles in words, and what the two are beside each other."""
    name = "Tilt to each shoulder, as you face the child" if row.is_tilt else "Turn to each side, from above"
    put_text(figure, 0.5, (top_in - 0.12) / height_in, name, BODY_PT, color=GREY)
    head_in = HEAD_IN[row.view]
    words_in = top_in - NAME_IN - head_in
    for k, side in enumerate(SIDES):
        one, other = row.ends[side], row.ends[SIDES[1 - k]]
        middle = 0.26 + 0.48 * k
        ax = blank_axes(figure, (0.02 + 0.48 * k, words_in / height_in, 0.48, head_in / height_in))
        ax.set_gid(f"{'tilt' if row.is_tilt else 'turn'} {side}")
        _draw_end(ax, row, side, other, norm)
        put_text(figure, middle, (words_in - 0.13) / height_in, say_end(one, side), BIG_PT, weight="bold")
        for i, text in enumerate(say_details(one)):
            put_text(figure, middle, (words_in - 0.36 - LINE_IN * i) / height_in, text, SMALL_PT)
    for i, text in enumerate(say_beside(row)):
        style: dict[str, Any] = {"weight": "bold", "color": BLUE} if i == 0 else {}
        put_text(figure, 0.5, (words_in - 0.78 - LINE_IN * i) / height_in, text, BODY_PT if i == 0 else SMALL_PT, **style)


def _draw_end(ax: Axes, row: AskedRow, side: Side, other: AskedRecord | None, norm: NeckNorm | None) -> None:
    """A head at the end of one movement, with its dial."""
    one, view = row.ends[side], row.view
    sign = 1.0 if side == "right" else -1.0
    reached = one.reached_deg if one is not None and was_done(one) else None
    angle = sign * reached.value if reached else 0.0
    paint_head(ax, *((angle, 0.0, 0.0) if row.is_tilt else (0.0, angle, 0.0)), view)
    ax.set_xlim(*LIMITS[view][0])
    ax.set_ylim(*LIMITS[view][1])
    inner, outer = FAN[view]
    _line(ax, view, 0.0, (0.0 if row.is_tilt else inner, outer), color=INK, linewidth=1.0, linestyle=(0, (4, 3)), zorder=6)
    x, y = _ray(view, -sign * 4.0) * (outer + 0.06)
    zero = "straight ahead" if not row.is_tilt else "shoulders" if one and one.reference == "shoulder line" else "plumb line"
    put_text(ax, x, y, zero, SMALL_PT, color=GREY, ha="left" if side == "right" else "right")
    # A tilt against gravity holds the lean of the trunk, so no published neck range stands beside it.
    if norm is not None and (one is None or one.reference != "gravity"):
        _mark_norm(ax, view, sign, *((norm.tilt_deg, norm.tilt_sd_deg) if row.is_tilt else (norm.turn_deg, norm.turn_sd_deg)))
    if one is None or reached is None:
        return
    ax.add_patch(_wedge(view, 0.0, angle, inner, outer, facecolor=BLUE, alpha=0.28, gid="reached"))
    if reached.high is None:
        unseen = sign * (reached.value + UNSEEN_TO_DEG)
        ax.add_patch(_wedge(view, angle, unseen, inner, outer, facecolor="none", edgecolor=BLUE, hatch="////", linewidth=0.0))
        middle = (inner + outer) / 2
        tip, tail = (tuple(_ray(view, end) * middle) for end in (unseen, unseen - sign * 9))
        arrow = {"arrowstyle": "-|>", "color": BLUE, "linewidth": 2.0}
        ax.annotate("", tip, tail, zorder=7, arrowprops=arrow)
    else:
        ax.add_patch(
            _wedge(view, sign * reached.low, sign * reached.high, inner, outer, facecolor=SKY, alpha=0.75, gid="interval")
        )
    _line(ax, view, angle, (inner - 0.1, outer + 0.14), color=BLUE, linewidth=3.4, zorder=6.2)
    if row.is_tilt:
        _mark_bounds(ax, one, other, sign)


def _mark_bounds(ax: Axes, one: AskedRecord, other: AskedRecord | None, sign: float) -> None:
    """The 20 degrees of the head-tilt test, and where a tilt equal to that of the other side would lie; both against gravity."""
    assert one.reached_deg is not None
    lean = gravity_deg(one) - one.reached_deg.value
    inner, outer = FAN["front"]
    at = sign * (TILT_REACHED_DEG - lean)
    _line(ax, "front", at, (inner, outer + 0.1), color=INK, linewidth=1.1, zorder=6)
    x, y = _ray("front", at) * (outer + 0.32)
    put_text(ax, x, y, f"{TILT_REACHED_DEG:.0f}", SMALL_PT, color=INK)
    if other is None or not was_done(other) or other.beyond_camera:
        return
    low, high = (sign * (gravity_deg(other) + step - lean) for step in (-TILT_EQUAL_DEG, TILT_EQUAL_DEG))
    points = np.array([*(_ray("front", a) * (inner - 0.07) for a in np.linspace(low, high, 20))])
    ends = [_ray("front", low) * (inner + 0.1), *points, _ray("front", high) * (inner + 0.1)]
    ax.plot(*np.array(ends).T, color=INK, linewidth=1.3, zorder=6.1, gid="equal within")


def _mark_norm(ax: Axes, view: View, sign: float, deg: float, sd_deg: float | None) -> None:
    """The published range, as a grey mark outside of the dial, with its SD where that is known."""
    _, outer = FAN[view]
    if sd_deg is not None:
        ends = (sign * (deg - sd_deg), sign * (deg + sd_deg))
        ax.add_patch(_wedge(view, *ends, outer + 0.05, outer + 0.2, facecolor=PALE, edgecolor=GREY, linewidth=0.6))
    _line(ax, view, sign * deg, (outer, outer + 0.28), color=GREY, linewidth=2.6, zorder=6, gid="published")
    x, y = _ray(view, sign * deg) * (outer + 0.52)
    put_text(ax, x, y, f"{deg:.0f}", SMALL_PT, color=GREY)


def _bars(rows: list[AskedRow]) -> Figure:
    """Sizes as bars: nothing in it leans to any side."""
    names = [(f"{'Tilt' if row.is_tilt else 'Turn'}, {side}", one) for row in rows for side, one in row.ends.items()]
    figure = new_figure(0.9 + 0.62 * len(names))
    put_text(
        figure,
        0.5,
        1 - 0.22 / figure.get_figheight(),
        f"How far the head went when asked: {SIDE_UNKNOWN}",
        HEAD_PT,
        weight="bold",
    )
    ax = figure.add_axes((0.2, 0.12, 0.77, 0.72))
    for y, (name, one) in zip(range(len(names) - 1, -1, -1), names, strict=True):
        put_text(ax, -1.0, y, name, BODY_PT, ha="right", weight="bold")
        reached = one.reached_deg if one is not None and was_done(one) else None
        if one is None or reached is None:
            put_text(ax, 1, y, say_end(one), ha="left")
            continue
        _bar(ax, y, reached.value, reached.low, reached.high)
        put_text(ax, 0.5, y + 0.36, f"{say_end(one)}, {', '.join(say_details(one))}", SMALL_PT, ha="left")
    ax.set_xlim(0, 75)
    ax.set_ylim(-0.45, len(names) - 0.4)
    ax.set_yticks([])
    ax.set_xticks(np.arange(0, 76, 15), [f"{v:.0f}°" for v in np.arange(0, 76, 15)], fontsize=SMALL_PT, parse_math=False)
    ax.tick_params(color=GREY)
    ax.grid(axis="x", color=PALE, linewidth=0.8)
    ax.set_axisbelow(True)
    for edge in ("top", "right", "left"):
        ax.spines[edge].set_visible(False)
    return figure


def _bar(ax: Axes, y: float, value: float, low: float, high: float | None) -> None:
    """A bar with its interval, or hatched where it goes on."""
    ax.add_patch(Polygon([(0, y - 0.18), (value, y - 0.18), (value, y + 0.18), (0, y + 0.18)], facecolor=BLUE))
    if high is None:
        ends = [(value, y - 0.18), (value + 12, y - 0.18), (value + 12, y + 0.18), (value, y + 0.18)]
        ax.add_patch(Polygon(ends, facecolor="none", edgecolor=BLUE, hatch="////", linewidth=0.0))
        return
    ax.plot([max(low, 0), high], [y, y], color=INK, linewidth=1.6, marker="|", markersize=10, markeredgewidth=1.6)


def _ray(view: View, angle_deg: float) -> Array:
    """Where the top of the head (front) or the nose (from above) points on the page at an angle, shape (2,)."""
    a = np.radians(angle_deg)
    return np.array([-np.sin(a), np.cos(a) if view == "front" else -np.cos(a)])


def _line(ax: Axes, view: View, angle_deg: float, radii: tuple[float, float], **style: Any) -> None:
    """A line along a ray."""
    ax.plot(*np.outer(radii, _ray(view, angle_deg)).T, solid_capstyle="butt", **style)


def _wedge(view: View, from_deg: float, to_deg: float, inner: float, outer: float, **style: Any) -> Wedge:
    """A part of the dial between two angles."""
    first, last = sorted(90.0 + a if view == "front" else 270.0 - a for a in (from_deg, to_deg))
    style = {"edgecolor": "none", "zorder": 5.9} | style
    return Wedge((0, 0), outer, first, last, width=outer - inner, **style)
