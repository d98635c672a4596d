"""How the camera stood, from lines that a person drew over one picture along something plumb or level.

A line of the picture and the middle of the camera span a plane. The plumb direction lies in the plane of every plumb line; in
the plane of a level line lies a direction at right angles to the plumb one. Roll and pitch are those under which this holds
best, each line weighed by how exactly it can be drawn and by how plumb or level such things are, with a camera held about level
as the expectation before anything is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import chi2

from posture.errors import ConditionsError
from posture.geometry.angles import camera_matrix
from posture.geometry.edges import PLUMB_SD_DEG
from posture.geometry.fit import Camera
from posture.geometry.plumb import PITCH_PRIOR_SD_DEG, Stand

Array = NDArray[np.float64]

DRAWN_SD_SHARE = 0.003
"""How exactly an end is drawn, in each direction, as a share of the picture's longer side: 1.6 px where the page shows that
side 530 px long, which a hand keeps with a magnified view. Stated, not measured."""

ROLL_PRIOR_SD_DEG = 60.0
"""So wide that the lines alone say the roll; it only keeps the fit finite."""

HEADING_SD_DEG = 25.0
"""How far the edges that people take for square to the camera are from it."""

HEADING_SLOPE_SD = float(np.tan(np.radians(1.96 * HEADING_SD_DEG)) / 1.96)
"""The same as the tangent, in which an edge above or below the horizon leans; matched where 95 % of headings end."""

MIN_LENGTH_SHARE = 0.1
"""Of the longer side. The direction of a shorter line is not known to 2.5 degrees."""

MAX_ROLL_DEG, MAX_PITCH_DEG = 60.0, 45.0
"""Beyond these a line was put along something else, or the film lies on its side and which side is up cannot be said."""

FREE_PITCH_SD_DEG = 25.0
"""Stands in for the expected pitch when lines are asked whether they agree: a camera that looks down is no contradiction."""

CONTRADICTION_SHARE = 0.001
"""Lines that disagree more than this share of rightly drawn ones would are refused."""

REACH_ROLL_DEG, REACH_PITCH_DEG = 88, 70
"""Rolls and pitches that are tried, either way."""

_COARSE_DEG, _STEPS, _WIDTH_SD, _ROUNDS = 2, 61, 6.0, 3
"""The probability is summed over nets of rolls and pitches: a coarse one over all, then finer ones of so many steps, laid to so
many standard deviations about the mean of the one before."""


@dataclass(frozen=True)
class _Lines:
    """Lines as rays of their two ends, (n, 3) each with z = 1, and which are plumb (n,)."""

    first: Array
    second: Array
    is_plumb: NDArray[np.bool_]
    ray_sd: float

    @property
    def normals(self) -> Array:
        """Unit normals of the planes, (n, 3)."""
        across = np.cross(self.first, self.second)
        return across / np.linalg.norm(across, axis=1, keepdims=True)

    def only(self, number: int) -> _Lines:
        """One of the lines."""
        one = slice(number, number + 1)
        return _Lines(self.first[one], self.second[one], self.is_plumb[one], self.ray_sd)


def stand_from_marks(plumb_px: ArrayLike, level_px: ArrayLike, camera: Camera) -> Stand:
    """How the camera stood, from marked lines.

    Parameters
    ----------
    plumb_px : array_like, shape (m, 4)
        x0, y0, x1, y1 in pixels of the upright picture: lines along something plumb. Either end may come first.
    level_px : array_like, shape (k, 4)
        Lines along something level, taken to be about square to the camera. At least one line in the two together.
    camera : Camera

    Returns
    -------
    Stand
        One plumb line gives the roll, and the pitch hardly more than it was known before; two far apart give both. A level line
        gives the roll as well as it is square to the camera: an edge at the height of the camera is sure, one far above or
        below it is not, and the standard deviation says so.

    Raises
    ------
    ConditionsError
        If no line was given, a line is no line or shorter than `MIN_LENGTH_SHARE`, or the lines contradict each other.

    Notes
    -----
    The focal length is taken as known; a wrong one scales the pitch that two lines give. Lenses that bend straight lines are
    not corrected.
    """
    lines = _check_lines(plumb_px, level_px, camera)
    stand, _ = _fit(lines, PITCH_PRIOR_SD_DEG)
    _check_direction(stand)
    _check_agreement(lines)
    return stand


def _check_lines(plumb_px: ArrayLike, level_px: ArrayLike, camera: Camera) -> _Lines:
    """Lines as rays, or an error about the first that cannot be used."""
    groups = []
    for name, given in (("plumb", plumb_px), ("level", level_px)):
        px = np.asarray(given, float)
        px = px.reshape(-1, 4) if px.size == 0 else px
        if px.ndim != 2 or px.shape[1] != 4 or not np.isfinite(px).all():
            raise ConditionsError(
                f"Expected {name} lines as rows of x0, y0, x1, y1 in pixels; an array of shape {np.shape(given)} came, or one"
                " with gaps. Give four numbers for every line."
            )
        groups.append(px)
    px = np.concatenate(groups)
    if not len(px):
        raise ConditionsError("Expected at least one marked line; none came. Draw one along something plumb.")
    longer_px = max(camera.width_px, camera.height_px)
    shares = np.hypot(px[:, 2] - px[:, 0], px[:, 3] - px[:, 1]) / longer_px
    if shares.min() < MIN_LENGTH_SHARE:
        raise ConditionsError(
            f"Expected lines of at least {100 * MIN_LENGTH_SHARE:.0f} % of the picture's longer side; one of"
            f" {100 * shares.min():.0f} % came. Draw it along a longer edge, from one end to the other."
        )
    ends = (px.reshape(-1, 2, 2) - camera.middle_px) / camera.focal_px
    rays = np.concatenate([ends, np.ones((len(px), 2, 1))], -1)
    is_plumb = np.arange(len(px)) < len(groups[0])
    return _Lines(rays[:, 0], rays[:, 1], is_plumb, DRAWN_SD_SHARE * longer_px / camera.focal_px)


def _check_direction(stand: Stand) -> None:
    """Refuse a camera that nobody can have held."""
    if abs(stand.roll_deg) > MAX_ROLL_DEG:
        raise ConditionsError(
            f"Expected the picture to be turned by at most {MAX_ROLL_DEG:.0f} degrees; the marked lines turn it by"
            f" {abs(stand.roll_deg):.0f}. Take the lines back and mark a plumb edge as plumb, a level one as level; if the film"
            " lies on its side, turn it first."
        )


def _check_agreement(lines: _Lines) -> None:
    """Refuse lines that no camera can have seen as plumb and level together."""
    if len(lines.first) < 2:
        return
    stand, misfit = _fit(lines, FREE_PITCH_SD_DEG)
    if abs(stand.pitch_deg) <= MAX_PITCH_DEG and misfit <= chi2.isf(CONTRADICTION_SHARE, len(lines.first) - 1):
        return
    rolls = [_fit(lines.only(i), PITCH_PRIOR_SD_DEG)[0].roll_deg for i in range(len(lines.first))]
    each = ", ".join(
        f"the {'plumb' if is_plumb else 'level'} line {roll:.0f}" for is_plumb, roll in zip(lines.is_plumb, rolls, strict=True)
    )
    raise ConditionsError(
        f"Expected marked lines that agree on how the camera was rolled; alone they say, in degrees: {each}. Take the"
        " lines back and mark edges that are surely plumb; one line is enough."
    )


def _weigh(lines: _Lines, roll: Array, pitch: Array, pitch_sd_deg: float) -> tuple[Array, Array]:
    """For every roll (r,) and pitch (p,), in radians: log-probability and the sum of squared misses, both (r, p).

    The heading of a level edge is not a third unknown: its miss a + b t is linear in the heading's tangent t, so that t only
    widens what is expected of the miss, by b times the standard deviation of t.
    """
    # Roll and pitch apart and then multiplied: several times faster over a net of both.
    matrix = camera_matrix(np.degrees(roll), 0.0)[:, None] @ camera_matrix(0.0, np.degrees(pitch))
    across, down, ahead = np.moveaxis(matrix, -1, 0)
    misfit = (pitch / np.radians(pitch_sd_deg)) ** 2 + np.zeros((len(roll), 1))
    log_p = -0.5 * (misfit + (roll / np.radians(ROLL_PRIOR_SD_DEG))[:, None] ** 2)
    for i, normal in enumerate(lines.normals):
        way = down if lines.is_plumb[i] else across
        variance = _miss_variance(lines.only(i), way)
        if not lines.is_plumb[i]:
            variance = variance * (1 + HEADING_SLOPE_SD**2) + (HEADING_SLOPE_SD * (ahead @ normal)) ** 2
        square = (way @ normal) ** 2 / variance
        misfit = misfit + square
        log_p = log_p - 0.5 * (square + np.log(variance))
    return log_p, misfit


def _miss_variance(line: _Lines, way: Array) -> Array:
    """Variance, in square radians, of the miss of one rightly drawn line whose thing points that way, (..., 3) to (...).

    The miss is (a x b) . v / |a x b| of the ends' rays a, b. Moving a by da changes it by da . (b x v) / |a x b|, and an end
    moves in the picture's two directions only, in which b x v is as long as v less b times the depth of v. A thing that is not
    quite plumb adds its own angle.
    """
    length = np.linalg.norm(np.cross(line.first[0], line.second[0]))
    levers = [way[..., :2] - way[..., 2:] * end[:2] for end in (line.first[0], line.second[0])]
    drawn: Array = (line.ray_sd / length) ** 2 * sum((lever**2).sum(-1) for lever in levers)
    return drawn + np.radians(PLUMB_SD_DEG) ** 2


def _fit(lines: _Lines, pitch_sd_deg: float) -> tuple[Stand, float]:
    """Mean and spread of the stands that fit, and the least sum of squares by which lines and expectation miss one."""
    roll, pitch = (np.radians(np.arange(-end, end + 1, _COARSE_DEG)) for end in (REACH_ROLL_DEG, REACH_PITCH_DEG))
    for _ in range(_ROUNDS):
        log_p, misfit = _weigh(lines, roll, pitch, pitch_sd_deg)
        share = np.exp(log_p - log_p.max())
        # A line that lies flat stands as well either way round: the mean of the two would be neither.
        share[np.abs(roll - roll[share.max(1).argmax()]) > np.pi / 4] = 0.0
        share /= share.sum()
        middle, spread = zip(*(_moments(x, share.sum(axis)) for x, axis in ((roll, 1), (pitch, 0))), strict=True)
        roll, pitch = (
            np.linspace(max(m - _WIDTH_SD * s, -np.radians(end)), min(m + _WIDTH_SD * s, np.radians(end)), _STEPS)
            for m, s, end in zip(middle, spread, (REACH_ROLL_DEG, REACH_PITCH_DEG), strict=True)
        )
    return Stand(*(float(np.degrees(x)) for x in (*middle, *spread))), float(misfit.min())


def _moments(values: Array, share: Array) -> tuple[float, float]:
    """Mean and standard deviation, the latter at least half a step, so that the next net cannot miss what lies between."""
    mean = float(values @ share)
    return mean, max(float(np.sqrt((values - mean) ** 2 @ share)), float(values[1] - values[0]) / 2)
