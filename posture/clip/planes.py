"""The stored picture behind a frame: colours of any part of it, converting only that part."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any, Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import av

Rgb = NDArray[np.uint8]
Grey = NDArray[np.uint8]
Shrink = tuple[int, int]

_PLANAR: dict[str, tuple[int, int, int]] = {
    "yuv420p": (8, 2, 2),
    "yuvj420p": (8, 2, 2),
    "yuv422p": (8, 2, 1),
    "yuvj422p": (8, 2, 1),
    "yuv444p": (8, 1, 1),
    "yuvj444p": (8, 1, 1),
    "yuv420p10le": (10, 2, 2),
    "yuv422p10le": (10, 2, 1),
}
"""Pixel formats cut plane by plane: bits, and how many luma columns and rows one chroma sample covers."""

_FULL_RANGE = 2
_BT709 = 1
_CODES = np.arange(256)
_LUMA_TO_LIMITED = np.rint(16 + _CODES * (219 / 255)).astype(np.uint8)
_CHROMA_TO_LIMITED = np.rint(128 + (_CODES - 128) * (224 / 255)).astype(np.uint8)
_LUMA_FROM_LIMITED = np.clip(np.rint((_CODES - 16) * (255 / 219)), 0, 255).astype(np.uint8)


def _rgb_from_yuv(red: float, blue: float) -> NDArray[np.float64]:
    """Return the 3x3 matrix from luma and colour differences to RGB for the given shares of red and blue in luma."""
    green = 1 - red - blue
    return np.array(
        [
            [1, 0, 2 * (1 - red)],
            [1, -2 * (1 - blue) * blue / green, -2 * (1 - red) * red / green],
            [1, 2 * (1 - blue), 0],
        ]
    )


_BT601 = _rgb_from_yuv(0.299, 0.114)
_BT709_FROM_BT601 = _rgb_from_yuv(0.2126, 0.0722) @ np.linalg.inv(_BT601)
"""OpenCV converts by BT.601; this takes its RGB to the RGB of a film that says BT.709."""


class Picture(Protocol):
    """A picture as stored, before it is turned upright."""

    @property
    def width(self) -> int:
        """Columns stored."""

    @property
    def height(self) -> int:
        """Rows stored."""

    def rgb(self) -> Rgb:
        """Return the whole picture, (height, width, 3)."""

    def crop_rgb(self, x0: int, y0: int, x1: int, y1: int, shrink: Shrink = (1, 1)) -> Rgb:
        """Return rows y0 to y1 and columns x0 to x1 (ends excluded, inside the picture), colours perhaps not final.

        Blocks of so many columns and rows become one pixel; from even x0 and y0 on that costs least.
        """

    def finish_colours(self, rgb: Rgb) -> Rgb:
        """Make the colours of a (part of a) crop final; cheap when the part is small."""

    def crop_grey(self, x0: int, y0: int, x1: int, y1: int, shrink: Shrink = (1, 1)) -> Grey:
        """Return the same part in grey, (rows, columns), not yet final."""

    def finish_grey(self, grey: Grey) -> Grey:
        """Make the grey of a (part of a) crop final."""


class ArrayPicture:
    """A picture that is RGB already.

    Parameters
    ----------
    rgb : (h, w, 3) uint8
    """

    def __init__(self, rgb: Rgb) -> None:
        self._rgb = rgb
        self.height, self.width = rgb.shape[:2]

    def rgb(self) -> Rgb:
        """Return the whole picture, (h, w, 3)."""
        return self._rgb

    def crop_rgb(self, x0: int, y0: int, x1: int, y1: int, shrink: Shrink = (1, 1)) -> Rgb:
        """Return the given rows and columns, a view where nothing is shrunk."""
        return _shrunk(self._rgb[y0:y1, x0:x1], shrink)

    def finish_colours(self, rgb: Rgb) -> Rgb:
        """Return the colours as they are."""
        return rgb

    def crop_grey(self, x0: int, y0: int, x1: int, y1: int, shrink: Shrink = (1, 1)) -> Grey:
        """Return the given rows and columns in grey."""
        return np.asarray(cv2.cvtColor(self.crop_rgb(x0, y0, x1, y1, shrink), cv2.COLOR_RGB2GRAY), dtype=np.uint8)

    def finish_grey(self, grey: Grey) -> Grey:
        """Return the grey as it is."""
        return grey


class DecodedPicture:
    """A decoded frame of a video, kept as planes until colours are asked for.

    Parameters
    ----------
    frame : av.VideoFrame
    """

    def __init__(self, frame: av.VideoFrame) -> None:
        self._frame = frame
        self._rgb: Rgb | None = None
        self._converting = threading.Lock()
        self._layout = _PLANAR.get(frame.format.name)
        self.width, self.height = frame.width, frame.height

    def rgb(self) -> Rgb:
        """Return the whole picture, (h, w, 3), converted by FFmpeg once."""
        # The converter of a frame is one for all threads that look at it, and stops for ever when two use it at once.
        with self._converting:
            if self._rgb is None:
                self._rgb = np.asarray(self._frame.to_ndarray(format="rgb24"), dtype=np.uint8)
            return self._rgb

    def crop_rgb(self, x0: int, y0: int, x1: int, y1: int, shrink: Shrink = (1, 1)) -> Rgb:
        """Return the given rows and columns, by BT.601; formats without planes are converted whole."""
        if self._layout is None or self._rgb is not None:
            return _shrunk(self.rgb()[y0:y1, x0:x1], shrink)
        if shrink != (1, 1) and x0 % 2 == y0 % 2 == 0:
            return self._small_rgb(x0, y0, x1, y1, shrink)
        # Chroma is shared by two rows and two columns, so the part begins and ends on even ones.
        left, top = x0 & ~1, y0 & ~1
        width, height = (x1 - left + 1) // 2 * 2, (y1 - top + 1) // 2 * 2
        bits, wide, high = self._layout
        full_range = self._is_full_range
        packed = np.empty(width * height * 3 // 2, dtype=np.uint8)
        luma = self._plane(0, bits, self.width, self.height)[top : top + height, left : left + width]
        _fill(packed[: width * height].reshape(height, width), luma, bits, _LUMA_TO_LIMITED if full_range else None)
        columns, rows = -(-self.width // wide), -(-self.height // high)
        for index in (1, 2):
            start = width * height * (3 + index) // 4
            step_x, step_y = 2 // wide, 2 // high
            chroma = self._plane(index, bits, columns, rows)
            part = chroma[top // high : top // high + height // 2 * step_y : step_y]
            part = part[:, left // wide : left // wide + width // 2 * step_x : step_x]
            target = packed[start : start + width * height // 4].reshape(height // 2, width // 2)
            _fill(target, part, bits, _CHROMA_TO_LIMITED if full_range else None)
        rgb = cv2.cvtColor(packed.reshape(height * 3 // 2, width), cv2.COLOR_YUV2RGB_I420)
        return _shrunk(np.asarray(rgb[y0 - top : y1 - top, x0 - left : x1 - left], dtype=np.uint8), shrink)

    def finish_colours(self, rgb: Rgb) -> Rgb:
        """Take BT.601 colours to BT.709 when the film says so."""
        if self._layout is None or self._rgb is not None or int(self._frame.colorspace) != _BT709:
            return rgb
        return np.asarray(cv2.transform(rgb, _BT709_FROM_BT601), dtype=np.uint8)

    def _small_rgb(self, x0: int, y0: int, x1: int, y1: int, shrink: Shrink) -> Rgb:
        """Shrink the planes and convert what is left, which is a small part of the work of converting first; x0 and y0 are even."""
        assert self._layout is not None
        bits, wide, high = self._layout
        columns, rows = (-(-length // factor) for length, factor in zip((x1 - x0, y1 - y0), shrink, strict=True))
        # Of an even number of blocks the chroma is a whole number of samples.
        size = columns + columns % 2, rows + rows % 2
        parts = []
        for index, (step_x, step_y) in enumerate(((1, 1), (wide, high), (wide, high))):
            plane = self._plane(index, bits, -(-self.width // step_x), -(-self.height // step_y))
            part = plane[y0 // step_y : -(-y1 // step_y), x0 // step_x : -(-x1 // step_x)]
            part = _padded(part, size[0] * shrink[0] // step_x, size[1] * shrink[1] // step_y)
            small = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), part.dtype)
            parts.append(small if bits == 8 else (small >> (bits - 8)).astype(np.uint8))
        matrix = _BT601 @ np.diag([1.0, 1.0, 1.0] if self._is_full_range else [255 / 219, 255 / 224, 255 / 224])
        zero = matrix @ [0 if self._is_full_range else 16, 128, 128]
        rgb = cv2.transform(cv2.merge(parts)[:rows, :columns], np.column_stack([matrix, -zero]))
        return np.asarray(rgb, dtype=np.uint8)

    def crop_grey(self, x0: int, y0: int, x1: int, y1: int, shrink: Shrink = (1, 1)) -> Grey:
        """Return the given rows and columns of luma alone: no colour is converted."""
        if self._layout is None:
            return np.asarray(cv2.cvtColor(self.crop_rgb(x0, y0, x1, y1, shrink), cv2.COLOR_RGB2GRAY), dtype=np.uint8)
        bits = self._layout[0]
        luma = _shrunk(self._plane(0, bits, self.width, self.height)[y0:y1, x0:x1], shrink)
        return luma if bits == 8 else (luma >> (bits - 8)).astype(np.uint8)

    def finish_grey(self, grey: Grey) -> Grey:
        """Take luma of 16 to 235 to 0 to 255."""
        if self._layout is None or self._is_full_range:
            return grey
        return np.asarray(cv2.LUT(grey, _LUMA_FROM_LIMITED), dtype=np.uint8)

    @property
    def _is_full_range(self) -> bool:
        """Whether luma goes from 0 to 255."""
        return int(self._frame.color_range) == _FULL_RANGE or self._frame.format.name.startswith("yuvj")

    def _plane(self, index: int, bits: int, width: int, height: int) -> NDArray[Any]:
        """Return one plane, a view of shape (height, width)."""
        plane = self._frame.planes[index]
        dtype = np.uint8 if bits == 8 else np.dtype("<u2")
        rows = np.frombuffer(memoryview(plane), dtype=np.uint8)[: plane.line_size * height].reshape(height, plane.line_size)
        return rows.view(dtype)[:, :width]


def _padded(part: NDArray[Any], width: int, height: int) -> NDArray[Any]:
    """A part of a picture with its last column and row repeated until it has this size."""
    rows, columns = part.shape[:2]
    if (columns, rows) == (width, height):
        return part
    return np.asarray(cv2.copyMakeBorder(part, 0, height - rows, 0, width - columns, cv2.BORDER_REPLICATE))


def _shrunk(part: NDArray[Any], shrink: Shrink) -> NDArray[Any]:
    """A part of a picture with the means of its blocks; a view where nothing is shrunk."""
    if shrink == (1, 1):
        return part
    size = tuple(-(-length // factor) for length, factor in zip(part.shape[1::-1], shrink, strict=True))
    return np.asarray(cv2.resize(_padded(part, size[0] * shrink[0], size[1] * shrink[1]), size, interpolation=cv2.INTER_AREA))


def _fill(target: Rgb, part: NDArray[Any], bits: int, table: Rgb | None) -> None:
    """Copy a part of a plane as 8 bits, repeating the last row and column where the part is short of an even size."""
    values = part if bits == 8 else (part >> (bits - 8)).astype(np.uint8)
    if table is not None:
        values = cv2.LUT(np.ascontiguousarray(values), table)
    rows, columns = values.shape
    target[:rows, :columns] = values
    target[rows:, :columns] = target[rows - 1 : rows, :columns]
    target[:, columns:] = target[:, columns - 1 : columns]
