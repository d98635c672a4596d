"""How uncertain the landmarks are, as a table over the height of the face and the quality of its fit, from measured rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.stats import spearmanr

from tests.proof.rows import BANDS_PX, NAMES, Row

QUALITY_SHARES = (0.15, 0.5)
"""The rows that are used are cut into a worst part, a middle and a better half."""

LEAST_ROWS = 20
"""A cell of fewer rows says too little of its own; it takes the next worse quality of the same height."""


GROSS_DEG = 45.0
"""A reading that is off by more is a mistake of its own kind, a face taken for its opposite: counted, and in no table."""


def is_gross(row: Row) -> bool:
    """Whether a face was read as something altogether else."""
    return row.found and max(abs(v) for v in row.error_deg) > GROSS_DEG


def quality_of(row: Row) -> float:
    """0 to 1, as the track keeps it; NaN where no face was found."""
    return row.quality


def quality_says(rows: Sequence[Row]) -> tuple[float, float, float]:
    """Rank correlation of a quality with the sizes of the errors of tilt, turn and chin: 0 says nothing, -1 all."""
    found = [row for row in rows if row.found]
    value = [quality_of(row) for row in found]
    size = np.abs([row.error_deg for row in found]).reshape(-1, 3)
    if len(found) < 3 or np.ptp(value) == 0 or np.ptp(size, axis=0).min() == 0:
        return float("nan"), float("nan"), float("nan")
    tilt, turn, chin = (float(spearmanr(value, size[:, k]).statistic) for k in range(3))
    return tilt, turn, chin


def is_used(row: Row) -> bool:
    """Found, and not left out for its quality."""
    return row.found and row.quality > 0


def make_table(rows: Sequence[Row]) -> dict[str, Any]:
    """Root mean square errors for every band of height and of quality, all conditions together.

    Parameters
    ----------
    rows : sequence of Row

    Returns
    -------
    dict
        face_height_px: lower edges of the bands, largest_px the upper one of the last; quality: lower edges of the bands, the first
        0; for tilt_deg, turn_deg and chin_deg a list for each height with a number for each quality; n likewise. A better quality, or a taller face, is never
        given a larger uncertainty than a worse or smaller one. The height is the one found. None where nothing was found.
    """
    used = [row for row in rows if is_used(row) and not is_gross(row)]
    value = np.array([quality_of(row) for row in used])
    edges = [0.0, *np.quantile(value, QUALITY_SHARES)] if used else [0.0]
    heights = [low for low, _ in BANDS_PX]
    error = np.array([row.error_deg for row in used]).reshape(-1, 3)
    height = np.array([row.face_height_px for row in used])
    row_band = np.clip(np.searchsorted(heights, height, side="right") - 1, 0, None)
    column_band = np.clip(np.searchsorted(edges, value, side="right") - 1, 0, None)
    table = np.full((len(heights), len(edges), 3), np.nan)
    count = np.zeros(table.shape[:2], int)
    for i in range(len(heights)):
        for j in range(len(edges)):
            cell = error[(row_band == i) & (column_band == j)]
            count[i, j] = len(cell)
            if len(cell) >= LEAST_ROWS:
                table[i, j] = np.sqrt((cell**2).mean(0))
            elif j:
                table[i, j] = table[i, j - 1]
            elif (row_band == i).any():
                table[i, j] = np.sqrt((error[row_band == i] ** 2).mean(0))
    # Few rows scatter: where a better face came out less sure, the worse one is taken for as unsure, the careful way round.
    nothing = np.isnan(table)
    table = np.fmax.accumulate(np.fmax.accumulate(table[::-1, ::-1], axis=0), axis=1)[::-1, ::-1]
    table[nothing] = np.nan
    return {
        "face_height_px": heights,
        "largest_px": BANDS_PX[-1][1],
        "quality": [round(float(edge), 3) for edge in edges],
        **{f"{name}_deg": _listed(table[..., k]) for k, name in enumerate(NAMES)},
        "n": count.tolist(),
    }


def _listed(values: np.ndarray) -> list[list[float | None]]:
    """Nested lists of two decimals, None for NaN."""
    return [[None if np.isnan(v) else round(float(v), 2) for v in line] for line in values]
