"""The reading of one picture, and what a known change of the picture leaves of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posture.conventions import wrap_deg
from posture.geometry.angles import line_of_sight, posture_angles
from posture.geometry.pose import Pose
from tests.proof.material import Rgb, pose_of, see_face

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Seen:
    """One picture's reading: pose, and where the face is (centre (2,) and size, pixels)."""

    pose: Pose
    centre_px: Array
    size_px: float


@dataclass(frozen=True)
class Change:
    """What turning or mirroring one picture changed after it was taken out again.

    Attributes
    ----------
    what : float or str
        By how much the picture was turned, degrees; "mirrored"; "enlarged N" or "small N": shrunk to a face of N pixels.
    found : bool
        False where no face was found, or another person's.
    difference_deg : ndarray, shape (3,)
        Tilt, turn and chin against the line of sight, less those of the picture as it was; NaN where not found.
    """

    what: float | str
    found: bool
    difference_deg: Array


def look(picture: Rgb, focal_px: float) -> Seen | None:
    """Read the largest face of a picture."""
    face = see_face(picture)
    if face is None:
        return None
    return Seen(pose_of(face, picture, focal_px), face.centre_px, face.size_px)


def angles(rotation: Array, place: Array) -> Array:
    """Tilt, turn and chin against the line of sight, shape (3,)."""
    tilt, turn, chin = posture_angles(rotation)
    azimuth, elevation = line_of_sight(place)
    return np.array([tilt, wrap_deg(turn - azimuth), wrap_deg(chin - elevation)])


def is_another(after: Seen, expected_px: Array, size_px: float) -> bool:
    """Whether the face is not where it must be: of two people the other may become the larger; that compares nothing."""
    return bool(np.linalg.norm(after.centre_px - expected_px) > 0.5 * size_px)


def mean_size(chosen: Sequence[Change]) -> tuple[Array, int, int]:
    """Mean size of differences (3,), how many, and how many were not found."""
    found = [np.abs(c.difference_deg) for c in chosen if c.found]
    return (np.mean(found, axis=0) if found else np.full(3, np.nan)), len(found), len(chosen) - len(found)
