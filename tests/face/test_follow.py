"""One face in its window: found whatever its angle, settled, kept, and never mixed up with its neighbour."""

import threading
import time
from collections.abc import Iterator, Sequence

import cv2
import numpy as np
import pytest

from posture.clip.frame import Frame
from posture.face import follow
from posture.face.faces import FacesFollower
from posture.face.follow import MAX_LOOKS, TURNED_DEG, FollowedFace, _alone, _turned, _turned_points
from posture.face.landmarker import LibraryLandmarker
from posture.face.seen import WINDOW_PX, FaceSeen, Picture, Window
from posture.face.two_ways import mirror_index
from tests.face.pictures import PHOTO_CENTRE_PX, PHOTO_FACE_PX, blank, moved, put
from tests.proof.material import HEADS_MISSING, frame_of, heads_present, load_astronaut, load_heads, see_face

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


@pytest.mark.parametrize("deg", [TURNED_DEG, -TURNED_DEG, 33.0])
@pytest.mark.parametrize("side_px", [128, 201])
def test_points_of_a_turned_picture_are_where_it_shows_them(deg: float, side_px: int) -> None:
    at = np.array([0.7, 0.4]) * side_px
    y, x = np.mgrid[:side_px, :side_px]
    spot = 200 * np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / 18)
    shown = _turned(np.repeat(spot[..., None], 3, axis=2).astype(np.uint8), deg)[..., 0].astype(float)
    centre = np.array([(shown * x).sum(), (shown * y).sum()]) / shown.sum()
    assert centre == pytest.approx(_turned_points(at[None], deg, side_px)[0], abs=0.1)
    assert _turned_points(_turned_points(at[None], deg, side_px), -deg, side_px)[0] == pytest.approx(at)
    # Counter-clockwise, as one looks at it: what is right of the middle goes up.
    right = _turned_points(np.array([[side_px - 1.0, (side_px - 1) / 2]]), 10.0, side_px)[0]
    assert right[1] < (side_px - 1) / 2


def test_turned_looks_see_the_same_face(face: FollowedFace, astronaut: np.ndarray) -> None:
    """Points put back wrongly would be too far away to count, and the mean would be what was settled on."""
    assert face.place(frame_of(astronaut), PHOTO_CENTRE, PHOTO_FACE_PX) is not None
    assert face.window is not None
    settled = face._settle(frame_of(astronaut), face.window, None)
    assert settled is not None
    assert face._raw is not None
    mean = face._also_turned(face.window, face._way, face._raw, settled)
    away = np.linalg.norm((mean - face._raw)[:, :2], axis=1).mean() / settled.size_px
    assert 0.0002 < away < 0.01


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


FILM_FACE_PX = 100.0
SLOW, FAST, JUMPED, GONE, BACK = slice(1, 7), slice(8, 15), 15, slice(20, 23), slice(23, 27)
"""Frames of the made-up film."""


def film() -> list[Frame]:
    """Shifted by 1 % of the face a frame, then by 5 %, then by half a face at once; still, gone, and back in its place."""
    steps = [(0.0, 0.0), *[(1.0, 0.5)] * 6, *[(5.0, -2.0)] * 8, (50.0, 0.0), *[(0.0, 0.0)] * 11]
    photo = load_astronaut()
    pictures = []
    for k, (x, y) in enumerate(200.0 + np.cumsum(steps, axis=0)):
        canvas = blank(640, 400)
        is_there = not GONE.start <= k < GONE.stop
        pictures.append(frame_of(put(canvas, photo, (x, y), FILM_FACE_PX) if is_there else canvas, k / 15))
    return pictures


class CountedFace(FollowedFace):
    """Keeps how often its window was placed anew."""

    placed = 0

    def place(self, *args: object, **kwargs: object) -> FaceSeen | None:
        self.placed += 1
        return super().place(*args, **kwargs)


def watch(pictures: Sequence[Picture], ahead: int) -> tuple[list[FaceSeen | None], list[Window], list[int]]:
    """What was seen in every frame, through which window, and how often that had been placed by then; so many frames ahead are given."""
    seen: list[FaceSeen | None] = []
    windows: list[Window] = []
    placed: list[int] = []
    with CountedFace() as face:
        for k, picture in enumerate(pictures):
            given = pictures[k + 1 : k + 1 + ahead]
            seen.append(face.look(picture, *given) if k else face.place(picture, np.array([200.0, 200.0]), FILM_FACE_PX))
            assert face.window is not None
            windows.append(face.window)
            placed.append(face.placed)
    return seen, windows, placed


def apart(one: FaceSeen, other: FaceSeen) -> float:
    """Mean distance of the landmarks of two, in face sizes."""
    return float(np.linalg.norm(one.points_px - other.points_px, axis=1).mean() / one.size_px)


@pytest.fixture(scope="module")
def ahead_and_not() -> tuple[list[FaceSeen | None], list[FaceSeen | None]]:
    """The film seen with and without looking ahead."""
    return watch(film(), ahead=2)[0], watch(film(), ahead=0)[0]


def test_looking_ahead_sees_the_same(ahead_and_not: tuple[list[FaceSeen | None], list[FaceSeen | None]]) -> None:
    gone = [GONE.start <= k < GONE.stop for k in range(27)]
    for seen in ahead_and_not:
        assert [found is None for found in seen] == gone
    for k, (one, other) in enumerate(zip(*ahead_and_not, strict=True)):
        assert (one is None) or (other is not None and apart(one, other) < 0.02), k


def test_looking_ahead_is_not_late(ahead_and_not: tuple[list[FaceSeen | None], list[FaceSeen | None]]) -> None:
    """Every step of the film is seen in the frame in which it happens."""
    for seen in ahead_and_not:
        centres = [found.centre_px if found is not None else np.full(2, np.nan) for found in seen]
        steps = np.diff(centres, axis=0)
        assert steps[:6] == pytest.approx(np.tile([1.0, 0.5], (6, 1)), abs=1.5)
        assert steps[6:14] == pytest.approx(np.tile([5.0, -2.0], (8, 1)), abs=1.5)
        assert steps[14] == pytest.approx([50.0, 0.0], abs=2.0)
        assert centres[BACK.start] == pytest.approx(centres[GONE.start - 1], abs=1.0)


def test_looking_ahead_costs_one_look_while_the_face_goes_steadily(
    ahead_and_not: tuple[list[FaceSeen | None], list[FaceSeen | None]],
) -> None:
    ahead, _ = ahead_and_not
    for part in (SLOW, FAST, slice(JUMPED + 1, GONE.start), slice(BACK.start + 1, BACK.stop)):
        assert [found.looks for found in ahead[part] if found is not None] == [1] * (part.stop - part.start)
    assert all(found.settled for found in ahead if found is not None)


def test_looking_ahead_sees_twice_the_same_to_the_last_digit(
    ahead_and_not: tuple[list[FaceSeen | None], list[FaceSeen | None]],
) -> None:
    """Also when a frame to come takes its time, and whether one is given or two: nothing depends on which thread is done first."""
    slow = [SlowFrame(picture) if k % 3 else picture for k, picture in enumerate(film())]
    for one, other in [pair for ahead in (1, 2) for pair in zip(ahead_and_not[0], watch(slow, ahead)[0], strict=True)]:
        assert (one is None) == (other is None)
        if one is not None and other is not None:
            assert np.array_equal(one.points_px, other.points_px)
            assert np.array_equal(one.depth_px, other.depth_px)
            assert one.looks == other.looks


class SlowFrame:
    """A frame that takes a while to give its pixels, and says when it was asked."""

    def __init__(self, frame: Frame, wait_s: float = 0.01) -> None:
        self.frame, self.wait_s = frame, wait_s
        self.time_s, self.width_px, self.height_px = frame.time_s, frame.width_px, frame.height_px
        self.asked, self.given = threading.Event(), threading.Event()

    def region_rgb(self, left_px: float, top_px: float, side_px: float, out_px: int) -> np.ndarray:
        self.asked.set()
        time.sleep(self.wait_s)
        self.given.set()
        return self.frame.region_rgb(left_px, top_px, side_px, out_px)

    def region_grey(self, left_px: float, top_px: float, side_px: float, out_px: int) -> np.ndarray:
        return self.frame.region_grey(left_px, top_px, side_px, out_px)


@pytest.mark.parametrize("wait_s", [0.0, 0.2], ids=["done", "going on"])
def test_look_at_a_frame_that_never_comes_is_dropped(face: FollowedFace, astronaut: np.ndarray, wait_s: float) -> None:
    before = face.place(frame_of(astronaut, 0.0), PHOTO_CENTRE, PHOTO_FACE_PX)
    assert before is not None
    never = SlowFrame(frame_of(moved(astronaut, -4, -3), 0.2), wait_s)
    face.look(frame_of(astronaut, 0.1), never)
    assert never.asked.wait(5)
    for k, right in enumerate((3, 5, 4)):
        found = face.look(frame_of(moved(astronaut, right, 1), 0.3 + 0.1 * k))
        assert found is not None
        assert (found.points_px - before.points_px).mean(0) == pytest.approx([right, 1], abs=1.5)


class WatchedLandmarker(LibraryLandmarker):
    """Notes when two look with it at once, or when it is made anew while one looks."""

    busy = most = 0

    def look(self, picture: np.ndarray) -> np.ndarray | None:
        self.busy += 1
        self.most = max(self.most, self.busy)
        time.sleep(0.05)
        try:
            return super().look(picture)
        finally:
            self.busy -= 1

    def forget(self) -> None:
        self.most = max(self.most, self.busy + 1)
        super().forget()


@pytest.mark.parametrize(
    "steps",
    [
        pytest.param([(1, 2), (2, 3), (3, 4), (4, None)], id="as said"),
        pytest.param([(1, None), (2, 3), (3, None)], id="now and then"),
        pytest.param([(1, 2), (3, 4), (4, 5), (6, 7)], id="some left out"),
    ],
)
def test_no_landmarker_is_used_by_two_looks_at_once(
    monkeypatch: pytest.MonkeyPatch, astronaut: np.ndarray, steps: list[tuple[int, int | None]]
) -> None:
    """Nor when the face is placed anew while the next frame is looked at."""
    made: list[WatchedLandmarker] = []

    def make() -> WatchedLandmarker:
        made.append(WatchedLandmarker())
        return made[-1]

    monkeypatch.setattr(follow, "LibraryLandmarker", make)
    with FollowedFace() as face:
        assert face.place(frame_of(astronaut, 0.0), PHOTO_CENTRE, PHOTO_FACE_PX) is not None
        for now, then in steps:
            given = () if then is None else (frame_of(astronaut, then / 10), frame_of(astronaut, then / 10 + 0.05))
            assert face.look(frame_of(astronaut, now / 10), *given) is not None
        # They are still being looked at when the face is placed anew.
        face.look(frame_of(astronaut, 0.6), *(SlowFrame(frame_of(astronaut, at), 0.03) for at in (0.7, 0.75)))
        assert len(face._ahead) == 2
        assert face.place(frame_of(astronaut, 0.8), PHOTO_CENTRE, PHOTO_FACE_PX) is not None
    assert [landmarker.most for landmarker in made] == [1, 1]


def test_leaving_while_a_look_goes_on_ends_cleanly(astronaut: np.ndarray) -> None:
    before = {thread.ident for thread in threading.enumerate()}
    following = SlowFrame(frame_of(astronaut, 0.2), 0.3)
    with FollowedFace() as face:
        face.place(frame_of(astronaut, 0.0), PHOTO_CENTRE, PHOTO_FACE_PX)
        face.look(frame_of(astronaut, 0.1), following)
        assert following.asked.wait(5)
        (ahead,) = face._ahead
        assert not ahead.looking.done()
    assert following.given.is_set()
    # The landmarker was still open when that look came to it.
    assert ahead.looking.exception(timeout=0) is None
    left = [t.name for t in threading.enumerate() if t.ident not in before and t.name.startswith("face-landmarker")]
    assert left == []
    with pytest.raises(RuntimeError, match="Expected an open landmarker"):
        face.look(frame_of(astronaut, 0.3))


@pytest.mark.parametrize("error", [KeyError("stop"), KeyboardInterrupt()], ids=["error", "interrupted"])
def test_leaving_on_an_error_passes_it_on(astronaut: np.ndarray, error: BaseException) -> None:
    following = SlowFrame(frame_of(astronaut, 0.2), 0.1)

    def fail() -> None:
        with FollowedFace() as face:
            face.place(frame_of(astronaut, 0.0), PHOTO_CENTRE, PHOTO_FACE_PX)
            face.look(frame_of(astronaut, 0.1), following)
            assert following.asked.wait(5)
            raise error

    with pytest.raises(type(error)):
        fail()
    assert following.given.is_set()


class BrokenFrame(SlowFrame):
    """A frame whose pixels cannot be read."""

    def region_rgb(self, left_px: float, top_px: float, side_px: float, out_px: int) -> np.ndarray:
        raise OSError("no pixels")


def test_failure_of_a_look_ahead_is_not_a_missing_face(face: FollowedFace, astronaut: np.ndarray) -> None:
    face.place(frame_of(astronaut, 0.0), PHOTO_CENTRE, PHOTO_FACE_PX)
    broken = BrokenFrame(frame_of(astronaut, 0.2))
    face.look(frame_of(astronaut, 0.1), broken)
    with pytest.raises(OSError, match="no pixels"):
        face.look(broken)
    assert face.place(frame_of(astronaut, 0.3), PHOTO_CENTRE, PHOTO_FACE_PX) is not None


@pytest.mark.parametrize("ahead", [0, 2], ids=["plain", "ahead"])
def test_window_goes_along_with_a_face_that_moves_steadily(astronaut: np.ndarray, ahead: int) -> None:
    """By 4 % of its size a frame, over more than its own size: one look a frame, and the window is never placed anew."""
    step = 0.04 * FILM_FACE_PX
    places = [(200.0 + step * k, 200.0) for k in range(30)]
    pictures = [frame_of(put(blank(640, 400), astronaut, at, FILM_FACE_PX), k / 15) for k, at in enumerate(places)]
    seen, windows, placed = watch(pictures, ahead)
    assert placed == [1] * 30
    assert all(found is not None for found in seen)
    assert [found.looks for found in seen[3:] if found is not None] == [1] * 27
    assert windows[-1].left_px - windows[0].left_px == pytest.approx(step * 29, abs=3 * step)
    assert {window.side_px for window in windows} == {windows[0].side_px}
    # Each of the two landmarkers has its window, so it is every other one that goes as far as the face.
    for k, (one, other) in enumerate(zip(windows[3:], windows[5:], strict=False)):
        assert other.left_px - one.left_px == pytest.approx(2 * step, abs=step), k
    for found, window in zip(seen, windows, strict=True):
        assert found is not None
        assert np.abs(found.centre_px - window.middle_px).max() < 0.18 * window.side_px


def test_window_of_a_still_face_keeps_still(astronaut: np.ndarray) -> None:
    """Landmarks tremble; the window does not follow that."""
    rng = np.random.default_rng(8)
    noisy = [np.clip(astronaut + rng.normal(0, 6, astronaut.shape), 0, 255).astype(np.uint8) for _ in range(6)]
    with FollowedFace() as face:
        face.place(frame_of(astronaut, 0.0), PHOTO_CENTRE, PHOTO_FACE_PX)
        placed = face.window
        for k, picture in enumerate(noisy, 1):
            assert face.look(frame_of(picture, k / 15)) is not None
            assert face.window == placed


def test_window_put_on_another_face_does_not_take_the_speed_of_the_one_before(astronaut: np.ndarray) -> None:
    """The centres of two faces, one after the other, are no movement."""
    first = frame_of(put(blank(640, 480), astronaut, (300, 240), 120), 0.0)
    other, later = (frame_of(put(blank(640, 480), astronaut, (320, 240), 120), t) for t in (0.1, 0.2))
    with FollowedFace() as face:
        assert face.place(first, np.array([300.0, 240.0]), 120.0) is not None
        assert face.place(other, np.array([320.0, 240.0]), 120.0) is not None
        window = face.window
        assert face.look(later) is not None
        assert face.window == window


def test_a_picture_and_its_mirror_image_are_seen_alike(astronaut: np.ndarray) -> None:
    """What is found is the mean of both ways, so that nothing favours one side of a face."""
    seen = []
    for picture in (astronaut, np.ascontiguousarray(astronaut[:, ::-1])):
        centre = PHOTO_CENTRE if picture is astronaut else np.array([astronaut.shape[1] - 1 - PHOTO_CENTRE[0], PHOTO_CENTRE[1]])
        with FollowedFace() as face:
            seen.append(face.place(frame_of(picture), centre, PHOTO_FACE_PX))
    assert seen[0] is not None
    assert seen[1] is not None
    back = seen[1].points_px[mirror_index()]
    back[:, 0] = astronaut.shape[1] - 1 - back[:, 0]
    away = back - seen[0].points_px
    # The window shifts all of them by a quarter of a pixel, which no angle feels.
    assert np.linalg.norm(away - away.mean(0), axis=1).mean() / seen[0].size_px < 0.001
