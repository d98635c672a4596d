"""A video file as FFmpeg opens it: known containers only, limits before anything is decoded, and what the container declares."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from fractions import Fraction

import av
from av.container import InputContainer
from av.stream import Disposition
from av.video.stream import VideoStream

from posture.clip.source import MAX_DURATION_S, MAX_VIDEO_PIXELS, READABLE, Source
from posture.errors import ClipError

CONTAINERS = ("mov", "matroska", "webm", "avi", "mpeg", "mpegts", "mpegvideo", "asf", "dv", "flv", "ogg", "gif", "yuv4mpegpipe")
"""What FFmpeg may take a file for. Scripts, playlists and numbered pictures, which open other files, are left out."""

ONE_THREAD_PIXELS = 12_000_000
"""Above it one thread decodes: each further thread holds pictures of its own."""

MAX_STREAMS = 64

_SANE_RATES = (Fraction(1), Fraction(300))
"""Browsers write 1000 frames a second when they do not know the rate."""


_decoding = {"threads": 0}


def decode_with(threads: int) -> None:
    """Set how many threads of this process decode a video; beside other processes at the same work one is best.

    Parameters
    ----------
    threads : int
        0 is as many as there are processors, as at the start.
    """
    _decoding["threads"] = threads


@contextmanager
def opened(source: Source, threads: int) -> Iterator[tuple[InputContainer, VideoStream]]:
    """Open a file as a video in a known container, and nothing else; check its limits before anything is decoded.

    Parameters
    ----------
    source : Source
    threads : int
        That decode; 0 is as many as `decode_with` allows. Large pictures get one whatever is asked.

    Yields
    ------
    (InputContainer, VideoStream)
        Closed at the end of the ``with`` block.

    Raises
    ------
    ClipError
        If it is no video in a known container, has too many tracks, only sound or an unknown coding, is too large or too long.
    """
    # The decoders' own limit also holds while FFmpeg looks into the file and when the picture grows in mid-stream.
    limit = {"max_pixels": str(MAX_VIDEO_PIXELS)}
    options = {
        "protocol_whitelist": "file",
        "format_whitelist": ",".join(CONTAINERS),
        "probesize": "10000000",
        "analyzeduration": "10000000",
        **limit,
    }
    try:
        container = av.open(f"file:{source.path}", options=options, metadata_errors="replace")
    except (av.FFmpegError, OSError, ValueError) as error:
        raise ClipError(
            f"Expected {READABLE}; '{source.name}' is none of these or is cut off before its table of contents."
            " Copy it again from the camera, or save it as MP4."
        ) from error
    with container:
        if len(container.streams) > MAX_STREAMS:
            raise ClipError(
                f"Expected at most {MAX_STREAMS} tracks in a file; '{source.name}' has {len(container.streams)}."
                " Save it as MP4."
            )
        stream = container.streams.best("video")
        if not isinstance(stream, VideoStream) or stream.disposition & Disposition.attached_pic:
            raise ClipError(
                f"Expected {READABLE}; '{source.name}' holds no moving pictures, perhaps only sound. Choose another file."
            )
        codec = stream.codec_context
        if codec is None:
            raise ClipError(
                f"Expected a video in a known coding; that of '{source.name}' is unknown here. Save it as MP4 (H.264)."
            )
        check_pixels(codec.width, codec.height, source)
        duration_s = duration_s_of(container, stream)
        if duration_s is not None and duration_s > MAX_DURATION_S:
            raise ClipError(
                f"Expected a clip of at most {MAX_DURATION_S / 3600:.0f} hours; '{source.name}' declares"
                f" {duration_s / 3600:.1f} hours. Cut it shorter."
            )
        codec.options = limit
        threads = threads or _decoding["threads"]
        if codec.width * codec.height > ONE_THREAD_PIXELS:
            threads = 1
        codec.thread_count = threads
        codec.thread_type = "NONE" if threads == 1 else "AUTO"
        yield container, stream


def duration_s_of(container: InputContainer, stream: VideoStream) -> float | None:
    """Return the declared duration of the pictures in seconds, or None when it is not known.

    The shorter of the track's and the file's: sound may run on, and an edit list may leave out a part of the track.
    """
    if "mpegvideo" in container.format.name:
        return None  # Bare streams declare none; FFmpeg would guess from the size of the file.
    declared = []
    if stream.duration is not None and stream.time_base is not None:
        declared.append(float(stream.duration * stream.time_base))
    if container.duration is not None:
        declared.append(container.duration / av.time_base)
    declared = [value for value in declared if value > 0]
    return min(declared) if declared else None


def frame_s_of(stream: VideoStream) -> float | None:
    """Return the time of one frame by the stated rate, or None when no believable rate is stated."""
    for rate in (stream.average_rate, stream.guessed_rate):
        if rate is not None and _SANE_RATES[0] <= rate <= _SANE_RATES[1]:
            return float(1 / rate)
    return None


def day_of(metadata: dict[str, str]) -> date | None:
    """Return the day on which a container says it was filmed: local as the camera wrote it, else UTC taken to local time."""
    for key in ("com.apple.quicktime.creationdate", "creation_time"):
        try:
            moment = datetime.fromisoformat(metadata[key])
            return (moment.astimezone() if key == "creation_time" else moment).date()
        except (KeyError, ValueError, OverflowError, OSError):
            continue
    return None


def check_pixels(width: int, height: int, source: Source) -> None:
    """Refuse a picture with too many pixels."""
    if width * height > MAX_VIDEO_PIXELS:
        raise ClipError(
            f"Expected a video of at most {MAX_VIDEO_PIXELS // 1_000_000} megapixels a picture; '{source.name}' has"
            f" {width} x {height}. Save it smaller."
        )
