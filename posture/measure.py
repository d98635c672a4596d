"""Walks a clip down to its summary: the one function that the command line, the page and the tests share."""

from __future__ import annotations

import json
from dataclasses import dataclass
from importlib.metadata import version
from os import PathLike
from pathlib import Path

import numpy as np
from pydantic import ValidationError

from posture import __version__
from posture.clip import DEFAULT_EVERY_S
from posture.conventions import Mirrored
from posture.errors import ConditionsError
from posture.face.model import MODEL_SHA256
from posture.see import OnFrame, SeenClip, SeenPerson, see_clip
from posture.signal.habitual import HabitualPosture, find_habitual_posture
from posture.signal.reading import ReadSettings, read_track, upright_from
from posture.signal.track import HeadTrack
from posture.summary.build import build_summary
from posture.summary.checks import ClipFacts
from posture.summary.files import track_csv, write_results
from posture.summary.record import Conditions, MadeWith, Summary


@dataclass(frozen=True)
class Settings:
    """What a user may settle before a clip is measured.

    Attributes
    ----------
    mirrored : {"no", "yes", "unknown"}
    roll_deg, pitch_deg : float or None
        Of the camera, as stated; None is not known.
    focal_px : float or None
        Of the upright picture.
    view_deg : float or None
        Angle of view across the longer side, instead of focal_px.
    every_s : float
        Least time between frames that are analysed; 0 is every frame.
    person : int or None
        Which person, numbered from 1 by face time times size; None is the first.
    """

    mirrored: Mirrored = "unknown"
    roll_deg: float | None = None
    pitch_deg: float | None = None
    focal_px: float | None = None
    view_deg: float | None = None
    every_s: float = DEFAULT_EVERY_S
    person: int | None = None

    def read_settings(self) -> ReadSettings:
        """The part of the settings that is a reading of a kept track."""
        return ReadSettings(self.mirrored, upright_from(self.roll_deg, self.pitch_deg))


@dataclass(frozen=True)
class Measurement:
    """All that came of one clip.

    Attributes
    ----------
    seen : SeenClip
        What was seen, of every person.
    track : HeadTrack
        Of the person that was measured; kept.
    facts : ClipFacts
    found : HabitualPosture
    summary : Summary
    """

    seen: SeenClip
    track: HeadTrack
    facts: ClipFacts
    found: HabitualPosture
    summary: Summary

    def save(self, folder: Path, stem: str) -> tuple[Path, Path]:
        """Write track and summary into a folder, whole or not at all; returns where they are."""
        return write_results(folder, stem, self.summary, track_csv(self.track, self.found, self.facts.person))


def measure_clip(
    path: str | PathLike[str],
    settings: Settings | None = None,
    conditions: Conditions | None = None,
    label: str | None = None,
    on_frame: OnFrame | None = None,
) -> Measurement:
    """Measure the head posture in one video or photograph.

    Parameters
    ----------
    path : str or path
    settings : Settings or None
    conditions : Conditions or None
        How it was filmed; the date is taken from the file where none is given.
    label : str or None
        A code for the record. The file's name never enters it.
    on_frame : callable or None
        See `posture.see.OnFrame`.

    Returns
    -------
    Measurement

    Raises
    ------
    ClipError
        If the clip cannot be read.
    ModelError
        If the landmark model or a system library is missing.
    """
    settings = settings or Settings()
    seen = see_clip(path, settings.focal_px, settings.view_deg, settings.every_s, on_frame)
    return read_clip(seen, settings, conditions, label)


def read_clip(
    seen: SeenClip, settings: Settings, conditions: Conditions | None = None, label: str | None = None
) -> Measurement:
    """Read what was seen: no picture is needed, so that changing a setting or choosing another person is instant.

    Parameters
    ----------
    seen : SeenClip
    settings : Settings
        Of which mirroring, roll, pitch and person matter here; lens and spacing were used when the clip was seen.
    conditions : Conditions or None
        The date is taken from the file where none is given.
    label : str or None

    Returns
    -------
    Measurement
    """
    conditions = conditions or Conditions()
    if conditions.filmed_on is None and seen.filmed_on is not None:
        dated = {"filmed_on": seen.filmed_on, "filmed_on_source": seen.filmed_on_source}
        conditions = conditions.model_copy(update=dated)
    number = settings.person if settings.person is not None else 1
    person = seen.persons[number - 1] if 1 <= number <= len(seen.persons) else None
    track = person.track if person is not None else seen.empty_track()
    facts = _facts(seen, number, person)
    read_settings = settings.read_settings()
    found = find_habitual_posture(read_track(track, read_settings))
    stated = {name: value for name, value in vars(settings).items() if name != "focal_px"}
    made_with = MadeWith(
        posture=__version__,
        mediapipe=version("mediapipe"),
        model_sha256=MODEL_SHA256,
        settings=stated | {"focal_px": round(seen.focal_px, 3)},
    )
    summary = build_summary(facts, found, read_settings, conditions, made_with, label)
    return Measurement(seen, track, facts, found, summary)


def read_conditions(path: Path) -> Conditions:
    """Read a JSON file of conditions.

    Parameters
    ----------
    path : Path
        A JSON object with keys of `posture.summary.record.Conditions`.

    Returns
    -------
    Conditions

    Raises
    ------
    ConditionsError
        Naming the key that is wrong and what it may hold.
    """
    try:
        values = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise ConditionsError(f"Expected a JSON file of conditions; '{path.name}' cannot be read as one ({error}).") from error
    if not isinstance(values, dict):
        raise ConditionsError(f"Expected a JSON object of conditions in '{path.name}'; {type(values).__name__} came.")
    try:
        return Conditions(**values)
    except (ValidationError, TypeError) as error:
        first = error.errors()[0] if isinstance(error, ValidationError) else {"loc": ("?",), "msg": str(error)}
        key = ".".join(str(part) for part in first["loc"])
        known = ", ".join(Conditions.model_fields)
        raise ConditionsError(
            f"Expected other conditions in '{path.name}': '{key}': {first['msg']}. Keys are {known}."
        ) from error


def _facts(seen: SeenClip, number: int, person: SeenPerson | None) -> ClipFacts:
    """What is known of the clip and of how this person was seen in it; a number beyond those seen is nobody."""
    moving = sum(not p.is_still for p in seen.persons)
    heights = person.track.face_height_px[person.track.face_found] if person is not None else np.array([])
    share = len(heights) / len(seen.time_s)
    return ClipFacts(
        kind=seen.kind,
        sha256=seen.sha256,
        duration_s=None if seen.kind == "photograph" else float(seen.time_s[-1] - seen.time_s[0]),
        width_px=seen.width_px,
        height_px=seen.height_px,
        frames_analysed=len(seen.time_s),
        faces_found_share=share,
        persons=moving or len(seen.persons),
        person=number if person is not None else None,
        asked_person=number,
        still_faces=len(seen.persons) - moving,
        is_still=person is not None and person.is_still,
        face_height_px=float(np.median(heights)) if len(heights) else None,
        longest_step_s=float(np.diff(seen.time_s).max(initial=0.0)),
        unreliable_share=1 - share / person.seen_share if person is not None and person.seen_share else 0.0,
        damage=seen.damage,
    )
