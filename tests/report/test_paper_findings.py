"""The words of the paper on the examination: entered and not, red flags, evidence for and against, sources."""

import re

import pytest

from posture.clinic.findings import Findings
from posture.clinic.references import REFERENCES
from posture.report.paper_findings import (
    NOT_EXAMINED,
    entered_words,
    evidence_rows,
    not_examined,
    outcome_words,
    red_flag_words,
    reliability_lines,
    source_words,
)
from posture.report.paper_words import SIDES_NOT_PRINTED
from posture.summary.record import Check
from tests.report.made_notes import NECK, case, notes_of, summary_of


@pytest.mark.parametrize(
    ("given", "gone"),
    [
        ({}, set()),
        ({"va_logmar": {"right": 0.1}}, {"acuity"}),
        ({"stereo": "none"}, {"stereo"}),
        ({"torsion_deg": {"right_eye": 2.0}}, {"torsion"}),
        ({"neck_range_deg": {"tilt_right": 40.0}}, {"neck"}),
        ({"neck_band_or_mass": "none"}, {"neck"}),
        ({"red_flags": [], "hypertropia_pd": {"primary": 4.0}, "onset": "new"}, set()),
    ],
)
def test_not_examined_leaves_out_what_was_entered(given: dict, gone: set[str]) -> None:
    assert not_examined(Findings(**given)) == [part for part in NOT_EXAMINED if part not in gone]
    assert not_examined(None) == list(NOT_EXAMINED)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"hypertropia_pd": {"primary": 8.0, "tilt_left": -3.0, "supine": 0.0}}, "straight R/L 8, tilt left L/R 3, lying 0"),
        ({"hypertropia_pd": {}}, "hypertropia (PD, method not said): no figure"),
        ({"torsion_deg": {"right_eye": 7.0, "left_eye": -1.0}}, "right eye 7 degrees out (ex), left eye 1 degrees in"),
        ({"v_pattern_pd": -12.0}, "A pattern: 12 PD"),
        ({"v_pattern_pd": 12.0}, "V pattern: 12 PD"),
        ({"cover": {"left_eye": {"minutes": 30.0}}}, "left eye under cover: 30 minutes"),
        (
            {"cover": {"right_eye": {"tilt_deg": {"value": -3.0, "low": -6.0, "high": 0.0}}}},
            "right eye under cover: 3 degrees to the child's left shoulder (between 0 and 6), minutes not said",
        ),
        ({"neck_range_deg": {"tilt_left": 40.0, "passive": True}}, "neck range (degrees, passive): tilt left 40"),
        ({"neck_band_or_mass": "none"}, "band or mass in the neck muscle: none felt"),
        ({"neck_safe": False}, "neck screen: an answer was yes, the neck is not moved"),
        ({"stereo": 120.0}, "stereo: 120 seconds of arc"),
        ({"glasses_effect": "none"}, "with glasses the posture is: the same"),
        ({"trauma": False}, "injury of head or neck: no"),
        ({"asleep": "goes"}, "asleep the posture: goes"),
        ({"fixing_eye": "alternating"}, "fixing eye: alternating"),
        ({"age_months": 13}, "age: 1 year 1 month"),
    ],
)
def test_entered_words(given: dict, said: str) -> None:
    assert said in "; ".join(entered_words(notes_of(findings=given)))


def test_entered_words_leave_out_nothing_that_may_be_entered() -> None:
    """Every key of the findings but the red flags, which have a line of their own, and the method, has words."""
    examples = {
        "age_months": 30, "onset": "new", "neck_safe": True, "trauma": True, "loss_of_consciousness": True,
        "hypertropia_pd": {"primary": 1.0}, "torsion_deg": {"left_eye": 1.0}, "v_pattern_pd": 3.0, "cover": {"left_eye": {"minutes": 3.0}},
        "neck_range_deg": {"turn_left": 3.0}, "neck_band_or_mass": "left", "asleep": "goes", "lying_awake": "goes", "fixing_eye": "left",
        "va_logmar": {"left": 0.2}, "stereo": 60.0, "nystagmus": "old", "previous_eye_surgery": True, "glasses_effect": "less",
        "hearing_loss_side": "left", "feeding_related": True, "attacks": True,
    }  # fmt: skip
    assert set(examples) == set(Findings.model_fields) - {"red_flags", "hypertropia_method"}
    for name, value in examples.items():
        assert len(entered_words(notes_of(findings={name: value}))) == 1, name


def test_entered_words_name_no_side_while_none_is_known() -> None:
    said = entered_words(case("unsided"))
    assert said[-1] == SIDES_NOT_PRINTED
    assert not re.search(r"\b(right|left)\b", "; ".join(said))
    assert {"hypertropia (PD, alternate prism cover): entered", "under cover: entered", "stereo: 120 seconds of arc"} <= set(
        said
    )


@pytest.mark.parametrize(
    ("flags", "said"),
    [
        (None, "no, they were not asked."),
        ([], "yes; there were none."),
        (["drowsy", "mass"], "yes: drowsy; a mass that grows."),
    ],
)
def test_red_flag_words(flags: list[str] | None, said: str) -> None:
    assert red_flag_words(Findings(red_flags=flags)) == said


@pytest.mark.parametrize(
    ("name", "titles"),
    [
        ("sided", ["For: the eye", "Against: the neck", "To neither"]),
        ("neck", ["To the eye", "To the neck"]),
        ("urgent", ["To the eye", "To the neck"]),
    ],
)
def test_evidence_rows_say_for_and_against(name: str, titles: list[str]) -> None:
    notes = case(name)
    assert notes.hint is not None
    assert [title for title, _ in evidence_rows(notes.hint)][: len(titles)] == titles
    lines = [line for _, lines in evidence_rows(notes.hint) for line in lines]
    for line in notes.hint.evidence:
        assert sum(line.text in said for said in lines) >= 1


def test_evidence_rows_have_the_strongest_first() -> None:
    hint = notes_of(findings=NECK).hint
    assert hint is not None
    for _, lines in evidence_rows(hint):
        ranks = [["Strong", "Moderate", "Weak"].index(line.split(":")[0]) for line in lines if ":" in line]
        assert ranks == sorted(ranks)


def test_outcome_words_give_outcome_side_and_agreement() -> None:
    assert outcome_words(case("sided").hint).startswith(
        "The findings fit an eye-driven posture. Side of the weak muscle: right. This agrees"
    )
    assert outcome_words(None) == "The posture was not laid beside an examination."


def test_reliability_lines_say_the_same_thing_once() -> None:
    warned = summary_of("unsided").model_copy(
        update={"checks": [Check(name="mirroring", level="warn", text="It is not known whether the picture is mirrored.")]}
    )
    said = [text for _, text in reliability_lines(notes_of(summary=warned))]
    assert sum("mirrored" in text for text in said) == 1
    assert sum("mirrored" in text for _, text in reliability_lines(notes_of("unsided"))) == 1


def test_source_words_list_every_number_that_stands_on_the_page() -> None:
    hint = case("sided").hint
    assert hint is not None
    said = source_words(hint, "as in [6], and in [99999]")
    cited = {int(number) for line in hint.evidence for number in re.findall(r"\[(\d+)\]", line.source)} | {6}
    assert {int(number) for number in re.findall(r"\[(\d+)\]", said)} == cited
    assert f"[6] {REFERENCES[6]}" in said
    assert source_words(None) == "none cited."
