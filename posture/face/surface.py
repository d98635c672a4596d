"""Whether what a face consists of stays where it is in the scene: so does what is printed, also behind a moving cover.

Landmarks of a half-covered face go along with the edge of the cover. Its corners that are seen before and after do not.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.face.seen import N_MESH, FaceSeen, Picture, Window

Array = NDArray[np.float64]

SURFACE_PX = 128
"""Side of the window in which a face's corners are followed; the face is somewhat less than half of it."""

MAX_CORNERS, LEAST_CORNERS = 40, 6

RETURN_PX = 1.0
"""A corner followed there and back that comes out farther off is lost."""

SEARCH_PX = 13
"""Side of the surroundings by which a corner is known again."""

LOST = 1.0
"""What a lost corner counts for, in face sizes: as one that moved far."""

SAME_FACE = 0.5
"""A face farther than this share of its size from where it would be if it had kept still is not compared."""


@dataclass(frozen=True)
class _Kept:
    """A face as it was at one look at the scene, and its corners, shape (n, 1, 2), in the window."""

    centre_px: Array
    window: Window
    grey: NDArray[np.uint8]
    corners: NDArray[np.float32]


class Surfaces:
    """Compares the surface of every face with what was at its place some looks at the scene before.

    Parameters
    ----------
    lag : int
        Looks at the scene between two pictures that are compared.

    """

    def __init__(self, lag: int) -> None:
        self._kept: deque[list[_Kept]] = deque(maxlen=lag)

    def look(self, picture: Picture, faces: Sequence[FaceSeen], motion: Array | None) -> dict[int, float]:
        """Compare the faces of one look at the scene.

        Parameters
        ----------
        picture : Picture
        faces : sequence of FaceSeen
            In this picture.
        motion : ndarray, shape (3, 3), or None
            The camera's movement since the look it is compared with; None where it is not known.

        Returns
        -------
        dict of int to float
            How far the middle one of a face's corners moved against the scene, in face sizes, by the number of its stretch; without
            those of which nothing can be told.
        """
        before: list[_Kept] = []
        if motion is None or len(self._kept) < (self._kept.maxlen or 0):
            motion = np.eye(3)
        else:
            before = self._kept[0]
        shifts: dict[int, float] = {}
        now = []
        for face in faces:
            window = Window.around(face.centre_px, face.size_px, out_px=SURFACE_PX)
            grey = picture.region_grey(window.left_px, window.top_px, window.side_px, window.out_px)
            near = [(float(np.linalg.norm(_moved(kept.centre_px, motion) - face.centre_px)), kept) for kept in before]
            off_px, kept = min(near, key=lambda pair: pair[0], default=(np.inf, None))
            if kept is not None and off_px < SAME_FACE * face.size_px:
                shifts[face.stretch] = _shift(kept, grey, window, face.size_px, motion)
            corners = _corners(grey, window.from_picture(face.points_px[:N_MESH]))
            if corners is not None and len(corners) >= LEAST_CORNERS:
                now.append(_Kept(face.centre_px, window, grey, corners))
        self._kept.append(now)
        return shifts


def _corners(grey: NDArray[np.uint8], points: Array) -> NDArray[np.float32] | None:
    """Corners (n, 1, 2) of a picture inside of the outline of some points (m, 2); None for none."""
    mask = np.zeros(grey.shape, np.uint8)
    cv2.fillConvexPoly(mask, cv2.convexHull(points.astype(np.float32)).astype(np.int32), 255)
    corners = cv2.goodFeaturesToTrack(grey, MAX_CORNERS, 0.03, 4, mask=mask)
    return None if corners is None else np.asarray(corners, np.float32)


def _shift(kept: _Kept, grey: NDArray[np.uint8], window: Window, size_px: float, motion: Array) -> float:
    """How far the middle one of the corners is from where the camera's movement has brought it, in sizes of the face."""
    there = _moved(kept.window.to_picture(kept.corners[:, 0].astype(np.float64)), motion)
    expected = window.from_picture(there).astype(np.float32)[:, None]
    found, is_lost = _follow(kept.grey, grey, kept.corners, expected)
    back, is_lost_back = _follow(grey, kept.grey, found, kept.corners)
    moved = np.linalg.norm((found - expected)[:, 0], axis=1) * window.side_px / window.out_px / size_px
    is_lost |= is_lost_back | (np.linalg.norm((back - kept.corners)[:, 0], axis=1) > RETURN_PX)
    return float(np.median(np.where(is_lost, LOST, moved)))


def _follow(
    before: NDArray[np.uint8], after: NDArray[np.uint8], corners: NDArray[np.float32], expected: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Where corners (n, 1, 2) of one picture are in another, looked for where they are expected, and which of them are lost."""
    around = (SEARCH_PX, SEARCH_PX)
    flags = cv2.OPTFLOW_USE_INITIAL_FLOW
    found, is_found, _ = cv2.calcOpticalFlowPyrLK(
        before, after, corners, expected.copy(), winSize=around, flags=flags, maxLevel=2
    )
    return np.asarray(found, np.float32), is_found.ravel() == 0


def _moved(points: Array, motion: Array) -> Array:
    """Points (2,) or (n, 2) after the camera's movement (3, 3)."""
    return np.asarray(points @ motion[:2, :2].T + motion[:2, 2])
