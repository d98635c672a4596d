"""How fast a child must be seen, and when no neck is moved."""

import pytest

from posture.clinic.findings import RED_FLAGS_SOON, RED_FLAGS_TODAY, Findings
from posture.clinic.urgency import NECK_FLAGS, neck_may_move, urgency_of
from tests.clinic.mirror import mirror_findings, swap

SKEW = {"primary": 12.0, "supine": 4.0}


@pytest.mark.parametrize("code", sorted(RED_FLAGS_TODAY))
def test_each_red_flag_of_today(code: str) -> None:
    found = urgency_of(Findings(red_flags=[code]))
    assert (found.speed, found.asked, found.reasons) == ("today", True, (RED_FLAGS_TODAY[code],))


@pytest.mark.parametrize("code", sorted(RED_FLAGS_SOON))
def test_each_red_flag_of_two_weeks(code: str) -> None:
    found = urgency_of(Findings(red_flags=[code]))
    assert (found.speed, found.asked, found.reasons) == ("soon", True, (RED_FLAGS_SOON[code],))


def test_today_stands_first_and_wins() -> None:
    found = urgency_of(Findings(red_flags=["head_nodding", "white_pupil"]))
    assert found.speed == "today"
    assert found.reasons == (RED_FLAGS_TODAY["white_pupil"], RED_FLAGS_SOON["head_nodding"])


@pytest.mark.parametrize(("flags", "asked"), [(None, False), ([], True)])
def test_not_asked_is_not_none(flags: list[str] | None, asked: bool) -> None:
    found = urgency_of(Findings(red_flags=flags))
    assert found.speed is None
    assert found.reasons == ()
    assert found.asked is asked


@pytest.mark.parametrize(
    ("findings", "speed", "reason"),
    [
        ({"onset": "new"}, "soon", "the posture is new"),
        ({"trauma": True}, "soon", "injury"),
        ({"trauma": True, "loss_of_consciousness": True}, "today", "injury with loss of consciousness"),
        ({"trauma": True, "red_flags": ["neck_pain"]}, "today", "injury with neck pain"),
        ({"nystagmus": "new"}, "soon", "new nystagmus"),
        ({"hypertropia_pd": SKEW}, "today", "posterior fossa disease until excluded"),
        ({"hypertropia_pd": SKEW, "onset": "childhood"}, "soon", "posterior fossa disease until excluded"),
        ({"hypertropia_pd": SKEW, "onset": "new"}, "today", "posterior fossa disease until excluded"),
        ({"hypertropia_pd": {"primary": -9}, "torsion_deg": {"left_eye": -4}}, "soon", "rolled inwards"),
        ({"hypertropia_pd": {"primary": -9}, "torsion_deg": {"left_eye": -4}, "onset": "new"}, "today", "rolled inwards"),
    ],
)
def test_urgent_without_a_red_flag(findings: dict[str, object], speed: str, reason: str) -> None:
    found = urgency_of(Findings(**findings))
    assert found.speed == speed
    assert any(reason in said for said in found.reasons)


@pytest.mark.parametrize(
    "findings",
    [
        {"onset": "infancy"},
        {"trauma": False, "loss_of_consciousness": True},
        {"nystagmus": "old"},
        {"hypertropia_pd": {"primary": 12, "supine": 8}},
        {"hypertropia_pd": {"primary": 12}, "torsion_deg": {"right_eye": 5, "left_eye": -5}},
        {"hypertropia_pd": {"primary": 2, "supine": 0}},
        {"hypertropia_pd": {"supine": 0}},
    ],
)
def test_not_urgent(findings: dict[str, object]) -> None:
    assert urgency_of(Findings(**findings)).speed is None


def test_the_same_reason_stands_once() -> None:
    found = urgency_of(
        Findings(onset="new", nystagmus="new", trauma=True, red_flags=["new_tilt", "new_nystagmus", "injury_neck_pain"])
    )
    assert len(found.reasons) == 3


def test_more_answers_of_yes_never_make_it_less_urgent() -> None:
    speeds = [None, "soon", "today"]
    pieces: list[dict[str, object]] = [
        {"onset": "new"},
        {"trauma": True},
        {"nystagmus": "new"},
        {"hypertropia_pd": SKEW},
        {"loss_of_consciousness": True},
        *({"red_flags": [code]} for code in (*RED_FLAGS_TODAY, *RED_FLAGS_SOON)),
    ]
    for first in pieces:
        alone = urgency_of(Findings(**first)).speed
        for second in pieces:
            joined = first | second
            if "red_flags" in first and "red_flags" in second:
                joined = {"red_flags": [*first["red_flags"], *second["red_flags"]]}  # type: ignore[misc]
            assert speeds.index(urgency_of(Findings(**joined)).speed) >= speeds.index(alone), (first, second)


@pytest.mark.parametrize(
    ("findings", "may"),
    [
        ({}, False),
        ({"neck_safe": False}, False),
        ({"neck_safe": True}, True),
        ({"neck_safe": True, "red_flags": []}, True),
        ({"neck_safe": True, "red_flags": ["white_pupil"]}, True),
        ({"neck_safe": True, "onset": "new"}, False),
        ({"neck_safe": True, "trauma": True}, False),
        ({"neck_safe": True, "trauma": False, "onset": "infancy"}, True),
        *(({"neck_safe": True, "red_flags": [code]}, False) for code in sorted(NECK_FLAGS)),
    ],
)
def test_neck_is_moved_only_when_every_line_is_no(findings: dict[str, object], may: bool) -> None:
    assert neck_may_move(Findings(**findings)) is may


def test_flags_of_the_neck_are_red_flags_with_all_that_the_screen_names() -> None:
    assert set(RED_FLAGS_TODAY | RED_FLAGS_SOON) >= NECK_FLAGS
    named = {"injury_neck_pain", "neck_pain", "fever", "new_tilt", "weakness", "unsteady", "headache", "vomiting"}
    assert named <= NECK_FLAGS


@pytest.mark.parametrize("primary", [12.0, -12.0])
def test_a_mirrored_child_is_as_urgent(primary: float) -> None:
    findings = Findings(
        hypertropia_pd={"primary": primary, "supine": primary / 4},
        torsion_deg={"right_eye": -3, "left_eye": 3},
        red_flags=["mass"],
    )
    found, mirror = urgency_of(findings), urgency_of(mirror_findings(findings))
    assert mirror.speed == found.speed == "today"
    assert mirror.reasons == tuple(swap(reason) for reason in found.reasons)
