"""One upright frame with its time, and the geometry of square windows in it.

**Coordinates.** Pixel centres are at whole numbers, as in OpenCV: the picture covers -0.5 to width_px - 0.5. A window with its
first pixel at ``left_px``, ``top_px`` covers ``left_px - 0.5`` to ``left_px - 0.5 + side_px`` across and the same down. Pixel
(column j, row i) of a window of ``out_px`` pixels is centred on the upright point ::

    x = left_px - 0.5 + (j + 0.5) * side_px / out_px
    y = top_px  - 0.5 + (i + 0.5) * side_px / out_px

and an upright point (x, y) is seen in the window at ::

    j = (x - left_px + 0.5) * out_px / side_px - 0.5
    i = (y - top_px  + 0.5) * out_px / side_px - 0.5

so a window with whole ``left_px`` and ``top_px`` and ``side_px == out_px`` is a plain copy.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from posture.clip.planes import ArrayPicture, Grey, Picture, Rgb, Shrink

Crop = Callable[[int, int, int, int, Shrink], NDArray[np.uint8]]
"""Gives a part of a stored picture, see `posture.clip.planes.Picture.crop_rgb`."""

_MARGIN_PX = 3
"""Pixels read beyond a window on each side, so that cubic interpolation never meets the border of the part that was cut."""

_ENLARGED = 0.8
"""Below this many picture pixels for one of the window, cubic interpolation is worth its time."""

_FINER = 1.2
"""So many pixels for one of the window it is done to at least, by a whole factor, and linear interpolation does the rest: a fourth of the
time of cubic at once, and landmarks as exact (83 rendered faces of 40 to 90 px; with 0.8, tilt is off by 0.435 degrees instead of 0.408)."""

_MAX_OUT_PX = 8192
"""Largest window that is made; beyond it a caller has mixed up its arguments."""


@dataclass(frozen=True)
class Upright:
    """How a stored picture becomes the one that is shown.

    Attributes
    ----------
    stored_width, stored_height : int
    quarter_turns : int
        Counter-clockwise as you look at it, 0 to 3.
    mirrored : bool
        Left and right exchanged, after the turn.
    pixel_shape : Fraction
        Width of a stored pixel over its height. Pictures are only ever enlarged to make pixels square.
    """

    stored_width: int
    stored_height: int
    quarter_turns: int = 0
    mirrored: bool = False
    pixel_shape: Fraction = Fraction(1)

    @property
    def square_size(self) -> tuple[int, int]:
        """Width and height with square pixels, not yet turned."""
        if self.pixel_shape >= 1:
            return max(1, round(self.stored_width * self.pixel_shape)), self.stored_height
        return self.stored_width, max(1, round(self.stored_height / self.pixel_shape))

    @property
    def size(self) -> tuple[int, int]:
        """Width and height as shown."""
        width, height = self.square_size
        return (height, width) if self.quarter_turns % 2 else (width, height)

    def stored_from_upright(self) -> NDArray[np.float64]:
        """Return the 2x3 matrix from upright pixel coordinates to stored ones."""
        linear = np.linalg.matrix_power(np.array([[0.0, 1.0], [-1.0, 0.0]]), self.quarter_turns % 4)
        if self.mirrored:
            linear = np.diag([-1.0, 1.0]) @ linear
        square_width, square_height = self.square_size
        scale = np.diag([self.stored_width / square_width, self.stored_height / square_height])
        back = scale @ linear.T
        upright_centre = (np.array(self.size) - 1) / 2
        stored_centre = np.array([self.stored_width - 1, self.stored_height - 1]) / 2
        return np.column_stack([back, stored_centre - back @ upright_centre])

    def apply(self, stored: Rgb) -> Rgb:
        """Return a whole stored picture (h, w, 3) as shown, contiguous."""
        shown = stored
        if self.square_size != (self.stored_width, self.stored_height):
            shown = np.asarray(cv2.resize(shown, self.square_size, interpolation=cv2.INTER_LINEAR), dtype=np.uint8)
        shown = np.rot90(shown, self.quarter_turns)
        if self.mirrored:
            shown = shown[:, ::-1]
        return np.ascontiguousarray(shown)


def frame_of_jpeg(jpeg: bytes, time_s: float = 0.0) -> Frame | None:
    """A JPEG file in memory as an upright frame; None where it cannot be decoded."""
    decoded = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    if decoded is None:
        return None
    rgb = np.asarray(cv2.cvtColor(decoded, cv2.COLOR_BGR2RGB), np.uint8)
    return Frame(time_s, ArrayPicture(rgb), Upright(rgb.shape[1], rgb.shape[0]))


class Frame:
    """One frame of a clip, upright.

    Parameters
    ----------
    time_s : float
        Seconds from the first frame.
    picture : Picture
        As stored; colours are converted only when asked for.
    upright : Upright
        How it is shown.
    """

    def __init__(self, time_s: float, picture: Picture, upright: Upright) -> None:
        self.time_s = time_s
        self._picture = picture
        self._upright = upright
        self.width_px, self.height_px = upright.size

    def rgb(self) -> Rgb:
        """Return the whole picture, (height_px, width_px, 3), uint8, contiguous, upright."""
        return self._upright.apply(self._picture.rgb())

    def region_rgb(self, left_px: float, top_px: float, side_px: float, out_px: int) -> Rgb:
        """Return a square window of the upright picture at another size, converting only that part.

        Parameters
        ----------
        left_px, top_px : float
            Upright coordinates of the window's first pixel; the window begins half a pixel before. It may reach over the edges.
        side_px : float
            Side of the window in upright pixels.
        out_px : int
            Side of the result in pixels.

        Returns
        -------
        (out_px, out_px, 3) uint8
            Where it reaches over an edge, the pixels of the edge are repeated. The module's text says where each point lands.

        Raises
        ------
        ValueError
            If a coordinate is not finite, or a side is not positive or is absurdly large.
        """
        return self._picture.finish_colours(self._window(left_px, top_px, side_px, out_px, self._picture.crop_rgb))

    def region_grey(self, left_px: float, top_px: float, side_px: float, out_px: int) -> Grey:
        """Return the same window in grey, (out_px, out_px); of a film without converting any colour.

        Parameters
        ----------
        left_px, top_px, side_px, out_px
            As for `region_rgb`.

        Returns
        -------
        (out_px, out_px) uint8

        Raises
        ------
        ValueError
            As `region_rgb`.
        """
        return self._picture.finish_grey(self._window(left_px, top_px, side_px, out_px, self._picture.crop_grey))

    def _window(self, left_px: float, top_px: float, side_px: float, out_px: int, crop: Crop) -> NDArray[np.uint8]:
        """Return a window of what `crop` gives of the stored picture, its values not yet final."""
        if not (math.isfinite(left_px) and math.isfinite(top_px) and math.isfinite(side_px) and side_px > 0):
            raise ValueError(
                f"Expected a finite window with a positive side; got left {left_px}, top {top_px}, side {side_px}."
            )
        if not 0 < out_px <= _MAX_OUT_PX:
            raise ValueError(f"Expected out_px from 1 to {_MAX_OUT_PX}; got {out_px}.")
        scale = side_px / out_px
        shift = 0.5 * scale - 0.5
        upright_from_window = np.array([[scale, 0, left_px + shift], [0, scale, top_px + shift], [0, 0, 1]])
        to_stored = self._upright.stored_from_upright() @ upright_from_window
        cut, origin, shrink = self._cut(to_stored, out_px, crop)
        # Pixel k of a part shrunk by f covers pixels f*k to f*k + f - 1 of the part.
        to_cut = to_stored.copy()
        to_cut[:, 2] += 0.5 - origin
        to_cut /= shrink[:, None]
        to_cut[:, 2] -= 0.5
        ratio = float(np.abs(to_cut[:, :2]).sum(axis=1).max())
        if ratio < _ENLARGED:
            factor = math.ceil(_FINER / ratio)
            cut = np.asarray(cv2.resize(cut, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC), np.uint8)
            to_cut *= factor
            to_cut[:, 2] += 0.5 * factor - 0.5
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        window = cv2.warpAffine(cut, to_cut, (out_px, out_px), flags=flags, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(window, dtype=np.uint8)

    def _cut(
        self, to_stored: NDArray[np.float64], out_px: int, crop: Crop
    ) -> tuple[NDArray[np.uint8], NDArray[np.float64], NDArray[np.float64]]:
        """Cut the stored part under a window and shrink it by whole factors; return it, its first pixel and the factors."""
        ends = np.array([-0.5, out_px - 0.5])
        corners = to_stored[:, :2] @ np.array([ends[[0, 1, 0, 1]], ends[[0, 0, 1, 1]]]) + to_stored[:, 2:]
        size = np.array([self._picture.width, self._picture.height])
        # Averaging whole blocks first keeps the exact place of every point, which resizing to the window's size would round.
        shrink = np.clip(np.rint(np.abs(to_stored[:, :2]).sum(axis=1)), 1, size)
        low = np.clip(np.floor(corners.min(axis=1)) - _MARGIN_PX * shrink, 0, size - 1)
        # From even ones on, planes can be shrunk before colours are converted; the last pixel of an edge stands for what lies beyond.
        low -= np.where(low < size - 1, low % 2, 0)
        high = np.clip(np.ceil(corners.max(axis=1)) + _MARGIN_PX * shrink + 1, low + 1, size)
        cut = crop(int(low[0]), int(low[1]), int(high[0]), int(high[1]), (int(shrink[0]), int(shrink[1])))
        return cut, low, shrink


def upright_from_window(points: ArrayLike, left_px: float, top_px: float, side_px: float, out_px: int) -> NDArray[np.float64]:
    """Return where points of a window lie in the upright picture.

    Parameters
    ----------
    points : (..., 2) float
        Columns and rows in the window, pixel centres at whole numbers.
    left_px, top_px, side_px, out_px
        As given to `Frame.region_rgb`.

    Returns
    -------
    (..., 2) float
        Upright x and y in pixels.

    Examples
    --------
    >>> upright_from_window([0.5, 0.5], left_px=10, top_px=20, side_px=4, out_px=2).tolist()
    [11.5, 21.5]
    """
    first = np.array([left_px, top_px], dtype=np.float64)
    return first - 0.5 + (np.asarray(points, dtype=np.float64) + 0.5) * (side_px / out_px)
