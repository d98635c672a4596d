"""The eight muscles against anatomy and against the textbook, and the three steps: what they leave, and what they leave open."""

import itertools
from typing import Any

import numpy as np
import pytest

from posture.clinic.findings import Findings
from posture.clinic.muscles import GAZE_LEAST_PD, MUSCLES, TILT_LEAST_PD, Steps, mirrored_muscle, three_steps
from posture.clinic.sentences import STEP_NOTES as NOTES
from posture.clinic.vertical import NORMAL_PD, higher_eye, supine_falls
from posture.conventions import other_side
from tests.clinic.mirror import mirror_findings, swap

# --- The table from anatomy: nothing below is read off the package. ---

PULLS = {
    # Right eye, millimetres from its centre: x to the temple, y forwards, z up. Where the muscle (or its pulley) pulls from, and where
    # it is fixed to the eye. Rounded from memory after the usual model eye of the anatomy books; only directions matter here.
    "superior rectus": ((-16.0, -32.0, 4.0), (0.0, 8.0, 10.0)),
    "inferior rectus": ((-16.0, -32.0, -2.0), (0.0, 8.0, -10.0)),
    "superior oblique": ((-15.0, 8.0, 12.0), (3.0, -4.0, 11.0)),
    "inferior oblique": ((-11.0, 11.0, -15.0), (9.0, -7.0, -1.0)),
}
GAZE_DEG = 25.0
"""Gaze to the side in which the pull up or down is compared."""


def turned(point: tuple[float, float, float], outwards_deg: float) -> np.ndarray:
    """A point of the eye after the eye turned outwards (to the temple)."""
    a = np.radians(outwards_deg)
    x, y, z = point
    return np.array([x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a), z])


def torque(kind: str, outwards_deg: float) -> np.ndarray:
    """The turning moment of a muscle about the centre of the eye, of length 1."""
    origin, insertion = PULLS[kind]
    fixed = turned(insertion, outwards_deg)
    moment = np.cross(fixed, np.array(origin) - fixed)
    return moment / np.linalg.norm(moment)


def lifts(kind: str, outwards_deg: float = 0.0) -> float:
    """How much the muscle lifts the line of sight in this gaze; negative when it lowers it."""
    sight = turned((0.0, 1.0, 0.0), outwards_deg)
    return float(np.cross(torque(kind, outwards_deg), sight)[2])


def rolls_out(kind: str) -> bool:
    """Whether the muscle rolls the top of the eye towards the temple."""
    return float(np.cross(torque(kind, 0.0), [0.0, 0.0, 1.0])[0]) > 0


def weakness_of_right(kind: str) -> tuple[str, str, str]:
    """Higher eye, worse gaze and worse tilt when this muscle of the right eye is weak.

    A weak muscle that lifts leaves its eye lower. The deviation is worst where the muscle does most of the work: gaze to the right turns
    the right eye outwards, and on tilt to the right the right eye is rolled inwards.
    """
    higher = "left" if lifts(kind) > 0 else "right"
    gaze = "right" if abs(lifts(kind, GAZE_DEG)) > abs(lifts(kind, -GAZE_DEG)) else "left"
    tilt = "left" if rolls_out(kind) else "right"
    return higher, gaze, tilt


ANATOMY = {f"right {kind}": weakness_of_right(kind) for kind in PULLS}
ANATOMY |= {swap(name): tuple(swap(side) for side in row) for name, row in list(ANATOMY.items())}  # type: ignore[misc]

TEXTBOOK = {
    # The Parks three-step test as in standard orthoptic teaching: higher eye, gaze and head tilt on which the deviation grows.
    "right superior oblique": "R L R",
    "left inferior rectus": "L L R",
    "right inferior rectus": "R R L",
    "left superior oblique": "L R L",
    "right superior rectus": "L R R",
    "left inferior oblique": "R R R",
    "right inferior oblique": "L L L",
    "left superior rectus": "R L L",
}


@pytest.mark.parametrize(
    ("kind", "up", "out_more", "out"),
    [
        ("superior rectus", True, True, False),
        ("inferior rectus", False, True, True),
        ("superior oblique", False, False, False),
        ("inferior oblique", True, False, True),
    ],
)
def test_model_eye_acts_as_taught(kind: str, up: bool, out_more: bool, out: bool) -> None:
    assert (lifts(kind) > 0) is up
    assert (abs(lifts(kind, GAZE_DEG)) > abs(lifts(kind, -GAZE_DEG))) is out_more
    assert rolls_out(kind) is out
    assert all((lifts(kind, gaze) > 0) is up for gaze in (-GAZE_DEG, GAZE_DEG))


@pytest.mark.parametrize("name", sorted(TEXTBOOK))
def test_table_is_that_of_anatomy_and_of_the_textbook(name: str) -> None:
    muscle = MUSCLES[name]
    row = (muscle.higher_eye, muscle.worse_gaze, muscle.worse_tilt)
    assert row == ANATOMY[name]
    assert " ".join(side[0].upper() for side in row) == TEXTBOOK[name]


def test_there_are_eight_muscles_and_each_has_its_own_row() -> None:
    assert set(MUSCLES) == set(TEXTBOOK)
    assert len({(m.higher_eye, m.worse_gaze, m.worse_tilt) for m in MUSCLES.values()}) == 8
    assert all(MUSCLES[swap(name)] == mirrored_muscle(muscle) != muscle for name, muscle in MUSCLES.items())
    assert all(muscle.name == name for name, muscle in MUSCLES.items())


@pytest.mark.parametrize("name", sorted(MUSCLES))
def test_posture_takes_the_eyes_out_of_the_field_of_the_weak_muscle(name: str) -> None:
    muscle = MUSCLES[name]
    assert muscle.tilt_to == other_side(muscle.worse_tilt)
    # The face goes to the side of the worse gaze, so that the eyes stand on the other.
    assert muscle.turn_to == muscle.worse_gaze
    assert muscle.chin == ("down" if lifts(muscle.kind) < 0 else "up")
    assert (muscle.tilt_to == muscle.turn_to) is (muscle.chin == "down")


# --- The three steps. ---

METHOD = {"hypertropia_method": "alternate prism cover"}


def figures_of(name: str, primary: float = 10.0, gaze: float = 8.0, tilt: float = 10.0) -> dict[str, float]:
    """Figures of a weak muscle by its anatomy: straight ahead, and the differences between the gazes and between the tilts."""
    higher, worse_gaze, worse_tilt = ANATOMY[name]
    size = {"primary": primary}
    for kind, worse, difference in (("gaze", worse_gaze, gaze), ("tilt", worse_tilt, tilt)):
        for side in ("right", "left"):
            size[f"{kind}_{side}"] = primary + (difference if side == worse else -difference) / 2
    return {key: value if higher == "right" else -value for key, value in size.items()}


def steps_of(figures: dict[str, float] | None, **more: Any) -> Steps:
    return three_steps(Findings(hypertropia_pd=figures, **more))


@pytest.mark.parametrize("name", sorted(MUSCLES))
def test_three_decided_steps_leave_the_weak_muscle(name: str) -> None:
    found = steps_of(figures_of(name), **METHOD)
    assert found.left == found.named == {name}
    assert found.decided == 3
    assert [step.side for step in found.steps] == list(ANATOMY[name])
    assert [len(step.left) for step in found.steps] == [4, 2, 1]
    assert found.contradiction is None
    assert found.method_ok
    assert not found.nil
    assert not found.both_possible


@pytest.mark.parametrize("name", sorted(MUSCLES))
@pytest.mark.parametrize("smaller", ["primary", "gaze", "tilt"])
def test_undecided_step_leaves_two_muscles_and_names_no_winner(name: str, smaller: str) -> None:
    small = {"primary": 2.0, "gaze": 2.9, "tilt": 4.9}[smaller]
    sizes = {"primary": 10.0, "gaze": 8.0, "tilt": 10.0, smaller: small}
    if smaller == "primary":
        sizes |= {"gaze": 3.5, "tilt": 5.5}
    found = steps_of(figures_of(name, **sizes), **METHOD)
    assert name in found.left
    assert len(found.left) == 2
    assert found.decided == 2
    undecided = next(step for step in found.steps if not step.decided)
    assert undecided.side is None
    assert undecided.text.startswith("Undecided: ")
    expected = [m for m in MUSCLES if _agrees(m, name, but=smaller)]
    assert found.left == set(expected)


def _agrees(one: str, other: str, but: str) -> bool:
    """Whether two muscles give differences of the same sign in the two other steps."""

    def signs(name: str) -> dict[str, bool]:
        higher, gaze, tilt = ANATOMY[name]
        return {"primary": higher == "right", "gaze": gaze == higher, "tilt": tilt == higher}

    return all(signs(one)[key] == signs(other)[key] for key in {"primary", "gaze", "tilt"} - {but})


@pytest.mark.parametrize(
    ("key", "figures", "decided"),
    [
        ("gaze", {"gaze_right": 5.0, "gaze_left": 5.0 + GAZE_LEAST_PD}, True),
        ("gaze", {"gaze_right": 5.0, "gaze_left": 5.0 + GAZE_LEAST_PD - 0.1}, False),
        ("tilt", {"tilt_right": 5.0, "tilt_left": 5.0 + TILT_LEAST_PD}, True),
        ("tilt", {"tilt_right": 5.0, "tilt_left": 5.0 + TILT_LEAST_PD - 0.1}, False),
        ("higher eye", {"primary": NORMAL_PD}, False),
        ("higher eye", {"primary": NORMAL_PD + 0.1}, True),
    ],
)
def test_bounds_of_each_step(key: str, figures: dict[str, float], decided: bool) -> None:
    step = next(step for step in steps_of(figures).steps if step.name == key)
    assert step.decided is decided


def test_bounds_are_those_of_the_rules() -> None:
    assert (GAZE_LEAST_PD, TILT_LEAST_PD, NORMAL_PD) == (3.0, 5.0, 2.0)


def test_nothing_measured_leaves_all_eight() -> None:
    found = three_steps(Findings())
    assert found.left == set(MUSCLES)
    assert found.named == frozenset()
    assert found.decided == 0
    assert all(step.text == "Undecided: not measured." for step in found.steps)
    assert found.notes == ()


def test_one_gaze_of_two_is_undecided_and_said_so() -> None:
    gaze = steps_of({"primary": 10, "gaze_left": 18}).steps[1]
    assert (gaze.decided, gaze.text) == (False, "Undecided: not measured to the right.")


def test_steps_say_what_was_seen_without_a_sign() -> None:
    first, gaze, tilt = steps_of(figures_of("left superior oblique")).steps
    assert (first.seen, first.text) == ("left eye higher by 10 PD", "The left eye is higher.")
    assert gaze.seen == "gaze to the right: left eye higher by 14 PD; gaze to the left: left eye higher by 6 PD"
    assert tilt.text == "Worse on tilt to the left, by 10 PD."


def test_differences_count_where_the_higher_eye_is_undecided_but_give_no_worse_side() -> None:
    found = steps_of({"primary": 1, "gaze_right": 0, "gaze_left": 4, "tilt_right": 6, "tilt_left": 0})
    assert found.left == {"right superior oblique", "left superior oblique"}
    assert [step.side for step in found.steps] == [None, None, None]
    assert [step.decided for step in found.steps] == [False, True, True]
    assert "no worse side is given" in found.steps[1].text


REVERSALS = [
    ({"tilt_right": 9, "tilt_left": -8}, True),
    ({"gaze_right": -5, "gaze_left": 6}, True),
    ({"primary": 1, "gaze_right": -5, "gaze_left": 6, "tilt_right": 9, "tilt_left": -8}, True),
    ({"primary": 8, "gaze_right": 4, "gaze_left": 15, "tilt_right": 20, "tilt_left": -6}, True),
    ({"tilt_right": -9, "tilt_left": 8}, False),
    ({"gaze_right": 5, "gaze_left": -6}, False),
    ({"tilt_right": 9, "tilt_left": -8, "gaze_right": 7, "gaze_left": -7}, False),
]


@pytest.mark.parametrize(("figures", "as_both"), REVERSALS)
def test_higher_eye_that_changes_leaves_no_single_muscle(figures: dict[str, float], as_both: bool) -> None:
    for findings in (Findings(hypertropia_pd=figures), mirror_findings(Findings(hypertropia_pd=figures))):
        found = three_steps(findings)
        assert found.left == found.named == frozenset()
        assert found.contradiction is not None
        assert found.contradiction.startswith("No single muscle explains this: the right eye is higher ")
        assert ("reversal" in found.both_sides) is as_both
        keys = {note.key for note in found.notes}
        assert ("other reversal" in keys) is not as_both


def test_contradiction_says_where() -> None:
    found = steps_of({"primary": 8, "gaze_right": -6, "gaze_left": -7})
    assert found.contradiction == (
        "No single muscle explains this: the right eye is higher straight ahead, the left eye is higher on gaze to the right and on gaze"
        " to the left."
    )


def test_the_normal_two_dioptres_are_no_reversal() -> None:
    found = steps_of({"primary": 8, "tilt_right": 16, "tilt_left": -NORMAL_PD})
    assert found.contradiction is None
    assert found.left == {"right superior oblique", "left inferior oblique"}


SIGNS: dict[str, dict[str, Any]] = {
    "V pattern": {"v_pattern_pd": 25.1},
    "excyclotorsion": {"torsion_deg": {"right_eye": 6, "left_eye": 4.1}},
    "reversal": {"hypertropia_pd": {"tilt_right": 9, "tilt_left": -8}},
    "injury with loss of consciousness": {"trauma": True, "loss_of_consciousness": True},
}


@pytest.mark.parametrize("pair", list(itertools.combinations(SIGNS, 2)))
def test_two_signs_make_both_sides_possible(pair: tuple[str, str]) -> None:
    found = three_steps(Findings(**(SIGNS[pair[0]] | SIGNS[pair[1]])))
    assert set(found.both_sides) == set(pair)
    assert found.both_possible
    assert "both" in {note.key for note in found.notes}


@pytest.mark.parametrize("sign", list(SIGNS))
def test_one_sign_alone_does_not_and_chin_down_is_a_sign(sign: str) -> None:
    findings = Findings(**SIGNS[sign])
    assert three_steps(findings).both_sides == (sign,)
    assert not three_steps(findings).both_possible
    assert not three_steps(findings, chin_down=False).both_possible
    with_chin = three_steps(findings, chin_down=True)
    assert with_chin.both_sides == ("chin down on a target", sign)
    assert with_chin.both_possible


@pytest.mark.parametrize(
    "findings",
    [
        {"v_pattern_pd": 25},
        {"v_pattern_pd": -40},
        {"torsion_deg": {"right_eye": 6, "left_eye": 4}},
        {"torsion_deg": {"right_eye": 15}},
        {"trauma": True},
        {"loss_of_consciousness": True},
    ],
)
def test_no_sign_of_both_sides(findings: dict[str, Any]) -> None:
    assert three_steps(Findings(**findings)).both_sides == ()


@pytest.mark.parametrize(
    ("name", "torsion", "says", "matches", "skew"),
    [
        ("right superior oblique", {"right_eye": 5}, "higher eye out", True, ()),
        ("right superior oblique", {"right_eye": 1.9}, "neither", None, ()),
        ("right superior oblique", {"left_eye": 5}, None, None, ()),
        ("right superior oblique", {"right_eye": -2}, "higher eye in", False, ("torsion",)),
        ("right inferior rectus", {"right_eye": 5}, "higher eye out", None, ()),
        ("left superior oblique", {"left_eye": 5, "right_eye": -5}, "higher eye out", True, ()),
    ],
)
def test_torsion_is_that_of_the_higher_eye(
    name: str, torsion: dict[str, float], says: str | None, matches: bool | None, skew: tuple[str, ...]
) -> None:
    found = steps_of(figures_of(name), torsion_deg=torsion)
    assert found.torsion == says
    assert found.torsion_matches is matches
    assert found.skew == skew
    assert found.left == {name}
    assert found.named == (frozenset() if skew else {name})


@pytest.mark.parametrize(
    ("supine", "falls", "key"),
    [(5.0, True, "supine fall"), (5.1, False, "supine stays"), (-4.0, True, "supine fall"), (14.0, False, "supine stays")],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_fall_of_half_or_more_on_lying_down_is_skew_and_no_muscle_is_named(
    supine: float, falls: bool, key: str, sign: int
) -> None:
    name = "right superior oblique" if sign > 0 else "left superior oblique"
    found = steps_of(figures_of(name) | {"supine": sign * supine}, **METHOD)
    assert ("supine" in found.skew) is falls
    assert key in {note.key for note in found.notes}
    assert found.left == {name}
    assert found.named == (frozenset() if falls else {name})
    if falls:
        assert found.notes[0].key == "supine fall"
        assert "posterior fossa disease until excluded" in found.notes[0].text


@pytest.mark.parametrize(
    ("figures", "falls"),
    [
        ({"primary": 4.1, "supine": 2.0}, True),
        # Half, but within what normal people show.
        ({"primary": 4.0, "supine": 2.0}, False),
        ({"primary": 3.0, "supine": 1.2}, False),
        ({"primary": NORMAL_PD, "supine": -8.0}, None),
        ({"primary": 10.0}, None),
        ({"supine": 10.0}, None),
    ],
)
def test_small_fall_on_lying_down_is_none(figures: dict[str, float], falls: bool | None) -> None:
    assert supine_falls(Findings(hypertropia_pd=figures)) is falls


@pytest.mark.parametrize(
    ("primary", "side"), [(NORMAL_PD, None), (-NORMAL_PD, None), (2.1, "right"), (-2.1, "left"), (None, None)]
)
def test_higher_eye_is_named_above_what_normal_people_show(primary: float | None, side: str | None) -> None:
    findings = Findings(hypertropia_pd={"primary": primary})
    assert higher_eye(findings) == three_steps(findings).steps[0].side == side


def test_after_eye_surgery_steps_are_shown_and_none_is_named() -> None:
    found = steps_of(figures_of("left superior oblique"), previous_eye_surgery=True)
    assert found.left == {"left superior oblique"}
    assert found.decided == 3
    assert found.named == frozenset()
    assert "surgery" in {note.key for note in found.notes}


@pytest.mark.parametrize(
    ("method", "straight", "ok", "keys"),
    [
        ("alternate prism cover", True, True, set()),
        ("alternate prism cover", None, True, {"head not said"}),
        ("alternate prism cover", False, False, {"head not straight"}),
        ("other", True, False, {"method"}),
        (None, None, False, {"method", "head not said"}),
    ],
)
def test_weaker_method_is_said(method: Any, straight: bool | None, ok: bool, keys: set[str]) -> None:
    findings = Findings(hypertropia_pd=figures_of("right superior oblique"), hypertropia_method=method)
    found = three_steps(findings, head_straight=straight)
    assert found.method_ok is ok
    assert {note.key for note in found.notes} & {"method", "head not said", "head not straight"} == keys
    assert found.left == {"right superior oblique"}


@pytest.mark.parametrize(
    ("figures", "more", "nil"),
    [
        ({"primary": 0, "tilt_right": 2, "tilt_left": -2}, METHOD, True),
        ({"primary": 0, "tilt_right": 2, "tilt_left": -2, "gaze_left": 3}, METHOD, False),
        ({"primary": 0, "tilt_right": 2.5, "tilt_left": 0}, METHOD, False),
        ({"primary": 0, "tilt_right": 0}, METHOD, False),
        ({"tilt_right": 0, "tilt_left": 0}, METHOD, False),
        ({"primary": 0, "tilt_right": 2, "tilt_left": -2}, {"hypertropia_method": "other"}, False),
        ({"primary": 0, "tilt_right": 2, "tilt_left": -2}, {}, False),
    ],
)
def test_nil_is_measured_straight_and_on_both_tilts_by_the_right_method(
    figures: dict[str, float], more: dict[str, Any], nil: bool
) -> None:
    found = steps_of(figures, **more)
    assert found.nil is nil
    assert ("nil" in {note.key for note in found.notes}) is nil


@pytest.mark.parametrize("name", sorted(MUSCLES))
def test_dissociated_deviation_is_thought_of_where_it_grows_on_the_opposite_tilt(name: str) -> None:
    higher, _, tilt = ANATOMY[name]
    keys = {note.key for note in steps_of(figures_of(name)).notes}
    assert ("dvd" in keys) is (higher != tilt)
    assert "rule fails" in keys


def test_every_note_has_a_source_and_is_a_sentence() -> None:
    assert all(note.key == key and note.source and note.text.endswith(".") for key, note in NOTES.items())


# --- Properties. ---

KEYS = ("primary", "gaze_right", "gaze_left", "tilt_right", "tilt_left", "supine")
IRRELEVANT: dict[str, Any] = {
    "asleep": "stays",
    "lying_awake": "goes",
    "stereo": 60,
    "va_logmar": {"right": 0.3, "left": 0.0},
    "hearing_loss_side": "left",
    "feeding_related": True,
    "attacks": False,
    "glasses_effect": "less",
    "neck_band_or_mass": "right",
    "neck_range_deg": {"tilt_right": 40, "turn_left": 50},
    "nystagmus": "latent",
    "fixing_eye": "right",
    "age_months": 40,
}


def drawn(seed: int) -> dict[str, Any]:
    """Figures at random, in whole dioptres around the bounds, some of them missing."""
    rng = np.random.default_rng(seed)
    figures = {key: float(rng.integers(-12, 13)) for key in KEYS if rng.random() < 0.85}
    if rng.random() < 0.7:
        # Mostly of one sign, or every drawing would contradict itself.
        figures = {key: abs(value) * (1 if seed % 2 else -1) for key, value in figures.items()}
    torsion = {key: float(rng.integers(-8, 9)) for key in ("right_eye", "left_eye") if rng.random() < 0.6}
    document: dict[str, Any] = {"hypertropia_pd": figures, "torsion_deg": torsion, "v_pattern_pd": float(rng.integers(0, 40))}
    return document | {"previous_eye_surgery": bool(rng.random() < 0.2)}


SEEDS = range(300)


def test_drawings_reach_every_kind_of_answer() -> None:
    sizes = {len(three_steps(Findings(**drawn(seed))).left) for seed in SEEDS}
    assert sizes == {0, 1, 2, 4, 8}


@pytest.mark.parametrize("seed", SEEDS)
def test_a_mirrored_child_gives_the_mirrored_answer(seed: int) -> None:
    findings = Findings(**drawn(seed))
    found, mirror = three_steps(findings), three_steps(mirror_findings(findings))
    assert mirror.left == {swap(name) for name in found.left}
    assert mirror.named == {swap(name) for name in found.named}
    for one, other in zip(found.steps, mirror.steps, strict=True):
        assert other.decided is one.decided
        assert other.side == (None if one.side is None else swap(one.side))
        assert other.left == {swap(name) for name in one.left}
    same = ("decided", "method_ok", "nil", "torsion", "torsion_matches", "skew", "both_sides", "both_possible", "notes")
    assert all(getattr(mirror, name) == getattr(found, name) for name in same)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_measurement_less_never_leaves_fewer_muscles(seed: int) -> None:
    document = drawn(seed)
    full = three_steps(Findings(**document))
    for size in range(len(KEYS)):
        for kept in itertools.combinations(KEYS, size):
            fewer = {key: value for key, value in document["hypertropia_pd"].items() if key in kept}
            found = three_steps(Findings(**(document | {"hypertropia_pd": fewer})))
            assert found.left >= full.left
            assert found.decided <= full.decided


@pytest.mark.parametrize("seed", range(0, 300, 10))
@pytest.mark.parametrize("key", sorted(IRRELEVANT))
def test_an_irrelevant_key_changes_nothing(seed: int, key: str) -> None:
    document = drawn(seed)
    assert three_steps(Findings(**(document | {key: IRRELEVANT[key]}))) == three_steps(Findings(**document))
