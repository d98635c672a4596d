"""Interlaced material made whole: two half-pictures of different moments become one picture of one moment."""

from __future__ import annotations

from collections.abc import Iterator

import av
from av.filter import Graph

from posture.clip.times import ReadLog

_FILTER = "mode=send_frame:parity=auto:deint=interlaced"
"""One picture for each that comes, at its own time; pictures that are not marked as interlaced pass unchanged."""


class Deinterlacer:
    """Passes progressive frames untouched; from the first interlaced one on, frames go through FFmpeg's bwdif.

    Parameters
    ----------
    log : ReadLog
        Gets the step "deinterlaced" when it is done.
    """

    def __init__(self, log: ReadLog) -> None:
        self._log = log
        self._graph: Graph | None = None
        self._layout: tuple[str, int, int] | None = None

    def run(self, frames: Iterator[av.VideoFrame]) -> Iterator[av.VideoFrame]:
        """Yield the same frames in the same order and at the same times, without combs."""
        for frame in frames:
            layout = (frame.format.name, int(frame.colorspace), int(frame.color_range))
            if self._graph is not None and layout != self._layout:
                yield from self._finish()
            if self._graph is None and not frame.interlaced_frame:
                yield frame
                continue
            if self._graph is None:
                self._graph, self._layout = self._build(frame), layout
            self._graph.push(frame)
            yield from self._ready()
        yield from self._finish()

    def _build(self, frame: av.VideoFrame) -> Graph:
        """Build the filter for frames like this one."""
        graph = Graph()
        source = graph.add_buffer(
            width=frame.width, height=frame.height, format=frame.format, time_base=frame.time_base, name="in"
        )
        nodes = [source, graph.add("bwdif", _FILTER), graph.add("buffersink")]
        graph.link_nodes(*nodes).configure()
        self._log.note("deinterlaced")
        return graph

    def _ready(self) -> Iterator[av.VideoFrame]:
        """Yield what the filter has finished."""
        while self._graph is not None:
            try:
                frame = self._graph.pull()
            except (av.BlockingIOError, av.EOFError):
                return
            if isinstance(frame, av.VideoFrame):
                yield frame

    def _finish(self) -> Iterator[av.VideoFrame]:
        """Yield what the filter still holds, and put it away."""
        if self._graph is not None:
            self._graph.push(None)
            yield from self._ready()
            self._graph = None
