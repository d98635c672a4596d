"""What is learned from rendered heads for the pose, and what it brings on heads left out: ``python -m tests.proof.scatter``.

Under its true posture the canonical face is put where it fits a picture best; what is left of each of the 33 points is its deviation.
Three things are learned from that. How far each point scatters gives its weight in the fit of points one by one. How the deviations
of all points and depths go together gives the weights of the fit together (``--write`` puts that table into the package). How the
true error grows with what is known without the truth gives the quality. Mirrored points are taken together throughout. The
errors printed are of heads left out of the learning, one after the other, and of families of heads left out whole; chin is judged
against the head's own neutral pictures.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.stats import spearmanr

from posture.face.model import load_canonical_face
from posture.geometry.angles import line_of_sight, posture_angles, posture_matrix
from posture.geometry.deviations import TABLE_NAME, deviation_weights
from posture.geometry.fit import deviations_cm, face_model, fit_alone, start_from
from posture.geometry.pose import POINT_WEIGHT, Camera, Pose, angles_against_camera, estimate_pose, rotation_from_depth
from tests.proof.material import load_heads, see_face
from tests.proof.occluders import Condition
from tests.proof.rows import BANDS_PX, ELSEWHERE, FOCAL_PX, HEIGHT_PX, NAMES, WIDTH_PX, Shot, draw_neutral, draw_shots

Array = NDArray[np.float64]
SEED = 5
PER_CELL = 8
CAMERA = Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX)
HIDDEN: tuple[Condition, ...] = ("glasses", "hand", "patch", "side light")
"""Conditions that tell how quality goes with errors; the fits are learned from plain pictures."""

UPSIDE_DOWN_DEG = 90.0
POWER = -2.0
"""Of the scatter, in the weights of the fit of points one by one; see `posture.geometry.pose.POINT_WEIGHT`."""


@dataclass(frozen=True)
class Sight:
    """Landmarks (478, 2) and depth (478,) of a picture, and what is true in it."""

    points: Array
    depth: Array
    truth: Array
    plain: bool

    @property
    def neutral(self) -> bool:
        """Whether the head was held neutral."""
        return not self.truth.any()


def look_at_head(name: str, per_cell: int) -> list[Sight]:
    """The pictures of a head in which the face was found: neutral, plain in three bands of heights, and half hidden."""
    cells: list[tuple[Condition, tuple[float, float]]] = [("plain", band) for band in BANDS_PX[1:]]
    cells += [(condition, BANDS_PX[-1 - k % 2]) for k, condition in enumerate(HIDDEN)]
    shots: list[tuple[Shot, bool]] = [(shot, True) for shot in draw_neutral(name, SEED)]
    for condition, band in cells:
        plain = condition == "plain"
        shots += [(shot, plain) for shot in draw_shots(name, condition, band, per_cell if plain else per_cell // 2, SEED)]
    found = []
    for shot, plain in shots:
        face = see_face(shot.picture)
        if face is not None and np.linalg.norm(face.centre_px - shot.centre_px) < ELSEWHERE * shot.face_px:
            found.append(Sight(face.points_px, face.depth_px, shot.truth_deg, plain))
    return found


def read(sight: Sight, weight: Array, together: Array) -> tuple[Array, Pose]:
    """Tilt, turn and chin against the line of sight, shape (3,), and the pose."""
    pose = estimate_pose(sight.points, sight.depth, CAMERA, load_canonical_face(), weight, together)
    return np.array(angles_against_camera(pose)), pose


def read_by_halves(sight: Sight, weight: Array) -> Array:
    """The reading that the fit together is to beat: points one by one, chin the mean of theirs and that of the depth."""
    pose = at_place(sight, weight)
    by_depth = rotation_from_depth(sight.points, sight.depth, CAMERA, load_canonical_face())
    tilt, turn, chin = posture_angles(pose[0])
    azimuth, elevation = line_of_sight(pose[1])
    return np.array([tilt, turn - azimuth, (chin + posture_angles(by_depth)[2]) / 2 - elevation])


def at_place(sight: Sight, weight: Array) -> tuple[Array, Array]:
    """Posture (3, 3) and place (3,) of the fit of points one by one."""
    face = load_canonical_face()
    model, crosses = face_model(face)
    pixels = sight.points[face.pose_index]
    start = start_from(rotation_from_depth(sight.points, sight.depth, CAMERA, face), model, pixels, CAMERA)
    rotation, place, _ = fit_alone(model, crosses, pixels, CAMERA, weight, start)
    return rotation, place


def own_scale(found: Sequence[Sight]) -> tuple[float, float, float]:
    """How a head's turn is stretched, how its chin is, and its chin zero, in the reading by halves of its plain pictures."""
    truth = np.array([sight.truth for sight in found if sight.plain])
    angles = np.array([read_by_halves(sight, POINT_WEIGHT) for sight in found if sight.plain])
    turn = np.polyfit(truth[:, 1], angles[:, 1], 1)
    chin = np.polyfit(truth[:, 2], angles[:, 2], 1)
    return float(turn[0]), float(chin[0]), float(chin[1])


def deviations(found: Sequence[Sight], granted: bool) -> Array:
    """Deviations (n, 33, 3) of a head's plain pictures at their true postures, and of the mirror images of the same.

    A head stretches turn and chin by its own factor, as its face is deeper or flatter than the canonical one, and has its own chin
    zero. The zero is always granted to it, the factors where told so: the fit together must not learn them, as the factors of some
    kinds of heads do harm on other kinds.
    """
    face = load_canonical_face()
    model = face_model(face)[0]
    mirrored = [int(((model - point * [-1, 1, 1]) ** 2).sum(1).argmin()) for point in model]
    turn_scale, chin_scale, chin_zero = own_scale(found)
    if not granted:
        turn_scale = chin_scale = 1.0
    every = []
    for sight in found:
        if sight.plain:
            azimuth, elevation = line_of_sight(at_place(sight, POINT_WEIGHT)[1])
            tilt, turn, chin = sight.truth
            rotation = posture_matrix(tilt, turn_scale * turn + azimuth, chin_scale * chin + chin_zero + elevation)
            # For the scatter of single points the face is put where all of its points fit best.
            fitted = (model, sight.points[face.pose_index]) if granted else (face.vertices_cm, sight.points[:468])
            place = start_from(rotation, *fitted, CAMERA)[1]
            every.append(deviations_cm(sight.points, sight.depth, CAMERA, face, rotation, place))
    both = np.array(every)
    return np.concatenate([both, both[:, mirrored] * [-1, 1, 1]])


def scatter_cm(heads: Sequence[Array]) -> Array:
    """How far each point scatters in the picture (33,), every head counting the same."""
    return np.asarray(np.sqrt(np.mean([(head[..., :2] ** 2).sum(2).mean(0) for head in heads], axis=0)))


def products_cm2(heads: Sequence[Array]) -> Array:
    """Mean products of the deviations (99, 99), every head counting the same."""
    flat = [head.reshape(len(head), -1) for head in heads]
    return np.asarray(np.mean([head.T @ head / len(head) for head in flat], axis=0))


def errors_against_own_neutral(found: Sequence[Sight], angles: Sequence[Array]) -> Array:
    """Errors (n, 3) of readings of one head, chin less that of its plain neutral pictures."""
    error = np.array(angles) - [sight.truth for sight in found]
    neutral = [sight.plain and sight.neutral for sight in found]
    return error - [0.0, 0.0, error[neutral, 2].mean()]


def learn_expected_error(deviation: Array, size_deg: Array) -> tuple[float, float]:
    """Factor and exponent of the error to be expected, by maximum likelihood of errors spread exponentially.

    Parameters
    ----------
    deviation : ndarray, shape (n,)
        Of `posture.geometry.pose.Pose`.
    size_deg : ndarray, shape (n,)
        Of the true errors.

    Returns
    -------
    tuple of two float
    """
    left = np.stack([np.ones(len(deviation)), np.log(deviation)], 1)

    def unlikely(b: Array) -> float:
        """The negative logarithm of the likelihood."""
        return float((left @ b + size_deg / np.exp(left @ b)).sum())

    best = minimize(unlikely, np.array([1.0, 0.0])).x
    return float(np.exp(best[0])), float(best[1])


def family(name: str) -> str:
    """The kind of head: made by one hand, and alike."""
    return "children" if name.startswith(("child", "baby")) else name.split("_")[0]


def print_left_out(
    seen: dict[str, list[Sight]], plainly: dict[str, Array], granted: dict[str, Array], by_family: bool
) -> tuple[Array, list[Pose], list[str]]:
    """Print the errors of the fits on heads, or families of heads, left out.

    Returns
    -------
    tuple
        Errors (n, 3) and poses of the fit together, and whose they are; of all pictures.
    """
    labels = ("equal weights, mean chin", "own weights, mean chin", "points and depth together")
    errors: dict[str, list[Array]] = {label: [] for label in labels}
    every: list[Pose] = []
    whose: list[str] = []
    for name, found in seen.items():
        alike = [other for other in seen if family(other) == family(name)] if by_family else [name]
        others = [other for other in seen if other not in alike]
        weight = scatter_cm([plainly[other] for other in others]) ** POWER
        together = deviation_weights(products_cm2([granted[other] for other in others]))
        poses = [read(sight, weight, together) for sight in found]
        readings = (
            [read_by_halves(sight, np.ones(33)) for sight in found],
            [read_by_halves(sight, weight) for sight in found],
            [angles for angles, _ in poses],
        )
        for label, angles in zip(labels, readings, strict=True):
            errors[label].append(errors_against_own_neutral(found, angles))
        every += [pose for _, pose in poses]
        whose += [name] * len(found)
    plain, moved = masks(seen)
    print(f"{'Families of heads' if by_family else 'Heads'} left out; mean / 95th percentile, degrees")
    for kind, chosen in (("plain", plain & moved), ("half hidden", ~plain)):
        for label, per_head in errors.items():
            size = np.abs(np.concatenate(per_head)[chosen])
            pairs = zip(NAMES, size.mean(0), np.percentile(size, 95, axis=0), strict=True)
            text = ", ".join(f"{name} {mean:.2f} / {p95:.1f}" for name, mean, p95 in pairs)
            print(f"   {kind:12}{label:27}{text} ({len(size)} pictures)")
    return np.concatenate(errors[labels[2]]), every, whose


def masks(seen: dict[str, list[Sight]]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which pictures are plain, and in which the head is not neutral, in the order of heads."""
    every = [sight for found in seen.values() for sight in found]
    return np.array([sight.plain for sight in every]), np.array([not sight.neutral for sight in every])


def print_quality(seen: dict[str, list[Sight]], error: Array, poses: Sequence[Pose], whose: Sequence[str]) -> None:
    """Learn the error to be expected, and print how it sorts the errors of heads left out of that learning too."""
    plain, moved = masks(seen)
    size = np.linalg.norm(error, axis=1)
    deviation, share = (np.array([getattr(pose, key) for pose in poses]) for key in ("deviation", "reprojection_share"))
    # A face that was read upside down is no matter of more or less, and would rule the learning.
    right = moved & (size < UPSIDE_DOWN_DEG)
    expected = np.zeros(len(size))
    for name in seen:
        own = np.array(whose) == name
        factor, exponent = learn_expected_error(deviation[right & ~own], size[right & ~own])
        expected[own] = factor * deviation[own] ** exponent
    factor, exponent = learn_expected_error(deviation[right], size[right])
    print(
        f"Expected error: {factor:.2f} deviation^{exponent:.2f}; left out of this: {int((moved & ~right).sum())} read upside down"
    )
    for kind, chosen in (("plain", plain & right), ("half hidden", ~plain & right)):
        by_expected, by_share = (spearmanr(value[chosen], size[chosen])[0] for value in (expected, share))
        print(
            f"   {kind}: rank correlation with the true size {by_expected:.2f}, of reprojection_share {by_share:.2f}; by quarters:"
        )
        for quarter in np.array_split(np.flatnonzero(chosen)[np.argsort(expected[chosen])], 4):
            tilt, turn, chin = np.abs(error[quarter]).mean(0)
            print(f"      expected {expected[quarter].mean():.1f}: tilt {tilt:.2f}, turn {turn:.2f}, chin {chin:.2f}")
    low, high = np.percentile(expected[plain & right], [25, 99])
    print(f"   plain: the best quarter is expected below {low:.1f}, all but one in a hundred below {high:.1f}")


def main(argv: Sequence[str] | None = None) -> None:
    """Learn, print the scatter and the errors on heads left out, and write the table if asked to."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--per-cell", type=int, default=PER_CELL, help="plain pictures of each head in each band of heights")
    parser.add_argument("--write", action="store_true", help=f"put the table of all heads into the package ({TABLE_NAME})")
    options = parser.parse_args(argv)
    seen = {name: look_at_head(name, options.per_cell) for name in load_heads().names()}
    plainly = {name: deviations(found, granted=False) for name, found in seen.items()}
    granted = {name: deviations(found, granted=True) for name, found in seen.items()}
    print("Scatter of the 33 points, cm: " + ", ".join(f"{v:.2f}" for v in scatter_cm(list(plainly.values()))))
    print_left_out(seen, plainly, granted, by_family=True)
    print_quality(seen, *print_left_out(seen, plainly, granted, by_family=False))
    if options.write:
        with resources.as_file(resources.files("posture.geometry") / TABLE_NAME) as path:
            np.save(path, products_cm2(list(granted.values())).astype(np.float32))


if __name__ == "__main__":
    main()
