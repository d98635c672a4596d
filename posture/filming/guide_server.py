"""The process of the live guide: takes a small picture, follows the face in it, answers with its tilt; keeps no picture.

It listens on the loopback address only, at a port that the system chooses, and answers nobody who does not know the word that it
was given at its beginning, nor a page of another computer, nor one that reaches it under another name.
"""

from __future__ import annotations

import hmac
import json
import os
import sys
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from math import isfinite
from typing import Any, NamedTuple
from urllib.parse import parse_qs, urlsplit

from posture.filming.guide import Hold, answer_for

LARGEST_BYTES = 200_000
"""Of a picture of 480 px; three times what a noisy one has."""

IDLE_S = 120.0
"""It ends by itself when nothing came for so long: the tab is closed. The browser says that it is there more often than that."""

PATIENCE_S = 5.0
"""For a picture that has begun to come."""

PAGES = ("127.0.0.1", "localhost", "::1")
"""Hosts of the page that may ask."""


class Came(NamedTuple):
    """What was sent."""

    jpeg: bytes
    time_s: float


class TiltReader:
    """The tilt of one face that is followed from picture to picture; used inside ``with``, by one thread at a time."""

    def __init__(self) -> None:
        from posture.face.follow import FollowedFace
        from posture.face.search import FaceSearch

        self._face, self._search = FollowedFace(), FaceSearch()
        self._life = ExitStack()
        self._is_followed = False

    def __enter__(self) -> TiltReader:
        self._life.enter_context(self._face)
        self._life.enter_context(self._search)
        return self

    def __exit__(self, *error: object) -> None:
        self._life.close()

    def read(self, jpeg: bytes, time_s: float) -> float | None:
        """The tilt in degrees, the camera taken as level, positive to the child's right shoulder.

        Parameters
        ----------
        jpeg : bytes
            Not mirrored.
        time_s : float

        Returns
        -------
        float or None
            None where no face is seen; of several the largest is followed, and none is changed for another while it is seen.
        """
        from posture.clip.frame import frame_of_jpeg
        from posture.face.model import load_canonical_face
        from posture.geometry.angles import posture_angles
        from posture.geometry.fit import Camera
        from posture.geometry.lens import lens_of
        from posture.geometry.pose import estimate_pose

        frame = frame_of_jpeg(jpeg, time_s)
        if frame is None:
            return None
        seen = self._face.look(frame) if self._is_followed else None
        if seen is None:
            for find in self._search.sweep(frame, thorough=True):
                turns = self._search.confirm(frame, find)
                seen = None if turns is None else self._face.place(frame, find.centre_px, find.size_px, turns)
                if seen is not None:
                    break
        self._is_followed = seen is not None
        if seen is None:
            return None
        camera = Camera(frame.width_px, frame.height_px, lens_of(max(frame.width_px, frame.height_px)).focal_px)
        pose = estimate_pose(seen.points_px, seen.depth_px, camera, load_canonical_face())
        return float(posture_angles(pose.rotation)[0]) if pose.quality > 0 else None


class GuideServer(ThreadingHTTPServer):
    """Answers pictures with tilts on the loopback address, at a port that is free; `serve_forever` begins to answer.

    Parameters
    ----------
    token : str
        The word that lets in.
    read : callable
        As `TiltReader.read`; called by one thread at a time.
    """

    daemon_threads = True

    def __init__(self, token: str, read: Callable[[bytes, float], float | None]) -> None:
        super().__init__(("127.0.0.1", 0), _Answers)
        self._token = token.encode()
        self._read = read
        self._hold, self._turn = Hold(), threading.Lock()
        self.asked_s = time.monotonic()

    @property
    def port(self) -> int:
        """Where it listens."""
        return int(self.server_address[1])

    def lets_in(self, word: str) -> bool:
        """Whether this is the word, compared in a time that does not tell how much of it was right."""
        return hmac.compare_digest(word.encode("utf-8", "replace"), self._token)

    def answer(self, came: Came) -> dict[str, Any]:
        """What is told of a picture."""
        with self._turn:
            tilt_deg = self._read(came.jpeg, came.time_s)
            return answer_for(tilt_deg, self._hold.add(came.time_s, tilt_deg))


class _Answers(BaseHTTPRequestHandler):
    """One connection of the page's."""

    server: GuideServer
    protocol_version = "HTTP/1.1"
    # An answer goes out in one part and at once; in two it would wait for the browser's word on the first.
    wbufsize = -1
    disable_nagle_algorithm = True
    timeout = IDLE_S

    def do_OPTIONS(self) -> None:
        """What the browser asks before the first picture."""
        self._tell(204 if self._may() else 403)

    def do_POST(self) -> None:
        """A picture; an empty one only says that the page is still there."""
        came = self._came() if self._may() else None
        if came is None:
            self._tell(400 if self._may() else 403)
        elif not came.jpeg:
            self._tell(204)
        else:
            self._tell(200, self.server.answer(came))

    def _may(self) -> bool:
        """Whether it is the page that asks."""
        page = urlsplit(self.headers.get("Origin", "")).hostname
        is_page = page in PAGES and self.headers.get("Host") == f"127.0.0.1:{self.server.port}"
        if is_page and self.server.lets_in(urlsplit(self.path).path.removeprefix("/")):
            self.server.asked_s = time.monotonic()
            return True
        return False

    def _came(self) -> Came | None:
        """The picture and its time; None for anything else."""
        try:
            n_bytes = int(self.headers.get("Content-Length", ""))
            time_s = float(parse_qs(urlsplit(self.path).query).get("at", ["0"])[0])
        except ValueError:
            return None
        if not 0 <= n_bytes <= LARGEST_BYTES or not isfinite(time_s):
            return None
        self.connection.settimeout(PATIENCE_S)
        jpeg = self.rfile.read(n_bytes)
        self.connection.settimeout(IDLE_S)
        return Came(jpeg, time_s) if len(jpeg) == n_bytes else None

    def _tell(self, status: int, answer: dict[str, Any] | None = None) -> None:
        """Send an answer."""
        body = b"" if answer is None else json.dumps(answer).encode()
        self.send_response(status)
        if status >= 400:
            # What of the request was not read must not be taken for the next one.
            self.close_connection = True
            self.send_header("Connection", "close")
        else:
            self.send_header("Access-Control-Allow-Origin", self.headers["Origin"])
            self.send_header("Access-Control-Allow-Methods", "POST")
            self.send_header("Access-Control-Allow-Headers", "Content-Type")
            self.send_header("Access-Control-Max-Age", "3600")
            self.send_header("Cache-Control", "no-store")
        if status != 204:
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing is logged: the word stands in every line of it."""


def main() -> None:
    """Read the word, tell the port, answer until the page's process has ended or nobody asks."""
    # Native libraries print to the standard output; the port has it for itself.
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    token = sys.stdin.readline().strip()
    with TiltReader() as reader:
        server = GuideServer(token, reader.read)
        out.write(json.dumps({"port": server.port}).encode() + b"\n")
        out.flush()
        threading.Thread(target=_end_with_the_page, daemon=True).start()
        threading.Thread(target=_end_when_idle, args=(server,), daemon=True).start()
        server.serve_forever()


def _end_with_the_page() -> None:
    """End this process when the one that began it is gone."""
    sys.stdin.read()
    os._exit(0)


def _end_when_idle(server: GuideServer) -> None:
    """End this process when nobody has asked for a while."""
    while time.monotonic() - server.asked_s < IDLE_S:
        time.sleep(1.0)
    os._exit(0)


if __name__ == "__main__":
    main()
