"""Frames decoded in a thread of their own, a few ahead of whoever looks at them."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import closing

from posture.clip.frame import Frame

MAX_WAITING = 8
"""Frames decoded ahead at most; more would not make the slower side faster."""

WAITING_PIXELS = 64_000_000
"""Pixels decoded ahead at most (about 100 MB), so that large pictures wait in smaller numbers."""

_POLL_S = 0.1
_JOIN_S = 10.0
"""How long a stop waits for the frame that is being decoded."""

Produce = Callable[[Callable[[], bool]], Iterator[Frame]]


class FrameReader:
    """Runs a generator of frames in its own thread.

    Parameters
    ----------
    produce : callable
        Given a function that tells whether to stop; returns the frames. It is run, and closed, in the thread.
    picture_pixels : int
        Pixels of one frame; decides how many may wait.
    """

    def __init__(self, produce: Produce, picture_pixels: int) -> None:
        waiting = max(2, min(MAX_WAITING, WAITING_PIXELS // max(1, picture_pixels)))
        self._queue: queue.Queue[Frame | BaseException | None] = queue.Queue(maxsize=waiting)
        self._stopping = threading.Event()
        self._produce = produce
        self._thread = threading.Thread(target=self._run, name="clip-reader", daemon=True)
        self._thread.start()

    def __iter__(self) -> Iterator[Frame]:
        """Yield the frames; an error of the thread is raised here. The thread ends with the iteration, however it ends."""
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
        """End the thread after the frame it is decoding, and forget what waits."""
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

    def _put(self, item: Frame | BaseException | None) -> bool:
        """Hand over one item; return False when a stop came first."""
        while not self._stopping.is_set():
            try:
                self._queue.put(item, timeout=_POLL_S)
            except queue.Full:
                continue
            return True
        return False
