"""A child's head in three dimensions, turned into a posture and painted flat: from the front or from above.

Lengths are in half head widths, roughly. The neck's pivot is the origin, so that a tilted head leans over its shoulder. Both
views show the child as one who faces it sees it: the child's right is at the near edge of the page, the nose from above points
down the page.
"""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull

from posture.geometry.angles import posture_matrix
from posture.report.style import GREY, INK

Array = NDArray[np.float64]
View = Literal["front", "above"]

PIVOT_TO_CENTRE = np.array([0.0, 1.15, 0.12])
SKULL = (np.array([0.0, 0.15, -0.05]), np.array([0.82, 0.92, 0.95]))
JAW = (np.array([0.0, -0.35, 0.15]), np.array([0.60, 0.70, 0.68]))
"""Middle and half axes of the two ellipsoids whose common outline is the head."""

EAR_CENTRE, EAR_SIZE = np.array([0.84, -0.04, -0.08]), np.array([0.11, 0.23, 0.15])

SKIN, SKIN_SHADE, HAIR, SHIRT = "#F7E3D0", "#E9C8AC", "#8A7F78", "#C9D6DF"
"""Light, middle and dark also in black and white."""

_LINE: dict[str, Any] = {"edgecolor": INK, "linewidth": 1.1, "joinstyle": "round"}


def place_points(points: ArrayLike, tilt_deg: float, turn_deg: float, chin_deg: float, view: View) -> tuple[Array, Array]:
    """Turn points of the head into a posture and project them.

    Parameters
    ----------
    points : array_like, shape (..., 3)
        In the head frame of `posture.conventions`, from the middle of the head.
    tilt_deg, turn_deg, chin_deg : float
    view : {"front", "above"}

    Returns
    -------
    tuple of ndarray
        Places on the page (..., 2), x to the child's left; and depth (...), larger nearer to the viewer.
    """
    moved = (np.asarray(points, float) + PIVOT_TO_CENTRE) @ posture_matrix(tilt_deg, turn_deg, chin_deg).T
    x, y, z = np.moveaxis(moved, -1, 0)
    return (np.stack([x, y], -1), z) if view == "front" else (np.stack([x, -z], -1), y)


def paint_head(ax: Axes, tilt_deg: float, turn_deg: float, chin_deg: float, view: View) -> None:
    """Paint shoulders, neck and a head in a posture.

    Parameters
    ----------
    ax : Axes
        Of equal aspect; the neck's pivot comes to its origin.
    tilt_deg, turn_deg, chin_deg : float
        The child's own sides.
    view : {"front", "above"}
    """
    pose = (tilt_deg, turn_deg, chin_deg)
    _paint_body(ax, pose, view)
    skull, jaw = _ellipsoid(*SKULL), _ellipsoid(*JAW)
    facing = _facing(pose, view)
    nose = _nose()
    if view == "above":
        _fill(ax, _hull(place_points(nose, *pose, view)[0]), SKIN_SHADE, 4.0)
    for side, name in ((-1.0, "right ear"), (1.0, "left ear")):
        ear = _ellipsoid(EAR_CENTRE * [side, 1, 1], EAR_SIZE)
        near = (posture_matrix(*pose) @ [side, 0.0, 0.0])[2 if view == "front" else 1] > 0
        _fill(ax, _hull(place_points(ear, *pose, view)[0]), SKIN_SHADE, 5.6 if near and view == "front" else 4.1, gid=name)
    outline = _hull(place_points(np.concatenate([skull, jaw]), *pose, view)[0])
    ax.add_patch(Polygon(outline, facecolor=SKIN, edgecolor="none", zorder=5.0))
    hairy = skull[:, 1] > 0.13 + 0.65 * skull[:, 2]
    seen = (skull - SKULL[0]) / SKULL[1] ** 2 @ facing > -0.05
    if view == "above":
        _fill(ax, _hull(place_points(skull[hairy & seen], *pose, view)[0]), HAIR, 5.1, linewidth=0.6)
    else:
        jaw_seen = (jaw - JAW[0]) / JAW[1] ** 2 @ facing > -0.05
        face = np.concatenate([skull[~hairy & seen], jaw[jaw_seen]])
        ax.add_patch(Polygon(_hull(place_points(skull[hairy], *pose, view)[0]), facecolor=HAIR, edgecolor="none", zorder=5.1))
        ax.add_patch(Polygon(_hull(place_points(face, *pose, view)[0]), facecolor=SKIN, edgecolor="none", zorder=5.2))
        _paint_face(ax, pose, nose, facing)
    ax.add_patch(Polygon(outline, fill=False, zorder=5.4, **_LINE))


def _paint_body(ax: Axes, pose: tuple[float, float, float], view: View) -> None:
    """Level shoulders, and in front view the neck."""
    angle = np.linspace(0, np.pi, 60)
    if view == "above":
        round_x, round_y = 1.75 * np.cos(2 * angle), 0.62 * np.sin(2 * angle)
        _fill(ax, np.stack([round_x, round_y + 0.15], -1), SHIRT, 1.0, linewidth=0.8)
        return
    top = place_points(np.array([[0.36, -0.75, 0], [-0.36, -0.75, 0]]) - [0, 0, 0.1], *pose, view)[0]
    _fill(ax, np.array([[-0.40, -0.45], [0.40, -0.45], *top]), SKIN_SHADE, 2.0, linewidth=0.8)
    # A superellipse has the flat top and the round ends of shoulders.
    x = 1.75 * np.sign(np.cos(angle)) * np.abs(np.cos(angle)) ** 0.55
    y = -1.05 + 0.80 * np.sin(angle) ** 0.55
    _fill(ax, np.stack([x, y], -1), SHIRT, 3.0, linewidth=0.8)
    ax.plot([-0.42, -0.2, 0, 0.2, 0.42], [-0.25, -0.42, -0.47, -0.42, -0.25], color=INK, linewidth=0.8, zorder=3.1)


def _paint_face(ax: Axes, pose: tuple[float, float, float], nose: Array, facing: Array) -> None:
    """Eyes, brows, nose and mouth, each where it can be seen."""
    angle = np.linspace(0, 2 * np.pi, 24)
    for side in (-1.0, 1.0):
        eye = _on_face(side * 0.29 + 0.075 * np.cos(angle), 0.03 + 0.095 * np.sin(angle))
        if facing @ _normal(eye[0]) < 0.12:
            continue
        _fill(ax, place_points(eye, *pose, "front")[0], INK, 5.3, linewidth=0.3)
        across = np.linspace(-0.15, 0.15, 9)
        brow = _on_face(side * 0.30 + across, 0.25 - 1.6 * across**2)
        ax.plot(*place_points(brow, *pose, "front")[0].T, color=INK, linewidth=1.5, solid_capstyle="round", zorder=5.3)
    _fill(ax, _hull(place_points(nose, *pose, "front")[0]), SKIN_SHADE, 5.5, linewidth=0.7, edgecolor=GREY)
    across = np.linspace(-0.2, 0.2, 13)
    mouth = _on_face(across, -0.66 + 1.6 * across**2)
    ax.plot(*place_points(mouth, *pose, "front")[0].T, color=INK, linewidth=1.5, solid_capstyle="round", zorder=5.3)


def _nose() -> Array:
    """Points round which the nose is drawn, shape (n, 3)."""
    bridge = _on_face(np.array([0.0]), np.array([-0.02]))
    wings = _on_face(np.array([-0.10, 0.10]), np.array([-0.36, -0.36])) + np.array([0, 0, 0.05])
    tip = _on_face(np.array([-0.05, 0.0, 0.05]), np.array([-0.36, -0.39, -0.36])) + np.array([0, 0, 0.30])
    return np.concatenate([bridge, wings, tip])


def _on_face(x: Array, y: Array) -> Array:
    """The points of the face's surface with these x and y, shape (n, 3)."""
    fronts = []
    for centre, half in (SKULL, JAW):
        inside = 1 - ((x - centre[0]) / half[0]) ** 2 - ((y - centre[1]) / half[1]) ** 2
        fronts.append(centre[2] + half[2] * np.sqrt(np.clip(inside, 0, None)))
    return np.stack([x, y, np.maximum(*fronts)], -1)


def _normal(point: Array) -> Array:
    """Roughly where the surface looks at a point of the face."""
    out = (point - SKULL[0]) / SKULL[1] ** 2
    return np.asarray(out / np.linalg.norm(out))


def _facing(pose: tuple[float, float, float], view: View) -> Array:
    """Direction to the viewer in the head frame, shape (3,)."""
    return np.asarray(posture_matrix(*pose)[2 if view == "front" else 1])


def _ellipsoid(centre: Array, half: Array) -> Array:
    """Points all over an ellipsoid, shape (n, 3)."""
    up, around = np.meshgrid(np.linspace(0, np.pi, 33), np.linspace(0, 2 * np.pi, 64, endpoint=False))
    ball = np.stack([np.sin(up) * np.cos(around), np.cos(up), np.sin(up) * np.sin(around)], -1)
    return centre + half * ball.reshape(-1, 3)


def _hull(flat: Array) -> Array:
    """Outline of projected points, in order, shape (n, 2)."""
    return flat[ConvexHull(flat).vertices]


def _fill(ax: Axes, points: Array, colour: str, order: float, gid: str | None = None, **line: Any) -> None:
    """A filled outline."""
    ax.add_patch(Polygon(points, facecolor=colour, zorder=order, gid=gid, **(_LINE | line)))
