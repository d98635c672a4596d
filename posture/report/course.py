"""A tilt over years: each film and picture with its interval, right and left at the ends of the axis, and what was done when."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from posture.clinic.course_entry import Course, Entry
from posture.clinic.dates import DAYS_PER_MONTH, Event, When, say_age, when_of
from posture.conventions import STRAIGHT_DEG
from posture.report.style import (
    BLUE,
    GREY,
    HEAD_PT,
    INK,
    PALE,
    PAPER,
    SIDE_UNKNOWN,
    SMALL_PT,
    new_figure,
    put_text,
    quiet_figure,
)
from posture.summary.record import Interval

LEAST_LIMIT_DEG, MOST_LIMIT_DEG = 20.0, 60.0
"""A few degrees must not look like much; what is beyond is drawn at the edge with an arrow."""

MARGIN_SHARE = 0.16
"""Width of the margin for what has no date, of the time that is shown."""

MONTH_STEPS = (1, 2, 3, 6, 12, 24, 36, 60, 120)
MOST_TICKS = 9
MOST_EVENT_LETTERS = 34

LETTER_SHARE = 0.0103
"""Width of a letter of the small size, of the width of the axes."""

AXES_IN, FOOT_IN, HEAD_IN, ROW_IN = 2.75, 0.95, 0.45, 0.2
"""Heights: of the axes, of what is beneath, of the title, and of a row of words on events."""

MOST_ROWS = 4


def draw_course(course: Course, events: Sequence[Event] = ()) -> Figure:
    """Draw the tilt of films and pictures over the years.

    Parameters
    ----------
    course : Course
    events : sequence of Event
        A vertical line with its words each; one without a date that can be read is an error.

    Returns
    -------
    Figure
        Against age where the age of every dated item is known, else against the date. Films are filled, photographs hollow; what does
        not count is pale; what has no date stands in a margin; where no side is settled the size stands on neither side.

    Raises
    ------
    DateError
        If the date of an event cannot be read.
    """
    dated = [entry for entry in course.entries if entry.when and _shown(entry)]
    undated = [entry for entry in course.entries if not entry.when and _shown(entry)]
    if not dated and not undated:
        return quiet_figure(["No film or picture shows a tilt that could be drawn."])
    sided = any(entry.tilt for entry in course.entries)
    said = sorted(((w, say_event(e, w, sided)) for e in events if (w := when_of(e.on))), key=lambda pair: pair[0].middle)
    rows = min(MOST_ROWS, len(said))
    height_in = FOOT_IN + AXES_IN + ROW_IN * rows + HEAD_IN
    figure = new_figure(height_in)
    put_text(figure, 0.5, 1 - 0.17 / height_in, "Tilt over the years", HEAD_PT, weight="bold")
    ax = figure.add_axes((0.125, FOOT_IN / height_in, 0.85, AXES_IN / height_in))
    limit = _limit([i for entry in (*dated, *undated) if (i := entry.tilt or entry.size)])
    _frame(ax, limit, sided)
    first, last, margin = _time_axis(ax, dated, events, bool(undated))
    for entry in dated:
        if entry.when:
            _draw_entry(ax, entry, _months(entry.when.middle), limit)
    for k, entry in enumerate(undated):
        _draw_entry(ax, entry, last + margin * (k + 1) / (len(undated) + 1), limit)
    if undated:
        ax.axvline(last, color=GREY, linewidth=0.8, linestyle=(0, (1, 2)))
        put_text(ax, last + margin / 2, -0.93 * limit, "no date", SMALL_PT, color=GREY)
    _draw_events(ax, said, (first, last + margin), limit, rows)
    _key(figure, course, height_in)
    return figure


def _shown(entry: Entry) -> bool:
    """Whether there is anything to draw."""
    return entry.tilt is not None or entry.size is not None


def _limit(tilts: Sequence[Interval]) -> float:
    """The largest tilt that the axis shows, degrees."""
    far = max((max(abs(tilt.low), abs(tilt.high)) for tilt in tilts), default=0.0)
    return float(np.clip(5 * math.ceil((far + 1) / 5), LEAST_LIMIT_DEG, MOST_LIMIT_DEG))


def _frame(ax: Axes, limit: float, sided: bool) -> None:
    """Limits, the band of no tilt, and the sides in words at the ends of the axis."""
    ax.set_ylim(-limit, limit)
    step = 5 if limit <= 25 else 10
    ticks = np.arange(-step * (limit // step), limit + 1, step)
    ax.set_yticks(ticks, [f"{abs(tick):.0f}" for tick in ticks], fontsize=SMALL_PT, parse_math=False)
    ax.axhspan(-STRAIGHT_DEG, STRAIGHT_DEG, color=PALE, linewidth=0, zorder=0)
    ax.axhline(0, color=INK, linewidth=0.8, zorder=1)
    ax.grid(axis="y", color=PALE, linewidth=0.6, zorder=0)
    ends = ("to the child's right", "to the child's left") if sided else ("one side", "other side")
    for words, y, va in ((ends[0], 0.995, "top"), (ends[1], 0.005, "bottom")):
        put_text(ax, -0.118, y, words, SMALL_PT, transform=ax.transAxes, rotation=90, va=va, weight="bold")
    put_text(ax, -0.075, 0.5, "degrees of tilt", SMALL_PT, transform=ax.transAxes, rotation=90, color=GREY)
    for name in ("top", "right"):
        ax.spines[name].set_visible(False)
    ax.tick_params(color=GREY)


def _months(day: date) -> float:
    """A day as months, to draw by."""
    return day.toordinal() / DAYS_PER_MONTH


def _birth(dated: Sequence[Entry]) -> float | None:
    """Month of birth by the ages of all dated items; None where one has no age, or where they do not agree within a year."""
    born = [_months(e.when.middle) - e.age_months for e in dated if e.when and e.age_months is not None]
    if not born or len(born) < len(dated) or max(born) - min(born) > 12:
        return None
    # Dates known to the day say more than those that are only about.
    sharp = [b for b, e in zip(born, dated, strict=True) if e.when and e.when.precision == "day" and not e.when.about]
    return float(np.median(sharp or born))


def _time_axis(ax: Axes, dated: Sequence[Entry], events: Sequence[Event], has_margin: bool) -> tuple[float, float, float]:
    """Ticks by age or by date; first and last month of the axis, and the width of the margin beyond it."""
    whens = [when for event in events if (when := when_of(event.on))] + [e.when for e in dated if e.when]
    if not whens:
        ax.set_xlim(0, 1)
        ax.set_xticks([])
        return 0.0, 0.0, 1.0
    ends = [_months(d) for when in whens for d in (when.first, when.last)]
    span = max(max(ends) - min(ends), 3.0)
    first, last = min(ends) - 0.05 * span, max(ends) + 0.05 * span
    margin = MARGIN_SHARE * span if has_margin else 0.0
    ax.set_xlim(first, last + margin)
    born = _birth(dated)
    zero = born if born is not None else 12 * round(first / 12)
    step = next((s for s in MONTH_STEPS if (last - first) / s <= MOST_TICKS), MONTH_STEPS[-1])
    if born is None:
        _date_ticks(ax, first, last, step)
        ax.set_xlabel("date", fontsize=SMALL_PT, color=GREY)
    else:
        ages = np.arange(max(0, step * math.ceil((first - zero) / step)), last - zero + 1e-9, step)
        ax.set_xticks(zero + ages, [_short_age(int(age)) for age in ages], fontsize=SMALL_PT, parse_math=False)
        ax.set_xlabel("age", fontsize=SMALL_PT, color=GREY)
    return first, last, margin


def _date_ticks(ax: Axes, first: float, last: float, step: int) -> None:
    """Ticks at the first of a month, or of a year where the step is one or more."""
    start = date.fromordinal(int(first * DAYS_PER_MONTH))
    count = 12 * start.year + start.month - 1
    count = step * math.ceil(count / step)
    places, words = [], []
    while (at := _months(date(count // 12, count % 12 + 1, 1))) <= last:
        if at >= first:
            places.append(at)
            words.append(f"{count // 12}" if step >= 12 else f"{count // 12}-{count % 12 + 1:02d}")
        count += step
    ax.set_xticks(places, words, fontsize=SMALL_PT, parse_math=False)


def _short_age(months: int) -> str:
    """An age beneath a tick: "2 y", "2 y 3 m"."""
    years, rest = divmod(months, 12)
    return " ".join(f"{n} {unit}" for n, unit in ((years, "y"), (rest, "m")) if n) or "birth"


def _draw_entry(ax: Axes, entry: Entry, x: float, limit: float) -> None:
    """One item: a filled disc or a hollow square, with the intervals of tilt and of date."""
    colour = BLUE if entry.counts else GREY
    line = "-" if entry.counts else (0, (2, 2))
    tilt = entry.tilt or entry.size
    assert tilt is not None
    if entry.tilt is None:
        # Which side is not settled, so the size stands on both.
        for way in (1, -1):
            ax.plot([x, x], [way * tilt.low, way * min(tilt.high, limit)], color=GREY, linewidth=1.0, linestyle=line, zorder=3)
            ax.plot(x, way * min(tilt.value, limit), marker="o", markersize=6, color=PAPER, markeredgecolor=GREY, zorder=4)
            put_text(ax, x, way * min(tilt.value, limit), "?", 6.5, color=INK, zorder=5)
        return
    low, high, value = (float(np.clip(v, -limit, limit)) for v in (tilt.low, tilt.high, tilt.value))
    ax.plot([x, x], [low, high], color=colour, linewidth=1.5, linestyle=line, zorder=3, solid_capstyle="butt")
    ax.plot([x, x], [low, high], linestyle="none", marker="_", markersize=6, color=colour, zorder=3)
    if entry.when and (entry.when.last - entry.when.first).days > DAYS_PER_MONTH:
        ends = [_months(entry.when.first), _months(entry.when.last)]
        ax.plot(ends, [value, value], color=colour, linewidth=0.8, linestyle=(0, (1, 1.5)), zorder=2.5)
    is_film = entry.item.kind == "film"
    face = (INK if entry.counts else GREY) if is_film else PAPER
    if not entry.counts:
        face = PALE if is_film else PAPER
    edge = INK if entry.counts else GREY
    ax.plot(x, value, marker="o" if is_film else "s", markersize=7, markerfacecolor=face, markeredgecolor=edge, zorder=4)
    if entry.unlike:
        ax.plot(
            x, value, marker="o", markersize=12.5, markerfacecolor="none", markeredgecolor=INK, markeredgewidth=0.9, zorder=4
        )
    if value != tilt.value:
        put_text(ax, x, value, "^" if value > 0 else "v", SMALL_PT, zorder=5)


def _draw_events(ax: Axes, said: Sequence[tuple[When, str]], span: tuple[float, float], limit: float, n_rows: int) -> None:
    """A line for each event with its words above the axes; words that would meet stand in another row."""
    ends = [-math.inf] * n_rows
    row_deg = 2 * limit * ROW_IN / AXES_IN
    for when, words in said:
        x = _months(when.middle)
        width = (span[1] - span[0]) * LETTER_SHARE * len(words)
        left = min(max(x - width / 2, span[0]), span[1] - width)
        row = next((k for k, end in enumerate(ends) if left > end), int(np.argmin(ends)))
        ends[row] = left + width
        y = limit + (row + 0.6) * row_deg
        ax.plot([x, x], [-limit, y], color=INK, linewidth=1.1, linestyle=(0, (5, 3)), zorder=2, clip_on=False)
        box = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0}
        put_text(ax, left + width / 2, y, words, SMALL_PT, clip_on=False, bbox=box, zorder=6)


def say_event(event: Event, when: When, sided: bool = True) -> str:
    """An event in words that fit: what was written, and the date; only its kind while no side may be named."""
    words = " ".join("".join(c if c.isprintable() else " " for c in event.words).split()) if sided else ""
    words = words or event.kind
    if len(words) > MOST_EVENT_LETTERS:
        words = f"{words[:MOST_EVENT_LETTERS]}..."
    return f"{words}, {when.say()}"


def _key(figure: Figure, course: Course, height_in: float) -> None:
    """What the marks mean, only those that occur; and the words of the course."""
    style: dict[str, Any] = {"linestyle": "none", "markersize": 6, "markeredgecolor": INK}
    shown = [e for e in course.entries if _shown(e)]
    marks = [
        (any(e.counts and e.item.kind == "film" for e in shown), "film", "o", INK, INK),
        (any(e.counts and e.item.kind == "photograph" for e in shown), "photograph", "s", PAPER, INK),
        (any(not e.counts and e.tilt for e in shown), "does not count", "o", PALE, GREY),
        (any(e.tilt is None for e in shown), f"? {SIDE_UNKNOWN}, shown to both", "o", PAPER, GREY),
    ]
    handles = [
        Line2D([], [], marker=mark, label=label, markerfacecolor=face, **(style | {"markeredgecolor": edge}))
        for is_there, label, mark, face, edge in marks
        if is_there
    ]
    if any(e.unlike for e in shown):
        handles.append(
            Line2D([], [], marker="o", label="other conditions", markerfacecolor="none", **(style | {"markersize": 11}))
        )
    place: dict[str, Any] = {
        "loc": "lower center",
        "bbox_to_anchor": (0.5, 0.22 / height_in),
        "ncols": len(handles),
        "frameon": False,
    }
    figure.legend(handles=handles, fontsize=SMALL_PT, handletextpad=0.2, columnspacing=1.6, **place)
    put_text(figure, 0.5, 0.13 / height_in, _foot(course), SMALL_PT, color=GREY)


def _foot(course: Course) -> str:
    """How to read the bars, and from what age the tilt was seen."""
    since = course.since
    words = "bars: 95 % interval    grey band: under 5 degrees    dotted: date uncertain"
    if since and since.age_months is not None:
        words += f"    first clear tilt: age {say_age(since.age_months)}"
    return words
