"""Straight edges of one picture as plumb lines are judged by: what each counts for, how far it leans, which are one edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posture.geometry.angles import camera_matrix
from posture.geometry.fit import Camera

Array = NDArray[np.float64]

MOST_STEEP, MOST_FLAT = 100, 50
"""The longest are used, of those that may be plumb and of the others: what is shorter hardly adds, and costs time."""

STEEP_DEG = 60.0
"""Nearer than this to the picture's own vertical is what may be plumb."""

LONG_SHARE = 0.35
"""An edge longer than this share of the shorter side counts no more for it: one long slanted thing shall not outvote a room."""

PLUMB_SD_DEG = 0.5
"""How far from plumb an edge of a building or of furniture is, with what the lens bends."""

END_SHARE = 0.0008
"""How well the ends of an edge are known, as a share of the picture's longer side: a pixel of 1280."""

AGREES_SD = 2.5
"""An edge that is further out than so many of its standard deviations is no plumb line."""

ONE_EDGE_SHARE = 0.015
"""Edges within this share of the longer side are one: pieces of one, both sides of a bar, and the shadow beside it."""

BESIDE_DEG = 5.0
"""If they are parallel within this."""


@dataclass(frozen=True)
class Edges:
    """Edges in the picture.

    Middles (n, 2) in focal lengths from the middle of the picture, directions (n, 2), lengths (n,) in pixels, uncertainties (n,), and
    what each counts for (n,) in pixels.
    """

    middle: Array
    along: Array
    length_px: Array
    sd_deg: Array
    counts_px: Array

    def only(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Edges:
        """Some of them."""
        return Edges(self.middle[which], self.along[which], self.length_px[which], self.sd_deg[which], self.counts_px[which])


def edges_from(lines_px: Array, camera: Camera) -> Edges:
    """The longest edges of lines (n, 4), the longest first."""
    ends = (lines_px.reshape(-1, 2, 2) - camera.middle_px) / camera.focal_px
    across = ends[:, 1] - ends[:, 0]
    length = np.hypot(*across.T)
    order = np.argsort(-length, kind="stable")
    order = order[length[order] > 0]
    is_steep = np.abs(across[order, 1]) > np.cos(np.radians(STEEP_DEG)) * length[order]
    rank = np.where(is_steep, np.cumsum(is_steep) / MOST_STEEP, np.cumsum(~is_steep) / MOST_FLAT)
    order = order[rank <= 1]
    length_px, middle, along = length[order] * camera.focal_px, ends[order].mean(1), across[order] / length[order, None]
    sides = sorted((camera.width_px, camera.height_px))
    sd_deg = np.hypot(PLUMB_SD_DEG, np.degrees(END_SHARE * sides[1] / length_px))
    times = _times_seen(middle * camera.focal_px, along, length_px, ONE_EDGE_SHARE * sides[1])
    return Edges(middle, along, length_px, sd_deg, np.minimum(length_px, LONG_SHARE * sides[0]) / times)


def _times_seen(middle_px: Array, along: Array, length_px: Array, apart_px: float) -> Array:
    """How many edges lie beside each other where each of n edges is, itself among them, shape (n,): two for a bar."""
    way = middle_px[None] - middle_px[:, None]
    forth = np.abs(np.einsum("ijk,ik->ij", way, along))
    aside = np.abs(way[..., 1] * along[:, None, 0] - way[..., 0] * along[:, None, 1])
    shared = np.clip((length_px[:, None] + length_px) / 2 - forth, 0, np.minimum(length_px[:, None], length_px))
    beside = (aside < apart_px) & (np.abs(along @ along.T) > np.cos(np.radians(BESIDE_DEG)))
    return np.asarray((beside * shared).sum(1) / length_px)


def _towards(edges: Edges, directions: Array) -> tuple[Array, Array]:
    """Parts across and along each edge of the way to the vanishing points of directions (k, 3), shapes (k, n)."""
    (x, y), (u, v) = edges.middle.T, edges.along.T
    return directions @ np.stack([-v, u, v * x - u * y]), directions @ np.stack([u, v, -u * x - v * y])


def lean_deg(edges: Edges, stands: Array) -> Array:
    """How far each edge is from plumb under stands (k, 2) of roll and pitch, shape (k, n), within 90 degrees."""
    across, along = _towards(edges, camera_matrix(*stands.T)[..., 1])
    return np.degrees(np.arctan(across / np.where(along == 0, 1e-12, along)))


def support_px(edges: Edges, directions: Array, sd_deg: Array) -> Array:
    """Length in pixels that leans towards the vanishing points of directions (k, 3), shape (k,)."""
    across, along = _towards(edges, directions)
    square = across**2 / (across**2 + along**2 + 1e-18)
    return np.maximum(1 - square / np.sin(np.radians(AGREES_SD * sd_deg)) ** 2, 0) @ edges.counts_px


def independent_edges(plumb: Edges, at: Array, apart: float, camera: Camera) -> tuple[Array, Array, Array]:
    """Shares (m, n) of n edges in m independent ones, and the lengths (m,, in pixels) and headings (m,, in radians) of these."""
    rays = np.concatenate([plumb.middle, np.ones((len(plumb.middle), 1))], 1) @ camera_matrix(*at)
    # In the level frame an edge has the same heading wherever along it one looks.
    heading = np.arctan2(rays[:, 0], rays[:, 2])
    group = groups_of(heading, apart)
    n = int(group.max())
    member = group == np.arange(n + 1)[:, None]
    # Slopes of longer pieces are better known, by the square of their length.
    share = member * plumb.length_px**2
    reach = np.einsum("ni,ni->n", plumb.middle, plumb.along) * np.sign(plumb.along[:, 1]) * camera.focal_px
    low, high = reach - plumb.length_px / 2, reach + plumb.length_px / 2
    span = np.where(member, high, -np.inf).max(1) - np.where(member, low, np.inf).min(1)
    length_px = np.minimum(member @ plumb.length_px, span)
    share /= share.sum(1, keepdims=True)
    return share, length_px, share @ heading


def groups_of(heading: Array, apart: float) -> NDArray[np.intp]:
    """Number of its group for each heading (n,), from 0: a group is no wider than this."""
    group, first, n = np.zeros(len(heading), np.intp), -np.inf, -1
    for k in np.argsort(heading, kind="stable"):
        if heading[k] - first > apart:
            first, n = heading[k], n + 1
        group[k] = n
    return group
