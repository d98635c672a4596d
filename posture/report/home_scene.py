"""Drawings of how to film at home: the room from the side, and what the phone should show and should not."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Ellipse, FancyBboxPatch, Polygon, Rectangle, Wedge
from matplotlib.transforms import Affine2D
from numpy.typing import ArrayLike

from posture.report.head import HAIR, SHIRT, SKIN, SKIN_SHADE, paint_head
from posture.report.style import BLUE, GREY, INK, PALE, blank_axes, new_figure, put_text

Wrong = Literal["upright", "far", "dark", "two", "aslant"]

SCENE_IN = (7.3, 3.0)
VIEW_IN = (2.6, 1.55)
WRONG_IN = (1.36, 1.0)
CLOCK_IN = 0.62
"""Sizes of the drawings on the page."""

FLOOR_M, EYES_M = 0.0, 1.0
"""Heights in the drawing of the room, in metres or nearly so: a child of five that sits."""

CHILD_X, PHONE_X, PARENT_X, PICTURE_X = 0.75, 1.95, 2.75, 3.85
"""Where they are along the room; the way from phone to picture is drawn shorter than it is."""

_EDGE: dict[str, Any] = {"edgecolor": INK, "linewidth": 1.0, "joinstyle": "round"}
_TROUSERS, _WOOD, _JACKET, _LIGHT = "#7F8C99", "#D9C3A3", "#B9C7A9", "#FFE9A8"


def draw_scene() -> Figure:
    """Draw the room from the side: child, string, phone, parent and picture, with the numbers of the steps."""
    figure = new_figure(SCENE_IN[1], SCENE_IN[0])
    ax = blank_axes(figure, (0.0, 0.0, 1.0, 1.0))
    left, low, width = -0.2, -0.3, 4.8
    ax.set_xlim(left, left + width)
    ax.set_ylim(low, low + width * SCENE_IN[1] / SCENE_IN[0])
    ax.plot([-0.1, 4.55], [FLOOR_M, FLOOR_M], color=GREY, linewidth=1.2)
    _paint_eye_line(ax)
    _paint_string(ax, 0.17)
    _paint_lamp(ax)
    _paint_child(ax)
    _paint_phone_stand(ax)
    _paint_parent(ax)
    _paint_target(ax)
    _paint_length(ax, CHILD_X + 0.18, PHONE_X, -0.1, "about 1 m")
    _paint_length(ax, CHILD_X + 0.18, PICTURE_X, -0.23, "3 m or more")
    _paint_bubble(ax)
    for number, x, y in ((1, 0.62, 1.33), (2, -0.07, 1.40), (3, 1.80, 1.24), (4, 3.70, 1.40), (5, 3.04, 1.53), (6, 2.52, 1.06)):
        _paint_number(ax, number, x, y)
    return figure


def draw_good_view() -> Figure:
    """Draw what the phone should show: lying on its long side, head and shoulders whole, the string in view."""
    figure = new_figure(VIEW_IN[1], VIEW_IN[0])
    ax = blank_axes(figure, (0.0, 0.0, 1.0, 1.0))
    ax.set_xlim(-4.9, 4.9)
    ax.set_ylim(-1.75, 4.1)
    _paint_phone(ax, 4.2, -1.06, 3.4)
    _paint_window(ax)
    paint_head(ax, 0.0, 0.0, 0.0, "front")
    _line_of_string(ax, (-3.0, 3.4), (-3.0, -0.3))
    ax.add_patch(Circle((4.0, 3.5), 0.62, facecolor="white", edgecolor=INK, linewidth=1.2, zorder=20))
    ax.plot([3.7, 3.92, 4.34], [3.5, 3.22, 3.78], color=INK, linewidth=2.6, solid_capstyle="round", zorder=21)
    return figure


def draw_clock() -> Figure:
    """Draw a clock of which eight minutes are filled."""
    figure = new_figure(CLOCK_IN, CLOCK_IN)
    ax = blank_axes(figure, (0.0, 0.0, 1.0, 1.0))
    ax.set_xlim(-1.1, 1.1)
    ax.set_ylim(-1.1, 1.1)
    ax.add_patch(Circle((0, 0), 1.0, facecolor="white", edgecolor=INK, linewidth=2.0))
    ax.add_patch(Wedge((0, 0), 0.86, 90 - 8 * 6, 90, facecolor=BLUE, edgecolor="none"))
    for minute in range(0, 60, 5):
        way = np.array([np.sin(np.radians(6 * minute)), np.cos(np.radians(6 * minute))])
        ax.plot(*np.outer([0.86, 0.96], way).T, color=INK, linewidth=1.4)
    return figure


def draw_wrong_view(wrong: Wrong) -> Figure:
    """Draw what the phone should not show.

    Parameters
    ----------
    wrong : {"upright", "far", "dark", "two", "aslant"}
    """
    figure = new_figure(WRONG_IN[1], WRONG_IN[0])
    ax = blank_axes(figure, (0.0, 0.0, 1.0, 1.0))
    ax.set_xlim(-5.1, 5.1)
    ax.set_ylim(-2.2, 5.3)
    if wrong == "upright":
        _paint_phone(ax, 2.1, -1.6, 4.7)
        paint_head(ax, 0.0, 0.0, 0.0, "front")
    else:
        _paint_phone(ax, 4.2, -1.06, 3.9)
    if wrong == "far":
        _paint_moved(ax, Affine2D().scale(0.34).translate(0.9, -0.7))
    if wrong == "dark":
        ax.add_patch(Rectangle((-3.9, -0.9), 7.8, 4.6, facecolor="#FFF6C8", edgecolor=GREY, linewidth=0.6, zorder=0.6))
        paint_head(ax, 0.0, 0.0, 0.0, "front")
        for patch in ax.patches[3:]:
            patch.set_facecolor("#4A4A4A")
    if wrong == "two":
        _paint_moved(ax, Affine2D().scale(0.9).translate(-1.95, -0.12))
        _paint_moved(ax, Affine2D().scale(1.05).translate(1.95, 0.05))
    if wrong == "aslant":
        _paint_moved(ax, Affine2D().rotate_deg(-17).scale(0.9).translate(0.1, 0.1))
        _line_of_string(ax, *Affine2D().rotate_deg(-17).transform([(-2.4, 3.6), (-2.4, -0.1)]))
    _paint_cross(ax)
    return figure


def _paint_moved(ax: Axes, change: Affine2D) -> None:
    """A head from the front, moved, scaled or turned as a whole."""
    n_patches, n_lines = len(ax.patches), len(ax.lines)
    paint_head(ax, 0.0, 0.0, 0.0, "front")
    for artist in (*ax.patches[n_patches:], *ax.lines[n_lines:]):
        artist.set_transform(change + ax.transData)


def _paint_phone(ax: Axes, half_width: float, low: float, high: float) -> None:
    """A phone around its screen."""
    box = FancyBboxPatch(
        (-half_width, low), 2 * half_width, high - low, boxstyle="round,pad=0.45,rounding_size=0.5", facecolor=INK, edgecolor=INK,
        zorder=0.2,
    )  # fmt: skip
    ax.add_patch(box)
    ax.add_patch(Rectangle((-half_width, low), 2 * half_width, high - low, facecolor="#F4F7F9", edgecolor=INK, zorder=0.3))


def _paint_window(ax: Axes) -> None:
    """A quiet wall: nothing but its skirting board."""
    ax.plot([-4.2, 4.2], [-0.75, -0.75], color=PALE, linewidth=1.5, zorder=0.4)


def _paint_cross(ax: Axes) -> None:
    """So not: a cross that also a copier shows."""
    ax.add_patch(Circle((3.9, 4.1), 1.05, facecolor="white", edgecolor=INK, linewidth=1.2, zorder=20))
    for way in (-1, 1):
        ax.plot([3.3, 4.5], [4.1 - 0.6 * way, 4.1 + 0.6 * way], color=INK, linewidth=2.2, solid_capstyle="round", zorder=21)


def _line_of_string(ax: Axes, top: ArrayLike, low: ArrayLike) -> None:
    """A string with a weight, wherever it hangs to."""
    ends = np.array([top, low], float)
    ax.plot(*ends.T, color=BLUE, linewidth=1.8, zorder=7)
    ax.add_patch(Ellipse((ends[1, 0], ends[1, 1]), 0.42, 0.6, facecolor=BLUE, edgecolor=INK, linewidth=0.8, zorder=7))


def _paint_number(ax: Axes, number: int, x: float, y: float) -> None:
    """The number of a step."""
    ax.add_patch(Circle((x, y), 0.085, facecolor=INK, edgecolor=INK, zorder=30))
    put_text(ax, x, y - 0.004, str(number), 10.5, color="white", weight="bold", zorder=31)


def _paint_length(ax: Axes, start: float, end: float, y: float, words: str) -> None:
    """A length with its words."""
    for x in (start, end):
        ax.plot([x, x], [y - 0.035, y + 0.035], color=GREY, linewidth=1.0)
    ax.plot([start, end], [y, y], color=GREY, linewidth=1.0)
    put_text(ax, (start + end) / 2, y, words, 9.0, color=INK, bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5})


def _paint_eye_line(ax: Axes) -> None:
    """Eyes, phone and picture are at one height."""
    ax.plot([CHILD_X + 0.2, PICTURE_X - 0.04], [EYES_M, EYES_M], color=BLUE, linewidth=1.1, linestyle=(0, (4, 3)), zorder=0.5)
    put_text(ax, 1.42, EYES_M + 0.07, "eye height", 9.0, color=BLUE)


def _paint_string(ax: Axes, x: float) -> None:
    """The string from a shelf behind the child, down to the seat."""
    ax.add_patch(Rectangle((x - 0.2, 1.5), 0.34, 0.05, facecolor=_WOOD, **_EDGE))
    ax.plot([x, x], [1.5, 0.62], color=BLUE, linewidth=2.0)
    ax.add_patch(Ellipse((x, 0.58), 0.09, 0.13, facecolor=BLUE, edgecolor=INK, linewidth=0.8))
    put_text(ax, x - 0.06, 0.42, "string with", 9.0)
    put_text(ax, x - 0.06, 0.32, "a weight", 9.0)


def _paint_lamp(ax: Axes) -> None:
    """Light that falls on the child's face."""
    x, y = 1.52, 1.52
    ax.plot([x, x], [y + 0.05, 1.66], color=INK, linewidth=1.2)
    shade = [[-0.05, 0.06], [0.05, 0.06], [0.13, -0.06], [-0.13, -0.06]]
    ax.add_patch(Polygon(np.add(shade, [x, y]), facecolor=_LIGHT, **_EDGE))
    for start, end in (((-0.16, -0.10), (-0.34, -0.20)), ((-0.11, -0.15), (-0.25, -0.31)), ((-0.02, -0.15), (-0.08, -0.33))):
        ax.plot([x + start[0], x + end[0]], [y + start[1], y + end[1]], color="#C79A00", linewidth=1.6, solid_capstyle="round")
    put_text(ax, x + 0.17, y - 0.02, "light", 9.0, ha="left")


def _paint_bubble(ax: Axes) -> None:
    """What the grown-up says at the beginning."""
    x, y = 3.28, 1.40
    ax.add_patch(
        Polygon([(x - 0.3, y - 0.03), (x - 0.19, y + 0.05), (x - 0.19, y - 0.08)], facecolor="white", **_EDGE, zorder=8)
    )
    box = FancyBboxPatch((x - 0.17, y - 0.08), 0.34, 0.16, boxstyle="round,pad=0.04", facecolor="white", **_EDGE, zorder=8)
    ax.add_patch(box)
    ax.plot([x - 0.195, x - 0.195], [y - 0.065, y + 0.035], color="white", linewidth=2.2, zorder=8.1)
    put_text(ax, x, y, "“3 May”", 9.5, zorder=9)


def _paint_child(ax: Axes) -> None:
    """A child that sits and looks along the eye line."""
    x = CHILD_X
    for left, low, width, height in (
        (x - 0.25, 0.40, 0.46, 0.05), (x - 0.25, 0.0, 0.05, 0.40), (x + 0.16, 0.0, 0.05, 0.40), (x - 0.28, 0.40, 0.05, 0.42),
    ):  # fmt: skip
        ax.add_patch(Rectangle((left, low), width, height, facecolor=_WOOD, **_EDGE))
    leg = [
        [-0.16, 0.49], [0.22, 0.49], [0.30, 0.42], [0.27, 0.10], [0.38, 0.10], [0.38, 0.04], [0.18, 0.04], [0.17, 0.37],
        [-0.16, 0.40],
    ]  # fmt: skip
    body = [[-0.17, 0.44], [-0.15, 0.74], [-0.09, 0.82], [0.06, 0.82], [0.10, 0.72], [0.11, 0.44]]
    arm = [[-0.07, 0.76], [0.03, 0.74], [0.06, 0.60], [0.22, 0.52], [0.20, 0.46], [0.0, 0.53]]
    for order, (shape, colour) in enumerate(((leg, _TROUSERS), (body, SHIRT), (arm, SHIRT)), 2):
        ax.add_patch(Polygon(np.add(shape, [x, 0]), facecolor=colour, **_EDGE, zorder=order))
    _paint_profile(ax, x, EYES_M, 0.17, 1)


def _paint_profile(ax: Axes, x: float, eyes: float, radius: float, way: int) -> None:
    """A head from the side; its eye is at the height given, and looks to the right (1) or to the left (-1)."""
    ax.add_patch(Rectangle((x - 0.055, eyes - 1.3 * radius), 0.11, 0.9 * radius, facecolor=SKIN_SHADE, **_EDGE, zorder=2.5))
    ax.add_patch(Ellipse((x, eyes), 2 * radius, 2.25 * radius, facecolor=SKIN, **_EDGE, zorder=5))
    nose = np.array([[0.93, 0.05], [1.18, -0.22], [0.93, -0.32]]) * [way * radius, radius] + [x, eyes]
    ax.add_patch(Polygon(nose, facecolor=SKIN, **_EDGE, zorder=4.9))
    turn = np.radians(np.linspace(38, 212, 30))
    cap = np.stack([1.02 * radius * way * np.cos(turn), 1.16 * radius * np.sin(turn)], -1)
    cap = np.vstack([cap, [[-0.4 * way * radius, -0.1 * radius], [-0.05 * way * radius, 0.45 * radius]]])
    ax.add_patch(Polygon(np.add(cap, [x, eyes]), facecolor=HAIR, edgecolor=INK, linewidth=0.8, zorder=5.1))
    ax.add_patch(Circle((x + way * 0.55 * radius, eyes + 0.02 * radius), 0.10 * radius, facecolor=INK, zorder=5.2))
    ax.add_patch(
        Ellipse(
            (x - way * 0.12 * radius, eyes - 0.1 * radius),
            0.3 * radius,
            0.5 * radius,
            facecolor=SKIN_SHADE,
            **_EDGE,
            zorder=5.2,
        )
    )
    mouth = np.array([[0.50, -0.55], [0.64, -0.62], [0.82, -0.52]]) * [way * radius, radius] + [x, eyes]
    ax.plot(*mouth.T, color=INK, linewidth=1.2, solid_capstyle="round", zorder=5.2)


def _paint_phone_stand(ax: Axes) -> None:
    """A phone on books on a table, its middle at the height of the eyes."""
    x = PHONE_X
    ax.add_patch(Rectangle((x - 0.3, 0.60), 0.6, 0.05, facecolor=_WOOD, **_EDGE))
    for left in (x - 0.26, x + 0.21):
        ax.add_patch(Rectangle((left, 0.0), 0.05, 0.60, facecolor=_WOOD, **_EDGE))
    for k, (shift, colour) in enumerate(((0.0, SHIRT), (0.02, PALE), (-0.02, _JACKET), (0.01, SHIRT))):
        ax.add_patch(Rectangle((x - 0.14 + shift, 0.65 + 0.065 * k), 0.28, 0.065, facecolor=colour, **_EDGE))
    ax.add_patch(Rectangle((x - 0.025, 0.91), 0.05, 0.18, facecolor=INK, edgecolor=INK))
    ax.add_patch(Circle((x - 0.035, EYES_M + 0.05), 0.02, facecolor="white", edgecolor=INK, linewidth=1.0))
    put_text(ax, x + 0.36, 0.80, "phone", 9.0)


def _paint_parent(ax: Axes) -> None:
    """A grown-up behind the phone, a step aside, who looks to the child."""
    x = PARENT_X
    legs = [
        [-0.15, 0.80], [-0.16, 0.06], [-0.26, 0.04], [-0.26, 0.0], [-0.03, 0.0], [-0.01, 0.6], [0.02, 0.0], [0.14, 0.0],
        [0.15, 0.80],
    ]  # fmt: skip
    body = [[-0.17, 0.76], [-0.16, 1.18], [-0.09, 1.26], [0.09, 1.26], [0.16, 1.18], [0.17, 0.76]]
    arm = [[-0.02, 1.17], [0.09, 1.15], [0.10, 0.80], [0.0, 0.80]]
    for order, (shape, colour) in enumerate(((legs, _TROUSERS), (body, _JACKET), (arm, _JACKET)), 2):
        ax.add_patch(Polygon(np.add(shape, [x, 0]), facecolor=colour, **_EDGE, zorder=order))
    _paint_profile(ax, x, 1.40, 0.145, -1)


def _paint_target(ax: Axes) -> None:
    """A picture or a screen on the wall, and the wall."""
    x = PICTURE_X
    ax.add_patch(Rectangle((x + 0.06, 0.0), 0.09, 1.5, facecolor=PALE, edgecolor=GREY, linewidth=0.8))
    ax.add_patch(Rectangle((x, EYES_M - 0.22), 0.06, 0.44, facecolor=BLUE, **_EDGE))
    put_text(ax, x + 0.20, EYES_M + 0.06, "picture or", 9.0, ha="left")
    put_text(ax, x + 0.20, EYES_M - 0.06, "screen", 9.0, ha="left")
