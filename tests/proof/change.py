"""How often a change is called real: ``python -m tests.proof.change [--pairs N]``.

Pairs of recordings with a known change of tilt. Each recording is that of a child whose posture differs from day to day by the natural
variation of adults or twice that, measured from twenty steady spells (`tests.proof.coverage`) with the interval that the program gives,
camera and landmarks added in quadrature. Each pair goes through `posture.clinic.change.compare`: with one recording before, so that the
figures of adults stand, and with two, so that the child's own repeatability is pooled with them. A sample goes through files and
`posture compare`, with unlike pairs among them.

Ends with status 1 when, without any change, more are called real than 5 in 100 at the variation that the rule states, by more than
chance; or when an unlike pair has a verdict; or when the command says anything else than the function.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from click.testing import CliRunner
from numpy.typing import NDArray
from scipy.stats import binomtest

from posture.cli import main as posture
from posture.clinic.change import compare
from posture.clinic.natural import NATURAL_SD_DEG, PRIOR_DF, Z95, chance_deg, natural_of
from posture.signal.interval import spell_interval, weighted_quantile
from posture.summary.record import HeldAngle, Summary
from tests.clinic.made import clip
from tests.proof.coverage import simulate_spells

CHANGES_DEG = (0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 12)
TIMES_ADULT = (1.0, 2.0)
SPELLS, CORRELATION = 20, 0.3
OTHER_SD_DEG = 0.7
"""Camera, lens and landmarks together, in a recording on a level camera; drawn for each, and stated in its interval."""

BEFORE_DEG = -14.0
ALLOWED = 0.05
PAIRS, POOL, SAMPLE = 2000, 3000, 24
SEED = 2026

ERRORS_DEG = (0.5, 1.0, 2.0)
WEIGHTS = (None, 1.0, PRIOR_DF, 4.0)

UNLIKE: tuple[tuple[str, dict[str, object], dict[str, object]], ...] = (
    ("position", {"position": "sitting"}, {"position": "standing"}),
    ("covered eye", {"covered_eye": "none"}, {"covered_eye": "right"}),
    ("covered eye not said in one", {}, {"covered_eye": "left"}),
    ("mirroring unknown before", {"sided": False}, {}),
    ("mirroring unknown after", {}, {"sided": False}),
    ("two postures", {}, {"two": True}),
    ("no habitual posture", {"nothing": True}, {}),
    ("under drops", {}, {"drops": "cyclopentolate"}),
)
"""What differs in a pair that gets no verdict, before and after."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Rate:
    """How many of how many were called real."""

    real: int
    of: int

    @property
    def share(self) -> float:
        """The share that was called real."""
        return self.real / self.of

    @property
    def interval(self) -> tuple[float, float]:
        """Its 95 % interval (Clopper and Pearson)."""
        found = binomtest(self.real, self.of).proportion_ci(0.95)
        return float(found.low), float(found.high)


def measurement_errors(count: int, rng: np.random.Generator) -> Array:
    """Errors of simulated recordings and the lower and upper half of their intervals, degrees, shape (count, 3)."""
    errors = np.empty((count, 3))
    for i in range(count):
        values, seconds = simulate_spells(SPELLS, CORRELATION, rng)
        middle = weighted_quantile(values, seconds, 0.5)
        found = spell_interval(middle, values, seconds)
        other = rng.normal(0.0, OTHER_SD_DEG)
        halves = [np.hypot(half, Z95 * OTHER_SD_DEG) for half in (middle - found.low, found.high - middle)]
        errors[i] = middle + other, *halves
    return errors


def recording(tilt_deg: float, error: Array, number: int, filmed_on: str) -> Summary:
    """The summary of a recording in which the head was held so, with its error of measurement."""
    made = clip(tilt_deg, filmed_on=filmed_on)
    value = tilt_deg + float(error[0])
    tilt = HeldAngle(value=value, low=value - float(error[1]), high=value + float(error[2]), middle_half=(value - 2, value + 2))
    assert made.habitual is not None
    return made.model_copy(
        update={
            "habitual": made.habitual.model_copy(update={"tilt_deg": tilt}),
            "clip": made.clip.model_copy(update={"sha256": f"{number:064x}"}),
        }
    )


def simulate_pair(change_deg: float, times: float, errors: Array, rng: np.random.Generator) -> tuple[list[Summary], Summary]:
    """Two recordings before and one after, of one child."""
    # The natural variation is stated for a difference, which two recordings share.
    sd = times * NATURAL_SD_DEG["tilt"] / np.sqrt(2)
    held = BEFORE_DEG + rng.normal(0.0, sd, 3) + np.array([0.0, 0.0, change_deg])
    days = ("2026-01-12", "2026-02-09", "2026-05-11")
    made = [
        recording(float(t), errors[rng.integers(len(errors))], i, day)
        for i, (t, day) in enumerate(zip(held, days, strict=True))
    ]
    return made[:2], made[2]


def find_rates(change_deg: float, times: float, pairs: int, errors: Array, seed: int = SEED) -> tuple[Rate, Rate]:
    """How often a change is called real, with the figures of adults and with the child's own.

    Parameters
    ----------
    change_deg : float
        The true one.
    times : float
        Natural variation of the child, in that of adults.
    pairs : int
    errors : ndarray, shape (n, 3)
        From `measurement_errors`.
    seed : int
    """
    rng = np.random.default_rng([seed, round(10 * change_deg), round(10 * times)])
    adult = own = 0
    for _ in range(pairs):
        before, after = simulate_pair(change_deg, times, errors, rng)
        adult += compare(before, [after], own=[]).tilt_deg.real is True
        own += compare(before, [after]).tilt_deg.real is True
    return Rate(adult, pairs), Rate(own, pairs)


def find_prior_rates(prior_df: float | None, sd_deg: float, times: float, change_deg: float, pairs: int) -> Rate:
    """How often a change is called real by the weight of the adult figure, with normal errors that are as large as stated.

    Parameters
    ----------
    prior_df : float or None
        None takes the figure of adults alone.
    sd_deg : float
        Standard deviation of each measurement, known.
    times : float
        Natural variation of the child, in that of adults.
    change_deg : float
    pairs : int
    """
    rng = np.random.default_rng([SEED, 2, round(10 * sd_deg), round(10 * times), round(change_deg)])
    sd = float(np.hypot(times * NATURAL_SD_DEG["tilt"] / np.sqrt(2), sd_deg))
    seen = rng.normal(0.0, sd, (pairs, 3)) + np.array([0.0, 0.0, change_deg])
    real = 0
    for first, second, after in seen:
        natural = natural_of("tilt") if prior_df is None else natural_of("tilt", (first, second), prior_df)
        real += abs(after - second) > chance_deg(sd_deg, sd_deg, natural)
    return Rate(int(real), pairs)


def print_weights(pairs: int) -> None:
    """Print what the weight of the adult figure does."""
    print(
        "Weight of the adult figure beside two recordings before (degrees of freedom): per cent called real, errors as stated."
    )
    print("error   weight   no change, 1x   no change, 2x   no change, 3x   6 degrees, 1x   10 degrees, 1x   10 degrees, 2x")
    cases = ((1.0, 0.0), (2.0, 0.0), (3.0, 0.0), (1.0, 6.0), (1.0, 10.0), (2.0, 10.0))
    for sd_deg in ERRORS_DEG:
        for weight in WEIGHTS:
            rates = [find_prior_rates(weight, sd_deg, times, change_deg, pairs) for times, change_deg in cases]
            name = "adults" if weight is None else f"{weight:g}"
            print(f"{sd_deg:>5}{name:>9}" + "".join(f"{100 * rate.share:>16.1f}" for rate in rates), flush=True)


def run_command(before: Summary, after: Summary, folder: Path) -> dict[str, object]:
    """What `posture compare` says of two files."""
    paths = [folder / f"{name}.summary.json" for name in ("before", "after")]
    for path, summary in zip(paths, (before, after), strict=True):
        path.write_text(summary.to_json(), encoding="utf-8")
    done = CliRunner().invoke(posture, ["compare", *map(str, paths), "--json"], catch_exceptions=False)
    if done.exit_code:
        raise RuntimeError(f"Expected posture compare to end with 0; {done.exit_code} came: {done.output}")
    told: dict[str, object] = json.loads(done.output)
    return told


def check_command(errors: Array, sample: int) -> int:
    """How many of a sample of pairs the command judges as the function does; all are expected to."""
    rng = np.random.default_rng([SEED, 1])
    alike = 0
    with tempfile.TemporaryDirectory() as folder:
        for i in range(sample):
            before, after = simulate_pair(float(CHANGES_DEG[i % len(CHANGES_DEG)]), 1.0, errors, rng)
            expected = json.loads(compare(before[1:], [after]).to_json())
            alike += run_command(before[1], after, Path(folder)) == expected
    return alike


def verdicts_of_unlike() -> dict[str, bool]:
    """For each kind of unlike pair, whether any verdict came of the command."""
    found = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, before, after in UNLIKE:
            told = run_command(clip(-14.0, **before), clip(9.0, **after), Path(folder))  # type: ignore[arg-type]
            found[name] = any(told[angle]["real"] is not None for angle in ("tilt_deg", "turn_deg", "chin_deg"))  # type: ignore[index]
    return found


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table and judge it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pairs", type=int, default=PAIRS, help=f"pairs for each entry (default {PAIRS})")
    pairs = parser.parse_args(argv).pairs
    errors = measurement_errors(min(POOL, 3 * pairs), np.random.default_rng([SEED, 0]))
    half = np.median(errors[:, 1:])
    print(
        f"Per cent called a real change, {pairs} pairs each (95 % interval); half width of the intervals {half:.1f} degrees (median)."
        f"\nNatural variation of adults: a standard deviation of {NATURAL_SD_DEG['tilt']} degrees between two recordings."
    )
    heads = [f"{words}, {times:g}x" for times in TIMES_ADULT for words in ("adult figures", "own, 2 before")]
    print("true change" + "".join(f"{head:>24}" for head in heads))
    failed = False
    for change_deg in CHANGES_DEG:
        rates = [rate for times in TIMES_ADULT for rate in find_rates(change_deg, times, pairs, errors)]
        cells = [f"{100 * r.share:.1f} ({100 * r.interval[0]:.1f} to {100 * r.interval[1]:.1f})" for r in rates]
        print(f"{change_deg:>11}" + "".join(f"{cell:>24}" for cell in cells), flush=True)
        failed |= change_deg == 0 and any(rate.interval[0] > ALLOWED for rate in rates[:2])
    print_weights(pairs)
    alike = check_command(errors, SAMPLE)
    unlike = verdicts_of_unlike()
    print(f"posture compare on written files: {alike} of {SAMPLE} as the function says.")
    print(f"Unlike pairs with a verdict: {sum(unlike.values())} of {len(unlike)} ({', '.join(unlike)}).")
    return int(failed or alike < SAMPLE or any(unlike.values()))


if __name__ == "__main__":
    sys.exit(main())
