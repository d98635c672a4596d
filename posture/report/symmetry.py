"""How even the face is: the face with the two lines that are compared, and both measures beside those of published groups."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse
from numpy.typing import NDArray
from scipy.optimize import brentq

from posture.clinic.sentences import EVIDENCE, cite
from posture.geometry.face_lines import symmetry_of_corners
from posture.report.head import SKIN
from posture.report.style import (
    BLUE,
    BODY_PT,
    GREY,
    HEAD_PT,
    INK,
    PALE,
    SIDE_UNKNOWN,
    SMALL_PT,
    blank_axes,
    new_figure,
    put_text,
    quiet_figure,
)
from posture.summary.record import Interval, Summary, Symmetry

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Group:
    """A published group: its name, people, and mean and standard deviation of the size of both measures."""

    name: str
    angle_deg: tuple[float, float]
    size: tuple[float, float]
    source: str


GROUPS = (
    Group("superior oblique palsy, 58 people", (1.11, 1.67), (1.003, 0.126), "[2]"),
    Group("head tilt alone, 33 people", (1.78, 1.01), (1.027, 0.018), "[82]"),
    Group("face turn alone, 58 people", (1.19, 0.84), (1.018, 0.014), "[82]"),
)
"""As published, with their standard deviations. Those of people without a posture were lower; their figures were not to be had."""

NO_CONTROLS = (
    "People without a posture had less; their figures were not to be had. One study found no difference between any groups"
    f" ({cite('[95]')})."
)
NOT_GIVEN = "How even the face is, is not given: it was not seen from the front for long enough."
EYES_WIDE, MOUTH_WIDE, MOUTH_BELOW = 0.78, 0.42, 1.12
"""Half widths between the outer corners of the eyes and those of the mouth, and how far the mouth is below, of the drawn face."""

LETTERS = 112
MOST_SHIFT = 1.0


def draw_symmetry(summary: Summary) -> Figure:
    """Draw the symmetry of the face.

    Parameters
    ----------
    summary : Summary

    Returns
    -------
    Figure
        Only words where it is not given, or mirroring is unknown.
    """
    if not summary.sided:
        return quiet_figure([f"How even the face is, is not given ({SIDE_UNKNOWN})."])
    if summary.symmetry is None:
        return quiet_figure([NOT_GIVEN])
    symmetry = summary.symmetry
    figure = new_figure(4.3)
    put_text(figure, 0.5, 0.965, "How even the face is", HEAD_PT, weight="bold")
    _paint_face(blank_axes(figure, (0.0, 0.25, 0.25, 0.64)), symmetry)
    angle, size = size_of_angle(symmetry.facial_angle_deg), size_of_ratio(symmetry.relative_facial_size)
    _scale(
        figure.add_axes((0.60, 0.655, 0.375, 0.17)),
        "Facial angle, degrees: line of the mouth against that of the eyes",
        angle,
        [group.angle_deg for group in GROUPS],
        0.0,
        "{:.1f}",
    )
    _scale(
        figure.add_axes((0.60, 0.285, 0.375, 0.17)),
        "Relative facial size: eye to mouth, larger side over smaller",
        size,
        [group.size for group in GROUPS],
        1.0,
        "{:.3f}",
    )
    said = f"{EVIDENCE['facial asymmetry'].text} {NO_CONTROLS} Grey: mean and one standard deviation, as published. Blue: 95 % interval."
    for k, line in enumerate(textwrap.wrap(said, LETTERS)):
        put_text(figure, 0.5, 0.165 - 0.042 * k, line, SMALL_PT, color=GREY)
    return figure


def size_of_angle(angle: Interval) -> Interval:
    """The interval of the size of an angle."""
    ends = sorted((abs(angle.low), abs(angle.high)))
    return Interval(value=abs(angle.value), low=0.0 if angle.low <= 0 <= angle.high else ends[0], high=ends[1])


def size_of_ratio(ratio: Interval) -> Interval:
    """The interval of the larger side over the smaller, from that of the right over the left."""
    of_log = size_of_angle(Interval(**{name: float(np.log(value)) for name, value in vars(ratio).items()}))
    return Interval(**{name: float(np.exp(value)) for name, value in vars(of_log).items()})


def drawn_corners(symmetry: Symmetry) -> Array:
    """Outer corners of both eyes and corners of the mouth of a face so uneven, shape (4, 2), the right one of each first.

    x goes to the child's left, which is the right of the page.
    """
    angle = np.radians(symmetry.facial_angle_deg.value)
    mouth = MOUTH_WIDE * np.array([[-np.cos(angle), -np.sin(angle)], [np.cos(angle), np.sin(angle)]]) - [0.0, MOUTH_BELOW]
    eyes = np.array([[-EYES_WIDE, 0.0], [EYES_WIDE, 0.0]])

    def shifted(by: float) -> Array:
        return np.concatenate([eyes, mouth + np.array([by, 0.0])])

    def off(by: float) -> float:
        return float(np.log(symmetry_of_corners(shifted(by)).relative_size / symmetry.relative_facial_size.value))

    # A shift of the mouth makes one side longer than the other whatever the angle did.
    reaches = off(-MOST_SHIFT) < 0 < off(MOST_SHIFT)
    return shifted(float(brentq(off, -MOST_SHIFT, MOST_SHIFT)) if reaches else 0.0)


def _paint_face(ax: Axes, symmetry: Symmetry) -> None:
    """A face seen from the front with the two lines and the two distances."""
    right_eye, left_eye, right_mouth, left_mouth = drawn_corners(symmetry)
    ax.add_patch(Ellipse((0.0, -0.35), 2.5, 3.4, facecolor=SKIN, edgecolor=INK, linewidth=1.1))
    for side, (x, y) in ((1, right_eye), (-1, left_eye)):
        ax.add_patch(Ellipse((x + side * 0.24, y), 0.48, 0.17, facecolor="white", edgecolor=INK, linewidth=0.8))
        ax.add_patch(Ellipse((x + side * 0.24, y), 0.15, 0.15, facecolor=INK, edgecolor="none"))
    ax.plot([-0.08, 0.0, 0.08], [-0.62, -0.68, -0.62], color=INK, linewidth=0.9)
    for (one, other), colour, width in (
        ((right_eye, left_eye), BLUE, 1.8),
        ((right_mouth, left_mouth), BLUE, 1.8),
        ((right_eye, right_mouth), GREY, 1.1),
        ((left_eye, left_mouth), GREY, 1.1),
    ):
        ax.plot(*np.transpose([one, other]), color=colour, linewidth=width, solid_capstyle="round")
    put_text(ax, -1.28, 1.45, "child's right", SMALL_PT, color=GREY, ha="left")
    put_text(ax, 1.28, 1.45, "left", SMALL_PT, color=GREY, ha="right")
    ax.set_xlim(-1.35, 1.35)
    ax.set_ylim(-2.15, 1.6)


def _scale(ax: Axes, title: str, measured: Interval, groups: list[tuple[float, float]], even: float, digits: str) -> None:
    """One measure with its interval, and the published groups under it."""
    rows = range(len(groups), -1, -1)
    names = ["this face", *(f"{group.name} {group.source}" for group in GROUPS)]
    high = max(measured.high, *(mean + sd for mean, sd in groups))
    ax.set_xlim(even, even + 1.08 * (high - even))
    ax.set_ylim(-0.6, len(groups) + 0.6)
    ax.axhspan(len(groups) - 0.5, len(groups) + 0.6, color=PALE, linewidth=0, zorder=0)
    for row, name in zip(rows, names, strict=True):
        put_text(ax, -0.02, row, name, SMALL_PT, ha="right", transform=ax.get_yaxis_transform())
    ax.plot([measured.low, measured.high], [len(groups)] * 2, color=BLUE, linewidth=3.0, solid_capstyle="butt", zorder=3)
    ax.plot(measured.value, len(groups), "o", color=BLUE, markersize=6, zorder=4)
    for row, (mean, sd) in zip(list(rows)[1:], groups, strict=True):
        ax.plot([max(mean - sd, even), mean + sd], [row, row], color=GREY, linewidth=2.0, solid_capstyle="butt", zorder=3)
        ax.plot(mean, row, "o", color=GREY, markersize=4.5, zorder=4)
    said = f"{digits.format(measured.value)}, between {digits.format(measured.low)} and {digits.format(measured.high)}"
    put_text(ax, 1.0, 1.44, title, SMALL_PT, ha="right", transform=ax.transAxes)
    put_text(ax, 1.0, 1.17, said, BODY_PT, ha="right", color=BLUE, weight="bold", transform=ax.transAxes)
    ax.set_yticks([])
    ax.tick_params(labelsize=SMALL_PT, color=GREY)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
