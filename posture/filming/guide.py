"""The live guide of the head-tilt test: the tilt now, in words, and how long it has been held.

**Way of the pictures.** The browser has the camera, so it gives the pictures: small ones, one at a time, the newest only. They do
not go through the page's component. A message of that starts a run of the page's script, and all share one queue with the pieces of
film: an echo without any landmarks came back after 37 ms (95 %: 49) on a quiet machine with two cores, but after 154 ms (95 %: a
second, as messages were lost) on a busy one.
They go straight to a process that answers on this computer's loopback address, `posture.filming.guide_server`: no script runs, the
recording's pieces are left alone, and what is found comes back as the answer to the picture itself. A second camera program
(OpenCV) would need the camera a second time, which most systems refuse while the browser has it.

**What it may say.** The tilt that is there, never one to be reached: no target, no mark, no praise.
"""

from __future__ import annotations

import contextlib
import json
import secrets
import subprocess
import sys
import threading
import weakref
from collections import deque
from collections.abc import Mapping
from math import isfinite
from typing import Any

from posture.filming.steps import screen_answer
from posture.summary.record import Interval
from posture.summary.words import say_angle

HELD_WITHIN_DEG = 3.0
"""A tilt counts as held for as long as it stayed within this of the tilt now (common practice, no source)."""

OLD_S = 0.5
"""A value that is older is no value: it is taken away, and a hold that was not seen for longer begins anew."""

TEST_DEG = 30.0
"""The head-tilt test asks for no more (clinical rules, section 1)."""

LEVEL = "The camera is taken as level."

NOT_SEEN = "No face is seen."

BEYOND = "Beyond 30 degrees: the test does not need it."

LONGEST_S = 120.0
"""Of what is remembered; nobody's head is held for longer."""


class Hold:
    """How long a tilt has been held; given the tilts in order."""

    def __init__(self) -> None:
        self._seen: deque[tuple[float, float]] = deque()

    def add(self, time_s: float, tilt_deg: float | None) -> float:
        """Take in a tilt.

        Parameters
        ----------
        time_s : float
            Of the picture; one that is earlier than the last begins anew.
        tilt_deg : float or None
            None where no face was seen: that ends a hold only when it lasts longer than `OLD_S`.

        Returns
        -------
        float
            Seconds since which every tilt lies within `HELD_WITHIN_DEG` of the one now; 0 without a tilt.
        """
        if self._seen and not 0 <= time_s - self._seen[-1][0] <= OLD_S:
            self._seen.clear()
        if tilt_deg is None:
            return 0.0
        self._seen.append((time_s, tilt_deg))
        while time_s - self._seen[0][0] > LONGEST_S:
            self._seen.popleft()
        since_s = time_s
        for seen_s, seen_deg in reversed(self._seen):
            if abs(seen_deg - tilt_deg) > HELD_WITHIN_DEG:
                break
            since_s = seen_s
        return time_s - since_s


def may_guide(screen: Mapping[str, bool | None]) -> bool:
    """Whether the guide may be offered: every line of the neck screen was answered, and no.

    Parameters
    ----------
    screen : mapping of str to bool or None
        As for `posture.filming.steps.screen_answer`.
    """
    return screen_answer(screen) is True


def say_tilt(tilt_deg: float | None) -> str:
    """The tilt now, for example "17 degrees to the child's right shoulder"; never a tilt to be reached.

    Parameters
    ----------
    tilt_deg : float or None
        Positive to the child's right shoulder; None where no face was seen.
    """
    if tilt_deg is None or not isfinite(tilt_deg):
        return NOT_SEEN
    return say_angle("tilt", Interval(value=tilt_deg, low=tilt_deg, high=tilt_deg))


def say_beyond(tilt_deg: float | None) -> str:
    """What is said of a tilt that is larger than the test's; empty for all others."""
    return BEYOND if tilt_deg is not None and abs(tilt_deg) > TEST_DEG else ""


def answer_for(tilt_deg: float | None, held_s: float) -> dict[str, Any]:
    """What the browser is told of a picture.

    Parameters
    ----------
    tilt_deg : float or None
    held_s : float

    Returns
    -------
    dict
        tilt_deg, say, beyond and held_s, ready for JSON.
    """
    rounded = None if tilt_deg is None or not isfinite(tilt_deg) else round(tilt_deg, 1)
    return {"tilt_deg": rounded, "say": say_tilt(rounded), "beyond": say_beyond(rounded), "held_s": round(held_s, 1)}


class TiltGuide:
    """The process that looks at the pictures; it ends with the one that began it, and when it is not asked for a while."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._token = ""
        self._port: int | None = None
        self._end: weakref.finalize[..., Any] | None = None

    @property
    def address(self) -> str | None:
        """Where pictures are sent to, with the word that lets them in; None until it answers, or after it has ended."""
        if self._process is None or self._process.poll() is not None or self._port is None:
            return None
        return f"http://127.0.0.1:{self._port}/{self._token}"

    def begin(self) -> None:
        """Begin, unless it runs; returns at once."""
        if self._process is not None and self._process.poll() is None:
            return
        self.close()
        self._token = secrets.token_urlsafe(24)
        # Without the working folder among the places that modules come from.
        command = [sys.executable, "-P", "-m", "posture.filming.guide_server"]
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        assert process.stdin is not None
        # Not among the arguments, which everybody on this computer can read.
        with contextlib.suppress(OSError):
            process.stdin.write(f"{self._token}\n".encode())
            process.stdin.flush()
        self._process = process
        self._end = weakref.finalize(self, _end, process)
        threading.Thread(target=_listen, args=(weakref.ref(self), process), name="tilt-guide", daemon=True).start()

    def close(self) -> None:
        """End the process."""
        end, self._end, self._process, self._port = self._end, None, None, None
        if end is not None:
            end()


def _listen(guide: weakref.ref[TiltGuide], process: subprocess.Popen[bytes]) -> None:
    """Take in the port, which is the only thing that the process tells."""
    assert process.stdout is not None
    with process.stdout as told:
        for line in told:
            known = guide()
            if known is not None and known._process is process:
                known._port = int(json.loads(line)["port"])
            del known


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a process and wait until it is gone."""
    process.kill()
    process.wait()
    if process.stdin is not None:
        with contextlib.suppress(OSError):
            process.stdin.close()
