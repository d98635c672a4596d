"""Two lines of one face as rolls against the head's fitted rotation, and two published measures of its symmetry.

One line goes through both eyes, the other from lips to brows. In a face that is not symmetric they are not at right angles, and it matters
along which of them a tilt is read. The landmarks make faces more alike than they are: of a true difference between both lines about six
tenths are seen (`python -m tests.proof.face_lines`), of the measures of symmetry seven to ten tenths (`python -m tests.proof.symmetry`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posture.face.model import CanonicalFace
from posture.face.seen import EYES
from posture.geometry.angles import FACING
from posture.geometry.fit import Camera

Array = NDArray[np.float64]

RIGHT_EYE, LEFT_EYE = EYES["right"], EYES["left"]
"""Corners of the eyes, outer and inner. Lids are left out: they follow gaze, and a drooping one would tilt the line."""

LIPS = (61, 291, 39, 269, 181, 405)
"""Corners of the mouth and edges of the lips beside its middle; points on the midline slide more as the head turns."""

BROWS = (70, 63, 105, 66, 107, 46, 53, 52, 65, 55, 300, 293, 334, 296, 336, 276, 283, 282, 295, 285)
"""Upper and lower edges of both brows, the same points on both sides."""

LIPS_FORWARD_CM = 1.0
"""How much farther forward, against the brows, lips are seen to lie than those of the canonical face. Without it the mid-face line of
a symmetric face turned by 20 degrees leans by about 3. On rendered heads left out 1 to 1.25 was best for each of ten; how much of turn
is left in the line is printed by `python -m tests.proof.face_lines`."""

_LINES = (*RIGHT_EYE, *LEFT_EYE, *LIPS, *BROWS)
_LINES_ENDS = np.cumsum([len(RIGHT_EYE), len(LEFT_EYE), len(LIPS)])
_LINES_FORWARD_CM = np.where(np.isin(_LINES, LIPS), LIPS_FORWARD_CM, 0.0)
"""All points of both lines, where the parts but the first begin among them, and how far forward each is taken to be."""

OUTER_CANTHI, MOUTH_CORNERS = (33, 263), (61, 291)
"""Outer corner of the eye and corner of the mouth, of the right side and of the left: what both measures are defined by."""

MOUTH_FORWARD_CM = 1.25
"""As `LIPS_FORWARD_CM`, for the corners of the mouth: without it the relative size of an even face would change by 0.002 with each degree
of turn; on rendered heads 1.0 leaves 0.0005 and 1.5 makes 0.0003 the other way (`python -m tests.proof.symmetry`)."""


@dataclass(frozen=True)
class FaceLines:
    """Slopes of two lines of a face in the head's own frontal plane, in degrees against the fitted rotation, + as tilt is.

    Attributes
    ----------
    eye_deg : float
        Of the line through the middles of both eyes: the tilt along it is that of ``rotation @ Rz(eye_deg)``.
    midface_deg : float
        Of the line from the middle of the lips to the middle of the brows, likewise.
    """

    eye_deg: float
    midface_deg: float


def face_lines(points_px: Array, rotation: Array, place_cm: Array, camera: Camera, face: CanonicalFace) -> FaceLines:
    """Read the slopes of the eye line and of the mid-face line of one face.

    Parameters
    ----------
    points_px : ndarray, shape (478, 2) or (468, 2)
        In the upright picture, pixel centres at whole numbers.
    rotation : ndarray, shape (3, 3)
        Posture as the camera sees it, as `posture.geometry.pose.estimate_pose` finds it.
    place_cm : ndarray, shape (3,)
        Of the head, in the camera's frame.
    camera : Camera
    face : CanonicalFace

    Returns
    -------
    FaceLines
        NaN where points or pose are NaN.

    Raises
    ------
    ValueError
        If the points are not those of a whole face.
    """
    lies_cm = on_own_plane_cm(points_px, _LINES, rotation, place_cm, camera, face, _LINES_FORWARD_CM)
    right, left, lips, brows = (part.mean(0) for part in np.split(lies_cm, _LINES_ENDS))
    across, upwards = left - right, brows - lips
    return FaceLines(
        eye_deg=float(np.degrees(np.arctan2(across[1], across[0]))),
        midface_deg=float(np.degrees(np.arctan2(-upwards[0], upwards[1]))),
    )


@dataclass(frozen=True)
class FaceSymmetry:
    """Two measures of the symmetry of a straightened face, references [2] and [82] of DEVELOPERS.md; even is 0 and 1.

    Attributes
    ----------
    angle_deg : float
        Facial angle: of the line through the corners of the mouth against that through the outer corners of the eyes, + as tilt is.
    relative_size : float
        Relative facial size: distance from the outer corner of the eye to the corner of the mouth, right over left.
    """

    angle_deg: float
    relative_size: float


def face_symmetry(points_px: Array, rotation: Array, place_cm: Array, camera: Camera, face: CanonicalFace) -> FaceSymmetry:
    """Read the symmetry of one face, straightened by its fitted pose.

    Parameters
    ----------
    points_px, rotation, place_cm, camera, face
        As for `face_lines`.

    Returns
    -------
    FaceSymmetry
        As seen, which is less than is there; NaN where points or pose are NaN. Only of use for a face that looks about at the camera.

    Raises
    ------
    ValueError
        If the points are not those of a whole face.
    """
    corners, forward_cm = (*OUTER_CANTHI, *MOUTH_CORNERS), np.array([0.0, 0.0, MOUTH_FORWARD_CM, MOUTH_FORWARD_CM])
    return symmetry_of_corners(on_own_plane_cm(points_px, corners, rotation, place_cm, camera, face, forward_cm)[:, :2])


def symmetry_of_corners(corners: Array) -> FaceSymmetry:
    """Both measures from the corners of eyes and mouth.

    Parameters
    ----------
    corners : ndarray, shape (4, 2)
        Outer corners of the right and the left eye, right and left corner of the mouth, in the head's frontal plane: x to the person's
        left, y up.

    Returns
    -------
    FaceSymmetry
    """
    right_eye, left_eye, right_mouth, left_mouth = corners
    eyes, mouth = left_eye - right_eye, left_mouth - right_mouth
    across = float(eyes @ mouth), float(eyes[0] * mouth[1] - eyes[1] * mouth[0])
    right, left = np.linalg.norm(right_mouth - right_eye), np.linalg.norm(left_mouth - left_eye)
    size = float(right / left) if min(right, left) > 0 else np.nan
    return FaceSymmetry(float(np.degrees(np.arctan2(across[1], across[0]))), size)


def on_own_plane_cm(
    points_px: Array,
    index: Sequence[int],
    rotation: Array,
    place_cm: Array,
    camera: Camera,
    face: CanonicalFace,
    forward_cm: float | Array = 0.0,
) -> Array:
    """Where landmarks lie in the head, each taken to be as far forward as it is in the canonical face.

    The line of sight through a pixel is met with the plane, parallel to the head's frontal plane, in which the landmark of the
    canonical face lies. So perspective, turn and chin leave no trace, as far as the face is as deep as the canonical one.

    Parameters
    ----------
    points_px, rotation, place_cm, camera, face
        As for `face_lines`.
    index : sequence of int
        Which landmarks, below 468.
    forward_cm : float or ndarray, shape (len(index),)
        How much farther forward they are taken to lie than those of the canonical face.

    Returns
    -------
    ndarray, shape (len(index), 3)
        In the head frame, in centimetres of a face of canonical size.

    Raises
    ------
    ValueError
        If the points are not those of a whole face.
    """
    points_px = np.asarray(points_px, float)
    if points_px.ndim != 2 or points_px.shape[1] != 2 or len(points_px) < len(face.vertices_cm):
        raise ValueError(
            f"Expected the {len(face.vertices_cm)} or more landmarks (n, 2) of a whole face; an array of shape"
            f" {points_px.shape} came. Pass FaceSeen.points_px as it is."
        )
    chosen = list(index)
    return meet_planes_cm(points_px[chosen], face.vertices_cm[chosen, 2] + forward_cm, rotation, place_cm, camera)


def meet_planes_cm(pixels: Array, depth_cm: Array, rotation: Array, place_cm: Array, camera: Camera) -> Array:
    """Where lines of sight meet planes parallel to the head's frontal plane.

    Parameters
    ----------
    pixels : ndarray, shape (n, 2)
    depth_cm : ndarray, shape (n,)
        How far forward each plane is, along the head frame's z.
    rotation, place_cm, camera
        As for `face_lines`.

    Returns
    -------
    ndarray, shape (n, 3)
        In the head frame; NaN where a line of sight runs along its plane.
    """
    to_head = (FACING @ rotation).T
    sight = np.concatenate([(pixels - camera.middle_px) / camera.focal_px, np.ones((len(pixels), 1))], 1) @ to_head.T
    origin = -to_head @ place_cm
    forward = np.where(np.abs(sight[:, 2]) > np.finfo(float).eps, sight[:, 2], np.nan)
    return origin + ((depth_cm - origin[2]) / forward)[:, None] * sight
