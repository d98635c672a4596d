"""A measurer that sees an invented track at once, and the page with its files in a folder of the test."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from posture.geometry.angles import posture_matrix
from posture.measure import Measurement, read_measurement
from posture.signal.track import HeadTrack
from posture.summary.checks import ClipFacts

ROOT = Path(__file__).resolve().parents[2]

RATE_HZ, DURATION_S = 15, 60


def made_track(tilt_deg: float, turn_deg: float, duration_s: float = DURATION_S) -> HeadTrack:
    """A head that is held in one posture, with a look aside after every four seconds."""
    time_s = np.arange(0, duration_s, 1 / RATE_HZ)
    aside = 20 * np.exp(-(((time_s % 4 - 3.6) / 0.15) ** 2))
    wobble = 0.3 * np.sin(time_s * 1.7)
    rotation = posture_matrix(tilt_deg + wobble, turn_deg + aside + wobble, -6 + wobble)
    n, none = len(time_s), np.full(len(time_s), np.nan)
    place = np.tile([0.0, 0.0, 60.0], (n, 1))
    return HeadTrack(
        time_s, rotation, place, np.full(n, 150.0), np.ones(n), none, none, none, 640, 480, 576.0, ("made up for a test",)
    )


class Measurer:
    """Stands in for measure_clip: the file's first byte says how far the head is tilted, in degrees to the right."""

    def __init__(self) -> None:
        self.calls: list[Path] = []
        self.error: BaseException | None = None
        self.duration_s = float(DURATION_S)

    def __call__(self, path, settings, conditions, label, on_frame) -> Measurement:
        self.calls.append(Path(path))
        if self.error is not None:
            raise self.error
        data = Path(path).read_bytes()
        track = made_track(float(data[0]), 9.0, self.duration_s)
        facts = ClipFacts(
            "video",
            hashlib.sha256(data).hexdigest(),
            self.duration_s,
            640,
            480,
            len(track.time_s),
            1.0,
            1,
            150.0,
            0.07,
            0.0,
            None,
        )
        return read_measurement(track, facts, settings, conditions, label)


@pytest.fixture
def private(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The user's folder, in the test's."""
    from posture.page import uploads

    for name in ("XDG_DATA_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    uploads.work_folder.cache_clear()
    yield uploads.data_folder()
    uploads.work_folder.cache_clear()


@pytest.fixture
def measurer(monkeypatch: pytest.MonkeyPatch) -> Measurer:
    """In the place of measure_clip on the page."""
    import posture.page.main

    stand_in = Measurer()
    monkeypatch.setattr(posture.page.main, "measure_clip", stand_in)
    return stand_in


@pytest.fixture
def open_page(private: Path) -> Callable[[], object]:
    """Opens the page in the library's test frame."""
    from streamlit.testing.v1 import AppTest

    return lambda: AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
