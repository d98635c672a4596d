"""HeadTrack: what was seen in every frame, unsmoothed, and nothing about how it is read."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from posture.errors import TrackError
from posture.signal.upright import SceneStand, smooth_stand

Array = NDArray[np.float64]

ROTATION_TOLERANCE = 1e-4
"""A rotation may differ from orthonormal by this much: angles are kept as 32-bit numbers on disk."""


_NOT_SEEN: Array = np.empty(0)
"""Stands for NaN in every frame."""


def _not_seen() -> Array:
    """What an array is that is not given."""
    return _NOT_SEEN


@dataclass(frozen=True)
class HeadTrack:
    """One person's head in one clip, as the camera saw it. An instance is valid or does not exist; its arrays are read-only.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Strictly increasing, from the clip's first frame.
    rotation : ndarray, shape (n, 3, 3)
        Posture as the camera sees it, in the person-facing basis of `posture.conventions`; NaN where no face was found.
    place_cm : ndarray, shape (n, 3)
        Head in the camera's frame, in centimetres of an average face; NaN where no face was found.
    face_height_px : ndarray, shape (n,)
    quality : ndarray, shape (n,)
        0 to 1; NaN where no face was found.
    width_px, height_px : int
        The upright picture.
    focal_px : float
        With which the rotations were found.
    focal_sd_share : float
        How well it is known: one standard deviation as a share of it.
    camera_roll_deg, camera_pitch_deg, camera_roll_sd_deg, camera_pitch_sd_deg : ndarray, shape (n,)
        How the camera stood by the plumb lines of that frame; NaN where they were not looked at or not trusted.
    shoulders_px : ndarray, shape (n, 2, 2)
        The shoulder that the picture shows as the person's right one, and the left one; NaN where not looked at or not seen.
    shoulders_turn_deg : ndarray, shape (n,)
        How far the trunk is turned away, + as the turn of a face.
    arm_raised : ndarray, shape (n,)
        1 where an arm lifts its shoulder, 0 where not or where shoulders were looked for and not seen, NaN where not looked at.
    eye_line_deg, midface_line_deg : ndarray, shape (n,)
        Slopes in the face's own frontal plane against the fitted face, + as tilt.
    facial_angle_deg, relative_facial_size : ndarray, shape (n,)
        Two measures of the symmetry of the face as `posture.geometry.face_lines.FaceSymmetry` has them; the second above 0.
    steps : tuple of str
        What was done, in order, in plain words.
    """

    time_s: Array
    rotation: Array
    place_cm: Array
    face_height_px: Array
    quality: Array
    width_px: int
    height_px: int
    focal_px: float
    focal_sd_share: float = 0.0
    camera_roll_deg: Array = field(default_factory=_not_seen)
    camera_pitch_deg: Array = field(default_factory=_not_seen)
    camera_roll_sd_deg: Array = field(default_factory=_not_seen)
    camera_pitch_sd_deg: Array = field(default_factory=_not_seen)
    shoulders_px: Array = field(default_factory=_not_seen)
    shoulders_turn_deg: Array = field(default_factory=_not_seen)
    arm_raised: Array = field(default_factory=_not_seen)
    eye_line_deg: Array = field(default_factory=_not_seen)
    midface_line_deg: Array = field(default_factory=_not_seen)
    facial_angle_deg: Array = field(default_factory=_not_seen)
    relative_facial_size: Array = field(default_factory=_not_seen)
    steps: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = len(np.atleast_1d(self.time_s))
        shapes = {"rotation": (n, 3, 3), "place_cm": (n, 3), "shoulders_px": (n, 2, 2)}
        for known in fields(self):
            if known.type != "Array":
                continue
            expected = shapes.get(known.name, (n,))
            given = getattr(self, known.name)
            array = np.full(expected, np.nan) if given is _NOT_SEEN else np.array(given, float)
            if array.shape != expected:
                raise TrackError(f"Expected {known.name} of shape {expected}; {array.shape} came.")
            if np.isinf(array).any():
                raise TrackError(f"Expected {known.name} to be finite or NaN; infinity came.")
            array.flags.writeable = False
            object.__setattr__(self, known.name, array)
        self._check_times()
        self._check_rotations()
        if (self.relative_facial_size <= 0).any():
            raise TrackError(f"Expected relative_facial_size above 0; {np.nanmin(self.relative_facial_size):g} came.")
        if not (self.width_px > 0 and self.height_px > 0 and self.focal_px > 0 and np.isfinite(self.focal_px)):
            raise TrackError(
                f"Expected a picture size and focal length above 0; {self.width_px} x {self.height_px}, {self.focal_px} came."
            )

    @cached_property
    def scene(self) -> SceneStand | None:
        """How the camera stood in every frame by the scene, for the lens that it was seen with; worked out once."""
        stands = self.camera_roll_deg, self.camera_pitch_deg, self.camera_roll_sd_deg, self.camera_pitch_sd_deg
        return smooth_stand(self.time_s, *stands)

    @property
    def face_found(self) -> NDArray[np.bool_]:
        """Where a face was found, shape (n,)."""
        return ~np.isnan(self.rotation[:, 0, 0])

    def _check_times(self) -> None:
        """Times are numbers and increase."""
        if np.isnan(self.time_s).any():
            raise TrackError(f"Expected every frame to have a time; frame {int(np.isnan(self.time_s).argmax())} has none.")
        if (np.diff(self.time_s) <= 0).any():
            at = int((np.diff(self.time_s) <= 0).argmax()) + 1
            raise TrackError(
                f"Expected time_s to increase; frame {at} is at {self.time_s[at]:.3f} s after {self.time_s[at - 1]:.3f} s."
            )

    def _check_rotations(self) -> None:
        """Rotations are rotations, and NaN as a whole, together with the place."""
        missing = np.isnan(self.rotation).any((1, 2))
        if (missing != np.isnan(self.rotation).all((1, 2))).any() or (missing != np.isnan(self.place_cm).any(1)).any():
            raise TrackError("Expected rotation and place to be missing together and whole; some are missing in part.")
        seen = self.rotation[~missing]
        error = np.abs(seen @ np.swapaxes(seen, 1, 2) - np.eye(3)).max(initial=0.0)
        if error > ROTATION_TOLERANCE or (np.linalg.det(seen) < 0).any():
            raise TrackError(f"Expected rotation matrices; they differ from orthonormal by {error:.2g} or mirror the picture.")
