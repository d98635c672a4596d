"""Every rule of the evidence, one by one: what a finding points to and how strongly."""

from typing import Any

import pytest

from posture.clinic.evidence import RANK
from posture.clinic.hint import EvidenceRecord, Hint
from posture.summary.record import Summary, Symmetry
from tests.clinic.made import NIL, OBLIQUE_RIGHT, SAFE, TIGHT_RIGHT, clip, hint, interval, words_of


def line_of(found: Hint, finding: str) -> EvidenceRecord:
    """The one line of a finding."""
    lines = [line for line in found.evidence if line.finding == finding]
    assert len(lines) == 1, [line.finding for line in found.evidence]
    return lines[0]


def weight(found: Hint, finding: str) -> tuple[str, str]:
    line = line_of(found, finding)
    return line.points_to, line.strength


def findings_of(found: Hint) -> set[str]:
    return {line.finding for line in found.evidence}


@pytest.mark.parametrize(
    ("seen", "finding", "expected"),
    [
        pytest.param(clip(-14, -12), "tilt and turn to the same side", ("eye", "weak"), id="same side"),
        pytest.param(
            clip(-14, -12, -15), "tilt and turn to the same side, chin down", ("eye", "moderate"), id="same side and chin down"
        ),
        pytest.param(clip(-14, -12, -9), "tilt and turn to the same side", ("eye", "weak"), id="chin under 10 never counts"),
        pytest.param(clip(-14, 12), "tilt and turn to opposite sides", ("neck", "weak"), id="opposite sides"),
        pytest.param(clip(-14, 12, 15), "tilt and turn to opposite sides, chin up", ("eye", "weak"), id="opposite, chin up"),
        pytest.param(clip(2, 14), "pure turn", ("eye", "weak"), id="pure turn"),
        pytest.param(clip(-14, 1), "pure tilt", ("neither", "weak"), id="pure tilt"),
        pytest.param(clip(0, 0, -15), "chin down alone", ("neither", "weak"), id="chin down alone"),
        pytest.param(clip(0, 0, 15), "chin up alone", ("neither", "weak"), id="chin up alone"),
        pytest.param(clip(-14, -12, -30, target="play"), "tilt, turn not evidence", ("neither", "weak"), id="play"),
    ],
)
def test_filmed_posture(seen: Summary, finding: str, expected: tuple[str, str]) -> None:
    assert weight(hint(seen, **SAFE), finding) == expected


@pytest.mark.parametrize(
    ("conditions", "counts"),
    [
        ({"target": "camera"}, True),
        ({"target": "camera", "camera_height": "eye level"}, True),
        ({"target": "camera", "camera_height": "above"}, False),
        ({"target": "camera", "camera_height": "below"}, False),
        ({"target": "far picture", "target_distance_m": 3.0}, True),
        ({"target": "far picture", "target_distance_m": 2.0}, False),
        ({"target": "near picture", "target_distance_m": 0.35}, True),
        ({"target": "near picture", "target_distance_m": 0.8}, False),
        ({"target": "play"}, False),
        ({"target": "unknown"}, False),
        ({"target": None}, False),
    ],
)
@pytest.mark.parametrize("sided", [True, False])
def test_turn_counts_only_on_a_target_straight_ahead(conditions: dict[str, Any], counts: bool, sided: bool) -> None:
    found = hint(clip(-14, -12, sided=sided, **conditions), **SAFE)
    assert ("tilt and turn to the same side" in findings_of(found)) == counts
    assert any("Turn and chin are not evidence" in text for text in found.cautions) == (not counts)


@pytest.mark.parametrize(
    ("seen", "why"),
    [
        (clip(-4, -12), "tilt under 5"),
        (clip(-14, -4), "turn under 5"),
        (clip(-14, -12, half=13), "turn not clear of none"),
        (clip(-14, -12, half=15), "neither is clear"),
    ],
)
def test_direction_needs_tilt_and_turn_clear_of_none(seen: Summary, why: str) -> None:
    assert "tilt and turn to the same side" not in findings_of(hint(seen, **SAFE)), why


def test_opposite_sides_are_moderate_for_the_neck_only_with_range_and_onset_in_infancy() -> None:
    key, strong_key = "tilt and turn to opposite sides", "tilt and turn to opposite sides, neck range short"
    seen = clip(14, -12)
    assert weight(hint(seen, **SAFE, **TIGHT_RIGHT, onset="infancy"), strong_key) == ("neck", "moderate")
    assert weight(hint(seen, **SAFE, onset="infancy"), key) == ("neck", "weak")
    assert weight(hint(seen, **SAFE, **TIGHT_RIGHT), key) == ("neck", "weak")
    # The range of the other muscle does not match.
    assert weight(hint(clip(-14, 12), **SAFE, **TIGHT_RIGHT, onset="infancy"), key) == ("neck", "weak")


@pytest.mark.parametrize(
    "findings",
    [
        {"onset": "new", "red_flags": []},
        {"trauma": True, "red_flags": []},
        {"red_flags": ["neck_pain"]},
        {"red_flags": ["severe_pain"]},
    ],
)
def test_opposite_sides_with_pain_injury_or_recent_onset_is_subluxation_first(findings: dict[str, Any]) -> None:
    found = hint(clip(14, -12), **findings)
    assert found.evidence[0].finding == "tilt and turn to opposite sides, with pain, injury or recent onset"
    assert "subluxation until excluded" in found.evidence[0].text
    assert found.evidence[0].points_to == "neither"
    assert found.urgency == "today"
    assert any("Do not move the neck" in text for text in found.cautions)


def test_lying_or_held_gravity_is_no_zero_and_the_eye_gets_no_evidence() -> None:
    for position in ("lying", "held"):
        for chin in (0, -15):
            found = hint(clip(None, -12, chin, trunk=-14, position=position), **SAFE)
            assert not [line for line in found.evidence if line.points_to == "eye"]
        assert any("gravity is no zero" in text for text in found.cautions)
        opposite = hint(clip(None, 12, trunk=-14, position=position), **SAFE)
        line = line_of(opposite, "tilt and turn to opposite sides")
        assert line.points_to == "neck"
        assert "on the shoulder line" in line.text


def test_infant_is_read_on_the_shoulder_line() -> None:
    found = hint(clip(-14, -12, trunk=-7, age_months=6), **SAFE)
    assert "7 degrees to the child's left shoulder" in line_of(found, "tilt and turn to the same side").text
    assert any("From 4 to 9 months" in text for text in found.cautions)
    assert "14 degrees" in line_of(hint(clip(-14, -12, trunk=-7, age_months=10), **SAFE), "tilt and turn to the same side").text


# --- Cover test.


def covers(right: float | None, left: float | None, minutes: float | None = 35.0, **conditions: Any) -> list[Summary]:
    """An open clip and one under each cover."""
    given = {"age_months": 60, "position": "sitting"} | conditions
    clips = [clip(-14, covered_eye="none", **given)]
    for eye, tilt in (("right", right), ("left", left)):
        if tilt is not None:
            clips.append(clip(tilt, covered_eye=eye, covered_minutes=minutes, **given))
    return clips


@pytest.mark.parametrize(
    ("clips", "finding", "expected"),
    [
        (covers(-2, -3), "relieved by either eye", ("eye", "moderate")),
        (covers(-2, -3, minutes=2), "relieved by either eye", ("eye", "moderate")),
        (covers(-2, -14), "relieved under one eye only", ("eye", "moderate")),
        (covers(-14, -14), "relieved by neither eye", ("neck", "weak")),
        (covers(-14, -14, minutes=29), "cover too short to say", ("neither", "weak")),
        (covers(-14, -14, minutes=None), "cover too short to say", ("neither", "weak")),
        (covers(-2, None), "relieved under one cover, the other open", ("eye", "weak")),
        (covers(-14, None), "cover not clear", ("neither", "weak")),
    ],
)
def test_cover_test(clips: list[Summary], finding: str, expected: tuple[str, str]) -> None:
    assert weight(hint(clips, **SAFE), finding) == expected


def test_cover_words_are_the_four_words() -> None:
    assert "relieved by right only" in words_of(hint(covers(-2, -14), **SAFE))
    assert "relieved by left only" in words_of(hint(covers(-14, -2), **SAFE))
    assert "relieved by either eye" in words_of(hint(covers(-2, -2), **SAFE))
    stays = words_of(hint(covers(-14, -14), **SAFE))
    assert "relieved by neither" in stays
    for exception in ("nystagmus null", "skew", "hemianopia", "one-eyed", "Brown", "shortened muscle", "hates the patch"):
        assert exception in stays


def test_cover_test_under_six_months_is_not_interpreted() -> None:
    found = hint(covers(-2, -3, age_months=5), **SAFE)
    assert not [line for line in found.evidence if "relieved" in line.finding or "cover" in line.finding]
    assert "Under 6 months a cover test is not interpreted." in found.cautions


def test_covered_clip_in_another_position_is_listed_and_not_compared() -> None:
    clips = covers(-2, -3)
    clips[1] = clip(-2, covered_eye="right", covered_minutes=35.0, age_months=60, position="standing")
    found = hint(clips, **SAFE)
    assert "A clip (right eye covered) differs in position: not compared." in found.cautions
    assert "relieved by either eye" not in findings_of(found)


def test_typed_cover_test_counts_like_a_filmed_one() -> None:
    typed = {eye: {"tilt_deg": interval(-2).model_dump(), "minutes": 30.0} for eye in ("right_eye", "left_eye")}
    assert weight(hint(clip(-14, age_months=60), **SAFE, cover=typed), "relieved by either eye") == ("eye", "moderate")


# --- The examiner's own.


@pytest.mark.parametrize(
    ("change", "finding", "expected"),
    [
        pytest.param({}, "three steps", ("eye", "strong"), id="three steps"),
        pytest.param({"hypertropia_method": "other"}, "three steps", ("eye", "moderate"), id="another method"),
        pytest.param(
            {"hypertropia_pd": {"primary": 12.0, "gaze_right": 4.0, "gaze_left": 16.0}},
            "three steps",
            ("eye", "moderate"),
            id="two steps",
        ),
        pytest.param(
            {
                "hypertropia_pd": {"primary": 12.0, "gaze_right": 4.0, "gaze_left": 16.0},
                "torsion_deg": {"right_eye": 6.0, "left_eye": 0.0},
            },
            "three steps with torsion",
            ("eye", "strong"),
            id="two steps and torsion",
        ),
        pytest.param(
            {"hypertropia_pd": {"primary": 12.0}}, "vertical deviation, no muscle named", ("eye", "weak"), id="one step"
        ),
        pytest.param(
            {"previous_eye_surgery": True}, "vertical deviation, no muscle named", ("eye", "weak"), id="earlier surgery"
        ),
        pytest.param(NIL, "no vertical deviation", ("neck", "weak"), id="nil"),
    ],
)
def test_vertical_pattern(change: dict[str, Any], finding: str, expected: tuple[str, str]) -> None:
    assert weight(hint(clip(), **(SAFE | OBLIQUE_RIGHT | change)), finding) == expected


def test_skew_is_read_first_and_is_urgent() -> None:
    figures = OBLIQUE_RIGHT["hypertropia_pd"] | {"supine": 4.0}
    found = hint(clip(), **(SAFE | OBLIQUE_RIGHT | {"hypertropia_pd": figures}))
    assert found.evidence[0].finding == "deviation falls when lying"
    assert "posterior fossa disease until excluded" in found.evidence[0].text
    assert found.urgency == "today"
    assert found.side is None
    inwards = hint(clip(), **SAFE, **OBLIQUE_RIGHT, torsion_deg={"right_eye": -5.0, "left_eye": 0.0})
    assert inwards.evidence[0].finding == "higher eye turned inwards"
    assert inwards.urgency is not None


@pytest.mark.parametrize(("short_deg", "strength"), [(9.0, None), (12.0, "weak"), (15.0, "weak"), (20.0, "moderate")])
def test_neck_range_in_one_direction(short_deg: float, strength: str | None) -> None:
    range_ = {"tilt_right": 60.0, "tilt_left": 60.0 - short_deg, "turn_right": 80.0, "turn_left": 80.0, "passive": False}
    found = hint(clip(14), **SAFE, neck_range_deg=range_)
    if strength is None:
        assert weight(found, "neck range even") == ("neither", "weak")
    else:
        assert weight(found, "neck range") == ("neck", strength)


def test_neck_range_in_both_directions_is_strong_and_never_excludes_the_eye() -> None:
    found = hint(clip(14), **SAFE, **TIGHT_RIGHT)
    assert weight(found, "neck range") == ("neck", "strong")
    assert "never excludes the eye" in line_of(found, "neck range").text
    assert "of the right" in line_of(found, "neck range").text


def test_neck_range_of_the_other_side_than_the_tilt_is_weak() -> None:
    assert weight(hint(clip(-14), **SAFE, **TIGHT_RIGHT), "neck range of the other side") == ("neck", "weak")


def test_reach_in_free_play_is_no_evidence() -> None:
    seen = clip(-14, target="play")
    assert seen.habitual
    far = seen.habitual.reach.model_copy(update={"tilt_right_deg": 0.0, "turn_left_deg": 0.0})
    short = seen.model_copy(update={"habitual": seen.habitual.model_copy(update={"reach": far})})
    assert hint(seen, **SAFE) == hint(short, **SAFE)


@pytest.mark.parametrize(
    ("findings", "finding", "expected"),
    [
        ({"neck_band_or_mass": "right"}, "band or mass", ("neck", "moderate")),
        ({"asleep": "goes"}, "gone asleep", ("neither", "weak")),
        ({"asleep": "stays"}, "stays asleep", ("neither", "weak")),
        ({"lying_awake": "goes"}, "gone lying awake", ("neither", "weak")),
        ({"lying_awake": "stays"}, "stays lying awake", ("neither", "weak")),
        ({"nystagmus": "old"}, "nystagmus", ("neither", "weak")),
        ({"glasses_effect": "less"}, "glasses", ("neither", "weak")),
        ({"va_logmar": {"right": 0.0, "left": 0.2}}, "one poor eye", ("neither", "weak")),
    ],
)
def test_other_findings(findings: dict[str, Any], finding: str, expected: tuple[str, str]) -> None:
    assert weight(hint(clip(), **SAFE, **findings), finding) == expected


def test_gone_asleep_and_gone_lying_awake_are_two_findings() -> None:
    assert {"gone asleep", "gone lying awake"} <= findings_of(hint(clip(), **SAFE, asleep="goes", lying_awake="goes"))


def test_facial_asymmetry_says_how_long_and_nothing_else() -> None:
    seen = clip().model_copy(update={"symmetry": Symmetry(facial_angle_deg=interval(3), relative_facial_size=interval(1, 0.1))})
    assert weight(hint(seen, **SAFE), "facial asymmetry") == ("neither", "weak")
    assert hint(seen, **SAFE).outcome == hint(clip(), **SAFE).outcome


def test_rhythm_is_read_first_is_urgent_and_never_reassures() -> None:
    found = hint(clip(rhythm=True), **SAFE)
    assert found.evidence[0].finding == "rhythm"
    assert "imaging advice" in found.evidence[0].text
    assert found.urgency == "soon"
    assert "spasmus nutans" in {row.cause for row in found.also_fits}
    still = words_of(hint(clip(), **SAFE)).lower()
    assert "no rhythm" not in still
    assert "no nystagmus" not in still


def test_filmed_signs_are_never_stronger_than_the_examiners_own() -> None:
    # At most moderate; and beside a hypertropia that the examiner measured as nil the most typical posture decides nothing.
    seen = clip(-14, -12, -15)
    found = hint(seen, **SAFE, **OBLIQUE_RIGHT)
    assert weight(found, "tilt and turn to the same side, chin down") == ("eye", "moderate")
    assert found.evidence[0].finding == "three steps"
    nil = hint(seen, **SAFE, **NIL)
    assert nil.outcome == "insufficient"
    assert any("which a posture alone does not outweigh" in text for text in nil.cautions)


def test_evidence_is_ordered_by_weight_with_what_decides_nothing_last() -> None:
    found = hint(clip(-14, -12), **SAFE, **OBLIQUE_RIGHT, asleep="goes", neck_band_or_mass="left")
    decides = [line for line in found.evidence if line.points_to != "neither"]
    assert found.evidence[: len(decides)] == decides
    ranks = [RANK[line.strength] for line in decides]
    assert ranks == sorted(ranks, reverse=True)
    assert ranks[0] == RANK["strong"]
