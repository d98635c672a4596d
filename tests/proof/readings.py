"""The reading of one picture, and what a known change of the picture leaves of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.conventions import wrap_deg
from posture.face.landmarker import LibraryLandmarker
from posture.face.model import load_canonical_face
from posture.face.seen import Window
from posture.geometry.angles import line_of_sight, posture_angles
from posture.geometry.fit import FACING, Camera, face_model
from posture.geometry.pose import Pose
from tests.proof.material import Rgb, frame_of, pose_of, see_face

Array = NDArray[np.float64]

LOOKS = 4
"""After so many looks at one window the landmarks hardly move any more."""


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


Look = Callable[[Rgb, float], Seen | None]
"""From a picture and its focal length in pixels to its reading."""


def look(picture: Rgb, focal_px: float) -> Seen | None:
    """Read the largest face of a picture."""
    face = see_face(picture)
    if face is None:
        return None
    return Seen(pose_of(face, picture, focal_px), face.centre_px, face.size_px)


def look_plainly(picture: Rgb, focal_px: float) -> Seen | None:
    """Read the same face as is common: four looks at one window about it, then OpenCV's solvePnP on the canonical face.

    SQPNP and then Levenberg-Marquardt, every one of the 33 points with the same weight. It is what `look` is compared with.
    """
    face = see_face(picture)
    if face is None:
        return None
    window = Window.around(face.centre_px, face.size_px)
    pixels, points = window.show(frame_of(picture)), None
    with LibraryLandmarker() as landmarker:
        for _ in range(LOOKS):
            points = landmarker.look(pixels)
    if points is None:
        return None
    canonical = load_canonical_face()
    corners, _ = face_model(canonical)
    pixels_at = window.to_picture(points)[canonical.pose_index, :2].copy()
    lens = Camera(picture.shape[1], picture.shape[0], focal_px).matrix
    _, turn, place = cv2.solvePnP(corners, pixels_at, lens, None, flags=cv2.SOLVEPNP_SQPNP)
    turn, place = cv2.solvePnPRefineLM(corners, pixels_at, lens, None, turn, place)
    rotation = FACING.T @ np.asarray(cv2.Rodrigues(turn)[0], float)
    pose = replace(pose_of(face, picture, focal_px), rotation=rotation, place_cm=np.ravel(place))
    return Seen(pose, face.centre_px, face.size_px)


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
