"""A projected canonical face is found again exactly; landmarks that are off are not believed blindly."""

import numpy as np
import pytest

from posture.face.model import CanonicalFace, load_canonical_face
from posture.geometry.angles import FACING, angle_between_deg, line_of_sight, posture_angles, posture_matrix
from posture.geometry.pose import Camera, angles_against_camera, estimate_pose, project, rotation_from_depth

CAMERA = Camera(1280, 720, 1000.0)

POSTURES = [
    pytest.param((0.0, 0.0, 0.0), id="neutral"),
    pytest.param((20.0, 0.0, 0.0), id="tilt right"),
    pytest.param((-20.0, 0.0, 0.0), id="tilt left"),
    pytest.param((0.0, 20.0, 0.0), id="turn right"),
    pytest.param((0.0, -20.0, 0.0), id="turn left"),
    pytest.param((0.0, 0.0, 20.0), id="chin up"),
    pytest.param((0.0, 0.0, -20.0), id="chin down"),
    pytest.param((-14.0, -12.0, -8.0), id="all three"),
    pytest.param((40.0, 35.0, -25.0), id="far"),
]
PLACES = [
    pytest.param((0.0, 0.0, 60.0), id="centre"),
    pytest.param((22.0, -10.0, 60.0), id="off centre"),
    pytest.param((-40.0, 20.0, 110.0), id="corner, small"),
]


@pytest.fixture(scope="module")
def face() -> CanonicalFace:
    return load_canonical_face()


def landmarks(face: CanonicalFace, rotation: np.ndarray, place_cm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points (468, 2) and the library's kind of depth: along the line of sight through the face, in pixels."""
    points = project(face.vertices_cm, rotation, place_cm, CAMERA)
    azimuth, elevation = line_of_sight(place_cm)
    against_sight = posture_matrix(0.0, azimuth, elevation).T @ rotation
    depth_cm = (face.vertices_cm @ (FACING @ against_sight).T)[:, 2]
    return points, depth_cm * CAMERA.focal_px / np.linalg.norm(place_cm)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("posture", POSTURES)
def test_fitted_face_is_found_again(
    face: CanonicalFace, posture: tuple[float, float, float], place: tuple[float, float, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("posture.geometry.pose.DEPTH_SHARE_OF_CHIN", 0.0)
    rotation = posture_matrix(*posture)
    pose = estimate_pose(*landmarks(face, rotation, np.array(place)), CAMERA, face)
    assert np.array(posture_angles(pose.rotation)) == pytest.approx(posture, abs=0.01)
    assert pose.place_cm == pytest.approx(place, abs=0.02)
    assert pose.reprojection_share < 1e-4


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("posture", POSTURES)
def test_depth_shares_in_chin_only(
    face: CanonicalFace, posture: tuple[float, float, float], place: tuple[float, float, float]
) -> None:
    """The depth of a real projection is not quite the model's (perspective), and moves chin by half of that at most."""
    points, depth = landmarks(face, posture_matrix(*posture), np.array(place))
    tilt, turn, chin = posture_angles(estimate_pose(points, depth, CAMERA, face).rotation)
    assert (tilt, turn) == (pytest.approx(posture[0], abs=0.01), pytest.approx(posture[1], abs=0.01))
    by_depth = posture_angles(rotation_from_depth(points, depth, CAMERA, face))[2]
    assert chin - posture[2] == pytest.approx((by_depth - posture[2]) / 2, abs=0.02)


@pytest.mark.parametrize("posture", POSTURES)
def test_depth_alone_finds_the_posture_of_a_distant_face(face: CanonicalFace, posture: tuple[float, float, float]) -> None:
    rotation = posture_matrix(*posture)
    points, depth = landmarks(face, rotation, np.array([0.0, 0.0, 3000.0]))
    assert angle_between_deg(rotation_from_depth(points, depth, CAMERA, face), rotation) < 0.3


def test_angles_are_against_the_line_of_sight(face: CanonicalFace) -> None:
    place = np.array([-25.0, 12.0, 70.0])
    azimuth, elevation = line_of_sight(place)
    rotation = posture_matrix(-6.0, 9.0 + azimuth, 4.0 + elevation)
    pose = estimate_pose(*landmarks(face, rotation, place), CAMERA, face)
    tilt, turn, chin = angles_against_camera(pose)
    assert (tilt, turn) == (pytest.approx(-6.0, abs=0.01), pytest.approx(9.0, abs=0.01))
    assert chin == pytest.approx(4.0, abs=1.0)


def test_face_height_and_place_do_not_depend_on_iris_points(face: CanonicalFace) -> None:
    points, depth = landmarks(face, posture_matrix(5, 5, 5), np.array([0.0, 0, 60.0]))
    with_iris = np.concatenate([points, np.full((10, 2), 5000.0)])
    first = estimate_pose(points, depth, CAMERA, face)
    second = estimate_pose(with_iris, np.concatenate([depth, np.zeros(10)]), CAMERA, face)
    assert first.face_height_px == second.face_height_px == pytest.approx(np.ptp(points[:, 1]))
    assert first.rotation == pytest.approx(second.rotation)


def test_points_that_are_no_face_show_in_the_fit(face: CanonicalFace) -> None:
    points, depth = landmarks(face, posture_matrix(0, 0, 0), np.array([0.0, 0, 60.0]))
    noise = np.random.default_rng(9).normal(0, 0.1 * np.ptp(points[:, 1]), points.shape)
    assert estimate_pose(points + noise, depth, CAMERA, face).reprojection_share > 0.05


def test_noise_of_a_pixel_moves_the_angles_little(face: CanonicalFace) -> None:
    truth = np.array([8.0, -12.0, 5.0])
    points, depth = landmarks(face, posture_matrix(*truth), np.array([3.0, 2.0, 60.0]))
    rng = np.random.default_rng(10)
    read = [
        posture_angles(estimate_pose(points + rng.normal(0, 1, points.shape), depth, CAMERA, face).rotation) for _ in range(40)
    ]
    assert (np.std(read, axis=0) < [0.4, 0.8, 0.8]).all()
    assert np.abs(np.mean(read, axis=0) - truth)[:2].max() < 0.3


def test_camera_matrix_puts_the_axis_through_the_middle() -> None:
    assert CAMERA.matrix == pytest.approx(np.array([[1000, 0, 639.5], [0, 1000, 359.5], [0, 0, 1.0]]))
    assert project(np.zeros((1, 3)), np.eye(3), np.array([0, 0, 50.0]), CAMERA) == pytest.approx(np.array([[639.5, 359.5]]))
