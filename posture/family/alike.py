"""How alike two faces look, in two numbers: by what is drawn on them, and by their shape. In memory only; it says who nobody is.

A portrait is laid flat over the mean face, freed of its light, and made the same left and right, so that neither posture nor a mirrored
picture makes a difference. Colours are no help over years: the light of a room changes them more than the child does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.face.landmarker import Landmarker, LibraryLandmarker
from posture.face.model import load_canonical_face
from posture.face.seen import N_MESH
from posture.face.two_ways import mirror_index

Array = NDArray[np.float64]

FLAT_PX = 64
"""Side of the face laid flat: a portrait holds little more."""

MARGIN_PX = 2

LOOK_PX = 192
"""A portrait is enlarged to this before it is looked at: the face in it is then as large as in a film's window."""

LOOKS = 3
"""How often a portrait is looked at; the landmarks settle in two or three looks."""

LIGHT_PX = 8.0
"""Differences of brightness that reach farther than this over the flat face are light and not face. From 6 to 12 it makes no difference
on rendered heads (own measurement)."""

DARK = 12.0
"""Added to a brightness of 0 to 255 before its logarithm: noise of the dark must not look like a drawing."""

FLAT_SD = 0.03
"""Spread of log brightness below which a part of a face counts as bare."""

SHAPE_WEIGHT = 2.0
"""The shape beside the picture. From 1 to 2 it separates rendered heads best (own measurement, `tests.proof.family_faces`)."""

UNLIKE = 0.34
"""Distance from which two faces are doubted to be one child's: a doubt costs a look, a miss takes another child's film for this one's. How
often either happens is measured in `tests.proof.family_faces`."""

KEPT_FIGURES = 4
"""Figures behind the point, here and where they are kept: what is read again is the same."""


@dataclass(frozen=True)
class FaceLooks:
    """What a face looks like.

    Attributes
    ----------
    picture : ndarray, shape (n,)
        What is drawn on the flat face; of mean 0 and length 1.
    shape : ndarray, shape (468, 3)
        The landmarks, turned to the front, the same left and right, of size 1.
    """

    picture: Array
    shape: Array


@dataclass(frozen=True)
class Alike:
    """How alike two faces are.

    Attributes
    ----------
    picture : float
        0 for the same, 1 for nothing in common, to 2.
    shape : float
        Root mean square distance of the landmarks in sizes of the face; faces of two people differ by 0.03 to 0.15.
    """

    picture: float
    shape: float

    @property
    def distance(self) -> float:
        """Both in one number, to be compared with `UNLIKE`."""
        return self.picture + SHAPE_WEIGHT * self.shape


def how_alike(one: FaceLooks, other: FaceLooks) -> Alike:
    """Compare two faces.

    Parameters
    ----------
    one, other : FaceLooks

    Returns
    -------
    Alike
        The same whichever comes first.
    """
    apart = one.shape - other.shape
    picture, shape = 1 - one.picture @ other.picture, np.sqrt(np.square(apart).sum(1).mean())
    return Alike(round(float(picture), KEPT_FIGURES), round(float(shape), KEPT_FIGURES))


def looks_of(portraits: Sequence[NDArray[np.uint8] | None], landmarker: Landmarker | None = None) -> list[FaceLooks | None]:
    """Take the looks of faces.

    Parameters
    ----------
    portraits : sequence of ndarray of uint8, shape (96, 96, 3), or None
        RGB, as in `posture.see.SeenPerson`.
    landmarker : Landmarker or None
        None is the bundled one.

    Returns
    -------
    list of FaceLooks or None
        None where there is no portrait, or no face is found in it.

    Raises
    ------
    ModelError
        If the landmark model or a system library is missing.
    """
    if all(portrait is None for portrait in portraits):
        return [None] * len(portraits)
    with landmarker or LibraryLandmarker() as looking:
        return [None if portrait is None else _looks(portrait, looking) for portrait in portraits]


def describe_face(pixels: NDArray[np.uint8], points: Array) -> FaceLooks:
    """The looks of a face whose landmarks are known.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (h, w, 3)
    points : ndarray, shape (468 or more, 3)
        In pixels of it, z growing away from the camera.

    Returns
    -------
    FaceLooks
    """
    return FaceLooks(_picture(pixels, points[:N_MESH, :2]), _shape(points[:N_MESH]))


def _looks(portrait: NDArray[np.uint8], landmarker: Landmarker) -> FaceLooks | None:
    """The looks of one portrait."""
    large = np.asarray(cv2.resize(portrait, (LOOK_PX, LOOK_PX), interpolation=cv2.INTER_CUBIC), np.uint8)
    landmarker.forget()
    points = landmarker.look(large)
    for _ in range(LOOKS - 1):
        points = None if points is None else landmarker.look(large)
    return None if points is None else describe_face(large, points)


@dataclass(frozen=True)
class _Flat:
    """The mean face laid flat: for each pixel that is face, the corners (n, 3) of its triangle and their weights (n, 3)."""

    is_face: NDArray[np.bool_]
    corners: NDArray[np.int64]
    weights: Array


@lru_cache(maxsize=1)
def _flat() -> _Flat:
    """Lay the mean face flat; of what lies behind each other the front counts."""
    face = load_canonical_face()
    places = face.vertices_cm[:, :2] * [1.0, -1.0]
    low, high = places.min(0), places.max(0)
    places = (places - (low + high) / 2) * (FLAT_PX - 2 * MARGIN_PX) / (high - low).max() + (FLAT_PX - 1) / 2
    down, across = np.mgrid[:FLAT_PX, :FLAT_PX]
    pixels = np.stack([across, down], 2).reshape(-1, 2)
    corners, weights = np.zeros((len(pixels), 3), np.int64), np.zeros((len(pixels), 3))
    front = np.full(len(pixels), -np.inf)
    for triangle in face.triangles:
        a, b, c = places[triangle]
        sides = np.stack([b - a, c - a], 1)
        if abs(np.linalg.det(sides)) < 1e-6:
            continue
        rest = np.linalg.solve(sides, (pixels - a).T).T
        share = np.concatenate([1 - rest.sum(1, keepdims=True), rest], 1)
        depth = share @ face.vertices_cm[triangle, 2]
        inside = (share >= -1e-6).all(1) & (depth > front)
        corners[inside], weights[inside], front[inside] = triangle, share[inside], depth[inside]
    is_face = np.isfinite(front)
    return _Flat(is_face.reshape(FLAT_PX, FLAT_PX), corners[is_face], weights[is_face])


def _picture(pixels: NDArray[np.uint8], points: Array) -> Array:
    """What is drawn on a face, (n,): laid flat, freed of light, and the same left and right."""
    flat = _flat()
    places = np.zeros((FLAT_PX, FLAT_PX, 2), np.float32)
    places[flat.is_face] = (points[flat.corners] * flat.weights[..., None]).sum(1)
    laid = cv2.remap(pixels, places[..., 0], places[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    light = np.log(np.asarray(laid, float) + DARK).mean(2)
    drawn = (light - _around(light)) * flat.is_face
    drawn = drawn / np.sqrt(_around(np.square(drawn)) + FLAT_SD**2)
    # Light comes from one side, and a picture may be mirrored: what both halves share is left.
    shared = ((drawn + drawn[:, ::-1]) / 2)[flat.is_face & flat.is_face[:, ::-1]]
    shared = shared - shared.mean()
    return np.asarray(shared / max(float(np.linalg.norm(shared)), 1e-9))


def _around(values: Array) -> Array:
    """The mean of values around each pixel of the flat face, nothing beyond it counting."""
    is_face = _flat().is_face.astype(float)
    counted = cv2.GaussianBlur(is_face, (0, 0), LIGHT_PX)
    return np.asarray(cv2.GaussianBlur(values * is_face, (0, 0), LIGHT_PX) / np.maximum(counted, 1e-3))


def _shape(points: Array) -> Array:
    """Landmarks (468, 3) turned to the front as nearly as they are the mean face, made the same left and right, and of size 1."""
    mean = load_canonical_face().vertices_cm
    mean = mean - mean.mean(0)
    seen = points * [1.0, -1.0, -1.0]
    seen = seen - seen.mean(0)
    left, _, right = np.linalg.svd(seen.T @ mean)
    seen = seen @ left @ np.diag([1.0, 1.0, np.sign(np.linalg.det(left @ right))]) @ right
    seen = (seen + seen[mirror_index()[:N_MESH]] * [-1.0, 1.0, 1.0]) / 2
    return np.asarray(seen / np.sqrt(np.square(seen).sum(1).mean()))
