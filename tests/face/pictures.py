"""Pictures and landmarks that the tests of faces share: a photograph on a canvas, a scene with corners, a face by rule."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.face.bodies import Body
from posture.face.model import load_canonical_face
from posture.face.seen import N_MESH, FaceSeen
from posture.face.shoulders import LibraryShoulders

Rgb = NDArray[np.uint8]
Array = NDArray[np.float64]

PHOTO_FACE_PX = 108.0
PHOTO_CENTRE_PX = (225.0, 124.0)
"""The face in the photograph of the astronaut, as the landmarks see it."""

GREY = 127


def motion(about_px: Sequence[float], by_px: Sequence[float] | Array, turned_deg: float, scale: float = 1.0) -> Array:
    """A turn counter-clockwise about a point and a shift, as a matrix (2, 3)."""
    matrix = np.array(cv2.getRotationMatrix2D((about_px[0], about_px[1]), turned_deg, scale), float)
    matrix[:, 2] += by_px
    return matrix


def put(canvas: Rgb, photo: Rgb, centre_px: Sequence[float], size_px: float, turned_deg: float = 0.0) -> Rgb:
    """The canvas with the head of the photograph at a place and size, turned counter-clockwise."""
    scale = size_px / PHOTO_FACE_PX
    matrix = motion(PHOTO_CENTRE_PX, np.array(centre_px) - PHOTO_CENTRE_PX, turned_deg, scale)
    head = np.zeros(photo.shape[:2], np.float32)
    cv2.ellipse(head, (225, 120), (95, 118), 0, 0, 360, 1.0, -1)
    size = canvas.shape[1::-1]
    flags = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    moved = cv2.warpAffine(photo, matrix, size, flags=flags)
    mask = cv2.warpAffine(head, matrix, size)[..., None]
    return np.asarray(np.rint(canvas * (1 - mask) + moved * mask), np.uint8)


def blank(width_px: int, height_px: int) -> Rgb:
    """A grey canvas."""
    return np.full((height_px, width_px, 3), GREY, np.uint8)


def room(width_px: int, height_px: int, seed: int = 5) -> Rgb:
    """A scene full of corners and without a face."""
    rng = np.random.default_rng(seed)
    picture = np.full((height_px, width_px, 3), 200, np.uint8)
    for _ in range(120):
        left, top = rng.integers(0, width_px), rng.integers(0, height_px)
        wide, high = rng.integers(8, width_px // 6), rng.integers(8, height_px // 6)
        colour = tuple(int(v) for v in rng.integers(20, 235, 3))
        cv2.rectangle(picture, (int(left), int(top)), (int(left + wide), int(top + high)), colour, -1)
    return cv2.GaussianBlur(picture, (0, 0), 0.8).astype(np.uint8)


def moved(picture: Rgb, right_px: float, down_px: float, turned_deg: float = 0.0) -> Rgb:
    """The picture shifted, and turned counter-clockwise about its middle."""
    height, width = picture.shape[:2]
    matrix = motion(((width - 1) / 2, (height - 1) / 2), (right_px, down_px), turned_deg)
    return np.asarray(cv2.warpAffine(picture, matrix, (width, height), borderMode=cv2.BORDER_REPLICATE), np.uint8)


def counted_searches(shoulders: LibraryShoulders) -> list[int]:
    """From now on longer by one with every search for bodies."""
    find, searches = shoulders._bodies.find, list[int]()

    def counted(pixels: Rgb) -> list[Body]:
        searches.append(1)
        return find(pixels)

    shoulders._bodies.find = counted  # type: ignore[method-assign]
    return searches


def made_face(centre_px: Sequence[float], size_px: float, slope_deg: float = 0.0, stretch: int = 0) -> FaceSeen:
    """The landmarks of the canonical face at a place and size in the picture, its eye line sloping."""
    vertices = load_canonical_face().vertices_cm * [1.0, -1.0, -1.0]
    angle = np.radians(slope_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    flat = vertices[:, :2] @ turn.T
    low, high = flat.min(0), flat.max(0)
    scale = size_px / float((high - low).max())
    points = (flat - (low + high) / 2) * scale + np.array(centre_px, float)
    # The irises lie in the eyes; nothing here depends on where.
    irises = np.repeat(points[[33, 263]], 5, axis=0)
    depth = np.concatenate([vertices[:, 2] * scale, np.zeros(10)])
    assert len(points) == N_MESH
    return FaceSeen(np.concatenate([points, irises]), depth, 1, settled=True, stretch=stretch)
