"""The explorations of a clip, drawn and in words. They are no part of the hint, and say nothing of a cause."""

from __future__ import annotations

import textwrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from posture.report.style import (
    BLUE,
    GREY,
    HEAD_PT,
    INK,
    PALE,
    SIDE_UNKNOWN,
    SKY,
    SMALL_PT,
    new_figure,
    put_text,
    quiet_figure,
)
from posture.report.timeline import say_tick, ways
from posture.signal.explore import Explorations
from posture.signal.explore_return import LATE_SHARE, LetGo, after_release
from posture.signal.explore_trunk import TrunkSlope
from posture.signal.interval import Interval
from posture.summary import record
from posture.summary.words import say_angle

Array = NDArray[np.float64]

LABEL = "Explorations, not part of the hint"
NOTHING = "There is nothing to explore: a single picture, or a head that was never steady."
NOT_SET = "The head was never marked as set straight by an examiner."
LIMITS = "No published figures exist for either; both were tried on simulated films only."
LEAST_SPAN_DEG = 10.0
"""A few degrees must not fill a figure."""

LETTERS, LETTERS_NARROW = 118, 54


def say_explorations(found: Explorations | None, sided: bool) -> list[str]:
    """The explorations in sentences.

    Parameters
    ----------
    found : Explorations or None
    sided : bool
        Else no side is named.

    Returns
    -------
    list of str
        What was found, or why nothing.
    """
    if found is None:
        return [NOTHING]
    said = [say_slope(found.trunk)]
    said += say_let_go(found.let_go, sided) if found.let_go else [NOT_SET]
    return said


def say_slope(trunk: TrunkSlope) -> str:
    """How head and trunk go together, in a sentence; it needs no side."""
    if trunk.slope is None:
        return trunk.refused or ""
    slope = trunk.slope
    goes = {
        "gravity": "the head is kept to gravity while the trunk leans",
        "body": "the head goes with the trunk as it leans",
        None: "whether the head is kept to gravity or goes with the trunk cannot be told",
    }[trunk.goes_with]
    figures = f"{slope.value:.1f} degrees of tilt for each degree of lean, between {slope.low:.1f} and {slope.high:.1f}"
    return f"In play {goes} ({figures}; 0 would be gravity, 1 the body; {len(trunk.lean_deg)} spells)."


def say_let_go(let_go: LetGo, sided: bool) -> list[str]:
    """What the head did when it was let go, in sentences."""
    if let_go.end is None:
        return [let_go.refused or ""]
    releases = f"{len(let_go.returns)} releases"
    said = [f"Set straight and let go, the head came to {say_end(let_go.end, sided)} (mean of {releases})."]
    if let_go.half is not None:
        half = let_go.half
        said.append(f"Half of the way took {half.value:.1f} s, between {half.low:.1f} and {half.high:.1f}.")
    else:
        said.append(let_go.half_refused or "")
    return said


def say_end(end: Interval, sided: bool) -> str:
    """A tilt with its interval: to a side in words, or only its size."""
    if sided:
        first, last = (say_tick("tilt", round(v)) for v in (end.low, end.high))
        return f"{say_angle('tilt', record.Interval(**vars(end)))}, between {first} and {last}"
    ends = sorted((abs(end.low), abs(end.high)))
    low = 0.0 if end.low <= 0 <= end.high else ends[0]
    return f"a tilt of {abs(end.value):.0f} degrees, between {low:.0f} and {ends[1]:.0f}, {SIDE_UNKNOWN}"


def draw_explorations(found: Explorations | None, sided: bool) -> Figure:
    """Draw both explorations beside each other.

    Parameters
    ----------
    found : Explorations or None
    sided : bool
        Else the sides are one and the other, see `posture.report.timeline.ways`.

    Returns
    -------
    Figure
        Only words where there is nothing to explore.
    """
    if found is None:
        return quiet_figure([NOTHING, LABEL])
    said = textwrap.wrap(f"{' '.join(say_explorations(found, sided))} {LIMITS}", LETTERS)
    height = 3.9 + 0.17 * len(said)
    figure = new_figure(height)
    put_text(figure, 0.5, 1 - 0.16 / height, LABEL, HEAD_PT, weight="bold")
    for k, line in enumerate(reversed(said)):
        put_text(figure, 0.5, (0.14 + 0.17 * k) / height, line, SMALL_PT, color=GREY)
    low, top = (0.75 + 0.17 * len(said)) / height, 1 - 0.75 / height
    way = float(ways(found.found, sided)[0])
    _draw_slope(figure.add_axes((0.11, low, 0.36, top - low)), found.trunk, way, sided)
    _draw_releases(figure.add_axes((0.62, low, 0.36, top - low)), found, way, sided)
    return figure


def _draw_slope(ax: Axes, trunk: TrunkSlope, way: float, sided: bool) -> None:
    """A point for each spell, and the two lines between which the slope lies."""
    _quiet(ax, "Tilt as the trunk leans, a point for each steady spell")
    if len(trunk.lean_deg) < 2:
        put_text(ax, 0.5, 0.5, "Shoulders not seen", SMALL_PT, transform=ax.transAxes, color=GREY)
        ax.set_xticks([])
        ax.set_yticks([])
        return
    lean, tilt = way * trunk.lean_deg, way * trunk.tilt_deg
    x, y = float(lean.mean()), float(tilt.mean())
    reach = max(float(np.abs(lean - x).max()), float(np.abs(tilt - y).max()), LEAST_SPAN_DEG / 2) * 1.15
    across = np.array([-reach, reach])
    # Both axes span the same degrees, so that going with the body is the diagonal.
    ax.plot(x + across, [y, y], color=GREY, linewidth=0.9, linestyle=(0, (4, 3)), zorder=1)
    ax.plot(x + across, y + across, color=GREY, linewidth=0.9, linestyle=(0, (1, 2)), zorder=1)
    put_text(ax, x + reach * 0.98, y, "gravity", SMALL_PT, ha="right", va="bottom", color=GREY)
    put_text(ax, x + reach * 0.7, y + reach * 0.74, "body", SMALL_PT, ha="right", va="bottom", color=GREY)
    if trunk.slope is not None:
        slope = trunk.slope
        ax.fill_between(
            x + across, y + across * slope.low, y + across * slope.high, color=SKY, alpha=0.25, linewidth=0, zorder=0
        )
        ax.plot(x + across, y + across * slope.value, color=BLUE, linewidth=1.6, zorder=2)
    ax.plot(lean, tilt, "o", color=BLUE, markersize=4.5, zorder=3)
    ax.set_xlim(x - reach, x + reach)
    ax.set_ylim(y - reach, y + reach)
    for axis in (ax.xaxis, ax.yaxis):
        low, high = axis.get_view_interval()
        ticks = _ticks(low, high)
        axis.set_ticks(ticks, [say_tick("tilt", t, sided) for t in ticks])
    ax.set_xlabel(f"lean of the shoulder line, degrees{'' if sided else f' ({SIDE_UNKNOWN})'}", fontsize=SMALL_PT, color=GREY)
    ax.set_ylabel("tilt, degrees", fontsize=SMALL_PT, color=GREY)


def _draw_releases(ax: Axes, found: Explorations, way: float, sided: bool) -> None:
    """Every return on one axis of time since the release."""
    _quiet(ax, "Set straight and let go")
    let_go = found.let_go
    if let_go is None or not let_go.returns:
        lines = textwrap.wrap(NOT_SET if let_go is None else let_go.refused or "", LETTERS_NARROW)
        for k, line in enumerate(lines):
            put_text(ax, 0.5, 0.5 - 0.09 * (k - (len(lines) - 1) / 2), line, SMALL_PT, transform=ax.transAxes, color=GREY)
        ax.set_xticks([])
        ax.set_yticks([])
        return
    tilts = []
    for one in let_go.returns:
        since, tilt = after_release(found.found.cleaned, one)
        ax.plot(since, way * tilt, color=GREY, linewidth=0.7, zorder=2)
        tilts.append(tilt)
        if one.half_s is not None:
            ax.plot(one.half_s, way * (one.set_deg + one.end_deg) / 2, "o", color=BLUE, markersize=4.5, zorder=4)
        late_s = one.watched_s * LATE_SHARE
        ax.plot([one.watched_s - late_s, one.watched_s], [way * one.end_deg] * 2, color=BLUE, linewidth=1.8, zorder=3)
    if let_go.end is not None:
        ends = way * let_go.end.low, way * let_go.end.high
        ax.axhspan(min(ends), max(ends), color=SKY, alpha=0.25, linewidth=0, zorder=0)
    ax.axvline(0.0, color=INK, linewidth=0.8)
    ax.axhspan(-0.15, 0.15, color=PALE, linewidth=0, zorder=0)
    every = way * np.concatenate(tilts)
    middle = float(np.nanmin(every) + np.nanmax(every)) / 2
    reach = max(float(np.nanmax(every) - np.nanmin(every)) * 0.6, LEAST_SPAN_DEG / 2)
    ax.set_ylim(middle - reach, middle + reach)
    ticks = _ticks(middle - reach, middle + reach)
    ax.set_yticks(ticks, [say_tick("tilt", t, sided) for t in ticks])
    ax.set_xlabel("seconds since it was let go; points: half way", fontsize=SMALL_PT, color=GREY)


def _quiet(ax: Axes, title: str) -> None:
    """Axes with little ink."""
    put_text(ax, 0.5, 1.07, title, SMALL_PT, transform=ax.transAxes, weight="bold")
    ax.tick_params(labelsize=SMALL_PT, color=GREY)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)


def _ticks(low: float, high: float) -> Array:
    """A few whole degrees."""
    step = next(s for s in (5, 10, 20, 50) if (high - low) / s <= 6 or s == 50)
    return np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step + 0.0
