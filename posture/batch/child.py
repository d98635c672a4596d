"""What runs in a child process: one clip is measured, its progress and its result go to the parent, nothing else gets out."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import pickle
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import TYPE_CHECKING

from posture.errors import CrashError, FaultError, PostureError, missing_library_error

if TYPE_CHECKING:  # The parent and the child begin without the libraries behind these.
    from posture.clip import Frame
    from posture.face.seen import FaceSeen
    from posture.measure import Measurement, OnFrame, Settings
    from posture.summary.record import Conditions

TELL_EVERY_S = 0.2
"""Progress is told at most this often: enough for a bar, and next to no work."""

PICTURE_EVERY_S = 0.5
"""Preview pictures are made at most this often: each takes a conversion of the whole frame."""

OUT_OF_MEMORY_SCORE = 500
"""Added to the child's score (0 to 1000) when the system must end a process for want of memory, so that it is not the parent."""


@dataclass(frozen=True)
class Job:
    """A clip to be measured, and how.

    Attributes
    ----------
    path : Path
    settings : Settings
    conditions : Conditions or None
    label : str or None
    """

    path: Path
    settings: Settings
    conditions: Conditions | None = None
    label: str | None = None


@dataclass(frozen=True)
class Progress:
    """How far the measurement of a clip is.

    Attributes
    ----------
    share : float or None
        Of the clip, 0 to 1; None is not known.
    time_s : float
        Of the frame looked at last.
    faces : int
        In that frame.
    jpeg : bytes or None
        A small picture of it with the faces outlined, where pictures were asked for and it is time for one.
    """

    share: float | None = 0.0
    time_s: float = 0.0
    faces: int = 0
    jpeg: bytes | None = None


@dataclass(frozen=True)
class Begun:
    """The child is there and begins with its clip."""


@dataclass(frozen=True)
class Finished:
    """What came of a clip: a measurement or an error."""

    measurement: Measurement | None
    error: PostureError | None


Work = Callable[[Job, "OnFrame"], "Measurement"]


@dataclass(frozen=True)
class Task:
    """What a child is given: the job, whether to send pictures, whether others work beside it, and the work itself."""

    job: Job
    pictures: bool
    beside_others: bool
    work: Work


def measure_job(job: Job, on_frame: OnFrame) -> Measurement:
    """Measure a clip in this process."""
    from posture.measure import measure_clip

    return measure_clip(job.path, job.settings, job.conditions, job.label, on_frame)


def run_child(sender: Connection, name: str, payload: bytes) -> None:
    """Do one task and tell the parent; the body of a child process.

    Parameters
    ----------
    sender : Connection
        Gets `Begun`, `Progress` while it goes, and one `Finished` at the end.
    name : str
        Of the clip's file, for what is said of it.
    payload : bytes
        A pickled `Task`: it is unpickled here, where a library that does not load can still be told.
    """
    _follow_parent()
    _keep_to_itself()
    try:
        sender.send(Begun())
        sender.send(Finished(_work(sender, payload), None))
    except BaseException as error:  # Whatever it is, the parent must hear of it.
        # A parent that is gone has no use for it.
        with contextlib.suppress(OSError):
            sender.send(Finished(None, _told(error, name)))
    sender.close()


class _Teller:
    """Sends progress to the parent, a few times a second; called after every frame."""

    def __init__(self, sender: Connection, pictures: bool) -> None:
        self._sender = sender
        self._pictures = pictures
        self._next_s = self._next_picture_s = time.monotonic()

    def __call__(self, frame: Frame, faces: list[FaceSeen], share: float | None) -> None:
        """Send how far it is, unless that was sent a moment ago."""
        now_s = time.monotonic()
        if now_s < self._next_s:
            return
        self._next_s = now_s + TELL_EVERY_S
        jpeg = None
        if self._pictures and now_s >= self._next_picture_s:
            from posture.preview import outlined_jpeg

            self._next_picture_s = now_s + PICTURE_EVERY_S
            jpeg = outlined_jpeg(frame, faces)
        self._sender.send(Progress(share, frame.time_s, len(faces), jpeg))


def _work(sender: Connection, payload: bytes) -> Measurement:
    """The measurement of the task."""
    task: Task = pickle.loads(payload)
    import cv2

    # Its threads wait busily for each other over pictures as small as these.
    cv2.setNumThreads(1)
    if task.beside_others:
        from posture.clip.container import decode_with

        decode_with(1)
    return task.work(task.job, _Teller(sender, task.pictures))


def _told(error: BaseException, name: str) -> PostureError:
    """An error that the parent can show: ours as it is, and any other as what it is, a fault of this program."""
    if isinstance(error, PostureError):
        return error
    if isinstance(error, MemoryError):
        return CrashError(f"Expected to measure '{name}'; the memory ran out. Close other programs, or save the clip smaller.")
    missing = missing_library_error(error) if isinstance(error, (ImportError, OSError)) else None
    if missing is not None:
        return missing
    fault = FaultError(
        f"Expected to measure '{name}'; a fault of this program ended that ({type(error).__name__}: {error})."
        " Report it, with the lines that follow."
    )
    fault.add_note("".join(traceback.format_exception(error)).rstrip())
    return fault


def _follow_parent() -> None:
    """End with the parent, however it ends; leave Ctrl-C to it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is None:
        return
    sentinel = parent.sentinel

    def leave() -> None:
        wait([sentinel])
        os._exit(1)

    threading.Thread(target=leave, name="parent-watch", daemon=True).start()
    if sys.platform == "linux":
        import fcntl

        # Python's threads stand still while native code hangs with the interpreter locked; the kernel's signal does not.
        fcntl.fcntl(sentinel, fcntl.F_SETOWN, os.getpid())
        fcntl.fcntl(sentinel, fcntl.F_SETFL, fcntl.fcntl(sentinel, fcntl.F_GETFL) | os.O_ASYNC)


def _keep_to_itself() -> None:
    """Silence what native libraries print, leave no picture of the memory behind, and be first to go when memory runs out."""
    nothing = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nothing, 1)
    os.dup2(nothing, 2)
    os.close(nothing)
    if sys.platform != "win32":
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if sys.platform == "linux":
        with contextlib.suppress(OSError):
            Path("/proc/self/oom_score_adj").write_text(str(OUT_OF_MEMORY_SCORE))
