"""How sharply a face is seen: fine detail against coarse, in shares of the face's own size."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.face.seen import N_MESH

FACE_PX = 96
"""The face is brought to this size, so that blur and a small picture count alike."""

ROWS, COLUMNS = slice(10, 86), slice(16, 80)
"""The part of it that is face whatever the outline."""

SCALES_PX = (1.6, 2.5, 4.0, 6.4)
"""Detail between the first two, one to three hundredths of the face, against that between the last two."""


def detail_share(pixels: NDArray[np.uint8], points: NDArray[np.float64]) -> float:
    """How much fine detail there is for the coarse.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (h, w, 3)
        A window around the face, RGB.
    points : ndarray, shape (478, 2)
        Its landmarks in the window.

    Returns
    -------
    float
        About 0.7 for a sharp face of 90 px or more, 0.6 for one of 30 px, 0.35 where a blur of a twenty-fifth of the face lies
        over it; 0 for a face without any detail.
    """
    low, high = points[:N_MESH].min(0), points[:N_MESH].max(0)
    scale = FACE_PX / max(float((high - low).max()), 1.0)
    left, top = FACE_PX / 2 - (low + high) / 2 * scale
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    face = cv2.warpAffine(grey, np.array([[scale, 0, left], [0, scale, top]]), (FACE_PX, FACE_PX))
    part = np.asarray(face[ROWS, COLUMNS], np.float32)
    layers = [cv2.GaussianBlur(part, (0, 0), sigma) for sigma in SCALES_PX]
    fine, coarse = (float(np.std(layers[k] - layers[k + 1])) for k in (0, 2))
    return fine / coarse if coarse > 0 else 0.0
