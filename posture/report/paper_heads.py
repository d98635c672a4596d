"""The small pictures of the paper: the head from the front and from above, without the words that stand beside them."""

from __future__ import annotations

from matplotlib.figure import Figure

from posture.report.head import View
from posture.report.heads import paint_sizes, paint_view
from posture.report.style import blank_axes, new_figure
from posture.summary.record import Interval, Summary

VIEW_IN = (1.5, 1.25)
"""Width and height of one view."""

SIZES_IN = (2.6, 1.45)
Views = list[tuple[Figure, tuple[str, str]]]
"""Pictures, each with the lines that stand below it."""

FRONT = ("as you face the child", "dashed: the plumb line")
ABOVE = ("the same, from above", "dashed: straight ahead")
BARS = ("size of tilt and turn, no side", "thin line: 95 % interval")
"""What is said below a picture, a line each."""

LEVEL = Interval(value=0.0, low=0.0, high=0.0)
"""The chin of a posture of which the summary holds none."""


def paper_views(summary: Summary) -> Views:
    """Draw the views that stand beside the words of a measured posture.

    Parameters
    ----------
    summary : Summary

    Returns
    -------
    list of tuple
        Figure and the lines to stand below it: front and above for a habit or a moment, two fronts for two postures, bars of the two sizes while no
        side is known, none where there is nothing to draw.
    """
    if not summary.sided:
        return [(_bars(summary), BARS)] if summary.unsided else []
    if len(summary.postures) == 2 and summary.habitual is None:
        return [(_view("front", posture.tilt_deg, posture.turn_deg, LEVEL), FRONT) for posture in summary.postures]
    tilt: Interval | None
    turn: Interval
    chin: Interval
    if summary.habitual:
        held = summary.habitual
        tilt, turn, chin = held.tilt_deg, held.turn_deg, held.chin_deg
    elif summary.moment and summary.moment.turn_deg:
        tilt, turn, chin = summary.moment.tilt_deg, summary.moment.turn_deg, summary.moment.chin_deg
    else:
        return []
    return [
        (_view("front", tilt, turn, chin), FRONT),
        (_view("above", tilt, turn, chin), ABOVE),
    ]


def _view(view: View, tilt: Interval | None, turn: Interval, chin: Interval) -> Figure:
    """One view of a head."""
    figure = new_figure(VIEW_IN[1], VIEW_IN[0])
    paint_view(blank_axes(figure, (0.0, 0.0, 1.0, 1.0)), view, tilt, turn, chin, worded=False)
    return figure


def _bars(summary: Summary) -> Figure:
    """Sizes of tilt and turn: nothing leans to any side."""
    assert summary.unsided is not None
    figure = new_figure(SIZES_IN[1], SIZES_IN[0])
    ax = figure.add_axes((0.16, 0.26, 0.8, 0.72))
    paint_sizes(ax, [("Tilt", summary.unsided.tilt_size_deg), ("Turn", summary.unsided.turn_size_deg)])
    return figure
