"""Small pictures of frames: with an outline around each face that was found, and turned until what is plumb stands plumb."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.clip import Frame
from posture.face.seen import FaceSeen
from posture.face.stills import jpeg_of
from posture.geometry.angles import camera_matrix
from posture.geometry.fit import Camera

WIDTH_PX = 480

JPEG_QUALITY = 75

OUTLINE_RGB = (255, 196, 0)

PLUMB_LINES = 9
"""Thin plumb lines over a straightened picture, to hold a door frame against."""

PLUMB_RGB, BEYOND_RGB = (255, 255, 255), (238, 242, 242)
"""Of those lines, and of what lies outside of the frame."""


def outlined_jpeg(frame: Frame, faces: Sequence[FaceSeen]) -> bytes:
    """A small picture of a frame with the outlines of the faces.

    Parameters
    ----------
    frame : Frame
    faces : sequence of FaceSeen

    Returns
    -------
    bytes
        A JPEG file, `WIDTH_PX` across or smaller.
    """
    rgb = frame.rgb()
    scale = min(1.0, WIDTH_PX / rgb.shape[1])
    size = max(1, round(rgb.shape[1] * scale)), max(1, round(rgb.shape[0] * scale))
    small = np.ascontiguousarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    for face in faces:
        outline = cv2.convexHull((face.points_px * scale).astype(np.float32)).round().astype(np.int32)
        cv2.polylines(small, [outline], True, OUTLINE_RGB, 2, cv2.LINE_AA)
    return jpeg_of(small, JPEG_QUALITY)


def straightened(rgb: NDArray[np.uint8], camera: Camera, roll_deg: float, pitch_deg: float) -> NDArray[np.uint8]:
    """A picture as a level camera would have taken it, with plumb lines over it.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
    camera : Camera
        Of that picture, whose size the picture has or is smaller than.
    roll_deg, pitch_deg : float
        Of the camera.

    Returns
    -------
    ndarray of uint8, shape (h', w', 3)
        `WIDTH_PX` across.
    """
    scale = WIDTH_PX / rgb.shape[1]
    size = WIDTH_PX, max(1, round(rgb.shape[0] * scale))
    small = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    lens = Camera(*size, camera.focal_px * WIDTH_PX / camera.width_px).matrix
    to_level = lens @ camera_matrix(roll_deg, pitch_deg).T @ np.linalg.inv(lens)
    # What the camera looked at stays in the middle.
    middle = np.array([*lens[:2, 2], 1.0])
    x, y, depth = to_level @ middle
    to_level = np.array([[1, 0, middle[0] - x / depth], [0, 1, middle[1] - y / depth], [0, 0, 1]]) @ to_level
    level = np.ascontiguousarray(cv2.warpPerspective(small, to_level, size, borderValue=BEYOND_RGB), np.uint8)
    for x in np.linspace(0, WIDTH_PX, PLUMB_LINES + 2)[1:-1].round().astype(int):
        cv2.line(level, (int(x), 0), (int(x), size[1]), PLUMB_RGB, 1, cv2.LINE_AA)
    return level
