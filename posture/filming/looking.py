"""Whether a face is in view of the camera, told before filming; a process of its own looks, so that its libraries stay out of the page.

Small pictures go to it one at a time, through its standard input; none is kept anywhere.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from typing import BinaryIO, NamedTuple

LENGTH_BYTES = 4

LARGEST_BYTES = 60_000
"""Of a small picture; more would not fit into the pipe at once, and the page would wait."""

IDLE_S = 30.0
"""The process ends by itself when nothing came for so long: the tab is closed, or filming has begun."""

NEAR_SHARE = 0.16
"""A face of less than this share of the picture's height is small: of 720 px that is 115, and half of it is still measured."""

EDGE_SHARE = 0.12
"""A face whose middle is nearer than this to a side of the picture leaves it when the child leans (common practice, no source)."""


class FaceInView(NamedTuple):
    """A face: its height and the place of its middle, as shares of the picture's height, width and height."""

    height: float
    x: float
    y: float


def say_faces(faces: Sequence[FaceInView] | None) -> str:
    """Tell in plain words whether the child can be filmed so.

    Parameters
    ----------
    faces : sequence of FaceInView or None
        The largest first; None is not known yet.
    """
    if faces is None:
        return ""
    if not faces:
        return "No face is in view: turn the camera to the child, or bring it nearer."
    largest = faces[0]
    if largest.height < NEAR_SHARE:
        return "A face is in view, but small: bring the camera nearer."
    if not (EDGE_SHARE < largest.x < 1 - EDGE_SHARE and EDGE_SHARE < largest.y < 1 - EDGE_SHARE):
        return "A face is in view, but at the edge: turn the camera until it is in the middle."
    if len(faces) > 1:
        return f"{len(faces)} faces are in view. It is best if only the child is; who it is will be asked."
    return "A face is in view, large enough and well inside the picture."


class FaceWatcher:
    """Looks for faces in one small picture after the other; begun with the first."""

    def __init__(self) -> None:
        self.faces: tuple[FaceInView, ...] | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._is_busy = False

    def offer(self, jpeg: bytes) -> None:
        """Have a picture looked at, unless one is being looked at; returns at once, and `faces` is what was seen last.

        Parameters
        ----------
        jpeg : bytes
            At most `LARGEST_BYTES`; a larger one is left.
        """
        if self._process is not None and self._process.poll() is not None:
            self.close()
        if self._process is None:
            # Without the working folder among the places that modules come from.
            command = [sys.executable, "-P", "-m", "posture.filming.looking"]
            self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
            self._is_busy = False
            threading.Thread(target=self._listen, args=(self._process,), name="faces", daemon=True).start()
        if self._is_busy or not 0 < len(jpeg) <= LARGEST_BYTES:
            return
        assert self._process.stdin is not None
        try:
            self._is_busy = True
            self._process.stdin.write(len(jpeg).to_bytes(LENGTH_BYTES, "big") + jpeg)
            self._process.stdin.flush()
        except OSError:
            self.close()  # It ended just now; the next picture begins another.

    def close(self) -> None:
        """End the process."""
        process, self._process, self.faces = self._process, None, None
        if process is not None:
            assert process.stdin is not None
            process.kill()
            process.wait()
            with contextlib.suppress(OSError):
                process.stdin.close()

    def _listen(self, process: subprocess.Popen[bytes]) -> None:
        """Take in what is told, until the process ends."""
        assert process.stdout is not None
        with process.stdout as answers:
            for line in answers:
                if process is self._process:
                    self.faces = tuple(FaceInView(*face) for face in json.loads(line))
                    self._is_busy = False


def look_at_all(pictures: BinaryIO, answers: BinaryIO) -> None:
    """Look at pictures until there are no more; the body of the process.

    Parameters
    ----------
    pictures : binary file
        The length of each as `LENGTH_BYTES` bytes, then the picture.
    answers : binary file
        Gets a line of JSON for each: a list of height, x and y.
    """
    from posture.face.search import FaceSearch

    idle = _end_after_idle()
    with FaceSearch() as search:
        while len(head := pictures.read(LENGTH_BYTES)) == LENGTH_BYTES:
            jpeg = pictures.read(int.from_bytes(head, "big"))
            idle.cancel()
            answers.write(json.dumps(_faces_in(jpeg, search)).encode() + b"\n")
            answers.flush()
            idle = _end_after_idle()
    idle.cancel()


def _faces_in(jpeg: bytes, search: object) -> list[FaceInView]:
    """The faces of one picture that are found again when looked at closely."""
    from posture.clip.frame import frame_of_jpeg
    from posture.face.search import FaceSearch

    assert isinstance(search, FaceSearch)
    frame = frame_of_jpeg(jpeg)
    if frame is None:
        return []
    width, height = frame.width_px, frame.height_px
    finds = [find for find in search.sweep(frame, thorough=True) if search.confirm(frame, find) is not None]
    return [FaceInView(f.size_px / height, float(f.centre_px[0]) / width, float(f.centre_px[1]) / height) for f in finds]


def _end_after_idle() -> threading.Timer:
    """End this process when nothing comes for a while."""
    timer = threading.Timer(IDLE_S, os._exit, (0,))
    timer.daemon = True
    timer.start()
    return timer


if __name__ == "__main__":
    # Native libraries print to the standard output; the answers have it for themselves.
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    look_at_all(sys.stdin.buffer, out)
