"""Simple meshes in the frame of a rendered head: tubes, fingers, balls, sheets."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.proof.material import load_heads

Array = NDArray[np.float64]


def part(vertices_m: Array, faces: NDArray[np.int64], colour: Array, outwards: Array) -> Any:
    """A mesh that moves with the head: vertices (n, 3), triangles (m, 3), colour and way out (3,) or (n, 3)."""
    corners = vertices_m[faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals = np.zeros_like(vertices_m)
    for k in range(3):
        np.add.at(normals, faces[:, k], across)
    # The triangles were made without care for which way round they go.
    normals *= np.sign((normals * outwards).sum())
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    n = len(vertices_m)
    white = np.full((2, 2, 4), 255, np.float32)
    return load_heads().Part(
        vertices_m, normals, np.zeros((n, 2)), faces, np.broadcast_to(colour, (n, 3)).astype(float), np.ones(n), white
    )


def grid_faces(rows: int, columns: int, closed: bool) -> NDArray[np.int64]:
    """Triangles of a grid of vertices; closed joins the last column with the first."""
    index = np.arange(rows * columns).reshape(rows, columns)
    if closed:
        index = np.concatenate([index, index[:, :1]], 1)
    a, b, c, d = index[:-1, :-1].ravel(), index[:-1, 1:].ravel(), index[1:, :-1].ravel(), index[1:, 1:].ravel()
    return np.concatenate([np.stack([a, b, c], 1), np.stack([b, d, c], 1)])


def tube(line_m: Array, radius_m: float | Array, colour: Array, around: int = 10) -> Any:
    """A tube along a line (n, 3); its ends are open unless the radius goes to nothing there."""
    along = np.gradient(line_m, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    # Any direction that is nowhere along the line will do to start the circle from.
    other = np.array([0.13, 0.21, 0.97]) if np.abs(along[:, 2]).max() < 0.9 else np.array([0.21, 0.97, 0.13])
    first = np.cross(along, other)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    second = np.cross(along, first)
    turn = np.linspace(0, 2 * np.pi, around, endpoint=False)[None, :, None]
    radius = np.broadcast_to(radius_m, len(line_m))[:, None, None]
    ring = line_m[:, None] + radius * (np.cos(turn) * first[:, None] + np.sin(turn) * second[:, None])
    outwards = (ring - line_m[:, None]).reshape(-1, 3)
    return part(ring.reshape(-1, 3), grid_faces(len(line_m), around, closed=True), colour, outwards)


def rounded(line_m: Array, radius_m: float, colour: Array) -> Any:
    """A tube whose ends are round, as a finger's."""
    step = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line_m, axis=0), axis=1))])
    to_end = np.minimum(step, step[-1] - step)
    inside = np.clip(1 - to_end / radius_m, 0.0, 1.0)
    return tube(line_m, radius_m * np.sqrt(np.maximum(1 - inside**2, 1e-4)), colour, 14)


def ball(middle_m: Array, radii_m: Array, turn_rad: float, colour: Array) -> Any:
    """An ellipsoid turned in the plane of the face."""
    polar, turn = np.meshgrid(np.linspace(0.01, np.pi - 0.01, 20), np.linspace(0, 2 * np.pi, 30, endpoint=False), indexing="ij")
    unit = np.stack([np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)], -1).reshape(-1, 3)
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    spun = (unit * radii_m) @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]])
    return part(spun + middle_m, grid_faces(polar.shape[0], polar.shape[1], closed=True), colour, spun)
