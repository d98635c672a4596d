"""Side and upright settled by eye: what the answers make of the settings, and which pictures are asked about."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from posture.face.stills import Still
from posture.geometry.plumb import Stand
from posture.measure import Settings
from posture.page.settle import FIRST_ANSWER, UprightAnswer, side_views, stills_of
from tests.page.conftest import made_clip, made_person

STAND = Stand(4.0, 9.0, 0.8, 2.5)


@pytest.mark.parametrize(
    ("answer", "from_scene", "roll"),
    [
        (FIRST_ANSWER, True, None),
        (UprightAnswer("as-filmed"), False, None),
        (UprightAnswer("marked"), True, None),
        (UprightAnswer("marked", STAND), False, 4.0),
        # A line that was drawn before another way was chosen says nothing.
        (UprightAnswer("as-filmed", STAND), False, None),
        (UprightAnswer("scene", STAND), True, None),
    ],
)
def test_an_answer_becomes_settings(answer, from_scene, roll):
    settings = answer.applied_to(Settings("no"))
    assert (settings.from_scene, settings.roll_deg) == (from_scene, roll)
    if roll is not None:
        assert (settings.pitch_deg, settings.roll_sd_deg, settings.pitch_sd_deg) == (9.0, 0.8, 2.5)


def test_a_camera_said_to_stand_level_is_level_to_five_degrees():
    settings = UprightAnswer("level", STAND).applied_to(Settings("no"))
    assert (settings.from_scene, settings.roll_deg, settings.pitch_deg) == (False, 0.0, None)
    assert 1.96 * settings.roll_sd_deg == pytest.approx(5.0, abs=0.2)


def test_a_sample_keeps_what_is_known_of_it():
    known = Settings("no", roll_deg=0.0, pitch_deg=0.0)
    assert UprightAnswer("marked", STAND).applied_to(known) == known


def still(time_s: float, boxes: dict[int, tuple[float, float, float, float]], lean_deg: float = 3.0) -> Still:
    """A grey picture, half the size of the film."""
    grey = np.full((240, 320, 3), 120, np.uint8)
    writing = ((10.0, 20.0, 50.0, 30.0),)
    made = Still(time_s, cv2.imencode(".jpg", grey)[1].tobytes(), 0.5, boxes, dict.fromkeys(boxes, lean_deg))
    # As if it had been looked for.
    vars(made)["writing"] = writing
    return made


@pytest.fixture
def seen():
    """Two persons; the first in the second still only, the second in two stills."""
    box = (100.0, 80.0, 200.0, 190.0)
    clip = made_clip([made_person(1, 14.0), made_person(2, -5.0)])
    stills = (still(0.0, {2: box}), still(4.0, {1: box, 2: box}), still(8.0, {7: box}))
    return replace(clip, stills=stills)


def test_pictures_are_those_that_show_the_person(seen):
    assert [s.time_s for s in stills_of(seen, 1)] == [4.0]
    assert [s.time_s for s in stills_of(seen, 2)] == [0.0, 4.0]


def test_without_one_all_are_there_to_mark_lines_in_but_none_to_tell_a_side(seen):
    seen = replace(seen, stills=seen.stills[2:])
    assert [s.time_s for s in stills_of(seen, 1)] == [8.0]
    assert side_views(seen, 1) == []


def test_boxes_are_in_pixels_of_the_picture_that_is_shown(seen):
    (view,) = side_views(seen, 1)
    assert view.rgb.shape == (240, 320, 3)
    assert view.box_px == (50.0, 40.0, 100.0, 95.0)
    assert view.writing_px == ((5.0, 10.0, 25.0, 15.0),)


@pytest.mark.parametrize("lean_deg", [70.0, -95.0, 178.0])
def test_the_side_of_a_child_that_lies_is_not_asked(seen, lean_deg):
    seen = replace(seen, stills=(still(0.0, {1: (1.0, 2.0, 30.0, 40.0)}, lean_deg),))
    assert side_views(seen, 1) == []
    assert len(stills_of(seen, 1)) == 1
