"""The eyes of the child, painted into the face for every picture: they look about and blink."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.conventions import Side
from posture.face.model import load_canonical_face
from posture.samples.child import ChildLook
from posture.samples.paint import FACE_PX, darker, lighter, tint
from posture.samples.raster import Floats, Picture

Mask = NDArray[Any]
"""Of float32, 0 to 1."""

_EYES = {
    "right": ((33, 246, 161, 160, 159, 158, 157, 173, 133), (155, 154, 153, 145, 144, 163, 7)),
    "left": ((263, 466, 388, 387, 386, 385, 384, 398, 362), (382, 381, 380, 374, 373, 390, 249)),
}
"""Upper lid from the outer to the inner corner, lower lid back again."""

_EYE_GROWTH = 1.75
_EYE_WIDENING = 1.1
"""Young children's eyes look larger: taller and a little wider about their middle than the canonical face's."""

_IRIS_CM = 1.42
"""Across. Scaled by `posture.samples.body.CHILD_SCALE` it is 12.8 mm: somewhat more than in life, as in a drawing."""

_GLINT_CM = 0.16
"""Radius of the lamp's mirror image."""

_UV_PER_CM = (0.0537, 0.0675)
"""Texture coordinates for a centimetre of the face at the eyes, across and down: an iris must come out round."""

_PATCH_REACH_UV = np.array([0.105, 0.07])
_PATCH_ZOOM = 2


@dataclass(frozen=True)
class Gaze:
    """Where the eyes look within the head, and how far the lids are closed.

    Attributes
    ----------
    right : float
        -1 to 1, of the iris's way to the person's right.
    up : float
        -1 to 1.
    closed : float
        0 open to 1 closed.
    """

    right: float = 0.0
    up: float = 0.0
    closed: float = 0.0


def add_eyes(texture: Picture, look: ChildLook, gaze: Gaze, covered: Side | None = None) -> Picture:
    """Paint the eyes into a copy of a head texture.

    Parameters
    ----------
    texture : ndarray of uint8
        From `head_texture`.
    look : ChildLook
    gaze : Gaze
    covered : {'right', 'left'}, optional
        The person's own eye that is left out, because a patch lies over it.

    Returns
    -------
    ndarray of uint8, same shape
    """
    done = texture.copy()
    for side in ("right", "left"):
        if side == covered:
            continue
        box, colour, coverage = _eye_patch(look, side, _step(gaze.right), _step(gaze.up), _step(gaze.closed))
        left, top, right, bottom = box
        window = done[top:bottom, left:right].astype(np.float32)
        done[top:bottom, left:right] = np.rint(window + (colour - window) * coverage[..., None]).astype(np.uint8)
    return done


def _step(value: float) -> float:
    """The value to a tenth, a fifth of a pixel of the picture, so that few different eyes have to be painted."""
    return round(value, 1)


@dataclass(frozen=True)
class _Patch:
    """A piece of the face texture round one eye, enlarged while it is painted.

    Attributes
    ----------
    box : tuple of int
        Left, top, right and bottom in the finished texture.
    """

    box: tuple[int, int, int, int]

    @property
    def size(self) -> tuple[int, int]:
        """Height and width in pixels of the patch."""
        left, top, right, bottom = self.box
        return (bottom - top) * _PATCH_ZOOM, (right - left) * _PATCH_ZOOM

    def grid(self) -> tuple[Floats, Floats]:
        """Texture coordinates of the columns and rows of pixels."""
        height, width = self.size
        across = ((np.arange(width) + 0.5) / _PATCH_ZOOM + self.box[0]) / FACE_PX
        down = ((np.arange(height) + 0.5) / _PATCH_ZOOM + self.box[1]) / FACE_PX
        return across[None, :], down[:, None]

    def area(self, outline: Floats) -> Mask:
        """A mask of 1 inside an outline given in texture coordinates."""
        mask = np.zeros(self.size, np.uint8)
        cv2.fillPoly(mask, [self._fixed(outline)], 255, cv2.LINE_AA, 4)
        return mask.astype(np.float32) / np.float32(255)

    def line(self, points: Floats, thickness: int, blur_px: float) -> Mask:
        """A mask of 1 along a line given in texture coordinates, with soft edges."""
        mask = np.zeros(self.size, np.uint8)
        cv2.polylines(mask, [self._fixed(points)], False, 255, thickness, cv2.LINE_AA, 4)
        return cv2.GaussianBlur(mask, (0, 0), blur_px).astype(np.float32) / np.float32(255)

    def _fixed(self, uv: Floats) -> NDArray[np.int32]:
        """Texture coordinates as OpenCV's fixed-point pixels."""
        return np.rint((uv * FACE_PX - self.box[:2]) * (_PATCH_ZOOM * 16)).astype(np.int32)


@lru_cache(maxsize=2048)
def _eye_patch(
    look: ChildLook, side: str, right: float, up: float, closed: float
) -> tuple[tuple[int, int, int, int], NDArray[Any], NDArray[Any]]:
    """One eye as (box in the texture, colour, coverage)."""
    upper, lower, centre = _lid_lines(side)
    corner = np.rint((centre - _PATCH_REACH_UV) * FACE_PX).astype(int)
    far_corner = np.rint((centre + _PATCH_REACH_UV) * FACE_PX).astype(int)
    patch = _Patch((int(corner[0]), int(corner[1]), int(far_corner[0]), int(far_corner[1])))
    # A closing lid comes down onto the lower one.
    by_x = np.argsort(np.r_[lower[:, 0], upper[[0, -1], 0]])
    rim = np.concatenate([lower, upper[[0, -1]]])[by_x]
    lid = upper.copy()
    lid[:, 1] += (np.interp(upper[:, 0], rim[:, 0], rim[:, 1]) - upper[:, 1]) * closed * 0.97

    colour = np.empty((*patch.size, 3), np.uint8)
    colour[:] = look.skin
    shadow = darker(look.skin, (0.60, 0.46, 0.42))
    crease = patch.line(upper - np.array([0.0, 0.013]), 2, 1.5)
    tint(colour, crease, shadow, 0.85)
    inside = patch.area(np.concatenate([lid, lower]))
    eyeball = _eyeball(patch, look, upper, centre + np.array([-0.018 * right, 0.004 - 0.014 * up]))
    colour[:] = np.rint(colour + (eyeball.astype(np.float32) - colour) * inside[..., None]).astype(np.uint8)
    lashes = np.concatenate([lid[:1] + (lid[0] - lid[1]) * 0.6, lid])
    tint(colour, patch.line(lashes, 4, 1.0), darker(look.hair, (0.35, 0.32, 0.32)), 1.0)
    tint(colour, patch.line(lower, 2, 1.2), darker(shadow, (0.8, 0.75, 0.75)), 0.6)
    coverage = np.maximum.reduce(
        [
            *(inside, patch.area(np.concatenate([upper, lower])), crease),
            *(patch.line(upper, 7, 1.5), patch.line(lid, 7, 1.5), patch.line(lower, 3, 1.5)),
        ]
    )
    size = (patch.size[1] // _PATCH_ZOOM, patch.size[0] // _PATCH_ZOOM)
    shrunk = [cv2.resize(picture, size, interpolation=cv2.INTER_AREA) for picture in (colour.astype(np.float32), coverage)]
    return patch.box, shrunk[0], shrunk[1]


def _lid_lines(side: str) -> tuple[Floats, Floats, Floats]:
    """Open upper lid, lower lid and middle of an eye in texture coordinates."""
    uv = load_canonical_face().uv
    upper, lower = (uv[list(lid)] for lid in _EYES[side])
    centre = (upper[0] + upper[-1]) / 2
    grown = []
    for lid in (upper, lower):
        lid = centre + (lid - centre) * [_EYE_WIDENING, 1.0]
        ends = centre + (upper[[0, -1]] - centre) * [_EYE_WIDENING, 1.0]
        ends = ends[np.argsort(ends[:, 0])]
        axis = np.interp(lid[:, 0], ends[:, 0], ends[:, 1])
        lid[:, 1] = axis + (lid[:, 1] - axis) * _EYE_GROWTH
        grown.append(lid)
    grown[0][:, 1] -= 0.004 * np.sin(np.linspace(0, np.pi, len(upper)))
    return grown[0], grown[1], centre


def _eyeball(patch: _Patch, look: ChildLook, upper: Floats, middle: Floats) -> Picture:
    """White, iris, pupil and glint on the whole patch, with the shade of the upper lid."""
    eye = np.empty((*patch.size, 3), np.uint8)
    eye[:] = (246, 243, 240)
    tint(eye, patch.line(upper, 13, 6), (120, 104, 100), 0.60)
    across, down = patch.grid()
    across, down = across - middle[0], down - middle[1]
    radius = np.hypot(across / _UV_PER_CM[0], down / _UV_PER_CM[1]) / (_IRIS_CM / 2)

    def disc(limit: float, edge: float) -> NDArray[Any]:
        """1 inside a share of the iris's radius, with a soft edge."""
        return np.clip((limit - radius) / edge + 0.5, 0, 1)

    tint(eye, disc(1.0, 0.14), darker(look.iris, (0.45, 0.45, 0.45)), 1.0)
    tint(eye, disc(0.84, 0.25), look.iris, 1.0)
    tint(eye, disc(0.84, 0.25) * np.clip(down / 0.03, 0, 1), lighter(look.iris), 0.5)
    tint(eye, disc(0.46, 0.12), (16, 13, 14), 1.0)
    tint(eye, patch.line(upper, 8, 4), (30, 22, 22), 0.45)
    glint = np.hypot(across / _UV_PER_CM[0], (down + 0.013) / _UV_PER_CM[1]) / _GLINT_CM
    tint(eye, np.clip((1 - glint) / 0.25 + 0.5, 0, 1), (255, 255, 255), 0.95)
    return eye
