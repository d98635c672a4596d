"""What a stretch remembers, and how a face moved at its ends."""

import numpy as np
import pytest

from posture.face.seen import Window
from posture.face.stretch import LOOKS_EVERY_S, MEETING_S, Stretch
from tests.face.pictures import made_face

RATE_HZ = 20.0


def filled(seconds: float, met_at_start: bool = False, met_at_end: bool = False, start_s: float = 5.0) -> Stretch:
    """A face that moves to the right with 60 px/s, up with 20 px/s, and grows by 10 px/s."""
    stretch = Stretch(3, met_at_start, met_at_end)
    pixels = np.full((384, 384, 3), 90, np.uint8)
    for t in np.arange(round(seconds * RATE_HZ) + 1) / RATE_HZ:
        face = made_face((200 + 60 * t, 300 - 20 * t), 80 + 10 * t)
        stretch.add(start_s + t, face, Window.around(face.centre_px, face.size_px), pixels)
    return stretch


def test_every_frame_is_remembered_and_looks_now_and_then() -> None:
    stretch = filled(3.0)
    assert (stretch.first_s, stretch.last_s) == (5.0, 8.0)
    assert len(stretch.times_s) == len(stretch.places) == 61
    assert stretch.places[0][:4] == pytest.approx([200, 300, 80, 0], abs=0.5)
    # The nose is straight below the eyes.
    assert stretch.places[0][4] == pytest.approx(0, abs=0.01)
    assert 0.1 < stretch.places[0][5] < 0.4
    taken = [look.time_s for look in stretch.looks]
    assert taken[0] == 5.0
    assert np.diff(taken).min() >= LOOKS_EVERY_S - 1e-9
    assert len(taken) == pytest.approx(3.0 / LOOKS_EVERY_S, abs=1)


@pytest.mark.parametrize("at_start", [True, False])
def test_speed_at_an_end(at_start: bool) -> None:
    at_s, place, speed = filled(2.0).end(at_start=at_start)
    assert at_s == (5.0 if at_start else 7.0)
    assert place[:3] == pytest.approx([200, 300, 80] if at_start else [320, 260, 100])
    assert speed[:3] == pytest.approx([60, -20, 10])


@pytest.mark.parametrize("at_start", [True, False])
def test_speed_leaves_a_meeting_out(at_start: bool) -> None:
    """About a meeting the window slides on to the other face."""
    stretch = filled(2.0, met_at_start=True, met_at_end=True)
    for k, t in enumerate(stretch.times_s):
        if min(t - 5.0, 7.0 - t) < MEETING_S - 1e-9:
            stretch.places[k] = stretch.places[k] + [500, 0, 0, 0, 0, 0]
    at_s, _, speed = stretch.end(at_start=at_start)
    assert at_s == pytest.approx(5.0 + MEETING_S if at_start else 7.0 - MEETING_S, abs=1.01 / RATE_HZ)
    assert speed[:2] == pytest.approx([60, -20])


def test_too_few_frames_have_no_speed() -> None:
    at_s, place, speed = filled(1 / RATE_HZ).end(at_start=False)
    assert at_s == pytest.approx(5.05)
    assert place[0] == pytest.approx(203)
    assert not speed.any()


def test_short_stretch_between_two_meetings_still_has_ends() -> None:
    at_s, _, speed = filled(0.2, met_at_start=True, met_at_end=True).end(at_start=True)
    assert at_s == 5.0
    assert speed[0] == pytest.approx(60)


@pytest.mark.parametrize(
    ("met_at_start", "met_at_end", "counted"),
    [
        (False, False, [True] * 5),
        (True, False, [False, False, True, True, True]),
        (False, True, [True, True, True, False, False]),
    ],
)
def test_frames_near_a_meeting_do_not_count(met_at_start: bool, met_at_end: bool, counted: list[bool]) -> None:
    stretch = filled(2.0, met_at_start, met_at_end)
    assert [stretch.counts(5.0 + t) for t in (0.0, 0.1, 1.0, 1.9, 2.0)] == counted


def test_portrait_is_of_the_largest_and_most_frontal() -> None:
    stretch = Stretch(1)
    for k, (size, shade) in enumerate([(50, 10), (100, 200), (60, 90), (104, 30)]):
        face = made_face((300, 300), size)
        window = Window.around(face.centre_px, size)
        stretch.add(float(k), face, window, np.full((384, 384, 3), shade, np.uint8))
    assert stretch.portrait is not None
    assert stretch.portrait.shape == (96, 96, 3)
    # A little larger is no reason for another portrait.
    assert stretch.portrait.mean() == pytest.approx(200, abs=1)
