"""Records of clips that were never filmed, from tracks with known answers."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from posture.conventions import Mirrored
from posture.measure import Measurement, Settings, read_measurement
from posture.signal.track import HeadTrack
from posture.summary.build import build_summary
from posture.summary.checks import ClipFacts
from posture.summary.record import Conditions

HOLDS = [(-14.0, -12.0, -8.0), (-10.0, -9.0, -6.0), (-18.0, -14.0, -9.0), (-13.0, -11.0, -7.0)]
FACTS = ClipFacts("video", "a" * 64, 41.5, 1280, 720, 623, 0.98, 1, 140.0, 0.07, 0.01, None)

Measure = Callable[..., Measurement]


@pytest.fixture(scope="session")
def measure(make_track: Callable[..., HeadTrack], make_held: Callable[..., tuple[np.ndarray, np.ndarray]]) -> Measure:
    """Read a made-up track of holds: one posture, two postures, a moment, a photograph or no face."""

    @cache
    def read(mirrored: Mirrored, kind: str, rhythm: bool) -> Measurement:
        holds = {"one": HOLDS * 3, "two": [(15.0, 4.0, 0.0), (-6.0, 0.0, 0.0)] * 6}.get(kind, HOLDS[:2])
        time_s, angles = make_held(holds, hold_s=3.0)
        if rhythm:
            angles[:, 2] += 1.5 * np.sin(2 * np.pi * 2.5 * time_s)
        if kind == "photograph":
            time_s, angles = time_s[:1], angles[:1]
        track = make_track(time_s, *angles.T, missing=np.full(len(time_s), kind == "no face"))
        return read_measurement(track, FACTS, Settings(mirrored=mirrored), Conditions())

    def make(
        mirrored: Mirrored = "no", kind: str = "one", conditions: Conditions | None = None, rhythm: bool = False, **facts: Any
    ) -> Measurement:
        if kind == "photograph":
            facts |= {"kind": "photograph", "duration_s": None, "frames_analysed": 1}
        if kind == "no face":
            facts |= {"faces_found_share": 0.0, "persons": 0, "face_height_px": None}
        found = read(mirrored, kind, rhythm)
        clip = replace(FACTS, **facts)
        settings = Settings(mirrored=mirrored).read_settings()
        conditions = conditions or Conditions(target="camera")
        summary = build_summary(clip, found.found, settings, conditions, found.summary.made_with, "K7")
        return replace(found, facts=clip, summary=summary)

    return make
