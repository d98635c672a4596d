"""What is learned from rendered heads is learned rightly: from landmarks and errors that are made up, so without any picture."""

import numpy as np
import pytest

from posture.face.model import load_canonical_face
from posture.geometry.angles import line_of_sight, posture_matrix
from posture.geometry.deviations import load_deviation_weights
from posture.geometry.fit import project
from tests.proof.scatter import CAMERA, Sight, deviations, family, learn_expected_error, own_scale, products_cm2, scatter_cm

ROOM_CM = np.array([8.0, -5.0, 90.0])


def made_up(stretch: float, noise_px: float, count: int = 40) -> list[Sight]:
    """Pictures of the canonical face whose chin truth is smaller than what they show, by a factor, and of a chin zero of 3 degrees."""
    face = load_canonical_face()
    rng = np.random.default_rng(3)
    azimuth, elevation = line_of_sight(ROOM_CM)
    found = []
    for truth in rng.uniform(-20, 20, (count, 3)):
        rotation = posture_matrix(truth[0], truth[1] + azimuth, stretch * truth[2] + 3.0 + elevation)
        points = project(face.vertices_cm, rotation, ROOM_CM, CAMERA)
        turned = face.vertices_cm @ (np.diag([1.0, -1.0, -1.0]) @ rotation).T
        distance = np.linalg.norm(ROOM_CM)
        depth = turned @ (ROOM_CM / distance) * CAMERA.focal_px / distance
        found.append(Sight(points + rng.normal(0, noise_px, points.shape), depth, truth, plain=True))
    return found


def test_own_scale_and_zero_of_a_head_are_found() -> None:
    turn_scale, chin_scale, chin_zero = own_scale(made_up(1.2, 0.0))
    assert turn_scale == pytest.approx(1.0, abs=0.01)
    assert chin_scale == pytest.approx(1.2, abs=0.03)
    assert chin_zero == pytest.approx(3.0, abs=0.1)


def test_scale_that_is_granted_leaves_no_deviation() -> None:
    head = made_up(1.2, 0.0)
    assert np.abs(deviations(head, granted=True)).max() < 0.05
    assert np.abs(deviations(head, granted=False)).max() > 0.2


def test_noise_comes_back_as_scatter() -> None:
    noise_cm = 0.2
    noise_px = noise_cm * CAMERA.focal_px / float(np.linalg.norm(ROOM_CM))
    scatter = scatter_cm([deviations(made_up(1.0, noise_px), granted=False)])
    assert scatter.mean() == pytest.approx(noise_cm * np.sqrt(2), rel=0.15)


def test_products_are_those_of_both_sides_alike() -> None:
    products = products_cm2([deviations(made_up(1.0, 1.0), granted=True)])
    assert products.shape == load_deviation_weights().shape
    variance = products.diagonal().reshape(33, 3).sum(1)
    model = load_canonical_face().vertices_cm[load_canonical_face().pose_index]
    mirrored = [int(((model - point * [-1, 1, 1]) ** 2).sum(1).argmin()) for point in model]
    assert variance == pytest.approx(variance[mirrored])


def test_error_to_be_expected_is_learned() -> None:
    rng = np.random.default_rng(4)
    deviation = np.exp(rng.normal(-1.5, 0.7, 4000))
    size = rng.exponential(5.0 * deviation**0.4)
    factor, exponent = learn_expected_error(deviation, size)
    assert factor == pytest.approx(5.0, rel=0.1)
    assert exponent == pytest.approx(0.4, abs=0.05)


def test_families_of_heads() -> None:
    assert [family(name) for name in ("adult_a", "child_b", "baby_a", "scan_a")] == ["adult", "children", "children", "scan"]
