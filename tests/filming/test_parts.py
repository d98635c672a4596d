"""A recording that was seen once, read part by part."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from posture.errors import SpanError
from posture.filming.marks import Mark, clips_of
from posture.filming.parts import part_of, read_film
from posture.geometry.angles import posture_matrix
from posture.geometry.lens import lens_of
from posture.measure import Settings
from posture.see import SeenClip, SeenPerson
from posture.signal.track import HeadTrack
from posture.summary.record import Conditions

RATE_HZ = 15
CHIN_AT_REST_DEG = -6.0
LEVEL = Settings(mirrored="no", roll_deg=0.0, pitch_deg=0.0)


def _recording(held: list[tuple[float, float, float]], n_persons: int = 1) -> SeenClip:
    """A recording in which the head is held so far tilted and turned for so many seconds, one after the other."""
    time_s = np.arange(0, sum(seconds for *_, seconds in held), 1 / RATE_HZ)
    ends = np.cumsum([seconds for *_, seconds in held])
    which = np.searchsorted(ends, time_s, side="right")
    aside = 20 * np.exp(-(((time_s % 4 - 3.6) / 0.15) ** 2))
    wobble = 0.3 * np.sin(time_s * 1.7)
    tilt, turn = (np.array([row[k] for row in held])[which] for k in (0, 1))
    rotation = posture_matrix(tilt + wobble, turn + aside + wobble, CHIN_AT_REST_DEG + wobble)
    n = len(time_s)
    place = np.tile([0.0, 0.0, 60.0], (n, 1))
    track = HeadTrack(time_s, rotation, place, np.full(n, 150.0), np.ones(n), 640, 480, 576.0, steps=("made up",))
    persons = tuple(SeenPerson(track, None, (k,), 1.0, False) for k in range(n_persons))
    return SeenClip("video", 64 * "a", 640, 480, time_s, persons, None, "2026-01-02", "file", lens_of(640), None, ("made up",))


def test_part_of_keeps_the_times_in_it_and_begins_at_nought():
    seen = _recording([(0, 0, 10), (10, 0, 10)])
    part = part_of(seen, 10, 20)
    assert part.time_s[0] == 0
    assert part.time_s[-1] == pytest.approx(10, abs=0.1)
    assert len(part.persons[0].track.time_s) == len(part.time_s)
    assert np.array_equal(part.persons[0].track.rotation[0], seen.persons[0].track.rotation[np.searchsorted(seen.time_s, 10)])
    assert part.persons[0].track.steps[-1] == part.steps[-1] == "part of a recording, from 10.0 to 20.0 s of it"
    assert len(part.sha256) == 64
    assert len({seen.sha256, part.sha256, part_of(seen, 0, 10).sha256}) == 3
    assert part.sha256 == part_of(seen, 10, 20).sha256


def test_part_of_counts_who_is_seen_in_it():
    seen = _recording([(0, 0, 20)], n_persons=2)
    gone = seen.time_s >= 10
    first = seen.persons[0]
    rotation, place = first.track.rotation.copy(), first.track.place_cm.copy()
    rotation[gone], place[gone] = np.nan, np.nan
    left = replace(first, track=replace(first.track, rotation=rotation, place_cm=place), seen_share=0.5)
    part = part_of(replace(seen, persons=(left, seen.persons[1])), 10.1, 20)
    assert [person.seen_share for person in part.persons] == [0.0, 1.0]


@pytest.mark.parametrize("span", [(30, 40), (-5, -1), (5, 5.01)])
def test_part_of_nothing_is_refused(span):
    with pytest.raises(SpanError, match="the recording has no pictures there"):
        part_of(_recording([(0, 0, 20)]), *span)


def test_read_parts_gives_each_step_its_own_posture_and_conditions():
    seen = _recording([(-14, -8, 40), (-14, -8, 30), (0, 0, 6), (0, 0, 6), (0, 0, 6), (-4, 0, 40), (25, 0, 6)])
    marks = [
        Mark("play", 0, 40), Mark("far", 40, 70), Mark("head-set", 70.5, 75.5), Mark("head-set", 76.5, 81.5),
        Mark("head-set", 82.5, 87.5), Mark("cover-right", 88, 128, 1620), Mark("tilt-right", 128.5, 133.5),
    ]  # fmt: skip
    whole = Conditions(age_months=40, position="sitting")
    read = {one.part.name: one for one in read_film(seen, clips_of(marks), LEVEL, whole, "K7").parts}
    assert list(read) == ["play", "far", "cover-right"]
    summaries = {name: one.measured.summary for name, one in read.items()}
    tilts = {name: s.habitual.tilt_deg.value for name, s in summaries.items() if s.habitual}
    assert tilts == pytest.approx({"play": -14, "far": -14, "cover-right": -4}, abs=0.5)
    assert [s.habitual.turn_counts for s in summaries.values() if s.habitual] == [False, True, False]
    assert {s.conditions.age_months for s in summaries.values()} == {40}
    assert summaries["cover-right"].conditions.covered_eye == "right"
    assert summaries["cover-right"].conditions.covered_minutes == pytest.approx(27.7)
    assert summaries["far"].conditions.target == "far picture"
    assert len({s.clip.sha256 for s in summaries.values()}) == 3
    zero = read["far"].measured.found.read.chin_zero
    assert zero is not None
    assert zero.settings == 3
    assert zero.value_deg == pytest.approx(CHIN_AT_REST_DEG, abs=0.5)
    assert summaries["far"].habitual.chin_deg.value == pytest.approx(0, abs=1)


def test_asked_movements_are_no_habit_and_tell_how_far_they_went():
    seen = _recording([(-9, 0, 40), (25, 0, 20), (0, -40, 20)])
    marks = [Mark("play", 0, 40), Mark("tilt-right", 40.2, 59.8), Mark("turn-left", 60.2, 79.8)]
    read = read_film(seen, clips_of(marks), LEVEL)
    assert [one.part.name for one in read.parts] == ["play"]
    assert read.asked is not None
    assert read.asked.sha256 == read.parts[0].measured.summary.clip.sha256
    reached = {one.movement: one.reached_deg.value for one in read.asked.asked if one.reached_deg}
    assert reached == pytest.approx({"tilt right": 25, "turn left": 40}, abs=1.5)
    assert read.parts[0].measured.summary.habitual.tilt_deg.value == pytest.approx(-9, abs=0.5)


def test_asked_movements_name_no_side_while_mirroring_is_unknown():
    seen = _recording([(0, 0, 30), (25, 0, 20)])
    read = read_film(seen, clips_of([Mark("play", 0, 30), Mark("tilt-right", 30.2, 50)]), replace(LEVEL, mirrored="unknown"))
    assert read.asked is not None
    assert not read.asked.sided
    assert "right" not in read.asked.to_json()
    assert "left" not in read.asked.to_json()


def test_steps_after_the_recording_broke_off_are_left_out():
    seen = _recording([(-10, 0, 30)])
    read = read_film(seen, clips_of([Mark("play", 0, 30), Mark("far", 40, 70), Mark("tilt-left", 80, 90)]), LEVEL)
    assert [one.part.name for one in read.parts] == ["play"]
    assert read.asked is None
