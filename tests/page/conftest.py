"""A measurer that sees invented persons at once, and the page with its files in a folder of the test."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posture.batch.child import Job, Progress
from posture.geometry.angles import posture_matrix
from posture.geometry.lens import lens_of
from posture.measure import Measurement, read_clip
from posture.see import SeenClip, SeenPerson
from posture.signal.track import HeadTrack

ROOT = Path(__file__).resolve().parents[2]

RATE_HZ, DURATION_S = 15, 60


def made_track(tilt_deg: float, turn_deg: float, duration_s: float = DURATION_S) -> HeadTrack:
    """A head that is held in one posture, with a look aside after every four seconds."""
    time_s = np.arange(0, duration_s, 1 / RATE_HZ)
    aside = 20 * np.exp(-(((time_s % 4 - 3.6) / 0.15) ** 2))
    wobble = 0.3 * np.sin(time_s * 1.7)
    rotation = posture_matrix(tilt_deg + wobble, turn_deg + aside + wobble, -6 + wobble)
    n = len(time_s)
    place = np.tile([0.0, 0.0, 60.0], (n, 1))
    return HeadTrack(time_s, rotation, place, np.full(n, 150.0), np.ones(n), 640, 480, 576.0, steps=("made up for a test",))


def made_portrait(number: int) -> np.ndarray:
    """A picture of the size of a portrait, another one for every number."""
    return np.random.default_rng(number).integers(0, 256, (96, 96, 3), dtype=np.uint8)


def made_person(number: int, tilt_deg: float, duration_s: float = DURATION_S, **changes: object) -> SeenPerson:
    """Somebody whose head is held so far to the right shoulder."""
    person = SeenPerson(made_track(tilt_deg, 9.0, duration_s), made_portrait(number), (number,), 1.0, False)
    return replace(person, **changes)


def made_clip(persons: Sequence[SeenPerson], sha256: str = 64 * "0") -> SeenClip:
    """What was seen of a film with these persons."""
    time_s = persons[0].track.time_s
    return SeenClip(
        "video", sha256, 640, 480, time_s, tuple(persons), None, None, None, lens_of(640), None, ("made up for a test",)
    )


class Measurer:
    """Stands in for measure_in_child: the file's first byte says how far the first person's head is tilted to the right.

    Attributes
    ----------
    calls : list of Path
        Clips that were measured.
    error : exception or None
        Raised instead.
    duration_s : float
    others : list of SeenPerson
        Who is there besides.
    """

    def __init__(self) -> None:
        self.calls: list[Path] = []
        self.error: BaseException | None = None
        self.duration_s = float(DURATION_S)
        self.others: list[SeenPerson] = []

    def __call__(self, job: Job, on_progress: Callable[[Progress], None]) -> Measurement:
        self.calls.append(job.path)
        on_progress(Progress(0.5, 30.0, 1 + len(self.others)))
        if self.error is not None:
            raise self.error
        data = job.path.read_bytes()
        persons = [made_person(1, float(data[0]), self.duration_s), *self.others]
        seen = made_clip(persons, hashlib.sha256(data).hexdigest())
        return read_clip(seen, job.settings, job.conditions, job.label)


@pytest.fixture(autouse=True, scope="session")
def one_scan_for_components() -> Iterator[None]:
    """The library's test frame looks through all installed packages whenever a page is opened; they stay the same."""
    from streamlit.components.v2 import manifest_scanner

    found = manifest_scanner.scan_component_manifests()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(manifest_scanner, "scan_component_manifests", lambda: found)
        yield


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
    """In the place of measure_in_child on the page."""
    import posture.page.main

    stand_in = Measurer()
    monkeypatch.setattr(posture.page.main, "measure_in_child", stand_in)
    return stand_in


@pytest.fixture
def open_page(private: Path) -> Callable[[], object]:
    """Opens the page in the library's test frame."""
    from streamlit.testing.v1 import AppTest

    return lambda: AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
