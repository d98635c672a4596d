"""Fits of the canonical face to landmarks: by their depth, point by point, and all together.

Faces may come singly or as many at once (leading dimensions, written ``...``): small matrices one by one cost the interpreter more than
their arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from posture.face.model import CanonicalFace
from posture.geometry.angles import FACING

Array = NDArray[np.float64]

FIT_STEPS, TOGETHER_STEPS = 4, 2
"""Gauss-Newton steps of the two fits; further ones move the angles of faces within 40 degrees by less than 0.05 degrees."""


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
        x, y = self.middle_px
        return np.array([[self.focal_px, 0, x], [0, self.focal_px, y], [0, 0, 1]])

    @property
    def middle_px(self) -> Array:
        """Middle of the picture, shape (2,)."""
        return np.array([(self.width_px - 1) / 2, (self.height_px - 1) / 2])


def project(vertices_cm: Array, rotation: Array, place_cm: Array, camera: Camera) -> Array:
    """Where points of the head appear in the picture.

    Parameters
    ----------
    vertices_cm : ndarray, shape (n, 3)
        In the head frame.
    rotation : ndarray, shape (..., 3, 3)
        Posture as the camera sees it.
    place_cm : ndarray, shape (..., 3)
    camera : Camera

    Returns
    -------
    ndarray, shape (..., n, 2)
        Pixels.
    """
    in_camera = vertices_cm @ (FACING @ rotation).swapaxes(-1, -2) + place_cm[..., None, :]
    homogeneous = in_camera @ camera.matrix.T
    return homogeneous[..., :2] / homogeneous[..., 2:]


def rotation_from_depth(points_px: Array, depth_px: Array, camera: Camera, face: CanonicalFace) -> Array:
    """The posture that the landmarks' own depth gives: a weighted Procrustes fit of the canonical face.

    Parameters
    ----------
    points_px, depth_px, camera, face
        As for `posture.geometry.pose.estimate_poses`.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        Posture as the camera sees it.
    """
    index = face.pose_index
    weight = face.pose_weight / face.pose_weight.sum()
    seen = np.concatenate([points_px[..., index, :], depth_px[..., index, None]], -1)
    middle = weight @ seen
    model = face.vertices_cm[index]
    facing = (seen - middle[..., None, :]) @ FACING * weight[:, None]
    left, _, right = np.linalg.svd(facing.swapaxes(-1, -2) @ (model - weight @ model))
    left[..., 2] *= np.sign(np.linalg.det(left) * np.linalg.det(right))[..., None]
    # The relative depth belongs to the line of sight through the face, not to the camera's axis.
    x, y = np.moveaxis(middle[..., :2] - camera.middle_px, -1, 0)
    # The shortest rotation to it, so that a turn of the picture in its plane changes nothing else.
    length = np.hypot(np.hypot(x, y), camera.focal_px)
    beside, ahead = np.stack([-x, y], -1) / length[..., None], camera.focal_px / length
    against_sight = np.empty((*x.shape, 3, 3))
    against_sight[..., :2, :2] = np.eye(2) - beside[..., :, None] * beside[..., None, :] / (1 + ahead)[..., None, None]
    against_sight[..., :2, 2], against_sight[..., 2, :2], against_sight[..., 2, 2] = beside, -beside, ahead
    return np.asarray(against_sight @ left @ right)


def face_model(face: CanonicalFace) -> tuple[Array, Array]:
    """The 33 points (33, 3), and (33, 3, 3): column i is the i-th axis times the point, how it moves as the head turns."""
    model = face.vertices_cm[face.pose_index]
    x, y, z = model.T
    crosses = np.zeros((len(model), 3, 3))
    crosses[:, 1, 0], crosses[:, 2, 0] = -z, y
    crosses[:, 0, 1], crosses[:, 2, 1] = z, -x
    crosses[:, 0, 2], crosses[:, 1, 2] = -y, x
    return model, crosses


def _errors(
    model: Array, crosses: Array, pixels: Array, camera: Camera, pose: tuple[Array, Array]
) -> tuple[Array, Array, Array, Array]:
    """What misses, and how it depends on the pose.

    Pixels less where the pose puts the points (..., n, 2), its slope (..., n, 2, 6), the points (..., n, 3) about the place and theirs.
    """
    to_camera = FACING @ pose[0]
    turned, moves = model @ to_camera.swapaxes(-1, -2), to_camera[..., None, :, :] @ crosses
    x, y, z = np.moveaxis(turned + pose[1][..., None, :], -1, 0)
    u, v = x / z, y / z
    slope = np.empty((*u.shape, 2, 6))
    slope[..., 0, :3] = moves[..., 0, :] - u[..., None] * moves[..., 2, :]
    slope[..., 1, :3] = moves[..., 1, :] - v[..., None] * moves[..., 2, :]
    slope[..., 3:] = np.eye(3)[:2]
    slope[..., 0, 5], slope[..., 1, 5] = -u, -v
    slope *= (camera.focal_px / z)[..., None, None]
    return pixels - camera.focal_px * np.stack([u, v], -1) - camera.middle_px, slope, turned, moves


def fit_alone(
    model: Array, crosses: Array, pixels: Array, camera: Camera, point_weight: Array, pose: tuple[Array, Array]
) -> tuple[Array, Array, Array]:
    """Posture (..., 3, 3), place (..., 3) and what is left (..., 2 n) of least weighted squares, each point for itself."""
    weight = np.repeat(point_weight, 2)
    left = np.zeros(0)
    for _ in range(FIT_STEPS):
        error, slope, _, _ = _errors(model, crosses, pixels, camera, pose)
        left, flat = _flat(error), slope.reshape(*slope.shape[:-3], -1, 6)
        step = _solved(flat.swapaxes(-1, -2) * weight, flat, left)
        left = left - (flat @ step[..., None])[..., 0]
        pose = _moved(pose, step)
    return *pose, left


def fit_together(
    model: Array, crosses: Array, seen: tuple[Array, Array], camera: Camera, together: Array, pose: tuple[Array, Array]
) -> tuple[Array, Array]:
    """Posture (..., 3, 3) of least squares of points and depth, deviations that go together weighted together; the mean square left."""
    upright = _upright_in_picture(*pose)
    square = np.asarray(np.nan)
    for _ in range(TOGETHER_STEPS):
        error, slope = _deviations(model, crosses, seen, camera, pose, upright)
        left, flat = _flat(error), slope.reshape(*slope.shape[:-3], -1, 6)
        weighted = flat.swapaxes(-1, -2) @ together
        step = _solved(weighted, flat, left)
        square = ((left @ together) * left).sum(-1) - ((weighted @ left[..., None])[..., 0] * step).sum(-1)
        pose = _moved(pose, step)
    return pose[0], square / (3 * len(model))


def _flat(error: Array) -> Array:
    """Errors (..., n, k) of n points as (..., n k)."""
    return error.reshape(*error.shape[:-2], -1)


def _solved(weighted: Array, flat: Array, left: Array) -> Array:
    """The step (..., 6) of weighted least squares: slopes (..., m, 6), the same weighted and turned over, what is left (..., m)."""
    return np.asarray(np.linalg.solve(weighted @ flat, weighted @ left[..., None])[..., 0], np.float64)


def _deviations(
    model: Array, crosses: Array, seen: tuple[Array, Array], camera: Camera, pose: tuple[Array, Array], upright: Array
) -> tuple[Array, Array]:
    """How points and depth differ from where the pose puts them, in cm across, along and before the face (..., n, 3); its slope."""
    across, across_slope, turned, moves = _errors(model, crosses, seen[0], camera, pose)
    error, slope = np.empty(turned.shape), np.zeros((*turned.shape, 6))
    distance = np.linalg.norm(pose[1], axis=-1)
    sight, cm_per_px = pose[1] / distance[..., None], (distance / camera.focal_px)[..., None]
    error[..., :2] = across @ upright.swapaxes(-1, -2) * cm_per_px[..., None]
    error[..., 2] = seen[1] * cm_per_px - (turned @ sight[..., None])[..., 0]
    slope[..., :2, :] = upright[..., None, :, :] @ across_slope * cm_per_px[..., None, None]
    slope[..., 2, :3] = (sight[..., None, None, :] @ moves)[..., 0, :]
    # Depth has no zero.
    error[..., 2] -= error[..., 2].mean(-1, keepdims=True)
    slope[..., 2, :3] -= slope[..., 2, :3].mean(-2, keepdims=True)
    return error, slope


def deviations_cm(
    points_px: Array, depth_px: Array, camera: Camera, face: CanonicalFace, rotation: Array, place_cm: Array
) -> Array:
    """How the 33 points deviate from the canonical face in a given pose.

    Parameters
    ----------
    points_px, depth_px, camera, face
        As for `posture.geometry.pose.estimate_pose`.
    rotation : ndarray, shape (3, 3)
        Posture as the camera sees it.
    place_cm : ndarray, shape (3,)

    Returns
    -------
    ndarray, shape (33, 3)
        Centimetres of the canonical face: x and y (down) in the picture as turned until the face is upright in it, and depth
        without its mean.
    """
    model, crosses = face_model(face)
    seen, pose = (points_px[face.pose_index], depth_px[face.pose_index]), (rotation, place_cm)
    return _deviations(model, crosses, seen, camera, pose, _upright_in_picture(*pose))[0]


def _upright_in_picture(rotation: Array, place_cm: Array) -> Array:
    """The turn of the picture (..., 2, 2) after which the head's own axis points up in it, so that deviations are those of the face."""
    axis = (FACING @ rotation)[..., 1]
    along = axis[..., :2] - place_cm[..., :2] / place_cm[..., 2:] * axis[..., 2:]
    x, y = np.moveaxis(along / np.maximum(np.linalg.norm(along, axis=-1, keepdims=True), 1e-9), -1, 0)
    return np.stack([np.stack([-y, x], -1), np.stack([-x, -y], -1)], -2)


def _moved(pose: tuple[Array, Array], step: Array) -> tuple[Array, Array]:
    """A pose after a step (..., 6): a rotation about the head's own axes, and a shift."""
    return pose[0] @ rotations(step[..., :3]), pose[1] + step[..., 3:]


def rotations(vectors: Array) -> Array:
    """Rotations (..., 3, 3) about vectors (..., 3) by their lengths in radians."""
    return np.asarray(Rotation.from_rotvec(vectors.reshape(-1, 3)).as_matrix()).reshape(*vectors.shape, 3)


def start_from(rotation: Array, model: Array, pixels: Array, camera: Camera) -> tuple[Array, Array]:
    """A rotation (..., 3, 3) with the place (..., 3) that fits it best: linear least squares in the three coordinates."""
    turned = model @ (FACING @ rotation).swapaxes(-1, -2)
    ray = (pixels - camera.middle_px) / camera.focal_px
    right = ray * turned[..., 2:] - turned[..., :2]
    normal = np.zeros((*ray.shape[:-2], 3, 3))
    normal[..., 0, 0] = normal[..., 1, 1] = ray.shape[-2]
    normal[..., 2, 2] = (ray**2).sum((-2, -1))
    normal[..., :2, 2] = normal[..., 2, :2] = -ray.sum(-2)
    sums = np.concatenate([right.sum(-2), -(ray * right).sum((-2, -1))[..., None]], -1)
    return rotation, np.asarray(np.linalg.solve(normal, sums[..., None])[..., 0])
