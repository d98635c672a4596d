"""The map of tilt and turn: every steady spell a circle, as large as it was long."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PatchCollection
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from numpy.typing import NDArray

from posture.conventions import STRAIGHT_DEG
from posture.report.head import paint_head
from posture.report.style import (
    BLUE,
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
    tilt_given,
)
from posture.report.timeline import say_tick, ways
from posture.signal.habitual import HabitualPosture
from posture.signal.interval import Interval
from posture.summary.record import Summary

Array = NDArray[np.float64]

CORNER_TILT_DEG, CORNER_TURN_DEG = 16.0, 28.0
"""Posture of the small heads that say what a corner of the map means."""

LEAST_LIMIT_DEG, MOST_LIMIT_DEG = 20.0, 60.0
AREA_SHARE = 0.12
"""Share of the map that all circles together would fill without overlapping: enough to be seen, little enough to stay apart."""

LARGEST_RADIUS_SHARE = 0.12
"""Of half the map's width."""

CORNERS = ((1, 1), (1, -1), (-1, 1), (-1, -1))
"""Signs of tilt and turn."""


def draw_map(found: HabitualPosture, summary: Summary) -> Figure:
    """Draw where between tilt and turn the steady time was spent.

    Parameters
    ----------
    found : HabitualPosture
    summary : Summary
        Of the same clip. While it is not sided tilt and turn go to one side and the other, see `posture.report.timeline.ways`.

    Returns
    -------
    Figure
        Turn across with the child's right where one who faces the child sees it, tilt to the right shoulder at the top. Only
        words where there is no spell, or no tilt.
    """
    if not tilt_given(summary):
        return quiet_figure([f"No map. {TILT_NOT_GIVEN}"])
    if not found.spells:
        return quiet_figure(["No map: the head was never held steady long enough."])
    places, seconds = spell_places(found)
    figure = new_figure(4.5)
    title = "Where the steady time was spent" + ("" if summary.sided else f" ({SIDE_UNKNOWN})")
    put_text(figure, 0.5, 0.968, title, HEAD_PT, weight="bold")
    explained = "each circle is one steady spell, its area the seconds held; the cross is the middle"
    put_text(figure, 0.5, 0.925, explained, SMALL_PT, color=GREY)
    ax = figure.add_axes((0.28, 0.13, 0.50, 0.76))
    # As one faces the child, the child's right, which is positive, lies at the near edge of the page.
    across = -1.0 if summary.sided else 1.0
    way = float(ways(found, summary.sided)[0])
    places = places * way * np.array([1.0, across])
    limit = float(np.clip(5 * np.ceil((np.abs(places).max() + 4) / 5), LEAST_LIMIT_DEG, MOST_LIMIT_DEG))
    _ground(ax, limit, across, summary.sided)
    _circles(ax, places, seconds, limit)
    for posture in found.postures:
        _cross(ax, posture.tilt.interval, posture.turn.interval, way, across)
    if summary.sided:
        _corner_heads(figure)
    else:
        _corner_words(figure)
    return figure


def spell_places(found: HabitualPosture) -> tuple[Array, Array]:
    """Median tilt and turn (n, 2) in degrees, and the seconds (n,), of every spell."""
    angles = found.cleaned.angles_deg[:, :2]
    places = np.array([np.nanmedian(angles[spell.first : spell.last + 1], axis=0) for spell in found.spells])
    return places, np.array([spell.seconds for spell in found.spells])


def _ground(ax: Axes, limit: float, across: float, sided: bool) -> None:
    """Axes in words, the cross hair and the band in which a tilt counts as none."""
    ax.set_xlim(-limit, limit)
    ax.set_ylim(-limit, limit)
    ax.set_box_aspect(1)
    ax.axhspan(-STRAIGHT_DEG, STRAIGHT_DEG, color=PALE, linewidth=0, zorder=0)
    for line in (ax.axhline, ax.axvline):
        line(0, color=INK, linewidth=0.8, zorder=1)
    step = (10 if sided else 15) if limit <= 30 else 20 if sided else 30
    ticks = np.arange(-(limit // step) * step, limit + 1, step)
    ax.set_xticks(ticks, [say_tick("turn", across * x, sided) for x in ticks], fontsize=SMALL_PT, parse_math=False)
    ax.set_yticks(ticks, [say_tick("tilt", y, sided) for y in ticks], fontsize=SMALL_PT, parse_math=False)
    ax.tick_params(color=GREY)
    ax.set_xlabel("Turn", fontsize=HEAD_PT, weight="bold")
    ax.set_ylabel("Tilt", fontsize=HEAD_PT, weight="bold", labelpad=1)


def _circles(ax: Axes, places: Array, seconds: Array, limit: float) -> None:
    """One translucent circle a spell, the largest first, so that none is hidden; beyond the edge it stands on the edge."""
    up, along = np.clip(places, -limit, limit).T
    area = AREA_SHARE * (2 * limit) ** 2 * seconds / seconds.sum()
    # One factor for all, so that areas stay in proportion where few spells would fill the map.
    radius = np.sqrt(area / np.pi)
    radius *= min(1.0, LARGEST_RADIUS_SHARE * limit / radius.max())
    circles = [Circle((along[i], up[i]), radius[i]) for i in np.argsort(-radius)]
    ax.add_collection(PatchCollection(circles, facecolor=SKY, edgecolor=BLUE, linewidth=0.9, alpha=0.6, zorder=3))


def _cross(ax: Axes, tilt: Interval, turn: Interval, way: float, across: float) -> None:
    """The middle of a posture with its intervals."""
    style: dict[str, Any] = {"color": INK, "linewidth": 2.2, "zorder": 5, "markersize": 9, "markeredgewidth": 2.0}
    x, y = way * across, way
    ax.plot([x * turn.low, x * turn.high], [y * tilt.value] * 2, marker="|", **style)
    ax.plot([x * turn.value] * 2, [y * tilt.low, y * tilt.high], marker="_", **style)


def _corner_words(figure: Figure) -> None:
    """What each corner means where no side is known."""
    for tilt, turn in CORNERS:
        x, y = 0.90 if turn > 0 else 0.085, 0.70 if tilt > 0 else 0.30
        put_text(figure, x, y, "tilt and turn", SMALL_PT)
        put_text(figure, x, y - 0.04, "to the same side" if tilt == turn else "to opposite sides", SMALL_PT)


def _corner_heads(figure: Figure) -> None:
    """A small head beside each corner, with what it means in words."""
    for tilt, turn in CORNERS:
        x = 0.0 if turn > 0 else 0.80
        y = 0.62 if tilt > 0 else 0.22
        ax = blank_axes(figure, (x + 0.035, y, 0.13, 0.22))
        paint_head(ax, tilt * CORNER_TILT_DEG, turn * CORNER_TURN_DEG, 0.0, "front")
        ax.set_xlim(-1.9, 1.9)
        ax.set_ylim(-1.2, 2.6)
        shoulder, side = ("right" if sign > 0 else "left" for sign in (tilt, turn))
        put_text(figure, x + 0.10, y - 0.025, f"tilted to the {shoulder},", SMALL_PT)
        put_text(figure, x + 0.10, y - 0.065, f"face turned {side}", SMALL_PT)
