"""The outcome, the side and the agreement with the suspected side, rule by rule."""

from typing import Any

import pytest

from posture.summary.record import Summary
from tests.clinic.made import NIL, OBLIQUE_RIGHT, SAFE, TIGHT_RIGHT, clip, hint, interval, words_of

TWO_STEPS: dict[str, Any] = OBLIQUE_RIGHT | {"hypertropia_pd": {"primary": 12.0, "gaze_right": 4.0, "gaze_left": 16.0}}
"""What leaves the right superior oblique and the left superior rectus."""

NECK: dict[str, Any] = SAFE | NIL | TIGHT_RIGHT | {"onset": "infancy"}
"""Everything that a neck-driven posture of the right needs."""

BOTH: dict[str, Any] = {"v_pattern_pd": 30.0, "torsion_deg": {"right_eye": 8.0, "left_eye": 7.0}}


def relieved(right: float = -2, left: float = -3, **given: Any) -> list[Summary]:
    """A tilt to the left and what is left of it under each cover."""
    given = {"age_months": 60} | given
    under = [clip(tilt, covered_eye=eye, covered_minutes=35.0, **given) for eye, tilt in (("right", right), ("left", left))]
    return [clip(-14, **given), *under]


# --- Eye-driven.


def test_three_steps_with_a_posture_fit_an_eye_driven_posture_with_its_side() -> None:
    found = hint(clip(-14, -12), "right", **SAFE, **OBLIQUE_RIGHT)
    assert (found.outcome, found.side, found.suspected, found.urgency) == ("eye-driven", "right", "agrees", None)
    assert any(text.startswith("Examine the neck too") for text in found.next)


@pytest.mark.parametrize("clips", [relieved(), relieved(left=-14)])
def test_relief_under_a_cover_fits_an_eye_driven_posture_without_a_side(clips: list[Summary]) -> None:
    found = hint(clips, "right", **SAFE)
    assert (found.outcome, found.side, found.suspected) == ("eye-driven", None, "agrees")


def test_posture_alone_decides_nothing_however_typical() -> None:
    found = hint(clip(-14, -12, -15), "right", **SAFE)
    assert (found.outcome, found.side, found.suspected) == ("insufficient", None, "agrees")
    assert "The hypertropia was not measured, which would decide: posture alone decides nothing." in found.cautions


def test_typical_posture_with_a_vertical_deviation_that_names_no_muscle_is_eye_driven_without_a_side() -> None:
    found = hint(clip(-14, -12, -15), "right", **SAFE, hypertropia_pd={"primary": 8.0})
    assert (found.outcome, found.side) == ("eye-driven", None)


# --- Side.


@pytest.mark.parametrize(
    ("seen", "side"),
    [
        pytest.param(clip(-14, -12), "right", id="turn to the same side leaves the superior oblique"),
        pytest.param(clip(-14, 0, -15), "right", id="chin down leaves the superior oblique"),
        pytest.param(clip(-14), "right", id="a tilt to the left leaves the superior oblique"),
        pytest.param(clip(14, -12), "left", id="a tilt to the right leaves the superior rectus"),
        pytest.param(clip(-14, 12), None, id="neither goes where head and face go"),
        pytest.param(clip(-3, 0, 0, trunk=-14), None, id="no tilt against gravity leaves both"),
        pytest.param(clip(2, -14), None, id="a turn to the left fits both"),
        pytest.param(clip(None, -12, trunk=-14, position="lying"), None, id="lying, a tilt is no answer of the eyes"),
    ],
)
def test_two_steps_name_a_side_only_where_the_posture_agrees(seen: Summary, side: str | None) -> None:
    assert hint(seen, **SAFE, **TWO_STEPS).side == side


def test_two_steps_with_matching_torsion_name_the_side() -> None:
    seen = clip(2, -14)
    assert hint(seen, **SAFE, **TWO_STEPS).side is None
    assert hint(seen, **SAFE, **TWO_STEPS, torsion_deg={"right_eye": 6.0, "left_eye": 0.0}).side == "right"


def test_tilt_that_is_not_clear_still_speaks_against_a_muscle() -> None:
    # The chin leaves the superior oblique; a tilt the other way, wide as its interval is, does not go with it.
    wide = clip(14, 0, -15).model_dump(by_alias=True)
    wide["habitual"]["tilt_deg"] |= {"low": -6.0, "high": 34.0}
    assert hint(Summary(**wide), **SAFE, **TWO_STEPS).side is None
    assert hint(clip(0, 0, -15), **SAFE, **TWO_STEPS).side == "right"


@pytest.mark.parametrize(
    "change",
    [
        {"hypertropia_method": "other"},
        {"previous_eye_surgery": True},
        {"hypertropia_pd": {"primary": 12.0}},
        {"hypertropia_pd": OBLIQUE_RIGHT["hypertropia_pd"] | {"supine": 3.0}},
    ],
)
def test_no_side_without_the_examiners_pattern(change: dict[str, Any]) -> None:
    assert hint(clip(-14, -12), **(SAFE | OBLIQUE_RIGHT | change)).side is None


def test_paradoxical_tilt_keeps_the_examiners_side_and_is_said() -> None:
    found = hint(clip(14), "right", **SAFE, **OBLIQUE_RIGHT)
    assert (found.outcome, found.side, found.suspected) == ("eye-driven", "right", "agrees")
    assert any("check the mirroring" in text and "3.4 %" in text for text in found.cautions)


def test_both_sides_take_two_signs_one_of_them_at_the_eyes() -> None:
    assert hint(clip(0, 0, -15), "both", **SAFE, **BOTH).side == "both"
    assert hint(clip(0, 0, -15), "both", **SAFE, **BOTH).suspected == "agrees"
    assert hint(clip(0, 0, -15), **SAFE, v_pattern_pd=30.0).side == "both"
    assert hint(clip(-14), **SAFE, v_pattern_pd=30.0).side is None
    assert hint(clip(0, 0, -15), **SAFE, **BOTH, previous_eye_surgery=True).side is None
    skew = {"hypertropia_pd": {"primary": 10.0, "supine": 2.0}, "hypertropia_method": "alternate prism cover"}
    assert hint(clip(0, 0, -15), **SAFE, **BOTH, **skew).side is None
    history = hint(clip(0, 0, -15), trauma=True, loss_of_consciousness=True)
    assert history.side is None
    assert "Injury with loss of consciousness: think of both sides." in history.cautions


def test_chin_down_alone_names_what_else_it_may_be() -> None:
    said = words_of(hint(clip(0, 0, -15), "both", **SAFE))
    for cause in ("high hyperopia without glasses", "A-exotropia", "V-esotropia", "looking at the table"):
        assert cause in said


# --- Neck-driven.


def test_neck_driven_with_all_that_it_needs() -> None:
    found = hint(clip(14, -12), "right", **NECK)
    assert (found.outcome, found.side) == ("neck-driven", "right")
    assert "Orthoptic and refraction check before physiotherapy alone." in found.next


@pytest.mark.parametrize("key", ["onset", "neck_range_deg", "hypertropia_pd", "hypertropia_method", "red_flags"])
def test_neck_driven_needs_each_of_them(key: str) -> None:
    found = hint(clip(14, -12), **{name: value for name, value in NECK.items() if name != key}, neck_band_or_mass="right")
    assert found.outcome == "insufficient"
    assert found.side is None


def test_neck_range_must_be_short_for_the_muscle_towards_which_the_head_is_tilted() -> None:
    assert hint(clip(-14, 12), **NECK).outcome == "insufficient"


@pytest.mark.parametrize("onset", ["childhood", "new"])
@pytest.mark.parametrize("more", [{}, {"neck_band_or_mass": "right"}])
def test_neck_pattern_that_began_later_is_mixed_and_urgent(onset: str, more: dict[str, Any]) -> None:
    found = hint(clip(14, -12), **(NECK | {"onset": onset} | more))
    assert found.outcome == "mixed"
    assert found.urgency is not None
    assert found.side is None


def test_range_of_the_other_side_is_no_neck_pattern() -> None:
    found = hint(clip(-14, 12), **(NECK | {"onset": "childhood"}))
    assert (found.outcome, found.urgency) == ("insufficient", None)


def test_weak_range_with_tilt_and_turn_apart_is_a_neck_pattern() -> None:
    weak = {"tilt_right": 60.0, "tilt_left": 48.0, "turn_right": 80.0, "turn_left": 80.0, "passive": False}
    assert hint(clip(14, -12), **(NECK | {"neck_range_deg": weak})).outcome == "neck-driven"
    assert hint(clip(14, -12), **(NECK | {"neck_range_deg": weak, "onset": "childhood"})).outcome == "mixed"
    assert hint(clip(14), **(NECK | {"neck_range_deg": weak})).outcome == "insufficient"


# --- Mixed.


def test_moderate_on_both_sides_is_mixed() -> None:
    found = hint(clip(-14, -12), **SAFE, **OBLIQUE_RIGHT, neck_band_or_mass="left")
    assert (found.outcome, found.side) == ("mixed", None)
    assert {
        "Orthoptic and refraction check before physiotherapy alone.",
        "Examine the neck too (after the neck screen).",
    } <= set(found.next)
    assert hint(relieved(), **SAFE, neck_band_or_mass="left").outcome == "mixed"


@pytest.mark.parametrize("seen", [clip(-14), clip(two=True), clip(nothing=True), clip(0), clip(-14, sided=False)])
def test_band_with_a_vertical_deviation_is_mixed_always(seen: Summary) -> None:
    assert hint(seen, **SAFE, hypertropia_pd={"primary": 5.0}, neck_band_or_mass="left").outcome == "mixed"


def test_neck_range_with_a_vertical_deviation_is_mixed() -> None:
    assert hint(clip(14), **(NECK | {"hypertropia_pd": {"primary": 5.0}})).outcome == "mixed"


# --- No posture, and too little.


STRAIGHT = clip(1, 1, 1)


def test_no_posture_with_its_fixed_sentence() -> None:
    found = hint(STRAIGHT, "right", **SAFE)
    assert (found.outcome, found.side, found.suspected) == ("no-posture", None, "open")
    assert "In this clip under these conditions; film looking far, tired, with and without glasses." in found.cautions


@pytest.mark.parametrize(
    ("seen", "why"),
    [
        (clip(1, half=4.5), "tilt not inside 5 with its interval"),
        (clip(4), "tilt not inside 5 with its interval"),
        (clip(1, 9), "turn not inside 10 with its interval"),
        (clip(1, trunk=12), "level eyes over a shifted head"),
        (clip(1, trunk=4), "tilt on trunk not inside 5 with its interval"),
        (clip(1, target="play"), "turn that is not evidence"),
        (clip(1, shares=(0.25, 0.0)), "one side held for over a fifth"),
        (clip(1, shares=(0.0, 0.25)), "one side held for over a fifth"),
        (clip(1, 0, -15), "chin down on a target"),
        (clip(1, sided=False), "mirroring unknown"),
        (clip(two=True), "two postures"),
        (clip(nothing=True), "no habitual posture"),
        (clip(None, 1, trunk=1, position="lying"), "gravity is no zero"),
        (clip(1, drops="cyclopentolate"), "under drops"),
        (clip(1, age_months=3), "under 4 months"),
    ],
)
def test_no_posture_only_under_its_narrow_conditions(seen: Summary, why: str) -> None:
    assert hint(seen, **SAFE).outcome == "insufficient", why


def test_no_posture_needs_the_tilt_on_trunk() -> None:
    assert STRAIGHT.habitual
    seen = STRAIGHT.model_copy(update={"habitual": STRAIGHT.habitual.model_copy(update={"tilt_on_trunk_deg": None})})
    assert hint(seen, **SAFE).outcome == "insufficient"


@pytest.mark.parametrize(
    ("seen", "said"),
    [
        (clip(two=True), "periodic alternating nystagmus"),
        (clip(nothing=True), "No habitual posture can be given"),
        (clip(-14, drops="atropine"), "Filmed under drops: this clip is not interpreted."),
        (clip(-14, covered_eye="right"), "No clip with both eyes open was given."),
        (clip(3, half=4), "nothing is there to explain"),
    ],
)
def test_no_posture_no_driven_outcome_even_with_three_steps(seen: Summary, said: str) -> None:
    found = hint(seen, "right", **SAFE, **OBLIQUE_RIGHT)
    assert (found.outcome, found.side) == ("insufficient", None)
    assert any(said in text for text in found.cautions)
    # What the examiner found is not hidden.
    assert "three steps" in {line.finding for line in found.evidence}


def test_like_clips_to_different_sides_are_no_habitual_posture() -> None:
    found = hint([clip(-14), clip(14)], "right", **SAFE, **OBLIQUE_RIGHT)
    assert (found.outcome, found.suspected) == ("insufficient", "open")
    assert any("Like clips show a tilt to different sides" in text for text in found.cautions)
    unlike = hint([clip(-14, correction="none"), clip(14, correction="contact lenses")], "right", **SAFE, **OBLIQUE_RIGHT)
    assert unlike.outcome == "eye-driven"
    assert "A clip (both eyes open) differs in correction: not compared." in unlike.cautions


def test_old_film_of_an_infant_does_not_stand_in_the_way_of_a_later_one() -> None:
    now = clip(-14, -12, age_months=60)
    found = hint([clip(14, age_months=2), now], "right", **SAFE, **OBLIQUE_RIGHT)
    assert (found.outcome, found.side) == ("eye-driven", "right")
    assert "A clip (both eyes open) differs in age: read the comparison with that in mind." in found.cautions


def test_under_four_months_there_is_no_hint() -> None:
    found = hint(clip(-14, -12, age_months=3), "right", **SAFE, **OBLIQUE_RIGHT)
    assert (found.outcome, found.side, found.suspected) == ("insufficient", None, "open")
    assert found.evidence == []
    assert found.also_fits == []
    assert "Under 4 months the posture is measured, but no hint is given." in found.cautions
    assert hint(clip(-14, age_months=3), red_flags=["vomiting"]).urgency == "today"
    # The younger of two ages counts.
    assert hint(clip(-14, age_months=40), **SAFE, **OBLIQUE_RIGHT, age_months=3).evidence == []


# --- Agreement.


@pytest.mark.parametrize(
    ("turn", "suspected", "expected"), [(0, "right", "against"), (0, "left", "agrees"), (-12, "right", "open")]
)
def test_tight_neck_muscle_is_not_the_suspected_weak_eye_muscle(turn: float, suspected: str, expected: str) -> None:
    # A weak right superior oblique would take the tilt to the left: the named side is that of the neck.
    found = hint(clip(14, turn), suspected, **NECK)
    assert (found.outcome, found.side, found.suspected) == ("neck-driven", "right", expected)


def test_eye_pattern_of_the_posture_beside_a_short_neck_range_is_mixed() -> None:
    for half in (2, 13, 40):
        seen = clip(14, 12, -15, half=2).model_dump(by_alias=True)
        seen["habitual"]["chin_deg"] |= {"low": -15.0 - half, "high": -15.0 + half}
        # A wider interval of the chin never takes the objection away.
        assert hint(Summary(**seen), **NECK).outcome == "mixed"


@pytest.mark.parametrize(
    ("seen", "suspected", "expected"),
    [
        (clip(-14), "right", "agrees"),
        (clip(-14), "left", "against"),
        (clip(14), "left", "agrees"),
        (clip(14), "right", "against"),
        (clip(-14), "unknown", "open"),
        (clip(-14), "both", "open"),
        (clip(-14, -12), "right", "agrees"),
        (clip(-14, 12), "right", "open"),
        (clip(-14, 12, half=15), "right", "open"),
        (clip(-4), "right", "open"),
        (clip(-14, half=15), "right", "open"),
        (clip(-14, sided=False), "right", "open"),
        (clip(None, -12, trunk=-14, position="held"), "right", "open"),
        (clip(0, 0, -15), "both", "agrees"),
        (clip(0, 0, -15, target="play"), "both", "open"),
        (clip(two=True), "right", "open"),
    ],
)
def test_posture_alone_gives_agreement_only(seen: Summary, suspected: str, expected: str) -> None:
    found = hint(seen, suspected, **SAFE)
    assert found.suspected == expected
    assert found.side is None


@pytest.mark.parametrize(
    ("suspected", "expected"), [("right", "agrees"), ("left", "against"), ("both", "open"), ("unknown", "open")]
)
def test_named_side_is_compared_with_the_suspected_one(suspected: str, expected: str) -> None:
    assert hint(clip(-14, -12), suspected, **SAFE, **OBLIQUE_RIGHT).suspected == expected


@pytest.mark.parametrize("eye", ["right", "left"])
def test_typed_interval_of_a_cover_counts_against_the_neck_by_its_value(eye: str) -> None:
    # The tilt was smaller under the cover: a wide interval makes that unclear, not untrue.
    typed = {f"{eye}_eye": {"tilt_deg": interval(4, 12).model_dump(), "minutes": 40.0}}
    assert hint(clip(14, -12), **NECK, cover=typed).outcome == "mixed"
    assert hint(clip(14, -12), **NECK, cover={f"{eye}_eye": {"tilt_deg": interval(14).model_dump()}}).outcome == "neck-driven"
