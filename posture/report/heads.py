"""The measured posture as a drawn head: what a note in words says, seen at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Wedge

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
    TILT_NOT_GIVEN,
    blank_axes,
    new_figure,
    put_text,
    quiet_figure,
)
from posture.signal.habitual import HabitualPosture
from posture.summary.record import Interval, Summary
from posture.summary.words import say_angle, say_interval

FAN = {"front": (2.42, 2.86), "above": (1.62, 2.06)}
"""Inner and outer radius of the fan that shows the interval, clear of the head, in lengths of `posture.report.head`."""

ZERO_WORDS = {"front": "plumb line", "above": "straight ahead"}
NOT_EVIDENCE = "not evidence: what the child looked at is not known"


def draw_heads(summary: Summary, found: HabitualPosture) -> Figure:
    """Draw the head in the measured posture.

    Parameters
    ----------
    summary : Summary
    found : HabitualPosture
        Of the same clip; only the chins of two postures are taken from it, which the summary does not hold.

    Returns
    -------
    Figure
        Front view and view from above; two front views for two postures; bars without a side while mirroring is unknown; the
        moment's head where there is only a moment; and only words where there is nothing.
    """
    if not summary.sided:
        return _unsided(summary)
    if summary.habitual:
        held = summary.habitual
        note = None if held.turn_counts else NOT_EVIDENCE
        return _one_head(held.tilt_deg, held.turn_deg, held.chin_deg, "the head as it is usually held", note)
    if len(summary.postures) == 2:
        return _two_heads(summary, found)
    moment = summary.moment
    if moment and moment.turn_deg:
        return _one_head(moment.tilt_deg, moment.turn_deg, moment.chin_deg, "one moment, not a habit", None)
    return quiet_figure(["No head posture could be measured, so no head is drawn."])


def _one_head(tilt: Interval | None, turn: Interval, chin: Interval, title: str, note: str | None) -> Figure:
    """Front view and view from above."""
    figure = new_figure(3.9)
    put_text(figure, 0.5, 0.955, f"{title[0].upper()}{title[1:]}", HEAD_PT, weight="bold")
    front, above = (blank_axes(figure, (x, 0.20, 0.47, 0.71)) for x in (0.02, 0.51))
    paint_view(front, "front", tilt, turn, chin)
    paint_view(above, "above", tilt, turn, chin)
    left, right = 0.255, 0.745
    if tilt:
        _caption(figure, left, "Tilt", "tilt", tilt)
    else:
        put_text(figure, left, 0.145, TILT_NOT_GIVEN)
    _caption(figure, right, "Face", "turn", turn)
    words = say_angle("chin", chin)
    words = "Chin level" if words == "level" else f"{words[0].upper()}{words[1:]}"
    put_text(figure, left, 0.025, f"{words} ({say_interval('chin', chin)})", SMALL_PT)
    if note:
        put_text(figure, right, 0.025, note, SMALL_PT, style="italic")
    return figure


def _caption(figure: Figure, x: float, lead: str, name: str, angle: Interval) -> None:
    """An angle in words with its interval beneath."""
    put_text(figure, x, 0.155, f"{lead} {say_angle(name, angle)}", weight="bold")
    put_text(figure, x, 0.09, say_interval(name, angle))


def paint_view(ax: Axes, view: View, tilt: Interval | None, turn: Interval, chin: Interval, *, worded: bool = True) -> None:
    """Paint one view of the head, with its zero line, angle and fan.

    Parameters
    ----------
    ax : Axes
        Of equal aspect.
    view : {"front", "above"}
    tilt : Interval or None
        None is drawn upright and without an angle.
    turn, chin : Interval
        The child's own sides.
    worded : bool
        Else the view, the sides and the zero line are named by whoever puts it on a page, and the head is larger.
    """
    paint_head(ax, tilt.value if tilt else 0.0, turn.value, chin.value, view)
    ax.set_ylim(*((-1.25, 3.3 if worded else 3.05) if view == "front" else (-2.75 if worded else -2.2, 1.6 if worded else 1.3)))
    ax.set_xlim(*((-2.75, 2.75) if worded else (-2.1, 2.1)))
    if worded:
        _name_view(ax, view)
    angle = tilt if view == "front" else turn
    if angle is not None:
        _dial(ax, view, angle, worded)


def _name_view(ax: Axes, view: View) -> None:
    """Say from where the head is seen, and which side is which."""
    top = ax.get_ylim()[1]
    put_text(ax, 0, top, {"front": "as you face the child", "above": "the same, from above"}[view], SMALL_PT, color=GREY)
    at = -0.75 if view == "front" else 0.95
    for x, side in ((-2.3, "right"), (2.3, "left")):
        put_text(ax, x, at, "child's", SMALL_PT, color=GREY)
        put_text(ax, x, at - 0.28, side, SMALL_PT, color=GREY)


def _dial(ax: Axes, view: View, angle: Interval, worded: bool) -> None:
    """The zero line dashed, the value solid, the arc between them, and the interval as a fan."""
    inner, outer = FAN[view]
    zero = _ray(view, 0.0)
    ax.plot(*np.outer([inner - 0.1, outer + 0.1], zero).T, color=INK, linewidth=1.1, linestyle=(0, (4, 3)), zorder=6)
    if view == "front":
        ax.plot([0, 0], [-0.25, inner - 0.1], color=INK, linewidth=0.7, linestyle=(0, (4, 3)), zorder=6, alpha=0.55)
    ends = sorted(_page_angle_deg(view, a) for a in (angle.low, angle.high))
    ax.add_patch(Wedge((0, 0), outer, *ends, width=outer - inner, facecolor=SKY, alpha=0.55, edgecolor="none", zorder=1.5))
    for end in (angle.low, angle.high):
        ax.plot(*np.outer([inner, outer], _ray(view, end)).T, color=BLUE, linewidth=0.8, zorder=1.6)
    ax.plot(*np.outer([inner - 0.1, outer + 0.12], _ray(view, angle.value)).T, color=BLUE, linewidth=3, zorder=6.1)
    ax.plot(*_arc(view, angle.value, (inner + outer) / 2).T, color=INK, linewidth=1.3, zorder=6.2)
    if not worded:
        return
    # The zero line's name goes to the side from which the head leans away.
    away = 1.0 if angle.value > 0 else -1.0
    y = zero[1] * (outer + 0.02)
    reach = max(0.0, *(away * outer * _ray(view, end)[0] for end in (angle.low, angle.high)))
    put_text(ax, away * (reach + 0.12), y, ZERO_WORDS[view], SMALL_PT, color=GREY, ha="left" if away > 0 else "right")


def _ray(view: View, angle_deg: float) -> np.ndarray:
    """Where the top of the head (front) or the nose (from above) points on the page at an angle, shape (2,)."""
    a = np.radians(angle_deg)
    return np.array([-np.sin(a), np.cos(a) if view == "front" else -np.cos(a)])


def _page_angle_deg(view: View, angle_deg: float) -> float:
    """The same as an angle on the page, counter-clockwise from its x axis."""
    x, y = _ray(view, angle_deg)
    return float(np.degrees(np.arctan2(y, x)))


def _arc(view: View, angle_deg: float, radius: float) -> np.ndarray:
    """Points from the zero line to the value, shape (n, 2)."""
    return np.array([radius * _ray(view, a) for a in np.linspace(0.0, angle_deg, 40)])


def _two_heads(summary: Summary, found: HabitualPosture) -> Figure:
    """Both postures side by side, with their shares of the steady time."""
    figure = new_figure(3.9)
    put_text(figure, 0.5, 0.955, "Two separate postures, no middle between them", HEAD_PT, weight="bold")
    for i, (posture, held) in enumerate(zip(summary.postures, found.postures, strict=True)):
        middle = 0.255 + 0.49 * i
        ax = blank_axes(figure, (0.02 + 0.49 * i, 0.27, 0.47, 0.64))
        chin = held.chin.interval
        paint_view(ax, "front", posture.tilt_deg, posture.turn_deg, Interval(value=chin.value, low=chin.low, high=chin.high))
        put_text(figure, middle, 0.225, f"{100 * posture.share:.0f} % of the steady time", HEAD_PT, weight="bold")
        said = f"Tilt {say_angle('tilt', posture.tilt_deg)}" if posture.tilt_deg else TILT_NOT_GIVEN
        put_text(figure, middle, 0.155, said)
        if posture.tilt_deg:
            put_text(figure, middle, 0.105, say_interval("tilt", posture.tilt_deg), SMALL_PT, color=GREY)
        put_text(figure, middle, 0.045, f"Face {say_angle('turn', posture.turn_deg)}")
    return figure


def _unsided(summary: Summary) -> Figure:
    """Sizes as bars: nothing in it leans to any side."""
    if summary.unsided is None:
        return _unsided_without(summary)
    found = summary.unsided
    rows = [("Tilt", found.tilt_size_deg), ("Turn", found.turn_size_deg)]
    figure = new_figure(2.3)
    ax = figure.add_axes((0.12, 0.24, 0.83, 0.56))
    put_text(figure, 0.5, 0.92, f"Size of tilt and turn: {SIDE_UNKNOWN}", HEAD_PT, weight="bold")
    paint_sizes(ax, rows)
    words = say_angle("chin", found.chin_deg)
    chin = words if words.startswith("chin") else f"chin {words}"
    put_text(figure, 0.5, 0.05, f"Also {chin} ({say_interval('chin', found.chin_deg)})", SMALL_PT, color=GREY)
    return figure


def paint_sizes(ax: Axes, rows: Sequence[tuple[str, Interval | None]]) -> None:
    """Paint a bar for each of two sizes, with its interval.

    Parameters
    ----------
    ax : Axes
    rows : sequence of tuple
        Name and size in degrees, without a side.
    """
    far = max([20.0, *(10 * np.ceil((size.high + 2) / 10) for _, size in rows if size)])
    for y, (name, size) in zip((1.0, 0.0), rows, strict=True):
        put_text(ax, -0.02 * far, y, name, HEAD_PT, ha="right", weight="bold")
        if size is None:
            put_text(ax, 0.01 * far, y, "not given: gravity is no zero in this position", ha="left")
            continue
        ax.add_patch(Polygon([(0, y - 0.2), (size.value, y - 0.2), (size.value, y + 0.2), (0, y + 0.2)], facecolor=BLUE))
        ax.plot([size.low, size.high], [y, y], color=INK, linewidth=1.6, marker="|", markersize=10, markeredgewidth=1.6)
        said = f"{round(size.value)} degrees (between {round(size.low)} and {round(size.high)})"
        put_text(ax, 0.005 * far, y + 0.36, said, BODY_PT, ha="left")
    ax.set_xlim(0, far)
    ax.set_ylim(-0.5, 1.6)
    ax.set_yticks([])
    ax.set_xticks(np.arange(0, far + 1, 10), [f"{v:.0f}" for v in np.arange(0, far + 1, 10)], fontsize=SMALL_PT)
    ax.tick_params(color=GREY)
    ax.grid(axis="x", color=PALE, linewidth=0.8)
    ax.set_axisbelow(True)
    for name in ("top", "right", "left"):
        ax.spines[name].set_visible(False)
    ax.set_xlabel("degrees", fontsize=SMALL_PT, color=GREY, loc="right")


def _unsided_without(summary: Summary) -> Figure:
    """Nothing that can be drawn without a side."""
    if any(check.name == "one posture" for check in summary.checks):
        return quiet_figure(
            [f"Two separate postures were held; {SIDE_UNKNOWN}.", "Settle whether the picture is mirrored to see them drawn."]
        )
    if summary.moment:
        chin = summary.moment.chin_deg
        words = say_angle("chin", chin)
        chin_words = words if words.startswith("chin") else f"chin {words}"
        return quiet_figure(
            [f"One moment, not a habit: {chin_words} ({say_interval('chin', chin)}).", f"Tilt and turn: {SIDE_UNKNOWN}."]
        )
    return quiet_figure(["No head posture could be measured, so no head is drawn."])
