"""A reading of a track: mirroring, upright, lens, target and chin zero applied, as a pure function of the track and its settings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from posture.conventions import Mirrored, wrap_deg
from posture.geometry.angles import line_of_sight, mirror, posture_angles, to_level
from posture.geometry.fit import Camera
from posture.geometry.lens import Lens, pitch_sd_through, stand_through_other_lens, through_other_lens
from posture.geometry.plumb import PITCH_PRIOR_SD_DEG
from posture.geometry.trunk import Trunk, read_trunk
from posture.signal.chin_zero import ChinZero, find_chin_zero
from posture.signal.interval import Z95
from posture.signal.spans import Span
from posture.signal.track import HeadTrack
from posture.signal.upright import SceneStand

Array = NDArray[np.float64]

UprightKind = Literal["as-filmed", "marked", "scene"]


@dataclass(frozen=True)
class Upright:
    """How the camera stood, and how well that is known.

    Attributes
    ----------
    kind : {"as-filmed", "marked", "scene"}
    roll_deg, pitch_deg : float
        Of the file as stored; of a hand-held camera the middle ones.
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

AS_FILMED_PITCH_SD_DEG = PITCH_PRIOR_SD_DEG
"""Cameras look down on a child, or up from a table, by up to about fifteen degrees (common practice, no source)."""

UNKNOWN_ROLL_SD_DEG, UNKNOWN_PITCH_SD_DEG = 7.5, 10.0
"""Where the picture shows nothing plumb either, it may be a hand that held the camera aslant: rolled by up to fifteen degrees and pitched
by up to twenty (common practice, no source)."""

STATED_ROLL_SD_DEG = 1.0
"""A roll that a person states from a plumb line is good to about two degrees (common practice, no source)."""

STATED_PITCH_SD_DEG = 3.0
"""A pitch that a person states is good to about six degrees (common practice, no source)."""


def upright_from(
    roll_deg: float | None = None,
    pitch_deg: float | None = None,
    roll_sd_deg: float | None = None,
    pitch_sd_deg: float | None = None,
) -> Upright:
    """Settle how the camera stood from what was stated or marked.

    Parameters
    ----------
    roll_deg, pitch_deg : float or None
        None is unknown: taken as level, with the uncertainty of a camera set up by eye.
    roll_sd_deg, pitch_sd_deg : float or None
        How well; None is as well as people state it.

    Returns
    -------
    Upright
        "marked" when the roll is known.
    """
    roll_sd = STATED_ROLL_SD_DEG if roll_sd_deg is None else roll_sd_deg
    pitch_sd = STATED_PITCH_SD_DEG if pitch_sd_deg is None else pitch_sd_deg
    return Upright(
        "as-filmed" if roll_deg is None else "marked",
        roll_deg or 0.0,
        pitch_deg or 0.0,
        AS_FILMED_ROLL_SD_DEG if roll_deg is None else roll_sd,
        AS_FILMED_PITCH_SD_DEG if pitch_deg is None else pitch_sd,
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
        As stated; also where the scene is asked for and says nothing.
    from_scene : bool
        Whether the picture's own plumb lines are asked for.
    lens : Lens or None
        None is that with which the track was seen.
    target_cm : tuple of float
        Where the person looks in the target spells, from the camera: to the camera's right, down, and forward.
    on_target : tuple of Span or None
        When the eyes were on the target; None is not marked.
    head_set : tuple of Span
        When an examiner had set the head straight.
    chin_zero : ChinZero or None
        From another clip of the same person; spans of this one come first.
    asked : tuple of Span
        When movements were asked of the person: what was done then is no habit.
    """

    mirrored: Mirrored = "unknown"
    upright: Upright = AS_FILMED
    from_scene: bool = False
    lens: Lens | None = None
    target_cm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    on_target: tuple[Span, ...] | None = None
    head_set: tuple[Span, ...] = ()
    chin_zero: ChinZero | None = None
    asked: tuple[Span, ...] = ()


@dataclass(frozen=True)
class ReadTrack:
    """A track as read: postures in the level frame and their angles, frame by frame.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
    rotation : ndarray, shape (n, 3, 3)
        Posture in the level frame.
    place_cm : ndarray, shape (n, 3)
        Head in the level frame.
    azimuth_deg, elevation_deg : ndarray, shape (n,)
        Turn and chin with which the head would face the target.
    face_found : ndarray of bool, shape (n,)
        A face was really seen, not filled in.
    face_height_px, quality : ndarray, shape (n,)
        As seen; NaN where no face was found.
    seen : HeadTrack
        What it is a reading of.
    settings : ReadSettings
    upright : Upright
        With which it was read: what the settings and the scene came to.
    scene : SceneStand or None
        What the scene says, asked for or not; None where it says nothing.
    lens : Lens
        With which it was read.
    chin_zero : ChinZero or None
        That was subtracted from the chin.
    trunk : Trunk
        The shoulder line, the camera and the mirroring taken out.
    steps : tuple of str
    """

    time_s: Array
    rotation: Array
    place_cm: Array
    azimuth_deg: Array
    elevation_deg: Array
    face_found: NDArray[np.bool_]
    face_height_px: Array
    quality: Array
    seen: HeadTrack
    settings: ReadSettings
    upright: Upright
    scene: SceneStand | None
    lens: Lens
    chin_zero: ChinZero | None
    trunk: Trunk
    steps: tuple[str, ...]

    @property
    def angles_deg(self) -> Array:
        """Tilt, turn and chin against the line of sight and the chin zero, shape (n, 3); NaN where missing."""
        tilt, turn, chin = posture_angles(self.rotation)
        zero = self.chin_zero.value_deg if self.chin_zero else 0.0
        return np.stack([tilt, wrap_deg(turn - self.azimuth_deg), wrap_deg(chin - self.elevation_deg - zero)], -1)

    @property
    def camera_angles_deg(self) -> Array:
        """Tilt, turn and chin against the camera's heading, shape (n, 3); NaN where missing."""
        return np.stack(posture_angles(self.rotation), -1)

    @property
    def target_cm(self) -> tuple[float, float, float]:
        """The target with which it was read: on which side of the camera it is, is not known while mirroring is not."""
        x, y, z = self.settings.target_cm
        return (0.0, y, z) if self.settings.mirrored == "unknown" else (x, y, z)

    @property
    def camera_deg(self) -> tuple[Array, Array]:
        """Roll and pitch of the camera with which each frame was read, each of shape (n,)."""
        return _camera_deg(len(self.time_s), self.upright, self.scene)

    def with_step(self, step: str, **changes: NDArray[Any]) -> ReadTrack:
        """A new reading with some arrays replaced and a line added to the log."""
        return replace(self, steps=(*self.steps, step), **changes)  # type: ignore[arg-type]


def read_track(track: HeadTrack, settings: ReadSettings) -> ReadTrack:
    """Read a track: take out the camera's roll and pitch, undo the mirroring, find the line of sight, subtract the chin zero.

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
    lens = settings.lens or Lens(track.focal_px, track.focal_sd_share, "when it was seen")
    rotation, place = through_other_lens(track.rotation, track.place_cm, track.focal_px, lens.focal_px)
    scene = _scene(track, lens)
    upright = _settle(settings, scene)
    camera_deg = _camera_deg(len(track.time_s), upright, scene)
    read = ReadTrack(
        time_s=track.time_s,
        rotation=rotation,
        place_cm=place,
        azimuth_deg=np.zeros(len(track.time_s)),
        elevation_deg=np.zeros(len(track.time_s)),
        face_found=track.face_found,
        face_height_px=track.face_height_px,
        quality=track.quality,
        seen=track,
        settings=settings,
        upright=upright,
        scene=scene,
        lens=lens,
        chin_zero=None,
        trunk=_trunk(track, rotation, place, lens, camera_deg, is_mirrored=settings.mirrored == "yes"),
        steps=track.steps,
    )
    rotation, place = to_level(rotation, place, *camera_deg)
    step = f"camera taken as rolled by {upright.roll_deg:.1f} and pitched by {upright.pitch_deg:.1f} degrees ({upright.kind})"
    if settings.mirrored == "yes":
        rotation, place = mirror(rotation, place)
        step += "; mirrored picture read as the person's own sides"
    azimuth, elevation = line_of_sight(place, read.target_cm)
    read = read.with_step(step, rotation=rotation, place_cm=place, azimuth_deg=azimuth, elevation_deg=elevation)
    zero = find_chin_zero(read.time_s, read.angles_deg[:, 2], settings.head_set) or settings.chin_zero
    if zero is None:
        return read
    return replace(read, chin_zero=zero, steps=(*read.steps, f"chin zero of {zero.value_deg:.1f} degrees subtracted"))


def _camera_deg(n: int, upright: Upright, scene: SceneStand | None) -> tuple[Array, Array]:
    """Roll and pitch of the camera in each of n frames."""
    if upright.kind == "scene" and scene is not None:
        return scene.roll_deg, scene.pitch_deg
    return np.full(n, upright.roll_deg), np.full(n, upright.pitch_deg)


def _trunk(
    track: HeadTrack, rotation: Array, place_cm: Array, lens: Lens, camera_deg: tuple[Array, Array], *, is_mirrored: bool
) -> Trunk:
    """The shoulder line, from heads as the camera sees them through that lens."""
    camera = Camera(track.width_px, track.height_px, lens.focal_px)
    looks = track.shoulders_px, track.shoulders_turn_deg, track.arm_raised
    trunk = read_trunk(track.time_s, *looks, rotation, place_cm, camera, *camera_deg)
    if not is_mirrored:
        return trunk
    return replace(trunk, tilt_deg=-trunk.tilt_deg, shift_share=-trunk.shift_share)


def _scene(track: HeadTrack, lens: Lens) -> SceneStand | None:
    """What the scene says of the camera, frame by frame."""
    scene = track.scene
    if scene is None:
        return None
    roll, pitch = stand_through_other_lens(scene.roll_deg, scene.pitch_deg, track.focal_px, lens.focal_px)
    pitch_sd = pitch_sd_through(lens, float(np.median(pitch)), scene.pitch_sd_deg)
    return replace(scene, roll_deg=roll, pitch_deg=pitch, pitch_sd_deg=pitch_sd)


def _settle(settings: ReadSettings, scene: SceneStand | None) -> Upright:
    """How the camera stood, by the settings and what the scene says."""
    stated = settings.upright
    if scene is None and stated.kind == "as-filmed":
        # A stated pitch stands.
        pitch_sd = UNKNOWN_PITCH_SD_DEG if stated.pitch_sd_deg == AS_FILMED_PITCH_SD_DEG else stated.pitch_sd_deg
        return replace(stated, roll_sd_deg=UNKNOWN_ROLL_SD_DEG, pitch_sd_deg=pitch_sd)
    if scene is None:
        return stated
    roll, pitch = float(np.median(scene.roll_deg)), float(np.median(scene.pitch_deg))
    if settings.from_scene:
        return Upright("scene", roll, pitch, scene.roll_sd_deg, scene.pitch_sd_deg)
    if stated.kind == "marked":
        return stated
    # Read as filmed although the picture's own lines say otherwise: the interval reaches as far as they do.
    return replace(
        stated,
        roll_sd_deg=_reaching(stated.roll_sd_deg, roll, scene.roll_sd_deg),
        pitch_sd_deg=_reaching(stated.pitch_sd_deg, pitch - stated.pitch_deg, scene.pitch_sd_deg),
    )


def _reaching(sd_deg: float, away_deg: float, scene_sd_deg: float) -> float:
    """A standard deviation whose interval reaches what the scene says, as far as the scene is the surer of the two."""
    return max(sd_deg, abs(away_deg) / Z95 + scene_sd_deg) if scene_sd_deg < sd_deg else sd_deg
