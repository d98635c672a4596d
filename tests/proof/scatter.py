"""How far the 33 points scatter, and what weighting by it brings: ``python -m tests.proof.scatter``.

Each rendered head is drawn in postures of its own seed. Under its true posture the canonical face is put where it fits best; what
is left of each point, in centimetres, is its scatter, mirrored points taken together. The errors printed are of heads left out of
the learning, one after the other: equal weights against weights learned on the nine others.
"""

from __future__ import annotations

import argparse

import numpy as np
from numpy.typing import NDArray

from posture.face.model import load_canonical_face
from posture.geometry.angles import line_of_sight, posture_matrix
from posture.geometry.pose import Camera, angles_against_camera, estimate_pose, project
from tests.proof.accuracy import FOCAL_PX, HEIGHT_PX, WIDTH_PX, head_names, head_pictures
from tests.proof.material import see_face

Array = NDArray[np.float64]
SEED = 5
PER_HEAD = 40
CAMERA = Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX)


def look_at_head(name: str, per_head: int) -> list[tuple[Array, Array, Array]]:
    """(points (478, 2), depth (478,), true tilt, turn, chin) of each picture in which the face was found."""
    seen = [(see_face(rgb), truth) for rgb, truth in head_pictures(name, per_head, SEED)]
    return [(face.points_px, face.depth_px, truth) for face, truth in seen if face is not None]


def read(points: Array, depth: Array, weight: Array) -> Array:
    """Tilt, turn and chin against the line of sight."""
    return np.array(angles_against_camera(estimate_pose(points, depth, CAMERA, load_canonical_face(), weight)))


def chin_zero(found: list[tuple[Array, Array, Array]], weight: Array) -> float:
    """The head's own chin zero: the constant of a parabola through its chin errors."""
    error = [read(points, depth, weight)[2] - truth[2] for points, depth, truth in found]
    return float(np.polynomial.Polynomial.fit([t[2] for _, _, t in found], error, 2)(0.0))


def point_variance(found: list[tuple[Array, Array, Array]]) -> Array:
    """Mean square distance (cm squared) of the 33 points from the face at its true posture, shape (33,)."""
    face = load_canonical_face()
    model, chosen = face.vertices_cm, face.pose_index
    equal = np.ones(len(chosen))
    zero = chin_zero(found, equal)
    squares = []
    for points, depth, (tilt, turn, chin) in found:
        place = estimate_pose(points, depth, CAMERA, face, equal).place_cm
        azimuth, elevation = line_of_sight(place)
        rotation = posture_matrix(tilt, turn + azimuth, chin + zero + elevation)
        pixels = points[: len(model)]
        # Place and distance that fit all points of the face best under that rotation, by a few steps of moving the middle and the distance.
        for _ in range(20):
            shown = project(model, rotation, place, CAMERA)
            ratio = np.linalg.norm(pixels - pixels.mean(0)) / np.linalg.norm(shown - shown.mean(0))
            shift = (pixels.mean(0) - shown.mean(0)) * place[2] / FOCAL_PX
            place = (place + np.array([*shift, 0.0])) / ratio
        squares.append(((pixels - project(model, rotation, place, CAMERA))[chosen] * place[2] / FOCAL_PX) ** 2)
    variance = np.mean(squares, 0).sum(1)
    mirrored = [int(((model[chosen] - point * [-1, 1, 1]) ** 2).sum(1).argmin()) for point in model[chosen]]
    return np.asarray((variance + variance[mirrored]) / 2)


def main() -> None:
    """Print the scatter, and the errors on heads left out."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--per-head", type=int, default=PER_HEAD)
    per_head = parser.parse_args().per_head
    seen = {name: look_at_head(name, per_head) for name in head_names()}
    variance = {name: point_variance(found) for name, found in seen.items()}
    scatter = np.sqrt(np.mean(list(variance.values()), 0))
    print("scatter of the 33 points, cm: " + ", ".join(f"{v:.2f}" for v in scatter))
    errors: dict[str, list[Array]] = {"equal weights": [], "learned on the other heads": []}
    for name, found in seen.items():
        others = np.mean([v for other, v in variance.items() if other != name], 0)
        for label, weight in (("equal weights", np.ones(len(others))), ("learned on the other heads", others**-2.0)):
            zero = np.array([0, 0, chin_zero(found, weight)])
            errors[label] += [read(points, depth, weight) - truth - zero for points, depth, truth in found]
    for label, error in errors.items():
        tilt, turn, chin = np.abs(error).mean(0)
        print(f"{label}: mean error tilt {tilt:.2f}, turn {turn:.2f}, chin {chin:.2f} ({len(error)} pictures, rendered heads)")


if __name__ == "__main__":
    main()
