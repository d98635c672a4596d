"""The head of the figures as flat shapes, filled into an array of pixels: fast enough for every picture of a film."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb, to_rgba
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from numpy.typing import ArrayLike, NDArray

from posture.report.head import View, paint_head

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]
Colour = tuple[int, int, int]

SUB_BITS = 4
"""Places are given to OpenCV in sixteenths of a pixel: a head that turns slowly does not jump from pixel to pixel."""

PX_PER_PT = 1.3
"""Width of lines in the film for the points of the figures."""


@dataclass(frozen=True)
class Place:
    """Where a drawing stands in the picture.

    Attributes
    ----------
    x_px, y_px : float
        Of its origin, the pivot of the neck.
    unit_px : float
        Length of one unit of `posture.report.head`.
    """

    x_px: float
    y_px: float
    unit_px: float

    def pixels(self, points: ArrayLike) -> Array:
        """Points of the drawing (n, 2), y up, as pixels of the picture, y down."""
        return np.array([self.x_px, self.y_px]) + np.asarray(points, float) * [self.unit_px, -self.unit_px]


class _Shapes:
    """Stands in the place of the axes of a figure, and only collects what is painted on them."""

    def __init__(self) -> None:
        self.shapes: list[Polygon | Line2D] = []

    def add_patch(self, patch: Polygon) -> None:
        """See `Axes.add_patch`."""
        self.shapes.append(patch)

    def plot(self, x: ArrayLike, y: ArrayLike, **style: Any) -> None:
        """See `Axes.plot`; of one line."""
        self.shapes.append(Line2D(x, y, **style))


def paint_head_into(picture: Picture, place: Place, tilt_deg: float, turn_deg: float, chin_deg: float, view: View) -> None:
    """Paint shoulders, neck and a head in a posture into a picture.

    The shapes are those which `posture.report.head.paint_head` paints for the figures; only the canvas of the figures, which takes ten
    times as long, is left out.

    Parameters
    ----------
    picture : ndarray of uint8, shape (h, w, 3)
        Red, green, blue; painted into.
    place : Place
    tilt_deg, turn_deg, chin_deg : float
        The child's own sides.
    view : {"front", "above"}
    """
    painted = _Shapes()
    paint_head(cast(Axes, painted), tilt_deg, turn_deg, chin_deg, view)
    for shape in sorted(painted.shapes, key=lambda one: one.get_zorder()):
        if isinstance(shape, Line2D):
            line(picture, place.pixels(shape.get_xydata()), colour_of(shape.get_color()), shape.get_linewidth())
            continue
        points = place.pixels(shape.get_xy())
        if shape.get_fill():
            fill(picture, points, colour_of(shape.get_facecolor()))
        edge, width_pt = to_rgba(shape.get_edgecolor()), shape.get_linewidth()
        if edge[3] > 0 and width_pt > 0:
            line(picture, points, colour_of(edge), width_pt)


def fill(picture: Picture, points: Array, colour: Colour) -> None:
    """Fill a polygon, points (n, 2) in pixels."""
    cv2.fillPoly(picture, [_fixed(points)], colour, cv2.LINE_AA, SUB_BITS)


def line(picture: Picture, points: Array, colour: Colour, width_pt: float, *, dash_px: float = 0.0) -> None:
    """Draw a line through points (n, 2) in pixels; with a dash it goes from the first to the last, dash and gap being alike."""
    thick = max(1, round(width_pt * PX_PER_PT))
    pieces = [points]
    if dash_px:
        first, last = points[0], points[-1]
        n = max(1, round(float(np.linalg.norm(last - first)) / dash_px))
        pieces = [first + (last - first) * np.array([[k / n], [(k + 1) / n]]) for k in range(0, n, 2)]
    cv2.polylines(picture, [_fixed(piece) for piece in pieces], False, colour, thick, cv2.LINE_AA, SUB_BITS)


def colour_of(colour: Any) -> Colour:
    """A colour as matplotlib knows it, as red, green, blue."""
    red, green, blue = (round(255 * share) for share in to_rgb(colour))
    return red, green, blue


def _fixed(points: Array) -> NDArray[np.int32]:
    """Places in sixteenths of a pixel."""
    return np.round(points * 2**SUB_BITS).astype(np.int32)
