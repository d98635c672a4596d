"""What all tests share: the top folder on the path, a photograph of a face, and tracks with known answers."""

import os
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

# Tests import the package and the programs of tests/proof by name, also when pytest is started as a command of its own.
ROOT = str(Path(__file__).resolve().parents[1])
if ROOT not in sys.path:
    sys.path.insert(0, ROOT)

from posture.geometry.angles import line_of_sight, posture_matrix  # noqa: E402
from posture.signal.reading import ReadSettings, ReadTrack, read_track  # noqa: E402
from posture.signal.track import HeadTrack  # noqa: E402

LEAST_WORKERS = 3
"""Tests that film wait for the camera most of the time, so that two processors are busy with three workers."""


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """How many processes test."""
    return max(LEAST_WORKERS, os.cpu_count() or 1)


MakeTrack = Callable[..., HeadTrack]
MakeRead = Callable[..., ReadTrack]


def track_of(
    time_s: np.ndarray,
    tilt_deg: np.ndarray | float = 0.0,
    turn_deg: np.ndarray | float = 0.0,
    chin_deg: np.ndarray | float = 0.0,
    missing: np.ndarray | None = None,
    place_cm: tuple[float, float, float] = (0.0, 0.0, 60.0),
) -> HeadTrack:
    """A track with these angles against the line of sight, no face where missing."""
    n = len(time_s)
    azimuth, elevation = line_of_sight(np.array(place_cm))
    tilt, turn, chin = (np.broadcast_to(a, n) for a in (tilt_deg, turn_deg, chin_deg))
    rotation = posture_matrix(tilt, turn + azimuth, chin + elevation)
    place, height, quality = np.tile(place_cm, (n, 1)).astype(float), np.full(n, 140.0), np.full(n, 0.8)
    if missing is not None:
        for array in (rotation, place, height, quality):
            array[missing] = np.nan
    return HeadTrack(time_s, rotation, place, height, quality, 1280, 720, 1000.0)


def held(
    postures: list[tuple[float, float, float]], hold_s: float = 3.0, move_s: float = 0.5, rate_hz: float = 15.0
) -> tuple[np.ndarray, np.ndarray]:
    """Times (n,) and angles (n, 3) of postures held one after the other, with smooth moves between."""
    pieces = []
    for k, posture in enumerate(postures):
        if k:
            share = (0.5 - 0.5 * np.cos(np.linspace(0, np.pi, round(move_s * rate_hz) + 2)[1:-1]))[:, None]
            pieces.append(np.array(postures[k - 1]) * (1 - share) + np.array(posture) * share)
        pieces.append(np.tile(posture, (round(hold_s * rate_hz), 1)).astype(float))
    angles = np.concatenate(pieces)
    return np.arange(len(angles)) / rate_hz, angles


@pytest.fixture(scope="session")
def make_track() -> MakeTrack:
    return track_of


@pytest.fixture(scope="session")
def make_held() -> Callable[..., tuple[np.ndarray, np.ndarray]]:
    return held


@pytest.fixture(scope="session")
def make_read() -> MakeRead:
    """As `track_of`, read as not mirrored."""

    def make(*args: object, **named: object) -> ReadTrack:
        return read_track(track_of(*args, **named), ReadSettings(mirrored="no"))  # type: ignore[arg-type]

    return make


@pytest.fixture(scope="session")
def astronaut() -> np.ndarray:
    """The public-domain photograph of a face that ships with scikit-image, (512, 512, 3)."""
    from tests.proof.material import load_astronaut

    return load_astronaut()
