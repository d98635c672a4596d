"""Walks a clip down to its summary: the one function that the command line, the page and the tests share."""

from __future__ import annotations

import json
from dataclasses import dataclass
from importlib.metadata import version
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

from posture import __version__
from posture.clinic.examination import Examination, examination_of
from posture.clip import DEFAULT_EVERY_S
from posture.conventions import Mirrored
from posture.errors import ConditionsError, SpanError
from posture.face.model import MODEL_SHA256, POSE_MODEL_SHA256
from posture.geometry.lens import Lens, lens_of
from posture.see import OnFrame, SeenClip, SeenPerson, see_clip
from posture.signal.asked import Asked, say_asked
from posture.signal.chin_zero import ChinZero
from posture.signal.habitual import HabitualPosture, find_habitual_posture
from posture.signal.reading import ReadSettings, read_track, upright_from
from posture.signal.spans import Span, say_number, say_spans
from posture.signal.track import HeadTrack
from posture.summary.build import build_summary
from posture.summary.checks import ClipFacts
from posture.summary.files import read_summary, track_csv, write_results
from posture.summary.record import Conditions, MadeWith, Summary


@dataclass(frozen=True)
class Settings:
    """What a user may settle before a clip is measured.

    Attributes
    ----------
    mirrored : {"no", "yes", "unknown"}
    mirrored_from : str or None
        How that is known, where nobody had to be asked; for the record.
    roll_deg, pitch_deg : float or None
        Of the camera, as stated or marked; None is not known.
    roll_sd_deg, pitch_sd_deg : float or None
        How well; None is as well as people state it.
    from_scene : bool
        Take roll and pitch from the picture's own plumb lines, where they can be trusted.
    focal_px : float or None
        Of the upright picture.
    view_deg : float or None
        Angle of view across the longer side, instead of focal_px.
    device : str or None
        A key of `posture.geometry.devices.DEVICES`, where neither is known.
    every_s : float
        Least time between frames that are analysed; 0 is every frame.
    person : int or None
        Which person, numbered from 1 by face time times size; None is the first.
    target_cm : tuple of float or None
        Where the person looked, as the person sees it: to the right of the camera, above it, nearer than it. None is the camera.
    on_target : tuple of Span or None
        When the eyes were on it; None is not marked.
    head_set : tuple of Span
        When an examiner had set the head straight.
    chin_zero : ChinZero or None
        Of the same person, from another clip.
    asked : tuple of Asked
        Movements that were asked of the person; what was done then is no habit.
    passive : bool
        Whether the examiner moved the neck.
    """

    mirrored: Mirrored = "unknown"
    roll_deg: float | None = None
    pitch_deg: float | None = None
    roll_sd_deg: float | None = None
    pitch_sd_deg: float | None = None
    from_scene: bool = False
    focal_px: float | None = None
    view_deg: float | None = None
    device: str | None = None
    every_s: float = DEFAULT_EVERY_S
    person: int | None = None
    target_cm: tuple[float, float, float] | None = None
    on_target: tuple[Span, ...] | None = None
    head_set: tuple[Span, ...] = ()
    chin_zero: ChinZero | None = None
    mirrored_from: str | None = None
    asked: tuple[Asked, ...] = ()
    passive: bool = False

    def read_settings(self, lens: Lens | None = None) -> ReadSettings:
        """The part of the settings that is a reading of a kept track, through a lens that is not the one it was seen with."""
        right, up, nearer = self.target_cm or (0.0, 0.0, 0.0)
        return ReadSettings(
            mirrored=self.mirrored,
            upright=upright_from(self.roll_deg, self.pitch_deg, self.roll_sd_deg, self.pitch_sd_deg),
            from_scene=self.from_scene,
            lens=lens,
            # The person faces the camera: right is left there, and up is not down.
            target_cm=(-right, -up, nearer),
            on_target=self.on_target,
            head_set=self.head_set,
            chin_zero=self.chin_zero,
            asked=tuple((one.start_s, one.end_s) for one in self.asked),
        )

    def lens(self, longer_px: int, file_px: float | None) -> Lens:
        """The lens that they lead to, for a picture of that longer side and a file that may say a focal length."""
        return lens_of(longer_px, self.focal_px, self.view_deg, self.device, file_px)

    def stated(self) -> dict[str, str | float | None]:
        """What was stated, for the record; equal exactly where the settings are."""
        values: dict[str, Any] = dict(vars(self))
        if self.mirrored_from is None:
            del values["mirrored_from"]
        del values["asked"], values["passive"]
        if self.asked:
            values["asked"] = (
                f"{say_asked(self.asked, sided=self.mirrored != 'unknown')}, {'passive' if self.passive else 'active'}"
            )
        values["from_scene"] = "yes" if self.from_scene else "no"
        values["target_cm"] = None if self.target_cm is None else ", ".join(map(say_number, self.target_cm))
        values["on_target"] = None if self.on_target is None else say_spans(self.on_target)
        values["head_set"] = say_spans(self.head_set)
        zero = self.chin_zero
        values["chin_zero"] = zero and f"{say_number(zero.value_deg)}, sd {say_number(zero.sd_deg)}, of {zero.settings}"
        return values


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
    examination : Examination or None
        What came of the movements that were asked; None where none were.
    """

    seen: SeenClip
    track: HeadTrack
    facts: ClipFacts
    found: HabitualPosture
    summary: Summary
    examination: Examination | None = None

    def save(self, folder: Path, stem: str) -> tuple[Path, Path]:
        """Write track, examination and summary into a folder, whole or not at all; returns where track and summary are."""
        examination = self.examination.to_json() if self.examination else None
        return write_results(folder, stem, self.summary, track_csv(self.track, self.found, self.facts.person), examination)


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
    seen = see_clip(path, settings.focal_px, settings.view_deg, settings.device, settings.every_s, on_frame)
    return read_clip(seen, settings, conditions, label)


def read_clip(
    seen: SeenClip, settings: Settings, conditions: Conditions | None = None, label: str | None = None
) -> Measurement:
    """Read what was seen: no picture is needed, so that changing a setting or choosing another person is instant.

    Parameters
    ----------
    seen : SeenClip
    settings : Settings
        All but the spacing of frames; another lens than that with which the clip was seen is taken into account, see
        `posture.geometry.lens.through_other_lens`.
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
    lens = settings.lens(max(seen.width_px, seen.height_px), seen.file_focal_px)
    found = find_habitual_posture(read_track(track, settings.read_settings(None if lens == seen.lens else lens)))
    zero = found.read.chin_zero
    used: dict[str, str | float | None] = {
        "shoulder_model_sha256": POSE_MODEL_SHA256,
        "focal_px": round(lens.focal_px, 3),
        "focal_sd_share": round(lens.sd_share, 4),
        "chin_zero_deg": round(zero.value_deg, 3) if zero else None,
        "chin_zero_sd_deg": round(zero.sd_deg, 3) if zero else None,
        "chin_zero_settings": zero.settings if zero else None,
    }
    made_with = MadeWith(
        posture=__version__, mediapipe=version("mediapipe"), model_sha256=MODEL_SHA256, settings=settings.stated() | used
    )
    summary = build_summary(facts, found, conditions, made_with, label)
    if not settings.asked:
        return Measurement(seen, track, facts, found, summary)
    position = conditions.position
    examination = examination_of(found, settings.asked, sha256=facts.sha256, position=position, passive=settings.passive)
    return Measurement(seen, track, facts, found, summary, examination)


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


def read_chin_zero(path: Path) -> ChinZero:
    """Read the chin zero out of the summary of another clip of the same person.

    Parameters
    ----------
    path : Path
        A summary as it was written.

    Returns
    -------
    ChinZero

    Raises
    ------
    RecordError
        If it is no summary.
    SpanError
        If no head was set in its clip.
    """
    made = read_summary(path).made_with.settings
    values = [made.get(f"chin_zero{part}") for part in ("_deg", "_sd_deg", "_settings")]
    if not all(isinstance(value, float | int) for value in values):
        raise SpanError(
            f"Expected a clip in which the head was set straight; in '{path.name}' it was not. Mark when it was, and measure that"
            " clip again."
        )
    value, sd, settings = (float(value) for value in values)  # type: ignore[arg-type]
    return ChinZero(value, sd, round(settings))


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
