"""The adhesive patch over one eye of the child, painted into the face where it sticks to the skin."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.conventions import Side
from posture.face.model import load_canonical_face
from posture.face.seen import EYES
from posture.samples.paint import FACE_PX, darker, lighter, tint
from posture.samples.raster import Picture

_HALF_AXES_UV = np.array([0.152, 0.113])
"""Half width and half height in texture coordinates: on the child about 5 by 3 cm, from the brow to the cheek-bone."""

_OUTWARDS_UV, _DOWN_UV = 0.012, 0.018
"""The middle of the patch lies a little outwards of the middle of the eye, clear of the nose, and a little below it."""

_LEAN_DEG = 12.0
"""The outer end is the lower one, as it comes to lie along the brow."""

_CLOTH = (205, 158, 116)
"""Of the plaster: well darker than the skin of the child who wears it, so that one sees at once what covers the eye."""

_ZOOM = 4
"""It is painted larger and shrunk, which smooths its edge."""


def add_patch(texture: Picture, side: Side) -> Picture:
    """Paint an adhesive patch over one eye into a copy of a head texture.

    Parameters
    ----------
    texture : ndarray of uint8
        From `posture.samples.paint.head_texture`; the eye below need not be painted.
    side : {'right', 'left'}
        The person's own.

    Returns
    -------
    ndarray of uint8, same shape
    """
    done = texture.copy()
    face = np.ascontiguousarray(done[:, :FACE_PX])
    whole, cloth = _oval(side, 1.0), _oval(side, 0.95)
    shade = np.roll(_soft(whole, 7.0), 5, axis=0)
    tint(face, shade, darker(_CLOTH, (0.50, 0.42, 0.38)), 0.6)
    tint(face, whole, darker(_CLOTH, (0.74, 0.68, 0.64)), 1.0)
    tint(face, cloth, _CLOTH, 1.0)
    # A soft light in the middle: the patch arches over the eye and hides the hollow in which it lies.
    tint(face, _soft(_oval(side, 0.6), 16.0), lighter(_CLOTH), 0.5)
    done[:, :FACE_PX] = face
    return done


def _oval(side: Side, share: float) -> NDArray[Any]:
    """A mask (FACE_PX, FACE_PX) of 1 inside the patch shrunk to a share of its size, with smooth edges."""
    outer, inner = load_canonical_face().uv[list(EYES[side])]
    out = np.sign(outer[0] - inner[0])
    middle = (outer + inner) / 2 + [out * _OUTWARDS_UV, _DOWN_UV]
    scale = FACE_PX * _ZOOM
    mask = np.zeros((scale, scale), np.uint8)
    axes = np.rint(_HALF_AXES_UV * share * scale).astype(int).tolist()
    cv2.ellipse(mask, np.rint(middle * scale).astype(int).tolist(), axes, out * _LEAN_DEG, 0, 360, 255, -1, cv2.LINE_AA)
    return cv2.resize(mask, (FACE_PX, FACE_PX), interpolation=cv2.INTER_AREA).astype(np.float32) / np.float32(255)


def _soft(mask: NDArray[Any], blur_px: float) -> NDArray[Any]:
    """The mask with its edge blurred."""
    return np.asarray(cv2.GaussianBlur(mask, (0, 0), blur_px), np.float32)
