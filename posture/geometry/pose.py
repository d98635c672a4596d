"""From the landmarks of a face and a camera to the head's rotation and place."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from posture.face.model import CanonicalFace
from posture.geometry.angles import FACING, angle_between_deg, line_of_sight, posture_angles, posture_matrix, wrap_deg

Array = NDArray[np.float64]

TWO_ANSWERS_DEG = 25.0
"""The points alone allow a second solution; one that far from the landmarks' own depth is that one, and is solved again."""

DEPTH_SHARE_OF_CHIN = 0.5
"""Chin is the mean of the two readings. On rendered heads the fitted face reads chin changes a tenth too small (slope 0.88) and
the depth a little too large (1.06); their mean was nearer (0.97) and its mean error smaller than either (1.9 against 2.4 and 2.2
degrees). Turn and tilt are better from the fitted face alone (own measurement)."""

POINT_SCATTER_CM = (
    0.28, 0.29, 0.48, 0.44, 0.79, 0.60, 0.38, 0.29, 0.27, 0.83, 0.36, 0.62, 0.36, 0.61, 0.47, 0.37, 0.22,
    0.28, 0.44, 0.79, 0.60, 0.38, 0.29, 0.27, 0.83, 0.36, 0.62, 0.36, 0.61, 0.47, 0.37, 0.22, 0.28,
)  # fmt: skip
"""How far each of the 33 points lies from the canonical face turned as the head truly is: root mean square in centimetres over the
rendered heads, mirrored points taken together, in the order of `CanonicalFace.pose_index`. Learned and shown on other heads than
those it was learned on by `python -m tests.proof.scatter`: tilt 0.54 degrees instead of 0.57
with equal weights, turn 1.17 instead of 1.15, chin 1.52 instead of 1.66."""

POINT_WEIGHT = np.array(POINT_SCATTER_CM) ** -4.0
"""Steeper than the inverse square, which would be right for independent errors: points that slide do so together."""

REFINE_STEPS = 8
"""Gauss-Newton steps; the pose moves by less than 0.001 degrees after five."""


@dataclass(frozen=True)
class Camera:
    """A pinhole camera without distortion.

    Attributes
    ----------
    width_px, height_px : int
        The upright picture.
    focal_px : float
    """

    width_px: int
    height_px: int
    focal_px: float

    @property
    def matrix(self) -> Array:
        """Intrinsic matrix, shape (3, 3); the axis goes through the middle of the picture."""
        return np.array(
            [
                [self.focal_px, 0, (self.width_px - 1) / 2],
                [0, self.focal_px, (self.height_px - 1) / 2],
                [0, 0, 1],
            ]
        )


@dataclass(frozen=True)
class Pose:
    """Where a head is and how it is held, as the camera sees it.

    Attributes
    ----------
    rotation : ndarray, shape (3, 3)
        Posture in the person-facing basis of `posture.conventions`, the camera taken as level.
    place_cm : ndarray, shape (3,)
        Origin of the head in the camera's frame, in centimetres of a face of canonical size: its direction is measured, its
        length is only as right as the face is average.
    reprojection_share : float
        Weighted root mean square distance of the points from where the pose puts them, as a share of the face's longer side.
    face_height_px : float
        Forehead to chin, in the picture.
    """

    rotation: Array
    place_cm: Array
    reprojection_share: float
    face_height_px: float


def estimate_pose(
    points_px: Array, depth_px: Array, camera: Camera, face: CanonicalFace, point_weight: Array = POINT_WEIGHT
) -> Pose:
    """Find the rotation and place of a head from its landmarks.

    The canonical face is fitted to the 33 points of the model that say most about the pose, by SQPNP and a weighted refinement. The
    landmarks' own depth gives a second, independent rotation: it decides between the two solutions that points in a plane
    allow, and shares in chin.

    Parameters
    ----------
    points_px : ndarray, shape (478, 2) or (468, 2)
        In the upright picture, pixel centres at whole numbers.
    depth_px : ndarray, shape (478,) or (468,)
        Relative depth, growing away from the camera.
    camera : Camera
    face : CanonicalFace
    point_weight : ndarray, shape (33,)

    Returns
    -------
    Pose
    """
    index = face.pose_index
    model = np.ascontiguousarray(face.vertices_cm[index])
    pixels = np.ascontiguousarray(points_px[index])
    depth_rotation = rotation_from_depth(points_px, depth_px, camera, face)
    rotation, place = _solve(model, pixels, camera, point_weight, None)
    if angle_between_deg(rotation, depth_rotation) > TWO_ANSWERS_DEG:
        start = _start_from(depth_rotation, model, pixels, camera)
        rotation, place = _solve(model, pixels, camera, point_weight, start)
    chin_change = DEPTH_SHARE_OF_CHIN * wrap_deg(posture_angles(depth_rotation)[2] - posture_angles(rotation)[2])
    height = float(points_px[:468, 1].max() - points_px[:468, 1].min())
    error = project(face.vertices_cm[index], rotation, place, camera) - pixels
    size = max(float(np.ptp(points_px[:468], axis=0).max()), 1.0)
    rotation = rotation @ posture_matrix(0.0, 0.0, chin_change)
    return Pose(rotation, place, float(np.sqrt(np.average((error**2).sum(1), weights=point_weight))) / size, height)


def project(vertices_cm: Array, rotation: Array, place_cm: Array, camera: Camera) -> Array:
    """Where points of the head appear in the picture.

    Parameters
    ----------
    vertices_cm : ndarray, shape (n, 3)
        In the head frame.
    rotation : ndarray, shape (3, 3)
        Posture as the camera sees it.
    place_cm : ndarray, shape (3,)
    camera : Camera

    Returns
    -------
    ndarray, shape (n, 2)
        Pixels.
    """
    in_camera = vertices_cm @ (FACING @ rotation).T + place_cm
    homogeneous = in_camera @ camera.matrix.T
    return homogeneous[:, :2] / homogeneous[:, 2:]


def rotation_from_depth(points_px: Array, depth_px: Array, camera: Camera, face: CanonicalFace) -> Array:
    """The posture that the landmarks' own depth gives: a weighted Procrustes fit of the canonical face.

    Parameters
    ----------
    points_px, depth_px, camera, face
        As for `estimate_pose`.

    Returns
    -------
    ndarray, shape (3, 3)
        Posture as the camera sees it.
    """
    index = face.pose_index
    weight = face.pose_weight / face.pose_weight.sum()
    seen = np.concatenate([points_px[index], depth_px[index, None]], 1)
    seen = seen - weight @ seen
    model = face.vertices_cm[index] - weight @ face.vertices_cm[index]
    fitted, _ = Rotation.align_vectors(seen @ FACING, model, weights=weight)
    # The relative depth belongs to the line of sight through the face, not to the camera's axis.
    x, y = weight @ points_px[index] - camera.matrix[:2, 2]
    azimuth, elevation = line_of_sight(np.array([x, y, camera.focal_px]))
    return posture_matrix(0.0, azimuth, elevation) @ fitted.as_matrix()


def _solve(
    model: Array, pixels: Array, camera: Camera, point_weight: Array, start: tuple[Array, Array] | None
) -> tuple[Array, Array]:
    """Posture (3, 3) and place (3,) that put the model's points on the pixels, least weighted squares."""
    if start is None:
        _, vector, place = cv2.solvePnP(model, pixels, camera.matrix, None, flags=cv2.SOLVEPNP_SQPNP)
    else:
        vector, place = cv2.Rodrigues(FACING @ start[0])[0], start[1]
    pose = np.concatenate([np.ravel(vector), np.ravel(place)]).astype(np.float64)
    weight = np.repeat(np.sqrt(point_weight / point_weight.mean()), 2)
    for _ in range(REFINE_STEPS):
        projected, jacobian = cv2.projectPoints(model, pose[:3], pose[3:], camera.matrix, None)
        left = np.asarray(jacobian, np.float64)[:, :6] * weight[:, None]
        step = np.linalg.lstsq(left, (pixels - np.reshape(projected, (-1, 2))).ravel() * weight, rcond=None)[0]
        pose = pose + step
        if np.abs(step).max() < 1e-6:
            break
    return FACING @ cv2.Rodrigues(pose[:3])[0], pose[3:]


def _start_from(rotation: Array, model: Array, pixels: Array, camera: Camera) -> tuple[Array, Array]:
    """A rotation with the place that fits it best: linear least squares in the three coordinates."""
    turned = model @ (FACING @ rotation).T
    ray = (pixels - camera.matrix[:2, 2]) / camera.focal_px
    zero, one = np.zeros(len(ray)), np.ones(len(ray))
    left = np.concatenate([np.stack([one, zero, -ray[:, 0]], 1), np.stack([zero, one, -ray[:, 1]], 1)])
    right = np.concatenate([ray[:, 0] * turned[:, 2] - turned[:, 0], ray[:, 1] * turned[:, 2] - turned[:, 1]])
    return rotation, np.asarray(np.linalg.lstsq(left, right, rcond=None)[0], float)


def angles_against_camera(pose: Pose) -> tuple[float, float, float]:
    """(tilt_deg, turn_deg, chin_deg) of a pose with the camera level, turn and chin against the line of sight."""
    tilt, turn, chin = posture_angles(pose.rotation)
    azimuth, elevation = line_of_sight(pose.place_cm)
    return float(tilt), float(turn - azimuth), float(chin - elevation)
