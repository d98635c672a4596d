"""Frames kept for settling side and upright: few, spread over the clip, with a face, and no larger than needed."""

import cv2
import numpy as np
import pytest

from posture.face.seen import FaceSeen
from posture.face.stills import LONGER_PX, MOST, StillKeeper
from tests.proof.material import frame_of


def face_at(x: float, y: float, stretch: int = 1) -> FaceSeen:
    points = np.random.default_rng(1).uniform(-20, 20, (478, 2)) + np.array([x, y])
    return FaceSeen(points, np.zeros(478), 1, True, stretch)


def kept(times_s: np.ndarray, size: tuple[int, int] = (60, 80), seen: bool = True):
    keeper = StillKeeper()
    picture = np.full((*size, 3), (200, 30, 60), np.uint8)
    for time_s in times_s:
        keeper.look(frame_of(picture, float(time_s)), [face_at(30, 25, 7)] if seen else [])
    return keeper.finish()


@pytest.mark.parametrize("seconds", [3, 20, 600])
def test_a_few_are_spread_over_a_clip_of_any_length(seconds):
    times = [still.time_s for still in kept(np.arange(0, seconds, 0.1))]
    assert times[0] == 0
    assert 2 <= len(times) <= MOST
    assert times[-1] >= seconds / 2 - 1
    assert np.ptp(np.diff(times)) < 0.2


def test_a_frame_without_a_face_is_not_kept():
    assert kept(np.arange(0, 5, 0.1), seen=False) == ()


def test_a_photograph_is_kept():
    (still,) = kept(np.zeros(1))
    assert (still.time_s, still.scale) == (0.0, 1.0)
    assert np.abs(still.rgb.reshape(-1, 3).astype(int) - (200, 30, 60)).max() < 6
    left, top, right, bottom = still.boxes[7]
    assert 10 <= left < 30 < right <= 50
    assert 5 <= top < 25 < bottom <= 45


def test_a_large_frame_is_made_smaller():
    (still,) = kept(np.zeros(1), (1500, 2000))
    assert max(still.rgb.shape) == LONGER_PX
    assert still.scale == pytest.approx(LONGER_PX / 2000)
    # Boxes stay in pixels of the film.
    assert still.boxes[7][2] > 30


def test_writing_is_looked_for_when_it_is_asked_for():
    """Boxes are in pixels of the film, which is larger than the still."""
    picture = np.full((1500, 2000, 3), 230, np.uint8)
    cv2.putText(picture, "SCHOOL", (900, 900), cv2.FONT_HERSHEY_SIMPLEX, 4.0, (20, 20, 20), 12)
    keeper = StillKeeper()
    keeper.look(frame_of(picture), [face_at(300, 250, 7)])
    (still,) = keeper.finish()
    assert "writing" not in vars(still)
    (left, top, right, bottom), *others = still.writing
    assert others == []
    assert 800 < left < 960
    assert 1300 < right < 1500
    assert 750 < top < 850
    assert 880 < bottom < 950
