"""How well tilt, turn and chin are read on rendered heads: ``python -m tests.proof.accuracy [--per-head N]``.

Faces of 90 to 190 px from forehead to chin, tilt, turn and chin uniform within 25 degrees, pictures of 1280x720 with a focal
length of 1000 px that is known, half of the faces at the centre and half off it, sensor noise of 3 grey levels. Chin is judged
against the mean of three neutral pictures of the same head, turn and chin against the line of sight. Rendered heads have no real
lens, light or hair over the eyes, so these errors are a lower bound of those on people.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posture.geometry.angles import line_of_sight, posture_matrix
from posture.geometry.pose import angles_against_camera
from tests.proof.material import Rgb, load_heads, measure_picture

WIDTH_PX, HEIGHT_PX, FOCAL_PX = 1280, 720, 1000.0
FACE_PX = (90.0, 190.0)
RANGE_DEG = 25.0
NOISE = 3.0
OFF_CENTRE = (0.35, 0.25)
"""Farthest from the centre, in shares of width and height; the whole head stays in the picture."""

NEUTRAL_FACES_PX = (100.0, 140.0, 180.0)
FIRST_DISTANCE_M = 0.9
PER_HEAD = 40
SEED = 2026
"""Chosen before any figure was seen."""

NAMES = ("tilt", "turn", "chin")
Array = NDArray[np.float64]


@dataclass(frozen=True)
class HeadResult:
    """Errors of one head.

    Attributes
    ----------
    name : str
    error_deg : ndarray, shape (n, 3)
        Measured less true; chin against the head's own neutral.
    truth_deg : ndarray, shape (n, 3)
    neutral_deg : ndarray, shape (3,)
        Mean reading of the neutral pictures.
    lost : int
        Pictures in which no face was found.
    face_px : ndarray, shape (n,)
        Height that the landmarks span.
    """

    name: str
    error_deg: Array
    truth_deg: Array
    neutral_deg: Array
    lost: int
    face_px: Array


def head_names() -> list[str]:
    """Names of the rendered heads."""
    return list(load_heads().names())


def head_pictures(name: str, per_head: int, seed: int) -> Iterator[tuple[Rgb, Array]]:
    """Draw one head: the neutral pictures first, then random postures.

    Parameters
    ----------
    name : str
    per_head : int
        Postures beside the neutral ones.
    seed : int

    Yields
    ------
    tuple
        Picture and true tilt, turn and chin (3,) against the line of sight.
    """
    heads = load_heads()
    head = heads.load(name)
    room = heads.room((WIDTH_PX, HEIGHT_PX), seed=1)
    rng = np.random.default_rng([seed, *name.encode()])

    def picture(posture_deg: Sequence[float] | Array, place_m: Array) -> Rgb:
        """The head at a place, with a posture against the line of sight."""
        azimuth, elevation = line_of_sight(place_m)
        tilt, turn, chin = posture_deg
        rotation = posture_matrix(tilt, turn + azimuth, chin + elevation)
        camera = heads.Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX)
        return np.asarray(heads.degrade(heads.render(head, rotation, camera, tuple(place_m), room), rng, NOISE))

    # Heads differ in size; the height found in one picture tells the distance for any other.
    first = measure_picture(picture((0, 0, 0), np.array([0, 0, FIRST_DISTANCE_M])), FOCAL_PX)
    if first is None:
        raise RuntimeError(f"Expected a face in the neutral picture of '{name}'; none was found.")
    span_px_m = first.face_height_px * FIRST_DISTANCE_M
    for face_px in NEUTRAL_FACES_PX:
        yield picture((0, 0, 0), np.array([0, 0, span_px_m / face_px])), np.zeros(3)
    for k in range(per_head):
        posture_deg = rng.uniform(-RANGE_DEG, RANGE_DEG, 3)
        distance = span_px_m / rng.uniform(*FACE_PX)
        off = rng.uniform(-1, 1, 2) * OFF_CENTRE * (k % 2)
        place = np.array([off[0] * WIDTH_PX / FOCAL_PX, off[1] * HEIGHT_PX / FOCAL_PX, 1.0]) * distance
        yield picture(posture_deg, place), posture_deg


def measure_head(name: str, per_head: int, seed: int = SEED) -> HeadResult:
    """Render one head in random postures and measure them.

    Parameters
    ----------
    name : str
    per_head : int
        Postures beside the neutral ones.
    seed : int

    Returns
    -------
    HeadResult
    """
    neutral, errors, truths, sizes, lost = [], [], [], [], 0
    for k, (picture, truth_deg) in enumerate(head_pictures(name, per_head, seed)):
        pose = measure_picture(picture, FOCAL_PX)
        if pose is None:
            lost += 1
            continue
        angles = np.array(angles_against_camera(pose))
        if k < len(NEUTRAL_FACES_PX):
            neutral.append(angles)
            continue
        errors.append(angles - truth_deg)
        truths.append(truth_deg)
        sizes.append(pose.face_height_px)
    own = np.mean(neutral, axis=0)
    return HeadResult(name, np.array(errors) - [0, 0, own[2]], np.array(truths), own, lost, np.array(sizes))


def mean_and_p95(error_deg: Array) -> tuple[Array, Array]:
    """Mean and 95th percentile of the sizes of errors (n, 3), each of shape (3,)."""
    size = np.abs(error_deg)
    return size.mean(0), np.percentile(size, 95, axis=0)


def main(argv: Sequence[str] | None = None) -> None:
    """Measure all heads and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--per-head", type=int, default=PER_HEAD, help=f"postures of each head (default {PER_HEAD})")
    per_head = parser.parse_args(argv).per_head
    print(f"Rendered heads, {per_head} postures each, seed {SEED}; degrees: mean error / 95th percentile")
    print(f"{'head':10}" + "".join(f"{name:>15}" for name in NAMES) + f"{'lost':>7}{'neutral tilt turn chin':>26}")
    results = []
    for name in head_names():
        result = measure_head(name, per_head)
        results.append(result)
        neutral = " ".join(f"{v:6.1f}" for v in result.neutral_deg)
        print(f"{name:10}{_row(result.error_deg)}{result.lost:7d}{neutral:>26}", flush=True)
    error, truth = (np.concatenate([getattr(r, field) for r in results]) for field in ("error_deg", "truth_deg"))
    print(f"{'all':10}{_row(error)}{sum(r.lost for r in results):7d}")
    print("root mean square  " + " ".join(f"{v:.2f}" for v in np.sqrt((error**2).mean(0))))
    slopes = [np.polyfit(truth[:, k], error[:, k] + truth[:, k], 1)[0] for k in range(3)]
    print("slope             " + " ".join(f"{v:.3f}" for v in slopes))
    sizes = np.concatenate([r.face_px for r in results])
    print(
        f"{len(error)} pictures; faces {sizes.min():.0f} to {sizes.max():.0f} px high as found, median {np.median(sizes):.0f}"
    )


def _row(error_deg: Array) -> str:
    """Mean and 95th percentile of three angles as text."""
    return "".join(f"{f'{mean:.2f} / {p95:.2f}':>15}" for mean, p95 in zip(*mean_and_p95(error_deg), strict=True))


if __name__ == "__main__":
    main()
