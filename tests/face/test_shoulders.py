"""The shoulders belong to the face, follow the picture when it is turned or mirrored, and are refused where they are not seen."""

import numpy as np
import pytest

from posture.face.landmarker import NOT_OPEN
from posture.face.seen import FaceSeen, Window
from posture.face.shoulders import (
    DOWN_FACES,
    LEAST_ARM_VISIBILITY,
    LEAST_VISIBILITY,
    WINDOW_FACES,
    Body,
    LibraryShoulders,
    _blank_outside,
    _body_of,
    shoulders_of,
    window_below,
)
from tests.face.pictures import PHOTO_CENTRE_PX, PHOTO_FACE_PX, blank, made_face
from tests.proof.material import frame_of, see_face

WIDTH_PX, HEIGHT_PX = 640, 480

JITTER_PX, JITTER_DEG = 7.0, 3.0
"""How far the model's answer moves when the picture is the same but for the rounding of its pixels: about 5 px for a face of 108."""


@pytest.fixture(scope="module")
def photo_face(astronaut: np.ndarray) -> FaceSeen:
    face = see_face(astronaut)
    assert face is not None
    return face


def turned(face: FaceSeen, quarter_turns: int, side_px: int) -> FaceSeen:
    """The face in a square picture turned counter-clockwise."""
    points = face.points_px
    for _ in range(quarter_turns):
        points = np.stack([points[:, 1], side_px - 1 - points[:, 0]], 1)
    return FaceSeen(points, face.depth_px, 1, settled=True)


def body(**moved: tuple[float, float]) -> Body:
    """Somebody who stands straight with the arms hanging, shoulders 100 px apart; points by name may be moved."""
    names = {
        "right_shoulder": 12,
        "left_shoulder": 11,
        "right_elbow": 14,
        "left_elbow": 13,
        "right_wrist": 16,
        "left_wrist": 15,
    }
    points, deep = np.full((33, 2), 200.0), np.zeros((33, 3))
    for side, x in (("right", 270.0), ("left", 370.0)):
        for joint, y in (("shoulder", 200.0), ("elbow", 270.0), ("wrist", 330.0)):
            points[names[f"{side}_{joint}"]] = x, y
    for name, place in moved.items():
        points[names[name]] = place
    deep[[12, 11], 0] = -0.15, 0.15
    return Body(points, deep, np.ones(33))


def test_shoulders_of_a_photograph(astronaut: np.ndarray, photo_face: FaceSeen) -> None:
    with LibraryShoulders() as shoulders:
        seen = shoulders.look(frame_of(astronaut), photo_face)
    assert seen is not None
    right, left = seen.points_px
    # By eye: where the suit begins beside its wide collar, which is as near to the shoulders as can be seen here.
    assert right == pytest.approx([105, 230], abs=40)
    assert left == pytest.approx([310, 250], abs=40)
    assert seen.visibility > LEAST_VISIBILITY
    assert not seen.arm_raised


@pytest.mark.parametrize("quarter_turns", [1, 2, 3])
def test_person_who_lies_has_the_same_shoulders(astronaut: np.ndarray, photo_face: FaceSeen, quarter_turns: int) -> None:
    lying = turned(photo_face, quarter_turns, 512)
    with LibraryShoulders() as shoulders:
        upright = shoulders.look(frame_of(astronaut), photo_face)
        seen = shoulders.look(frame_of(np.rot90(astronaut, quarter_turns)), lying)
    assert upright is not None
    assert seen is not None
    points = upright.points_px
    for _ in range(quarter_turns):
        points = np.stack([points[:, 1], 511 - points[:, 0]], 1)
    assert seen.points_px == pytest.approx(points, abs=JITTER_PX)
    assert seen.turn_deg == pytest.approx(upright.turn_deg, abs=JITTER_DEG)


def test_mirrored_picture_has_mirrored_shoulders(astronaut: np.ndarray, photo_face: FaceSeen) -> None:
    swapped = photo_face.points_px * [-1, 1] + [511, 0]
    swapped[[33, 263]] = swapped[[263, 33]]
    mirrored = FaceSeen(swapped, photo_face.depth_px, 1, settled=True)
    with LibraryShoulders() as shoulders:
        plain = shoulders.look(frame_of(astronaut), photo_face)
        other = shoulders.look(frame_of(astronaut[:, ::-1]), mirrored)
    assert plain is not None
    assert other is not None
    assert other.points_px[::-1] * [-1, 1] + [511, 0] == pytest.approx(plain.points_px, abs=JITTER_PX)
    assert other.turn_deg == pytest.approx(-plain.turn_deg, abs=JITTER_DEG)


@pytest.mark.parametrize("height_px", [150, 170, 190, 210])
def test_shoulders_below_the_picture_are_not_seen(astronaut: np.ndarray, photo_face: FaceSeen, height_px: int) -> None:
    """The picture ends at the chin, the neck or above the shoulders."""
    with LibraryShoulders() as shoulders:
        assert shoulders.look(frame_of(astronaut[:height_px]), photo_face) is None


@pytest.mark.parametrize("quarter_turns", [0, 1, 2, 3])
def test_window_is_black_beyond_the_picture(quarter_turns: int) -> None:
    grey = frame_of(np.full((100, 60, 3), 90, np.uint8))
    window = Window(-20.0, -10.0, 200.0, 100, quarter_turns)
    inside = np.rot90(np.pad(np.full((50, 30), 90, np.uint8), ((5, 45), (10, 60))), quarter_turns)
    assert np.array_equal(_blank_outside(window.show(grey), window, grey)[..., 0], inside)


@pytest.mark.parametrize("away_px", [(70.0, 0.0), (-150.0, 60.0)], ids=["beside", "on the arm"])
def test_face_of_nobody_gets_nobody_s_shoulders(astronaut: np.ndarray, away_px: tuple[float, float]) -> None:
    stray = made_face(np.add(PHOTO_CENTRE_PX, away_px).tolist(), PHOTO_FACE_PX)
    with LibraryShoulders() as shoulders:
        assert shoulders.look(frame_of(astronaut), stray) is None


def test_empty_picture_has_none() -> None:
    with LibraryShoulders() as shoulders:
        assert shoulders.look(frame_of(blank(WIDTH_PX, HEIGHT_PX)), made_face((320, 150), 80)) is None


def test_looking_outside_of_with_is_refused(astronaut: np.ndarray, photo_face: FaceSeen) -> None:
    shoulders = LibraryShoulders()
    with pytest.raises(RuntimeError, match=NOT_OPEN):
        shoulders.look(frame_of(astronaut), photo_face)
    with shoulders:
        pass
    with pytest.raises(RuntimeError, match=NOT_OPEN):
        shoulders.look(frame_of(astronaut), photo_face)


def test_points_are_those_that_the_library_gives(astronaut: np.ndarray, photo_face: FaceSeen) -> None:
    """They are read out of its memory, so its own way must give the same."""
    pixels = window_below(photo_face).show(frame_of(astronaut))
    with LibraryShoulders() as shoulders:
        mine = shoulders.bodies(pixels)
        theirs = shoulders._task.detect(shoulders._image(pixels))
    assert len(mine) == len(theirs.pose_landmarks) == 1
    flat = np.array([[p.x * 256 - 0.5, p.y * 256 - 0.5] for p in theirs.pose_landmarks[0]])
    assert mine[0].points_px == pytest.approx(flat)
    assert mine[0].deep == pytest.approx(np.array([[p.x, p.y, p.z] for p in theirs.pose_world_landmarks[0]]))
    assert mine[0].visibility == pytest.approx(np.array([p.visibility for p in theirs.pose_landmarks[0]]))


@pytest.mark.parametrize(
    ("slope_deg", "quarter_turns", "down"),
    [(0, 0, (0, 1)), (45, 0, (0, 1)), (90, 1, (-1, 0)), (-85, 3, (1, 0)), (175, 2, (0, -1)), (-170, 2, (0, -1))],
)
def test_window_lies_below_the_face(slope_deg: float, quarter_turns: int, down: tuple[float, float]) -> None:
    face = made_face((300, 200), 80, slope_deg)
    window = window_below(face)
    assert window.quarter_turns == quarter_turns
    assert window.side_px == pytest.approx(WINDOW_FACES * face.size_px)
    assert window.middle_px - face.centre_px == pytest.approx(DOWN_FACES * face.size_px * np.array(down))


def test_of_two_bodies_the_one_with_the_face_is_taken() -> None:
    face = made_face((300, 150), 80)
    middle = (face.points_px[33] + face.points_px[263]) / 2

    def with_head(shift_px: tuple[float, float]) -> Body:
        points = body().points_px.copy()
        points[0], points[[2, 5]] = face.points_px[1] + shift_px, middle + shift_px
        return Body(points, np.zeros((33, 3)), np.ones(33))

    other, own, worse = with_head((110, 5)), with_head((3, -2)), with_head((-12, 4))
    assert _body_of(face, [other, worse, own]) is own
    assert _body_of(face, [other]) is None
    assert _body_of(face, []) is None


@pytest.mark.parametrize(
    ("moved", "raised"),
    [
        pytest.param({}, False, id="hanging"),
        pytest.param({"right_wrist": (300.0, 180.0)}, False, id="hand at the mouth, elbow low"),
        pytest.param({"left_elbow": (450.0, 205.0), "left_wrist": (520.0, 205.0)}, True, id="arm straight out"),
        pytest.param({"right_elbow": (220.0, 150.0), "right_wrist": (230.0, 90.0)}, True, id="arm up"),
        pytest.param({"right_wrist": (270.0, 140.0)}, True, id="hand over the head"),
    ],
)
def test_raised_arms_are_told(moved: dict[str, tuple[float, float]], raised: bool) -> None:
    seen = shoulders_of(body(**moved), WIDTH_PX, HEIGHT_PX)
    assert seen is not None
    assert seen.arm_raised is raised


def test_hidden_arm_is_not_said_to_be_raised() -> None:
    arm_up = body(left_elbow=(450.0, 150.0), left_wrist=(450.0, 90.0))
    arm_up.visibility[[13, 15]] = LEAST_ARM_VISIBILITY - 0.1
    seen = shoulders_of(arm_up, WIDTH_PX, HEIGHT_PX)
    assert seen is not None
    assert not seen.arm_raised


def test_heading_has_the_sign_of_a_turn() -> None:
    """Turned to the right, the right shoulder is the farther one."""
    right_back = body()
    right_back.deep[12, 2] = 0.1
    seen = shoulders_of(right_back, WIDTH_PX, HEIGHT_PX)
    assert seen is not None
    assert seen.turn_deg == pytest.approx(np.degrees(np.arctan2(0.1, 0.3)))


@pytest.mark.parametrize("place", [(-1.0, 200.0), (270.0, 480.0)], ids=["left of it", "below it"])
def test_shoulder_outside_the_picture_is_not_seen(place: tuple[float, float]) -> None:
    assert shoulders_of(body(right_shoulder=place), WIDTH_PX, HEIGHT_PX) is None


def test_hidden_shoulder_is_not_seen() -> None:
    hidden = body()
    hidden.visibility[11] = LEAST_VISIBILITY - 0.1
    assert shoulders_of(hidden, WIDTH_PX, HEIGHT_PX) is None
