"""How often a course of films is called growing or long-standing: ``python -m tests.proof.course [--children N]``.

Six films of a child over five years, the tilt growing evenly by a known amount from 8 degrees on, or by the whole amount before the last
film; natural variation and measurement as in `tests.proof.change`. A steady tilt called growing is a false alarm; a growth of 10 degrees or
more called long-standing is the error that matters. Ends with status 1 when either comes, by more than chance, in more than 5 of 100 in
any entry (of the false alarms only at the variation of adults, as that of children is not known).
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from posture.clinic.course import Dated, course_of
from posture.clinic.natural import NATURAL_SD_DEG
from tests.proof.change import ALLOWED, Rate, measurement_errors, recording

GROWTHS_DEG = (0, 2, 4, 6, 8, 10, 15)
TIMES_ADULT = (1.0, 2.0)
FIRST_DEG, FIRST_YEAR, FILMS = -8.0, 2018, 6
SERIOUS_DEG = 10
CHILDREN, POOL, SEED = 500, 1500, 2027

Way = Literal["evenly", "at the end"]
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Called:
    """How often a course was called growing, long-standing, or neither with a note that it may grow."""

    growing: Rate
    long_standing: Rate
    may_grow: Rate


def simulate_course(growth_deg: float, way: Way, times: float, errors: Array, rng: np.random.Generator) -> list[Dated]:
    """The films of one child."""
    share = np.linspace(0.0, 1.0, FILMS) if way == "evenly" else np.arange(FILMS) == FILMS - 1
    held = FIRST_DEG - growth_deg * share + rng.normal(0.0, times * NATURAL_SD_DEG["tilt"] / np.sqrt(2), FILMS)
    films = []
    for i, tilt in enumerate(held):
        day = f"{FIRST_YEAR + i}-05-01"
        films.append(Dated(recording(float(tilt), errors[rng.integers(len(errors))], i, day), day, 24 + 12 * i))
    return films


def find_called(growth_deg: float, way: Way, times: float, children: int, errors: Array) -> Called:
    """Count what is said of simulated children.

    Parameters
    ----------
    growth_deg : float
        The true growth.
    way : {"evenly", "at the end"}
    times : float
        Natural variation, in that of adults.
    children : int
    errors : ndarray, shape (n, 3)
        From `tests.proof.change.measurement_errors`.
    """
    rng = np.random.default_rng([SEED, round(growth_deg), way == "evenly", round(10 * times)])
    courses = [course_of(simulate_course(growth_deg, way, times, errors, rng)) for _ in range(children)]
    counts = (
        sum(course.flag is not None for course in courses),
        sum(course.status == "long-standing" for course in courses),
        sum(course.may_grow for course in courses),
    )
    return Called(*(Rate(count, children) for count in counts))


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table and judge it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--children", type=int, default=CHILDREN, help=f"children for each entry (default {CHILDREN})")
    children = parser.parse_args(argv).children
    errors = measurement_errors(min(POOL, 3 * children), np.random.default_rng([SEED, 0]))
    print(
        f"{FILMS} films over {FILMS - 1} years, {children} children each: per cent called growing / long-standing / may grow."
    )
    cases: list[tuple[Way, float]] = [(way, times) for way in ("evenly", "at the end") for times in TIMES_ADULT]
    print("true growth" + "".join(f"{f'{way}, {times:g}x':>24}" for way, times in cases))
    missed = alarms = False
    for growth_deg in GROWTHS_DEG:
        row = [find_called(growth_deg, way, times, children, errors) for way, times in cases]
        cells = [" / ".join(f"{100 * rate.share:.1f}" for rate in (c.growing, c.long_standing, c.may_grow)) for c in row]
        print(f"{growth_deg:>11}" + "".join(f"{cell:>24}" for cell in cells), flush=True)
        if growth_deg >= SERIOUS_DEG:
            missed |= any(called.long_standing.interval[0] > ALLOWED for called in row)
        if growth_deg == 0:
            steady = [called for called, (_, times) in zip(row, cases, strict=True) if times == 1.0]
            alarms |= any(called.growing.interval[0] > ALLOWED for called in steady)
    print(
        f"More than 5 of 100: false alarms {'yes' if alarms else 'no'}, growth called long-standing {'yes' if missed else 'no'}."
    )
    return int(missed or alarms)


if __name__ == "__main__":
    sys.exit(main())
