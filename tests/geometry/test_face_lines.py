"""Lines and symmetry of a face whose asymmetry is known come back, whatever the posture, the place and the camera's roll."""

import numpy as np
import pytest

from posture.face.model import CanonicalFace, load_canonical_face
from posture.geometry.angles import MIRROR, mirror, posture_angles, posture_matrix
from posture.geometry.face_lines import (
    BROWS,
    LEFT_EYE,
    LIPS,
    LIPS_FORWARD_CM,
    MOUTH_CORNERS,
    MOUTH_FORWARD_CM,
    OUTER_CANTHI,
    RIGHT_EYE,
    face_lines,
    face_symmetry,
    meet_planes_cm,
    on_own_plane_cm,
    symmetry_of_corners,
)
from posture.geometry.fit import Camera, project

CAMERA = Camera(1280, 720, 1000.0)
POSTURES = [
    pytest.param((0.0, 0.0, 0.0), id="neutral"),
    pytest.param((40.0, 0.0, 0.0), id="tilt"),
    pytest.param((0.0, 25.0, 0.0), id="turn right"),
    pytest.param((0.0, -25.0, 0.0), id="turn left"),
    pytest.param((0.0, 0.0, 20.0), id="chin up"),
    pytest.param((-25.0, 20.0, -20.0), id="all three"),
]
PLACES = [pytest.param((0.0, 0.0, 60.0), id="centre"), pytest.param((-24.0, 14.0, 70.0), id="off centre, near")]


@pytest.fixture(scope="module")
def face() -> CanonicalFace:
    return load_canonical_face()


def slanted(face: CanonicalFace, eye_deg: float = 0.0, midface_deg: float = 0.0) -> np.ndarray:
    """The canonical face, its lips as far forward as they are seen, sheared in its frontal plane: its eye line rises by one angle,
    its mid-face line leans by the other."""
    vertices = face.vertices_cm.copy()
    vertices[list(LIPS), 2] += LIPS_FORWARD_CM
    vertices[:, 1] += np.tan(np.radians(eye_deg)) * face.vertices_cm[:, 0]
    vertices[:, 0] -= np.tan(np.radians(midface_deg)) * face.vertices_cm[:, 1]
    return vertices


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("posture", POSTURES)
@pytest.mark.parametrize(("eye_deg", "midface_deg"), [(0.0, 0.0), (4.0, 0.0), (0.0, 4.0), (-3.0, 5.0)])
def test_known_lines_come_back(
    face: CanonicalFace,
    posture: tuple[float, float, float],
    place: tuple[float, float, float],
    eye_deg: float,
    midface_deg: float,
) -> None:
    rotation, place_cm = posture_matrix(*posture), np.array(place)
    points = project(slanted(face, eye_deg, midface_deg), rotation, place_cm, CAMERA)
    lines = face_lines(points, rotation, place_cm, CAMERA, face)
    assert lines.eye_deg == pytest.approx(eye_deg, abs=0.02)
    assert lines.midface_deg == pytest.approx(midface_deg, abs=0.02)


@pytest.mark.parametrize("posture", POSTURES)
def test_line_gives_the_tilt_of_a_face_that_is_symmetric_about_it(
    face: CanonicalFace, posture: tuple[float, float, float]
) -> None:
    """A pose that is off by a roll is put right by either line."""
    rotation, place_cm = posture_matrix(*posture), np.array([5.0, -3.0, 60.0])
    points = project(slanted(face), rotation, place_cm, CAMERA)
    off = rotation @ posture_matrix(-3.0, 0.0, 0.0)
    lines = face_lines(points, off, place_cm, CAMERA, face)
    assert lines.eye_deg == pytest.approx(3.0, abs=0.02)
    assert lines.midface_deg == pytest.approx(3.0, abs=0.3)
    for slope_deg in (lines.eye_deg, lines.midface_deg):
        along = posture_angles(off @ posture_matrix(slope_deg, 0.0, 0.0))
        assert along[0] == pytest.approx(posture[0], abs=0.3)


def test_left_eye_raised_counts_as_tilt_to_the_right(face: CanonicalFace) -> None:
    points = project(face.vertices_cm, np.eye(3), np.array([0.0, 0.0, 60.0]), CAMERA)
    points[list(LEFT_EYE)] -= [0.0, 5.0]
    lines = face_lines(points, np.eye(3), np.array([0.0, 0.0, 60.0]), CAMERA, face)
    assert lines.eye_deg > 1.0
    assert lines.midface_deg == pytest.approx(0.0, abs=0.02)


def test_brows_towards_the_persons_right_count_as_tilt_to_the_right(face: CanonicalFace) -> None:
    points = project(face.vertices_cm, np.eye(3), np.array([0.0, 0.0, 60.0]), CAMERA)
    # The person's right is at the left of the picture.
    points[list(BROWS)] -= [5.0, 0.0]
    lines = face_lines(points, np.eye(3), np.array([0.0, 0.0, 60.0]), CAMERA, face)
    assert lines.midface_deg > 1.0
    assert lines.eye_deg == pytest.approx(0.0, abs=0.02)


def test_lips_that_lie_elsewhere_lean_the_line_as_the_head_turns(face: CanonicalFace) -> None:
    """What `LIPS_FORWARD_CM` is for: lips as far back as the canonical ones would lean it by about 3 degrees."""
    rotation, place_cm = posture_matrix(0.0, 20.0, 0.0), np.array([0.0, 0.0, 60.0])
    lines = face_lines(project(face.vertices_cm, rotation, place_cm, CAMERA), rotation, place_cm, CAMERA, face)
    assert 1.5 < abs(lines.midface_deg) < 3.5
    assert lines.eye_deg == pytest.approx(0.0, abs=0.02)


def test_mirrored_face_has_mirrored_lines(face: CanonicalFace) -> None:
    vertices = slanted(face, 3.0, -4.0)
    rotation, place_cm = posture_matrix(9.0, -14.0, 6.0), np.array([8.0, 4.0, 70.0])
    first = face_lines(project(vertices, rotation, place_cm, CAMERA), rotation, place_cm, CAMERA, face)
    swapped = [int(((face.vertices_cm - point * [-1, 1, 1]) ** 2).sum(1).argmin()) for point in face.vertices_cm]
    rotation, place_cm = mirror(rotation, place_cm)
    second = face_lines(project((vertices @ MIRROR)[swapped], rotation, place_cm, CAMERA), rotation, place_cm, CAMERA, face)
    assert second.eye_deg == pytest.approx(-first.eye_deg, abs=0.02)
    assert second.midface_deg == pytest.approx(-first.midface_deg, abs=0.02)


def test_points_of_both_sides_are_mirror_images(face: CanonicalFace) -> None:
    """Else a turned symmetric face would seem to lean."""
    for group in ((*RIGHT_EYE, *LEFT_EYE), LIPS, BROWS, OUTER_CANTHI, MOUTH_CORNERS):
        own = face.vertices_cm[list(group)]
        for point in own * [-1, 1, 1]:
            assert np.linalg.norm(own - point, axis=1).min() < 0.1


def test_points_on_their_planes_are_those_of_the_canonical_face(face: CanonicalFace) -> None:
    rotation, place_cm = posture_matrix(-12.0, 20.0, 10.0), np.array([-9.0, 5.0, 55.0])
    points = project(face.vertices_cm, rotation, place_cm, CAMERA)
    index = (1, 33, 152, 263)
    assert on_own_plane_cm(points, index, rotation, place_cm, CAMERA, face) == pytest.approx(
        face.vertices_cm[list(index)], abs=1e-6
    )


def test_line_of_sight_along_the_plane_meets_nothing() -> None:
    # In an exact profile the frontal plane is seen on edge; rounded so that no rest of a sine keeps the two apart.
    profile = np.rint(posture_matrix(0.0, 90.0, 0.0))
    assert np.isnan(meet_planes_cm(CAMERA.middle_px[None], np.array([3.0]), profile, np.array([0.0, 0.0, 60.0]), CAMERA)).all()


def test_pose_that_is_missing_gives_nan(face: CanonicalFace) -> None:
    points = project(face.vertices_cm, np.eye(3), np.array([0.0, 0.0, 60.0]), CAMERA)
    lines = face_lines(points, np.full((3, 3), np.nan), np.full(3, np.nan), CAMERA, face)
    assert np.isnan(lines.eye_deg)
    assert np.isnan(lines.midface_deg)


def uneven(face: CanonicalFace, slope: float = 0.0, shift_cm: float = 0.0) -> np.ndarray:
    """The canonical face, its mouth sloped so much and shifted to the person's left."""
    vertices = face.vertices_cm.copy()
    mouth = list(MOUTH_CORNERS)
    vertices[mouth, 2] += MOUTH_FORWARD_CM
    vertices[mouth, 1] += slope * vertices[mouth, 0]
    vertices[mouth, 0] += shift_cm
    return vertices


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("posture", POSTURES)
@pytest.mark.parametrize(("slope", "shift_cm"), [(0.0, 0.0), (0.05, 0.0), (-0.08, 0.3)])
def test_known_symmetry_comes_back(
    face: CanonicalFace, posture: tuple[float, float, float], place: tuple[float, float, float], slope: float, shift_cm: float
) -> None:
    vertices = uneven(face, slope, shift_cm)
    rotation, place_cm = posture_matrix(*posture), np.array(place)
    found = face_symmetry(project(vertices, rotation, place_cm, CAMERA), rotation, place_cm, CAMERA, face)
    right, left = (np.linalg.norm((vertices[a] - vertices[b])[:2]) for a, b in zip(OUTER_CANTHI, MOUTH_CORNERS, strict=True))
    assert found.angle_deg == pytest.approx(np.degrees(np.arctan(slope)), abs=0.1)
    assert found.relative_size == pytest.approx(right / left, abs=0.002)


def test_mouth_that_is_higher_on_the_left_counts_as_tilt_to_the_right_and_shortens_the_left() -> None:
    found = symmetry_of_corners(np.array([[-4.0, 3.0], [4.0, 3.0], [-2.0, -3.2], [2.0, -2.8]]))
    assert found.angle_deg == pytest.approx(np.degrees(np.arctan2(0.4, 4.0)))
    assert found.relative_size == pytest.approx(np.hypot(2, 6.2) / np.hypot(2, 5.8))


def test_tilt_of_the_whole_face_is_no_asymmetry(face: CanonicalFace) -> None:
    """A pose that is off by a roll moves nothing."""
    rotation, place_cm = posture_matrix(20.0, 5.0, 0.0), np.array([0.0, 0.0, 60.0])
    points = project(uneven(face, 0.05), rotation, place_cm, CAMERA)
    right, off = (
        face_symmetry(points, turned, place_cm, CAMERA, face)
        for turned in (rotation, rotation @ posture_matrix(-4.0, 0.0, 0.0))
    )
    assert off.angle_deg == pytest.approx(right.angle_deg, abs=0.1)
    assert off.relative_size == pytest.approx(right.relative_size, abs=0.005)


def test_corners_in_one_place_have_no_size() -> None:
    found = symmetry_of_corners(np.array([[-4.0, 3.0], [4.0, 3.0], [-4.0, 3.0], [2.0, -3.0]]))
    assert np.isnan(found.relative_size)


def test_symmetry_of_a_pose_that_is_missing_is_nan(face: CanonicalFace) -> None:
    points = project(face.vertices_cm, np.eye(3), np.array([0.0, 0.0, 60.0]), CAMERA)
    found = face_symmetry(points, np.full((3, 3), np.nan), np.full(3, np.nan), CAMERA, face)
    assert np.isnan([found.angle_deg, found.relative_size]).all()


@pytest.mark.parametrize("shape", [(33, 2), (478, 3), (468,)])
def test_points_of_half_a_face_are_refused(face: CanonicalFace, shape: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match=r"468 or more landmarks.*FaceSeen\.points_px"):
        face_lines(np.zeros(shape), np.eye(3), np.array([0.0, 0.0, 60.0]), CAMERA, face)
