"""The shoulders belong to the face, follow the picture when it is turned or mirrored, and are refused where they are not seen."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest

from posture.face.bodies import Body
from posture.face.landmarker import NOT_OPEN
from posture.face.seen import FaceSeen, Window
from posture.face.shoulders import (
    DOWN_FACES,
    GONE_S,
    LEAST_ARM_VISIBILITY,
    LEAST_VISIBILITY,
    REST_S,
    WINDOW_FACES,
    LibraryShoulders,
    ShouldersSeen,
    _blank_outside,
    _body_of,
    shoulders_of,
    window_below,
)
from posture.face.two_ways import Way
from tests.face.pictures import PHOTO_CENTRE_PX, PHOTO_FACE_PX, blank, counted_searches, made_face
from tests.proof.material import frame_of, see_face

WIDTH_PX, HEIGHT_PX = 640, 480

JITTER_PX, JITTER_DEG = 7.0, 3.0
"""How far the model's answer moves when the picture is the same but for the rounding of its pixels: about 5 px for a face of 108."""

WAYS_PX = 35.0
"""How far the answers for the same picture lie apart, as it is and mirrored, for this wide suit."""


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


@dataclass
class Film:
    """Looks at a photograph as at a film of one, and counts how often bodies are searched for."""

    shoulders: LibraryShoulders
    picture: np.ndarray
    face: FaceSeen

    def __post_init__(self) -> None:
        self.searches = counted_searches(self.shoulders)

    def look(
        self, time_s: float, way: Way, stretch: int = 1, picture: np.ndarray | None = None
    ) -> tuple[ShouldersSeen | None, int]:
        """What was seen and how many searches it took."""
        before = len(self.searches)
        frame = frame_of(self.picture if picture is None else picture, time_s)
        seen = self.shoulders.look(frame, replace(self.face, stretch=stretch), (way,))
        return seen, len(self.searches) - before


@pytest.fixture
def film(astronaut: np.ndarray, photo_face: FaceSeen) -> Iterator[Film]:
    with LibraryShoulders() as shoulders:
        yield Film(shoulders, astronaut, photo_face)


def test_body_of_one_face_is_carried(film: Film) -> None:
    first, searches = film.look(0.0, 1)
    assert searches == 1
    assert first is not None
    for k in range(1, 5):
        seen, searches = film.look(0.4 * k, -1 if k % 2 else 1)
        assert searches == 0
        assert seen is not None
        assert seen.points_px == pytest.approx(first.points_px, abs=WAYS_PX)
        assert seen.visibility == pytest.approx(first.visibility, abs=0.05)


def test_another_face_s_body_is_searched_for_until_the_first_is_gone(film: Film) -> None:
    assert [film.look(t, 1, stretch)[1] for t, stretch in ((0.0, 1), (0.0, 2), (0.4, 1), (0.4, 2))] == [1, 1, 0, 1]
    # The first face was last looked at when that one was.
    assert [film.look(0.4 + GONE_S + t, 1, 2)[1] for t in (0.1, 0.5, 0.9)] == [1, 0, 0]


def test_lost_body_is_searched_for_and_not_carried_for_a_while(film: Film, astronaut: np.ndarray) -> None:
    empty = blank(astronaut.shape[1], astronaut.shape[0])
    film.look(0.0, 1)
    assert film.look(0.4, -1)[1] == 0
    assert film.look(0.8, 1, picture=empty) == (None, 1)
    assert [film.look(t, 1)[1] for t in (1.2, 0.8 + REST_S - 0.1, 0.8 + REST_S + 0.1, 0.8 + REST_S + 0.5)] == [1, 1, 1, 0]


def test_body_of_a_face_that_leans_far_is_searched_for_meanwhile(film: Film) -> None:
    upright = film.face
    assert [film.look(0.4 * k, 1)[1] for k in range(2)] == [1, 0]
    carried = film.shoulders._carried[1]._task
    for k in range(2, 6):
        points = _turned_points(upright.points_px, 30.0 if k < 5 else 0.0)
        film.face = FaceSeen(points, upright.depth_px, 1, settled=True)
        assert film.look(0.4 * k, 1)[1] == (1 if k < 5 else 0)
    # Nobody else's body was begun with, and nothing was opened again.
    assert film.shoulders._carried[1]._task is carried


def _turned_points(points: np.ndarray, deg: float) -> np.ndarray:
    """Points turned about the nose, which leaves the face where the body has it."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return np.asarray((points - points[1]) @ np.array([[c, s], [-s, c]]) + points[1])


def test_photograph_opens_nothing_to_carry_a_body_in(film: Film) -> None:
    film.shoulders.look(frame_of(film.picture), film.face)
    assert len(film.searches) == 2
    assert film.shoulders._of is None


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
