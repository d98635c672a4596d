"""How the child held the head over time: three angles under one another, in words instead of signs."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

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
    TILT_NOT_GIVEN,
    new_figure,
    put_text,
    quiet_figure,
    tilt_given,
)
from posture.signal.habitual import HabitualPosture
from posture.signal.steady import steady_mask
from posture.summary.record import Summary

Array = NDArray[np.float64]

ANGLES = ("tilt", "turn", "chin")
ENDS = {"tilt": ("left", "right"), "turn": ("left", "right"), "chin": ("down", "up")}
ENDS_UNSIDED = ("other side", "one side")
HEIGHTS = (2.0, 1.35, 1.35)
"""Tilt is what is looked for, so its panel is the largest."""

LEAST_LIMIT_DEG, MOST_LIMIT_DEG = 20.0, 60.0
"""A quiet child's few degrees must not look like much, and a single look to the side must not flatten the rest."""

LONG_STEP_S = 1.0
"""The line breaks where nothing was seen for longer."""

TIME_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1200, 1800, 3600)
MOST_TIME_TICKS = 9


def draw_timeline(found: HabitualPosture, summary: Summary) -> Figure:
    """Draw tilt, turn and chin over time, the steady spells thick.

    Parameters
    ----------
    found : HabitualPosture
    summary : Summary
        Of the same clip. While it is not sided tilt and turn go to one side and the other, see `ways`.

    Returns
    -------
    Figure
        Only words for a photograph or where no face was seen twice.
    """
    if np.isfinite(found.cleaned.angles_deg[:, 0]).sum() < 2:
        return quiet_figure(["There is no course of time to draw: a single picture, or no face."])
    figure = new_figure(5.0)
    time_s, angles, steady = _broken(found)
    way = ways(found, summary.sided)
    angles = angles * way
    put_text(figure, 0.5, 0.972, "How the head was held over time", HEAD_PT, weight="bold")
    key = "thick: held steady    thin: on the move    gap: no face seen    dashed: the middle    grey band: under 5 degrees"
    put_text(figure, 0.5, 0.932, key, SMALL_PT, color=GREY)
    panels = figure.subplots(
        3, 1, sharex=True, gridspec_kw={"height_ratios": HEIGHTS, "left": 0.17, "right": 0.985, "top": 0.905, "bottom": 0.085}
    )
    for k, (ax, name) in enumerate(zip(panels, ANGLES, strict=True)):
        _frame(ax, name, angles[:, k], summary.sided)
        if name == "tilt" and not tilt_given(summary):
            put_text(ax, 0.5, 0.5, TILT_NOT_GIVEN, transform=ax.transAxes)
            continue
        _curve(ax, time_s, angles[:, k], steady)
        for middle in _middles(found, name):
            ax.axhline(way[k] * middle, color=INK, linewidth=1.5, linestyle=(0, (6, 3)), zorder=4)
    _time_axis(panels[-1], found.cleaned.time_s)
    return figure


def ways(found: HabitualPosture, sided: bool) -> Array:
    """Factors of 1 or -1 for tilt, turn and chin, shape (3,), with which a reading without sides is drawn.

    Tilt and turn are taken together, so that the steady time comes to lie on "one side", whichever that is: a clip and its
    mirror image give the same picture, and nothing in it tells right from left.

    Parameters
    ----------
    found : HabitualPosture
    sided : bool
        Then all are 1.
    """
    if sided:
        return np.ones(3)
    angles = found.cleaned.angles_deg[:, 0]
    held = sum(spell.seconds * float(np.nanmedian(angles[spell.first : spell.last + 1])) for spell in found.spells)
    total = held if found.spells else float(np.nansum(angles))
    return np.array([-1.0, -1.0, 1.0]) if total < 0 else np.ones(3)


def _broken(found: HabitualPosture) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Times, angles and steadiness, with an empty frame put into every long step so that the line breaks there."""
    time_s, angles = found.cleaned.time_s, found.cleaned.angles_deg
    steady = steady_mask(len(time_s), list(found.spells))
    at = np.flatnonzero(np.diff(time_s) > LONG_STEP_S) + 1
    return np.insert(time_s, at, time_s[at] - 1e-3), np.insert(angles, at, np.nan, axis=0), np.insert(steady, at, False)


def _curve(ax: Axes, time_s: Array, angle_deg: Array, steady: NDArray[np.bool_]) -> None:
    """The thin line, and thick over it where the head was held."""
    ax.plot(time_s, angle_deg, color=GREY, linewidth=0.6, zorder=2)
    ax.plot(time_s, np.where(steady, angle_deg, np.nan), color=BLUE, linewidth=2.4, solid_capstyle="round", zorder=3)


def _middles(found: HabitualPosture, name: str) -> list[float]:
    """The median of each posture."""
    return [getattr(posture, name).interval.value for posture in found.postures]


def _frame(ax: Axes, name: str, angle_deg: Array, sided: bool) -> None:
    """Limits, the band round zero, and ticks in words."""
    top = float(np.nanquantile(np.abs(angle_deg), 0.995))
    limit = float(np.clip(5 * np.ceil((top + 1) / 5), LEAST_LIMIT_DEG, MOST_LIMIT_DEG))
    step = 10 if limit <= (30 if name == "tilt" else 20) else 20
    ticks = np.arange(-step * (limit // step), limit + 1, step)
    ax.set_ylim(-limit, limit)
    ax.set_yticks(ticks, [say_tick(name, tick, sided) for tick in ticks], fontsize=SMALL_PT, parse_math=False)
    ax.axhspan(-STRAIGHT_DEG, STRAIGHT_DEG, color=PALE, linewidth=0, zorder=0)
    ax.axhline(0, color=INK, linewidth=0.7, zorder=1)
    label = f"{name[0].upper()}{name[1:]}"
    ax.set_ylabel(label, fontsize=HEAD_PT, weight="bold", color=INK)
    ax.yaxis.set_label_coords(-0.175, 0.5)
    if not sided and name != "chin":
        box = {"facecolor": PAPER, "edgecolor": "none", "alpha": 0.85, "pad": 1.5}
        said = f"degrees, {SIDE_UNKNOWN}"
        put_text(
            ax, 0.995, 0.04, said, SMALL_PT, transform=ax.transAxes, ha="right", va="bottom", color=GREY, bbox=box, zorder=6
        )
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.tick_params(color=GREY)


def say_tick(name: str, value_deg: float, sided: bool = True) -> str:
    """A tick of an axis in words: "20 left", "0", "10 up".

    Parameters
    ----------
    name : {"tilt", "turn", "chin"}
    value_deg : float
    sided : bool
        Else tilt and turn go to "one side" or the "other side", after `ways`.
    """
    if value_deg == 0:
        return "0"
    ends = ENDS[name] if sided or name == "chin" else ENDS_UNSIDED
    return f"{abs(value_deg):.0f} {ends[int(value_deg > 0)]}"


def _time_axis(ax: Axes, time_s: Array) -> None:
    """Minutes and seconds."""
    first, last = float(time_s[0]), float(time_s[-1])
    step = next((s for s in TIME_STEPS_S if (last - first) / s <= MOST_TIME_TICKS), TIME_STEPS_S[-1])
    ticks = np.arange(step * np.ceil(first / step), last + 1e-9, step)
    ax.set_xticks(ticks, [f"{int(t) // 60}:{int(t) % 60:02d}" for t in ticks], fontsize=SMALL_PT)
    ax.set_xlim(first, last)
    ax.set_xlabel("minutes : seconds of the clip", fontsize=SMALL_PT, color=GREY)
