"""Measurements of made-up children: a seeded head that holds, looks about and comes back."""

from collections.abc import Callable

import numpy as np
import pytest

from posture.geometry.angles import posture_matrix
from posture.geometry.lens import lens_of
from posture.measure import Measurement, Settings, read_clip
from posture.see import SeenClip, SeenPerson
from posture.signal.track import HeadTrack
from posture.summary.record import Conditions

HELD = ((-14.0, -12.0, -8.0),)

Measure = Callable[..., Measurement]


def make_track(
    held: tuple[tuple[float, float, float], ...] = HELD, seconds: float = 60.0, rate_hz: float = 15.0, faces: bool = True
) -> HeadTrack:
    """A head that holds each posture of a list in turn, with looks away between, and no face from 40 to 46 % of the time."""
    rng = np.random.default_rng(7)
    time_s = np.arange(0.0, seconds, 1 / rate_hz)
    hold = (time_s // 3.0).astype(int)
    wander = rng.normal(0, (2.0, 3.0, 2.0), (hold.max() + 1, 3))
    angles = np.array(held)[(hold // 4) % len(held)] + wander[hold]
    away = (time_s % 3.0 > 2.4)[:, None] * np.array([5.0, 30.0, 8.0]) * np.sin((time_s % 3.0 - 2.4) / 0.6 * np.pi)[:, None]
    angles = angles + away * rng.choice([-1, 1], hold.max() + 1)[hold][:, None] + rng.normal(0, 0.15, angles.shape)
    rotation = posture_matrix(*angles.T)
    place = np.tile([0.0, 0.0, 80.0], (len(time_s), 1))
    share = time_s / seconds
    gone = (share > 0.40) & (share < 0.46) if faces else np.ones(len(time_s), bool)
    rotation[gone], place[gone] = np.nan, np.nan
    good = np.where(gone, np.nan, 0.8)
    return HeadTrack(time_s, rotation, place, good * 250, good, 1280, 720, 1100.0)


def _build(
    mirrored: str = "no",
    conditions: Conditions | None = None,
    label: str | None = None,
    photograph: bool = False,
    **track_kwargs,
) -> Measurement:
    """A measurement of a made-up head."""
    track = make_track(**({"seconds": 0.06} if photograph else {}) | track_kwargs)
    share = float(track.face_found.mean())
    person = SeenPerson(track, portrait=None, stretches=(1,), seen_share=share, is_still=False)
    seen = SeenClip(
        kind="photograph" if photograph else "video",
        sha256="ab" * 32,
        width_px=1280,
        height_px=720,
        time_s=track.time_s,
        persons=(person,) if share else (),
        damage=None,
        filmed_on=None,
        filmed_on_source=None,
        lens=lens_of(1280),
        file_focal_px=None,
        steps=(),
    )
    return read_clip(seen, Settings(mirrored=mirrored), conditions, label)


@pytest.fixture(scope="session")
def _kept() -> dict[str, Measurement]:
    """Measurements that were made before."""
    return {}


@pytest.fixture
def measure(_kept) -> Measure:
    """Builds measurements, each once: nothing in them can be changed."""

    def build(**kwargs) -> Measurement:
        key = repr(sorted(kwargs.items()))
        if key not in _kept:
            _kept[key] = _build(**kwargs)
        return _kept[key]

    return build
