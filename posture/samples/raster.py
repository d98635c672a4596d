"""Textured triangles onto a canvas: the part of the drawing that has to be fast.

Triangles are painted from far to near as index numbers; texture place and light then come for all pixels at once from one
affine map a triangle. Within triangles this small the difference from true perspective is below a hundredth of a pixel.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Picture = NDArray[Any]
"""Of uint8 with three channels (red, green, blue) or four (coverage as well); OpenCV's own types promise less than it gives."""

Facing = Literal["front", "back"]

_SHIFT = 4
"""Binary places of a pixel that OpenCV's polygon filling keeps."""

_MIN_AREA_PX = 0.02
"""Triangles seen edge-on below this area are left out: their affine map is not determined."""


@dataclass(frozen=True)
class Mesh:
    """A surface in centimetres, x to the person's left, y up, z to the front; triangles run counter-clockwise from outside.

    Attributes
    ----------
    vertices_cm : ndarray, shape (n, 3)
    normals : ndarray, shape (n, 3)
        Unit length, outward.
    uv : ndarray, shape (n, 2)
        Place in the texture, 0 to 1 from its top left corner.
    triangles : ndarray of int, shape (m, 3)
    """

    vertices_cm: Floats
    normals: Floats
    uv: Floats
    triangles: NDArray[np.int64]


@dataclass(frozen=True)
class Tints:
    """Factors of red, green and blue: ``shadow + lamp * share of the lamp``."""

    shadow: tuple[float, float, float]
    lamp: tuple[float, float, float]


@dataclass(frozen=True)
class Layer:
    """A finished part of the picture that can be laid over others again and again.

    Attributes
    ----------
    top, left : int
        Of the part on the canvas.
    colour : ndarray of uint8, shape (h, w, 3)
    mask : ndarray of uint8, shape (h, w)
        1 where the layer covers, 0 elsewhere.
    """

    top: int
    left: int
    colour: Picture
    mask: Picture

    @classmethod
    def cut_from(cls, canvas: Picture) -> Layer:
        """The covered part of an RGBA canvas.

        Parameters
        ----------
        canvas : ndarray of uint8, shape (height, width, 4)

        Returns
        -------
        Layer
            Empty when nothing is covered.
        """
        mask = (canvas[..., 3] > 127).astype(np.uint8)
        left, top, width, height = cv2.boundingRect(mask)
        window = slice(top, top + height), slice(left, left + width)
        return cls(top, left, np.ascontiguousarray(canvas[window][..., :3]), np.ascontiguousarray(mask[window]))

    def lay_over(self, canvas: Picture) -> None:
        """Paint the layer over an RGB canvas of the size it was cut from, in place."""
        height, width = self.mask.shape
        if height and width:
            cv2.copyTo(self.colour, self.mask, canvas[self.top : self.top + height, self.left : self.left + width])


def covered_part(mesh: Mesh, texture: Picture) -> Mesh:
    """Leave out the triangles that a texture does not cover at all, which need not be drawn.

    Parameters
    ----------
    mesh : Mesh
    texture : ndarray of uint8, shape (h, w, 4)

    Returns
    -------
    Mesh
        With all vertices, and the triangles within whose bounds the texture covers something.
    """
    height, width = texture.shape[:2]
    places = mesh.uv[mesh.triangles] * [width, height]
    low = np.floor(places.min(1)).astype(int).clip(0)
    high = np.ceil(places.max(1)).astype(int) + 1
    spans = zip(low.tolist(), high.tolist(), strict=True)
    kept = [bool(texture[top:bottom, left:right, 3].any()) for (left, top), (right, bottom) in spans]
    return replace(mesh, triangles=mesh.triangles[kept])


def draw_mesh(
    canvas: Picture,
    points_px: Floats,
    depth: Floats,
    lamp: Floats,
    mesh: Mesh,
    texture: Picture,
    tints: Tints,
    facing: Facing = "front",
) -> None:
    """Paint one mesh onto a canvas, over what is there.

    Parameters
    ----------
    canvas : ndarray of uint8, shape (height, width, 3) or (height, width, 4)
        Changed in place. With four channels the last is coverage and is painted as well.
    points_px : ndarray, shape (n, 2)
        Vertices on the canvas; the centre of the first pixel is (0, 0).
    depth : ndarray, shape (n,)
        Distance of the vertices from the camera, any unit.
    lamp : ndarray, shape (n,)
        How much of the lamp reaches the vertices, 0 to about 1.
    mesh : Mesh
    texture : ndarray of uint8, shape (h, w, 3) or (h, w, 4)
        With four channels the last is coverage.
    tints : Tints
        What shadow and lamp make of the texture's colours.
    facing : {'front', 'back'}
        Which side of the surface is painted.
    """
    corners = points_px[mesh.triangles]
    edge_1, edge_2 = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    # Counter-clockwise from outside is a negative area on a canvas whose y runs down.
    area = edge_1[:, 1] * edge_2[:, 0] - edge_1[:, 0] * edge_2[:, 1]
    low = np.maximum(np.floor(points_px.min(0)).astype(int) - 1, 0)
    high = np.minimum(np.ceil(points_px.max(0)).astype(int) + 2, [canvas.shape[1], canvas.shape[0]])
    seen = (area if facing == "front" else -area) > _MIN_AREA_PX
    if not seen.any() or np.any(high <= low):
        return
    kept = np.flatnonzero(seen)
    kept = kept[np.argsort(-depth[mesh.triangles[kept]].mean(1), kind="stable")]
    corners = corners[kept] - low
    number = _number_image(corners, (high - low)[::-1])

    size = np.array([texture.shape[1], texture.shape[0]])
    values = np.concatenate([mesh.uv * size - 0.5, lamp[:, None]], 1)[mesh.triangles[kept]]
    u, v, lit_share = _spread(_affine_maps(corners, values), number)
    colour = cv2.remap(texture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    # Factors are kept in eight bits, 128 being 1, so that the whole picture is lit in one multiplication.
    factors = [
        cv2.convertScaleAbs(lit_share, alpha=128 * b, beta=128 * a) for a, b in zip(tints.shadow, tints.lamp, strict=True)
    ]
    window = canvas[low[1] : high[1], low[0] : high[0]]
    plain = cv2.cvtColor(colour, cv2.COLOR_RGBA2RGB) if texture.shape[2] == 4 else colour
    lit = cv2.multiply(plain, cv2.merge(factors), scale=1.0 / 128.0)
    if texture.shape[2] == 4:
        _blend(window, lit, np.where(number > 0, colour[..., 3], np.uint8(0)))
        return
    mask = (number > 0).astype(np.uint8)
    if window.shape[2] == 4:
        lit = cv2.merge([*cv2.split(lit), np.full_like(mask, 255)])
    cv2.copyTo(lit, mask, window)


def _number_image(corners: Floats, size: NDArray[np.int64]) -> NDArray[np.int32]:
    """Number (from 1) of the nearest triangle at every pixel, 0 where there is none."""
    number = np.zeros((int(size[0]), int(size[1])), np.int32)
    fixed = np.rint(corners * (1 << _SHIFT)).astype(np.int32)
    fill = cv2.fillConvexPoly
    for index, triangle in enumerate(fixed):
        fill(number, triangle, index + 1, 8, _SHIFT)
    return number


def _affine_maps(corners: Floats, values: Floats) -> NDArray[np.float32]:
    """(k + 1, channels, 3) from (x, y, 1) to each value, for triangle numbers 0 (all zero) to k."""
    edge_1, edge_2 = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = edge_1[:, 0] * edge_2[:, 1] - edge_1[:, 1] * edge_2[:, 0]
    rise_1, rise_2 = values[:, 1] - values[:, 0], values[:, 2] - values[:, 0]
    maps = np.zeros((len(corners) + 1, values.shape[2], 3), np.float32)
    along_x = (rise_1 * edge_2[:, 1:] - rise_2 * edge_1[:, 1:]) / area[:, None]
    along_y = (rise_2 * edge_1[:, :1] - rise_1 * edge_2[:, :1]) / area[:, None]
    maps[1:, :, 0], maps[1:, :, 1] = along_x, along_y
    maps[1:, :, 2] = values[:, 0] - along_x * corners[:, 0, :1] - along_y * corners[:, 0, 1:]
    return maps


def _spread(maps: NDArray[np.float32], number: NDArray[np.int32]) -> list[NDArray[np.float32]]:
    """The value of every channel at every pixel, each (height, width)."""
    x = np.arange(number.shape[1], dtype=np.float32)[None, :]
    y = np.arange(number.shape[0], dtype=np.float32)[:, None]
    planes = []
    for channel in range(maps.shape[1]):
        at = maps[:, channel].take(number, axis=0)
        planes.append(at[..., 0] * x + at[..., 1] * y + at[..., 2])
    return planes


def _blend(window: Picture, colour: Picture, coverage: Picture) -> None:
    """Lay a colour over the window by its coverage (0 to 255)."""
    share = coverage.astype(np.float32) * np.float32(1 / 255)
    window[..., :3] = cv2.blendLinear(colour, np.ascontiguousarray(window[..., :3]), share, 1 - share)
    if window.shape[2] == 4:
        window[..., 3] = np.maximum(window[..., 3], coverage)
