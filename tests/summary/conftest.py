"""Records of clips that were never filmed, from tracks with known answers."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from posture.conventions import Mirrored
from posture.geometry.lens import lens_of
from posture.measure import Measurement, Settings, read_clip
from posture.see import SeenClip, SeenPerson
from posture.signal.track import HeadTrack
from posture.summary.build import build_summary
from posture.summary.checks import ClipFacts
from posture.summary.record import Conditions

HOLDS = [(-14.0, -12.0, -8.0), (-10.0, -9.0, -6.0), (-18.0, -14.0, -9.0), (-13.0, -11.0, -7.0)]
FACTS = ClipFacts(
    kind="video",
    sha256="a" * 64,
    duration_s=41.5,
    width_px=1280,
    height_px=720,
    frames_analysed=623,
    faces_found_share=0.98,
    persons=1,
    person=1,
    asked_person=1,
    still_faces=0,
    is_still=False,
    face_height_px=140.0,
    longest_step_s=0.07,
    unreliable_share=0.01,
    damage=None,
)

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
        person = SeenPerson(track, portrait=None, stretches=(1,), seen_share=0.99, is_still=False)
        seen = SeenClip("video", "a" * 64, 1280, 720, time_s, (person,), None, None, None, lens_of(1280), None, ())
        return read_clip(seen, Settings(mirrored=mirrored))

    def make(
        mirrored: Mirrored = "no", kind: str = "one", conditions: Conditions | None = None, rhythm: bool = False, **facts: Any
    ) -> Measurement:
        if kind == "photograph":
            facts |= {"kind": "photograph", "duration_s": None, "frames_analysed": 1}
        if kind == "no face":
            facts |= {"faces_found_share": 0.0, "persons": 0, "person": None, "face_height_px": None}
        found = read(mirrored, kind, rhythm)
        clip = replace(FACTS, **facts)
        conditions = conditions or Conditions(target="camera")
        summary = build_summary(clip, found.found, conditions, found.summary.made_with, "K7")
        return replace(found, facts=clip, summary=summary)

    return make
