"""The table of an audit: a row for each clip, the same bytes whenever the same was measured. No file name stands in it."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from pathlib import Path

from posture.batch.clips import Outcome
from posture.batch.table import check_free, printable, steady_of, why_not_all
from posture.errors import OutputError
from posture.records.table import Cell, safe_cell
from posture.summary.files import write_whole
from posture.summary.record import Conditions, Interval, Summary

TABLE_NAME = "audit.csv"

ANGLES = ("tilt_deg", "turn_deg", "chin_deg")
SIZES = ("tilt_size_deg", "turn_size_deg")

SHA256_SHOWN = 8
"""So many figures tell the clips of a folder apart."""


def _three(name: str) -> tuple[str, str, str]:
    """The columns of an interval."""
    stem = name.removesuffix("_deg")
    return name, f"{stem}_low_deg", f"{stem}_high_deg"


COLUMNS = (
    "code", "sha256", "status", "reason", "is_moment", "sided",
    *(column for name in (*ANGLES, *SIZES) for column in _three(name)),
    "steady_s", "spells", "warned", "failed", "mirrored", "upright",
    *Conditions.model_fields,
    "posture_version",
)  # fmt: skip
"""Of audit.csv. Sizes stand in place of tilt and turn while it is not known whether the picture is mirrored."""

Row = dict[str, Cell]


def plain_row(code: str, sha256: str, status: str, reason: str) -> Row:
    """The row of a clip without a result.

    Parameters
    ----------
    code : str
        Of the person; empty when none is known.
    sha256 : str
        Of the file; empty when it cannot be read.
    status : str
        "not measured" or "skipped for consent".
    reason : str
    """
    return {"code": code, "sha256": sha256[:SHA256_SHOWN], "status": status, "reason": printable(reason)}


def result_row(code: str, sha256: str, outcome: Outcome) -> Row:
    """The row of a clip that was tried.

    Parameters
    ----------
    code, sha256 : str
    outcome : Outcome
        With a summary or an error; of the error the name of the file is left out.

    Returns
    -------
    Row
    """
    summary = outcome.summary
    if summary is None:
        return plain_row(code, sha256, "not measured", _nameless(outcome))
    has_numbers = bool(summary.habitual or summary.unsided or summary.moment)
    row = plain_row(code, sha256, "measured" if has_numbers else "not measured", why_not_all(summary))
    return row | _numbers(summary) | {
        "sided": summary.sided,
        "warned": _names(summary, "warn"),
        "failed": _names(summary, "fail"),
        "mirrored": summary.clip.mirrored,
        "upright": summary.clip.upright,
        **summary.conditions.model_dump(),
        "posture_version": summary.made_with.posture,
    }  # fmt: skip


def table_text(rows: Iterable[Row]) -> str:
    """The table as CSV, in the order of code and hash whatever the order of the rows.

    Parameters
    ----------
    rows : iterable of Row

    Returns
    -------
    str
    """
    lines = [[safe_cell(row.get(column)) for column in COLUMNS] for row in rows]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(sorted(lines))
    return text.getvalue()


def check_table_free(folder: Path) -> None:
    """Refuse a folder in which something else has the name of the table.

    Raises
    ------
    OutputError
    """
    check_free(folder / TABLE_NAME, ",".join(COLUMNS[:4]) + ",")


def write_table(folder: Path, rows: Iterable[Row]) -> Path:
    """Write the table, whole or not at all.

    Raises
    ------
    OutputError
    """
    path = folder / TABLE_NAME
    write_whole(path, table_text(rows))
    return path


def _nameless(outcome: Outcome) -> str:
    """What went wrong, without the name of the file, which may be that of a child, and without any folder."""
    if isinstance(outcome.error, OutputError):
        return "The result could not be saved in the folder of the audit. Free some space, and run the audit again."
    path, text = outcome.job.path, str(outcome.error)
    resolved = path.resolve()
    names = {str(path), str(resolved), path.name, resolved.name}
    # As a name stands within a text of Python, such as the error of a library.
    names |= {repr(name)[1:-1] for name in names}
    for name in sorted(names, key=len, reverse=True):
        text = re.sub(rf"'{re.escape(name)}'|(?<!\w){re.escape(name)}(?!\w)", "the clip", text)
    return text


def _names(summary: Summary, level: str) -> str:
    """The checks of a level, in their order."""
    return "; ".join(check.name for check in summary.checks if check.level == level)


def _numbers(summary: Summary) -> Row:
    """Angles, sizes and steady time; of a side nothing while none is known."""
    held = summary.habitual or summary.moment if summary.sided else None
    source = held or summary.unsided or summary.moment
    row: Row = {"is_moment": source is not None and source is summary.moment}
    for name in ANGLES if summary.sided else ANGLES[2:]:
        row |= _interval(name, getattr(source, name, None))
    for name in SIZES:
        row |= _interval(name, None if summary.sided else getattr(summary.unsided, name, None))
    steady_s, spells = steady_of(summary) or (None, None)
    return row | {"steady_s": steady_s, "spells": spells}


def _interval(name: str, angle: Interval | None) -> Row:
    """An interval in three cells; two decimals, as in the record, and no minus before a zero."""
    if angle is None:
        return {}
    values = (angle.value, angle.low, angle.high)
    return {column: f"{round(value, 2) + 0.0:.2f}" for column, value in zip(_three(name), values, strict=True)}
