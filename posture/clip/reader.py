"""Work done in a thread of its own, a few pieces ahead of whoever takes them: frames decoded, faces looked for."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from typing import Generic, TypeVar

MAX_WAITING = 8
"""Pieces ahead at most; more would not make the slower side faster."""

WAITING_PIXELS = 64_000_000
"""Pixels waiting at most (about 100 MB), so that large pictures wait in smaller numbers."""

_POLL_S = 0.1
_JOIN_S = 10.0
"""How long a stop waits for the piece that is being made."""

T = TypeVar("T")


class AheadReader(Generic[T]):
    """Runs a generator in a thread of its own.

    Parameters
    ----------
    produce : callable
        Given a function that tells whether to stop; returns an iterator. It is run, and closed, in the thread.
    picture_pixels : int
        Pixels of one frame; decides how many pieces may wait.
    name : str
        Of the thread.
    """

    def __init__(self, produce: Callable[[Callable[[], bool]], Iterator[T]], picture_pixels: int, name: str) -> None:
        waiting = max(2, min(MAX_WAITING, WAITING_PIXELS // max(1, picture_pixels)))
        self._queue: queue.Queue[T | BaseException | None] = queue.Queue(maxsize=waiting)
        self._stopping = threading.Event()
        self._produce = produce
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    def __iter__(self) -> Iterator[T]:
        """Yield the pieces; an error of the thread is raised here. The thread ends with the iteration, however it ends."""
        try:
            while not self._stopping.is_set():
                try:
                    item = self._queue.get(timeout=_POLL_S)
                except queue.Empty:
                    continue
                if item is None:
                    return
                if isinstance(item, BaseException):
                    raise item
                yield item
        finally:
            self.stop()

    def stop(self) -> None:
        """End the thread after the piece it is at work on, and forget what waits."""
        self._stopping.set()
        while True:
            try:
                self._queue.get_nowait()
            except queue.Empty:
                break
        if self._thread is not threading.current_thread():
            self._thread.join(_JOIN_S)

    def _run(self) -> None:
        """Decode until the end, an error or a stop."""
        last: BaseException | None = None
        try:
            with closing(self._produce(self._stopping.is_set)) as frames:  # type: ignore[type-var]
                for frame in frames:
                    if not self._put(frame):
                        return
        except BaseException as error:  # Whatever it is, the one who waits for a frame must see it.
            last = error
        self._put(last)

    def _put(self, item: T | BaseException | None) -> bool:
        """Hand over one item; return False when a stop came first."""
        while not self._stopping.is_set():
            try:
                self._queue.put(item, timeout=_POLL_S)
            except queue.Full:
                continue
            return True
        return False
