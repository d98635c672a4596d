"""The face as a flat picture in the canonical face's own texture coordinates, and the textures of everything else.

All shapes hang on numbered points of the canonical face, so they sit where the landmark model expects brows, eyes and lips.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.face.model import load_canonical_face
from posture.samples.child import ChildLook, Colour
from posture.samples.raster import Floats, Picture

FACE_PX = 640
"""Side of the finished face texture: about twice the face on the picture before it is shrunk."""

_PAINT_PX = 2 * FACE_PX
"""Side of the texture while it is painted; shrinking smooths all edges."""

_BROWS = ((46, 53, 52, 65, 55, 107, 66, 105, 63, 70), (276, 283, 282, 295, 285, 336, 296, 334, 293, 300))
_UPPER_LIP = (61, 185, 40, 39, 37, 0, 267, 269, 270, 409, 291, 308, 415, 310, 311, 312, 13, 82, 81, 80, 191, 78)
_LOWER_LIP = (61, 146, 91, 181, 84, 17, 314, 405, 321, 375, 291, 308, 324, 318, 402, 317, 14, 87, 178, 88, 95, 78)
_MOUTH_LINE = (61, 78, 191, 80, 81, 82, 13, 312, 311, 310, 415, 308, 291)
_NOSTRILS = ((79, 20, 60, 166), (309, 250, 290, 392))


@lru_cache(maxsize=8)
def head_texture(look: ChildLook) -> Picture:
    """Paint the head without its eyes.

    Parameters
    ----------
    look : ChildLook

    Returns
    -------
    ndarray of uint8, shape (FACE_PX, 2 * FACE_PX, 3)
        As `posture.samples.body.head_mesh` describes.
    """
    size = _PAINT_PX
    face = _flat(look.skin, size)
    tint(face, _blob(50, 0.085) + _blob(280, 0.085), (232, 116, 104), 0.30)
    tint(face, _blob(4, 0.06) + 0.6 * _blob(199, 0.07), (232, 128, 112), 0.16)
    shadow = darker(look.skin, (0.66, 0.52, 0.48))
    # Hollows: inner corners of the eyes, beside and below the nose, below the lower lip, under the fringe, along the jaw.
    tint(face, _blob(193, 0.03) + _blob(417, 0.03), shadow, 0.16)
    tint(face, _blob(145, 0.06, 0.035) + _blob(374, 0.06, 0.035), shadow, 0.14)
    tint(face, _blob(2, 0.06, 0.018), shadow, 0.30)
    tint(face, _blob(129, 0.02, 0.028) + _blob(358, 0.02, 0.028), shadow, 0.24)
    tint(face, _blob(18, 0.06, 0.018), shadow, 0.34)
    tint(face, _blob(61, 0.02) + _blob(291, 0.02), shadow, 0.30)
    down = np.linspace(0, 1, size, dtype=np.float32)[:, None] * np.ones((1, size), np.float32)
    tint(face, np.clip((0.27 - down) / 0.10, 0, 1), shadow, 0.35)
    light = lighter(look.skin)
    tint(face, _blob(6, 0.022, 0.07) + _blob(4, 0.03, 0.022), light, 0.40)
    tint(face, _blob(151, 0.13, 0.06) + _blob(199, 0.05, 0.03), light, 0.20)
    tint(face, _blob(117, 0.07, 0.04) + _blob(346, 0.07, 0.04), light, 0.20)
    _paint_nose(face, shadow)
    _paint_brows(face, look)
    _paint_mouth(face, look)
    texture = np.empty((FACE_PX, 2 * FACE_PX, 3), np.uint8)
    texture[:, :FACE_PX] = cv2.resize(face, (FACE_PX, FACE_PX), interpolation=cv2.INTER_AREA)
    texture[:, FACE_PX:] = _skull_texture(look)
    return texture


@lru_cache(maxsize=8)
def hair_texture(look: ChildLook) -> Picture:
    """Strands and outline of the hair, with coverage.

    Parameters
    ----------
    look : ChildLook

    Returns
    -------
    ndarray of uint8, shape (512, 1024, 4)
        As `posture.samples.body.hair_mesh` describes.
    """
    height, width = 512, 1024
    rng = np.random.default_rng(look.seed)
    strands: NDArray[Any] = np.zeros((height, width), np.float32)
    for fineness, weight in ((1.2, 0.45), (3.5, 0.8), (10.0, 0.7)):
        noise: NDArray[Any] = rng.normal(size=(height, width)).astype(np.float32)
        noise = cv2.GaussianBlur(noise, (0, 0), sigmaX=fineness, sigmaY=70)
        strands += weight * noise / noise.std()
    # The same on both sides, so that no parting pulls the landmarks to one.
    strands = (strands + strands[:, ::-1]) / np.sqrt(2.0)
    down = np.linspace(0, 1, height, dtype=np.float32)[:, None]
    gloss = np.exp(-(((down - 0.34) / 0.07) ** 2)) * (0.75 + 0.25 * np.tanh(strands))
    level = 1.0 + 0.13 * np.tanh(strands) - 0.25 * np.clip(down - 0.55, 0, 1)
    colour = np.array(look.hair, np.float32) * level[..., None] + 34.0 * gloss[..., None] * np.array(
        [1.0, 0.93, 0.84], np.float32
    )
    end = _hairline(look, rng, width)
    coverage = np.clip((end[None, :] - down) * height / 7.0 + 0.5, 0, 1)
    return np.dstack([np.clip(colour, 0, 255), 255 * coverage]).round().astype(np.uint8)


@lru_cache(maxsize=8)
def trunk_texture(look: ChildLook) -> Picture:
    """Shirt, sleeves and hands.

    Parameters
    ----------
    look : ChildLook

    Returns
    -------
    ndarray of uint8, shape (512, 512, 3)
        As `posture.samples.body.trunk_mesh` describes.
    """
    texture = _flat(look.shirt, 512)
    for top in range(112, 512, 54):
        cv2.rectangle(texture, (0, top), (170, top + 17), look.stripe, -1)
    for top in (216, 270):
        cv2.rectangle(texture, (174, top), (350, top + 20), look.stripe, -1)
    cv2.rectangle(texture, (0, 0), (170, 20), darker(look.shirt, (0.8, 0.8, 0.8)), -1)
    # Sleeves end before the wrist.
    cv2.rectangle(texture, (174, 400), (350, 511), look.skin, -1)
    cv2.rectangle(texture, (354, 0), (511, 511), look.skin, -1)
    return cv2.GaussianBlur(texture, (0, 0), 0.8)


@lru_cache(maxsize=8)
def neck_texture(look: ChildLook) -> Picture:
    """Skin in the shadow of the jaw, and the collar at the lower end.

    Parameters
    ----------
    look : ChildLook

    Returns
    -------
    ndarray of uint8, shape (256, 8, 3)
    """
    level = np.interp(np.linspace(0, 1, 256), [0.0, 0.3, 0.7, 0.84, 1.0], [0.72, 0.78, 0.93, 0.86, 0.86])
    tone = np.array(look.skin) * level[:, None] ** np.array([0.8, 1.1, 1.2])
    tone[222:] = darker(look.shirt, (0.86, 0.86, 0.86))
    return np.repeat(tone[:, None], 8, axis=1).round().astype(np.uint8)


def tint(picture: Picture, mask: NDArray[np.floating[Any]], colour: Colour, share: float) -> None:
    """Mix a colour into a picture by a mask of 0 to 1 and a largest share, in place."""
    weight = (np.clip(mask, 0, 1) * share)[..., None]
    picture[:] = np.rint(picture + (np.array(colour, np.float32) - picture) * weight).astype(np.uint8)


def _flat(colour: Colour, size: int) -> Picture:
    """A square of one colour."""
    return np.full((size, size, 3), colour, np.uint8)


def darker(colour: Colour, share: tuple[float, float, float]) -> Colour:
    """The colour with each channel multiplied."""
    red, green, blue = (round(c * s) for c, s in zip(colour, share, strict=True))
    return red, green, blue


def lighter(colour: Colour) -> Colour:
    """The colour half way to a warm white."""
    red, green, blue = (round((c + w) / 2) for c, w in zip(colour, (255, 248, 238), strict=True))
    return red, green, blue


def _points(*index: int, size: int = _PAINT_PX) -> Floats:
    """Places (n, 2) of numbered points in the texture while it is painted, in pixels."""
    return load_canonical_face().uv[list(index)] * size


def _blob(index: int, width: float, height: float | None = None) -> NDArray[np.float32]:
    """A soft spot of 1 at a numbered point; its sizes (one standard deviation) are shares of the texture."""
    x, y = _points(index)[0]
    along = np.arange(_PAINT_PX, dtype=np.float32)
    tall = height if height is not None else width
    across = np.exp(-0.5 * ((along - x) / (width * _PAINT_PX)) ** 2)
    return np.exp(-0.5 * ((along - y) / (tall * _PAINT_PX)) ** 2)[:, None] * across[None, :]


def _area(polygon: Floats, blur_px: float, size: int = _PAINT_PX) -> NDArray[np.float32]:
    """A mask of 1 inside a polygon, with soft edges."""
    mask = np.zeros((size, size), np.uint8)
    cv2.fillPoly(mask, [np.rint(polygon * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    soft = cv2.GaussianBlur(mask, (0, 0), blur_px) if blur_px else mask
    return soft.astype(np.float32) / np.float32(255)


def _line(points: Floats, thickness: int, blur_px: float, size: int = _PAINT_PX) -> NDArray[np.float32]:
    """A mask of 1 along a line."""
    mask = np.zeros((size, size), np.uint8)
    cv2.polylines(mask, [np.rint(points * 16).astype(np.int32)], False, 255, thickness, cv2.LINE_AA, 4)
    soft = cv2.GaussianBlur(mask, (0, 0), blur_px) if blur_px else mask
    return soft.astype(np.float32) / np.float32(255)


def _paint_nose(face: Picture, shadow: Colour) -> None:
    """Nostrils and the creases beside the wings."""
    dark = darker(shadow, (0.55, 0.45, 0.45))
    for nostril in _NOSTRILS:
        middle = _points(*nostril).mean(0)
        hole = np.zeros(face.shape[:2], np.uint8)
        cv2.ellipse(hole, np.rint(middle).astype(int).tolist(), (15, 10), 0, 0, 360, 255, -1, cv2.LINE_AA)
        tint(face, cv2.GaussianBlur(hole, (0, 0), 4).astype(np.float32) / 255, dark, 0.85)
    for crease in ((129, 64, 98, 97), (358, 294, 327, 326)):
        tint(face, _line(_points(*crease), 7, 6), shadow, 0.40)


def _paint_brows(face: Picture, look: ChildLook) -> None:
    """Soft, thin brows in the colour of the hair."""
    colour = darker(look.hair, (0.85, 0.82, 0.8))
    for brow in _BROWS:
        outline = _points(*brow)
        middle = (outline[:5] + outline[9:4:-1]) / 2
        slim = np.concatenate([middle + (outline[:5] - middle) * 0.62, (middle + (outline[9:4:-1] - middle) * 0.62)[::-1]])
        tint(face, _area(slim, 7), colour, 0.72)


def _paint_mouth(face: Picture, look: ChildLook) -> None:
    """Closed lips with a small smile."""
    dark = darker(look.lips, (0.62, 0.5, 0.5))
    tint(face, _area(_points(*_UPPER_LIP), 3.5), darker(look.lips, (0.96, 0.92, 0.93)), 0.75)
    tint(face, _area(_points(*_LOWER_LIP), 4.5), look.lips, 0.75)
    tint(face, _blob(16, 0.035, 0.010), lighter(look.lips), 0.55)
    line = _points(*_MOUTH_LINE)
    smile = line.copy()
    smile[:, 1] += 0.008 * _PAINT_PX * (1 - ((line[:, 0] / _PAINT_PX - 0.5) / 0.118) ** 2) - 0.003 * _PAINT_PX
    tint(face, _line(smile, 6, 2.5), dark, 0.95)
    for corner, out in ((61, -1.0), (291, 1.0)):
        at = _points(corner)[0]
        tick = at + np.array([[0.0, -4.0], [out * 14.0, -16.0]])
        tint(face, _line(tick, 5, 4), dark, 0.6)


def _skull_texture(look: ChildLook) -> Picture:
    """The right half of the head texture: scalp and nape in skin, and the ears."""
    half = _flat(look.skin, FACE_PX)
    shadow = darker(look.skin, (0.70, 0.56, 0.52))
    scale = FACE_PX
    for across in (0.25, 0.75):
        out = -1 if across < 0.5 else 1
        middle = (round(across * scale), round(0.87 * scale))
        fold = np.zeros((scale, scale), np.uint8)
        cv2.ellipse(fold, middle, (round(0.10 * scale), round(0.066 * scale)), 0, 0, 360, 255, 9, cv2.LINE_AA)
        hollow = np.zeros((scale, scale), np.uint8)
        cv2.ellipse(
            hollow,
            (middle[0] + round(0.02 * scale), middle[1]),
            (round(0.07 * scale), round(0.035 * scale)),
            0,
            0,
            360,
            255,
            -1,
        )
        tint(half, cv2.GaussianBlur(hollow, (0, 0), 9).astype(np.float32) / 255, shadow, 0.8)
        tint(half, cv2.GaussianBlur(fold, (0, 0), 5).astype(np.float32) / 255, (232, 128, 112), 0.25)
        del out
    return half


def _hairline(look: ChildLook, rng: np.random.Generator, width: int) -> NDArray[np.float32]:
    """How far down the hair reaches (0 to 1 of its shell) at every column of the texture."""
    angle = np.degrees(np.linspace(-np.pi, np.pi, width))
    reach = {
        "short": (
            [0, 18, 40, 52, 62, 70, 76, 84, 100, 106, 118, 180],
            [0.475, 0.478, 0.485, 0.52, 0.61, 0.70, 0.69, 0.63, 0.62, 0.72, 0.80, 0.84],
        ),
        "bob": ([0, 20, 42, 54, 62, 70, 180], [0.40, 0.405, 0.44, 0.52, 0.66, 0.97, 0.985]),
        "long": ([0, 10, 30, 46, 58, 68, 180], [0.385, 0.39, 0.42, 0.50, 0.66, 0.98, 0.985]),
    }[look.hair_style]
    line = np.interp(np.abs(angle), *reach)
    tufts = sum(cv2.GaussianBlur(rng.normal(size=(1, width)), (0, 0), s)[0] * np.sqrt(s) for s in (3.0, 9.0))
    tufts = tufts + tufts[::-1]
    return (line + 0.008 * tufts).astype(np.float32)
