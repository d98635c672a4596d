"""Cover test: the word for what relieved the tilt; and when two head tilts may be compared."""

from typing import Any

import numpy as np
import pytest

from posture.clinic.cover import Covered, CoverTest, TiltHeld, cover_test, cover_test_of, head_tilt_pair
from posture.clinic.findings import Findings
from posture.clinic.sentences import COVER_NOTES as NOTES
from posture.summary.record import Interval
from tests.clinic.clips import summary_of
from tests.clinic.made import interval
from tests.clinic.mirror import mirror_findings, swap

OPEN = interval(-14.0)
RELIEVED, STAYED = interval(-2.0), interval(-14.0)


def cover_of(right: Interval | None, left: Interval | None, minutes: float | None = 30.0, **more: Any) -> CoverTest:
    covered = [None if tilt is None else Covered(tilt, minutes) for tilt in (right, left)]
    return cover_test(OPEN, *covered, **({"age_months": 60} | more))


def keys_of(found: CoverTest) -> set[str]:
    return {note.key for note in found.notes}


@pytest.mark.parametrize(
    ("right", "left", "relief", "words"),
    [
        (RELIEVED, RELIEVED, "either eye", "relieved by either eye"),
        (RELIEVED, STAYED, "right only", "relieved by right only"),
        (STAYED, RELIEVED, "left only", "relieved by left only"),
        (STAYED, STAYED, "neither", "relieved by neither"),
        (RELIEVED, interval(-12.0, 6.0), "not clear", "not clear"),
    ],
)
def test_words_after_a_long_cover(right: Interval, left: Interval, relief: str, words: str) -> None:
    found = cover_of(right, left)
    assert (found.relief, found.words) == (relief, words)
    assert ("stays has other reasons" in keys_of(found)) is (STAYED in (right, left))


@pytest.mark.parametrize("minutes", [None, 0.0, 5.0, 29.9])
def test_short_cover_counts_where_it_relieves_and_says_nothing_where_it_does_not(minutes: float | None) -> None:
    assert cover_of(RELIEVED, RELIEVED, minutes).relief == "either eye"
    for right, left in ((STAYED, STAYED), (RELIEVED, STAYED), (STAYED, RELIEVED)):
        found = cover_of(right, left, minutes)
        assert (found.relief, found.words) == ("too short to say", "too short to say")
        assert ("minutes not said" in keys_of(found)) is (minutes is None)


@pytest.mark.parametrize(
    ("open_", "covered", "says"),
    [
        # 5 degrees, whatever the tilt.
        (interval(-20.0, 1.0), interval(-15.0, 1.0), "falls"),
        (interval(-20.0, 1.0), interval(-15.1, 1.0), "not clear"),
        # Half of it.
        (interval(8.0, 1.0), interval(4.0, 1.0), "falls"),
        (interval(8.0, 1.0), interval(4.1, 1.0), "not clear"),
        # The interval of the fall must exclude 0, and leave no room for relief where the tilt is said to stay.
        (interval(14.0, 4.0), interval(7.0, 6.0), "not clear"),
        (interval(14.0, 4.0), interval(6.0, 6.0), "falls"),
        (interval(14.0, 2.0), interval(14.0, 2.0), "stays"),
        (interval(14.0, 4.0), interval(14.0, 4.0), "not clear"),
        (interval(14.0, 1.0), interval(19.0, 1.0), "stays"),
        (interval(14.0, 1.0), interval(-5.0, 1.0), "changes side"),
        (interval(14.0, 1.0), interval(-4.9, 1.0), "falls"),
    ],
)
def test_what_one_cover_says(open_: Interval, covered: Interval, says: str) -> None:
    found = cover_test(open_, Covered(covered, 45.0), None, age_months=60)
    assert found.right is not None
    assert found.left is None
    assert found.right.says == says


def test_fall_is_along_the_tilt_with_its_interval() -> None:
    open_ = Interval(value=-14.0, low=-17.0, high=-12.0)
    found = cover_test(open_, Covered(Interval(value=-4.0, low=-8.0, high=-3.0), 40.0), None)
    assert found.right is not None
    fall = found.right.fall_deg
    assert fall.value == 10.0
    assert fall.low == pytest.approx(10.0 - np.hypot(2.0, 4.0))
    assert fall.high == pytest.approx(10.0 + np.hypot(3.0, 1.0))
    assert found.right.share == pytest.approx(10.0 / 14.0)


@pytest.mark.parametrize(
    ("more", "key", "words"),
    [({"age_months": 5}, "too young", "not interpreted"), ({"drops": "cyclopentolate 1 %"}, "drops", "not interpreted")],
)
def test_not_interpreted(more: dict[str, Any], key: str, words: str) -> None:
    found = cover_of(RELIEVED, RELIEVED, **more)
    assert (found.relief, found.words) == (None, words)
    assert key in keys_of(found)
    assert found.right is not None
    assert found.right.fall_deg.value == 12.0


@pytest.mark.parametrize("drops", [None, "", "none", "No "])
def test_interpreted_from_six_months_without_drops(drops: str | None) -> None:
    found = cover_of(RELIEVED, RELIEVED, age_months=6, drops=drops)
    assert found.relief == "either eye"
    assert not keys_of(found) & {"drops", "too young", "age not said"}
    assert "age not said" in keys_of(cover_of(RELIEVED, RELIEVED, age_months=None))


@pytest.mark.parametrize("open_", [interval(4.9, 1.0), interval(-6.0, 7.0), interval(0.0, 0.5)])
def test_without_a_tilt_there_is_nothing_to_relieve(open_: Interval) -> None:
    found = cover_test(open_, Covered(interval(0.0, 0.5), 40.0), Covered(interval(0.0, 0.5), 40.0), age_months=60)
    assert (found.relief, found.words) == (None, "no tilt to relieve")
    assert "no tilt" in keys_of(found)


def test_one_eye_alone_gives_no_word_for_both() -> None:
    found = cover_of(RELIEVED, None)
    assert (found.relief, found.words) == (None, "right eye covered: falls; left eye covered: not done")
    assert "one eye only" in keys_of(found)
    assert cover_test(OPEN, None, None).relief is None


def test_tilt_that_changes_side_gives_no_word() -> None:
    found = cover_of(interval(8.0), RELIEVED)
    assert found.relief is None
    assert "changes side" in keys_of(found)


SURENESS = {None: 0, "too short to say": 0, "not clear": 0, "right only": 1, "left only": 1, "either eye": 1, "neither": 1}


@pytest.mark.parametrize("seed", range(200))
def test_wider_interval_and_shorter_cover_never_make_it_surer(seed: int) -> None:
    rng = np.random.default_rng(seed)
    open_value, values = rng.uniform(-20, 20), rng.uniform(-20, 20, 2)
    halves, wider = rng.uniform(0.2, 4, 3), rng.uniform(0, 6, 3)
    minutes = float(rng.choice([10.0, 40.0]))

    def word(half: np.ndarray, for_minutes: float | None) -> str | None:
        covered = [Covered(interval(v, h), for_minutes) for v, h in zip(values, half[1:], strict=True)]
        return cover_test(interval(open_value, half[0]), *covered, age_months=60).relief

    before, after, shorter = word(halves, minutes), word(halves + wider, minutes), word(halves, None)
    assert SURENESS[after] <= SURENESS[before]
    assert SURENESS[after] == 0 or after == before
    assert SURENESS[shorter] == 0 or shorter == before


@pytest.mark.parametrize("seed", range(100))
def test_a_mirrored_child_gives_the_mirrored_answer(seed: int) -> None:
    rng = np.random.default_rng(seed)
    open_, right, left = (interval(v, h) for v, h in zip(rng.uniform(-20, 20, 3), rng.uniform(0.2, 3, 3), strict=True))
    flip = {name: Interval(value=-t.value, low=-t.high, high=-t.low) for name, t in (("o", open_), ("r", right), ("l", left))}
    found = cover_test(open_, Covered(right, 30.0), Covered(left, 40.0), age_months=60)
    mirror = cover_test(flip["o"], Covered(flip["l"], 40.0), Covered(flip["r"], 30.0), age_months=60)
    assert mirror.relief == (None if found.relief is None else swap(found.relief))
    assert (mirror.right, mirror.left) == (found.left, found.right)
    assert mirror.notes == found.notes


def test_every_note_has_a_source_and_never_names_the_eye_that_mattered() -> None:
    assert all(note.key == key and note.source and note.text.endswith(".") for key, note in NOTES.items())
    assert not any("right eye" in note.text or "left eye" in note.text for note in NOTES.values())


# --- Out of clips and findings. ---


def filmed(**more: Any) -> list[Any]:
    same = {"age_months": 60, "position": "sitting", "target": "camera"} | more
    return [
        summary_of(-14.0, covered_eye="none", **same),
        summary_of(-3.0, covered_eye="right", covered_minutes=32.0, **same),
        summary_of(-13.0, covered_eye="left", covered_minutes=31.0, **same),
    ]


def test_clips_are_told_apart_by_the_covered_eye_in_any_order() -> None:
    for clips in (filmed(), filmed()[::-1]):
        found = cover_test_of(Findings(), clips)
        assert found is not None
        assert found.relief == "right only"
        assert found.open_deg == interval(-14.0)
        assert found.right is not None
        assert found.right.minutes == 32.0
        assert keys_of(found) == {"stays has other reasons"}


def test_typed_tilt_stands_above_a_clip() -> None:
    typed = {"cover": {"left_eye": {"tilt_deg": {"value": -1, "low": -2, "high": 0}, "minutes": 10}}}
    found = cover_test_of(Findings(**typed), filmed())
    assert found is not None
    assert found.relief == "either eye"
    assert found.left is not None
    assert found.left.minutes == 10


def test_typed_minutes_belong_to_the_clip() -> None:
    clips = [summary_of(covered_eye="none"), summary_of(-14.0, covered_eye="right"), summary_of(-14.0, covered_eye="left")]
    typed = Findings(cover={"right_eye": {"minutes": 40}, "left_eye": {"minutes": 35}}, age_months=60)
    found = cover_test_of(typed, clips)
    assert found is not None
    assert found.relief == "neither"


@pytest.mark.parametrize(
    "clips",
    [
        [],
        [summary_of(covered_eye="none")],
        [summary_of(-3.0, covered_eye="right"), summary_of(-3.0, covered_eye="left")],
        [summary_of(kind="unsided"), summary_of(kind="unsided", covered_eye="right")],
        [summary_of(covered_eye="none").model_copy(update={"sided": False}), summary_of(covered_eye="right")],
        [summary_of(kind="two"), summary_of(covered_eye="right")],
        [summary_of(None), summary_of(covered_eye="right")],
    ],
)
def test_none_without_an_open_clip_or_without_a_cover(clips: list[Any]) -> None:
    assert cover_test_of(Findings(), clips) is None


def test_several_open_clips_are_as_uncertain_as_all_of_them_together() -> None:
    found = cover_test_of(Findings(), [summary_of(-18.0, covered_eye="none"), *filmed()])
    assert found is not None
    assert found.open_deg == Interval(value=-16.0, low=-20.0, high=-12.0)


def test_longest_cover_counts() -> None:
    found = cover_test_of(
        Findings(), [*filmed(), summary_of(-14.0, covered_eye="right", covered_minutes=5.0, position="sitting")]
    )
    assert found is not None
    assert found.relief == "right only"


def test_no_verdict_where_the_position_differs_and_every_difference_is_said() -> None:
    clips = filmed()
    found = cover_test_of(
        Findings(), [*clips[:2], summary_of(-13.0, covered_eye="left", covered_minutes=31, position="lap", target="play")]
    )
    assert found is not None
    assert (found.relief, found.words) == (None, "no verdict, as the position differs")
    assert found.notes[0].key == "position differs"
    texts = [note.text for note in found.notes]
    assert "The clips differ in target: camera, play." in texts


def test_other_differences_are_said_with_the_verdict() -> None:
    clips = filmed()
    found = cover_test_of(Findings(), [clips[0], clips[1], filmed(correction="glasses")[2]])
    assert found is not None
    assert found.relief == "right only"
    assert "The clips differ in correction: not said, glasses." in [note.text for note in found.notes]


def test_open_clip_that_does_not_say_so_is_taken_with_a_note() -> None:
    found = cover_test_of(Findings(), [summary_of(-14.0, age_months=60, position="sitting", target="camera"), *filmed()[1:]])
    assert found is not None
    assert found.relief == "right only"
    assert "open not said" in keys_of(found)


@pytest.mark.parametrize(
    ("findings", "more", "key"),
    [
        ({}, {"age_months": 4}, "too young"),
        ({"age_months": 5}, {}, "too young"),
        ({"age_months": 60}, {"age_months": 4}, "too young"),
        ({}, {"drops": "atropine"}, "drops"),
    ],
)
def test_age_and_drops_come_from_either(findings: dict[str, Any], more: dict[str, Any], key: str) -> None:
    found = cover_test_of(Findings(**findings), filmed(**more))
    assert found is not None
    assert found.relief is None
    assert key in keys_of(found)


def test_mirrored_findings_and_clips_give_the_mirrored_word() -> None:
    typed = Findings(cover={"left_eye": {"tilt_deg": {"value": -1, "low": -2, "high": 0}, "minutes": 10}}, age_months=60)
    clips = [summary_of(-14.0, covered_eye="none"), summary_of(-14.0, covered_eye="right", covered_minutes=45)]
    mirror = [summary_of(14.0, covered_eye="none"), summary_of(14.0, covered_eye="left", covered_minutes=45)]
    found, other = cover_test_of(typed, clips), cover_test_of(mirror_findings(typed), mirror)
    assert found is not None
    assert other is not None
    assert (found.relief, other.relief) == ("left only", "right only")


# --- Two head tilts. ---

GOOD: dict[str, Any] = {"held_s": 20.0, "measured_after_s": 12.0, "trunk_tilt_deg": 1.0, "fixing_eye": "left"}


@pytest.mark.parametrize(
    ("right_deg", "left_deg", "reason"),
    [
        (25.0, -25.0, None),
        (20.0, -20.0, None),
        (30.0, -25.0, None),
        (30.0, -24.9, "the two tilts differ by 5 degrees"),
        (19.9, -22.0, "the tilt to the right reached 20 degrees"),
        (22.0, -10.0, "the tilt to the left reached 10 degrees"),
        (22.0, 22.0, "the tilt to the left reached 0 degrees"),
    ],
)
def test_pair_reaches_twenty_and_is_equal_within_five(right_deg: float, left_deg: float, reason: str | None) -> None:
    pair = head_tilt_pair(TiltHeld(right_deg, **GOOD), TiltHeld(left_deg, **GOOD), position="sitting")
    assert pair.accepted is (reason is None)
    assert pair.unknown == ()
    assert reason is None or any(reason in said for said in pair.reasons)
    mirror = head_tilt_pair(TiltHeld(-left_deg, **GOOD), TiltHeld(-right_deg, **GOOD), position="sitting")
    assert mirror.accepted is pair.accepted
    assert set(mirror.reasons) == {swap(said) for said in pair.reasons}


@pytest.mark.parametrize(
    ("more", "position", "reason"),
    [
        ({"measured_after_s": 31.0}, "sitting", "measured 31 s after the tilt to the right"),
        ({"trunk_tilt_deg": -6.0}, "sitting", "the trunk leaned by 6 degrees on the tilt to the right"),
        ({"fixing_eye": "right"}, "sitting", "the fixing eye changed"),
        ({}, "lying", "the child was lying"),
        ({}, "held", "the child was held"),
    ],
)
def test_what_is_known_to_be_wrong_refuses_a_pair(more: dict[str, Any], position: str, reason: str) -> None:
    pair = head_tilt_pair(TiltHeld(25.0, **(GOOD | more)), TiltHeld(-25.0, **GOOD), position=position)
    assert not pair.accepted
    assert len(pair.reasons) == 1
    assert reason in pair.reasons[0]


@pytest.mark.parametrize(
    ("lean_deg", "half_deg", "accepted", "listed"),
    [
        (6.7, 4.0, True, True),
        (-6.7, 4.0, True, True),
        (1.0, 4.5, True, True),
        (1.0, 3.0, True, False),
        (-9.5, 4.0, False, False),
    ],
)
def test_a_lean_refuses_only_by_its_whole_interval(lean_deg: float, half_deg: float, accepted: bool, listed: bool) -> None:
    right = TiltHeld(25.0, **(GOOD | {"trunk_tilt_deg": lean_deg}), trunk_half_width_deg=half_deg)
    pair = head_tilt_pair(right, TiltHeld(-25.0, **GOOD), position="sitting")
    assert pair.accepted is accepted
    assert any("interval of its lean" in said for said in pair.unknown) is listed
    assert any("the trunk leaned" in said for said in pair.reasons) is not accepted


def test_what_is_not_known_is_listed_and_does_not_refuse() -> None:
    pair = head_tilt_pair(TiltHeld(25.0), TiltHeld(-25.0))
    assert pair.accepted
    assert len(pair.unknown) == 6
