"""The interval holds the truth about as often as it says, at every number of spells."""

import itertools

import numpy as np
import pytest

from tests.proof.coverage import SPELLS, SPREAD_DEG, find_coverage, main, simulate_spells

RUNS = 1200
"""Standard error of a coverage of 95 %: 0.6 %, so that a true coverage of 94 to 96 % stays within the bounds below."""

LOW, HIGH = 0.92, 0.98


@pytest.mark.parametrize("correlation", [0.3, 0.5])
@pytest.mark.parametrize("n", SPELLS)
def test_coverage_is_near_95_per_cent(n: int, correlation: float) -> None:
    found = find_coverage(n, correlation, RUNS)
    assert found.share_error < 0.009
    assert LOW <= found.share <= HIGH, f"{100 * found.share:.1f} +- {100 * found.share_error:.1f} %"


def test_more_spells_give_a_narrower_interval() -> None:
    halves = [find_coverage(n, 0.3, 200).half_deg for n in SPELLS]
    assert all(narrower < wider for wider, narrower in itertools.pairwise(halves))
    assert halves[-1] < SPREAD_DEG


def test_simulated_spells_are_as_stated() -> None:
    values, seconds = simulate_spells(40_000, 0.5, np.random.default_rng(1))
    assert values.std() == pytest.approx(SPREAD_DEG, rel=0.03)
    assert np.corrcoef(values[1:], values[:-1])[0, 1] == pytest.approx(0.5, abs=0.03)
    assert seconds.min() >= 0.6
    assert seconds.mean() == pytest.approx(2.1, rel=0.03)


def test_command_prints_every_entry(capsys: pytest.CaptureFixture[str]) -> None:
    main(["--runs", "5"])
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 6
    assert all(line.count("(") == len(SPELLS) for line in lines[-3:])
