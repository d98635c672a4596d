"""A projected canonical face is found again exactly; landmarks that are off are not believed blindly."""

import numpy as np
import pytest

from posture.face.model import CanonicalFace, load_canonical_face
from posture.geometry.angles import FACING, MIRROR, angle_between_deg, line_of_sight, posture_angles, posture_matrix
from posture.geometry.deviations import LEAST_CM, load_deviation_weights
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
EXTREMES = [
    pytest.param((0.0, 75.0, 0.0), id="profile right"),
    pytest.param((10.0, -80.0, 5.0), id="profile left"),
    pytest.param((0.0, 180.0, 180.0), id="upside down"),
    pytest.param((10.0, 165.0, 160.0), id="upside down and turned"),
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


def uneven_landmarks(face: CanonicalFace) -> tuple[np.ndarray, np.ndarray]:
    """Landmarks that deviate from the canonical face, in points and in depth."""
    points, depth = landmarks(face, posture_matrix(7.0, -15.0, 9.0), np.array([14.0, -6.0, 70.0]))
    rng = np.random.default_rng(12)
    return points + rng.normal(0, 2.0, points.shape), depth + rng.normal(0, 4.0, depth.shape)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("posture", [*POSTURES, *EXTREMES])
def test_fitted_face_is_found_again(
    face: CanonicalFace, posture: tuple[float, float, float], place: tuple[float, float, float]
) -> None:
    rotation = posture_matrix(*posture)
    pose = estimate_pose(*landmarks(face, rotation, np.array(place)), CAMERA, face)
    assert angle_between_deg(pose.rotation, rotation) < 0.02
    assert pose.place_cm == pytest.approx(place, abs=0.02)
    assert pose.reprojection_share < 1e-4
    assert pose.quality == 1.0


@pytest.mark.parametrize("posture", POSTURES[:8])
def test_points_whose_depth_is_wrong_do_not_flip_the_face(face: CanonicalFace, posture: tuple[float, float, float]) -> None:
    """Depth that is off by 12 degrees in turn and in chin moves the answer by less than half of that."""
    rotation = posture_matrix(*posture)
    points, _ = landmarks(face, rotation, np.array([0.0, 0.0, 60.0]))
    _, depth = landmarks(face, rotation @ posture_matrix(0.0, 12.0, 12.0), np.array([0.0, 0.0, 60.0]))
    pose = estimate_pose(points, depth, CAMERA, face)
    assert np.array(posture_angles(pose.rotation)) == pytest.approx(posture, abs=5.0)
    assert pose.disagreement_deg > 7.0


@pytest.mark.parametrize("roll_deg", [-170.0, -35.0, 25.0, 90.0, 180.0])
def test_picture_turned_in_its_plane_turns_the_rotation_alone(face: CanonicalFace, roll_deg: float) -> None:
    points, depth = uneven_landmarks(face)
    pose = estimate_pose(points, depth, CAMERA, face)
    c, s = np.cos(np.radians(roll_deg)), np.sin(np.radians(roll_deg))
    middle = np.array([CAMERA.width_px - 1, CAMERA.height_px - 1]) / 2
    turned = estimate_pose((points - middle) @ np.array([[c, s], [-s, c]]).T + middle, depth, CAMERA, face)
    assert angle_between_deg(turned.rotation, posture_matrix(roll_deg, 0.0, 0.0) @ pose.rotation) < 0.02
    assert turned.quality == pytest.approx(pose.quality, abs=0.01)


def test_mirrored_landmarks_give_the_mirrored_pose(face: CanonicalFace) -> None:
    """Rests on the table and the weights being the same for both sides."""
    points, depth = uneven_landmarks(face)
    swapped = [int(((face.vertices_cm - point * [-1, 1, 1]) ** 2).sum(1).argmin()) for point in face.vertices_cm]
    mirrored = (points * [-1, 1] + [CAMERA.width_px - 1, 0])[swapped]
    first, second = estimate_pose(points, depth, CAMERA, face), estimate_pose(mirrored, depth[swapped], CAMERA, face)
    assert angle_between_deg(second.rotation, MIRROR @ first.rotation @ MIRROR) < 0.02
    assert second.deviation == pytest.approx(first.deviation, rel=0.01)


def test_weights_of_deviations_are_those_of_a_likelihood() -> None:
    weights = load_deviation_weights()
    assert weights.shape == (99, 99)
    assert weights == pytest.approx(weights.T, rel=1e-6, abs=1e-6)
    assert np.linalg.eigvalsh(weights).min() > 0
    assert np.sqrt(1 / np.linalg.eigvalsh(weights).max()) >= LEAST_CM


def test_quality_falls_with_deviation_and_disagreement(face: CanonicalFace) -> None:
    points, depth = landmarks(face, posture_matrix(0, 10, 0), np.array([0.0, 0, 60.0]))
    rng = np.random.default_rng(11)
    noise = rng.normal(0, np.ptp(points[:, 1]), points.shape)
    quality = [estimate_pose(points + share * noise, depth, CAMERA, face).quality for share in (0.0, 0.004, 0.008, 0.05)]
    assert quality[0] == 1.0
    assert quality[-1] == 0.0
    assert (np.diff(quality) <= 0).all()
    assert quality[1] > quality[2] > quality[3]
    bent = estimate_pose(points, depth * 2.5, CAMERA, face)
    assert bent.disagreement_deg > 3.0
    assert bent.quality < 1.0


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
