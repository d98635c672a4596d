"""Neck range: which muscle a shortness fits, how much it weighs, and when a published range may stand beside it."""

from typing import Any

import numpy as np
import pytest

from posture.clinic.findings import Findings
from posture.clinic.neck import NORMS, NeckRange, Reached, neck_range, published_range, range_of
from posture.clinic.sentences import NECK_NOTES as NOTES
from tests.clinic.mirror import mirror_findings, swap

EVEN = {"tilt_right": 60.0, "tilt_left": 60.0, "turn_right": 80.0, "turn_left": 80.0, "passive": True}


def found_of(age_months: int | None = 120, **typed: Any) -> NeckRange:
    found = neck_range(Findings(age_months=age_months, neck_range_deg=EVEN | typed))
    assert found is not None
    return found


@pytest.mark.parametrize("findings", [{}, {"neck_range_deg": {}}, {"neck_range_deg": {"passive": True}}])
def test_nothing_measured_gives_none(findings: dict[str, Any]) -> None:
    assert neck_range(Findings(**findings)) is None


@pytest.mark.parametrize(
    ("typed", "tight", "directions", "strength"),
    [
        ({}, None, (), None),
        # Short tilt away from the muscle: to the left with a tight muscle of the right.
        ({"tilt_left": 50.1}, None, (), None),
        ({"tilt_left": 50.0}, "right", ("tilt",), "weak"),
        ({"tilt_left": 45.0}, "right", ("tilt",), "weak"),
        ({"tilt_left": 44.9}, "right", ("tilt",), "moderate"),
        ({"tilt_right": 44.9}, "left", ("tilt",), "moderate"),
        # Short turn towards it.
        ({"turn_right": 70.1}, None, (), None),
        ({"turn_right": 70.0}, "right", ("turn",), "weak"),
        ({"turn_right": 60.0}, "right", ("turn",), "moderate"),
        ({"turn_left": 60.0}, "left", ("turn",), "moderate"),
        # Both for the same muscle.
        ({"tilt_left": 50.0, "turn_right": 70.0}, "right", ("tilt", "turn"), "strong"),
        ({"tilt_right": 40.0, "turn_left": 55.0}, "left", ("tilt", "turn"), "strong"),
        ({"tilt_left": 40.0, "turn_right": 71.0}, "right", ("tilt",), "moderate"),
    ],
)
def test_muscle_and_weight(
    typed: dict[str, float], tight: str | None, directions: tuple[str, ...], strength: str | None
) -> None:
    found = found_of(**typed)
    assert (found.tight, found.directions, found.strength) == (tight, directions, strength)
    assert not found.contradictory
    assert ("never excludes the eye" in {note.key for note in found.notes}) is (strength is not None)


@pytest.mark.parametrize("typed", [{"tilt_left": 40.0, "turn_left": 60.0}, {"tilt_right": 48.0, "turn_right": 50.0}])
def test_directions_of_two_muscles_weigh_nothing(typed: dict[str, float]) -> None:
    found = found_of(**typed)
    assert found.contradictory
    assert (found.tight, found.strength) == (None, None)
    assert "directions disagree" in {note.key for note in found.notes}


def test_differences_are_signed_by_the_muscle_of_the_right() -> None:
    found = found_of(tilt_left=50.0, turn_left=68.0)
    assert (found.tilt_difference_deg, found.turn_difference_deg) == (10.0, -12.0)


def test_one_side_alone_is_not_compared() -> None:
    found = neck_range(Findings(neck_range_deg={"turn_right": 30.0, "passive": False}, age_months=100))
    assert found is not None
    assert found.turn_difference_deg is None
    assert found.strength is None
    assert "one side only" in {note.key for note in found.notes}


def test_end_out_of_sight_is_not_compared() -> None:
    found = range_of(None, None, Reached(20.0), Reached(45.0, at_least=True), passive=False, age_months=100)
    assert found is not None
    assert found.turn_difference_deg is None
    assert (found.tight, found.strength) == (None, None)
    note = next(note for note in found.notes if note.key == "beyond the camera")
    assert note.text.startswith("At least 45 degrees, beyond the camera")


@pytest.mark.parametrize(
    ("half_width_deg", "strength"),
    [(0.0, "moderate"), (5.0, "moderate"), (5.1, "weak"), (9.9, "weak"), (10.0, None), (30.0, None)],
)
def test_wider_interval_never_makes_it_surer(half_width_deg: float, strength: str | None) -> None:
    ends = [Reached(deg, half_width_deg) for deg in (60.0, 40.0)]
    found = range_of(*ends, None, None, passive=True, age_months=5)
    assert found is not None
    assert found.strength == strength
    assert found.tilt_difference_deg == 20.0


@pytest.mark.parametrize(
    ("age_months", "passive", "ages"),
    [
        (1, True, None),
        (2, True, "2 to 10 months"),
        (10, True, "2 to 10 months"),
        (11, True, None),
        (41, True, None),
        (42, True, "3.5 to 5 years"),
        (60, True, "3.5 to 5 years"),
        (61, True, None),
        (95, False, None),
        (96, False, "8 to 10 years"),
        (131, False, "8 to 10 years"),
        (132, False, None),
        (100, True, None),
        (5, False, None),
        (48, False, None),
        (None, True, None),
        (5, None, None),
    ],
)
def test_published_range_of_the_right_kind_and_age_or_none(
    age_months: int | None, passive: bool | None, ages: str | None
) -> None:
    norm = published_range(age_months, passive)
    assert (norm and norm.ages) == ages
    keys = {note.key for note in found_of(age_months, passive=passive).notes}
    assert ("no published range" in keys) is (norm is None and None not in (age_months, passive))
    assert ("kind not said" in keys) is (passive is None)
    assert ("age not said" in keys) is (age_months is None)


def test_published_ranges_are_those_of_the_papers() -> None:
    assert [(n.passive, n.turn_deg, n.tilt_deg, n.source[:4]) for n in NORMS] == [
        (True, 110.0, 70.0, "[39]"),
        (True, 100.0, 70.0, "[40]"),
        (False, 77.0, 58.0, "[41]"),
    ]
    assert (NORMS[2].turn_sd_deg, NORMS[2].tilt_sd_deg) == (7.0, 8.0)


def test_short_of_the_published_range_is_said_only_where_its_spread_is_known() -> None:
    assert found_of(100, passive=False, turn_right=62.9, tilt_left=41.9).short == ("tilt_left", "turn_right")
    assert found_of(100, passive=False, turn_right=63.0, tilt_left=42.0).short == ()
    assert found_of(100, passive=True, turn_right=10.0).short == ()
    assert found_of(5, passive=True, turn_right=10.0).short == ()


def test_every_note_has_a_source_and_is_a_sentence() -> None:
    assert all(note.key == key and note.source and note.text.endswith(".") for key, note in NOTES.items())


@pytest.mark.parametrize("seed", range(100))
def test_a_mirrored_child_gives_the_mirrored_answer(seed: int) -> None:
    rng = np.random.default_rng(seed)
    typed: dict[str, Any] = {key: float(rng.integers(30, 70)) for key in list(EVEN)[:4] if rng.random() < 0.9}
    findings = Findings(age_months=int(rng.integers(0, 140)), neck_range_deg=typed | {"passive": bool(rng.random() < 0.5)})
    found, mirror = neck_range(findings), neck_range(mirror_findings(findings))
    assert found is not None
    assert mirror is not None
    assert mirror.tight == (None if found.tight is None else swap(found.tight))
    assert set(mirror.short) == {swap(name) for name in found.short}
    for name in ("tilt_difference_deg", "turn_difference_deg"):
        value = getattr(found, name)
        assert getattr(mirror, name) == (None if value is None else -value)
    assert all(
        getattr(mirror, name) == getattr(found, name) for name in ("directions", "strength", "contradictory", "norm", "notes")
    )


@pytest.mark.parametrize("seed", range(50))
def test_what_is_irrelevant_changes_nothing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    document = {"age_months": 100, "neck_range_deg": {key: float(rng.integers(30, 70)) for key in list(EVEN)[:4]}}
    more = {
        "hypertropia_pd": {"primary": 9},
        "stereo": 60,
        "asleep": "stays",
        "neck_band_or_mass": "left",
        "red_flags": ["headache"],
    }
    assert neck_range(Findings(**document)) == neck_range(Findings(**(document | more)))
