"""A few frames of a clip, kept in memory so that upright and side can be settled by eye; never written to disk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.face.seen import N_MESH, FaceSeen
from posture.face.writing import find_writing

MOST = 4
"""So many are kept: spread over the clip, as a hand-held camera shows other things later."""

FIRST_EVERY_S = 1.0
"""Time between the first ones; it doubles whenever there are more than `MOST`."""

LONGER_PX = 1280
"""A larger picture is made smaller: lines are marked to a pixel or two of this."""

JPEG_QUALITY = 92

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


class WholePicture(Protocol):
    """What is needed of a frame."""

    time_s: float

    def rgb(self) -> NDArray[np.uint8]:
        """The whole upright picture, shape (h, w, 3)."""


@dataclass(frozen=True)
class Still:
    """One frame, as a compressed picture.

    Attributes
    ----------
    time_s : float
    jpeg : bytes
        The upright picture, its longer side `LONGER_PX` at most.
    scale : float
        Pixels of the still for one of the film.
    boxes : dict of int to Box
        In pixels of the film, around every face by the number of its stretch.
    leans_deg : dict of int to float
        Slope of every face's eye line in the picture, likewise.
    """

    time_s: float
    jpeg: bytes
    scale: float
    boxes: dict[int, Box]
    leans_deg: dict[int, float]

    @cached_property
    def writing(self) -> tuple[Box, ...]:
        """What looks like writing, in pixels of the film; looked for when it is first asked for, which takes 40 ms."""
        boxes = [scaled_box(box, self.scale) for box in self.boxes.values()]
        return tuple(scaled_box(box, 1 / self.scale) for box in find_writing(self.rgb, boxes))

    @property
    def rgb(self) -> NDArray[np.uint8]:
        """The picture, shape (h, w, 3)."""
        decoded = np.asarray(cv2.imdecode(np.frombuffer(self.jpeg, np.uint8), cv2.IMREAD_COLOR))
        return np.asarray(cv2.cvtColor(decoded, cv2.COLOR_BGR2RGB), np.uint8)


class StillKeeper:
    """Keeps frames with a face in them, evenly spread over a clip of any length."""

    def __init__(self) -> None:
        self._kept: list[Still] = []
        self._every_s = FIRST_EVERY_S

    def look(self, frame: WholePicture, faces: Sequence[FaceSeen]) -> None:
        """Keep the frame if it has a face and it is time for one.

        Parameters
        ----------
        frame : WholePicture
        faces : sequence of FaceSeen
        """
        if not faces or (self._kept and frame.time_s - self._kept[-1].time_s < self._every_s):
            return
        self._kept.append(_still(frame, faces))
        if len(self._kept) > MOST:
            self._kept = self._kept[::2]
            self._every_s *= 2

    def finish(self) -> tuple[Still, ...]:
        """The stills."""
        return tuple(self._kept)


def jpeg_of(rgb: NDArray[np.uint8], quality: int) -> bytes:
    """A picture (h, w, 3) as a JPEG file of that quality, 0 to 100."""
    _, jpeg = cv2.imencode(".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, quality])
    return jpeg.tobytes()


def _still(frame: WholePicture, faces: Sequence[FaceSeen]) -> Still:
    """A frame as a still."""
    rgb = frame.rgb()
    scale = min(1.0, LONGER_PX / max(rgb.shape[:2]))
    if scale < 1:
        size = round(rgb.shape[1] * scale), round(rgb.shape[0] * scale)
        rgb = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    boxes = {face.stretch: _box(face) for face in faces}
    return Still(frame.time_s, jpeg_of(rgb, JPEG_QUALITY), scale, boxes, {face.stretch: face.slope_deg for face in faces})


def _box(face: FaceSeen) -> Box:
    """The box around a face."""
    mesh = face.points_px[:N_MESH]
    (left, top), (right, bottom) = mesh.min(0), mesh.max(0)
    return float(left), float(top), float(right), float(bottom)


def scaled_box(box: Box, scale: float) -> Box:
    """A box in a picture of so many times the size."""
    left, top, right, bottom = (float(value) * scale for value in box)
    return left, top, right, bottom
