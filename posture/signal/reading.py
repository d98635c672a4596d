"""A reading of a track: mirroring, upright and target applied, as a pure function of the track and its settings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from posture.conventions import Mirrored, wrap_deg
from posture.geometry.angles import line_of_sight, mirror, posture_angles, to_level
from posture.signal.track import HeadTrack

Array = NDArray[np.float64]

UprightKind = Literal["as-filmed", "marked"]


@dataclass(frozen=True)
class Upright:
    """How the camera stood, and how well that is known.

    Attributes
    ----------
    kind : {"as-filmed", "marked"}
    roll_deg, pitch_deg : float
        Of the file as stored.
    roll_sd_deg, pitch_sd_deg : float
        One standard deviation of what is not known about them.
    """

    kind: UprightKind
    roll_deg: float
    pitch_deg: float
    roll_sd_deg: float
    pitch_sd_deg: float


AS_FILMED_ROLL_SD_DEG = 2.5
"""A camera propped or held by eye is level to about five degrees in nineteen cases of twenty (common practice, no source)."""

AS_FILMED_PITCH_SD_DEG = 8.0
"""Cameras look down on a child, or up from a table, by up to about fifteen degrees (common practice, no source)."""

STATED_ROLL_SD_DEG = 1.0
"""A roll that a person states from a plumb line is good to about two degrees (common practice, no source)."""

STATED_PITCH_SD_DEG = 3.0
"""A pitch that a person states is good to about six degrees (common practice, no source)."""


def upright_from(roll_deg: float | None = None, pitch_deg: float | None = None) -> Upright:
    """Settle how the camera stood from what was stated.

    Parameters
    ----------
    roll_deg, pitch_deg : float or None
        None is unknown: taken as level, with the uncertainty of a camera set up by eye.

    Returns
    -------
    Upright
        "marked" when the roll was stated.
    """
    return Upright(
        "as-filmed" if roll_deg is None else "marked",
        roll_deg or 0.0,
        pitch_deg or 0.0,
        AS_FILMED_ROLL_SD_DEG if roll_deg is None else STATED_ROLL_SD_DEG,
        AS_FILMED_PITCH_SD_DEG if pitch_deg is None else STATED_PITCH_SD_DEG,
    )


AS_FILMED = upright_from()
"""Nothing stated: the camera is taken as level."""


@dataclass(frozen=True)
class ReadSettings:
    """How a track is to be read.

    Attributes
    ----------
    mirrored : {"no", "yes", "unknown"}
        While unknown, the angles are the picture's own and no side may be named.
    upright : Upright
    """

    mirrored: Mirrored = "unknown"
    upright: Upright = AS_FILMED


@dataclass(frozen=True)
class ReadTrack:
    """A track as read: postures in the level frame and their angles, frame by frame.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
    rotation : ndarray, shape (n, 3, 3)
        Posture in the level frame.
    azimuth_deg, elevation_deg : ndarray, shape (n,)
        Turn and chin with which the head would face the target.
    face_found : ndarray of bool, shape (n,)
        A face was really seen, not filled in.
    face_height_px, quality : ndarray, shape (n,)
        As seen; NaN where no face was found.
    settings : ReadSettings
    steps : tuple of str
    """

    time_s: Array
    rotation: Array
    azimuth_deg: Array
    elevation_deg: Array
    face_found: NDArray[np.bool_]
    face_height_px: Array
    quality: Array
    settings: ReadSettings
    steps: tuple[str, ...]

    @property
    def angles_deg(self) -> Array:
        """Tilt, turn and chin against the line of sight, shape (n, 3); NaN where missing."""
        tilt, turn, chin = posture_angles(self.rotation)
        return np.stack([tilt, wrap_deg(turn - self.azimuth_deg), wrap_deg(chin - self.elevation_deg)], -1)

    @property
    def camera_angles_deg(self) -> Array:
        """Tilt, turn and chin against the camera's heading, shape (n, 3); NaN where missing."""
        return np.stack(posture_angles(self.rotation), -1)

    def with_step(self, step: str, **changes: NDArray[Any]) -> ReadTrack:
        """A new reading with some arrays replaced and a line added to the log."""
        return replace(self, steps=(*self.steps, step), **changes)  # type: ignore[arg-type]


def read_track(track: HeadTrack, settings: ReadSettings) -> ReadTrack:
    """Read a track: take out the camera's roll and pitch, undo the mirroring, find the line of sight.

    Parameters
    ----------
    track : HeadTrack
        As seen.
    settings : ReadSettings

    Returns
    -------
    ReadTrack
        Same frames; NaN where no face was found. With mirroring unknown the angles are the picture's own.
    """
    upright = settings.upright
    rotation, place = to_level(track.rotation, track.place_cm, upright.roll_deg, upright.pitch_deg)
    step = f"camera taken as rolled by {upright.roll_deg:g} and pitched by {upright.pitch_deg:g} degrees ({upright.kind})"
    if settings.mirrored == "yes":
        rotation, place = mirror(rotation, place)
        step += "; mirrored picture read as the person's own sides"
    azimuth, elevation = line_of_sight(place)
    return ReadTrack(
        track.time_s,
        rotation,
        azimuth,
        elevation,
        track.face_found,
        track.face_height_px,
        track.quality,
        settings,
        (*track.steps, step),
    )
