"""What is seen of one face in one frame, and the square windows through which it is looked at."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.conventions import Side

WINDOW_FACES = 2.2
"""Side of the window in face sizes: the detector needs the face at an eighth of the picture or more, the mesh some margin."""

WINDOW_PX = 384
"""A window is looked at in this size at most: a face is then about 175 px, of which the library makes its own 256 px input."""

LEAST_WINDOW_PX = 128
"""And in this size at least, which is that of the detector."""

ENLARGED = 2.0
"""A small face is enlarged by this: landmarks were as good as with any larger window, and better than with the picture as it is
(rendered faces of 28 to 110 px: tilt 0.67 degrees enlarged, 0.75 not)."""

N_MESH = 468
"""Points of the mesh; those after it are the irises."""


_TURNS = {1: cv2.ROTATE_90_COUNTERCLOCKWISE, 2: cv2.ROTATE_180, 3: cv2.ROTATE_90_CLOCKWISE}

RIGHT_EYE, LEFT_EYE, NOSE_TIP = 33, 263, 1
"""Outer corners of the eyes, and the tip of the nose, among the landmarks."""

EYES: dict[Side, tuple[int, int]] = {"right": (RIGHT_EYE, 133), "left": (LEFT_EYE, 362)}
"""Outer and inner corner of either eye."""


class Picture(Protocol):
    """What following needs of a frame."""

    time_s: float
    width_px: int
    height_px: int

    def region_rgb(self, left_px: float, top_px: float, side_px: float, out_px: int) -> NDArray[np.uint8]:
        """Pixels of a square window, shape (out_px, out_px, 3), RGB."""

    def region_grey(self, left_px: float, top_px: float, side_px: float, out_px: int) -> NDArray[np.uint8]:
        """The same in grey, shape (out_px, out_px)."""


@dataclass(frozen=True)
class FaceSeen:
    """The landmarks of one face in one frame.

    Attributes
    ----------
    points_px : ndarray, shape (478, 2)
        In the upright picture, pixel centres at whole numbers.
    depth_px : ndarray, shape (478,)
        The library's own relative depth, growing away from the camera.
    looks : int
        How often this frame was looked at.
    settled : bool
        Whether the last look no longer moved the landmarks.
    stretch : int
        Number of the stretch of unbroken following that it belongs to, from 1 in order of first sight; see
        `posture.face.stretch`.
    detail : float
        How sharply it is seen; see `posture.face.detail`.
    """

    points_px: NDArray[np.float64]
    depth_px: NDArray[np.float64]
    looks: int
    settled: bool
    stretch: int = 0
    detail: float = 1.0

    @cached_property
    def centre_px(self) -> NDArray[np.float64]:
        """Middle of the box around the face, shape (2,)."""
        mesh = self.points_px[:N_MESH]
        return (mesh.min(0) + mesh.max(0)) / 2

    @property
    def slope_deg(self) -> float:
        """Slope of the line from the right eye to the left one in the picture, + when the left eye is lower."""
        across = self.points_px[LEFT_EYE] - self.points_px[RIGHT_EYE]
        return float(np.degrees(np.arctan2(across[1], across[0])))

    @property
    def nose_share(self) -> NDArray[np.float64]:
        """From the middle between the eyes to the tip of the nose, in face sizes, shape (2,): it shifts as the face turns."""
        points = self.points_px
        return (points[NOSE_TIP] - (points[RIGHT_EYE] + points[LEFT_EYE]) / 2) / self.size_px

    @cached_property
    def size_px(self) -> float:
        """Longer side of the box around the face."""
        return size_of(self.points_px)


def size_of(points: NDArray[np.float64]) -> float:
    """Longer side of the box around the points (478, 2) of a face, in whatever they are given in."""
    mesh = points[:N_MESH]
    return float((mesh.max(0) - mesh.min(0)).max())


@dataclass(frozen=True)
class Window:
    """A square of the upright picture, looked at in another size and, for a face that lies or hangs, turned.

    Attributes
    ----------
    left_px, top_px, side_px : float
        In the upright picture; see `posture.clip.frame`.
    out_px : int
    quarter_turns : int
        Counter-clockwise as you look at it, 0 to 3, before it is looked at: the landmarks hold to about 60 degrees of tilt.
    """

    left_px: float
    top_px: float
    side_px: float
    out_px: int
    quarter_turns: int = 0

    @classmethod
    def around(
        cls, centre_px: NDArray[np.float64], size_px: float, quarter_turns: int = 0, out_px: int | None = None
    ) -> Window:
        """The window for a face of that place and size; without out_px as large as its landmarks need."""
        side = WINDOW_FACES * size_px
        if out_px is None:
            out_px = int(np.clip(round(ENLARGED * side), LEAST_WINDOW_PX, WINDOW_PX))
        corner = centre_px - (side - 1) / 2
        return cls(float(corner[0]), float(corner[1]), side, out_px, quarter_turns % 4)

    @classmethod
    def over(cls, picture: Picture, out_px: int) -> Window:
        """The window that begins at the picture's first pixel and holds the whole of it."""
        return cls(0.0, 0.0, float(max(picture.width_px, picture.height_px)), out_px)

    def show_grey(self, picture: Picture) -> NDArray[np.uint8]:
        """Its pixels in grey, without what it shows beyond the picture to the right and below; of a window from `over`."""
        scale = self.out_px / self.side_px
        grey = picture.region_grey(self.left_px, self.top_px, self.side_px, self.out_px)
        return np.asarray(grey[: round(picture.height_px * scale), : round(picture.width_px * scale)], np.uint8)

    @property
    def middle_px(self) -> NDArray[np.float64]:
        """Its middle in the upright picture, shape (2,)."""
        return np.array([self.left_px, self.top_px]) + self.side_px / 2 - 0.5

    def show(self, picture: Picture) -> NDArray[np.uint8]:
        """Its pixels, turned."""
        pixels = picture.region_rgb(self.left_px, self.top_px, self.side_px, self.out_px)
        return np.asarray(cv2.rotate(pixels, _TURNS[self.quarter_turns]), np.uint8) if self.quarter_turns else pixels

    def to_picture(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (n, 2) or (n, 3) of the window in pixels of the picture; depth only changes its scale."""
        scale = self.side_px / self.out_px
        corner = np.array([self.left_px, self.top_px])
        flat = points[:, :2]
        for _ in range(self.quarter_turns):
            flat = np.stack([self.out_px - 1 - flat[:, 1], flat[:, 0]], 1)
        return np.concatenate([(flat + 0.5) * scale - 0.5 + corner, points[:, 2:] * scale], 1)

    def from_picture(self, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (n, 2) of the picture in pixels of the window."""
        corner = np.array([self.left_px, self.top_px])
        flat = (points_px - corner + 0.5) * (self.out_px / self.side_px) - 0.5
        for _ in range(self.quarter_turns):
            flat = np.stack([flat[:, 1], self.out_px - 1 - flat[:, 0]], 1)
        return flat
