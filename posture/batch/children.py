"""The parent's side: start a child for a clip, listen to it, and end it when it hangs."""

from __future__ import annotations

import dataclasses
import multiprocessing
import os
import pickle
import signal
import sys
import threading
import time
import types
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing.connection import wait
from pathlib import Path
from typing import TYPE_CHECKING

from posture.batch.child import Begun, Finished, Job, Progress, Task, Work, measure_job, run_child
from posture.errors import CrashError

if TYPE_CHECKING:
    from multiprocessing.context import ForkServerContext, SpawnContext

    from posture.measure import Measurement

STALL_S = 60.0
"""A child that tells of no new frame for so long is ended. The slowest frame seen, 8K on one thread, took 2 s; a minute is what
a person would wait before giving up (common practice, no source)."""

START_S = 120.0
"""A child that does not even begin is given up after so long: the first one waits for the libraries, which a slow disk delivers in
half a minute."""

READ_BYTES_PER_S = 5e6
"""A file is read once from end to end before its first frame, which a slow network drive delivers at this rate; a clip of 1 GB
may take 200 s longer to open."""

READING_SHARE = 0.02
"""After its last frame a clip is read as a whole, which is no progress either: four hours of film with 2800 spells took 90 s on a
busy computer (own measurement, no source), a third of what this share of the time filmed allows."""

TICK_S = 0.25
"""Children are looked at at least so often."""

JOIN_S = 10.0
"""How long a child that closed its connection may take to end."""

_starting = threading.Lock()


def get_ready() -> None:
    """Begin to load the libraries for the children, in another process, so that the first child does not wait for them."""
    if sys.platform == "linux":
        from multiprocessing import forkserver

        _context()
        with _nothing_of_this_folder():
            forkserver.ensure_running()


class Child:
    """A process that measures one clip.

    Parameters
    ----------
    job : Job
    pictures : bool
        Whether it sends preview pictures.
    beside_others : bool
        Whether other children work at the same time; each then keeps to one thread where it can.
    stall_s : float
        See `STALL_S`.
    work : callable
        Done in the child; must be importable there.

    Attributes
    ----------
    connection : Connection
        To be waited for.
    progress : Progress
        The last that was told.
    """

    def __init__(
        self,
        job: Job,
        *,
        pictures: bool = False,
        beside_others: bool = False,
        stall_s: float = STALL_S,
        work: Work = measure_job,
    ) -> None:
        self.progress = Progress()
        self._name = job.path.name
        self._stall_s = stall_s
        self._every_s = job.settings.every_s
        self._began_s = self._heard_s = time.monotonic()
        self._patience_s = START_S
        self._opening_s = stall_s + _size_bytes(job.path) / READ_BYTES_PER_S
        payload = pickle.dumps(Task(_placed(job), pictures, beside_others, work))
        context = _context()
        self.connection, sender = context.Pipe(duplex=False)
        self._process = context.Process(
            target=run_child, args=(sender, job.path.name, payload), name="posture-clip", daemon=True
        )
        try:
            with _without_main(), _nothing_of_this_folder():
                self._process.start()
        finally:
            sender.close()

    @property
    def seconds(self) -> float:
        """Since it began."""
        return time.monotonic() - self._began_s

    def look(self) -> Finished | None:
        """Take in what the child told; returns what came of the clip once that is known.

        Returns
        -------
        Finished or None
            None while it goes on. Afterwards the child is gone.
        """
        try:
            while self.connection.poll():
                told = self.connection.recv()
                self._heard_s = time.monotonic()
                if isinstance(told, Finished):
                    self.end()
                    return told
                if isinstance(told, Begun):
                    self._patience_s = self._opening_s
                    continue
                # A film is decoded at its own speed at least, so a wide spacing of frames is no stall.
                self._patience_s = self._stall_s + self._every_s + READING_SHARE * told.time_s
                self.progress = dataclasses.replace(told, jpeg=told.jpeg or self.progress.jpeg)
        except (EOFError, OSError, pickle.UnpicklingError):
            self._process.join(JOIN_S)
            code = self._process.exitcode
            self.end()
            return Finished(None, self._death(code))
        if time.monotonic() - self._heard_s > self._patience_s:
            self.end()
            return Finished(None, self._stall())
        return None

    def end(self) -> None:
        """End the process at once, if it is still there."""
        self._process.kill()
        self._process.join()
        self.connection.close()

    def _stall(self) -> CrashError:
        """What to say of a child that made no progress."""
        return CrashError(
            f"Expected to measure '{self._name}'; it made no progress for {self._patience_s:.0f} s and was given up. Save the clip"
            " anew as MP4 (H.264), and copy it to this computer if it is on a slow drive."
        )

    def _death(self, code: int | None) -> CrashError:
        """What to say of a child that died without a result."""
        if code is not None and code < 0:
            if -code == getattr(signal, "SIGKILL", None):
                return CrashError(
                    f"Expected to measure '{self._name}'; the system ended the program that reads clips (signal KILL), most often"
                    " for want of memory. Close other programs, measure fewer clips at a time, or save the clip smaller."
                )
            how = f"signal {_signal_name(-code)}"
        else:
            how = f"status {code}"
        return CrashError(
            f"Expected to measure '{self._name}'; the program that reads clips crashed on it ({how}). The file is damaged or in a"
            " rare coding: copy it again from the camera, or save it as MP4 (H.264)."
        )


class Children:
    """Several children at work, each with the number of its job. Leaving ``with`` ends those that still run.

    Parameters
    ----------
    workers : int
        How many work at a time, 1 or more.
    on_share : callable
        Told the number of a job that goes on and the share of it that is done (None: not known).
    stall_s, work
        As of `Child`.
    """

    def __init__(
        self, workers: int, on_share: Callable[[int, float | None], None], *, stall_s: float = STALL_S, work: Work = measure_job
    ) -> None:
        self._workers, self._on_share, self._stall_s, self._work = workers, on_share, stall_s, work
        self._running: dict[int, Child] = {}

    def __enter__(self) -> Children:
        return self

    def __exit__(self, *error: object) -> None:
        for child in self._running.values():
            child.end()

    def __len__(self) -> int:
        """How many work."""
        return len(self._running)

    @property
    def has_room(self) -> bool:
        """Whether one more may begin."""
        return len(self._running) < self._workers

    def begin(self, number: int, job: Job) -> None:
        """Start a child for a job."""
        self._running[number] = Child(job, beside_others=self._workers > 1, stall_s=self._stall_s, work=self._work)
        self._on_share(number, 0.0)

    def ended(self) -> Iterator[tuple[int, Child, Finished]]:
        """Listen for a moment to all that work; gives those that have ended, with what came of them."""
        wait([child.connection for child in self._running.values()], TICK_S)
        for number, child in list(self._running.items()):
            finished = child.look()
            if finished is None:
                self._on_share(number, child.progress.share)
                continue
            del self._running[number]
            yield number, child, finished


def measure_in_child(
    job: Job,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    *,
    pictures: bool = True,
    stall_s: float = STALL_S,
    work: Work = measure_job,
) -> Measurement:
    """Measure one clip in a child process.

    Parameters
    ----------
    job : Job
    on_progress : callable
        Called with `Progress` several times a second, also while nothing is new, so that it can stop the measurement by raising.
        A picture comes once.
    pictures : bool
        Whether preview pictures are made.
    stall_s : float
        See `STALL_S`.
    work : callable
        Done in the child instead of measuring; for tests.

    Returns
    -------
    Measurement

    Raises
    ------
    PostureError
        What the measurement raised; CrashError when the child crashed or hung.
    """
    child = Child(job, pictures=pictures, stall_s=stall_s, work=work)
    try:
        while (finished := child.look()) is None:
            on_progress(child.progress)
            child.progress = dataclasses.replace(child.progress, jpeg=None)
            wait([child.connection], TICK_S)
    finally:
        child.end()
    return measurement_of(finished)


def measurement_of(finished: Finished) -> Measurement:
    """The measurement, or its error raised."""
    if finished.error is not None:
        raise finished.error
    assert finished.measurement is not None
    return finished.measurement


def _context() -> ForkServerContext | SpawnContext:
    """How processes are started: forked from one that has loaded everything on Linux, anew elsewhere."""
    if sys.platform != "linux":
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["posture.batch.preload"])
    return context


def _size_bytes(path: Path) -> int:
    """The size of a file; 0 where there is none. A path of the network is not touched: it is refused where clips are opened."""
    from posture.clip.source import is_network_path

    if is_network_path(str(path)):
        return 0
    try:
        return path.stat().st_size
    except (OSError, ValueError):
        return 0


def _placed(job: Job) -> Job:
    """The same job, found from any folder: a child begins in the folder in which its parent began."""
    return dataclasses.replace(job, path=job.path.absolute()) if _size_bytes(job.path) else job


def _signal_name(number: int) -> str:
    """A signal without the SIG."""
    try:
        return signal.Signals(number).name.removeprefix("SIG")
    except ValueError:
        return str(number)


@contextmanager
def _without_main() -> Iterator[None]:
    """Keep the main module out of the child, which would run it: the page's script, or a user's without a guard."""
    with _starting:
        main, none = sys.modules["__main__"], types.ModuleType("__main__")
        sys.modules["__main__"] = none
        try:
            yield
        finally:
            # The page's server sets it too, from other threads.
            if sys.modules["__main__"] is none:
                sys.modules["__main__"] = main


@contextmanager
def _nothing_of_this_folder() -> Iterator[None]:
    """Keep a module that lies in the working folder out of the process that is started; beyond its path it takes the parent's."""
    name = "PYTHONSAFEPATH"
    before = os.environ.get(name)
    os.environ[name] = "1"
    try:
        yield
    finally:
        if before is None:
            del os.environ[name]
        else:
            os.environ[name] = before
