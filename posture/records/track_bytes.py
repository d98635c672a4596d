"""A HeadTrack as bytes and back: raw 32-bit numbers (times 64-bit), compressed, behind a header that says what they are.

    magic (8 bytes) | length of the header (4, little-endian) | header (JSON) | zlib of the arrays one after the other

The header holds version, scalars, and name, type and shape of every array. Nothing in it is ever run.
"""

from __future__ import annotations

import json
import struct
import zlib
from dataclasses import MISSING, Field, fields
from itertools import pairwise
from typing import Any

import numpy as np

from posture.errors import RecordsError, TrackError
from posture.signal.track import HeadTrack

MAGIC = b"POSTURE\n"
VERSION = 1

MOST_HEADER_BYTES = 1 << 20
MOST_RAW_BYTES = 1 << 29
"""Half a gigabyte of numbers: about ten days at 15 frames a second. What claims more is damaged, or made to fill the memory."""

TIME, OTHER = "<f8", "<f4"
"""Times of a long film need more than 32 bits; angles of landmarks do not."""

_LENGTH = struct.Struct("<I")
_KNOWN: dict[str, Field[Any]] = {known.name: known for known in fields(HeadTrack)}
_ARRAYS = {name for name, known in _KNOWN.items() if known.type == "Array"}


def pack_track(track: HeadTrack) -> bytes:
    """A track as bytes.

    Parameters
    ----------
    track : HeadTrack

    Returns
    -------
    bytes
    """
    arrays, raw = [], []
    for name in (name for name in _KNOWN if name in _ARRAYS):
        kind = TIME if name == "time_s" else OTHER
        array = np.ascontiguousarray(getattr(track, name), kind)
        arrays.append([name, kind, list(array.shape)])
        raw.append(array.tobytes())
    scalars = {name: getattr(track, name) for name in _KNOWN if name not in _ARRAYS}
    header = json.dumps({"version": VERSION, "scalars": scalars, "arrays": arrays}, allow_nan=False).encode()
    return MAGIC + _LENGTH.pack(len(header)) + header + zlib.compress(b"".join(raw), 6)


def unpack_track(packed: bytes) -> HeadTrack:
    """A track out of its bytes.

    Parameters
    ----------
    packed : bytes
        From `pack_track`, of this version of the program or an earlier one: fields that it did not have are NaN.

    Returns
    -------
    HeadTrack

    Raises
    ------
    RecordsError
        If they are damaged, of a later version, or larger than any track.
    """
    try:
        header, body = _split(packed)
        given: dict[str, Any] = dict(header["scalars"])
        arrays = [(str(name), str(kind), tuple(int(n) for n in shape)) for name, kind, shape in header["arrays"]]
        version = int(header["version"])
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise _damaged("its header cannot be read") from error
    unknown = [name for name in (*given, *(name for name, _, _ in arrays)) if name not in _KNOWN]
    if version > VERSION or unknown:
        raise RecordsError(
            f"Expected a track of this version of the program; a later one wrote it (version {version},"
            f" {', '.join(unknown) or 'fields as known'}). Use the later version."
        )
    given |= _numbers(arrays, body)
    lost = [name for name, known in _KNOWN.items() if name not in given and not _may_be_missing(known)]
    if lost:
        raise _damaged(f"{', '.join(lost)} is missing")
    if isinstance(given.get("steps"), list):
        given["steps"] = tuple(str(step) for step in given["steps"])
    try:
        return HeadTrack(**given)
    except (TrackError, TypeError, ValueError) as error:
        raise _damaged(str(error)) from error


def _split(packed: bytes) -> tuple[dict[str, Any], bytes]:
    """Header and compressed numbers."""
    start = len(MAGIC) + _LENGTH.size
    if packed[: len(MAGIC)] != MAGIC or len(packed) < start:
        raise ValueError("no track")
    (length,) = _LENGTH.unpack(packed[len(MAGIC) : start])
    if length > min(MOST_HEADER_BYTES, len(packed) - start):
        raise ValueError("too long a header")
    return json.loads(packed[start : start + length], parse_constant=_refuse), packed[start + length :]


def _refuse(constant: str) -> None:
    """NaN and infinity are no JSON."""
    raise ValueError(constant)


def _numbers(arrays: list[tuple[str, str, tuple[int, ...]]], body: bytes) -> dict[str, Any]:
    """The arrays out of the compressed numbers, never more of them than the header says and than is allowed."""
    sizes = []
    for name, kind, shape in arrays:
        if name not in _ARRAYS or kind != (TIME if name == "time_s" else OTHER) or len(shape) > 3 or min(shape, default=-1) < 0:
            raise _damaged(f"'{name}' is not what it should be")
        # In whole numbers without bound: a product of 64 bits could come round to a small one.
        size = np.dtype(kind).itemsize
        for n in shape:
            size *= n
        sizes.append(size)
    total = sum(sizes)
    if total > MOST_RAW_BYTES:
        raise _damaged(f"{total} bytes are more than any track has")
    unpacker = zlib.decompressobj()
    try:
        raw = unpacker.decompress(body, total + 1)
    except zlib.error as error:
        raise _damaged("its numbers cannot be unpacked") from error
    if len(raw) != total or not unpacker.eof or unpacker.unused_data:
        raise _damaged("it is shorter or longer than its header says")
    ends = np.cumsum([0, *sizes]).tolist()
    return {
        name: np.frombuffer(raw[first:last], kind).reshape(shape).astype(float)
        for (name, kind, shape), (first, last) in zip(arrays, pairwise(ends), strict=True)
    }


def _may_be_missing(known: Field[Any]) -> bool:
    """Whether an earlier version may not have had it."""
    return known.default is not MISSING or known.default_factory is not MISSING


def _damaged(why: str) -> RecordsError:
    """The error of a track that cannot be read."""
    return RecordsError(f"Expected a kept track; {why}. Restore a backup, or measure the clip anew.")
