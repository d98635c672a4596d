"""What may be said of a side, and when there is nothing to say."""

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import jsonschema
import numpy as np
import pytest

from posture.measure import Measurement, Settings, read_clip
from posture.signal.habitual import FaceLineTilts, HabitualPosture
from posture.signal.interval import Interval
from posture.signal.reading import Upright
from posture.signal.upright import SceneStand
from posture.summary.build import build_summary
from posture.summary.record import Conditions, Summary
from posture.summary.schema import shipped_schema
from posture.summary.words import result_sentences

Measure = Callable[..., Measurement]
KINDS = ("one", "two", "moment", "photograph", "no face")


def values(of: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of a JSON document with its path."""
    if isinstance(of, dict):
        for key, value in of.items():
            yield from values(value, f"{path}.{key}")
    elif isinstance(of, list):
        for index, value in enumerate(of):
            yield from values(value, f"{path}[{index}]")
    else:
        yield path, of


def test_habitual_posture_is_that_of_the_track(measure: Measure) -> None:
    summary = measure("no").summary
    assert summary.sided
    assert summary.habitual is not None
    assert summary.unsided is None
    assert summary.moment is None
    held = summary.habitual
    assert held.tilt_deg is not None
    assert -14.3 <= held.tilt_deg.value <= -12.7
    assert -12.3 <= held.turn_deg.value <= -10.7
    assert -8.3 <= held.chin_deg.value <= -6.7
    assert held.share_tilt_left == pytest.approx(1.0, abs=0.01)
    assert held.share_tilt_right + held.share_tilt_left + held.share_neither == pytest.approx(1.0, abs=2e-4)
    assert len(summary.postures) == 1
    assert summary.clip.label == "K7"


def test_mirrored_clip_is_read_as_the_persons_own_sides(measure: Measure) -> None:
    no, yes = measure("no").summary.habitual, measure("yes").summary.habitual
    assert no is not None
    assert yes is not None
    assert no.tilt_deg is not None
    assert yes.tilt_deg is not None
    assert yes.tilt_deg.value == pytest.approx(-no.tilt_deg.value, abs=0.3)
    assert yes.turn_deg.value == pytest.approx(-no.turn_deg.value, abs=0.3)
    assert yes.chin_deg.value == pytest.approx(no.chin_deg.value, abs=0.02)
    assert (yes.share_tilt_right, yes.share_tilt_left) == (no.share_tilt_left, no.share_tilt_right)
    assert yes.reach.turn_right_deg == pytest.approx(no.reach.turn_left_deg, abs=0.02)


@pytest.mark.parametrize("kind", KINDS)
def test_unknown_mirroring_shows_no_side_in_the_record(measure: Measure, kind: str) -> None:
    summary = measure("unknown", kind).summary
    document = json.loads(summary.to_json())
    assert document["sided"] is False
    assert document["habitual"] is None
    assert document["postures"] == []
    if document["moment"] is not None:
        assert document["moment"]["tilt_deg"] is None
        assert document["moment"]["turn_deg"] is None
    measured = {k: document[k] for k in ("habitual", "postures", "unsided", "moment")}
    angles = [(path, v) for path, v in values(measured) if isinstance(v, float) and ("tilt" in path or "turn" in path)]
    assert all(v >= 0 for _, v in angles), angles
    assert (document["unsided"] is not None) == (kind == "one")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("mirrored_track", [False, True])
def test_unknown_mirroring_reads_the_same_for_either_side(measure: Measure, kind: str, mirrored_track: bool) -> None:
    """The record of a film and of its mirror image is one and the same while mirroring is unknown."""
    first = measure("unknown", kind)
    second = first
    if mirrored_track:
        turned = first.track.rotation * [[[1, -1, -1], [-1, 1, 1], [-1, 1, 1]]]
        track = replace(first.track, rotation=turned, place_cm=first.track.place_cm * [-1, 1, 1])
        seen = replace(first.seen, persons=(replace(first.seen.persons[0], track=track),))
        second = read_clip(seen, Settings(), Conditions(target="camera"), "K7")
    a, b = (json.loads(m.summary.to_json()) for m in (first, second))
    for part in ("unsided", "moment", "habitual", "postures"):
        pairs = zip(values(a[part]), values(b[part]), strict=True)
        # A weighted median takes the lower of two middle values, which a mirror image exchanges: a tenth or so.
        for (path, one), (same_path, other) in pairs:
            assert path == same_path
            assert one == (pytest.approx(other, abs=0.35) if isinstance(one, float) else other), path


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "facts",
    [
        pytest.param({}, id="good clip"),
        pytest.param({"persons": 2, "person": 2}, id="two people"),
        pytest.param({"persons": 2, "person": None, "asked_person": 3}, id="nobody of that number"),
        pytest.param({"is_still": True, "still_faces": 1}, id="a doll"),
        pytest.param({"unreliable_share": 0.4, "damage": "the end is missing"}, id="bad clip"),
        pytest.param({"faces_found_share": 0.3, "face_height_px": 40.0, "longest_step_s": 4.0}, id="hardly seen"),
    ],
)
@pytest.mark.parametrize("rhythm", [False, True], ids=["still", "nodding"])
def test_unknown_mirroring_names_no_side_in_words(measure: Measure, kind: str, facts: dict, rhythm: bool) -> None:
    summary = measure("unknown", kind, rhythm=rhythm, **({} if kind == "no face" else facts)).summary
    texts = [*result_sentences(summary), *(check.text for check in summary.checks), *(check.name for check in summary.checks)]
    assert texts
    named = [text for text in texts if re.search(r"\b(right|left)\b", text, re.IGNORECASE)]
    assert named == []


def test_unsided_says_whether_tilt_and_turn_agree(measure: Measure) -> None:
    made = measure("unknown")
    unsure = made.summary.unsided
    assert unsure is not None
    assert unsure.same_direction is None  # The camera may have been rolled by as much.
    found = read_clip(made.seen, Settings(mirrored="unknown", roll_deg=0.0)).summary.unsided
    assert found is not None
    assert found.same_direction is True
    assert found.tilt_size_deg is not None
    assert 12.7 <= found.tilt_size_deg.value <= 14.3
    assert 0 <= found.tilt_size_deg.low <= found.tilt_size_deg.value <= found.tilt_size_deg.high
    assert found.share_tilted == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("position", ["lying", "held"])
@pytest.mark.parametrize("mirrored", ["no", "unknown"])
@pytest.mark.parametrize("kind", KINDS)
def test_lying_child_has_no_tilt(measure: Measure, position: str, mirrored: str, kind: str) -> None:
    summary = measure(mirrored, kind, Conditions(position=position)).summary  # type: ignore[arg-type]
    tilts = [
        summary.habitual and summary.habitual.tilt_deg,
        summary.unsided and summary.unsided.tilt_size_deg,
        summary.moment and summary.moment.tilt_deg,
        *(p.tilt_deg for p in summary.postures),
    ]
    assert tilts[3:] + [t for t in tilts[:3] if t is not None] == [None] * len(summary.postures)
    assert [c.level for c in summary.checks if c.name == "position"] == ["fail"]
    assert not any("degrees to the child's left shoulder" in sentence for sentence in result_sentences(summary))


def test_two_postures_are_given_with_their_shares_and_no_middle(measure: Measure) -> None:
    summary = measure("no", "two").summary
    assert summary.habitual is None
    assert [p.share for p in summary.postures] == pytest.approx([0.5, 0.5], abs=0.02)
    assert summary.postures[0].tilt_deg is not None
    assert summary.postures[1].tilt_deg is not None
    assert summary.postures[0].tilt_deg.value > 14
    assert summary.postures[1].tilt_deg.value < -5
    assert "no middle is named" in result_sentences(summary)[0]
    assert "child's right shoulder" in result_sentences(summary)[1]


@pytest.mark.parametrize(
    ("kind", "check", "level"),
    [
        ("one", "steady time", "pass"),
        ("moment", "steady time", "fail"),
        ("photograph", "steady time", "fail"),
        ("no face", "face", "fail"),
    ],
)
def test_missing_result_has_a_failing_check(measure: Measure, kind: str, check: str, level: str) -> None:
    summary = measure("no", kind).summary
    assert {c.name: c.level for c in summary.checks}[check] == level
    assert (summary.habitual is not None) == (kind == "one")
    assert (summary.moment is not None) == (kind in ("moment", "photograph"))
    order = ["fail", "warn", "pass"]
    assert [order.index(c.level) for c in summary.checks] == sorted(order.index(c.level) for c in summary.checks)


@pytest.mark.parametrize(
    ("target", "counts"),
    [("camera", True), ("far picture", True), ("near picture", True), ("play", False), ("unknown", False), (None, False)],
)
def test_turn_counts_only_where_the_target_is_known(measure: Measure, target: str | None, counts: bool) -> None:
    summary = measure("no", conditions=Conditions(target=target)).summary  # type: ignore[arg-type]
    assert summary.habitual is not None
    assert summary.habitual.turn_counts is counts
    assert any("not evidence" in sentence for sentence in result_sentences(summary)) is not counts
    assert ("target" in [c.name for c in summary.checks]) is not counts


def test_sentences_name_the_side_of_a_sided_result(measure: Measure) -> None:
    sentences = result_sentences(measure("no").summary)
    assert len(sentences) <= 3
    assert "to the child's left shoulder" in sentences[0]
    assert "100 %" in sentences[1]
    assert "to the child's left" in sentences[2]
    assert "chin down by" in sentences[2]
    assert "to the child's right shoulder" in result_sentences(measure("yes").summary)[0]


@pytest.mark.parametrize("mirrored", ["no", "yes", "unknown"])
@pytest.mark.parametrize("kind", KINDS)
def test_every_result_can_be_said(measure: Measure, mirrored: str, kind: str) -> None:
    sentences = result_sentences(measure(mirrored, kind).summary)
    assert 1 <= len(sentences) <= 3
    assert all(re.fullmatch(r"[A-Z0-9].*[.]", s) and "nan" not in s.lower() and "None" not in s for s in sentences), sentences


def about(value: float, half: float = 5.0) -> Interval:
    """A value with as much on either side."""
    return Interval(value, value - half, value + half)


def with_all(found: HabitualPosture, difference_deg: float = 4.0) -> HabitualPosture:
    """The same posture with shoulders, lines of the face, a scene and marks."""
    lines = FaceLineTilts(about(-12.0), about(-12.0 + difference_deg), about(difference_deg))
    scene = SceneStand(np.full(4, 3.0), np.full(4, -9.0), 0.8, 1.6, True)
    return replace(
        found,
        tilt_on_trunk=about(-8.127, 6.0),
        head_shift=about(0.1234, 0.1),
        lines=lines,
        target_s=12.0,
        from_target=True,
        read=replace(found.read, scene=scene, upright=Upright("scene", 3.0, -9.0, 0.8, 1.6)),
    )


def built(made: Measurement, found: HabitualPosture, **conditions: Any) -> Summary:
    """The record of a measurement of which something else was found."""
    stated = Conditions(**({"target": "camera"} | conditions))
    return build_summary(made.facts, found, stated, made.summary.made_with)


def test_shoulders_and_lines_are_in_the_record(measure: Measure) -> None:
    made = measure("no")
    bare, whole = made.summary.habitual, built(made, with_all(made.found)).habitual
    assert bare is not None
    assert (bare.tilt_on_trunk_deg, bare.tilt_midface_deg, bare.head_shift) == (None, None, None)
    assert whole is not None
    assert whole.tilt_on_trunk_deg is not None
    assert whole.tilt_midface_deg is not None
    assert whole.head_shift is not None
    assert vars(whole.tilt_on_trunk_deg) == {"value": -8.13, "low": -14.13, "high": -2.13}
    assert vars(whole.tilt_midface_deg) == {"value": -8.0, "low": -13.0, "high": -3.0}
    assert whole.head_shift.value == pytest.approx(0.1234, abs=0.006)
    # Tilt itself is what it was.
    assert whole.tilt_deg == bare.tilt_deg


@pytest.mark.parametrize(
    ("difference_deg", "given"), [(2.01, True), (-2.01, True), (6.0, True), (2.0, False), (-2.0, False), (0.0, False)]
)
def test_mid_face_tilt_is_given_where_the_lines_differ(measure: Measure, difference_deg: float, given: bool) -> None:
    made = measure("no")
    habitual = built(made, with_all(made.found, difference_deg)).habitual
    assert habitual is not None
    assert (habitual.tilt_midface_deg is not None) == given


@pytest.mark.parametrize("position", ["lying", "held"])
def test_lying_child_has_a_tilt_on_the_shoulder_line_and_no_other(measure: Measure, position: str) -> None:
    made = measure("no")
    summary = built(made, with_all(made.found), position=position)
    habitual = summary.habitual
    assert habitual is not None
    assert (habitual.tilt_deg, habitual.tilt_midface_deg) == (None, None)
    assert habitual.tilt_on_trunk_deg is not None
    assert any(s.startswith("On the shoulder line it is held 8 degrees to the child's left") for s in result_sentences(summary))


def test_tilt_on_the_shoulder_line_is_said(measure: Measure) -> None:
    made = measure("no")
    sentences = result_sentences(built(made, with_all(made.found)))
    (said,) = [s for s in sentences if "shoulder line" in s]
    assert said == "On the shoulder line it is held 8 degrees to the child's left shoulder (between 2 and 14)."
    assert not any("shoulder line" in s for s in result_sentences(made.summary))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("position", [None, "lying"])
def test_nothing_that_was_added_names_a_side_while_mirroring_is_unknown(
    measure: Measure, kind: str, position: str | None
) -> None:
    made = measure("unknown", kind)
    summary = built(made, with_all(made.found), position=position)
    texts = [*result_sentences(summary), *(check.text for check in summary.checks)]
    assert [text for text in texts if re.search(r"\b(right|left)\b", text, re.IGNORECASE)] == []
    measured = {k: json.loads(summary.to_json())[k] for k in ("habitual", "postures", "unsided", "moment")}
    assert not [path for path, _ in values(measured) if re.search("trunk|midface|shift", path)]


def test_doll_has_no_tilt_in_words_either(measure: Measure) -> None:
    made = measure("no", is_still=True, still_faces=1)
    summary = built(made, with_all(made.found))
    assert summary.habitual is None
    assert [c.text for c in summary.checks if "by the eyes" in c.text or "shoulder line" in c.text] == []


def test_camera_of_the_record_is_that_of_the_reading(measure: Measure) -> None:
    """1.96 of 0.8 and of 1.6 degrees on either side."""
    made = measure("no")
    clip = built(made, with_all(made.found)).clip
    assert clip.upright == "scene"
    assert vars(clip.camera_roll_deg) == {"value": 3.0, "low": 1.43, "high": 4.57}
    assert vars(clip.camera_pitch_deg) == {"value": -9.0, "low": -12.14, "high": -5.86}
    assert made.summary.clip.upright == "as-filmed"
    assert vars(made.summary.clip.camera_roll_deg) == {"value": 0.0, "low": -14.7, "high": 14.7}


@pytest.mark.parametrize("target", ["camera", "far picture", "play", "unknown", None])
@pytest.mark.parametrize(("from_target", "target_s"), [(True, 12.0), (False, 3.0), (False, 0.0)])
def test_marks_decide_whether_turn_counts(measure: Measure, target: str | None, from_target: bool, target_s: float) -> None:
    made = measure("no")
    found = replace(made.found, target_s=target_s, from_target=from_target)
    summary = built(made, found, target=target)
    assert summary.habitual is not None
    assert summary.habitual.turn_counts is from_target
    assert any("not evidence" in sentence for sentence in result_sentences(summary)) is not from_target
    assert {c.name: c.level for c in summary.checks}["target"] == ("pass" if from_target else "warn")


@pytest.mark.parametrize("mirrored", ["no", "yes", "unknown"])
@pytest.mark.parametrize("kind", KINDS)
def test_every_record_is_as_its_schema_says_and_reads_back(measure: Measure, mirrored: str, kind: str) -> None:
    made = measure(mirrored, kind)
    for summary in (made.summary, built(made, with_all(made.found))):
        text = summary.to_json()
        jsonschema.validate(json.loads(text), json.loads(shipped_schema("summary-1.schema.json")))
        assert Summary.model_validate_json(text) == summary
