"""The child's head: face, skull, ears and hair, all of it the same left and right.

The face is the canonical face of the landmark model made a child's; everything else is grown around it from an ellipsoid. Units
are the canonical face's centimetres; `posture.samples.place.CHILD_SCALE` makes them a child's when the picture is drawn.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from posture.face.model import load_canonical_face
from posture.samples.raster import Floats, Mesh
from posture.samples.surface import grid_triangles, vertex_normals

FACE_OVAL = (
    *(10, 109, 67, 103, 54, 21, 162, 127, 234, 93, 132, 58, 172, 136, 150, 149, 176, 148, 152),
    *(377, 400, 378, 379, 365, 397, 288, 361, 323, 454, 356, 389, 251, 284, 332, 297, 338),
)
"""Rim of the canonical face, from the forehead round by the person's right."""

_LIPS = ((81, 178), (80, 88), (191, 95), (82, 87), (13, 14), (312, 317), (311, 402), (310, 318), (415, 324))
"""Pairs of inner upper and lower lip. The canonical mouth stands a little open; the child's is closed."""

_CRANIUM_CM = np.array([0.0, 2.8, -4.0])
_CRANIUM_RADII_CM = np.array([8.5, 10.4, 9.8])
"""Centre and half axes of the skull behind the face."""

_JAW_DEPTH_CM = 8.4
"""Half axis downwards, shorter than upwards: the floor of the mouth."""

_LOFT_RINGS = 12
_EAR_RINGS, _EAR_STEPS = 5, 18


@lru_cache(maxsize=1)
def child_face() -> Floats:
    """Make the canonical face a young child's, the same left and right.

    Returns
    -------
    ndarray, shape (468, 3)
        Centimetres, head frame. Rounder cheeks, a shorter chin, a flatter nose, a fuller forehead and a closed mouth with a
        small smile. The changes move the chin that a reading finds at rest by a degree or two; tilt and turn they cannot move.
    """
    vertices = np.array(load_canonical_face().vertices_cm)
    x, y, z = vertices.T
    y[:] = np.where(y < -5.0, -5.0 + (y + 5.0) * 0.92, y)
    x *= 1.0 + 0.055 * np.exp(-(((y + 3.2) / 3.2) ** 2)) * np.clip(np.abs(x) / 4.0 - 0.5, 0, 1)
    z[:] = np.where((z > 5.7) & (np.abs(x) < 2.2), 5.7 + (z - 5.7) * 0.85, z)
    z += 0.15 * np.exp(-(((y - 7.0) / 2.2) ** 2)) * np.exp(-((x / 4.5) ** 2))
    _close_mouth(vertices)
    vertices.flags.writeable = False
    return vertices


@lru_cache(maxsize=1)
def head_mesh() -> Mesh:
    """Build face, skull and ears in the head frame.

    Returns
    -------
    Mesh
        Its texture is two squares side by side: on the left the face in canonical coordinates, on the right the skin of the
        skull (upper three quarters) and the ears (lowest quarter).
    """
    face = load_canonical_face()
    vertices = child_face()
    parts = [vertices]
    normals = vertex_normals(vertices, face.triangles)
    inner_lips = np.array([index for pair in _LIPS for index in pair])
    # Closed lips meet in a fold whose normals would draw a dark, open mouth.
    normals[inner_lips] = [0.0, 0.0, 1.0]
    uv = [np.stack([face.uv[:, 0] * 0.5, face.uv[:, 1]], 1)]
    triangles = [np.array(face.triangles)]

    rim = np.array(FACE_OVAL)
    skull = _loft(vertices[rim])
    columns, rows = len(rim), _LOFT_RINGS + 1
    # The first ring repeats the rim of the face, because its place in the texture is another.
    skull_triangles = _outward(grid_triangles(rows, columns, closed=True), skull)
    skull_normals = vertex_normals(skull, skull_triangles)
    both = normals[rim] + skull_normals[:columns]
    both /= np.linalg.norm(both, axis=1, keepdims=True)
    normals[rim] = both
    skull_normals[:columns] = both
    triangles.append(skull_triangles + len(vertices))
    parts.append(skull)
    turn = np.tile(np.linspace(0.0, 1.0, columns), rows)
    uv.append(np.stack([0.5 + 0.5 * (0.02 + 0.96 * turn), 0.02 + 0.7 * np.repeat(np.linspace(0, 1, rows), columns)], 1))
    all_normals = [normals, skull_normals]
    for side in (-1.0, 1.0):
        ear, ear_uv = _ear(side)
        ear_triangles = _outward(grid_triangles(_EAR_RINGS, _EAR_STEPS, closed=True), ear, np.array([side, 0.0, 0.45]))
        triangles.append(ear_triangles + sum(map(len, parts)))
        parts.append(ear)
        uv.append(ear_uv)
        all_normals.append(vertex_normals(ear, ear_triangles))
    return Mesh(np.concatenate(parts), np.concatenate(all_normals), np.concatenate(uv), np.concatenate(triangles))


@lru_cache(maxsize=4)
def hair_mesh(style: Literal["short", "bob", "long"]) -> Mesh:
    """Build the hair as a shell over the skull, in the head frame.

    Parameters
    ----------
    style : {'short', 'bob', 'long'}

    Returns
    -------
    Mesh
        Its texture runs from behind the head round by the person's right across, and from the crown down.
    """
    columns, rows = 49, 23
    around = np.linspace(-np.pi, np.pi, columns)
    fall = {"short": 0.0, "bob": 7.5, "long": 14.0}[style]
    rings = []
    for share in np.linspace(0.0, 1.0, rows):
        # The upper part follows the skull down to the widest ring, the lower one hangs (or hugs the nape, when short).
        latitude = np.pi / 2 * (1 - min(share / 0.6, 1.0)) if fall else np.pi / 2 - share * np.radians(135.0)
        direction = np.stack(
            [np.sin(around) * np.cos(latitude), np.full(columns, np.sin(latitude)), np.cos(around) * np.cos(latitude)], 1
        )
        ring = _CRANIUM_CM + direction * (_head_radius(direction) + (0.55 if fall == 0.0 else 0.8))[:, None]
        if fall and share > 0.6:
            hang = (share - 0.6) / 0.4
            ring[:, 1] -= hang * fall
            middle = _CRANIUM_CM[[0, 2]]
            ring[:, [0, 2]] = (ring[:, [0, 2]] - middle) * (1.0 + 0.06 * np.sin(np.pi * hang)) + middle
        rings.append(ring)
    vertices = np.concatenate(rings)
    triangles = _outward(grid_triangles(rows, columns, closed=False), vertices)
    uv = np.stack([np.tile(np.linspace(0, 1, columns), rows), np.repeat(np.linspace(0, 1, rows), columns)], 1)
    normals = vertex_normals(vertices, triangles)
    # At the crown all columns are one point, and behind the head the first column meets the last.
    normals[:columns] = [0.0, 1.0, 0.0]
    seam = normals[::columns] + normals[columns - 1 :: columns]
    normals[::columns] = normals[columns - 1 :: columns] = seam / np.linalg.norm(seam, axis=1, keepdims=True)
    return Mesh(vertices, normals, uv, triangles)


def _close_mouth(vertices: Floats) -> None:
    """Bring the inner lips together and lift the corners, in place."""
    for upper, lower in _LIPS:
        middle = (vertices[upper] + vertices[lower]) / 2
        vertices[upper] = middle + (vertices[upper] - middle) * 0.15
        vertices[lower] = middle + (vertices[lower] - middle) * 0.15
    near = np.exp(-(((np.abs(vertices[:, 0]) - 2.4) / 0.8) ** 2) - ((vertices[:, 1] + 4.3) / 0.9) ** 2)
    vertices[:, 1] += 0.45 * near


def _cranium_radius(direction: Floats) -> Floats:
    """Distance from the middle of the skull to its ellipsoid, for unit directions (n, 3)."""
    radii = np.tile(_CRANIUM_RADII_CM, (len(direction), 1))
    radii[direction[:, 1] < 0, 1] = _JAW_DEPTH_CM
    return 1.0 / np.linalg.norm(direction / radii, axis=1)


def _loft(rim: Floats) -> Floats:
    """Rings from the rim of the face over the skull to the back of the head, ((rings + 1) * columns, 3)."""
    reach = np.linalg.norm(rim - _CRANIUM_CM, axis=1)
    start = (rim - _CRANIUM_CM) / reach[:, None]
    pole = np.array([0.0, -0.05, -1.0]) / np.hypot(0.05, 1.0)
    angle = np.arccos(np.clip(start @ pole, -1, 1))[:, None]
    rings = []
    for share in np.linspace(0.0, 1.0, _LOFT_RINGS + 1):
        direction = (np.sin((1 - share) * angle) * start + np.sin(share * angle) * pole) / np.sin(angle)
        blend = np.clip(share / 0.3, 0, 1)
        blend = blend * blend * (3 - 2 * blend)
        rings.append(_CRANIUM_CM + direction * ((1 - blend) * reach + blend * _cranium_radius(direction))[:, None])
    return np.concatenate(rings)


def _head_radius(direction: Floats) -> Floats:
    """Smoothed distance from the middle of the skull to the skin, for unit directions (n, 3)."""
    skin = np.concatenate([child_face(), _loft(child_face()[list(FACE_OVAL)])])
    skin = skin[skin[:, 1] > 0.0] - _CRANIUM_CM
    reach = np.linalg.norm(skin, axis=1)
    weight = np.exp(40.0 * (direction @ (skin / reach[:, None]).T - 1.0)) + 1e-12
    return np.maximum((weight @ reach) / weight.sum(1), _cranium_radius(direction))


def _ear(side: float) -> tuple[Floats, Floats]:
    """Vertices and texture places of one ear; side is -1 for the right one."""
    ring = np.repeat(np.linspace(1.0, 0.0, _EAR_RINGS), _EAR_STEPS)
    angle = np.tile(np.linspace(0, 2 * np.pi, _EAR_STEPS, endpoint=False), _EAR_RINGS)
    along, upwards = ring * np.cos(angle), ring * np.sin(angle)
    # A shell that stands off the head towards its back edge, hollow inside the rim, wider above than below.
    width = 1.7 * (1.0 + 0.2 * upwards)
    rise = 0.75 - 1.05 * along + 0.4 * np.sin(np.pi * np.clip(ring, 0, 1) ** 2)
    vertices = np.stack([side * (7.35 + rise), 0.3 + 2.6 * upwards, -3.9 + width * along], 1)
    uv = np.stack([0.625 + 0.1 * along + (0.25 if side > 0 else 0.0), 0.87 - 0.1 * upwards], 1)
    return vertices, uv


def _outward(triangles: NDArray[np.int64], vertices: Floats, towards: Floats | None = None) -> NDArray[np.int64]:
    """The triangles turned so that they face away from the middle of the skull, or in one direction."""
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    outward = (a + b + c) / 3 - _CRANIUM_CM if towards is None else np.broadcast_to(towards, normal.shape)
    inside = (normal * outward).sum() < 0
    return triangles[:, ::-1] if inside else triangles
