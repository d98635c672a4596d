"""Checks on who was measured, on how the camera stood, on target, shoulders, lines of the face, and the zero of the chin."""

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from posture.geometry.trunk import REASONS, Trunk
from posture.measure import Measurement
from posture.signal.chin_zero import ChinZero
from posture.signal.habitual import FaceLineTilts, HabitualPosture
from posture.signal.interval import Interval as IntervalFound
from posture.signal.reading import Upright, upright_from
from posture.signal.upright import SceneStand
from posture.summary.checks import list_checks, turn_counts
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
    checks = list_checks(facts, made.found, Conditions(target="camera"))
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


LEVEL = SceneStand(np.full(5, 4.0), np.full(5, -12.0), 0.8, 1.6, True)
"""What a scene says: turned counter-clockwise by 4, looking up by 12."""


def with_reading(found: HabitualPosture, **changes: object) -> HabitualPosture:
    """The same posture from a reading that differs."""
    return replace(found, read=replace(found.read, **changes))  # type: ignore[arg-type]


def list_of(made: Measurement, found: HabitualPosture, conditions: Conditions | None = None) -> dict[str, Check]:
    """Checks by their names, each of them once."""
    checks = list_checks(made.facts, found, conditions or Conditions(target="camera"))
    assert len({c.name for c in checks}) == len(checks)
    return {c.name: c for c in checks}


def test_upright_from_the_scene_is_passed_with_how_well(measure: Measure) -> None:
    made = measure("no")
    settings = replace(made.found.read.settings, from_scene=True)
    read = with_reading(made.found, settings=settings, scene=LEVEL, upright=Upright("scene", 4.0, -12.0, 0.8, 1.6))
    check = list_of(made, read)["upright"]
    assert check.level == "pass"
    assert "plumb lines" in check.text
    assert "counter-clockwise by 4 degrees" in check.text
    assert "up by 12" in check.text
    # 1.96 of 0.8 and of 1.6.
    assert "known to about 2 and 3 degrees" in check.text


@pytest.mark.parametrize("scene", [None, LEVEL], ids=["no scene", "a scene that disagrees"])
def test_marked_upright_is_passed_whatever_the_scene(measure: Measure, scene: SceneStand | None) -> None:
    made = measure("no")
    check = list_of(made, with_reading(made.found, scene=scene, upright=Upright("marked", -7.0, 0.0, 1.0, 3.0)))["upright"]
    assert check.level == "pass"
    assert "Stated or marked" in check.text
    assert re.search(r"(?<!counter-)clockwise by 7 degrees", check.text)
    assert "straight ahead" in check.text
    assert "known to about 2 and 6 degrees" in check.text
    assert "plumb lines" not in check.text


def test_as_filmed_says_what_a_scene_would_say(measure: Measure) -> None:
    made = measure("no")
    plain = list_of(made, made.found)["upright"]
    assert plain.level == "warn"
    assert "off by 15 degrees" in plain.text
    assert plain.text.startswith("The picture shows no plumb lines worth trusting.")
    assert "say that it stood level" in plain.text
    doubted = list_of(made, with_reading(made.found, scene=LEVEL, upright=Upright("as-filmed", 0.0, 0.0, 3.6, 8.0)))["upright"]
    assert doubted.level == "warn"
    assert "off by 7 degrees" in doubted.text
    assert "plumb lines say: the picture is turned counter-clockwise by 4 degrees" in doubted.text
    assert "Read upright from the scene" in doubted.text


def test_pitch_that_was_stated_is_not_called_level(measure: Measure) -> None:
    """The roll is not known and is taken as none; the pitch is, and was taken out."""
    made = measure("no")
    text = list_of(made, with_reading(made.found, upright=upright_from(None, 12.0)))["upright"].text
    assert "down by 12" in text
    assert "camera is taken as level, as filmed" not in text


def test_scene_asked_for_with_nothing_to_trust_says_so(measure: Measure) -> None:
    made = measure("no")
    check = list_of(made, with_reading(made.found, settings=replace(made.found.read.settings, from_scene=True)))["upright"]
    assert check.level == "warn"
    assert check.text.startswith("The picture shows no plumb lines worth trusting.")
    assert "off by 15 degrees" in check.text
    assert "Mark something plumb" in check.text
    assert "Read upright from the scene" not in check.text


@pytest.mark.parametrize(
    "upright", [Upright("as-filmed", 0, 0, 2.5, 8), Upright("scene", 4, -12, 1, 2), Upright("marked", -9, 20, 1, 2)]
)
@pytest.mark.parametrize("scene", [None, LEVEL], ids=["no scene", "scene"])
@pytest.mark.parametrize("asked", [False, True], ids=["", "asked"])
def test_upright_is_said_without_a_sign_and_a_side(
    measure: Measure, upright: Upright, scene: SceneStand | None, asked: bool
) -> None:
    made = measure("unknown")
    settings = replace(made.found.read.settings, from_scene=asked)
    text = list_of(made, with_reading(made.found, scene=scene, upright=upright, settings=settings))["upright"].text
    assert not re.search(r"\b(right|left)\b|[-+−]\d", text), text


@pytest.mark.parametrize(
    ("settings", "level", "said"),
    [(1, "warn", "by the examiner, once."), (2, "warn", "2 times"), (3, "pass", "3 times"), (5, "pass", "5 times")],
)
def test_chin_zero_that_was_set(measure: Measure, settings: int, level: str, said: str) -> None:
    made = measure("no")
    check = list_of(made, with_reading(made.found, chin_zero=ChinZero(-6.0, 4.5, settings)))["chin zero"]
    assert check.level == level
    assert said in check.text
    assert "Under 10 degrees" in check.text
    assert ("Three times would be surer" in check.text) == (level == "warn")


def test_chin_zero_that_was_not_set(measure: Measure) -> None:
    made = measure("no")
    check = list_of(made, made.found)["chin zero"]
    assert check.level == "warn"
    assert "without a reference" in check.text
    assert "by the examiner" not in check.text


def test_target_that_was_marked_is_passed(measure: Measure) -> None:
    made = measure("no")
    found = replace(made.found, target_s=12.3, from_target=True)
    for target in (None, "unknown", "play", "far picture"):
        conditions = Conditions(target=target)  # type: ignore[arg-type]
        check = list_of(made, found, conditions)["target"]
        assert check.level == "pass"
        assert "12 s on the target" in check.text
        assert turn_counts(found, conditions)


@pytest.mark.parametrize("target", [None, "camera", "far picture", "play"])
def test_too_little_on_the_target_is_a_warning(measure: Measure, target: str | None) -> None:
    """Whatever was stated for the whole clip: marks say that the eyes were mostly elsewhere."""
    made = measure("no")
    found = replace(made.found, target_s=3.2, from_target=False)
    conditions = Conditions(target=target)  # type: ignore[arg-type]
    check = list_of(made, found, conditions)["target"]
    assert check.level == "warn"
    assert check.text.startswith("3.2 s")
    assert "no evidence" in check.text
    assert not turn_counts(found, conditions)


def test_too_little_is_not_rounded_up_to_what_would_be_enough(measure: Measure) -> None:
    made = measure("no")
    text = list_of(made, replace(made.found, target_s=4.97, from_target=False))["target"].text
    assert text.startswith("4.9 s")


def test_enough_time_in_too_few_spells_is_not_called_little_time(measure: Measure) -> None:
    """Twenty seconds in one spell: it is the spells that are too few, and that must be said."""
    made = measure("no")
    text = list_of(made, replace(made.found, target_s=20.0, from_target=False))["target"].text
    assert "spell" in text, text


def test_two_postures_are_not_for_want_of_time_on_the_target(measure: Measure) -> None:
    made = measure("no", "two")
    checks = list_of(made, replace(made.found, target_s=20.0, from_target=False))
    assert checks["one posture"].level == "warn"
    assert [c.text for c in checks.values() if "Only 20 s" in c.text] == []


@pytest.mark.parametrize("height", ["above", "below"])
@pytest.mark.parametrize("marked", [False, True], ids=["stated", "marked"])
def test_camera_as_target_above_or_below_is_no_evidence_for_chin(measure: Measure, height: str, marked: bool) -> None:
    made = measure("no")
    found = replace(made.found, target_s=20.0, from_target=True) if marked else made.found
    checks = list_checks(made.facts, found, Conditions(target="camera", camera_height=height))  # type: ignore[arg-type]
    said = [c for c in checks if f"a camera {height} eye level" in c.text]
    assert [c.level for c in said] == ["warn"]
    assert "chin is not evidence" in said[0].text


@pytest.mark.parametrize(
    "conditions", [{"target": "camera", "camera_height": "eye level"}, {"target": "far picture", "camera_height": "above"}]
)
def test_camera_that_is_level_or_no_target_needs_no_word(measure: Measure, conditions: dict[str, str]) -> None:
    made = measure("no")
    assert "target" not in list_of(made, made.found, Conditions(**conditions))  # type: ignore[arg-type]


def trunk_of(made: Measurement, **refused: float) -> Trunk:
    """No shoulder line, for those reasons."""
    missing = np.full(len(made.track.time_s), np.nan)
    return Trunk(
        missing,
        missing,
        dict.fromkeys(REASONS, 0.0) | {name.replace("_", " "): share for name, share in refused.items()},
        np.nan,
    )


def test_shoulders_that_could_not_be_used_say_why(measure: Measure) -> None:
    made = measure("no")
    check = list_of(made, with_reading(made.found, trunk=trunk_of(made, arm_raised=0.6, turned=0.37, stray=0.03)))["shoulders"]
    assert check.level == "warn"
    assert "60 % had an arm raised, 37 % had the trunk turned away)" in check.text
    assert "no tilt on the shoulder line is given" in check.text


def test_shoulders_that_were_never_looked_at_are_not_blamed(measure: Measure) -> None:
    made = measure("no")
    check = list_of(made, with_reading(made.found, trunk=trunk_of(made)))["shoulders"]
    assert check.level == "warn"
    assert "%" not in check.text


@pytest.mark.parametrize("kind", ["two", "moment", "photograph", "no face"])
def test_shoulders_need_no_word_where_there_is_not_one_posture(measure: Measure, kind: str) -> None:
    assert check(measure("no", kind), "shoulders") is None


def test_shoulders_that_were_used_need_no_word(measure: Measure) -> None:
    made = measure("no")
    assert "shoulders" not in list_of(made, replace(made.found, tilt_on_trunk=IntervalFound(-9.0, -14.0, -4.0)))


def lines_of(difference: float) -> FaceLineTilts:
    """An eye line at 12 to the left, and a mid-face line that differs."""
    middles = (-12.0, -12.0 + difference, difference)
    return FaceLineTilts(*(IntervalFound(v, v - 4.0, v + 4.0) for v in middles))


@pytest.mark.parametrize(("difference", "told"), [(2.1, True), (-2.1, True), (2.0, False), (-1.9, False), (0.0, False)])
def test_two_lines_are_told_where_they_differ(measure: Measure, difference: float, told: bool) -> None:
    made = measure("no")
    checks = list_of(made, replace(made.found, lines=lines_of(difference)))
    assert ("two lines" in checks) == told
    if told:
        assert checks["two lines"].level == "warn"
        assert "12 degrees to the child's left shoulder by the eyes" in checks["two lines"].text


def test_two_lines_of_a_picture_that_may_be_mirrored_have_no_side(measure: Measure) -> None:
    made = measure("unknown")
    text = list_of(made, replace(made.found, lines=lines_of(5.0)))["two lines"].text
    assert "differ by 5 degrees" in text
    assert not re.search(r"\b(right|left)\b", text)


@pytest.mark.parametrize("position", ["lying", "held"])
def test_two_lines_of_a_lying_child_have_no_tilt(measure: Measure, position: str) -> None:
    """Gravity is no zero there, neither for the head nor for a line of its face; that they differ may be said."""
    made = measure("no")
    conditions = Conditions(target="camera", position=position)  # type: ignore[arg-type]
    checks = list_of(made, replace(made.found, lines=lines_of(5.0)), conditions)
    assert [c.text for c in checks.values() if c.name == "two lines" and re.search(r"shoulder\b|upright", c.text)] == []
