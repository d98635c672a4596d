"""The steps of an examination, and which of them may be offered."""

from __future__ import annotations

import pytest

from posture.clinic.urgency import NECK_SCREEN
from posture.errors import SpanError
from posture.filming.steps import COVER_FILMED_S, COVERED_S, PLAN, STEPS, offered, screen_answer
from posture.summary.record import Conditions

ALL_NO = dict.fromkeys(NECK_SCREEN, False)
ASKED = {"tilt-right", "tilt-left", "turn-right", "turn-left"}


@pytest.mark.parametrize("step", STEPS.values(), ids=list(STEPS))
def test_step_implies_conditions_of_the_record(step):
    conditions = Conditions.model_validate(dict(step.conditions))
    assert conditions.covered_eye in ("right", "left", "none")
    assert step.film_s > 0
    assert step.instruction.endswith(".")
    assert (step.asked is not None) == (step.gives == "asked movement") == step.needs_neck_screen


def test_plan_holds_every_step_and_three_settings():
    assert set(PLAN) == set(STEPS)
    assert PLAN.count("head-set") == 3
    assert COVERED_S == 1800
    assert all(STEPS[key].wait_s + COVER_FILMED_S == COVERED_S for key in ("cover-right", "cover-left"))
    # Open before, between and after the covers.
    order = [key for key in PLAN if key.startswith("cover") or key in ("play", "open")]
    assert order == ["play", "cover-right", "open", "cover-left", "open"]


def test_all_answered_no_offers_everything():
    found = offered(PLAN, ALL_NO)
    assert [step.key for step in found.steps] == list(PLAN)
    assert found.why is None


@pytest.mark.parametrize("line", NECK_SCREEN)
def test_any_line_answered_yes_takes_out_all_that_moves_the_neck(line):
    found = offered(PLAN, ALL_NO | {line: True})
    assert not ASKED & {step.key for step in found.steps}
    assert not any(step.moves_head for step in found.steps)
    assert found.why is not None
    assert "Do not move the neck" in found.why
    assert NECK_SCREEN[line] in found.why


@pytest.mark.parametrize("screen", [{}, *({**ALL_NO, line: None} for line in NECK_SCREEN)], ids=["none", *NECK_SCREEN])
def test_an_open_line_counts_as_not_done(screen):
    found = offered(PLAN, screen)
    assert not ASKED & {step.key for step in found.steps}
    assert "head-set" in {step.key for step in found.steps}
    assert found.why is not None
    assert "not answered in full" in found.why
    assert "tilt to the right shoulder" in found.why


def test_yes_counts_above_an_open_line():
    assert screen_answer({"pain": True}) is False
    assert screen_answer({"pain": False}) is None
    assert screen_answer(ALL_NO) is True


def test_any_order_and_repeats():
    keys = ["far", "play", "far", "cover-left", "far"]
    assert [step.key for step in offered(keys, {}).steps] == keys
    assert offered(keys, {}).why is None


def test_unknown_step_is_refused():
    with pytest.raises(SpanError, match="Expected a step of the examination: play, far"):
        offered(["play", "dance"], ALL_NO)
