"""What a face consists of is followed against the scene, also behind a moving cover; what is printed stays where it is."""

from collections.abc import Callable

import numpy as np
import pytest

from posture.face.scene import DOUBT, FIXED, LAG, SCENE_EVERY_S, STILL, Scene, SceneStep, never_moved
from posture.face.stretch import Stretch
from posture.face.surface import Surfaces
from tests.face.pictures import blank, made_face, motion, moved, put, room
from tests.proof.material import frame_of

SIZE = 100.0
AT_PX = (320.0, 240.0)


def shifts_of(
    pictures: list[np.ndarray], centres: list[tuple[float, float]], movements: list[np.ndarray | None] | None = None
) -> list[float]:
    """What is found of one face in pictures a look apart; the camera keeps still unless told otherwise."""
    surfaces = Surfaces(LAG)
    found: list[float] = []
    for k, (picture, centre) in enumerate(zip(pictures, centres, strict=True)):
        movement = np.eye(3) if movements is None else movements[k]
        found += surfaces.look(frame_of(picture, k * SCENE_EVERY_S), [made_face(centre, SIZE, stretch=4)], movement).values()
    return found


def test_first_looks_are_compared_with_nothing(astronaut: np.ndarray) -> None:
    picture = put(room(640, 480), astronaut, AT_PX, SIZE)
    assert shifts_of([picture] * LAG, [AT_PX] * LAG) == []
    assert len(shifts_of([picture] * (LAG + 3), [AT_PX] * (LAG + 3))) == 3


@pytest.mark.parametrize("share", [0.0, 0.004, 0.02, 0.06, 0.2])
def test_shift_of_a_face_is_measured(astronaut: np.ndarray, share: float) -> None:
    wall = room(640, 480)
    centres = [AT_PX] * LAG + [(AT_PX[0] + share * SIZE, AT_PX[1])]
    pictures = [put(wall, astronaut, centre, SIZE) for centre in centres]
    assert shifts_of(pictures, centres) == [pytest.approx(share, abs=0.0015)]


@pytest.mark.parametrize("off", [-0.06, 0.06])
def test_what_the_landmarks_do_does_not_count(astronaut: np.ndarray, off: float) -> None:
    """They go along with the edge of a cover; the picture does not."""
    picture = put(room(640, 480), astronaut, AT_PX, SIZE)
    centres = [AT_PX] * LAG + [(AT_PX[0] + off * SIZE, AT_PX[1])]
    assert shifts_of([picture] * (LAG + 1), centres) == [pytest.approx(0, abs=0.001)]


def test_camera_that_moves_moves_no_picture(astronaut: np.ndarray) -> None:
    picture = put(room(640, 480), astronaut, AT_PX, SIZE)
    turn = np.vstack([motion((319.5, 239.5), (9.0, -5.0), 3.0), [0, 0, 1]])
    centre = tuple((turn @ [*AT_PX, 1])[:2])
    pictures = [picture] * LAG + [moved(picture, 9.0, -5.0, 3.0)]
    centres = [AT_PX] * LAG + [(float(centre[0]), float(centre[1]))]
    assert shifts_of(pictures, centres, [np.eye(3)] * LAG + [turn]) == [pytest.approx(0, abs=0.005)]
    assert shifts_of(pictures, centres)[0] > 0.05
    assert shifts_of(pictures, centres, [np.eye(3)] * LAG + [None]) == []


@pytest.mark.parametrize("share", [0.0, 0.05])
def test_cover_over_less_than_half_hides_nothing(astronaut: np.ndarray, share: float) -> None:
    """A striped curtain comes over the right of the picture."""
    wall = room(640, 480)
    stripes = np.repeat((120 + 80 * np.sin(np.arange(640) / 3)).astype(np.uint8)[None, :, None], 3, 2)
    centres = [AT_PX] * LAG + [(AT_PX[0] + share * SIZE, AT_PX[1])]
    pictures = [put(wall, astronaut, centre, SIZE) for centre in centres]
    pictures[-1][:, 345:] = stripes[:, 345:]
    assert shifts_of(pictures, centres) == [pytest.approx(share, abs=0.004)]


def test_face_without_corners_is_not_compared() -> None:
    assert shifts_of([blank(640, 480)] * (LAG + 2), [AT_PX] * (LAG + 2)) == []


def test_face_that_went_away_is_not_compared_with_another(astronaut: np.ndarray) -> None:
    wall = room(640, 480)
    centres = [AT_PX] * LAG + [(AT_PX[0] + 0.7 * SIZE, AT_PX[1])]
    assert shifts_of([put(wall, astronaut, centre, SIZE) for centre in centres], centres) == []


def judged(stirred: float, shifts: list[float]) -> bool:
    """The judgement on a face whose landmarks swing by that share of its size, and whose surface was found to move so."""
    steps = [SceneStep(SCENE_EVERY_S * k, np.eye(2, 3) if k else None) for k in range(41)]
    stretch = Stretch(1, shifts=shifts)
    for step in steps:
        x_px = AT_PX[0] + stirred * SIZE * np.sin(1.05 * step.time_s) / 2
        stretch.times_s.append(step.time_s)
        stretch.places.append(np.array([x_px, AT_PX[1], SIZE, 0.0, 0.0, 0.2]))
    return never_moved([stretch], steps)


@pytest.mark.parametrize(
    ("stirred", "shifts", "thing"),
    [
        pytest.param(1.4 * STILL, [], False, id="landmarks stir, nothing else known"),
        pytest.param(1.4 * STILL, [0.3 * FIXED] * 30, True, id="landmarks stir, the picture does not"),
        pytest.param(1.4 * STILL, [1.3 * FIXED] * 30, False, id="both stir a little"),
        pytest.param(1.4 * STILL, [0.3 * FIXED] * 15 + [3 * FIXED] * 15, False, id="the picture stirs half of the time"),
        pytest.param(1.4 * STILL, [0.3 * FIXED] * 5, False, id="seen too shortly"),
        pytest.param(1.8 * DOUBT * STILL, [0.3 * FIXED] * 30, False, id="a child behind bars"),
        pytest.param(0.5 * STILL, [], True, id="landmarks are still, nothing else known"),
        pytest.param(0.5 * STILL, [1.5 * FIXED] * 30, True, id="the picture stirs a little"),
        pytest.param(0.5 * STILL, [2.5 * FIXED] * 30, False, id="somebody who sits still"),
        pytest.param(0.5 * STILL, [2.5 * FIXED] * 5, True, id="somebody who sits still, seen too shortly"),
    ],
)
def test_two_kinds_of_stillness_make_a_thing(stirred: float, shifts: list[float], thing: bool) -> None:
    assert judged(stirred, shifts) is thing


@pytest.mark.parametrize(("own", "rests"), [(lambda t: 0.0, True), (lambda t: 6 * np.sin(1.1 * t), False)])
def test_scene_has_the_surfaces_of_its_faces(astronaut: np.ndarray, own: Callable[[float], float], rests: bool) -> None:
    """From pictures of a shaken room: the face on its wall, and one that moves before it."""
    wall, scene = room(640, 480), Scene()
    shifts: list[float] = []
    for k in range(24):
        t = k * SCENE_EVERY_S
        right, down = 9 * np.sin(0.9 * t), 6 * np.cos(0.7 * t)
        centre = (AT_PX[0] + own(t), AT_PX[1])
        picture = moved(put(wall, astronaut, centre, SIZE), right, down)
        found = scene.look(frame_of(picture, t), [made_face((centre[0] + right, centre[1] + down), SIZE, stretch=4)])
        assert set(found) <= {4}
        shifts += found.values()
    assert len(shifts) == 24 - LAG
    assert bool(np.percentile(shifts, 75) < FIXED) is rests
