"""From marks to clips with their conditions."""

from __future__ import annotations

import json

import pytest

from posture.errors import SpanError
from posture.filming.marks import Mark, clips_of, marks_from, marks_text, read_marks
from posture.summary.record import Conditions


def test_clips_of_names_conditions_of_every_step():
    marks = [
        Mark("play", 0, 60),
        Mark("far", 60, 90),
        Mark("head-set", 90, 95),
        Mark("head-set", 96, 101),
        Mark("cover-right", 101, 281, before_s=1620),
        Mark("open", 281, 461, before_s=120),
        Mark("tilt-right", 461, 466),
    ]
    parts = {part.name: part for part in clips_of(marks)}
    assert list(parts) == ["play", "far", "cover-right", "open", "tilt-right"]
    assert parts["play"].conditions == {"target": "play", "covered_eye": "none"}
    assert not parts["play"].on_target
    assert parts["far"].on_target
    assert parts["far"].conditions == {"target": "far picture", "camera_height": "eye level", "covered_eye": "none"}
    assert parts["cover-right"].conditions == {"target": "play", "covered_eye": "right", "covered_minutes": 30.0}
    assert parts["open"].conditions == {"target": "play", "covered_eye": "none"}
    assert parts["tilt-right"].asked == "tilt right"
    assert parts["play"].asked is None
    assert {part.head_set for part in parts.values()} == {((90, 95), (96, 101))}


def test_a_cover_cut_short_says_how_long_it_was():
    (part,) = clips_of([Mark("cover-left", 0, 120, before_s=300)])
    assert part.conditions["covered_minutes"] == 7.0


def test_every_run_of_a_step_is_a_clip_in_order_of_time():
    parts = clips_of(
        [Mark("far", 50, 80), Mark("play", 20, 40), Mark("far", 0, 15), Mark("far", 85, 99), Mark("far", 100, 110)]
    )
    assert [part.name for part in parts] == ["far", "play", "far-2", "far-3", "far-4"]
    assert [part.title for part in parts][2:] == [
        "Far picture, second time", "Far picture, third time", "Far picture, time 4"
    ]  # fmt: skip
    assert parts[0].span == (0, 15)


def test_a_slip_of_the_finger_is_no_clip_and_no_setting():
    assert clips_of([Mark("play", 0, 0.2), Mark("head-set", 1, 1.1)]) == ()


def test_conditions_of_a_step_stand_above_those_of_the_recording():
    (part,) = clips_of([Mark("cover-right", 0, 60)])
    whole = Conditions(age_months=50, covered_eye="none", position="lap")
    own = part.conditions_with(whole)
    assert (own.age_months, own.position, own.covered_eye) == (50, "lap", "right")


def test_marks_survive_the_disk():
    marks = (Mark("play", 0, 12.5), Mark("cover-left", 12.5, 30.25, 1620.0))
    text = marks_text(marks, begun="2026-01-02T03:04:05+00:00")
    assert json.loads(text)["begun"] == "2026-01-02T03:04:05+00:00"
    assert marks_from(text) == marks


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ("play", "Expected a list of at most"),
        ([{"step": "play", "start_s": 0}], "Expected marks with step, start_s and end_s"),
        (["play"], "Expected marks with step"),
        ([{"step": "dance", "start_s": 0, "end_s": 1}], "Expected a step of the examination"),
        ([{"step": "play", "start_s": 2, "end_s": 1}], "from an earlier to a later time"),
        ([{"step": "play", "start_s": -1, "end_s": 1}], "from an earlier to a later time"),
        ([{"step": "play", "start_s": 0, "end_s": float("nan")}], "from an earlier to a later time"),
        ([{"step": "play", "start_s": "0", "end_s": 1}], "from an earlier to a later time"),
        ([{"step": "play", "start_s": 0, "end_s": 1}] * 501, "Expected a list of at most 500"),
    ],
)  # fmt: skip
def test_marks_that_are_none_are_refused(values, words):
    with pytest.raises(SpanError, match=words):
        read_marks(values)


@pytest.mark.parametrize("text", ["", "[]", "{", '{"schema": "other/1", "marks": []}', "[" * 100_000])
def test_text_that_holds_no_marks_is_refused(text):
    with pytest.raises(SpanError, match="Measure the recording as a whole"):
        marks_from(text)
