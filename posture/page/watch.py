"""What is shown while a clip is measured: how far it is, and the picture with an outline around the face that was found."""

from __future__ import annotations

import time
from typing import Any

import cv2
import numpy as np

from posture.clip import Frame
from posture.face.follow import FaceSeen

EVERY_S = 0.5
"""Pictures are shown at most this often: the server keeps every one that it was given until the measurement ends."""

WIDTH_PX = 480

JPEG_QUALITY = 75

OUTLINE_RGB = (255, 196, 0)


class Watch:
    """Shows a measurement as it goes; give its `show` to `measure_clip`.

    Parameters
    ----------
    bar, picture : streamlit placeholders
        Made with ``st.empty()``.
    """

    def __init__(self, bar: Any, picture: Any) -> None:
        self._bar = bar
        self._picture = picture
        self._next_s = -np.inf

    def draw_sample(self, name: str, share: float) -> None:
        """Show how much of a sample has been drawn."""
        if self._is_due():
            self._bar.progress(share, text="Drawing the sample, once")

    def show(self, frame: Frame, seen: FaceSeen | None, share: float | None) -> None:
        """Show a frame, unless one was shown a moment ago."""
        if not self._is_due():
            return
        where = f"{frame.time_s // 60:.0f} min {frame.time_s % 60:.0f} s" if frame.time_s >= 60 else f"{frame.time_s:.0f} s"
        found = "face found" if seen is not None else "no face at this moment"
        done = f"{share:.0%} of the clip" if share is not None else f"{where} of the clip"
        self._bar.progress(share or 0.0, text=f"Measuring: {done}, {found}")
        self._picture.image(outlined_jpeg(frame, seen), width=WIDTH_PX)

    def clear(self) -> None:
        """Take both away."""
        self._bar.empty()
        self._picture.empty()

    def _is_due(self) -> bool:
        """Whether the last picture is old enough; if so, the next one is put off."""
        now_s = time.monotonic()
        if now_s < self._next_s:
            return False
        self._next_s = now_s + EVERY_S
        return True


def outlined_jpeg(frame: Frame, seen: FaceSeen | None) -> bytes:
    """A small picture of a frame with the outline of the face.

    Parameters
    ----------
    frame : Frame
    seen : FaceSeen or None

    Returns
    -------
    bytes
        A JPEG file, `WIDTH_PX` across or smaller.
    """
    rgb = frame.rgb()
    scale = min(1.0, WIDTH_PX / rgb.shape[1])
    size = max(1, round(rgb.shape[1] * scale)), max(1, round(rgb.shape[0] * scale))
    small = np.ascontiguousarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA))
    if seen is not None:
        outline = cv2.convexHull((seen.points_px * scale).astype(np.float32)).round().astype(np.int32)
        cv2.polylines(small, [outline], True, OUTLINE_RGB, 2, cv2.LINE_AA)
    _, jpeg = cv2.imencode(".jpg", small[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    return jpeg.tobytes()
