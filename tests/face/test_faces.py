"""When stretches begin and end, what is tried and what is not: with a made-up world in place of pictures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest

from posture.face import faces
from posture.face.faces import BREAK_S, KEEP_WINDOW_S, MAX_FACES, REFUSED_S, SWEEP_EVERY_S, FacesFollower
from posture.face.landmarker import Find
from posture.face.seen import FaceSeen, Window
from tests.face.pictures import made_face

RATE_HZ = 10.0
SIZE = 80.0

Place = tuple[float, float, float]
"""Centre x, y and size of a face in pixels."""


@dataclass
class World:
    """A moment of the made-up world: its faces, and things that the detector takes for faces."""

    time_s: float
    faces: list[Place] = field(default_factory=list)
    things: list[Place] = field(default_factory=list)
    width_px: int = 1280
    height_px: int = 720

    def region_rgb(self, left_px: float, top_px: float, side_px: float, out_px: int) -> np.ndarray:
        return np.full((out_px, out_px, 3), 127, np.uint8)

    def region_grey(self, left_px: float, top_px: float, side_px: float, out_px: int) -> np.ndarray:
        return np.full((out_px, out_px), 127, np.uint8)


@dataclass
class Log:
    """What the follower asked for."""

    sweeps: list[float] = field(default_factory=list)
    tiles: list[tuple[float, int]] = field(default_factory=list)
    confirmed: list[tuple[float, float]] = field(default_factory=list)
    placed: list[tuple[float, float]] = field(default_factory=list)
    windows: int = 0


class MadeSearch:
    """Finds every face and thing; a thing passes the second look too, so that only the landmarks refuse it."""

    def __init__(self, log: Log) -> None:
        self.log = log

    def __enter__(self) -> MadeSearch:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def sweep(self, world: World, thorough: bool) -> list[Find]:
        self.log.sweeps.append(world.time_s)
        return self.finds(world)

    def glance(self, world: World, tiles: int) -> list[Find]:
        self.log.tiles.append((world.time_s, tiles))
        return self.finds(world)

    def confirm(self, world: World, find: Find) -> int | None:
        self.log.confirmed.append((world.time_s, float(find.centre_px[0])))
        return 0

    @staticmethod
    def finds(world: World) -> list[Find]:
        found = [Find(np.array([x, y]), size, 0.9) for x, y, size in [*world.faces, *world.things]]
        return sorted(found, key=lambda find: -find.size_px)


class MadeFace:
    """Sees the face nearest to the middle of its window, if one is within half the window."""

    def __init__(self, log: Log) -> None:
        self.log = log
        log.windows += 1
        self.window: Window | None = None
        self.pixels: np.ndarray | None = None

    def __enter__(self) -> MadeFace:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def place(self, world: World, centre_px: np.ndarray, size_px: float, quarter_turns: int = 0) -> FaceSeen | None:
        self.log.placed.append((world.time_s, float(centre_px[0])))
        self.window = Window.around(centre_px, size_px, quarter_turns)
        return self.look(world)

    def look(self, world: World, upcoming: World | None = None, later: World | None = None) -> FaceSeen | None:
        assert self.window is not None
        middle = self.window.middle_px
        self.pixels = self.window.show(world)
        near = [f for f in world.faces if np.linalg.norm(middle - f[:2]) < self.window.side_px / 2]
        if not near:
            return None
        x, y, size = min(near, key=lambda f: float(np.linalg.norm(middle - f[:2])))
        self.window = Window.around(np.array([x, y]), size)
        return made_face((x, y), size)


Watch = Callable[..., list[list[FaceSeen]]]


@pytest.fixture
def log(monkeypatch: pytest.MonkeyPatch) -> Log:
    kept = Log()
    monkeypatch.setattr(faces, "FaceSearch", lambda: MadeSearch(kept))
    monkeypatch.setattr(faces, "FollowedFace", lambda: MadeFace(kept))
    return kept


def run(worlds: list[World]) -> tuple[FacesFollower, list[list[FaceSeen]]]:
    """Look at moments one after the other."""
    with FacesFollower() as follower:
        return follower, [follower.look(world) for world in worlds]


def steady(n: int, *places: Place, start_s: float = 0.0, rate_hz: float = RATE_HZ) -> list[World]:
    """The same faces for n frames."""
    return [World(start_s + k / rate_hz, list(places)) for k in range(n)]


def numbers(seen: list[list[FaceSeen]]) -> list[list[int]]:
    """Stretches in every frame."""
    return [sorted(face.stretch for face in found) for found in seen]


def test_one_face_is_one_stretch(log: Log) -> None:
    follower, seen = run(steady(20, (300, 300, SIZE)))
    assert numbers(seen) == [[1]] * 20
    (stretch,) = follower.stretches
    assert stretch.times_s == [k / RATE_HZ for k in range(20)]
    assert np.array(stretch.places)[:, :3] == pytest.approx(np.tile([300, 300, SIZE], (20, 1)))
    assert not stretch.met_at_start
    assert not stretch.met_at_end
    assert len(log.sweeps) == 1


def test_faces_come_the_largest_first_with_the_number_of_their_stretch(log: Log) -> None:
    follower, seen = run(steady(5, (300, 300, 50.0), (700, 300, 120.0), (1000, 300, 80.0)))
    assert [[round(face.size_px) for face in found] for found in seen] == [[120, 80, 50]] * 5
    assert [[face.stretch for face in found] for found in seen] == [[1, 2, 3]] * 5
    assert [s.number for s in follower.stretches] == [1, 2, 3]
    assert log.windows == 3


@pytest.mark.parametrize(("step_px", "stretches"), [(0.5 * SIZE, [1]), (0.7 * SIZE, [1, 2])])
def test_jump_ends_a_stretch(log: Log, step_px: float, stretches: list[int]) -> None:
    follower, seen = run([*steady(5, (300, 300, SIZE)), *steady(5, (300 + step_px, 300, SIZE), start_s=0.5)])
    assert [len(found) for found in seen] == [1] * 10
    assert [s.number for s in follower.stretches] == stretches
    assert seen[5][0].stretch == stretches[-1]


@pytest.mark.parametrize(("ratio", "stretches"), [(1.3, 1), (1 / 1.3, 1), (1.5, 2), (1 / 1.5, 2)])
def test_sudden_growth_ends_a_stretch(log: Log, ratio: float, stretches: int) -> None:
    follower, seen = run([*steady(5, (300, 300, SIZE)), *steady(5, (300, 300, ratio * SIZE), start_s=0.5)])
    assert [len(found) for found in seen] == [1] * 10
    assert len(follower.stretches) == stretches


@pytest.mark.parametrize(("gap_s", "stretches"), [(BREAK_S - 0.1, 1), (BREAK_S + 0.15, 2), (3.0, 2)])
def test_time_out_of_sight_ends_a_stretch(log: Log, gap_s: float, stretches: int) -> None:
    """Frames without the face lie in the gap."""
    rate = 20.0
    gone = round(gap_s * rate) - 1
    before, between = steady(10, (300, 300, SIZE), rate_hz=rate), steady(gone, start_s=10 / rate, rate_hz=rate)
    after = steady(30, (300, 300, SIZE), start_s=(10 + gone) / rate, rate_hz=rate)
    follower, seen = run([*before, *between, *after])
    assert all(found == [] for found in seen[10 : 10 + gone])
    assert seen[-1] != []
    assert len(follower.stretches) == stretches


@pytest.mark.parametrize("step_s", [0.5, 2.0, 30.0])
def test_frames_far_apart_end_no_stretch(log: Log, step_s: float) -> None:
    follower, seen = run(steady(6, (300, 300, SIZE), rate_hz=1 / step_s))
    assert numbers(seen) == [[1]] * 6
    assert len(follower.stretches) == 1


def crossing() -> list[World]:
    """Two faces pass each other; the right-hand one is hidden while it is behind."""
    worlds = []
    for k in range(41):
        left, right = 300.0 + 20 * k, 1100.0 - 20 * k
        both = [(left, 300.0, SIZE), (right, 300.0, 0.9 * SIZE)]
        worlds.append(World(k / RATE_HZ, both if abs(left - right) > 0.5 * SIZE else both[:1]))
    return worlds


def test_coming_together_ends_both_stretches(log: Log) -> None:
    follower, seen = run(crossing())
    first, second, *later = follower.stretches
    assert first.met_at_end
    assert second.met_at_end
    assert not first.met_at_start
    assert not second.met_at_start
    # Neither number is used after the meeting: whose face it is, is decided when the whole film is known.
    apart_again = [numbers(seen)[k] for k in range(25, 41)]
    assert {1, 2} & {n for found in apart_again for n in found} == set()
    assert later[0].met_at_start
    assert numbers(seen)[-1] != []
    assert len(seen[-1]) == 2
    # Nobody is followed twice in the meantime.
    for found in seen:
        places = [face.centre_px for face in found]
        assert all(np.linalg.norm(a - b) > 0.4 * SIZE for k, a in enumerate(places) for b in places[:k])


def test_frames_about_a_meeting_do_not_count(log: Log) -> None:
    follower, _ = run(crossing())
    first = follower.stretches[0]
    assert first.counts(first.first_s)
    assert not first.counts(first.last_s)
    assert not first.counts(first.last_s - 0.1)
    assert first.counts(first.last_s - 0.3)
    after = next(s for s in follower.stretches if s.met_at_start)
    assert not after.counts(after.first_s + 0.1)
    assert after.counts(after.first_s + 0.3)


def test_refused_place_is_not_tried_again_at_once(log: Log) -> None:
    """A clock on the wall: the detector takes it for a face, the landmarks do not."""
    n = 60
    worlds = [World(k / RATE_HZ, [(300, 300, SIZE)], [(900, 200, 60.0)]) for k in range(n)]
    _, seen = run(worlds)
    assert numbers(seen) == [[1]] * n
    tried = [at for at, x in log.placed if x == 900]
    assert len(tried) == pytest.approx(worlds[-1].time_s / REFUSED_S, abs=1.1)
    assert np.diff(tried).min() >= REFUSED_S - 1e-9
    assert [x for _, x in log.confirmed].count(300) == 1


def test_refused_place_does_not_keep_a_face_from_being_found(log: Log) -> None:
    """Something larger is tried first and refused; the face beside it is found in the same frame."""
    _, seen = run([World(0.0, [(500, 300, SIZE)], [(300, 300, 150.0)])])
    assert [face.centre_px.tolist() for face in seen[0]] == [pytest.approx([500, 300])]


def test_no_more_faces_than_can_be_followed(log: Log) -> None:
    places = [(150.0 + 180 * k, 300.0, SIZE) for k in range(MAX_FACES + 2)]
    follower, seen = run(steady(30, *places))
    assert [len(found) for found in seen] == [MAX_FACES] * 30
    assert log.windows == MAX_FACES
    assert len(follower.stretches) == MAX_FACES
    # Those found first stay.
    assert numbers(seen) == [list(range(1, MAX_FACES + 1))] * 30


def test_place_of_a_face_that_left_is_free_for_another(log: Log) -> None:
    places = [(150.0 + 180 * k, 300.0, SIZE) for k in range(MAX_FACES + 1)]
    follower, seen = run([*steady(10, *places), *steady(60, *places[1:], start_s=1.0)])
    assert len(seen[-1]) == MAX_FACES
    assert {round(face.centre_px[0]) for face in seen[-1]} == {round(x) for x, *_ in places[1:]}
    assert log.windows == MAX_FACES
    assert len(follower.stretches) == MAX_FACES + 1


def test_empty_picture_is_searched_now_and_then(log: Log) -> None:
    worlds = steady(50)
    _, seen = run(worlds)
    assert seen == [[]] * 50
    assert np.diff(log.sweeps).min() >= SWEEP_EVERY_S - 1e-9
    assert len(log.sweeps) == pytest.approx(worlds[-1].time_s / SWEEP_EVERY_S, abs=1.1)
    assert log.tiles == []


def test_newcomer_is_found_while_a_face_is_followed(log: Log) -> None:
    follower, seen = run([*steady(10, (300, 300, SIZE)), *steady(10, (300, 300, SIZE), (900, 300, SIZE), start_s=1.0)])
    assert len(seen[-1]) == 2
    assert [s.number for s in follower.stretches] == [1, 2]
    # Some tiles a frame, not whole pictures.
    per_second = sum(n for _, n in log.tiles) / 1.9
    assert per_second == pytest.approx(faces.TILES_A_SECOND, rel=0.15)


def test_search_is_quicker_for_a_while_after_a_loss(log: Log) -> None:
    both, one = ((300, 300, SIZE), (900, 300, SIZE)), ((300, 300, SIZE),)
    run([*steady(20, *both), *steady(80, *one, start_s=2.0)])
    before = sum(n for at, n in log.tiles if 0.2 < at < 1.9) / 1.7
    lost_s = 2.0 + KEEP_WINDOW_S
    quick = sum(n for at, n in log.tiles if lost_s + 0.2 < at <= lost_s + 2.2) / 2.0
    slow = sum(n for at, n in log.tiles if at > lost_s + faces.LOST_S + 0.5) / (9.9 - lost_s - faces.LOST_S - 0.5)
    assert quick == pytest.approx(faces.TILES_A_SECOND_LOST, rel=0.15)
    assert slow == pytest.approx(faces.TILES_A_SECOND_FEWER, rel=0.15)
    assert before == pytest.approx(faces.TILES_A_SECOND, rel=0.15)


def test_where_nobody_comes_or_goes_the_search_is_slower(log: Log) -> None:
    comes_s = 30.0
    one, other = (300, 300, SIZE), (900, 300, SIZE)
    run([*steady(300, one), *steady(200, one, other, start_s=comes_s)])

    def rate(begin_s: float, end_s: float) -> float:
        return sum(n for at, n in log.tiles if begin_s < at <= end_s) / (end_s - begin_s)

    assert rate(1.0, faces.CALM_S - 1) == pytest.approx(faces.TILES_A_SECOND, rel=0.15)
    assert rate(faces.CALM_S + 1, comes_s) == pytest.approx(faces.TILES_A_SECOND_CALM, rel=0.15)
    assert rate(comes_s + 1, comes_s + faces.CALM_S - 1) == pytest.approx(faces.TILES_A_SECOND, rel=0.15)


def test_lost_face_that_turns_up_elsewhere_is_not_followed_twice(log: Log) -> None:
    gone = World(1.0, [(620, 300, SIZE)])
    follower, seen = run([*steady(10, (500, 300, SIZE)), gone, *steady(10, (620, 300, SIZE), start_s=1.1)])
    assert [len(found) for found in seen[11:]] == [1] * 10
    assert len(follower.stretches) == 2


@pytest.mark.parametrize("faces_at_once", [3, 4])
def test_more_than_two_that_come_together_are_one_face(log: Log, faces_at_once: int) -> None:
    apart = [(300.0 + 200 * k, 300.0, SIZE) for k in range(faces_at_once)]
    worlds = steady(5, *apart)
    for k in range(1, 30):
        closer = max(0.0, 1 - k / 20)
        worlds.append(World(0.4 + k / RATE_HZ, [(600 + closer * (x - 600), y, s) for x, y, s in apart]))
    follower, seen = run(worlds)
    assert len(seen[0]) == faces_at_once
    assert len(seen[-1]) == 1
    assert all(s.met_at_end for s in follower.stretches[:faces_at_once])
