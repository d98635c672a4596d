"""The error rates of a course: few false alarms, large growth found, and the program can fail."""

from __future__ import annotations

import numpy as np
import pytest

from tests.proof import course
from tests.proof.change import measurement_errors
from tests.proof.course import Way, find_called, main

CHILDREN = 80


@pytest.fixture(scope="module")
def errors() -> np.ndarray:
    return measurement_errors(400, np.random.default_rng(4))


@pytest.mark.parametrize("way", ["evenly", "at the end"])
def test_a_steady_tilt_is_long_standing_and_a_large_growth_is_found(way: Way, errors: np.ndarray) -> None:
    steady, grown = (find_called(deg, way, 1.0, CHILDREN, errors) for deg in (0.0, 15.0))
    assert steady.growing.interval[0] <= 0.05
    assert steady.long_standing.share > 0.9
    assert grown.growing.share > 0.95
    assert grown.long_standing.interval[0] <= 0.01


def test_the_program_prints_every_entry_and_fails_when_growth_is_missed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(course, "GROWTHS_DEG", (0, 15))
    assert main(["--children", "40"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 5
    monkeypatch.setattr(course, "SERIOUS_DEG", 0)
    assert main(["--children", "40"]) == 1
