"""How well tilt, turn and chin are read on rendered heads: ``python -m tests.proof.accuracy``.

Four bands of the height from forehead to chin times plain pictures, glasses, a hand over mouth and chin, a patch over one eye,
noise, blur, low light and light from one side. Tilt, turn and chin are uniform within 25 degrees, pictures are of 1280x720 with a
focal length of 1000 px that is known, half of the faces are at the centre and half off it. Chin is judged against the mean of three
neutral pictures of the same head, turn and chin against the line of sight. Rendered heads have no real lens, light or hair over the
eyes, so these errors are a lower bound of those on people.

``--rows FILE`` keeps one row a picture; ``--from FILE`` prints the tables from such rows without drawing anything; ``--table`` prints
the uncertainty of the landmarks by height and quality as JSON.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.proof.landmark_table import is_gross, is_used, make_table, quality_says
from tests.proof.material import Rgb, in_processes, load_heads
from tests.proof.occluders import CONDITIONS, Condition
from tests.proof.rows import (
    BANDS_PX,
    FOCAL_PX,
    HEIGHT_PX,
    NAMES,
    RANGE_DEG,
    WIDTH_PX,
    Row,
    draw_neutral,
    draw_shots,
    measure_cell,
    neutral_deg,
    read_rows,
    write_rows,
)

__all__ = ["FOCAL_PX", "HEIGHT_PX", "NAMES", "WIDTH_PX", "head_names", "head_pictures", "main", "mean_and_p95"]

PER_HEAD = 12
SEED = 2026
"""Chosen before any figure was seen."""

WANTED_FACE_PX = 40.0
Array = NDArray[np.float64]


def head_names() -> list[str]:
    """Names of the rendered heads."""
    return list(load_heads().names())


def head_pictures(name: str, per_head: int, seed: int) -> Iterator[tuple[Rgb, Array]]:
    """Draw one head, plain and of the largest band of heights: the neutral pictures first, then random postures.

    Parameters
    ----------
    name : str
    per_head : int
        Postures beside the neutral ones.
    seed : int

    Yields
    ------
    tuple
        Picture and true tilt, turn and chin (3,) against the line of sight.
    """
    for shot in (*draw_neutral(name, seed), *draw_shots(name, "plain", BANDS_PX[-1], per_head, seed)):
        yield shot.picture, shot.truth_deg


def mean_and_p95(error_deg: Array) -> tuple[Array, Array]:
    """Mean and 95th percentile of the sizes of errors (n, 3), each of shape (3,); NaN where there are none."""
    size = np.abs(error_deg)
    if not len(size):
        return np.full(3, np.nan), np.full(3, np.nan)
    return size.mean(0), np.percentile(size, 95, axis=0)


def errors_of(rows: Sequence[Row]) -> Array:
    """Errors (n, 3) of the rows in which the head was found."""
    return np.array([row.error_deg for row in rows if row.found]).reshape(-1, 3)


def measure_all(
    names: Sequence[str],
    conditions: Sequence[Condition],
    bands_px: Sequence[tuple[float, float]],
    per_head: int,
    seed: int = SEED,
    workers: int = 1,
) -> Iterator[list[Row]]:
    """Measure every head under every condition in every band of heights.

    Parameters
    ----------
    names, conditions : sequence of str
    bands_px : sequence of (low, high)
    per_head : int
        Pictures of each head in each cell.
    seed, workers : int

    Yields
    ------
    list of Row
        One head in one cell, in order.
    """
    jobs = [(name, condition, band, per_head, seed) for name in names for condition in conditions for band in bands_px]
    return in_processes(measure_cell, jobs, workers)


def summary_line(rows: Sequence[Row]) -> str:
    """Pictures, found, used, mean error and 95th percentile of those found, mean error of those used, as text."""
    used = [row for row in rows if is_used(row)]
    mean, p95 = mean_and_p95(errors_of(rows))
    found = f"{100 * np.mean([row.found for row in rows]):6.1f}{100 * len(used) / len(rows):7.1f}"
    text = "".join(f"{f'{m:.2f} / {p:.2f}':>15}" for m, p in zip(mean, p95, strict=True))
    return f"{len(rows):5d}{found}{text}  " + "".join(f"{v:6.2f}" for v in mean_and_p95(errors_of(used))[0])


def print_tables(rows: Sequence[Row], bands_px: Sequence[tuple[float, float]], seed: int | None = None) -> None:
    """Print the table of cells, the wanted figures' lines, and the plain heads one by one."""
    head = f"{'n':>5}{'found':>6}{'used':>7}" + "".join(f"{name:>15}" for name in NAMES) + "   of those used"
    print("Rendered heads; found, and used (quality above 0), in %; mean error / 95th percentile, degrees")
    print(f"{'condition':12}{'face, px':>9}{head}")
    conditions = [condition for condition in CONDITIONS if any(row.condition == condition for row in rows)]
    for condition in conditions:
        for low, high in bands_px:
            cell = [row for row in rows if row.condition == condition and low <= row.true_face_px < high]
            if cell:
                print(f"{condition:12}{f'{low:.0f}-{high:.0f}':>9}{summary_line(cell)}")
    print(f"Faces of {WANTED_FACE_PX:.0f} px and more:")
    large = [row for row in rows if row.true_face_px >= WANTED_FACE_PX]
    for condition in conditions:
        cell = [row for row in large if row.condition == condition]
        if cell:
            print(f"{condition:12}{'40-':>9}{summary_line(cell)}")
    print(f"Faces read as something altogether else (in the means above, not in --table): {sum(map(is_gross, rows))}")
    said = "".join(f"{v:+7.2f}" for v in quality_says(rows))
    print(f"rank correlation of quality with the size of the errors:{said}")
    plain = [row for row in large if row.condition == "plain"]
    if plain:
        _print_heads(plain, head, seed)


def _print_heads(plain: Sequence[Row], head: str, seed: int | None) -> None:
    """The plain pictures of every head; root mean square and slope of all, where the postures differ."""
    print(f"Plain, by head:{head:>75}" + (f"{'neutral tilt turn chin':>26}" if seed is not None else ""))
    for name in sorted({row.head for row in plain}):
        own = " ".join(f"{v:6.1f}" for v in neutral_deg(name, seed)) if seed is not None else ""
        print(f"{name:21}{summary_line([row for row in plain if row.head == name])}{own:>26}")
    error = errors_of(plain)
    truth = np.array([row.truth_deg for row in plain if row.found]).reshape(-1, 3)
    if len(truth) < 2 or np.ptp(truth, axis=0).min() == 0:
        return
    print("root mean square  " + " ".join(f"{v:.2f}" for v in np.sqrt((error**2).mean(0))))
    slopes = [np.polyfit(truth[:, k], error[:, k] + truth[:, k], 1)[0] for k in range(3)]
    print("slope             " + " ".join(f"{v:.3f}" for v in slopes))


def _bands(text: str) -> list[tuple[float, float]]:
    """Bands of heights from a text like ``25-35,90-190``."""
    try:
        bands = [(float(low), float(high)) for low, high in (part.split("-") for part in text.split(","))]
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"expected bands such as 25-35,90-190; '{text}' came") from error
    if any(not 0 < low < high for low, high in bands):
        raise argparse.ArgumentTypeError(f"expected bands from lower to higher; '{text}' came")
    return bands


def main(argv: Sequence[str] | None = None) -> None:
    """Measure, keep the rows, print the tables."""
    assert __doc__ is not None
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--per-head", type=int, default=PER_HEAD, help=f"pictures of a head in a cell (default {PER_HEAD})")
    parser.add_argument("--condition", action="append", choices=CONDITIONS, help="only this one; may be given again")
    parser.add_argument("--heights", type=_bands, default=list(BANDS_PX), help="bands of face height, as 25-35,90-190")
    parser.add_argument("--head", action="append", metavar="NAME", help="only this one; may be given again")
    parser.add_argument("--seed", type=int, default=SEED, help=f"of postures and noise (default {SEED})")
    parser.add_argument("--workers", type=int, default=1, help="processes (default 1)")
    parser.add_argument("--rows", type=Path, help="keep a row for every picture in this CSV file")
    parser.add_argument("--from", dest="kept", type=Path, help="read rows that were kept instead of measuring")
    parser.add_argument("--table", action="store_true", help="print the uncertainty of the landmarks as JSON, nothing else")
    given = parser.parse_args(argv)
    # Rows that were kept need no heads.
    if unknown := set(given.head or ()) - set(head_names() if given.head else ()):
        parser.error(f"Expected --head out of {', '.join(head_names())}; '{', '.join(sorted(unknown))}' came.")
    rows: list[Row] = []
    if given.kept is not None:
        rows = read_rows(given.kept)
    else:
        names, conditions = given.head or head_names(), given.condition or CONDITIONS
        if not given.table:
            print(
                f"{given.per_head} pictures of each of {len(names)} heads a cell, within {RANGE_DEG:.0f} degrees, seed {given.seed}"
            )
        for cell in measure_all(names, conditions, given.heights, given.per_head, given.seed, given.workers):
            rows += cell
            if given.rows is not None:
                write_rows(given.rows, rows)
    if given.table:
        print(json.dumps(make_table(rows)))
    else:
        print_tables(rows, given.heights, given.seed if given.kept is None else None)


if __name__ == "__main__":
    main()
