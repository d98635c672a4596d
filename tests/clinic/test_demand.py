"""Comparisons under different demand: which clips are laid beside each other, what is shown, and what may not be said."""

import re
from typing import Any

import pytest

from posture.clinic.cover import NO_DROPS
from posture.clinic.demand import NATURAL_DEG, AngleDifference, Comparison, demand_of, effect_of
from posture.clinic.demand_values import HARD, IDLE, WITH_GLASSES, WITHOUT_GLASSES, demand_value
from posture.clinic.demand_words import say_comparison, say_difference
from posture.clinic.hint import hint_of, hint_sentences
from posture.clinic.sentences import CAUSES, CAUTIONS, DEMAND_NOTES
from posture.summary.record import Conditions, Summary
from tests.clinic.made import SAFE, clip, hint, interval
from tests.clinic.mirror import mirror_summary, swapped

SIDE = re.compile(r"\b(right|left)\b", re.IGNORECASE)

LIKE: dict[str, Any] = {"position": "sitting", "age_months": 60}
WITHOUT: dict[str, Any] = LIKE | {"correction": "none"}
WITH: dict[str, Any] = LIKE | {"correction": "glasses"}
IDLY: dict[str, Any] = LIKE | {"attention": "idle"}
HARD_AT: dict[str, Any] = LIKE | {"attention": "looking hard"}
FAR: dict[str, Any] = LIKE | {"target": "far picture", "target_distance_m": 4.0}
NEAR: dict[str, Any] = LIKE | {"target": "near picture", "target_distance_m": 0.35}


def only(*clips: Summary) -> Comparison:
    (found,) = demand_of(clips)
    return found


def of_tilt(first: float, second: float, half: float = 1.0) -> AngleDifference:
    found = only(clip(first, half=half, **WITHOUT), clip(second, half=half, **WITH)).tilt
    assert found is not None
    return found


# --- Which value a clip was filmed under.


@pytest.mark.parametrize(
    ("conditions", "value"),
    [
        (Conditions(target="far picture"), 0),
        (Conditions(target="far picture", target_distance_m=6.0), 0),
        (Conditions(target="far picture", target_distance_m=2.0), None),
        (Conditions(target="near picture"), 1),
        (Conditions(target="near picture", target_distance_m=0.4), 1),
        (Conditions(target="near picture", target_distance_m=3.0), None),
        (Conditions(target="camera"), None),
        (Conditions(target="camera", target_distance_m=0.7), None),
        (Conditions(target="camera", target_distance_m=3.0), 0),
        (Conditions(target="camera", target_distance_m=0.35), 1),
        (Conditions(target="play", target_distance_m=0.35), None),
        (Conditions(target_distance_m=4.0), None),
    ],
)
def test_target_is_far_or_near_only_where_it_and_its_distance_agree(conditions: Conditions, value: int | None) -> None:
    assert demand_value("target", conditions) == value


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("none", 0), ("No glasses", 0), ("  without   GLASSES. ", 0), ("glasses", 1), ("Spectacles", 1),
        ("contact lenses", None), ("half of the correction", None), ("glasses, old ones", None), ("", None), (None, None),
    ],
)  # fmt: skip
def test_correction_is_understood_or_left_alone(text: str | None, value: int | None) -> None:
    assert demand_value("correction", Conditions(correction=text)) == value


@pytest.mark.parametrize(
    ("text", "value"),
    [("idle", 0), ("Looking hard", 1), ("tired", None), ("not idle", None), ("not looking hard", 0), (None, None)],
)
def test_attention_is_understood_or_left_alone(text: str | None, value: int | None) -> None:
    assert demand_value("attention", Conditions(attention=text)) == value


def test_no_word_means_both_values() -> None:
    assert not IDLE & HARD
    assert not WITH_GLASSES & WITHOUT_GLASSES


# --- What is shown.


@pytest.mark.parametrize(
    ("first", "second", "half", "says"),
    [
        (-14.0, -5.0, 1.0, "smaller"),
        (-5.0, -14.0, 1.0, "larger"),
        (14.0, 5.0, 1.0, "smaller"),
        (-8.0, 8.0, 1.0, "other side"),
        # Its interval leaves 0 out, but a posture varies as much by itself.
        (-14.0, -11.5, 0.5, "not shown"),
        # Beyond the natural variation, but its interval does not leave 0 out.
        (-14.0, -8.0, 5.0, "not shown"),
        # Each of the two by itself would be met; together they are not.
        (-14.0, -11.0, 1.5, "not shown"),
        (0.0, 0.0, 1.0, "not shown"),
    ],
)
def test_a_difference_is_shown_beyond_its_interval_and_the_natural_variation(
    first: float, second: float, half: float, says: str
) -> None:
    found = of_tilt(first, second, half)
    assert found.says == says
    assert found.is_shown == (says != "not shown")
    if found.is_shown:
        assert found.excludes_0
        assert found.exceeds_natural


def test_the_two_questions_are_answered_apart() -> None:
    small, unsure = of_tilt(-14.0, -11.5, 0.5), of_tilt(-14.0, -8.0, 5.0)
    assert (small.excludes_0, small.exceeds_natural) == (True, False)
    assert (unsure.excludes_0, unsure.exceeds_natural) == (False, True)
    assert NATURAL_DEG == {"tilt": 2.7, "turn": 4.5, "chin": 4.1}


def test_difference_has_the_uncertainties_of_both_in_quadrature() -> None:
    found = only(clip(-14.0, half=3.0, **WITHOUT), clip(-5.0, half=4.0, **WITH)).tilt
    assert found is not None
    assert found.difference_deg == interval(9.0, 5.0)
    assert found.grown_deg == interval(-9.0, 5.0)


def test_widening_an_interval_never_shows_more() -> None:
    shown = [of_tilt(-14.0, -8.0, half).is_shown for half in (0.5, 1.0, 2.0, 3.0, 4.0, 6.0)]
    assert shown == sorted(shown, reverse=True)
    assert shown[0]
    assert not shown[-1]


def test_turn_and_chin_only_where_they_count_in_both() -> None:
    names = [angle.name for angle in only(clip(-14, 12, -12, **FAR), clip(-14, 2, 0, **NEAR)).angles]
    assert names == ["tilt", "turn", "chin"]
    beside = only(clip(-14, 12, -12, **FAR), clip(-14, 2, 0, **(NEAR | {"target_distance_m": 0.7})))
    assert [angle.name for angle in beside.angles] == ["tilt"]
    play = only(*(clip(-14, 12, **(one | {"target": "play"})) for one in (WITHOUT, WITH)))
    assert [angle.name for angle in play.angles] == ["tilt"]


# --- Which clips are laid beside each other.


def test_each_demand_is_compared_in_its_order_whatever_the_order_of_the_clips() -> None:
    clips = [clip(-14, **FAR), clip(-6, **NEAR), clip(-3, **IDLY), clip(-12, **HARD_AT), clip(-14, **WITHOUT), clip(-4, **WITH)]
    found = demand_of(clips)
    assert [one.demand for one in found] == ["target", "attention", "correction"]
    assert found[0].values == ("looking far (4 m)", "looking near (0.35 m)")
    assert found[1].values == ("idle", "looking hard")
    assert found[2].values == ("without glasses", "with glasses")
    assert [effect_of(one) for one in found] == ["less", "more", "less"]
    assert demand_of(clips[::-1]) == found


@pytest.mark.parametrize(
    "other",
    [
        clip(-4, correction="contact lenses", **LIKE),
        clip(-4, **LIKE),
        clip(-4, drops="atropine", **WITH),
        clip(nothing=True, **WITH),
        clip(two=True, **WITH),
        clip(-4, **WITHOUT),
    ],
    ids=["lenses", "not said", "drops", "nothing", "two postures", "the same"],
)
def test_what_cannot_be_compared_is_left_out(other: Summary) -> None:
    assert demand_of([clip(-14, **WITHOUT), other]) == ()
    assert demand_of([]) == ()
    assert "atropine" not in NO_DROPS


def test_tilts_against_gravity_and_on_the_shoulder_line_are_not_compared() -> None:
    lying = clip(None, trunk=-4, **(WITH | {"position": "lying"}))
    found = only(clip(-14, **WITHOUT), lying)
    assert found.tilt is None
    assert not found.has_verdict


def test_like_clips_count_together_as_unsure_as_all_of_them() -> None:
    found = only(clip(-14, **WITHOUT), clip(-10, **WITHOUT), clip(-2, **WITH)).tilt
    assert found is not None
    assert (found.first.value, found.first.low, found.first.high) == (-12.0, -16.0, -8.0)


def test_the_pair_that_differs_in_nothing_else_is_taken() -> None:
    outside = clip(-14, **(WITHOUT | {"camera_height": "above"}))
    found = only(outside, clip(-12, **WITHOUT), clip(-2, **WITH))
    assert found.is_alone
    assert found.tilt is not None
    assert found.tilt.first.value == -12.0


@pytest.mark.parametrize(
    ("more", "words", "has_verdict"),
    [
        ({"camera_height": "above"}, "camera height (not said, above)", True),
        ({"target": "play"}, "target (camera, play)", True),
        ({"attention": "Tired"}, "attention (not said, tired)", True),
        ({"age_months": 72}, "age (60, 72)", True),
        ({"position": None}, "position (sitting, not said)", True),
        ({"position": "standing"}, "position (sitting, standing)", False),
        ({"covered_eye": "right"}, "covered eye (none, right)", False),
        ({"covered_eye": "none"}, "", True),
        ({"filmed_on": "2026-02-03"}, "", True),
    ],
)
def test_every_other_difference_is_said_and_some_leave_no_verdict(more: dict[str, Any], words: str, has_verdict: bool) -> None:
    found = only(clip(-14, **WITHOUT), clip(-4, **(WITH | more)))
    assert found.also_differs == ((words,) if words else ())
    assert (found.is_alone, found.has_verdict) == (not words, has_verdict)
    keys = [note.key for note in found.notes]
    assert keys == [*(["not alone" if has_verdict else "no verdict"] if words else []), "natural variation"]
    assert found.says("tilt") == ("smaller" if has_verdict else "no verdict")
    assert found.is_shown is has_verdict
    assert effect_of(found) == ("less" if has_verdict else None)
    assert all(words in note.text for note in found.notes[:-1])


# --- Words, and no sides while they are not known.


@pytest.mark.parametrize(
    ("first", "second", "half", "words"),
    [
        (-14.0, -5.0, 1.0, "smaller by 9 (8 to 10)"),
        (3.0, 14.0, 1.0, "larger by 11 (10 to 12)"),
        (-8.0, 8.0, 1.0, "to the other side, apart by 16 (15 to 17)"),
        (-8.0, -6.0, 4.0, "smaller by 2 (4 larger to 8 smaller)"),
    ],
)
def test_words_of_a_difference_have_no_sign(first: float, second: float, half: float, words: str) -> None:
    assert say_difference(of_tilt(first, second, half)) == words


def test_words_of_a_comparison() -> None:
    found = only(clip(-14, 0, -12, half=1.0, **WITHOUT), clip(-4, 1, -11, half=1.0, **WITH))
    said = say_comparison(found).split("; ")
    assert said[0] == (
        "tilt 14 degrees to the child's left shoulder (between 13 and 15) without glasses, 4 degrees to the child's left shoulder"
        " (between 3 and 5) with glasses: smaller by 10 (9 to 11)"
    )
    assert said[2] == "chin not shown to differ: smaller by 1 (0 to 2)"
    assert "-" not in "".join(said)


def test_on_the_shoulder_line_and_under_cover_are_said() -> None:
    young = LIKE | {"age_months": 7}
    found = only(
        clip(-14, trunk=-12, **(young | {"correction": "none"})), clip(-4, trunk=-2, **(young | {"correction": "glasses"}))
    )
    assert say_comparison(found).startswith("tilt on the shoulder line 12 degrees")
    covered = only(*(clip(tilt, covered_eye="right", **one) for tilt, one in ((-14, WITHOUT), (-4, WITH))))
    assert covered.values == ("without glasses, right eye covered", "with glasses, right eye covered")
    assert covered.has_verdict
    sideless = only(*(clip(tilt, covered_eye="right", sided=False, **one) for tilt, one in ((-14, WITHOUT), (-4, WITH))))
    assert sideless.values == ("without glasses, one eye covered", "with glasses, one eye covered")


@pytest.mark.parametrize("which", [(False, False), (True, False), (False, True)])
def test_no_side_while_one_clip_has_none(which: tuple[bool, bool]) -> None:
    clips = [
        clip(tilt, turn, sided=sided, **(given | {"covered_eye": "left"}))
        for tilt, turn, sided, given in zip((-14, -4), (9, 12), which, (WITHOUT, WITH), strict=True)
    ]
    clips[0] = clips[0].model_copy(update={"conditions": clips[0].conditions.model_copy(update={"covered_eye": "right"})})
    found = only(*clips)
    assert not found.sided
    assert found.tilt is not None
    assert found.tilt.difference_deg.value == -10
    assert "sizes only" in {note.key for note in found.notes}
    assert not SIDE.search(say_comparison(found) + " ".join(note.text for note in found.notes))


def test_size_of_an_interval_over_straight_begins_at_0() -> None:
    found = only(clip(-1.0, half=3.0, **WITHOUT), clip(-14.0, sided=False, **WITH)).tilt
    assert found is not None
    assert (found.first.low, found.first.value, found.first.high) == (0.0, 1.0, 4.0)


def test_mirrored_clips_give_the_mirrored_comparison() -> None:
    clips = [clip(-14, 9, **WITHOUT), clip(3, 2, **(WITH | {"covered_eye": "right"}))]
    mirrored = demand_of([mirror_summary(one) for one in clips])
    assert [say_comparison(one) for one in mirrored] == swapped([say_comparison(one) for one in demand_of(clips)])
    assert [one.also_differs for one in mirrored] == [tuple(swapped(list(one.also_differs))) for one in demand_of(clips)]


# --- In the hint.


def test_hint_says_the_comparison_and_points_to_nothing() -> None:
    clips = [clip(-14, **FAR), clip(-4, **NEAR)]
    found = hint(clips, **SAFE)
    alone = hint(clips[0], **SAFE)
    (line,) = [line for line in found.evidence if line.finding == "differs under other demand"]
    assert (line.points_to, line.strength) == ("neither", "weak")
    assert "smaller by 10" in line.text
    assert DEMAND_NOTES["natural variation"].text in found.cautions
    assert (found.outcome, found.side, found.suspected) == (alone.outcome, alone.side, alone.suspected)
    # The near clip is laid beside the far one, so it is not said that it was not.
    assert not any("not compared" in text for text in found.cautions)
    assert any(line.text in said for said in hint_sentences(found))


def test_larger_when_looking_hard_is_said_of_nystagmus_and_decides_nothing() -> None:
    clips = [clip(-3, 1, **IDLY), clip(-14, 1, **HARD_AT)]
    found = hint(clips, nystagmus="none", **SAFE)
    (line,) = [line for line in found.evidence if line.finding == "larger when looking hard"]
    assert (line.points_to, line.strength) == ("neither", "weak")
    fits = [row.cause for row in found.also_fits]
    assert CAUSES["nystagmus"].cause in fits
    assert CAUSES["nystagmus"].cause not in [row.cause for row in hint(clips[::-1][:1], nystagmus="none", **SAFE).also_fits]
    smaller = hint([clip(-14, 1, **IDLY), clip(-3, 1, **HARD_AT)], nystagmus="none", **SAFE)
    assert CAUSES["nystagmus"].cause not in [row.cause for row in smaller.also_fits]
    assert "differs under other demand" in [line.finding for line in smaller.evidence]


def test_what_was_entered_of_glasses_stands_above_what_was_filmed() -> None:
    clips = [clip(-14, **WITHOUT), clip(-4, **WITH)]
    filmed = hint(clips, **SAFE)
    assert "glasses, as filmed" in [line.finding for line in filmed.evidence]
    assert CAUSES["refraction"].cause in [row.cause for row in filmed.also_fits]
    said = CAUTIONS["glasses not as entered"].text
    for entered, word, agrees in (("more", "more", False), ("none", "the same", False), ("less", "less", True)):
        found = hint(clips, glasses_effect=entered, **SAFE)
        assert not [line for line in found.evidence if "filmed" in line.finding]
        assert (said.format(effect=word) in found.cautions) is not agrees
    assert CAUSES["refraction"].cause not in [row.cause for row in hint(clips, glasses_effect="none", **SAFE).also_fits]


def test_without_a_verdict_there_is_a_caution_and_no_evidence() -> None:
    found = hint([clip(-14, **WITHOUT), clip(-4, **(WITH | {"position": "standing"}))], **SAFE)
    assert not [line for line in found.evidence if "filmed" in line.finding or "demand" in line.finding]
    assert (
        "Without glasses against with glasses: the clips also differ in position (sitting, standing), so there is no verdict."
        in found.cautions
    )


def test_nothing_is_said_under_the_age_for_a_hint() -> None:
    found = hint([clip(-14, **(WITHOUT | {"age_months": 2})), clip(-4, **(WITH | {"age_months": 2}))], **SAFE)
    assert not found.evidence
    assert not any("glasses" in text for text in found.cautions)


def test_hint_names_no_side_where_the_clip_has_none() -> None:
    clips = [clip(-14, sided=False, **WITHOUT), clip(-4, sided=False, **WITH)]
    from posture.clinic.findings import Findings

    said = hint_sentences(hint_of(clips, "unknown", Findings(**SAFE)))
    assert any("smaller by 10" in line for line in said)
    assert not any(SIDE.search(line) for line in said)
