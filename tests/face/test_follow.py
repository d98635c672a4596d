"""One face in its window: found whatever its angle, settled, kept, and never mixed up with its neighbour."""

from collections.abc import Iterator

import cv2
import numpy as np
import pytest

from posture.face.faces import FacesFollower
from posture.face.follow import MAX_LOOKS, FollowedFace, _alone
from posture.face.seen import WINDOW_PX, FaceSeen
from tests.face.pictures import PHOTO_CENTRE_PX, PHOTO_FACE_PX, blank, moved, put
from tests.proof.material import HEADS_MISSING, frame_of, heads_present, load_heads, see_face

RIGHT_EYE, LEFT_EYE, NOSE_TIP = 33, 263, 1
PHOTO_CENTRE = np.array(PHOTO_CENTRE_PX)


@pytest.fixture(scope="module")
def follower() -> Iterator[FacesFollower]:
    with FacesFollower() as opened:
        yield opened


@pytest.fixture(scope="module")
def face() -> Iterator[FollowedFace]:
    """Placed anew by every test that uses it."""
    with FollowedFace() as opened:
        yield opened


@pytest.fixture(scope="module")
def seen(astronaut: np.ndarray) -> FaceSeen:
    found = see_face(astronaut)
    assert found is not None
    return found


def test_photograph_is_seen_and_settled(seen: FaceSeen) -> None:
    assert seen.points_px.shape == (478, 2)
    assert seen.depth_px.shape == (478,)
    assert seen.settled
    assert 2 <= seen.looks <= MAX_LOOKS
    assert seen.stretch == 1
    # Where the face is in this photograph.
    assert seen.centre_px == pytest.approx(PHOTO_CENTRE, abs=8)
    assert seen.size_px == pytest.approx(PHOTO_FACE_PX, rel=0.1)
    assert seen.points_px[RIGHT_EYE, 0] < seen.points_px[NOSE_TIP, 0] < seen.points_px[LEFT_EYE, 0]
    assert seen.depth_px[NOSE_TIP] < min(seen.depth_px[[RIGHT_EYE, LEFT_EYE]])


@pytest.mark.skipif(not heads_present(), reason=HEADS_MISSING)
def test_rendered_head_is_seen_where_it_is() -> None:
    heads = load_heads()
    camera = heads.Camera()
    picture = heads.render(heads.load("child_a"), np.eye(3), camera, (0.15, 0.05, 0.9))
    found = see_face(picture)
    assert found is not None
    assert found.settled
    expected = np.array([camera.width / 2 + 1000 * 0.15 / 0.9, camera.height / 2 + 1000 * 0.05 / 0.9])
    assert np.abs(found.centre_px - expected).max() < 0.8 * found.size_px


def test_small_face_in_a_large_picture_is_found(astronaut: np.ndarray) -> None:
    found = see_face(put(blank(1600, 900), astronaut, (1320, 680), 65))
    assert found is not None
    assert found.centre_px == pytest.approx([1320, 680], abs=6)
    assert found.size_px == pytest.approx(65, rel=0.1)


@pytest.mark.parametrize("turned_deg", [0, 45, 90, 135, 180, -90])
def test_turned_face_is_found_with_its_slope(astronaut: np.ndarray, seen: FaceSeen, turned_deg: float) -> None:
    """Turned counter-clockwise, the left eye rises: the slope falls by as much."""
    found = see_face(put(blank(640, 480), astronaut, (330, 230), 130, turned_deg))
    assert found is not None
    off_deg = (found.slope_deg - (seen.slope_deg - turned_deg) + 180) % 360 - 180
    assert abs(off_deg) < 3
    assert found.centre_px == pytest.approx([330, 230], abs=15)
    assert found.settled


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_turned_window_sees_the_same_landmarks(face: FollowedFace, astronaut: np.ndarray, quarters: int) -> None:
    upright = face.place(frame_of(astronaut), PHOTO_CENTRE, PHOTO_FACE_PX)
    assert upright is not None
    expected = upright.points_px
    centre = PHOTO_CENTRE
    for _ in range(quarters):
        expected = np.stack([expected[:, 1], 511 - expected[:, 0]], 1)
        centre = np.array([centre[1], 511 - centre[0]])
    turned = frame_of(np.ascontiguousarray(np.rot90(astronaut, quarters)))
    found = face.place(turned, centre, PHOTO_FACE_PX, 4 - quarters)
    assert found is not None
    assert np.linalg.norm(found.points_px - expected, axis=1).mean() < 0.01 * PHOTO_FACE_PX
    assert found.depth_px == pytest.approx(upright.depth_px, abs=0.03 * PHOTO_FACE_PX)


@pytest.mark.parametrize("apart", [1.3, 1.6, 2.5])
def test_two_faces_in_one_window_are_not_mixed_up(face: FollowedFace, astronaut: np.ndarray, apart: float) -> None:
    """Both are in sight of either window; the left one is the clearer and larger."""
    places = [(250.0, 240.0), (250.0 + apart * 110, 250.0)]
    picture = put(put(blank(720, 480), astronaut, places[1], 100), astronaut, places[0], 110)
    for (x, y), size in zip(places, (110, 100), strict=True):
        found = face.place(frame_of(picture), np.array([x, y]), size)
        assert found is not None
        assert found.centre_px == pytest.approx([x, y], abs=0.15 * size)
        assert found.size_px == pytest.approx(size, rel=0.12)
        for _ in range(3):
            again = face.look(frame_of(picture))
            assert again is not None
            assert again.centre_px == pytest.approx([x, y], abs=0.15 * size)


def test_surer_neighbour_is_not_taken(face: FollowedFace, astronaut: np.ndarray) -> None:
    """Beside a blurred face that leans, a sharp and upright one lies whole in its window."""
    blurred = np.asarray(cv2.GaussianBlur(astronaut, (0, 0), 4.0), np.uint8)
    picture = put(put(blank(640, 480), blurred, (300, 240), 130, 50), astronaut, (393, 307), 52)
    found = face.place(frame_of(picture), np.array([300.0, 240.0]), 130.0)
    assert found is not None
    assert found.centre_px == pytest.approx([300, 240], abs=20)
    assert found.size_px == pytest.approx(130, rel=0.2)


def test_place_beside_a_face_is_not_that_face(face: FollowedFace, astronaut: np.ndarray) -> None:
    picture = frame_of(put(blank(640, 480), astronaut, (200, 240), 100))
    assert face.place(picture, np.array([290.0, 240.0]), 100.0) is None
    assert face.place(picture, np.array([500.0, 240.0]), 100.0) is None
    # Nor is a smaller one in the corner of what is shown.
    assert face.place(picture, np.array([295.0, 335.0]), 200.0) is None
    assert face.place(picture, np.array([205.0, 235.0]), 100.0) is not None


def test_window_is_placed_again_around_a_face_of_another_size(face: FollowedFace, astronaut: np.ndarray) -> None:
    found = face.place(frame_of(put(blank(640, 480), astronaut, (300, 240), 140)), np.array([320.0, 250.0]), 90.0)
    assert found is not None
    assert face.window is not None
    assert face.window.side_px == pytest.approx(2.2 * 140, rel=0.1)
    assert np.abs(face.window.middle_px - found.centre_px).max() < 0.1 * found.size_px


def test_face_that_was_never_placed_is_not_seen(astronaut: np.ndarray) -> None:
    with FollowedFace() as new:
        assert new.look(frame_of(astronaut)) is None
        assert new.window is None


def test_only_the_middle_is_shown_at_first() -> None:
    pixels = np.random.default_rng(0).integers(0, 255, (WINDOW_PX, WINDOW_PX, 3)).astype(np.uint8)
    alone = _alone(pixels)
    same = (alone == pixels).all(2)
    middle = slice(70, WINDOW_PX - 70)
    assert same[middle, middle].all()
    rim = alone[:50].reshape(-1, 3)
    assert (rim == rim[0]).all()
    assert np.abs(rim[0].astype(float) - pixels[middle, middle].mean((0, 1))).max() < 3


def test_still_face_keeps_its_landmarks(follower: FacesFollower, astronaut: np.ndarray) -> None:
    seen = [follower.look(frame_of(astronaut, k / 15)) for k in range(4)]
    assert [len(faces) for faces in seen] == [1] * 4
    first = seen[0][0]
    for (other,) in seen[1:]:
        assert other.settled
        assert np.linalg.norm(other.points_px - first.points_px, axis=1).mean() < 0.01 * first.size_px
        assert other.looks == 1
        assert other.stretch == first.stretch


def test_moved_face_is_followed_and_not_delayed(astronaut: np.ndarray, seen: FaceSeen) -> None:
    with FacesFollower() as follower:
        follower.look(frame_of(astronaut, 0.0))
        for k, (right, down) in enumerate([(4, 0), (14, 6), (30, 20), (12, 30), (0, 18), (-20, 10)], 1):
            (found,) = follower.look(frame_of(moved(astronaut, right, down), k / 15))
            shift = (found.points_px - seen.points_px).mean(0)
            assert shift == pytest.approx([right, down], abs=0.02 * seen.size_px)
            assert found.stretch == 1


@pytest.mark.parametrize(("right", "down"), [(60, 0), (-50, 30), (0, 90)])
def test_face_that_jumps_is_seen_in_the_next_frame_at_the_latest(
    face: FollowedFace, astronaut: np.ndarray, right: int, down: int
) -> None:
    before = face.place(frame_of(astronaut), PHOTO_CENTRE, PHOTO_FACE_PX)
    assert before is not None
    jumped = frame_of(moved(astronaut, right, down))
    found = face.look(jumped) or face.look(jumped)
    assert found is not None
    assert found.centre_px - before.centre_px == pytest.approx([right, down], abs=3)


def test_slowly_turning_face_turns_its_window(face: FollowedFace, astronaut: np.ndarray) -> None:
    canvas = blank(640, 480)
    assert face.place(frame_of(put(canvas, astronaut, (320, 240), 120)), np.array([320.0, 240.0]), 120.0) is not None
    slopes = []
    for turned_deg in range(0, 105, 15):
        found = face.look(frame_of(put(canvas, astronaut, (320, 240), 120, turned_deg)))
        assert found is not None
        slopes.append(found.slope_deg)
    assert np.diff(slopes) == pytest.approx(-15, abs=3.5)
    assert face.window is not None
    assert face.window.quarter_turns == 3


def test_growing_face_grows_its_window(face: FollowedFace, astronaut: np.ndarray) -> None:
    canvas = blank(640, 480)
    face.place(frame_of(put(canvas, astronaut, (320, 240), 60)), np.array([320.0, 240.0]), 60.0)
    for size in (66, 75, 85, 98, 115, 135, 160, 190):
        found = face.look(frame_of(put(canvas, astronaut, (320, 240), size)))
        assert found is not None
        assert found.size_px == pytest.approx(size, rel=0.1)
    assert face.window is not None
    assert 2.2 * 190 / 1.5 < face.window.side_px < 2.2 * 190 * 1.5


def test_lost_face_is_no_face_and_is_found_again(follower: FacesFollower, astronaut: np.ndarray) -> None:
    empty = np.full_like(astronaut, 128)
    assert follower.look(frame_of(empty, 10.0)) == []
    (found,) = follower.look(frame_of(astronaut, 11.0))
    assert found.centre_px == pytest.approx(PHOTO_CENTRE, abs=8)
    assert follower.look(frame_of(empty, 11.1)) == []
    (again,) = follower.look(frame_of(astronaut, 15.9))
    assert again.stretch > found.stretch


def test_two_faces_are_seen_the_larger_first(astronaut: np.ndarray) -> None:
    picture = put(put(blank(960, 480), astronaut, (150, 140), 100), astronaut, (650, 240), 170)
    with FacesFollower() as follower:
        for k in range(3):
            larger, smaller = follower.look(frame_of(picture, k / 15))
            assert larger.centre_px == pytest.approx([650, 240], abs=12)
            assert smaller.centre_px == pytest.approx([150, 140], abs=8)
            assert {larger.stretch, smaller.stretch} == {1, 2}
        assert [s.number for s in follower.stretches] == [1, 2]
        assert all(s.portrait is not None for s in follower.stretches)


@pytest.mark.parametrize("blur", [0.0, 3.0], ids=["sharp", "blurred"])
def test_half_a_face_is_nothing_else(follower: FacesFollower, astronaut: np.ndarray, blur: float) -> None:
    """Where anything is seen of a face that is cut by the picture's edge, it lies there."""
    cut = np.ascontiguousarray(astronaut[:, 215:])
    picture = cv2.GaussianBlur(cut, (0, 0), blur) if blur else cut
    found = follower.look(frame_of(np.asarray(picture, np.uint8), 30.0 + blur))
    assert all(np.linalg.norm(face.centre_px - [10, 124]) < 80 for face in found)


def test_closed_follower_raises(astronaut: np.ndarray) -> None:
    with pytest.raises(RuntimeError, match="Expected an open landmarker"):
        FacesFollower().look(frame_of(astronaut))
    with FacesFollower() as follower:
        follower.look(frame_of(astronaut))
    with pytest.raises(RuntimeError, match="Expected an open landmarker"):
        follower.look(frame_of(astronaut, 1.0))
