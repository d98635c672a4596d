"""The user's folder in the test's, and a film as browsers write one."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import av
import pytest

from posture.filming import pieces
from posture.folders import data_folder

ROOT = Path(__file__).resolve().parents[2]

FILM_S = 10.0


@pytest.fixture
def private(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The user's folder, in the test's."""
    for name in ("XDG_DATA_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.setattr(pieces, "LEAST_FREE_BYTES", 0)
    yield data_folder()
    for recording in list(pieces._held.values()):
        recording.erase()


@pytest.fixture(scope="session")
def webm(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The beginning of a sample as a browser would record it: VP8, a cluster a second, and no duration anywhere."""
    path = tmp_path_factory.mktemp("webm") / "film.webm"
    with (
        av.open(str(ROOT / "sample_videos" / "steady-left-tilt.mp4")) as sample,
        av.open(str(path), "w", format="webm", options={"live": "1", "cluster_time_limit": "1000"}) as made,
    ):
        stream = made.add_stream("libvpx", rate=15)
        stream.width, stream.height, stream.pix_fmt = 854, 480, "yuv420p"
        stream.codec_context.bit_rate = 2_000_000
        stream.codec_context.options = {"deadline": "realtime", "cpu-used": "8"}
        for frame in sample.decode(video=0):
            if frame.time is None or frame.time > FILM_S:
                break
            made.mux(stream.encode(frame.reformat(format="yuv420p")))
        made.mux(stream.encode())
    return path.read_bytes()
