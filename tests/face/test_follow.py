"""The follower finds a face, settles on it, keeps to it, and finds it again."""

from collections.abc import Iterator

import cv2
import numpy as np
import pytest

from posture.face.follow import FaceFollower, FaceSeen
from tests.proof.material import HEADS_MISSING, frame_of, heads_present, load_heads, see_face

RIGHT_EYE, LEFT_EYE, NOSE_TIP = 33, 263, 1


@pytest.fixture
def follower() -> Iterator[FaceFollower]:
    with FaceFollower() as opened:
        yield opened


@pytest.fixture(scope="module")
def seen(astronaut: np.ndarray) -> FaceSeen:
    found = see_face(astronaut)
    assert found is not None
    return found


def shifted(picture: np.ndarray, right_px: float, down_px: float) -> np.ndarray:
    return cv2.warpAffine(
        picture, np.array([[1, 0, right_px], [0, 1, down_px]], float), picture.shape[1::-1], borderMode=cv2.BORDER_REPLICATE
    )


def test_photograph_is_seen_and_settled(seen: FaceSeen) -> None:
    assert seen.points_px.shape == (478, 2)
    assert seen.depth_px.shape == (478,)
    assert seen.settled
    assert 2 <= seen.looks <= 5
    # Where the face is in this photograph.
    assert seen.centre_px == pytest.approx([225, 124], abs=8)
    assert 85 < seen.size_px < 135
    assert seen.points_px[RIGHT_EYE, 0] < seen.points_px[NOSE_TIP, 0] < seen.points_px[LEFT_EYE, 0]


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
    small = cv2.resize(astronaut[:220, 110:340], None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA)
    large = np.full((900, 1600, 3), 127, np.uint8)
    large[600 : 600 + small.shape[0], 1200 : 1200 + small.shape[1]] = small
    found = see_face(large)
    assert found is not None
    assert 1200 < found.centre_px[0] < 1200 + small.shape[1]
    assert 600 < found.centre_px[1] < 600 + small.shape[0]
    assert found.size_px == pytest.approx(0.6 * 108, rel=0.1)


def test_still_face_keeps_its_landmarks(follower: FaceFollower, astronaut: np.ndarray) -> None:
    seen = [follower.look(frame_of(astronaut, k / 15)) for k in range(4)]
    assert all(s is not None and s.settled for s in seen)
    assert follower.most_faces == 1
    for other in seen[1:]:
        assert other is not None
        assert seen[0] is not None
        assert np.linalg.norm(other.points_px - seen[0].points_px, axis=1).mean() < 0.01 * seen[0].size_px
        assert other.looks == 1


def test_moved_face_is_followed_and_not_delayed(follower: FaceFollower, astronaut: np.ndarray, seen: FaceSeen) -> None:
    follower.look(frame_of(astronaut, 0.0))
    for k, (right, down) in enumerate([(4, 0), (14, 6), (40, 20), (90, 60)], 1):
        found = follower.look(frame_of(shifted(astronaut, right, down), 1 + k / 15))
        assert found is not None
        moved = (found.points_px - seen.points_px).mean(0)
        assert moved == pytest.approx([right, down], abs=0.02 * seen.size_px)


def test_lost_face_is_no_face_and_is_found_again(follower: FaceFollower, astronaut: np.ndarray) -> None:
    blank = np.full_like(astronaut, 128)
    assert follower.look(frame_of(blank, 0.0)) is None
    assert follower.most_faces == 0
    assert follower.look(frame_of(astronaut, 1.0)) is not None
    assert follower.look(frame_of(blank, 1.1)) is None
    # Within half a second after a search, the picture is not searched again.
    assert follower.look(frame_of(astronaut, 5.9)) is not None
    assert follower.most_faces == 1


def test_false_find_does_not_hide_a_real_face(
    follower: FaceFollower, astronaut: np.ndarray, seen: FaceSeen, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The search may take something larger for a face; the face behind it must still be found."""
    blank_corner = (np.array([430.0, 60.0]), 150.0)
    picture = astronaut.copy()
    picture[:200, 330:] = 128
    monkeypatch.setattr(follower, "_search", lambda _: [blank_corner, (seen.centre_px, seen.size_px)])
    found = follower.look(frame_of(picture))
    assert found is not None
    assert found.centre_px == pytest.approx(seen.centre_px, abs=3)


def test_two_faces_are_counted_and_the_larger_is_followed(follower: FaceFollower, astronaut: np.ndarray) -> None:
    face = astronaut[:220, 110:340]
    picture = np.full((480, 960, 3), 127, np.uint8)
    picture[20 : 20 + 220, 40 : 40 + 230] = face
    larger = cv2.resize(face, None, fx=1.6, fy=1.6, interpolation=cv2.INTER_CUBIC)
    picture[60 : 60 + larger.shape[0], 500 : 500 + larger.shape[1]] = larger
    found = follower.look(frame_of(picture))
    assert found is not None
    assert found.centre_px[0] > 500
    assert follower.most_faces == 2


def test_closed_follower_raises(astronaut: np.ndarray) -> None:
    with pytest.raises(RuntimeError, match="Expected an open landmarker"):
        FaceFollower().look(frame_of(astronaut))
