"""The error rates of a change: few false ones, most large ones found, and the program that counts them can fail."""

from __future__ import annotations

import numpy as np
import pytest

from posture.clinic.natural import NATURAL_SD_DEG, PRIOR_DF
from tests.proof import change
from tests.proof.change import find_prior_rates, find_rates, main, measurement_errors, simulate_pair, verdicts_of_unlike

PAIRS = 400


@pytest.fixture(scope="module")
def errors() -> np.ndarray:
    return measurement_errors(600, np.random.default_rng(3))


def test_no_change_is_called_real_in_at_most_five_of_a_hundred(errors: np.ndarray) -> None:
    adult, own = find_rates(0.0, 1.0, PAIRS, errors)
    assert adult.interval[0] <= 0.05
    assert own.interval[0] <= 0.05
    assert own.real <= adult.real, "two recordings say too little to allow more"


def test_the_childs_own_figure_helps_a_child_who_varies_more(errors: np.ndarray) -> None:
    adult, own = find_rates(0.0, 2.0, PAIRS, errors)
    assert own.real < adult.real


def test_large_changes_are_found_and_larger_ones_more_often(errors: np.ndarray) -> None:
    shares = [find_rates(float(deg), 1.0, 150, errors)[0].share for deg in (2, 6, 12)]
    assert shares[0] < shares[1] < shares[2]
    assert shares[2] > 0.9


@pytest.mark.parametrize(("times", "most"), [(1.0, 0.05), (2.0, 0.10)])
def test_the_weight_of_the_adult_figure_keeps_false_alarms_low(times: float, most: float) -> None:
    assert find_prior_rates(PRIOR_DF, 1.0, times, 0.0, 3000).interval[0] < most


def test_the_bound_of_adults_is_exact_where_all_is_as_stated() -> None:
    low, high = find_prior_rates(None, 1.0, 1.0, 0.0, 4000).interval
    assert low <= 0.05 <= high


def test_simulated_recordings_are_as_stated(errors: np.ndarray) -> None:
    rng = np.random.default_rng(5)
    exact = np.zeros((1, 3))
    made = [simulate_pair(6.0, 2.0, exact, rng) for _ in range(600)]
    tilts = np.array([[s.habitual.tilt_deg.value for s in (*before, after)] for before, after in made])  # type: ignore[union-attr]
    assert np.std(tilts[:, 1] - tilts[:, 0]) == pytest.approx(2 * NATURAL_SD_DEG["tilt"], rel=0.1)
    assert np.mean(tilts[:, 2] - tilts[:, 1]) == pytest.approx(6.0, abs=0.4)
    held = (errors[:, 0] <= errors[:, 1]) & (errors[:, 0] >= -errors[:, 2])
    assert 0.92 < held.mean() <= 1.0, "the interval holds the truth about as often as it says"


def test_unlike_pairs_have_no_verdict() -> None:
    assert not any(verdicts_of_unlike().values())


def test_the_program_prints_the_table_and_fails_when_the_rate_is_too_high(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(change, "SAMPLE", 3)
    monkeypatch.setattr(change, "CHANGES_DEG", (0, 12))
    assert main(["--pairs", "60"]) == 0
    told = capsys.readouterr().out
    assert "posture compare on written files: 3 of 3" in told
    assert "Unlike pairs with a verdict: 0 of 8" in told
    monkeypatch.setattr(change, "TIMES_ADULT", (6.0,))
    assert main(["--pairs", "60"]) == 1
