"""How the camera stood, from the plumb lines of one picture: roll and pitch with their uncertainty.

All plumb lines of a room meet in one vanishing point, that of the vertical. Every pair of roll and pitch on a grid is asked how many
edges lean towards its point; the best is refined by weighted least squares on the edges that agree. Level edges decide nothing: those
that recede to the side are slanted in the picture although the camera is level. They may only confirm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from posture.geometry.angles import camera_matrix
from posture.geometry.edges import (
    AGREES_SD,
    END_SHARE,
    ONE_EDGE_SHARE,
    PLUMB_SD_DEG,
    STEEP_DEG,
    Edges,
    edges_from,
    groups_of,
    independent_edges,
    lean_deg,
    support_px,
)
from posture.geometry.fit import Camera

Array = NDArray[np.float64]

MOST_DEG = 45.0
"""Roll and pitch are looked for up to here: nearer to 90 degrees plumb and level edges would change their parts."""

ROLL_STEP_DEG, PITCH_STEP_DEG = 2.0, 3.0
"""Of the grid in which stands are tried."""

FINER = 4
"""So many times finer is the grid around the best of the first."""

GRID_STEPS = (round(MOST_DEG / ROLL_STEP_DEG), round(MOST_DEG / PITCH_STEP_DEG))

ROLL_USUAL_DEG, PITCH_USUAL_DEG = 30.0, 25.0
"""Of two stands that the edges support alike, the one nearer to level by these is taken."""

WIDER = (1.8, 1.4, 1.0, 1.0, 1.0, 1.0)
"""In the steps of the refinement, first by so much more: the best of the grid is out by some degrees of pitch where edges are few."""

PITCH_PRIOR_SD_DEG = 8.0
"""Without any edge the pitch of a camera is known so well: cameras look down on a child, or up from a table, by up to about fifteen
degrees (common practice, no source)."""

ROLL_FLOOR_DEG, PITCH_FLOOR_DEG = 0.3, 1.0
"""Lenses bend, houses lean, and the middle of the lens is not that of the picture: no number of edges does better."""

LEAST_EDGES = 2
"""Independent plumb edges that are needed in any case."""

LEAST_LENGTH = 0.6
"""The length of all that agree, in shorter sides of the picture."""

THING_SHARE = 0.08
"""Edges within this share of the longer side may be of one thing, a shelf with its books, and lean alike."""

LEAST_SHARE, SHARE_OF_FEW, SHARE_STEP = 0.35, 0.75, 0.05
"""Of all that is within `NEAR_DEG` of plumb, so much has to be plumb, by length: in a forest of slanted edges some always agree. Of
few edges more: the second number less the third for each."""

NEAR_DEG = 30.0
"""Edges that lean by more are shelves, floors and ceilings."""

SCATTER_DEG = 4.0
"""How widely edges scatter is judged by all that are within this of plumb, not only by those that agree: folds of a curtain."""

SCATTER_KNOWN = 3
"""What is expected of plumb edges counts as much as what is found in so many, when their scatter is judged."""

SHORT_SHARE = 0.25
"""An edge as short as this share of the shorter side is less surely plumb, by 1.4: books and sleeves lean more than doors."""

MOST_RIVAL = 0.5
"""Where the edges left over support another stand by this share of the first one's support, neither is trusted."""

ELSEWHERE_DEG, ELSEWHERE_MOST_DEG, MOST_ELSEWHERE = 4.0, 24.0, 0.8
"""Nor where all edges together support a roll that is further away nearly as well, roll and pitch being no more than the second: a shelf
at one side agrees with the walls of a room, and with a ladder that leans at the other side as well."""

MOST_ROLL_SD_DEG = 1.25
"""With a larger uncertainty of the roll, two or three lines or a swaying curtain were all there was."""

LEAST_THINGS = 4
"""Plumb edges have to belong to so many things, or level edges to confirm: both rails of a leaning ladder and one jamb of a door meet
in a point too, and with a few edges to choose from a third one often agrees by chance."""

MANY_EDGES = 7
"""Of so many edges fewer things are enough: a barred window in a narrow strip gives the roll."""

FEW_PITCH_SD_DEG = 4.0
"""Of the pitch where level edges confirmed so few things: they speak for the roll only."""

UNUSUAL_ROLL_DEG, UNUSUAL_PITCH_DEG = 18.0, 30.0
"""A camera rolled or pitched further has to be confirmed: stripes of a blanket are parallel too."""

_AROUND = np.array([[0, 0], [0.5, 0], [-0.5, 0], [0, 0.5], [0, -0.5]])


@dataclass(frozen=True)
class Stand:
    """How the camera stood when a picture was taken; signs as in `posture.conventions`.

    Attributes
    ----------
    roll_deg : float
        Positive when the whole picture is turned counter-clockwise as you look at it.
    pitch_deg : float
        Positive when the camera looks down.
    roll_sd_deg, pitch_sd_deg : float
        Standard deviations of the two.
    """

    roll_deg: float
    pitch_deg: float
    roll_sd_deg: float
    pitch_sd_deg: float


@dataclass(frozen=True)
class _Fitted:
    """A stand, which of the edges agree with it, of how many independent ones and of how many things, and their length."""

    stand: Stand
    agrees: NDArray[np.bool_]
    n_edges: int
    n_things: int
    length_px: float


def stand_from_lines(lines_px: ArrayLike, camera: Camera) -> Stand | None:
    """Find roll and pitch of the camera from straight edges of the scene.

    Parameters
    ----------
    lines_px : array_like, shape (n, 4)
        x and y of both ends, pixels of the upright picture; plumb, level and any other edges.
    camera : Camera
        A focal length that is wrong by 10 % makes the pitch wrong by about 10 %, and changes the roll by nothing.

    Returns
    -------
    Stand or None
        None where there are no plumb lines worth trusting: too few or too short ones, too many others, two stands that fit alike.

    Raises
    ------
    ValueError
        If ``lines_px`` is not of shape (n, 4).
    """
    lines = np.asarray(lines_px, float)
    if lines.size == 0:
        return None
    if lines.ndim != 2 or lines.shape[1] != 4:
        raise ValueError(
            f"Expected lines of shape (n, 4), both ends of each; got {lines.shape}. Give x0, y0, x1, y1 in pixels."
        )
    edges = edges_from(lines[np.isfinite(lines).all(1)], camera)
    if len(edges.length_px) < LEAST_EDGES:
        return None
    roll, pitch, support, elsewhere = _search(edges)
    if elsewhere > MOST_ELSEWHERE:
        return None
    fitted = _refine(edges, roll, pitch, camera)
    return None if fitted is None else _trusted(edges, fitted, support, camera)


def _trusted(edges: Edges, fitted: _Fitted, support: float, camera: Camera) -> Stand | None:
    """The fitted stand if enough edges agree with it, and not too many others with another."""
    stand = fitted.stand
    if max(abs(stand.roll_deg), abs(stand.pitch_deg)) > MOST_DEG or stand.roll_sd_deg > MOST_ROLL_SD_DEG:
        return None
    if fitted.n_edges < LEAST_EDGES or fitted.length_px < LEAST_LENGTH * min(camera.width_px, camera.height_px):
        return None
    lean = lean_deg(edges, np.array([[stand.roll_deg, stand.pitch_deg]]))[0]
    least = max(LEAST_SHARE, SHARE_OF_FEW - SHARE_STEP * fitted.n_edges)
    if edges.counts_px[fitted.agrees].sum() < least * edges.counts_px[np.abs(lean) < NEAR_DEG].sum():
        return None
    others = edges.only(~fitted.agrees)
    if len(others.length_px) and _search(others)[2] > MOST_RIVAL * support:
        return None
    is_few = fitted.n_things < LEAST_THINGS and fitted.n_edges < MANY_EDGES
    is_unusual = abs(stand.roll_deg) > UNUSUAL_ROLL_DEG or abs(stand.pitch_deg) > UNUSUAL_PITCH_DEG
    if (is_few or is_unusual) and not _level_edges_confirm(others, stand, camera):
        return None
    return replace(stand, pitch_sd_deg=float(np.hypot(stand.pitch_sd_deg, FEW_PITCH_SD_DEG))) if is_few else stand


def _search(edges: Edges) -> tuple[float, float, float, float]:
    """Roll, pitch and support of the stand that the edges support best, on a coarse grid and a finer one; share of another roll."""
    edges = edges.only(np.abs(edges.along[:, 1]) > np.cos(np.radians(STEEP_DEG)))
    best, support, elsewhere = np.zeros(2), 0.0, 0.0
    for steps, finer in ((GRID_STEPS, 1.0), ((FINER, FINER), FINER)):
        offset, plumb = _grid(*steps, finer)
        grid = best + offset
        if finer > 1:
            plumb = camera_matrix(*grid.T)[..., 1]
        length = support_px(edges, plumb, np.hypot(edges.sd_deg, ROLL_STEP_DEG / finer / 2))
        usual = np.exp(-0.5 * ((grid / [ROLL_USUAL_DEG, PITCH_USUAL_DEG]) ** 2).sum(1))
        k = int((length * usual).argmax())
        if finer == 1:
            other = (np.abs(grid).max(1) <= ELSEWHERE_MOST_DEG) & (np.abs(grid[:, 0] - grid[k, 0]) > ELSEWHERE_DEG)
            elsewhere = float(length[other].max() / max(length[k], 1e-9))
        best, support = grid[k], float(length[k] * usual[k])
    return float(best[0]), float(best[1]), support, elsewhere


@lru_cache(maxsize=2)
def _grid(roll_steps: int, pitch_steps: int, finer: float) -> tuple[Array, Array]:
    """Roll and pitch (k, 2) of so many steps to each side of level, and the plumb directions (k, 3) of such cameras."""
    rolls, pitches = (
        np.arange(-n, n + 1) * step / finer for n, step in ((roll_steps, ROLL_STEP_DEG), (pitch_steps, PITCH_STEP_DEG))
    )
    grid = np.stack(np.meshgrid(rolls, pitches), -1).reshape(-1, 2)
    return grid, camera_matrix(*grid.T)[..., 1]


def _refine(edges: Edges, roll_deg: float, pitch_deg: float, camera: Camera) -> _Fitted | None:
    """The stand by least squares on the edges that agree with it; None where too few do."""
    at = np.array([roll_deg, pitch_deg])
    shorter, longer = sorted((camera.width_px, camera.height_px))
    prior = np.diag([0.0, PITCH_PRIOR_SD_DEG**-2])
    for wider in WIDER:
        # With those of half a degree to all sides: the lean is nearly linear in roll and pitch.
        leans = lean_deg(edges, at + _AROUND)
        agrees = np.abs(leans[0]) < wider * AGREES_SD * edges.sd_deg
        if agrees.sum() < LEAST_EDGES:
            return None
        share, length_px, heading = independent_edges(edges.only(agrees), at, ONE_EDGE_SHARE * longer / camera.focal_px, camera)
        lean, more_roll, less_roll, more_pitch, less_pitch = leans[:, agrees] @ share.T
        slope = np.stack([more_roll - less_roll, more_pitch - less_pitch], 1)
        short = 1 + (SHORT_SHARE * shorter / length_px) ** 2
        weight = 1 / (PLUMB_SD_DEG**2 * short + np.degrees(END_SHARE * longer / length_px) ** 2)
        normal = slope.T @ (slope * weight[:, None])
        if normal[0, 0] <= 0:
            return None
        step = np.linalg.solve(normal + prior, -slope.T @ (weight * lean) - prior @ at)
        at = at + step
        if np.abs(at).max() > 2 * MOST_DEG:
            return None
    n_things = int(groups_of(heading, THING_SHARE * longer / camera.focal_px).max()) + 1
    sd = _uncertainty(slope, weight, lean + slope @ step, prior, _scatter(edges, leans[0]), n_things)
    stand = Stand(float(at[0]), float(at[1]), float(sd[0]), float(sd[1]))
    return _Fitted(stand, agrees, len(lean), n_things, float(length_px.sum()))


def _scatter(edges: Edges, lean: Array) -> float:
    """Variance of edges near plumb against what is expected of plumb ones, robustly."""
    near = np.abs(lean) < SCATTER_DEG
    size, counts = np.abs(lean[near]) / edges.sd_deg[near], edges.counts_px[near]
    order = np.argsort(size, kind="stable")
    middle = np.searchsorted(np.cumsum(counts[order]), counts.sum() / 2)
    return float(1.4826 * size[order[min(middle, len(order) - 1)]]) ** 2


def _uncertainty(slope: Array, weight: Array, left: Array, prior: Array, scatter: float, n_things: int) -> Array:
    """Standard deviations (2,) of roll and pitch from m edges of so many things: slopes (m, 2), weights and what is left (m,)."""
    free = SCATTER_KNOWN + max(len(left) - 2, 0)
    found = (SCATTER_KNOWN + float(weight @ left**2)) / free
    # What is left of a few edges says little of how they scatter.
    scatter = max(1.0, scatter, found * (float(stats.t.ppf(0.975, free)) / 1.96) ** 2 if found > 1 else 0.0)
    each = slope[:, :, None] * slope[:, None, :] * weight[:, None, None]
    variance = np.diag(np.linalg.inv(each.sum(0) / scatter * n_things / len(left) + prior))
    # Leaving out each edge in turn: where one decides, it may be the one that is not plumb.
    without = np.linalg.inv(each.sum(0) - each + prior + 1e-9 * np.eye(2))
    # What the prior alone leaves is no disagreement of edges.
    own = left - slope @ (np.linalg.pinv(each.sum(0), rcond=1e-6) @ (slope.T @ (weight * left)))
    moved = np.einsum("mij,mj->mi", without, slope * (weight * own)[:, None])
    turned_out = (moved**2).sum(0) * (len(left) - 1) / len(left)
    floor = np.array([ROLL_FLOOR_DEG, PITCH_FLOOR_DEG])
    return np.asarray(np.sqrt(np.maximum(variance, turned_out) + floor**2))


def _level_edges_confirm(others: Edges, stand: Stand, camera: Camera) -> bool:
    """Whether level edges, of one wall at least, fit this roll clearly better than others near it."""
    if not len(others.length_px):
        return False
    turns = np.arange(-10.0, 11.0)
    heading = np.radians(np.arange(0.0, 180.0, 4.0))
    level = np.stack([np.cos(heading), np.zeros_like(heading), np.sin(heading)], 1)
    # A heading looks for a direction that no edge under it could have but a level one; plumb edges are not among the others.
    directions = np.einsum("tij,hj->thi", camera_matrix(stand.roll_deg + turns, stand.pitch_deg), level)
    sd = np.hypot(others.sd_deg, 0.5)
    best = support_px(others, directions.reshape(-1, 3), sd).reshape(len(turns), -1).max(1)
    near, far = best[np.abs(turns) <= 2].max(), best[np.abs(turns) >= 4].max()
    return bool(near > LEAST_LENGTH * min(camera.width_px, camera.height_px) and near > 1.5 * far)
