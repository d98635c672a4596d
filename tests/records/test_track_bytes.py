"""Tracks on disk: what comes back, and what is refused."""

import json
import struct
import zlib
from collections.abc import Callable
from dataclasses import fields
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posture.errors import RecordsError
from posture.records import track_bytes
from posture.records.seen import Measured
from posture.records.track_bytes import MAGIC, pack_track, unpack_track
from posture.signal.track import HeadTrack
from tests.records.made import made_measured

PACKED = pack_track(made_measured().track)


def parts(packed: bytes) -> tuple[dict[str, Any], bytes]:
    length = struct.unpack("<I", packed[8:12])[0]
    return json.loads(packed[12 : 12 + length]), zlib.decompress(packed[12 + length :])


def whole(header: dict[str, Any], raw: bytes) -> bytes:
    text = json.dumps(header).encode()
    return MAGIC + struct.pack("<I", len(text)) + text + zlib.compress(raw)


def with_header(change: Callable[[dict[str, Any]], object]) -> bytes:
    header, raw = parts(PACKED)
    change(header)
    return whole(header, raw)


def test_track_comes_back_as_it_was(measured: Measured) -> None:
    again = unpack_track(pack_track(measured.track))
    for known in fields(HeadTrack):
        was, now = getattr(measured.track, known.name), getattr(again, known.name)
        if known.name == "time_s" or known.type != "Array":
            assert np.array_equal(was, now), known.name
        else:
            assert np.array_equal(np.isnan(was), np.isnan(now)), known.name
            assert np.allclose(was, now, rtol=1e-6, atol=1e-5, equal_nan=True), known.name
    assert pack_track(again) == pack_track(measured.track)


def test_empty_track_comes_back() -> None:
    empty = np.empty(0)
    track = HeadTrack(empty, np.empty((0, 3, 3)), np.empty((0, 3)), empty, empty, 640, 480, 500.0)
    assert len(unpack_track(pack_track(track)).time_s) == 0


def test_field_that_an_earlier_version_did_not_have_is_not_seen() -> None:
    header, raw = parts(PACKED)
    name, kind, shape = header["arrays"].pop()
    assert name not in ("time_s", "rotation")
    size = np.dtype(kind).itemsize * int(np.prod(shape))
    header["scalars"].pop("steps")
    track = unpack_track(whole(header, raw[:-size]))
    assert np.isnan(getattr(track, name)).all()
    assert track.steps == ()


@pytest.mark.parametrize(
    ("packed", "words"),
    [
        pytest.param(b"", "header", id="empty"),
        pytest.param(b"\x80\x04N." + PACKED, "header", id="pickle"),
        pytest.param(PACKED[:100], "header", id="cut in the header"),
        pytest.param(PACKED[:-10], "shorter or longer", id="cut"),
        pytest.param(PACKED + b"more", "shorter or longer", id="more"),
        pytest.param(MAGIC + struct.pack("<I", 2**32 - 1) + PACKED[12:], "header", id="endless header"),
        pytest.param(MAGIC + struct.pack("<I", 6) + b"[[[[[[", "header", id="no JSON"),
        pytest.param(whole([], b""), "header", id="a list"),  # type: ignore[arg-type]
        pytest.param(with_header(lambda h: h.update(version=2)), "later one wrote it", id="later version"),
        pytest.param(with_header(lambda h: h["arrays"].append(["mood", "<f4", [0]])), "later one .*mood", id="unknown array"),
        pytest.param(with_header(lambda h: h["scalars"].update(mood=1)), "later one .*mood", id="unknown scalar"),
        pytest.param(with_header(lambda h: h["arrays"].pop()), "shorter or longer", id="array not named"),
        pytest.param(with_header(lambda h: h["scalars"].pop("focal_px")), "focal_px is missing", id="lost"),
        pytest.param(with_header(lambda h: h["scalars"].update(focal_px=-1)), "above 0", id="no track"),
        pytest.param(with_header(lambda h: h["scalars"].update(focal_px=float("nan"))), "header", id="NaN"),
        pytest.param(with_header(lambda h: h["arrays"][1].__setitem__(1, "|O8")), "not what it should be", id="objects"),
        pytest.param(with_header(lambda h: h["arrays"][0].__setitem__(2, [10**12])), "more than any track", id="bomb"),
        pytest.param(with_header(lambda h: h["arrays"][0].__setitem__(2, [2**61, 8])), "more than any track", id="overflow"),
        pytest.param(with_header(lambda h: h["arrays"][0].__setitem__(2, [-1])), "not what it should be", id="negative"),
        pytest.param(with_header(lambda h: h["arrays"].append(h["arrays"][2])), "shorter or longer", id="twice"),
    ],
)
def test_damaged_track_is_refused_in_one_line(packed: bytes, words: str) -> None:
    with pytest.raises(RecordsError, match=words) as caught:
        unpack_track(packed)
    assert "\n" not in str(caught.value)


def test_numbers_that_unpack_to_more_than_the_header_says_are_not_unpacked(monkeypatch: pytest.MonkeyPatch) -> None:
    header, raw = parts(PACKED)
    bomb = whole(header, raw + bytes(50_000_000))
    asked = []

    class Watched:
        def __init__(self) -> None:
            self._real = zlib.decompressobj()

        def decompress(self, body: bytes, most: int) -> bytes:
            got = self._real.decompress(body, most)
            asked.append(len(got))
            return got

        eof, unused_data = False, b""

    class Watching:
        decompressobj, error = Watched, zlib.error

    monkeypatch.setattr(track_bytes, "zlib", Watching)
    with pytest.raises(RecordsError, match="shorter or longer"):
        unpack_track(bomb)
    assert asked == [len(raw) + 1]


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(PACKED) - 1), st.integers(1, 255))
def test_any_byte_changed_is_a_track_or_one_line(at: int, by: int) -> None:
    changed = bytearray(PACKED)
    changed[at] ^= by
    try:
        track = unpack_track(bytes(changed))
    except RecordsError:
        return
    assert isinstance(track, HeadTrack)
