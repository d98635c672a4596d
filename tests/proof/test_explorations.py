"""The intervals of the explorations hold the truth about as often as they say; the full table is printed by the program."""

import numpy as np
import pytest

from tests.proof.explorations import END_DEG, follow, main, return_coverage, slope_coverage

RUNS = 40
"""Standard error of a coverage of 95 %: 3.4 %, so that one of 95 % seldom falls below the bound."""

LOW = 0.85


@pytest.mark.parametrize("slope", [0.0, 1.0])
def test_interval_of_the_slope_holds_the_truth(slope: float) -> None:
    found = slope_coverage(slope, RUNS)
    assert found.given >= 0.8 * RUNS
    assert found.held >= LOW
    assert found.middle == pytest.approx(slope, abs=0.2)
    assert found.half < 0.8


def test_trunk_that_hardly_leans_is_nearly_always_refused() -> None:
    assert slope_coverage(1.0, RUNS, lean_sd_deg=1.5).given <= 0.1 * RUNS


def test_intervals_of_a_return_hold_the_truth() -> None:
    end, half = return_coverage(1.5, 5, RUNS)
    assert end.given == half.given == RUNS
    assert end.held >= LOW
    assert half.held >= LOW
    assert end.middle == pytest.approx(END_DEG, abs=1.0)
    assert half.middle == pytest.approx(1.5, rel=0.15)


def test_values_resemble_those_before() -> None:
    values = follow(20_000, np.random.default_rng(1), 0.5)
    assert values.std() == pytest.approx(1.0, rel=0.03)
    assert np.corrcoef(values[1:], values[:-1])[0, 1] == pytest.approx(0.5, abs=0.03)


def test_command_prints_both_tables(capsys: pytest.CaptureFixture[str]) -> None:
    main(["--runs", "2"])
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Slope of tilt on trunk lean")
    assert sum("of 2, holds the truth" in line for line in lines) == len(lines) - 2
