"""Focal lengths: what is known of one, from what, how well, and what another one does to a pose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial.transform import Rotation

from posture.face.model import load_canonical_face
from posture.geometry.angles import FACING, posture_angles
from posture.geometry.devices import DEVICES
from posture.geometry.fit import Camera, face_model, fit_alone, project
from posture.geometry.pose import POINT_WEIGHT

Array = NDArray[np.float64]


SAMPLES = 120
"""Poses that are fitted anew for another lens: more change the others by under 0.05 degrees."""


@dataclass(frozen=True)
class Lens:
    """A focal length and how well it is known.

    Attributes
    ----------
    focal_px : float
        Of the upright picture.
    sd_share : float
        One standard deviation, as a share of it.
    known_from : str
        In plain words.
    """

    focal_px: float
    sd_share: float
    known_from: str


DEFAULT_VIEW_SHARE = 0.9
"""Focal length that is taken where none is known, in longer sides of the picture: 58 degrees across, between a laptop's camera
and a camcorder (common practice, no source)."""

DEFAULT_SD_SHARE = 0.18
"""Lenses for video lie within about a third of that, nineteen of twenty (common practice, no source)."""

STATED_SD_SHARE, FILE_SD_SHARE, VIEW_SD_SHARE = 0.03, 0.05, 0.05
"""Of a focal length that was stated (calibrated), of one in the file (rounded, and before any crop), and of a stated angle of view."""


def lens_of(
    longer_px: int,
    stated_px: float | None = None,
    view_deg: float | None = None,
    device: str | None = None,
    file_px: float | None = None,
) -> Lens:
    """Settle the focal length by the best that is known: stated, angle of view, the file, the kind of camera, a usual one.

    Parameters
    ----------
    longer_px : int
        Longer side of the picture.
    stated_px : float or None
    view_deg : float or None
        Angle of view across the longer side.
    device : str or None
        A key of `posture.geometry.devices.DEVICES`.
    file_px : float or None
        As the file says.

    Returns
    -------
    Lens
    """
    if stated_px is not None:
        return Lens(stated_px, STATED_SD_SHARE, "a stated focal length")
    if view_deg is not None:
        return Lens(_focal_px(longer_px, view_deg), VIEW_SD_SHARE, "a stated angle of view")
    if file_px is not None:
        return Lens(file_px, FILE_SD_SHARE, "the file")
    if device is not None:
        kind = DEVICES[device]
        return Lens(_focal_px(longer_px, kind.view_deg), kind.sd_share, f"what is usual for {kind.title}")
    return Lens(DEFAULT_VIEW_SHARE * longer_px, DEFAULT_SD_SHARE, "what is usual for any camera")


def through_other_lens(rotation: ArrayLike, place_cm: ArrayLike, focal_px: float, other_px: float) -> tuple[Array, Array]:
    """What poses seen with one focal length would have been with another.

    Parameters
    ----------
    rotation : array_like, shape (n, 3, 3)
        Postures as the camera sees them; NaN where there is none.
    place_cm : array_like, shape (n, 3)
    focal_px, other_px : float
        With which they were found, and the other one.

    Returns
    -------
    tuple of ndarray
        Postures (n, 3, 3) and places (n, 3).

    Notes
    -----
    `SAMPLES` poses are fitted anew; what that changes beside turning each head with its line of sight hangs smoothly on posture and
    place, and is carried over to the others by a polynomial of second degree.
    """
    r, place = np.asarray(rotation, float), np.asarray(place_cm, float)
    if focal_px == other_px:
        return r, place
    turned, moved = _with_line_of_sight(r, place, focal_px, other_px)
    seen = np.flatnonzero(~np.isnan(turned[:, 0, 0]))
    if not len(seen):
        return turned, moved
    at = seen[np.unique(np.linspace(0, len(seen) - 1, SAMPLES).round().astype(int))]
    fitted = refit(r[at], place[at], focal_px, other_px)[0]
    left = Rotation.from_matrix(np.swapaxes(turned[at], 1, 2) @ fitted).as_rotvec()
    if len(at) < len(seen):
        known = _features(r[seen], place[seen])
        sampled = np.isin(seen, at)
        terms = np.linalg.lstsq(known[sampled], left, rcond=1e-6)[0]
        left = np.clip(known @ terms, left.min(0), left.max(0))
    turned[seen] = turned[seen] @ Rotation.from_rotvec(left).as_matrix()
    return turned, moved


def _features(rotation: Array, place_cm: Array) -> Array:
    """Posture and ray of each head, their squares and products, shape (n, 21)."""
    values = [*(angle / 30.0 for angle in posture_angles(rotation)), *(place_cm[:, :2] / place_cm[:, 2:]).T]
    linear = np.stack([np.ones(len(rotation)), *values], 1)
    first, second = np.triu_indices(linear.shape[1])
    return linear[:, first] * linear[:, second]


def _with_line_of_sight(r: Array, place: Array, focal_px: float, other_px: float) -> tuple[Array, Array]:
    """Postures (n, 3, 3) and places (n, 3) through another lens, each head turned with its line of sight and no more."""
    scale = focal_px / other_px
    # Same pixels: rays draw together, and a face of the same size is as much farther away.
    moved = np.stack([place[:, 0], place[:, 1], place[:, 2] / scale], -1)
    before, after = (p / np.linalg.norm(p, axis=1, keepdims=True) for p in (place, moved))
    axis = np.cross(before, after)
    sine = np.linalg.norm(axis, axis=1, keepdims=True)
    angle = np.arctan2(sine, (before * after).sum(1, keepdims=True))
    vector = np.divide(axis * angle, sine, out=np.zeros_like(axis), where=sine > 1e-12)
    turned = np.full_like(r, np.nan)
    seen = ~np.isnan(vector[:, 0])
    turned[seen] = FACING @ Rotation.from_rotvec(vector[seen]).as_matrix() @ FACING @ r[seen]
    return turned, moved


def stand_through_other_lens(
    roll_deg: ArrayLike, pitch_deg: ArrayLike, focal_px: float, other_px: float
) -> tuple[Array, Array]:
    """What a camera's roll and pitch, read from the vanishing point of plumb lines, would have been with another focal length.

    Parameters
    ----------
    roll_deg, pitch_deg : array_like
        Degrees.
    focal_px, other_px : float
        With which they were read, and the other one.

    Returns
    -------
    tuple of ndarray
        The vanishing point keeps its pixels: roll stays, and the tangent of pitch grows with the focal length.
    """
    pitch = np.degrees(np.arctan(np.tan(np.radians(np.asarray(pitch_deg, float))) * other_px / focal_px))
    return np.asarray(roll_deg, float), pitch


def pitch_sd_through(lens: Lens, pitch_deg: float, sd_deg: float) -> float:
    """How well a pitch that was read from plumb lines is known, that of the lens included, degrees.

    Parameters
    ----------
    lens : Lens
    pitch_deg, sd_deg : float
        As read, with the lens taken as known.
    """
    pitch = np.radians(pitch_deg)
    return float(np.hypot(sd_deg, np.degrees(lens.sd_share * np.sin(pitch) * np.cos(pitch))))


def refit(rotation: ArrayLike, place_cm: ArrayLike, focal_px: float, other_px: float) -> tuple[Array, Array]:
    """The pose (..., 3, 3), (..., 3) that a canonical face seen with one focal length is given when another one is believed.

    Parameters
    ----------
    rotation : array_like, shape (..., 3, 3)
        Posture as the camera sees it.
    place_cm : array_like, shape (..., 3)
    focal_px : float
        The true one.
    other_px : float
        The one that is believed.
    """
    true = np.asarray(rotation, float), np.asarray(place_cm, float)
    # The size of the picture drops out: pixels are counted from its middle.
    model, crosses = face_model(load_canonical_face())
    pixels = project(model, *true, Camera(1, 1, focal_px))
    near = _with_line_of_sight(true[0].reshape(-1, 3, 3), true[1].reshape(-1, 3), focal_px, other_px)
    start = near[0].reshape(true[0].shape), near[1].reshape(true[1].shape)
    found, place, _ = fit_alone(model, crosses, pixels, Camera(1, 1, other_px), POINT_WEIGHT, start)
    return found, place


def _focal_px(longer_px: int, view_deg: float) -> float:
    """The focal length with that angle of view across the longer side."""
    return longer_px / 2 / float(np.tan(np.radians(view_deg) / 2))
