"""The camera's movement is read from the scene, and a face that moves with the scene is a thing."""

from collections.abc import Callable

import numpy as np
import pytest

from posture.face.scene import JUDGED_S, SCENE_EVERY_S, STILL, STILL_PX, Scene, SceneStep, never_moved
from posture.face.stretch import Stretch
from tests.face.pictures import blank, made_face, motion, moved, room
from tests.proof.material import frame_of

SIZE = 100.0
SECONDS = 20.0
NOSE = (0.0, 0.2)
"""Where the nose is below the eyes, in face sizes."""


def step_of(first: np.ndarray, second: np.ndarray, *faces: tuple[float, float, float]) -> SceneStep:
    """What two pictures, one step apart, say of the camera."""
    seen = [made_face((x, y), size) for x, y, size in faces]
    scene = Scene()
    for k, picture in enumerate((first, second)):
        scene.look(frame_of(picture, k * SCENE_EVERY_S), seen)
    assert scene.steps[0].matrix is None
    return scene.steps[1]


@pytest.mark.parametrize(
    ("right_px", "down_px", "turned_deg"), [(0, 0, 0), (7, -4, 0), (-14, 10, 0), (0, 0, 2.0), (5, 6, -1.5)]
)
@pytest.mark.parametrize("size", [(640, 480), (480, 640)])
def test_shift_and_roll_of_the_camera_are_measured(
    right_px: float, down_px: float, turned_deg: float, size: tuple[int, int]
) -> None:
    picture = room(*size)
    step = step_of(picture, moved(picture, right_px, down_px, turned_deg))
    assert step.matrix is not None
    width, height = size
    matrix = motion(((width - 1) / 2, (height - 1) / 2), (right_px, down_px), turned_deg)
    points = np.array([[width * 0.3, height * 0.3, 1], [width * 0.7, height * 0.4, 1], [width * 0.5, height * 0.7, 1]])
    assert points @ step.matrix.T == pytest.approx(points @ matrix.T, abs=0.8)


def test_what_moves_with_a_face_does_not_count() -> None:
    """A head and its body, full of corners, go before a wall with few."""
    still = blank(640, 480)
    for k in range(3):
        still[40 + 145 * k : 56 + 145 * k, 30 + 17 * k : 50 + 17 * k] = 60
        still[30 + 145 * k : 42 + 145 * k, 520 + 19 * k : 535 + 19 * k] = 210
    body = room(640, 480, seed=9)
    pictures = []
    for right in (0, 18):
        picture = still.copy()
        picture[120:, 200 + right : 330 + right] = body[120:, 200:330]
        pictures.append(picture)
    step = step_of(pictures[0], pictures[1], (265.0, 170.0, SIZE))
    assert step.matrix is not None
    assert step.matrix == pytest.approx(np.eye(2, 3), abs=0.4)
    assert step.matrix[:, :2] == pytest.approx(np.eye(2), abs=0.005)


def test_wall_without_a_mark_says_nothing() -> None:
    assert step_of(blank(640, 480), blank(640, 480)).matrix is None


def test_other_picture_says_nothing() -> None:
    """After a cut the scene is another one."""
    step = step_of(room(640, 480), np.ascontiguousarray(room(640, 480, seed=31)[::-1]))
    assert step.matrix is None


def test_scene_is_looked_at_now_and_then() -> None:
    scene = Scene()
    picture = room(320, 240)
    for k in range(31):
        scene.look(frame_of(picture, k / 10), [])
    assert [step.time_s for step in scene.steps] == pytest.approx([0.5 * k for k in range(7)])
    assert all(step.matrix is not None for step in scene.steps[1:])


Shake = Callable[[float], tuple[float, float, float]]
"""Shift right, down in pixels and turn in degrees, counter-clockwise, of the picture against the first at a time."""


def camera_at(t: float, shake: Shake) -> np.ndarray:
    right, down, turned = shake(t)
    return np.vstack([motion((320, 240), (right, down), turned), [0, 0, 1]])


def judged(
    own: Callable[[float], tuple[float, ...]],
    shake: Shake = lambda _: (0.0, 0.0, 0.0),
    seconds: float = SECONDS,
    known: bool = True,
    rate_hz: float = 16.0,
    slope_deg: float = 0.0,
    size: float = SIZE,
) -> bool:
    """Whether a face whose own movement (x, y, size, slope, nose) that is never moved, before a camera that moves so."""
    stretch = Stretch(1)
    for t in np.arange(round(seconds * rate_hz) + 1) / rate_hz:
        stirred = np.zeros(6)
        stirred[: len(own(0.0))] = own(float(t))
        x, y, width, slope, *nose = np.array([250.0, 180.0, size, slope_deg, *NOSE]) + stirred
        matrix = camera_at(float(t), shake)
        place = matrix[:2, :2] @ [x, y] + matrix[:2, 2]
        sloping = (slope - shake(float(t))[2] + 180) % 360 - 180
        stretch.times_s.append(float(t))
        stretch.places.append(np.array([*place, width, sloping, *matrix[:2, :2] @ nose]))
    steps = [SceneStep(0.0, None)]
    for k in range(1, round(seconds / SCENE_EVERY_S) + 1):
        before, after = (camera_at(SCENE_EVERY_S * i, shake) for i in (k - 1, k))
        steps.append(SceneStep(SCENE_EVERY_S * k, (after @ np.linalg.inv(before))[:2] if known else None))
    return never_moved([stretch], steps)


def fixed(_: float) -> tuple[float, float, float, float]:
    return 0.0, 0.0, 0.0, 0.0


def shaken(t: float) -> tuple[float, float, float]:
    return 40 * np.sin(0.7 * t), 25 * np.sin(1.1 * t + 1), 3 * np.sin(0.5 * t)


def test_face_fixed_to_the_scene_never_moved() -> None:
    assert judged(fixed) is True
    assert judged(fixed, shaken) is True


def test_noise_of_the_landmarks_is_no_movement() -> None:
    rng = np.random.default_rng(3)

    def trembling(_: float) -> tuple[float, float, float, float]:
        x, y, size, slope = rng.normal(0, (0.3, 0.3, 0.3, 0.2))
        return x, y, size, slope

    assert judged(trembling, shaken) is True


@pytest.mark.parametrize(
    "own",
    [
        pytest.param(lambda t: (8 * np.sin(0.8 * t), 0.0, 0.0, 0.0), id="sways"),
        pytest.param(lambda t: (0.0, 0.0, 8 * np.sin(0.8 * t), 0.0), id="comes and goes"),
        pytest.param(lambda t: (0.0, 0.0, 0.0, 5 * np.sin(0.8 * t)), id="tilts"),
        pytest.param(lambda t: (0.0, 0.0, 0.0, 0.0, 0.03 * np.sin(0.8 * t), 0.0), id="looks about"),
        pytest.param(lambda t: (0.0, 30.0 * (t > 7) + 30.0 * (t > 13), 0.0, 0.0), id="moves now and then"),
    ],
)
@pytest.mark.parametrize("shake", [lambda _: (0.0, 0.0, 0.0), shaken], ids=["firm", "shaken"])
def test_face_that_moves_by_itself_is_no_thing(own: Callable, shake: Shake) -> None:
    assert judged(own, shake) is False


def test_face_still_in_the_picture_of_a_moving_camera_moved() -> None:
    """A selfie: the camera and the person move together before the room."""
    against = lambda t: (-40 * np.sin(0.7 * t), -25 * np.sin(1.1 * t + 1), 0.0, 0.0)  # noqa: E731
    assert judged(against, lambda t: (40 * np.sin(0.7 * t), 25 * np.sin(1.1 * t + 1), 0.0)) is False


@pytest.mark.parametrize(("size", "thing"), [(20.0, True), (150.0, False)])
def test_small_face_is_judged_in_pixels(size: float, thing: bool) -> None:
    """Movement by a share of the face that is less than landmarks can tell in a small one."""
    share = 0.5 * (STILL + STILL_PX / 20.0)

    def stirs(t: float) -> tuple[float, float, float, float]:
        return 0.8 * share * size * np.sin(1.05 * t), 0.0, 0.0, 0.0

    assert STILL < share < STILL_PX / 20
    assert judged(stirs, size=size) is thing


def test_only_the_frame_of_the_scene_counts() -> None:
    """A hand shakes several times between two looks at the scene: frames beside them are not told by it."""
    steps = [SceneStep(SCENE_EVERY_S * k, np.eye(2, 3) if k else None) for k in range(41)]
    stretch = Stretch(1)
    for t in np.arange(0, 20.01, 0.1):
        at_look = abs(t / SCENE_EVERY_S - round(t / SCENE_EVERY_S)) < 1e-6
        stretch.times_s.append(float(t))
        stretch.places.append(np.array([250.0 if at_look else 290.0, 180.0, SIZE, 0.0, *NOSE]))
    assert never_moved([stretch], steps)
    beside = Stretch(1)
    beside.times_s, beside.places = [t + 0.05 for t in stretch.times_s], stretch.places
    assert not never_moved([beside], steps)


@pytest.mark.parametrize(("seconds", "judgement"), [(JUDGED_S - 1, False), (JUDGED_S + 4, True)])
def test_short_time_is_not_judged(seconds: float, judgement: bool) -> None:
    assert judged(fixed, seconds=seconds) is judgement


def test_unmarked_wall_counts_as_still() -> None:
    assert judged(fixed, known=False) is True
    assert judged(lambda t: (8 * np.sin(0.8 * t), 0.0, 0.0, 0.0), known=False) is False


@pytest.mark.parametrize("shake", [lambda _: (0.0, 0.0, 0.0), shaken], ids=["firm", "shaken"])
def test_picture_that_hangs_upside_down_is_still_a_picture(shake: Shake) -> None:
    rng = np.random.default_rng(8)
    assert judged(lambda _: (0.0, 0.0, 0.0, float(rng.normal(0, 0.2))), shake, slope_deg=180.0) is True


def test_face_that_was_away_for_a_while_is_judged_by_what_was_seen() -> None:
    times = [*np.arange(0, 8, 0.1), *np.arange(30, 38, 0.1)]
    steps = [SceneStep(SCENE_EVERY_S * k, np.eye(2, 3) if k else None) for k in range(77)]
    for own, expected in ((0.0, True), (3 * STILL * SIZE, False)):
        parts = [Stretch(1), Stretch(2)]
        for t in times:
            part = parts[int(t >= 30)]
            part.times_s.append(float(t))
            part.places.append(np.array([250 + own * np.sin(0.9 * t), 180, SIZE, 0.0, *NOSE]))
        assert never_moved(parts, steps) is expected


def test_pictures_of_a_shaken_room_show_what_hangs_in_it() -> None:
    """From pictures to the judgement: a face on the wall against one that moves before it."""
    picture = room(640, 480)
    on_wall, before_it = Stretch(1), Stretch(2)
    scene = Scene()
    for k in range(31):
        t = k * SCENE_EVERY_S
        right, down = 9 * np.sin(0.9 * t), 6 * np.cos(0.7 * t)
        places = [(200 + right, 200 + down), (450 + 9 * np.sin(0.4 * t), 200.0)]
        for stretch, place in zip((on_wall, before_it), places, strict=True):
            stretch.times_s.append(t)
            stretch.places.append(np.array([*place, 70.0, 0.0, *NOSE]))
        scene.look(frame_of(moved(picture, right, down), t), [made_face(place, 70.0) for place in places])
    assert sum(step.matrix is not None for step in scene.steps) == 30
    assert never_moved([on_wall], scene.steps)
    assert not never_moved([before_it], scene.steps)


@pytest.mark.parametrize("period_s", [0.7, 1.1, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0])
def test_rocking_is_movement(period_s: float) -> None:
    """Also where a whole number of swings fits between two looks."""
    assert not judged(lambda t: (0.2 * SIZE * np.sin(2 * np.pi * t / period_s), 0.0, 0.0, 0.0))
