"""The child's trunk, arms and neck, in the canonical face's centimetres and the frame of a head that faces straight ahead."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from posture.samples.place import PIVOT_CM
from posture.samples.raster import Floats, Mesh
from posture.samples.surface import bent_tube, closed_mesh, grid_triangles, vertex_normals

_NECK_ROWS, _NECK_COLUMNS = 13, 28


@lru_cache(maxsize=4)
def trunk_meshes(breadth: float = 1.0) -> tuple[Mesh, ...]:
    """Build shoulders and chest, then arms, then hands.

    Parameters
    ----------
    breadth : float
        Of the shoulders, against the usual drawn child's.

    Returns
    -------
    tuple of Mesh
        To be drawn in this order. Their texture is three columns side by side: the trunk, the sleeves and the hands.
    """
    heights = np.array([-12.0, -12.4, -13.0, -13.8, -15.0, -16.6, -19.0, -23.0, -29.0, -38.0])
    half_widths = np.array([4.6, 6.0, 8.0, 10.2, 11.8, 12.4, 12.0, 11.4, 11.6, 12.2])
    half_depths = np.array([4.4, 5.0, 5.4, 6.0, 6.6, 7.2, 7.6, 7.8, 8.0, 8.4])
    columns = 40
    angle = np.linspace(0, 2 * np.pi, columns, endpoint=False)
    # Between an ellipse and a box: shoulders are square.
    ring = np.stack([_sharpened(np.sin(angle)), np.zeros(columns), _sharpened(np.cos(angle))], 1)
    rings = zip(heights, half_widths, half_depths, strict=True)
    trunk = np.concatenate([ring * [breadth * w, 0, d] + [0, h, -7.0] for h, w, d in rings])
    across = np.abs(np.tile(np.linspace(-1, 1, columns), len(heights)))
    uv = np.stack([across * 0.3 + 0.01, (-11.5 - trunk[:, 1]) / 28.0], 1)
    meshes = [closed_mesh(trunk, uv, grid_triangles(len(heights), columns, closed=True))]
    arm = np.array(
        [
            *([7.6, -14.4, -7.0], [9.4, -15.4, -7.0], [11.6, -17.0, -7.0], [13.6, -22.0, -6.4]),
            *([14.6, -28.5, -3.0], [11.0, -29.5, 6.0], [7.0, -29.6, 12.0]),
        ]
    )
    hand = np.array([[8.2, -29.6, 10.6], [6.8, -29.6, 12.4], [5.4, -29.8, 14.2], [3.9, -30.3, 15.8], [3.2, -30.6, 16.4]])
    for bones, radii, columns, start in (
        (arm, [0.3, 2.7, 3.6, 3.6, 3.3, 2.9, 2.4], 20, 0.35),
        (hand, [1.7, 2.2, 2.4, 1.9, 0.5], 14, 0.70),
    ):
        for side in (-1.0, 1.0):
            vertices, around, triangles = bent_tube(bones * [breadth * side, 1, 1], np.array(radii), columns)
            meshes.append(closed_mesh(vertices, around * [0.28, 1.0] + [start, 0.0], triangles))
    return tuple(meshes)


def neck_mesh(head_rotation: Floats) -> Mesh:
    """Build the neck between a still trunk and a turned head.

    Parameters
    ----------
    head_rotation : ndarray, shape (3, 3)
        Of the head about `PIVOT_CM`.

    Returns
    -------
    Mesh
        In the frame of the trunk.
    """
    share = np.linspace(0.0, 1.0, _NECK_ROWS)[:, None, None]
    angle = np.linspace(0, 2 * np.pi, _NECK_COLUMNS, endpoint=False)
    circle = np.stack([np.sin(angle), np.zeros_like(angle), np.cos(angle)], 1)[None]
    top = PIVOT_CM + (circle * [4.1, 0, 4.4] + [0, 1.5, -0.6]) @ head_rotation.T
    # The neckline dips in front; the last rings are the collar and lie on the shirt.
    base = circle * [4.3, 0, 4.3] + [0.0, -11.6, -7.0] - np.array([0.0, 0.9, 0.0]) * circle[..., 2:]
    smooth = share * share * (3 - 2 * share)
    vertices = top * (1 - smooth) + base * smooth
    flare = np.clip(share - 0.84, 0, 1)
    vertices = vertices + circle * [7.5, 0, 7.5] * flare - np.array([0.0, 5.0, 0.0]) * flare
    vertices = vertices.reshape(-1, 3)
    triangles = grid_triangles(_NECK_ROWS, _NECK_COLUMNS, closed=True)
    uv = np.stack(
        [np.tile(np.linspace(0, 1, _NECK_COLUMNS), _NECK_ROWS), np.repeat(np.linspace(0, 1, _NECK_ROWS), _NECK_COLUMNS)], 1
    )
    return Mesh(vertices, vertex_normals(vertices, triangles), uv, triangles)


def _sharpened(wave: Floats) -> Floats:
    """A sine or cosine with fuller corners."""
    return np.sign(wave) * np.abs(wave) ** 0.75
