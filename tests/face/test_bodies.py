"""Bodies as the library gives them: read out of its memory, carried from look to look, mirrored and back."""

import numpy as np
import pytest

from posture.face.bodies import Body, CarriedBody, LibraryBodies
from posture.face.landmarker import NOT_OPEN
from posture.face.shoulders import window_below
from tests.face.pictures import blank
from tests.proof.material import frame_of, see_face

SIDE_PX = 256


@pytest.fixture(scope="module")
def pixels(astronaut: np.ndarray) -> np.ndarray:
    """Head and shoulders of the photograph."""
    face = see_face(astronaut)
    assert face is not None
    return window_below(face).show(frame_of(astronaut))


def test_points_are_those_that_the_library_gives(pixels: np.ndarray) -> None:
    """They are read out of its memory, so its own way must give the same."""
    with LibraryBodies() as bodies:
        mine = bodies.find(pixels)
        theirs = bodies._task.detect(bodies._image(pixels))
    assert len(mine) == len(theirs.pose_landmarks) == 1
    flat = np.array([[p.x * SIDE_PX - 0.5, p.y * SIDE_PX - 0.5] for p in theirs.pose_landmarks[0]])
    assert mine[0].points_px == pytest.approx(flat)
    assert mine[0].deep == pytest.approx(np.array([[p.x, p.y, p.z] for p in theirs.pose_world_landmarks[0]]))
    assert mine[0].visibility == pytest.approx(np.array([p.visibility for p in theirs.pose_landmarks[0]]))


def test_carried_body_moves_at_once(pixels: np.ndarray) -> None:
    """What the library keeps from the look before is the place, not the points."""
    with CarriedBody() as carried:
        before = [carried.look(pixels) for _ in range(6)][-1]
        after = carried.look(np.roll(pixels, 12, axis=1))
    assert before is not None
    assert after is not None
    # Nose, eyes, ears and mouth.
    assert (after.points_px - before.points_px)[:11, 0].mean() == pytest.approx(12, abs=2)


def test_nobody_is_carried_in_an_empty_picture() -> None:
    with CarriedBody() as carried, LibraryBodies() as bodies:
        assert carried.look(blank(SIDE_PX, SIDE_PX)) is None
        assert bodies.find(blank(SIDE_PX, SIDE_PX)) == []


def test_looking_outside_of_with_is_refused(pixels: np.ndarray) -> None:
    carried = CarriedBody()
    with pytest.raises(RuntimeError, match=NOT_OPEN):
        carried.look(pixels)
    with carried:
        pass
    with pytest.raises(RuntimeError, match=NOT_OPEN):
        carried.look(pixels)


def test_mirrored_twice_is_the_same_body() -> None:
    rng = np.random.default_rng(1)
    body = Body(rng.uniform(0, SIDE_PX, (33, 2)), rng.normal(size=(33, 3)), rng.uniform(size=33))
    mirrored = body.mirrored(SIDE_PX)
    assert mirrored.points_px[12] == pytest.approx([SIDE_PX - 1 - body.points_px[11, 0], body.points_px[11, 1]])
    assert mirrored.points_px[2] == pytest.approx([SIDE_PX - 1 - body.points_px[5, 0], body.points_px[5, 1]])
    again = mirrored.mirrored(SIDE_PX)
    for name in ("points_px", "deep", "visibility"):
        assert getattr(again, name) == pytest.approx(getattr(body, name))
