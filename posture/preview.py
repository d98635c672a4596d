"""A small picture of a frame with an outline around each face that was found in it."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from posture.clip import Frame
from posture.face.seen import FaceSeen

WIDTH_PX = 480

JPEG_QUALITY = 75

OUTLINE_RGB = (255, 196, 0)


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
    small = np.ascontiguousarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA))
    for face in faces:
        outline = cv2.convexHull((face.points_px * scale).astype(np.float32)).round().astype(np.int32)
        cv2.polylines(small, [outline], True, OUTLINE_RGB, 2, cv2.LINE_AA)
    _, jpeg = cv2.imencode(".jpg", small[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    return jpeg.tobytes()
