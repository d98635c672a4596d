"""Straight edges of what stands behind the people in a picture: door frames, shelves, window bars."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.face.seen import FaceSeen, Picture, Window

Array = NDArray[np.float64]

LINES_PX = 960
"""Longer side of the copy in which edges are looked for. The detector of the contrib package needs 3 to 16 ms there; the one
that is a little finer (its long edges are out by 0.009 degrees, not 0.017) needs 17 to 100 ms."""

BLUR_PX = 1.0
"""Smoothing before it: noise of a dark room (sd 8 of 255) makes edges of its own, and long edges are found twice as well."""

WEAK_EDGE, STRONG_EDGE = 20.0, 40.0
"""Gradients (sums of a 3x3 Sobel) from which an edge goes on and begins: steps of 5 and 10 grey levels."""

OFF_LINE_PX = 1.414
"""An edge ends where it leaves its own straight line by a pixel and a half."""

LEAST_SHARE = 0.025
"""Shorter ones, as a share of the longer side, are left out: their ends are known to a pixel, their slope to 2 degrees or worse."""

MOST_LINES = 250
"""Of more, the longest are kept: leaves and woven things come in thousands and are all short."""

EDGE_PX = 4.0
"""Edges that run as near to the border of the picture as this are the border's own."""

BAR_GREY = 24
"""Rows and columns at a border that are nowhere brighter than this are bars beside the film and not the room."""

HEAD_SIZES = 0.95
"""Half width of what is left out around the middle of a face, in face sizes, and how far it goes up: hair, hat, ears, a hand."""

BODY_SIZES = 1.7
"""Half width of what is left out below: shoulders are about 1.2 face sizes to each side, elbows wider."""

NECK_SIZES, ELBOW_SIZES = 0.4, 1.4
"""The one width goes over into the other from so far below the middle of the face to so far."""

HIDDEN_SHARE = 0.3
"""An edge of which more than this lies on a person is taken for the person's."""

LYING_DEG = 45.0
"""From this slope of the eyes on, the body lies along the face and not below it."""

_SAMPLES = (np.arange(9) + 0.5) / 9
"""Where along an edge it is asked whether it lies on a person."""


def straight_lines(picture: Picture, faces: Sequence[FaceSeen]) -> Array:
    """Find straight edges in a picture, those of people left out.

    Parameters
    ----------
    picture : Picture
    faces : sequence of FaceSeen
        In this picture; each face and the body that carries it are left out.

    Returns
    -------
    ndarray, shape (n, 4)
        x and y of one end and of the other, in pixels of the upright picture with pixel centres at whole numbers. The longest
        first; (0, 4) where there are none.
    """
    longer = max(picture.width_px, picture.height_px)
    window = Window.over(picture, min(LINES_PX, longer))
    grey = window.show_grey(picture)
    inside = _without_bars(grey)
    if inside is None:
        return np.empty((0, 4))
    left, top, right, bottom = inside
    smooth = np.ascontiguousarray(cv2.GaussianBlur(grey[top:bottom, left:right], (0, 0), BLUR_PX))
    shortest = LEAST_SHARE * window.out_px
    detector = cv2.ximgproc.createFastLineDetector(
        max(round(shortest), 2), OFF_LINE_PX, WEAK_EDGE, STRONG_EDGE, 3, do_merge=False
    )
    found = detector.detect(smooth)
    if found is None:
        return np.empty((0, 4))
    lines = np.asarray(found, np.float64).reshape(-1, 4)
    lines = lines[~_on_border(lines, right - left, bottom - top)] + [left, top, left, top]
    lines_px = window.to_picture(lines.reshape(-1, 2)).reshape(-1, 4)
    for face in faces:
        lines_px = lines_px[_share_on_person(lines_px, face) <= HIDDEN_SHARE]
    length = np.hypot(*(lines_px[:, 2:] - lines_px[:, :2]).T)
    order = np.argsort(-length, kind="stable")[:MOST_LINES]
    return np.asarray(lines_px[order])


def _without_bars(grey: NDArray[np.uint8]) -> tuple[int, int, int, int] | None:
    """Left, top, right and bottom (ends excluded) of what is not a dark bar; None where all is dark."""
    columns = np.flatnonzero(grey.max(0) > BAR_GREY)
    rows = np.flatnonzero(grey.max(1) > BAR_GREY)
    if len(columns) < 2 * EDGE_PX or len(rows) < 2 * EDGE_PX:
        return None
    return int(columns[0]), int(rows[0]), int(columns[-1]) + 1, int(rows[-1]) + 1


def _on_border(lines: Array, width: int, height: int) -> NDArray[np.bool_]:
    """Which lines (n, 4) run along the border of a picture of this size, shape (n,)."""
    xs, ys = lines[:, [0, 2]], lines[:, [1, 3]]
    beside = (xs.max(1) < EDGE_PX) | (xs.min(1) > width - 1 - EDGE_PX)
    above = (ys.max(1) < EDGE_PX) | (ys.min(1) > height - 1 - EDGE_PX)
    return np.asarray(beside | above)


def _share_on_person(lines_px: Array, face: FaceSeen) -> Array:
    """How much of each line (n, 4) lies on the person with this face, shape (n,), 0 to 1."""
    ends = lines_px.reshape(-1, 2, 2)
    points = ends[:, :1] + (ends[:, 1:] - ends[:, :1]) * _SAMPLES[None, :, None]
    across, down = np.moveaxis((points - face.centre_px) / face.size_px, -1, 0)
    if abs(face.slope_deg) > LYING_DEG:
        slope = np.radians(face.slope_deg)
        across, down = across * np.cos(slope) + down * np.sin(slope), down * np.cos(slope) - across * np.sin(slope)
    half = np.interp(down, [NECK_SIZES, ELBOW_SIZES], [HEAD_SIZES, BODY_SIZES])
    on_person = (down > -HEAD_SIZES) & (np.abs(across) < half)
    return np.asarray(on_person.mean(1))
