"""Times of frames: from presentation times to seconds that strictly increase, and which frames are taken."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from posture.clip.source import MAX_DURATION_S
from posture.errors import ClipError

if TYPE_CHECKING:
    import av

DEFAULT_EVERY_S = 1 / 15
"""Posture changes over seconds; fifteen looks a second follow it and leave time to look carefully."""

RESTART_S = 1.0
"""A step back by more than this is a clock that starts again (films joined on a disc), not two frames out of order."""


@dataclass
class ReadLog:
    """What happened while frames were read.

    Attributes
    ----------
    steps : list of str
        In plain words, each once.
    dropped_frames : int
        Frames whose time did not increase.
    damage_note : str or None
        What was missing or damaged; None when nothing was.
    """

    steps: list[str] = field(default_factory=list)
    dropped_frames: int = 0
    damage_note: str | None = None

    def note(self, step: str) -> None:
        """Add a step unless it is there."""
        if step not in self.steps:
            self.steps.append(step)

    def damage(self, text: str) -> None:
        """Add what was missing or damaged, to the steps too."""
        self.damage_note = text if self.damage_note is None else f"{self.damage_note}; {text}"
        self.note(text)


class Timeline:
    """Seconds from the first frame, strictly increasing.

    Parameters
    ----------
    frame_s : float or None
        Time of one frame by the rate that the file states; used only where the file gives no times.
    log : ReadLog
        Gets the count of dropped frames and what was done to the times.
    """

    def __init__(self, frame_s: float | None, log: ReadLog) -> None:
        self._frame_s = frame_s
        self._log = log
        self._offsets: list[float] = []
        self.last_s: float | None = None
        self._step_s = frame_s if frame_s is not None else 1 / 25

    def time_s(self, frame: av.VideoFrame) -> float | None:
        """Return the time of the next frame, or None when it must be dropped.

        Raises
        ------
        ClipError
            If the file gives neither times nor a rate, or the clip is too long.
        """
        time_s = self._in_order(self._raw_s(frame))
        if time_s is None:
            self._log.dropped_frames += 1
            return None
        if time_s > MAX_DURATION_S:
            hours = MAX_DURATION_S / 3600
            raise ClipError(
                f"Expected a clip of at most {hours:.0f} hours; a frame came at {time_s / 3600:.1f} h. Cut the clip shorter."
            )
        if self.last_s is not None:
            self._step_s = min(time_s - self.last_s, RESTART_S)
        self.last_s = time_s
        return time_s

    def _raw_s(self, frame: av.VideoFrame) -> float | None:
        """Return the frame's own presentation time in seconds, or None when the file gives none."""
        ticks = frame.pts if frame.pts is not None else frame.dts
        return None if ticks is None or frame.time_base is None else float(ticks * frame.time_base)

    def _in_order(self, raw_s: float | None) -> float | None:
        """Place a raw time behind the last one, or return None when it does not belong there."""
        if raw_s is None:
            if self._frame_s is None:
                raise ClipError("Expected frames with times; the file gives neither times nor a frame rate. Save it as MP4.")
            self._log.note("times counted from the frame rate, as the file gives none")
            return 0.0 if self.last_s is None else self.last_s + self._frame_s
        if self.last_s is None:
            self._offsets = [-raw_s]
            return 0.0
        if not self._offsets:  # The first frames had no times of their own.
            self._offsets = [self.last_s + self._step_s - raw_s]
        time_s = raw_s + self._offsets[-1]
        # A single stray time must not push all that follow: the clock before it is tried first.
        if len(self._offsets) > 1 and 0 < raw_s + self._offsets[-2] - self.last_s < RESTART_S < abs(time_s - self.last_s):
            self._offsets.pop()
            return raw_s + self._offsets[-1]
        if time_s > self.last_s:
            return time_s
        if time_s > self.last_s - RESTART_S:
            return None
        self._log.note(f"the file's times start again after {self.last_s:.1f} s; joined without a gap")
        self._offsets = [self._offsets[-1], self.last_s + self._step_s - raw_s]
        return self.last_s + self._step_s


class Spacing:
    """Which frames are taken when not every one is wanted.

    The first frame is taken, then the first that is `every_s` or more after the last one taken. Half a source frame is
    forgiven, so 30 frames a second give exactly every second one and 15 give every one; distances stay even.

    Parameters
    ----------
    every_s : float
        0 takes every frame.
    """

    def __init__(self, every_s: float) -> None:
        self._every_s = every_s
        self._taken_s: float | None = None
        self._before_s: float | None = None

    def takes(self, time_s: float) -> bool:
        """Tell whether the frame at this time is taken; times must increase."""
        half_frame_s = 0.0 if self._before_s is None else (time_s - self._before_s) / 2
        self._before_s = time_s
        if self._taken_s is not None and time_s + half_frame_s < self._taken_s + self._every_s:
            return False
        self._taken_s = time_s
        return True
