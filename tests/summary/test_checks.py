"""Checks on who was measured: which person, among how many, and whether it is one at all."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from posture.measure import Measurement
from posture.summary.checks import list_checks
from posture.summary.record import Check, Conditions
from posture.summary.words import result_sentences

Measure = Callable[..., Measurement]


def check(measurement: Measurement, name: str) -> Check | None:
    found = [c for c in measurement.summary.checks if c.name == name]
    assert len(found) <= 1
    return found[0] if found else None


def test_one_person_needs_no_word(measure: Measure) -> None:
    made = measure("no")
    assert [check(made, name) for name in ("person", "persons", "movement")] == [None] * 3
    assert made.summary.habitual is not None
    assert (made.summary.clip.persons, made.summary.clip.person) == (1, 1)


@pytest.mark.parametrize("person", [1, 2])
def test_two_persons_are_a_warning_that_names_the_one(measure: Measure, person: int) -> None:
    made = measure("no", persons=2, person=person, asked_person=person)
    found = check(made, "persons")
    assert found is not None
    assert found.level == "warn"
    assert found.text.startswith(f"2 persons were seen; person {person} was measured")
    assert check(made, "person") is None
    assert made.summary.habitual is not None
    assert (made.summary.clip.persons, made.summary.clip.person) == (2, person)


@pytest.mark.parametrize(("persons", "said"), [(1, "1 was seen"), (2, "2 were seen")])
def test_person_who_was_not_seen_is_a_failure(measure: Measure, persons: int, said: str) -> None:
    made = measure("no", "no face")
    facts = replace(made.facts, persons=persons, person=None, asked_person=3)
    checks = list_checks(facts, made.found, made.found.read.settings, Conditions(target="camera"))
    assert checks[0].name == "person"
    assert checks[0].level == "fail"
    assert "Person 3 was asked for" in checks[0].text
    assert said in checks[0].text
    # It is not said that no face was found: faces were found, of others.
    assert "face" not in [c.name for c in checks]
    assert "persons" not in [c.name for c in checks]


@pytest.mark.parametrize("asked", [1, 2])
def test_where_nobody_was_seen_it_is_the_face_that_is_missing(measure: Measure, asked: int) -> None:
    made = measure("no", "no face", asked_person=asked)
    missing = check(made, "face")
    assert missing is not None
    assert missing.level == "fail"
    assert check(made, "person") is None
    assert made.summary.clip.person is None


@pytest.mark.parametrize("mirrored", ["no", "yes", "unknown"])
@pytest.mark.parametrize("kind", ["one", "two"])
def test_face_that_never_moved_has_no_habit(measure: Measure, mirrored: str, kind: str) -> None:
    assert measure(mirrored, kind).found.postures
    made = measure(mirrored, kind, is_still=True, still_faces=1)
    found = check(made, "movement")
    assert found is not None
    assert found.level == "fail"
    assert "never moved against the scene" in found.text
    summary = made.summary
    assert (summary.habitual, summary.unsided, summary.postures) == (None, None, [])
    assert summary.checks[0].level == "fail"
    assert result_sentences(summary)


@pytest.mark.parametrize(("still_faces", "said"), [(1, "A face never moved"), (3, "3 faces never moved")])
def test_things_that_look_like_faces_are_named_and_passed_over(measure: Measure, still_faces: int, said: str) -> None:
    made = measure("no", still_faces=still_faces)
    found = check(made, "movement")
    assert found is not None
    assert found.level == "pass"
    assert found.text.startswith(said)
    assert made.summary.habitual is not None


@pytest.mark.parametrize(("share", "level"), [(0.05, None), (0.3, "warn")])
def test_faces_left_out_are_told(measure: Measure, share: float, level: str | None) -> None:
    found = check(measure("no", unreliable_share=share), "clear view")
    assert (found and found.level) == level
    if found:
        assert "30 % of the faces" in found.text
