"""Surfaces made of triangles: grids, tubes, normals."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from posture.samples.raster import Floats, Mesh


def vertex_normals(vertices: Floats, triangles: NDArray[np.int64]) -> Floats:
    """Give the unit normals of a surface's vertices, weighted by the area of the triangles around each.

    Parameters
    ----------
    vertices : ndarray, shape (n, 3)
    triangles : ndarray of int, shape (m, 3)

    Returns
    -------
    ndarray, shape (n, 3)
    """
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    face = np.cross(b - a, c - a)
    total = np.zeros_like(vertices)
    for k in range(3):
        np.add.at(total, triangles[:, k], face)
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-9)


def grid_triangles(rows: int, columns: int, closed: bool) -> NDArray[np.int64]:
    """Triangles between neighbouring rows of a grid of vertices.

    Parameters
    ----------
    rows, columns : int
    closed : bool
        Whether the last column joins the first.

    Returns
    -------
    ndarray of int, shape (m, 3)
        Counter-clockwise where columns run counter-clockwise seen from above and rows run downwards.
    """
    across = columns if closed else columns - 1
    row, column = (a.ravel() for a in np.meshgrid(np.arange(rows - 1), np.arange(across), indexing="ij"))
    following = (column + 1) % columns
    a, b = row * columns + column, row * columns + following
    c, d = a + columns, b + columns
    return np.concatenate([np.stack([a, c, b], 1), np.stack([b, c, d], 1)])


def bent_tube(bones: Floats, radii: Floats, columns: int) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Lay a tube along a bent line.

    Parameters
    ----------
    bones : ndarray, shape (n, 3)
        Corners of the line; they come out rounded.
    radii : ndarray, shape (n,)
    columns : int
        Vertices round the tube.

    Returns
    -------
    tuple of ndarray
        Vertices (m, 3), their texture places (m, 2) and triangles (k, 3).
    """
    steps = np.linspace(0, len(bones) - 1, 4 * len(bones))
    line = np.stack([np.interp(steps, np.arange(len(bones)), bones[:, k]) for k in range(3)], 1)
    # Rounded elbows: the line is averaged over its neighbours.
    line[1:-1] = (line[:-2] + 2 * line[1:-1] + line[2:]) / 4
    radius = np.interp(steps, np.arange(len(bones)), radii)
    ahead = np.gradient(line, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    first = np.cross(ahead, [0.3, 0.2, 1.0])
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    second = np.cross(ahead, first)
    angle = np.linspace(0, 2 * np.pi, columns, endpoint=False)[None, :, None]
    vertices = line[:, None] + radius[:, None, None] * (np.cos(angle) * first[:, None] + np.sin(angle) * second[:, None])
    rows = len(steps)
    uv = np.stack([np.tile(np.linspace(0, 1, columns), rows), np.repeat(np.linspace(0, 1, rows), columns)], 1)
    return vertices.reshape(-1, 3), uv, grid_triangles(rows, columns, closed=True)


def closed_mesh(vertices: Floats, uv: Floats, triangles: NDArray[np.int64]) -> Mesh:
    """Make a mesh of a tube, its triangles turned so that the volume inside is positive.

    Parameters
    ----------
    vertices : ndarray, shape (n, 3)
    uv : ndarray, shape (n, 2)
    triangles : ndarray of int, shape (m, 3)

    Returns
    -------
    Mesh
    """
    a, b, c = (vertices[triangles[:, k]] - vertices.mean(0) for k in range(3))
    if np.einsum("ij,ij->", a, np.cross(b, c)) < 0:
        triangles = triangles[:, ::-1]
    return Mesh(vertices, vertex_normals(vertices, triangles), uv, triangles)
