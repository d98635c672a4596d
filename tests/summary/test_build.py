"""What may be said of a side, and when there is nothing to say."""

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest

from posture.measure import Measurement, Settings, read_clip
from posture.summary.record import Conditions
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
    found = measure("unknown").summary.unsided
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
