"""HeadTrack: what was seen in every frame, unsmoothed, and nothing about how it is read."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from posture.errors import TrackError

Array = NDArray[np.float64]

ROTATION_TOLERANCE = 1e-4
"""A rotation may differ from orthonormal by this much: angles are kept as 32-bit numbers on disk."""


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
    trunk_tilt_deg : ndarray, shape (n,)
        Slope of the shoulder line in the picture, + right shoulder lower; NaN where not seen.
    camera_roll_deg, camera_pitch_deg : ndarray, shape (n,)
        As read from the scene; NaN where not.
    width_px, height_px : int
        The upright picture.
    focal_px : float
        With which the rotations were found.
    steps : tuple of str
        What was done, in order, in plain words.
    """

    time_s: Array
    rotation: Array
    place_cm: Array
    face_height_px: Array
    quality: Array
    trunk_tilt_deg: Array
    camera_roll_deg: Array
    camera_pitch_deg: Array
    width_px: int
    height_px: int
    focal_px: float
    steps: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = len(np.atleast_1d(self.time_s))
        shapes = {"rotation": (n, 3, 3), "place_cm": (n, 3)}
        for field in fields(self):
            if field.type != "Array":
                continue
            array = np.array(getattr(self, field.name), float)
            expected = shapes.get(field.name, (n,))
            if array.shape != expected:
                raise TrackError(f"Expected {field.name} of shape {expected}; {array.shape} came.")
            if np.isinf(array).any():
                raise TrackError(f"Expected {field.name} to be finite or NaN; infinity came.")
            array.flags.writeable = False
            object.__setattr__(self, field.name, array)
        self._check_times()
        self._check_rotations()
        if not (self.width_px > 0 and self.height_px > 0 and self.focal_px > 0 and np.isfinite(self.focal_px)):
            raise TrackError(
                f"Expected a picture size and focal length above 0; {self.width_px} x {self.height_px}, {self.focal_px} came."
            )

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
