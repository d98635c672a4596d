"""The one page of axes, signs and words agrees with what the functions do."""

import numpy as np
import pytest

from posture import conventions
from posture.face.model import load_canonical_face
from posture.geometry.angles import camera_matrix, line_of_sight, mirror, posture_angles, posture_matrix, to_level
from posture.geometry.pose import Camera, project
from posture.summary.record import Interval
from posture.summary.words import say_angle

CAMERA = Camera(1280, 720, 1000.0)
PLACE_CM = np.array([0.0, 0.0, 60.0])

RIGHT_EYE, LEFT_EYE = 33, 263
"""Outer corners of the person's own eyes among the landmarks."""

NOSE_TIP, CHIN, FOREHEAD = 1, 152, 10


def seen(tilt_deg: float, turn_deg: float, chin_deg: float) -> np.ndarray:
    """Where the canonical face with a posture appears in the picture, (468, 2)."""
    return project(load_canonical_face().vertices_cm, posture_matrix(tilt_deg, turn_deg, chin_deg), PLACE_CM, CAMERA)


def test_person_facing_the_camera_has_the_right_eye_on_the_left_of_the_picture() -> None:
    points = seen(0, 0, 0)
    assert points[RIGHT_EYE, 0] < points[LEFT_EYE, 0]
    assert points[FOREHEAD, 1] < points[CHIN, 1]


def test_positive_tilt_lowers_the_right_eye() -> None:
    points = seen(15, 0, 0)
    assert points[RIGHT_EYE, 1] > points[LEFT_EYE, 1]
    slope = np.degrees(np.arctan2(*(points[RIGHT_EYE] - points[LEFT_EYE])[::-1] * [1, -1]))
    assert slope == pytest.approx(15, abs=0.01)


def test_positive_turn_moves_the_nose_to_the_persons_right() -> None:
    straight, turned = seen(0, 0, 0), seen(0, 15, 0)
    # The person's right is on the left of the picture.
    assert turned[NOSE_TIP, 0] < straight[NOSE_TIP, 0] - 10


def test_positive_chin_lifts_the_nose() -> None:
    straight, lifted = seen(0, 0, 0), seen(0, 0, 15)
    assert lifted[NOSE_TIP, 1] < straight[NOSE_TIP, 1] - 10


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("tilt", 14.2, "14 degrees to the child's right shoulder"),
        ("tilt", -14.2, "14 degrees to the child's left shoulder"),
        ("turn", 1.0, "1 degree to the child's right"),
        ("turn", -12.0, "12 degrees to the child's left"),
        ("chin", 8.0, "chin up by 8 degrees"),
        ("chin", -8.0, "chin down by 8 degrees"),
        ("tilt", -0.4, "upright"),
        ("turn", 0.4, "straight ahead"),
        ("chin", 0.0, "level"),
    ],
)
def test_words_agree_with_signs(name: str, value: float, words: str) -> None:
    assert say_angle(name, Interval(value=value, low=value - 1, high=value + 1)) == words


def down_in_picture(before: np.ndarray, after: np.ndarray, point: int) -> float:
    """By how many pixels a point went down."""
    return float(after[point, 1] - before[point, 1])


@pytest.mark.parametrize("value", [-12.0, 12.0])
def test_words_are_true_of_the_picture(value: float) -> None:
    """The word follows from where points go in the picture, not from the sign."""
    angle = Interval(value=value, low=value - 1, high=value + 1)
    before = seen(0, 0, 0)
    lower_eye = "right" if down_in_picture(before, seen(value, 0, 0), RIGHT_EYE) > 0 else "left"
    assert f"child's {lower_eye} shoulder" in say_angle("tilt", angle)
    # A person who faces the camera has the own right on the left of the picture.
    nose_to = "right" if seen(0, value, 0)[NOSE_TIP, 0] < before[NOSE_TIP, 0] else "left"
    assert say_angle("turn", angle).endswith(f"child's {nose_to}")
    nose_goes = "down" if down_in_picture(before, seen(0, 0, value), NOSE_TIP) > 0 else "up"
    assert say_angle("chin", angle).startswith(f"chin {nose_goes}")


def test_three_angles_are_in_the_stated_order() -> None:
    tilt, turn, chin = np.radians([11.0, -23.0, 7.0])
    ry = np.array([[np.cos(-turn), 0, np.sin(-turn)], [0, 1, 0], [-np.sin(-turn), 0, np.cos(-turn)]])
    rz = np.array([[np.cos(tilt), -np.sin(tilt), 0], [np.sin(tilt), np.cos(tilt), 0], [0, 0, 1]])
    rx = np.array([[1, 0, 0], [0, np.cos(-chin), -np.sin(-chin)], [0, np.sin(-chin), np.cos(-chin)]])
    assert posture_matrix(11.0, -23.0, 7.0) == pytest.approx(ry @ rz @ rx, abs=1e-12)


def test_tilt_is_the_elevation_of_the_ear_to_ear_axis_and_turn_its_heading() -> None:
    rotation = posture_matrix(11.0, -23.0, 7.0)
    to_left_ear = rotation @ [1.0, 0, 0]
    # Tilt to the right raises the left ear.
    assert np.degrees(np.arcsin(to_left_ear[1])) == pytest.approx(11.0)
    assert np.degrees(np.arctan2(to_left_ear[2], to_left_ear[0])) == pytest.approx(-23.0)


def test_turning_the_picture_is_a_rotation_from_the_left() -> None:
    """The landmarks of a picture turned counter-clockwise are those of the posture Rz(a) R."""
    angle, rotation, place = 17.0, posture_matrix(9, -14, 6), np.array([8.0, -5.0, 70.0])
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    rz = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    middle = (np.array([CAMERA.width_px, CAMERA.height_px]) - 1) / 2
    vertices = load_canonical_face().vertices_cm
    # In a picture, y points down: counter-clockwise as you look at it.
    turned = (project(vertices, rotation, place, CAMERA) - middle) @ np.array([[c, s], [-s, c]]).T + middle
    moved_place = np.array([c * place[0] + s * place[1], -s * place[0] + c * place[1], place[2]])
    assert project(vertices, rz @ rotation, moved_place, CAMERA) == pytest.approx(turned, abs=1e-9)
    level, level_place = to_level(rz @ rotation, moved_place, roll_deg=angle)
    assert level == pytest.approx(rotation, abs=1e-12)
    assert level_place == pytest.approx(place, abs=1e-12)


def test_turned_picture_is_pure_tilt_only_for_a_face_that_is_not_turned() -> None:
    rz = posture_matrix(10, 0, 0)
    assert np.array(posture_angles(rz @ posture_matrix(3, 0, 0))) == pytest.approx([13, 0, 0])
    tilt, turn, chin = posture_angles(rz @ posture_matrix(3, 25, 0))
    assert abs(tilt - 13) > 0.5
    assert abs(turn - 25) + abs(chin) > 0.5


def test_mirrored_picture_negates_tilt_and_turn_and_keeps_chin() -> None:
    rotation, place = posture_matrix(9, -14, 6), np.array([8.0, -5.0, 70.0])
    mirrored, mirrored_place = mirror(rotation, place)
    assert np.array(posture_angles(mirrored)) == pytest.approx([-9, 14, 6])
    assert mirrored_place == pytest.approx([-8.0, -5.0, 70.0])
    vertices = load_canonical_face().vertices_cm
    picture = project(vertices, rotation, place, CAMERA)
    flipped = project(vertices * [-1, 1, 1], mirrored, mirrored_place, CAMERA)
    assert flipped[:, 0] == pytest.approx(CAMERA.width_px - 1 - picture[:, 0], abs=1e-9)
    assert flipped[:, 1] == pytest.approx(picture[:, 1], abs=1e-9)


def test_camera_that_looks_down_sees_the_worked_example_of_the_design() -> None:
    """Tilt -14, turn -12, chin -8 filmed from 20 degrees above reads about -9, -16, -28."""
    facing = np.diag([1.0, -1.0, -1.0])
    as_seen = facing @ camera_matrix(0.0, 20.0) @ facing @ posture_matrix(-14, -12, -8)
    assert np.array(posture_angles(as_seen)) == pytest.approx([-9, -16, -28], abs=0.6)
    level, _ = to_level(as_seen, [0.0, 0.0, 1.0], pitch_deg=20.0)
    assert np.array(posture_angles(level)) == pytest.approx([-14, -12, -8])


def test_camera_that_looks_down_sees_a_level_face_with_the_chin_down() -> None:
    facing = np.diag([1.0, -1.0, -1.0])
    as_seen = facing @ camera_matrix(0.0, 15.0) @ facing @ posture_matrix(0, 0, 0)
    assert np.array(posture_angles(as_seen)) == pytest.approx([0, 0, -15])


def test_unknown_pitch_falsifies_the_tilt_of_a_turned_head() -> None:
    """Turn 25 under a camera pitched 15: 6.3 degrees of tilt that is not there."""
    level, _ = to_level(posture_matrix(0, 25, 0), [0.0, 0.0, 1.0], pitch_deg=15.0)
    tilt = abs(float(posture_angles(level)[0]))
    assert tilt == pytest.approx(6.3, abs=0.05)
    assert np.sin(np.radians(tilt)) == pytest.approx(np.sin(np.radians(25)) * np.sin(np.radians(15)))


def test_face_in_a_corner_that_looks_into_the_camera_is_straight() -> None:
    place = np.array([20.0, 12.0, 60.0])
    azimuth, elevation = line_of_sight(place)
    looking = posture_matrix(0, azimuth, elevation) @ [0, 0, 1.0]
    # Person-facing basis: y up and z towards the camera, so the way back to the camera is this.
    to_camera = np.array([-place[0], place[1], place[2]])
    assert looking == pytest.approx(to_camera / np.linalg.norm(to_camera))


def test_disclaimer_and_threshold_are_those_of_the_clinic() -> None:
    assert conventions.STRAIGHT_DEG == 5.0
    assert "Not a diagnosis" in conventions.DISCLAIMER
    assert "not been clinically validated" in conventions.DISCLAIMER
