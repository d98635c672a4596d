"""A local camera without a browser, and the file that its pictures are written to."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Protocol, Self

import av
import cv2
import numpy as np
from av.video.stream import VideoStream
from numpy.typing import NDArray

from posture.errors import CameraError, OutputError

Picture = NDArray[np.uint8]
"""Blue, green, red; shape (h, w, 3)."""

CRF, PRESET = "20", "veryfast"
"""Quality of the H.264 picture, 0 best to 51 worst, at an effort that a laptop keeps up with."""

KEY_EVERY = 60
"""A picture in so many stands for itself: what is cut off after it is lost, and no more."""

MILLISECOND = Fraction(1, 1000)


class Camera(Protocol):
    """What is needed of a camera."""

    def read(self) -> Picture | None:
        """The next picture; None when none comes any more."""

    def close(self) -> None:
        """Let go of it."""


class LocalCamera:
    """A camera of this computer.

    Parameters
    ----------
    number : int
        0 is the first.
    width_px, height_px : int
        Asked for; what comes is what the camera has.

    Raises
    ------
    CameraError
        If it cannot be opened.
    """

    def __init__(self, number: int = 0, width_px: int = 1280, height_px: int = 720) -> None:
        self._capture = cv2.VideoCapture(number)
        if not self._capture.isOpened():
            raise CameraError(_no_camera(number))
        self._capture.set(cv2.CAP_PROP_FRAME_WIDTH, width_px)
        self._capture.set(cv2.CAP_PROP_FRAME_HEIGHT, height_px)

    def read(self) -> Picture | None:
        """See `Camera`."""
        is_there, picture = self._capture.read()
        return np.asarray(picture, np.uint8) if is_there else None

    def close(self) -> None:
        """See `Camera`."""
        self._capture.release()


class FileCamera:
    """A film in the place of a camera, at its own speed and from its beginning again when it is over: for trying things out.

    Parameters
    ----------
    path : Path
    rate_hz : float
        Pictures a second; 0 gives them as fast as they are asked for.
    """

    def __init__(self, path: Path, rate_hz: float = 15.0) -> None:
        self._path = str(path)
        self._step_s = 1 / rate_hz if rate_hz else 0.0
        self._due_s = time.monotonic()
        self._capture = cv2.VideoCapture(self._path)
        if not self._capture.isOpened():
            raise CameraError(f"Expected a film in the place of a camera; '{path.name}' cannot be opened. Choose another.")

    def read(self) -> Picture | None:
        """See `Camera`."""
        self._due_s += self._step_s
        time.sleep(max(0.0, self._due_s - time.monotonic()))
        is_there, picture = self._capture.read()
        if not is_there:
            self._capture.release()
            self._capture = cv2.VideoCapture(self._path)
            is_there, picture = self._capture.read()
        return np.asarray(picture, np.uint8) if is_there else None

    def close(self) -> None:
        """See `Camera`."""
        self._capture.release()


class FilmWriter:
    """Writes pictures into a Matroska file, whose beginning can be read whatever happens to its end.

    Parameters
    ----------
    path : Path
        Must not be there.
    now : callable
        A clock in seconds.

    Raises
    ------
    OutputError
        If the file is there already or cannot be written.
    """

    def __init__(self, path: Path, now: Callable[[], float] = time.monotonic) -> None:
        if path.exists():
            raise OutputError(f"Expected a new file; '{path.name}' is there already. Choose another name, or remove it.")
        self.path = path
        self._now = now
        try:
            self._container = av.open(
                str(path), "w", format="matroska", options={"flush_packets": "1", "cluster_time_limit": "1000"}
            )
        except (OSError, av.FFmpegError) as error:
            raise OutputError(
                f"Expected to write '{path.name}'; that failed ({error.strerror}). Choose another folder, or free some space."
            ) from error
        self._stream: VideoStream | None = None
        self._done_s = 0.0
        self._since_s: float | None = None
        self._last_ms = -1

    @property
    def time_s(self) -> float:
        """Of the film, in which pauses do not count."""
        return self._done_s + (0.0 if self._since_s is None else self._now() - self._since_s)

    def pause(self) -> None:
        """Stop the time of the film; the next picture goes on from there."""
        self._done_s, self._since_s = self.time_s, None

    def add(self, picture: Picture) -> None:
        """Write a picture at this moment.

        Parameters
        ----------
        picture : ndarray of uint8, shape (h, w, 3)
            Blue, green, red; of the size of the first one.

        Raises
        ------
        CameraError
            If its size changes.
        OutputError
            If it cannot be written.
        """
        if self._since_s is None:
            self._since_s = self._now()
        height, width = picture.shape[:2]
        stream = self._stream = self._stream or self._begun(width, height)
        if (stream.width, stream.height) != (width // 2 * 2, height // 2 * 2):
            raise CameraError(
                f"Expected pictures of one size; they changed to {width} x {height}. What was filmed so far is kept; film again."
            )
        frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(picture[: stream.height, : stream.width]), format="bgr24")
        at_ms = max(self._last_ms + 1, round(1000 * self.time_s))
        self._last_ms = frame.pts = at_ms
        frame.time_base = MILLISECOND
        self._mux(frame)

    def close(self) -> None:
        """Write what is still to be written and end the file."""
        if self._stream is not None:
            self._mux(None)
        self._container.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def _begun(self, width: int, height: int) -> VideoStream:
        """The stream, whose size the first picture tells; odd sizes lose a row."""
        stream = self._container.add_stream("libx264", rate=30, options={"crf": CRF, "preset": PRESET, "tune": "zerolatency"})
        stream.width, stream.height, stream.pix_fmt = width // 2 * 2, height // 2 * 2, "yuv420p"
        stream.time_base = stream.codec_context.time_base = MILLISECOND
        stream.codec_context.gop_size = KEY_EVERY
        return stream

    def _mux(self, frame: av.VideoFrame | None) -> None:
        """Encode and write."""
        assert self._stream is not None
        try:
            self._container.mux(self._stream.encode(frame))
        except (OSError, av.FFmpegError) as error:
            raise OutputError(
                f"Expected to write '{self.path.name}'; that failed ({error.strerror}). Free some space: what was written is kept."
            ) from error


def _no_camera(number: int) -> str:
    """What to do where a camera cannot be opened."""
    may = {
        "darwin": " Allow the terminal to use the camera in the system's settings for privacy.",
        "win32": " Allow programs to use the camera in the settings for privacy.",
    }.get(sys.platform, " You may have to be in the group 'video'.")
    return (
        f"Expected a camera with number {number}; none could be opened. Plug it in, close programs that use it, or give another number."
        f"{may}"
    )
