"""A picture for the parents: how the head was held, in plain words; the measurement only, and nothing of a cause."""

from __future__ import annotations

import textwrap

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from posture.conventions import STRAIGHT_DEG
from posture.report.head import paint_head
from posture.report.style import BLUE, GREY, INK, blank_axes, new_figure, put_text
from posture.summary.record import Interval, Summary

SIZE_IN = (5.2, 5.6)
TITLE_PT, WORDS_PT, NOTE_PT = 17.0, 12.0, 9.0
LETTERS = 48
"""In a line of the words."""

NOTE = "A measurement from the film. Your clinic explains what it means."


def draw_parent(summary: Summary) -> Figure:
    """Draw the head as it was held, with a sentence that anyone understands.

    Parameters
    ----------
    summary : Summary

    Returns
    -------
    Figure
        The head from the front; both heads of two postures; a scale without a side while none is known; only words where there is
        nothing to draw. No cause, no muscle, no eye stands in it.
    """
    figure = new_figure(SIZE_IN[1], SIZE_IN[0])
    put_text(figure, 0.5, 0.95, "How the head was held", TITLE_PT, weight="bold")
    poses = _poses(summary)
    for i, (tilt, turn, chin) in enumerate(poses):
        ax = blank_axes(figure, (0.04 + i * 0.92 / len(poses), 0.3, 0.92 / len(poses), 0.6))
        _paint(ax, tilt, turn, chin)
    is_drawn = bool(poses or (summary.unsided and summary.unsided.tilt_size_deg))
    if not poses and summary.unsided and summary.unsided.tilt_size_deg:
        _paint_scale(figure, summary.unsided.tilt_size_deg)
    lines = [line for sentence in parent_words(summary) for line in textwrap.wrap(sentence, LETTERS)]
    for i, line in enumerate(lines):
        put_text(figure, 0.5, (0.285 if is_drawn else 0.6) - 0.043 * i, line, WORDS_PT)
    put_text(figure, 0.5, 0.025, NOTE, NOTE_PT, color=GREY)
    return figure


def parent_words(summary: Summary) -> list[str]:
    """What was measured, in one or two plain sentences.

    Parameters
    ----------
    summary : Summary
    """
    if summary.habitual and summary.habitual.tilt_deg:
        return [f"In this film your child mostly {_held(summary.habitual.tilt_deg)}."]
    if summary.habitual:
        return ["In this film the child was lying or held, so a tilt cannot be given."]
    if summary.unsided and summary.unsided.tilt_size_deg:
        size = summary.unsided.tilt_size_deg
        if size.value < STRAIGHT_DEG:
            return ["In this film your child mostly held the head upright."]
        return [f"In this film your child mostly held the head tilted by about {round(size.value)} degrees."]
    tilts = [posture.tilt_deg for posture in summary.postures if posture.tilt_deg]
    if tilts:
        return [
            "In this film your child held the head in two ways:",
            *(f"Sometimes your child {_held(tilt)}." for tilt in tilts),
        ]
    if summary.moment and summary.moment.tilt_deg:
        return [f"In this one moment your child {_held(summary.moment.tilt_deg)}.", "One moment does not show a habit."]
    return ["This film does not show enough to say how the head is held."]


def _held(tilt: Interval) -> str:
    """A tilt as part of a sentence."""
    if abs(tilt.value) < STRAIGHT_DEG:
        return "held the head upright"
    return f"tilted the head by about {round(abs(tilt.value))} degrees towards the {'right' if tilt.value > 0 else 'left'} shoulder"


def _poses(summary: Summary) -> list[tuple[float, float, float]]:
    """Tilt, turn and chin of every head to draw."""
    if not summary.sided:
        return []
    if summary.habitual:
        held = summary.habitual
        return [(held.tilt_deg.value, held.turn_deg.value, held.chin_deg.value)] if held.tilt_deg else []
    if summary.postures:
        return [(posture.tilt_deg.value, posture.turn_deg.value, 0.0) for posture in summary.postures if posture.tilt_deg]
    moment = summary.moment
    if moment and moment.tilt_deg and moment.turn_deg:
        return [(moment.tilt_deg.value, moment.turn_deg.value, moment.chin_deg.value)]
    return []


def _paint(ax: Axes, tilt: float, turn: float, chin: float) -> None:
    """A head, the plumb line, and which side is which."""
    paint_head(ax, tilt, turn, chin, "front")
    ax.set_xlim(-2.2, 2.2)
    ax.set_ylim(-1.75, 2.75)
    ax.plot([0, 0], [-0.25, 2.7], color=INK, linewidth=1.2, linestyle=(0, (4, 3)), zorder=6, alpha=0.7)
    for x, side in ((-1.25, "right side"), (1.25, "left side")):
        put_text(ax, x, -1.4, side, NOTE_PT, color=GREY)


def _paint_scale(figure: Figure, size: Interval) -> None:
    """A bar for the size: nothing in it leans to any side."""
    far = max(30.0, 10.0 * -(-size.value // 10))
    ax = figure.add_axes((0.12, 0.5, 0.76, 0.14))
    ax.barh([0.0], [size.value], color=BLUE, height=0.9)
    ax.set_xlim(0, far)
    ax.set_yticks([])
    ax.set_xlabel("degrees of tilt", fontsize=NOTE_PT, color=INK)
    for name in ("top", "right", "left"):
        ax.spines[name].set_visible(False)
