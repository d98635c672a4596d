"""What a face looks like, in numbers that hardly depend on its place, size and posture. Kept in memory only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.face.seen import EYES, N_MESH, NOSE_TIP

PATCH_PX = 64
PORTRAIT_PX = 96

_MOUTH = (13, 14)
_EYE_ROW, _MOUTH_ROW, _EYE_HALF = 0.42, 0.68, 0.16
"""Where eyes and mouth lie in the patch, so that it also holds the hair above the forehead."""

_ROWS, _COLUMNS = slice(3, 60), slice(10, 54)
"""The part of the patch that is head and not room."""

_BINS = 16
_SPANS = ((0, 256), (60, 200), (60, 200))
"""Spans of lightness and the two colour axes (8-bit Lab) that faces and hair take up."""


@dataclass(frozen=True)
class Looks:
    """The looks of a face at one time.

    Attributes
    ----------
    time_s : float
    colours : ndarray, shape (48,)
        Square roots of the shares of lightness and colour over face and hair.
    frontal : float
        1 for a face turned to the camera, towards 0 for a profile.
    """

    time_s: float
    colours: NDArray[np.float64]
    frontal: float


def describe(time_s: float, pixels: NDArray[np.uint8], points: NDArray[np.float64]) -> Looks:
    """Take the looks of a face.

    Parameters
    ----------
    time_s : float
    pixels : ndarray of uint8, shape (h, w, 3)
        A window around it, RGB.
    points : ndarray, shape (478, 2)
        Its landmarks in the window.

    Returns
    -------
    Looks
    """
    right, left, mouth = (points[list(index)].mean(0) for index in (EYES["right"], EYES["left"], _MOUTH))
    target = np.array([[0.5 - _EYE_HALF, _EYE_ROW], [0.5 + _EYE_HALF, _EYE_ROW], [0.5, _MOUTH_ROW]]) * PATCH_PX
    matrix = cv2.getAffineTransform(np.array([right, left, mouth], np.float32), target.astype(np.float32))
    patch = cv2.warpAffine(pixels, matrix, (PATCH_PX, PATCH_PX), borderMode=cv2.BORDER_REPLICATE)
    lab = cv2.cvtColor(patch, cv2.COLOR_RGB2LAB)[_ROWS, _COLUMNS].reshape(-1, 3)
    shares = np.concatenate([np.histogram(lab[:, k], _BINS, _SPANS[k])[0] for k in range(3)]) / (3.0 * len(lab))
    across = left - right
    nose = float((points[NOSE_TIP] - right) @ across / max(float(across @ across), 1e-9))
    return Looks(time_s, np.sqrt(shares), float(np.clip(1 - 2 * abs(nose - 0.5), 0.05, 1)))


def mean_colours(looks: Sequence[Looks]) -> NDArray[np.float64]:
    """The mean of looks taken at several times, frontal ones counting more.

    Parameters
    ----------
    looks : sequence of Looks
        Not empty.

    Returns
    -------
    ndarray, shape (48,)
        The distance between those of two faces is 0 for the same looks and 1.4 for nothing in common.
    """
    return np.average([look.colours for look in looks], 0, [look.frontal for look in looks])


def portrait(pixels: NDArray[np.uint8], points: NDArray[np.float64]) -> NDArray[np.uint8]:
    """A small square picture of the head.

    Parameters
    ----------
    pixels, points
        As for `describe`.

    Returns
    -------
    ndarray of uint8, shape (96, 96, 3)
    """
    low, high = points[:N_MESH].min(0), points[:N_MESH].max(0)
    side = 1.5 * float((high - low).max())
    left, top = (low + high) / 2 - side / 2 - [0, 0.1 * side]
    scale = PORTRAIT_PX / side
    matrix = np.array([[scale, 0, -left * scale], [0, scale, -top * scale]])
    small = cv2.warpAffine(pixels, matrix, (PORTRAIT_PX, PORTRAIT_PX), borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(small, np.uint8)
