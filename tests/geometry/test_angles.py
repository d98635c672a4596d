"""Rotations and angles against an independent library, for random postures."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from posture.conventions import wrap_deg
from posture.geometry.angles import (
    FACING,
    MIRROR,
    angle_between_deg,
    camera_matrix,
    line_of_sight,
    mirror,
    posture_angles,
    posture_matrix,
    to_level,
)

N = 500


@pytest.fixture
def angles() -> np.ndarray:
    """Random tilt, turn, chin, (500, 3), up to 80, 170, 170 degrees."""
    return np.random.default_rng(3).uniform(-1, 1, (N, 3)) * [80, 170, 170]


def test_posture_matrix_agrees_with_scipy(angles: np.ndarray) -> None:
    tilt, turn, chin = angles.T
    expected = Rotation.from_euler("YZX", np.stack([-turn, tilt, -chin], 1), degrees=True).as_matrix()
    assert posture_matrix(tilt, turn, chin) == pytest.approx(expected, abs=1e-12)


def test_posture_angles_agree_with_scipy_for_random_rotations() -> None:
    rotations = Rotation.random(N, random_state=4)
    y, z, x = rotations.as_euler("YZX", degrees=True).T
    assert np.stack(posture_angles(rotations.as_matrix())) == pytest.approx(np.stack([z, -y, -x]), abs=1e-9)


def test_angles_round_trip(angles: np.ndarray) -> None:
    assert np.stack(posture_angles(posture_matrix(*angles.T)), 1) == pytest.approx(angles, abs=1e-9)


def test_angles_broadcast_and_keep_nan() -> None:
    assert posture_matrix(np.zeros((2, 1)), 5.0, np.zeros(3)).shape == (2, 3, 3, 3)
    rotation = posture_matrix([1.0, 2.0], 0, 0).copy()
    rotation[0] = np.nan
    tilt, turn, chin = posture_angles(rotation)
    assert np.isnan([tilt[0], turn[0], chin[0]]).all()
    assert tilt[1] == pytest.approx(2.0)


def test_camera_matrix_agrees_with_roll_after_pitch() -> None:
    for roll, pitch in np.random.default_rng(5).uniform(-40, 40, (20, 2)):
        expected = Rotation.from_euler("z", -roll, degrees=True) * Rotation.from_euler("x", pitch, degrees=True)
        assert camera_matrix(roll, pitch) == pytest.approx(expected.as_matrix(), abs=1e-12)


def test_to_level_undoes_the_camera(angles: np.ndarray) -> None:
    rng = np.random.default_rng(6)
    roll, pitch = rng.uniform(-30, 30, (2, N))
    rotation, place = posture_matrix(*angles.T), rng.normal(size=(N, 3))
    camera = camera_matrix(roll, pitch)
    seen, seen_place = FACING @ camera @ FACING @ rotation, (camera @ place[..., None])[..., 0]
    level, level_place = to_level(seen, seen_place, roll, pitch)
    assert level == pytest.approx(rotation, abs=1e-12)
    assert level_place == pytest.approx(place, abs=1e-12)


def test_level_camera_changes_nothing(angles: np.ndarray) -> None:
    rotation = posture_matrix(*angles.T)
    level, place = to_level(rotation, np.ones((N, 3)))
    assert level == pytest.approx(rotation)
    assert place == pytest.approx(np.ones((N, 3)))


def test_mirror_twice_is_nothing_and_keeps_rotations(angles: np.ndarray) -> None:
    rotation, place = posture_matrix(*angles.T), np.arange(3 * N, dtype=float).reshape(N, 3)
    once, once_place = mirror(rotation, place)
    assert np.linalg.det(once) == pytest.approx(np.ones(N))
    assert np.stack(posture_angles(once), 1) == pytest.approx(angles * [-1, -1, 1], abs=1e-9)
    twice, twice_place = mirror(once, once_place)
    assert twice == pytest.approx(rotation)
    assert twice_place == pytest.approx(place)
    assert (np.eye(3) == MIRROR @ MIRROR).all()


def test_line_of_sight_of_known_places() -> None:
    azimuth, elevation = line_of_sight([[0, 0, 2], [1, 0, 1], [0, 1, 1], [-1, -1, 1]])
    assert azimuth == pytest.approx([0, 45, 0, -45])
    assert elevation == pytest.approx([0, 0, 45, -np.degrees(np.arctan(1 / np.sqrt(2)))])


def test_line_of_sight_to_a_target_elsewhere() -> None:
    assert line_of_sight([1.0, 0, 3], target=[1.0, 0, 1]) == (pytest.approx(0.0), pytest.approx(0.0))
    assert line_of_sight([1.0, 0, 1], target=[0.0, 0, 0])[0] == pytest.approx(45.0)


@pytest.mark.parametrize(
    ("angle", "wrapped"), [(0, 0), (180, 180), (-180, 180), (181, -179), (-181, 179), (540, 180), (359.5, -0.5), (-720, 0)]
)
def test_wrap(angle: float, wrapped: float) -> None:
    assert wrap_deg(angle) == pytest.approx(wrapped)


def test_wrap_keeps_nan_and_shape() -> None:
    assert np.isnan(wrap_deg(np.nan))
    assert wrap_deg(np.zeros((2, 3))).shape == (2, 3)


def test_angle_between_agrees_with_scipy() -> None:
    first, second = Rotation.random(N, random_state=7), Rotation.random(N, random_state=8)
    expected = np.degrees((first.inv() * second).magnitude())
    assert angle_between_deg(first.as_matrix(), second.as_matrix()) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("small_deg", [1e-7, 1e-4, 1e-2, 1.0])
def test_angle_between_stays_exact_for_small_angles(small_deg: float) -> None:
    start = posture_matrix(12, -30, 8)
    assert angle_between_deg(start, start @ posture_matrix(0, small_deg, 0)) == pytest.approx(small_deg, rel=1e-6)


def test_angle_between_equal_and_opposite() -> None:
    assert angle_between_deg(np.eye(3), np.eye(3)) == 0
    assert angle_between_deg(np.eye(3), np.diag([1.0, -1.0, -1.0])) == pytest.approx(180)
