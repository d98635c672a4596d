"""The virtual cohort is drawn as its sources say, and its tables are made from what the hints said."""

from collections import Counter

import numpy as np
import pytest

from posture.clinic.muscles import three_steps
from tests.clinic.histories import findings_of
from tests.proof.cohort import DEPTHS, OUTCOMES, is_wrong, main, run_cohort, say_share
from tests.proof.cohort_causes import CAUSES, oblique_acquired, oblique_both, oblique_from_birth, tight_muscle
from tests.proof.cohort_child import MUSCLES, figures

DRAWN = 3000
"""Standard error of a share of one half: 0.9 %."""


def test_shares_of_the_mixture_are_a_whole_and_as_published() -> None:
    shares = {cause.name: cause.share for cause in CAUSES}
    assert sum(shares.values()) == pytest.approx(1)
    ocular = sum(cause.share for cause in CAUSES if cause.group == "eye")
    oblique = sum(share for name, share in shares.items() if name.startswith("superior oblique"))
    assert ocular / (1 - ocular) == pytest.approx(25 / 48)
    assert 0.337 < oblique / ocular < 0.443


def test_postures_of_the_superior_oblique_are_as_published() -> None:
    rng = np.random.default_rng(1)
    children = [oblique_from_birth(rng, 1) for _ in range(DRAWN)]
    tilts = np.array([child.tilt for child in children])
    assert np.mean(tilts != 0) == pytest.approx(43 / 47, abs=0.02)
    assert np.mean([child.turn != 0 for child in children]) == pytest.approx(19 / 47, abs=0.03)
    assert np.mean(tilts[tilts != 0] > 0) == pytest.approx(0.034, abs=0.012)
    # The published mean, a little more as no tilt under 5 degrees is drawn.
    assert 12.3 < np.abs(tilts[tilts != 0]).mean() < 15.5
    acquired = [oblique_acquired(rng, 1) for _ in range(DRAWN)]
    assert np.mean([child.turn != 0 for child in acquired]) == pytest.approx(10 / 13, abs=0.03)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("muscle", sorted(MUSCLES))
def test_three_positive_steps_leave_the_muscle_that_was_drawn(muscle: str, side: int) -> None:
    rng = np.random.default_rng(2)
    for _ in range(50):
        findings = findings_of({"hypertropia_pd": figures(rng, muscle, side, 3), "hypertropia_method": "alternate prism cover"})
        assert three_steps(findings).left == {f"{'right' if side > 0 else 'left'} {muscle}"}


def test_both_sides_and_the_neck_are_drawn_as_stated() -> None:
    rng = np.random.default_rng(3)
    both = [oblique_both(rng, 1) for _ in range(DRAWN)]
    reversing = [child.hypertropia["tilt_right"] > 0 > child.hypertropia["tilt_left"] for child in both]
    assert np.mean(reversing) == pytest.approx(0.6, abs=0.03)
    tight = [tight_muscle(rng, -1) for _ in range(DRAWN)]
    assert all(child.tilt < 0 <= child.turn and max(child.deficit) <= 0 for child in tight)
    assert np.mean([child.tilt for child in tight]) == pytest.approx(-np.mean([8.3, 17.2, 23.4]), abs=0.4)


def test_share_with_its_interval() -> None:
    # 2 of 20 by Wilson's formula: 2.8 to 30.1 %.
    assert say_share(2, 20) == "10.0 (2.8-30.1)"
    assert say_share(0, 0) == "-"


def test_film_alone_names_no_side_and_the_same_seed_gives_the_same_cohort() -> None:
    seen = run_cohort(150, 4, "film alone")
    assert all(one.hint.side is None for one in seen)
    assert not any(map(is_wrong, seen))
    assert seen == run_cohort(150, 4, "film alone")


def test_the_more_is_examined_the_more_sides_are_right() -> None:
    right = [
        sum(one.hint.side == one.true_side and one.hint.side is not None for one in run_cohort(300, 5, depth))
        for depth in DEPTHS
    ]
    assert right[0] == 0 < right[1] < right[2]


def test_command_prints_every_cause_and_says_simulated(capsys: pytest.CaptureFixture[str]) -> None:
    main(["--children", "60", "--seed", "6"])
    printed = capsys.readouterr().out
    assert all(printed.count(f"\n{cause.name:32}") == 2 for cause in CAUSES)
    assert printed.count("simulated") == 2 + len(DEPTHS)
    first = next(line for line in printed.splitlines() if line.startswith("all"))
    counts: Counter[str] = Counter(one.hint.outcome for one in run_cohort(60, 6, "usual"))
    assert first.split()[1] == "60"
    assert [float(value) for value in first.split()[2 : 2 + 2 * len(OUTCOMES) : 2]] == [
        pytest.approx(100 * counts[outcome] / 60, abs=0.05) for outcome in OUTCOMES
    ]
