"""Walks a clip down to its summary: the one function that the command line, the page and the tests share."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from os import PathLike
from pathlib import Path

import numpy as np
from pydantic import ValidationError

from posture import __version__
from posture.clip import DEFAULT_EVERY_S, Clip, Frame, open_clip
from posture.conventions import Mirrored
from posture.errors import ConditionsError
from posture.face.follow import FaceFollower, FaceSeen
from posture.face.model import MODEL_SHA256, load_canonical_face
from posture.geometry.pose import Camera, Pose, estimate_pose
from posture.signal.habitual import HabitualPosture, find_habitual_posture
from posture.signal.reading import ReadSettings, read_track, upright_from
from posture.signal.track import HeadTrack
from posture.summary.build import build_summary
from posture.summary.checks import ClipFacts
from posture.summary.files import track_csv, write_results
from posture.summary.record import Conditions, MadeWith, Summary

DEFAULT_VIEW_SHARE = 0.9
"""Focal length that is taken where none is known, in longer sides of the picture: 58 degrees across, between a laptop's camera
(about 65) and a phone's main one (about 55) held for video (common practice, no source)."""

BAD_FIT_SHARE = 0.045
"""Faces whose points miss the canonical face by more, root mean square, as a share of the face's size, are left out: faces of
rendered and real people turned within 25 degrees stay under 0.03 (own measurement, no source)."""

OnFrame = Callable[[Frame, FaceSeen | None, float | None], None]
"""Called after every frame with the frame, the face in it, and the share of the clip that is done (None: not known)."""


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
    """

    mirrored: Mirrored = "unknown"
    roll_deg: float | None = None
    pitch_deg: float | None = None
    focal_px: float | None = None
    view_deg: float | None = None
    every_s: float = DEFAULT_EVERY_S

    def read_settings(self) -> ReadSettings:
        """The part of the settings that is a reading of a kept track."""
        return ReadSettings(self.mirrored, upright_from(self.roll_deg, self.pitch_deg))


@dataclass(frozen=True)
class Measurement:
    """All that came of one clip.

    Attributes
    ----------
    track : HeadTrack
        What was seen; kept.
    facts : ClipFacts
    found : HabitualPosture
    summary : Summary
    """

    track: HeadTrack
    facts: ClipFacts
    found: HabitualPosture
    summary: Summary

    def save(self, folder: Path, stem: str) -> tuple[Path, Path]:
        """Write track and summary into a folder, whole or not at all; returns where they are."""
        return write_results(folder, stem, self.summary, track_csv(self.track, self.found))


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
        See `OnFrame`.

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
    with open_clip(path) as clip:
        track, facts = _see_clip(clip, settings, on_frame)
        conditions = conditions or Conditions()
        if conditions.filmed_on is None and clip.info.filmed_on is not None:
            conditions = conditions.model_copy(
                update={"filmed_on": clip.info.filmed_on, "filmed_on_source": clip.info.filmed_on_source}
            )
    return read_measurement(track, facts, settings, conditions, label)


def read_measurement(
    track: HeadTrack, facts: ClipFacts, settings: Settings, conditions: Conditions, label: str | None = None
) -> Measurement:
    """Read a kept track: no picture is needed, so that changing a setting is instant.

    Parameters
    ----------
    track : HeadTrack
    facts : ClipFacts
    settings : Settings
        Of which mirroring, roll and pitch matter here; lens and spacing were used when the track was seen.
    conditions : Conditions
    label : str or None

    Returns
    -------
    Measurement
    """
    read_settings = settings.read_settings()
    found = find_habitual_posture(read_track(track, read_settings))
    stated = {name: value for name, value in vars(settings).items() if name != "focal_px"}
    made_with = MadeWith(
        posture=__version__,
        mediapipe=version("mediapipe"),
        model_sha256=MODEL_SHA256,
        settings=stated | {"focal_px": round(track.focal_px, 3)},
    )
    return Measurement(track, facts, found, build_summary(facts, found, read_settings, conditions, made_with, label))


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


def _see_clip(clip: Clip, settings: Settings, on_frame: OnFrame | None) -> tuple[HeadTrack, ClipFacts]:
    """Look at every frame, keep angles and place, forget the pictures and the points."""
    info = clip.info
    camera = Camera(info.width_px, info.height_px, _focal_px(settings, info.focal_px, max(info.width_px, info.height_px)))
    face = load_canonical_face()
    times: list[float] = []
    poses: list[Pose | None] = []
    with FaceFollower() as follower:
        for frame in clip.frames(settings.every_s):
            seen = follower.look(frame)
            times.append(frame.time_s)
            poses.append(estimate_pose(seen.points_px, seen.depth_px, camera, face) if seen is not None else None)
            if on_frame is not None:
                on_frame(frame, seen, clip.progress(frame.time_s))
        persons = follower.most_faces
    found = np.array([p is not None for p in poses], bool)
    good = [p if p is not None and p.reprojection_share <= BAD_FIT_SHARE else None for p in poses]
    steps = (
        *clip.info.steps,
        "landmarks looked at until they settled; the library's causal filter passed through",
        f"canonical face fitted with a focal length of {camera.focal_px:.0f} px",
        f"{sum(p is not None for p in poses) - sum(p is not None for p in good)} faces left out for a bad fit",
    )
    track = _track(np.array(times), good, camera, steps)
    heights = track.face_height_px[track.face_found]
    facts = ClipFacts(
        kind=info.kind,
        sha256=info.sha256,
        duration_s=None if info.kind == "photograph" else float(times[-1] - times[0]),
        width_px=info.width_px,
        height_px=info.height_px,
        frames_analysed=len(times),
        faces_found_share=float(track.face_found.mean()),
        persons=persons,
        face_height_px=float(np.median(heights)) if len(heights) else None,
        longest_step_s=float(np.diff(times).max(initial=0.0)),
        unreliable_share=float(1 - len(heights) / found.sum()) if found.any() else 0.0,
        damage=clip.damage_note,
    )
    return track, facts


def _focal_px(settings: Settings, known_px: float | None, longer_px: int) -> float:
    """The focal length that was stated, else the one in the file, else a usual one."""
    if settings.focal_px is not None:
        return settings.focal_px
    if settings.view_deg is not None:
        return longer_px / 2 / float(np.tan(np.radians(settings.view_deg) / 2))
    return known_px if known_px is not None else DEFAULT_VIEW_SHARE * longer_px


def _track(time_s: np.ndarray, poses: list[Pose | None], camera: Camera, steps: tuple[str, ...]) -> HeadTrack:
    """A HeadTrack of the poses."""
    n = len(poses)
    none = np.full(n, np.nan)
    rotation, place = np.full((n, 3, 3), np.nan), np.full((n, 3), np.nan)
    height, quality = none.copy(), none.copy()
    for i, pose in enumerate(poses):
        if pose is not None:
            rotation[i], place[i], height[i] = pose.rotation, pose.place_cm, pose.face_height_px
            quality[i] = 1 - pose.reprojection_share / BAD_FIT_SHARE
    return HeadTrack(
        time_s, rotation, place, height, quality, none, none, none, camera.width_px, camera.height_px, camera.focal_px, steps
    )
