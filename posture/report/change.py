"""Before and after beside each other: two heads, both tilts on one axis with their intervals, and whether the change is real."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from posture.clinic.change import Change
from posture.clinic.change_words import say_moved
from posture.clinic.dates import Event, when_if_clear, when_of
from posture.conventions import STRAIGHT_DEG
from posture.report.course import say_event
from posture.report.head import paint_head
from posture.report.style import (
    BODY_PT,
    GREY,
    HEAD_PT,
    INK,
    PALE,
    PAPER,
    SIDE_UNKNOWN,
    SMALL_PT,
    blank_axes,
    new_figure,
    put_text,
    quiet_figure,
)
from posture.summary.record import Interval, Summary
from posture.summary.words import say_angle, say_interval, say_size

LEAST_LIMIT_DEG = 20.0
HEADS_IN, BARS_IN, LINE_IN = 4.85, 2.4, 0.19
"""Heights: with heads, of bars alone, and of a line above them."""

LONG_LETTERS = 88
"""Letters of a bold line that fit across the page."""

ROWS = {"before": 1.0, "after": 0.0}

REAL_WORDS = {
    True: "A real change: more than measurement and natural variation make by chance",
    False: "Not shown to be a real change: chance can make as much",
    None: "No verdict on the change",
}


def draw_change(before: Summary, after: Summary, change: Change, events: Sequence[Event] = ()) -> Figure:
    """Draw the tilt before and after.

    Parameters
    ----------
    before, after : Summary
        The two that were compared, `Change.used`.
    change : Change
        From `posture.clinic.change.compare`.
    events : sequence of Event
        Those that lie between the two, or may, are named.

    Returns
    -------
    Figure
        Heads and bars; bars of sizes alone while no side may be named; only words where no tilt is compared.

    Raises
    ------
    DateError
        If the date of an event cannot be read.
    """
    first, second = change.tilt_deg.before, change.tilt_deg.after
    if first is None or second is None:
        return quiet_figure(["No tilt is compared.", *_wrapped("; ".join(change.why))])
    lines = _between(before, after, events, change.sided)
    base_in = HEADS_IN if change.sided else BARS_IN
    # What was done between them stands above, so that the rest keeps its size.
    height_in = base_in + LINE_IN * len(lines)
    share = base_in / height_in
    figure = new_figure(height_in)
    put_text(figure, 0.5, 1 - 0.15 / height_in, "Before and after", HEAD_PT, weight="bold")
    for k, words in enumerate(lines):
        put_text(figure, 0.5, 1 - (0.36 + LINE_IN * k) / height_in, f"between them: {words}", SMALL_PT)
    if change.sided:
        for x, name, summary, tilt in ((0.26, "before", before, first), (0.74, "after", after, second)):
            _head(figure, (x, share), name, summary, tilt, change)
        put_text(figure, 0.5, 0.66 * share, "\N{RIGHTWARDS ARROW}", 20)
    bottom, height = (0.155, 0.205) if change.sided else (0.31, 0.38)
    _bars(figure.add_axes((0.12, bottom * share, 0.76, height * share)), first, second, change)
    _verdict(figure, change, share)
    return figure


def _wrapped(text: str) -> list[str]:
    """A text in one line, where there is one."""
    return [text[0].upper() + text[1:]] if text else []


def _head(figure: Figure, at: tuple[float, float], name: str, summary: Summary, tilt: Interval, change: Change) -> None:
    """A head with its plumb line, and the tilt in words beneath."""
    x, share = at
    ax = blank_axes(figure, (x - 0.2, 0.525 * share, 0.40, 0.365 * share))
    turn, chin = (getattr(angle, name) for angle in (change.turn_deg, change.chin_deg))
    paint_head(ax, tilt.value, turn.value if turn else 0.0, chin.value if chin else 0.0, "front")
    ax.set_xlim(-2.9, 2.9)
    ax.set_ylim(-1.2, 2.95)
    ax.plot([0, 0], [-0.25, 2.85], color=INK, linewidth=1.0, linestyle=(0, (4, 3)), zorder=6)
    for place, side in ((-2.3, "right"), (2.3, "left")):
        put_text(ax, place, -0.6, "child's", SMALL_PT, color=GREY)
        put_text(ax, place, -0.95, side, SMALL_PT, color=GREY)
    when = when_if_clear(summary.conditions.filmed_on)
    put_text(figure, x, 0.905 * share, f"{name.capitalize()}{f', {when.say()}' if when else ''}", BODY_PT, weight="bold")
    put_text(figure, x, 0.49 * share, f"Tilt {say_angle('tilt', tilt)}", SMALL_PT, weight="bold")
    put_text(figure, x, 0.452 * share, say_interval("tilt", tilt), SMALL_PT)


def _between(before: Summary, after: Summary, events: Sequence[Event], sided: bool) -> list[str]:
    """Events that lie between the two, or may, in words."""
    start, end = (when_if_clear(s.conditions.filmed_on) for s in (before, after))
    dated = sorted(((e, when) for e in events if (when := when_of(e.on))), key=lambda pair: pair[1].middle)
    return [
        say_event(event, when, sided)
        for event, when in dated
        if not (start and when.is_before(start)) and not (end and end.is_before(when))
    ]


def _bars(ax: Axes, first: Interval, second: Interval, change: Change) -> None:
    """Both tilts with their intervals on one axis, as one who faces the child sees the sides."""
    way = -1.0 if change.sided else 1.0
    far = max(abs(v) for tilt in (first, second) for v in (tilt.low, tilt.high))
    limit = max(LEAST_LIMIT_DEG, 5 * math.ceil((far + 1) / 5))
    for bound in (STRAIGHT_DEG, 10.0):
        for side in (-1, 1):
            ax.axvline(side * bound, color=GREY, linewidth=0.6, linestyle=(0, (1, 2)), zorder=1)
    ax.axvspan(-STRAIGHT_DEG, STRAIGHT_DEG, color=PALE, linewidth=0, zorder=0)
    ax.axvline(0, color=INK, linewidth=0.8, zorder=1)
    for name, tilt in (("before", first), ("after", second)):
        y = ROWS[name]
        ax.plot([way * tilt.low, way * tilt.high], [y, y], color=INK, linewidth=1.6, marker="|", markersize=9, zorder=3)
        face = PAPER if name == "before" else INK
        ax.plot(way * tilt.value, y, marker="o", markersize=8, markerfacecolor=face, markeredgecolor=INK, zorder=4)
        put_text(ax, -0.02, y, name, BODY_PT, transform=ax.get_yaxis_transform(), ha="right", weight="bold")
    arrow = {"arrowstyle": "-|>", "color": INK, "linewidth": 1.0, "shrinkA": 6, "shrinkB": 6}
    ax.annotate("", (way * second.value, 0.0), (way * first.value, 1.0), arrowprops=arrow, zorder=2)
    step = 5 if limit <= 30 else 10
    most = step * (limit // step)
    ticks = np.arange(-most if change.sided else 0, most + 1, step)
    ax.set_xlim(-limit if change.sided else 0, limit)
    ax.set_ylim(-0.5, 1.5)
    ax.set_yticks([])
    ax.set_xticks(ticks, [f"{abs(tick):.0f}" for tick in ticks], fontsize=SMALL_PT, parse_math=False)
    ax.tick_params(color=GREY)
    for name in ("top", "right", "left"):
        ax.spines[name].set_visible(False)
    ends = ((0.0, "left", "child's right"), (1.0, "right", "child's left")) if change.sided else ()
    for x, ha, words in ends:
        put_text(ax, x, 1.09, words, SMALL_PT, transform=ax.transAxes, ha=ha, weight="bold")
    said = "degrees of tilt (grey band: under 5)" if change.sided else f"size of the tilt in degrees; {SIDE_UNKNOWN}"
    put_text(ax, 0.5, 1.09, said, SMALL_PT, transform=ax.transAxes, color=GREY)


def _verdict(figure: Figure, change: Change, share: float) -> None:
    """The change with its interval, and whether it is real."""
    tilt = change.tilt_deg
    if tilt.change is not None and tilt.low is not None and tilt.high is not None:
        by = Interval(value=tilt.change, low=tilt.low, high=tilt.high)
        words = f"Change: {say_moved('tilt', tilt.change)} ({say_interval('tilt', by)})"
    elif tilt.before and tilt.after:
        words = f"Size before {say_size(tilt.before)}, after {say_size(tilt.after)}"
    else:
        words = ""
    put_text(figure, 0.5, (0.076 if change.sided else 0.14) * share, words)
    why = f": {'; '.join(change.why)}" if change.why else ""
    said = f"{REAL_WORDS[tilt.real]}{why}."
    size = BODY_PT if len(said) <= LONG_LETTERS else SMALL_PT
    lines = textwrap.wrap(said, LONG_LETTERS)
    y = (0.029 if change.sided else 0.05) * share
    put_text(figure, 0.5, y, "\n".join(lines), size if len(lines) == 1 else SMALL_PT, weight="bold")
