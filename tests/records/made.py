"""Measurements of films that were never made, and the file of records that is kept for every version of the schema.

``python -m tests.records.made PATH`` writes such a file; one was kept as `files/records-N.sqlite` when version N was new, and is never
written anew.
"""

from __future__ import annotations

import hashlib
import io
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from posture.clinic.findings import Findings, Hypertropia
from posture.geometry.lens import lens_of
from posture.measure import Settings, read_clip
from posture.records.clips import clip_of
from posture.records.dates import PartialDate
from posture.records.pictures import clean_picture
from posture.records.seen import Measured
from posture.records.store import Records, open_records
from posture.records.values import Consent, Event, Person, Visit
from posture.see import SeenClip, SeenPerson
from posture.signal.asked import Asked
from posture.summary.record import Conditions
from tests.conftest import held, track_of


def made_measured(
    name: str = "a", tilt_deg: float = -12.0, filmed_on: str | None = "2024-03-05", mirrored: str = "no", **conditions: Any
) -> Measured:
    """A measurement of a film that was never made: postures held, with a little noise, one more person in the picture."""
    postures = [(tilt_deg, -8.0, -3.0), (tilt_deg + 2, -6.0, -1.0), (tilt_deg, -9.0, -2.0), (tilt_deg - 1, -7.0, -4.0)]
    time_s, angles = held(postures * 3)
    noise = np.random.default_rng(5).normal(0, 0.3, angles.shape)
    tilt, turn, chin = (angles + noise).T
    track = track_of(time_s, tilt, turn, chin, missing=np.arange(len(time_s)) % 50 == 7)
    track = replace(track, steps=("made for a test",), shoulders_turn_deg=np.where(np.arange(len(time_s)) % 6, np.nan, 3.0))
    seen = SeenClip(
        kind="video",
        sha256=sha256_of(name),
        width_px=track.width_px,
        height_px=track.height_px,
        time_s=time_s,
        persons=(
            SeenPerson(track, None, (1,), float(track.face_found.mean()) + 0.01, is_still=False),
            SeenPerson(track, None, (2,), 0.2, is_still=True),
        ),
        damage=None,
        filmed_on=filmed_on,
        filmed_on_source=None if filmed_on is None else "the file",
        lens=lens_of(track.width_px, stated_px=1000.0),
        file_focal_px=None,
        steps=("made for a test",),
    )
    settings = Settings(mirrored=mirrored, focal_px=1000.0, head_set=((0.0, 2.0),))  # type: ignore[arg-type]
    return Measured.of(read_clip(seen, settings, Conditions(**conditions), label=f"label {name}"), settings)


def another(measured: Measured, name: str) -> Measured:
    """The same measurement of another file: quicker than a new one."""
    clip = measured.summary.clip.model_copy(update={"sha256": sha256_of(name), "label": f"label {name}"})
    summary = measured.summary.model_copy(update={"clip": clip})
    return replace(measured, summary=summary, seen=replace(measured.seen, sha256=sha256_of(name)))


def sha256_of(name: str) -> str:
    return hashlib.sha256(name.encode()).hexdigest()


def made_picture(size: tuple[int, int] = (64, 48), kind: str = "JPEG", **written: Any) -> bytes:
    """A picture as a camera would give it."""
    file = io.BytesIO()
    Image.linear_gradient("L").resize(size).convert("RGB").save(file, kind, **written)
    return file.getvalue()


def fill(records: Records, code: str = "Quagga-17", measured: Measured | None = None) -> Person:
    """One person with something of everything."""
    person = records.persons.add(Person(code, PartialDate("2018-04"), "right", "referring doctor"))
    records.events.add(Event(person.id, "surgery", PartialDate("2023-06-12"), "right inferior oblique weakened"))
    records.events.add(Event(person.id, "glasses", PartialDate("2021", about=True), "first glasses"))
    findings = Findings(onset="infancy", red_flags=[], hypertropia_pd=Hypertropia(primary=8.0, tilt_right=14.0))
    records.visits.add(Visit(person.id, PartialDate("2024-03-05"), "since when?", "M. Zebu", "10 to the left", findings))
    first = measured or made_measured()
    clip, _ = records.clips.keep(clip_of(person.id, first, filmed_by="mother", picture=clean_picture(made_picture())), first)
    records.readings.read_anew(clip.id, replace(first.settings, roll_deg=3.0, asked=(Asked("tilt left", 0.0, 2.5),)))
    second = another(first, f"{code} second")
    old = PartialDate("2019", about=True)
    records.clips.keep(clip_of(person.id, second, posed=True, filmed_on=old, filmed_on_source="the parents say"), second)
    records.consents.add(Consent(person.id, None, "mother", PartialDate("2024-03-05"), frozenset({"care", "letter"})))
    teaching = Consent(person.id, clip.id, "mother", PartialDate("2024-03-05"), frozenset({"teaching"}), PartialDate("2024-04"))
    records.consents.add(teaching)
    return person


if __name__ == "__main__":
    with open_records(Path(sys.argv[1])) as opened:
        fill(opened)
