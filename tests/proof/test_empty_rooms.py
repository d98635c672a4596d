"""Posters, dolls and patterns have no habitual posture; the full list is ``python -m tests.proof.empty_rooms``."""

from pathlib import Path

import numpy as np
import pytest

from tests.proof import empty_rooms, still_people
from tests.proof.material import HEADS_MISSING, heads_present

SECONDS = 15.0
SIZE = (480, 270)
SAMPLES = Path(__file__).resolve().parents[2] / "sample_videos"
needs_heads = pytest.mark.skipif(not heads_present(), reason=HEADS_MISSING)

FACE_LOOKED_AT = {"bare_hand": False, "poster_hand": True, "child_poster_hand": True, "doll_stand": True}
"""Whether the thing in the room has a face that landmarks find: without one the test would say little."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where clips are drawn once for all tests here."""
    return tmp_path_factory.mktemp("rooms")


@pytest.mark.slow
@needs_heads
@pytest.mark.parametrize("name", FACE_LOOKED_AT)
def test_a_room_without_a_person_has_no_habitual_posture(name: str, folder: Path) -> None:
    found = empty_rooms.measure_room(empty_rooms.make_clip(name, folder, SECONDS, SIZE))
    assert not found.posture, found
    assert found.failing, found
    assert (found.with_face > 0.5) == FACE_LOOKED_AT[name], found


@pytest.mark.slow
def test_a_child_that_is_there_has_one() -> None:
    found = empty_rooms.measure_room(SAMPLES / "steady-left-tilt.mp4")
    assert found.posture, found
    assert (found.persons, found.still) == (1, 0)


@pytest.mark.slow
@needs_heads
def test_somebody_who_sits_still_is_a_person(folder: Path) -> None:
    assert still_people.is_taken_for_a_thing(still_people.make_clip("stillest", folder, SECONDS)) == [False]


@pytest.mark.slow
@needs_heads
def test_a_held_camera_moves_and_one_on_a_stand_does_not() -> None:
    size = (160, 120)

    def moved(name: str) -> float:
        """Mean change (grey levels) from the first picture to one a few seconds later, smoothed free of noise."""
        pictures = list(empty_rooms._pictures(name, 6.0, size))
        assert {picture.shape for picture in pictures} == {(120, 160, 3)}
        first, last = (np.asarray(p, float).reshape(12, 10, 16, 10, 3).mean((1, 3)) for p in (pictures[0], pictures[-1]))
        return float(np.abs(first - last).mean())

    assert moved("poster_stand") < 4
    assert moved("poster_hand") > 2 * moved("poster_stand")


def test_a_picture_hangs_where_it_was_put() -> None:
    wall = np.full((200, 300, 3), 180, np.uint8)
    picture = np.zeros((50, 50, 3), np.uint8)
    hung = empty_rooms.hang(wall, picture, (0.5, 0.5), 0.5)
    assert hung[100, 150].max() == 0
    assert hung[100, [90, 210]].tolist() == [[180] * 3] * 2
    assert (hung.max(-1) < 90).sum() == pytest.approx(100 * 100, rel=0.05)
    crooked = empty_rooms.hang(wall, picture, (0.5, 0.5), 0.5, crooked_deg=45)
    assert crooked[100, 150 - 65].max() < 90
    framed = empty_rooms.hang(wall, picture, (0.5, 0.5), 0.5, frame=0.1)
    assert framed[100, 150 - 48].tolist() == [96, 66, 40]


@pytest.mark.parametrize("move", [empty_rooms.blow_curtain, empty_rooms.roll_ball])
def test_what_moves_moves_and_leaves_its_frame_alone(move) -> None:  # type: ignore[no-untyped-def]
    frame = np.full((120, 160, 3), 128, np.uint8)
    first, later = move(frame, 0.0), move(frame, 1.0)
    assert (frame == 128).all()
    assert (first != later).any()
    assert (first[:10, :60] == 128).all()
