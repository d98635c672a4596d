"""Decoding a video in the calling thread: deinterlaced, upright, at its own times, with what is damaged noted."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction

import av
import numpy as np
from av.container import InputContainer
from av.sidedata.sidedata import SideData
from av.video.stream import VideoStream

from posture.clip.container import check_pixels, day_of, duration_s_of, frame_s_of, opened
from posture.clip.deinterlace import Deinterlacer
from posture.clip.frame import Frame, Upright
from posture.clip.planes import DecodedPicture
from posture.clip.source import Source, believable_date
from posture.clip.times import ReadLog, Spacing, Timeline
from posture.errors import ClipError

MAX_BAD_PACKETS = 200
"""Packets in a row that cannot be decoded before the rest is given up: some seconds of film."""

MISSING_S = 0.5
MISSING_SHARE = 0.02
"""A film that ends earlier than declared by more than both is told as cut off; sound often runs on for a moment."""

_SANE_PIXEL_SHAPES = (Fraction(1, 3), Fraction(3))


@dataclass(frozen=True)
class VideoFacts:
    """What a video says of itself, and how its first frame is turned.

    Attributes
    ----------
    upright : Upright
    duration_s : float or None
    filmed_on : str or None
        ISO date.
    steps : tuple of str
    """

    upright: Upright
    duration_s: float | None
    filmed_on: str | None
    steps: tuple[str, ...]


def probe_video(source: Source) -> VideoFacts:
    """Open a video, check its limits and decode its first frame.

    Parameters
    ----------
    source : Source
        Of kind "video".

    Returns
    -------
    VideoFacts

    Raises
    ------
    ClipError
        If it is no video in a known container, too large, too long, or no frame can be decoded.
    """
    with opened(source, threads=1) as (container, stream):
        duration_s = duration_s_of(container, stream)
        frame = next(_decoded(container, stream, ReadLog(), lambda: None), None)
        if frame is None:
            raise _no_frames(source)
        upright, steps = _upright(frame, stream.sample_aspect_ratio)
        check_pixels(*upright.size, source)
        return VideoFacts(upright, duration_s, believable_date(day_of(container.metadata)), steps)


def read_video(
    source: Source, upright: Upright, every_s: float, log: ReadLog, stopping: Callable[[], bool] = lambda: False
) -> Iterator[Frame]:
    """Decode a video from its beginning.

    Parameters
    ----------
    source : Source
    upright : Upright
        From `probe_video`.
    every_s : float
        Least time between frames taken; 0 takes every frame.
    log : ReadLog
        Filled while reading.
    stopping : callable
        Asked between frames; reading ends when it returns True.

    Yields
    ------
    Frame
        With strictly increasing times.

    Raises
    ------
    ClipError
        If the file changed, no frame can be decoded, the picture changes its size, or the clip is too long.
    """
    source.check_unchanged()
    with opened(source, threads=0) as (container, stream):
        frame_s = frame_s_of(stream)
        timeline, spacing = Timeline(frame_s, log), Spacing(every_s)
        deinterlacer = Deinterlacer(log)
        decoded = _decoded(container, stream, log, lambda: timeline.last_s)
        for frame in deinterlacer.run(_of_one_size(decoded, upright, source, lambda: timeline.last_s)):
            if stopping():
                return
            time_s = timeline.time_s(frame)
            if time_s is not None and spacing.takes(time_s):
                yield Frame(time_s, DecodedPicture(frame), upright)
        if timeline.last_s is None:
            raise _no_frames(source)
        _note_early_end(duration_s_of(container, stream), timeline.last_s + (frame_s or 0.0), log)


def _decoded(
    container: InputContainer, stream: VideoStream, log: ReadLog, last_s: Callable[[], float | None]
) -> Iterator[av.VideoFrame]:
    """Yield the frames that can be decoded; note what cannot."""
    packets = container.demux(stream)
    skipped = in_a_row = 0
    first_bad_s = 0.0
    while in_a_row < MAX_BAD_PACKETS:
        try:
            packet = next(packets, None)
        except av.FFmpegError:
            log.damage(f"the file ends early or is damaged after {last_s() or 0.0:.1f} s")
            break
        if packet is None:
            break
        try:
            frames = packet.decode()
        except av.FFmpegError:
            frames = []
            in_a_row += 1
        else:
            in_a_row = 0
        bad = in_a_row > 0
        for frame in frames:
            if isinstance(frame, av.VideoFrame) and not frame.is_corrupt:
                yield frame
            else:
                bad = True
        if bad:
            first_bad_s = first_bad_s if skipped else last_s() or 0.0
            skipped += 1
    if skipped:
        log.damage(f"damaged pictures left out: {skipped}, the first after {first_bad_s:.1f} s")


def _of_one_size(
    frames: Iterator[av.VideoFrame], upright: Upright, source: Source, last_s: Callable[[], float | None]
) -> Iterator[av.VideoFrame]:
    """Yield frames until one has another size, which ends the clip with an error."""
    expected = (upright.stored_width, upright.stored_height)
    for frame in frames:
        if (frame.width, frame.height) != expected:
            raise ClipError(
                f"Expected pictures of one size; those of '{source.name}' change from {expected[0]} x {expected[1]} to"
                f" {frame.width} x {frame.height} after {last_s() or 0.0:.1f} s. Cut the clip there and measure the parts."
            )
        yield frame


def _note_early_end(duration_s: float | None, end_s: float, log: ReadLog) -> None:
    """Note when the pictures end well before the declared end."""
    if duration_s is None or duration_s - end_s <= max(MISSING_S, MISSING_SHARE * duration_s):
        return
    log.damage(f"the file ends early or is damaged after {end_s:.1f} s (it declares {duration_s:.1f} s)")


def _upright(frame: av.VideoFrame, pixel_shape: Fraction | None) -> tuple[Upright, tuple[str, ...]]:
    """Read how players show the stored picture, from the display matrix and the shape of its pixels."""
    steps = []
    turns, mirrored = _display_turn(frame)
    if turns:
        steps.append(f"turned counter-clockwise by {90 * turns} degrees as the file says")
    if mirrored:
        steps.append("left and right exchanged as the file says")
    shape = Fraction(pixel_shape) if pixel_shape else Fraction(1)
    if not _SANE_PIXEL_SHAPES[0] <= shape <= _SANE_PIXEL_SHAPES[1]:
        shape = Fraction(1)
    if shape != 1:
        steps.append(f"pixels of shape {shape.numerator}:{shape.denominator} made square")
    return Upright(frame.width, frame.height, turns, mirrored, shape), tuple(steps)


def _display_turn(frame: av.VideoFrame) -> tuple[int, bool]:
    """Return counter-clockwise quarter turns, and whether left and right are exchanged after them."""
    side_data = frame.side_data.get("DISPLAYMATRIX")
    if not isinstance(side_data, SideData):
        return 0, False
    across_x, across_y, _, down_x, down_y = np.frombuffer(memoryview(side_data)[:20], dtype=np.int32).astype(float)
    mirrored = across_x * down_y - across_y * down_x < 0
    if mirrored:
        across_x = -across_x
    # The picture's own x axis points to (across_x, across_y) as shown, y down; slanted matrices go to the nearest quarter.
    return int(np.rint(np.arctan2(-across_y, across_x) / (np.pi / 2))) % 4, bool(mirrored)


def _no_frames(source: Source) -> ClipError:
    """Build the refusal of a video of which nothing can be decoded."""
    return ClipError(
        f"Expected a video; no picture of '{source.name}' could be decoded. It is damaged or in an unknown coding:"
        " copy it again from the camera, or save it as MP4 (H.264)."
    )
