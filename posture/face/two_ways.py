"""Looking at a face as it is and mirrored: what the two ways differ by is no property of the face, and half of it is taken off each.

A network that has learned from faces reads the right half of one a little differently from its left half. Looked at in a mirror the same
error has the other sign, so that the mean of both ways is free of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from posture.face.model import load_canonical_face
from posture.face.seen import LEFT_EYE, N_MESH, RIGHT_EYE

Array = NDArray[np.float64]

Way = Literal[1, -1]
"""1: as it is; -1: mirrored."""

BOTH_WAYS: tuple[Way, Way] = (1, -1)

RATE = 0.12
"""How much the newest frame counts in what the ways differ by: it follows a turning head within about eight frames."""

RIGHT_IRIS, LEFT_IRIS = (468, 469, 470, 471, 472), (473, 476, 475, 474, 477)
"""Points of the irises that are each other's in a mirror: their middles, and four points round each."""

MOVES = 0.03
"""Nothing is learned from a face whose points moved by more than this share of their spread from one frame to the next."""


@lru_cache(maxsize=1)
def mirror_index() -> NDArray[np.int64]:
    """For each of the 478 points the one that is in its place in a mirror."""
    vertices = load_canonical_face().vertices_cm
    apart = np.linalg.norm(vertices[:, None] * [-1, 1, 1] - vertices[None], axis=2)
    index = np.arange(N_MESH + 10)
    index[:N_MESH] = apart.argmin(1)
    index[list(RIGHT_IRIS)], index[list(LEFT_IRIS)] = LEFT_IRIS, RIGHT_IRIS
    index.flags.writeable = False
    return index


def mirror_points(points: Array, width_px: int) -> Array:
    """Points (478, 3) seen in a mirrored picture of that width, as points of the picture itself."""
    back = points[mirror_index()].copy()
    back[:, 0] = width_px - 1 - back[:, 0]
    return back


@dataclass
class TwoWays:
    """What the two ways of looking at one face differ by, in the frame of the face.

    Without it, or where nothing is known yet, points are left as they are.
    """

    _half: Array | None = None
    _last: tuple[Array, Way] | None = None

    def forget(self) -> None:
        """Begin anew, perhaps with another face."""
        self._half = self._last = None

    def begin(self, plain: Array, mirrored: Array) -> None:
        """Learn from one frame that was seen both ways, points of shape (478, 3)."""
        self._half = difference_in_face(plain, mirrored) / 2
        self._last = None

    def correct(self, points: Array, way: Way) -> Array:
        """What was seen in one way, with what is known of the other.

        Parameters
        ----------
        points : ndarray, shape (478, 3)
            In the picture.
        way : {1, -1}

        Returns
        -------
        ndarray, shape (478, 3)
        """
        return points if self._half is None else moved_in_face(points, -way * self._half)

    def learn(self, points: Array, way: Way) -> None:
        """Learn from the next frame as it was seen; an even movement of the head cancels from one frame to the next."""
        if self._last is not None and self._last[1] != way:
            half = way * difference_in_face(points, self._last[0]) / 2
            known = half if self._half is None else self._half
            if np.linalg.norm(half - known, axis=1).mean() < MOVES:
                self._half = (1 - RATE) * known + RATE * half
        self._last = points, way


def difference_in_face(points: Array, others: Array) -> Array:
    """How points (478, 3) differ from others about their own middles, in the frame of the first and in shares of their spread."""
    turn, spread_px = _frame(points)
    shift = (points - points[:N_MESH].mean(0)) - (others - others[:N_MESH].mean(0))
    return np.concatenate([shift[:, :2] @ turn, shift[:, 2:]], 1) / spread_px


def moved_in_face(points: Array, difference: Array) -> Array:
    """Points (478, 3) moved by a difference as `difference_in_face` gives it."""
    turn, spread_px = _frame(points)
    return points + spread_px * np.concatenate([difference[:, :2] @ turn.T, difference[:, 2:]], 1)


def _frame(points: Array) -> tuple[Array, float]:
    """The turn (2, 2) of a face's eye line in the picture, and the spread of its points."""
    mesh = points[:N_MESH, :2]
    across = points[LEFT_EYE, :2] - points[RIGHT_EYE, :2]
    x, y = across / max(float(np.linalg.norm(across)), 1e-9)
    return np.array([[x, -y], [y, x]]), float(np.linalg.norm(mesh - mesh.mean(0), axis=1).mean())
