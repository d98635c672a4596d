"""Drawn pictures to a film file that says nothing but its pictures."""

from __future__ import annotations

import io
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from av.bitstream import BitStreamFilterContext
from av.codec.context import Flags
from av.video.stream import VideoStream
from numpy.typing import NDArray

from posture.errors import OutputError
from posture.summary.files import write_whole_bytes

Picture = NDArray[np.uint8]
"""Red, green, blue; shape (h, w, 3)."""

CRF = "20"
"""Quality of the H.264 picture, 0 best to 51 worst: lines and letters of a drawing stay sharp."""

ENCODER = {"crf": CRF, "preset": "veryfast", "tune": "animation"}

NO_REMARKS = "filter_units=remove_types=6"
"""Takes out the units in which an encoder writes down its name and settings."""


def film_bytes(pictures: Iterable[Picture], rate_hz: int) -> bytes:
    """Encode pictures as an MP4 film (H.264) that every player plays.

    Parameters
    ----------
    pictures : iterable of ndarray of uint8, shape (h, w, 3)
        Red, green, blue; all of one size, which is even.
    rate_hz : int
        Pictures a second.

    Returns
    -------
    bytes
        No title, no date, no place, no name of a program and no sound is in it.

    Raises
    ------
    OutputError
        If there is no picture, or they are not of one even size.
    """
    out = io.BytesIO()
    stream: VideoStream | None = None
    with av.open(out, "w", format="mp4", options={"fflags": "+bitexact"}) as container:
        for number, picture in enumerate(pictures):
            height, width = picture.shape[:2]
            if stream is None:
                stream = container.add_stream("libx264", rate=rate_hz, options=ENCODER)
                stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
                stream.codec_context.flags |= Flags.bitexact
                stream.time_base = stream.codec_context.time_base = Fraction(1, rate_hz)
                remarks = BitStreamFilterContext(NO_REMARKS, stream)
            if (stream.width, stream.height) != (width, height) or width % 2 or height % 2:
                raise OutputError(
                    f"Expected pictures of one even size; {width} x {height} came at picture {number + 1}. Report it: it is a fault."
                )
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(picture), format="rgb24")
            frame.pts, frame.time_base = number, Fraction(1, rate_hz)
            for packet in stream.encode(frame):
                container.mux(remarks.filter(packet))
        if stream is None:
            raise OutputError("Expected pictures for a film; none came. Give a longer part of the clip.")
        for packet in stream.encode(None):
            container.mux(remarks.filter(packet))
        container.mux(remarks.filter(None))
    return out.getvalue()


def write_film(path: Path, pictures: Iterable[Picture], rate_hz: int) -> None:
    """Write pictures as a film, whole or not at all, see `film_bytes`.

    Parameters
    ----------
    path : Path
    pictures : iterable of ndarray of uint8, shape (h, w, 3)
    rate_hz : int

    Raises
    ------
    OutputError
        If there is no picture, or the file cannot be written.
    """
    write_whole_bytes(path, film_bytes(pictures, rate_hz))
