"""A clip that was opened: what is known of it, and its frames."""

from __future__ import annotations

import dataclasses
import math
import os
from collections.abc import Callable, Iterator
from functools import partial
from types import TracebackType

from posture.clip.frame import Frame, Upright
from posture.clip.planes import ArrayPicture, Rgb
from posture.clip.source import ClipInfo, Source, examine
from posture.clip.times import DEFAULT_EVERY_S, ReadLog
from posture.errors import ClipError

PHOTOGRAPH_DATE = "written by the camera into the photograph"
VIDEO_DATE = "the container"


class Clip:
    """A video or a photograph; made by `open_clip`, used with ``with``.

    Attributes
    ----------
    info : ClipInfo
        Its `steps` grow while frames are read and are complete at the end.
    dropped_frames : int
        Frames of the last reading whose time did not increase.
    damage_note : str or None
        What was missing or damaged at the last reading; None when nothing was.
    """

    def __init__(self, source: Source, info: ClipInfo, content: Upright | Rgb) -> None:
        self._source = source
        self._info = info
        self._content: Upright | Rgb | None = content
        self._log = ReadLog()
        self._stop_reading: Callable[[], None] | None = None

    @property
    def info(self) -> ClipInfo:
        """What is known of the clip, with the steps of the last reading."""
        return dataclasses.replace(self._info, steps=(*self._info.steps, *self._log.steps))

    @property
    def dropped_frames(self) -> int:
        """Frames of the last reading whose time did not increase."""
        return self._log.dropped_frames

    @property
    def damage_note(self) -> str | None:
        """What was missing or damaged at the last reading."""
        return self._log.damage_note

    def frames(self, every_s: float | None = None) -> Iterator[Frame]:
        """Read the clip from its beginning. A reading that is still going on ends.

        Parameters
        ----------
        every_s : float or None
            Least time between frames, in seconds, half a frame forgiven. None is about 15 a second; 0 is every frame.

        Yields
        ------
        Frame
            With strictly increasing times from 0; one for a photograph. Decoded a few ahead in a thread of its own, which ends
            when the iteration ends, is given up, or the clip is closed. Memory does not grow with the length of the clip.

        Raises
        ------
        ValueError
            If every_s is negative or not finite, or the clip is closed.
        ClipError
            While iterating: nothing can be decoded, the picture changes its size, the clip is too long, or the file changed.
        """
        spacing_s = DEFAULT_EVERY_S if every_s is None else every_s
        if not (math.isfinite(spacing_s) and spacing_s >= 0):
            raise ValueError(f"Expected every_s to be 0 or more seconds; got {every_s}.")
        if self._content is None:
            raise ValueError("Expected an open clip; it was closed. Open it again.")
        self._end_reading()
        self._log = log = ReadLog()
        if not isinstance(self._content, Upright):
            height, width = self._content.shape[:2]
            return iter([Frame(0.0, ArrayPicture(self._content), Upright(width, height))])
        log.note("every frame" if spacing_s == 0 else f"a frame about every {spacing_s:.3f} s")
        return self._read(self._content, spacing_s, log)

    def progress(self, time_s: float) -> float | None:
        """Return the share of the clip, 0 to 1, that is behind a time in seconds; None when the duration is unknown."""
        if self._info.kind == "photograph":
            return 1.0
        if self._info.duration_s is None:
            return None
        return min(1.0, max(0.0, time_s / self._info.duration_s))

    def close(self) -> None:
        """End any reading and let go of the pictures."""
        self._end_reading()
        self._content = None

    def __enter__(self) -> Clip:
        """Return the clip itself."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Close the clip."""
        self.close()

    def _read(self, upright: Upright, every_s: float, log: ReadLog) -> Iterator[Frame]:
        """Yield the frames of a video from a reader thread."""
        from posture.clip.reader import AheadReader
        from posture.clip.video import read_video

        reader = AheadReader(
            partial(read_video, self._source, upright, every_s, log),
            upright.stored_width * upright.stored_height,
            "clip-reader",
        )
        self._stop_reading = reader.stop
        yield from reader

    def _end_reading(self) -> None:
        """Stop the thread of a reading that is still going on."""
        if self._stop_reading is not None:
            self._stop_reading()
            self._stop_reading = None


def open_clip(path: str | os.PathLike[str]) -> Clip:
    """Open a video or a photograph.

    Parameters
    ----------
    path : str or path
        Of an existing regular file; its kind is read from its bytes.

    Returns
    -------
    Clip
        To be used with ``with``.

    Raises
    ------
    ClipError
        If it is no such file, empty, of no known kind, damaged beyond its first frame, too large or too long.
    """
    source = examine(path)
    if source.kind == "photograph":
        from posture.clip.photo import read_photograph

        photo = read_photograph(source)
        height, width = photo.rgb.shape[:2]
        date_source = PHOTOGRAPH_DATE if photo.filmed_on else None
        info = ClipInfo(
            "photograph", source.sha256, width, height, None, photo.filmed_on, date_source, photo.focal_px, photo.steps
        )
        return Clip(source, info, photo.rgb)
    try:
        from posture.clip.video import probe_video
    except ImportError as error:
        raise ClipError("Expected the library av, which decodes videos; it cannot be loaded. Install av again.") from error
    facts = probe_video(source)
    width, height = facts.upright.size
    date_source = VIDEO_DATE if facts.filmed_on else None
    info = ClipInfo("video", source.sha256, width, height, facts.duration_s, facts.filmed_on, date_source, None, facts.steps)
    return Clip(source, info, facts.upright)
