"""Posture rotations and the three angles; the level frame and the line of sight.

The meaning of every sign is in `posture.conventions`. Functions here take and give arrays of any leading shape, and NaN in is
NaN out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial.transform import Rotation

from posture.conventions import EULER_ORDER

FACING = np.diag([1.0, -1.0, -1.0])
"""(3, 3) between OpenCV's camera axes and the person-facing basis of `posture.conventions`; its own inverse."""

MIRROR = np.diag([-1.0, 1.0, 1.0])
"""(3, 3) swapping right and left in either basis."""

Array = NDArray[np.float64]


def posture_matrix(tilt_deg: ArrayLike, turn_deg: ArrayLike, chin_deg: ArrayLike) -> Array:
    """Compose a posture rotation from its three angles.

    Parameters
    ----------
    tilt_deg, turn_deg, chin_deg : array_like
        Degrees, broadcast against each other.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        ``Ry(-turn) Rz(tilt) Rx(-chin)``.
    """
    tilt, turn, chin = np.broadcast_arrays(*(np.asarray(a, float) for a in (tilt_deg, turn_deg, chin_deg)))
    euler = np.stack([-turn, tilt, -chin], -1)
    flat = Rotation.from_euler(EULER_ORDER, euler.reshape(-1, 3), degrees=True).as_matrix()
    return flat.reshape(*tilt.shape, 3, 3)


def posture_angles(rotation: ArrayLike) -> tuple[Array, Array, Array]:
    """Read (tilt_deg, turn_deg, chin_deg) off posture rotations.

    Parameters
    ----------
    rotation : array_like, shape (..., 3, 3)

    Returns
    -------
    tuple of ndarray, each of shape (...)
        Tilt within 90 degrees, turn and chin within 180. NaN where the rotation is NaN.
    """
    r = np.asarray(rotation, float)
    # R = Ry(-turn) Rz(tilt) Rx(-chin), element by element: cheaper than scipy on long tracks, and it passes NaN through.
    tilt = np.degrees(np.arcsin(np.clip(r[..., 1, 0], -1.0, 1.0)))
    turn = np.degrees(np.arctan2(r[..., 2, 0], r[..., 0, 0]))
    chin = np.degrees(np.arctan2(r[..., 1, 2], r[..., 1, 1]))
    return tilt, turn, chin


def camera_matrix(roll_deg: ArrayLike, pitch_deg: ArrayLike) -> Array:
    """Rotation (..., 3, 3) from the level frame to the camera's frame (both x right, y down, z forward).

    Parameters
    ----------
    roll_deg : array_like
        Degrees; positive when the whole picture is turned counter-clockwise as you look at it.
    pitch_deg : array_like
        Degrees; positive when the camera looks down.
    """
    roll, pitch = np.broadcast_arrays(np.asarray(roll_deg, float), np.asarray(pitch_deg, float))
    flat = Rotation.from_euler("ZX", np.stack([-roll, pitch], -1).reshape(-1, 2), degrees=True).as_matrix()
    return flat.reshape(*roll.shape, 3, 3)


def to_level(
    rotation: ArrayLike, place: ArrayLike, roll_deg: ArrayLike = 0.0, pitch_deg: ArrayLike = 0.0
) -> tuple[Array, Array]:
    """Take the camera's roll and pitch out of a posture and a place.

    Parameters
    ----------
    rotation : array_like, shape (..., 3, 3)
        Posture as the camera sees it.
    place : array_like, shape (..., 3)
        Head place in the camera's frame, any unit of length.
    roll_deg, pitch_deg : array_like
        The camera's, in degrees; scalars or of shape (...).

    Returns
    -------
    tuple of ndarray
        Posture (..., 3, 3) and place (..., 3) in the level frame.
    """
    level = np.swapaxes(camera_matrix(roll_deg, pitch_deg), -1, -2)
    return FACING @ level @ FACING @ np.asarray(rotation, float), (level @ np.asarray(place, float)[..., None])[..., 0]


def mirror(rotation: ArrayLike, place: ArrayLike) -> tuple[Array, Array]:
    """Read a mirrored picture as the person's own sides.

    Parameters
    ----------
    rotation : array_like, shape (..., 3, 3)
        Posture in the level frame of the mirrored picture.
    place : array_like, shape (..., 3)

    Returns
    -------
    tuple of ndarray
        Tilt and turn negated, chin kept, place with x negated.
    """
    return MIRROR @ np.asarray(rotation, float) @ MIRROR, np.asarray(place, float) * np.array([-1.0, 1.0, 1.0])


def line_of_sight(place: ArrayLike, target: ArrayLike = (0.0, 0.0, 0.0)) -> tuple[Array, Array]:
    """The turn and the chin (degrees) with which a head at ``place`` would face the target.

    Parameters
    ----------
    place, target : array_like, shape (..., 3)
        In the level frame, one unit of length; the camera is the origin and the default target.

    Returns
    -------
    tuple of ndarray, each of shape (...)
        To be subtracted from ``turn_camera_deg`` and ``chin_camera_deg``.
    """
    x, y, z = np.moveaxis(np.asarray(place, float) - np.asarray(target, float), -1, 0)
    return np.degrees(np.arctan2(x, z)), np.degrees(np.arctan2(y, np.hypot(x, z)))


def angle_between_deg(first: ArrayLike, second: ArrayLike) -> Array:
    """Angle (degrees, 0 to 180) of the rotation that leads from one posture to another, shapes (..., 3, 3)."""
    a, b = np.asarray(first, float), np.asarray(second, float)
    # Via the chord length, which stays exact for small angles where the arc cosine of the trace does not.
    chord = np.linalg.norm(a - b, axis=(-2, -1)) / np.sqrt(8.0)
    return np.degrees(2.0 * np.arcsin(np.clip(chord, 0.0, 1.0)))
