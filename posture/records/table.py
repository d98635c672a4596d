"""All readings as one table, CSV: a row for each, for other programs. No cell of it is ever run by one."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from posture.records.copies import write_new
from posture.records.store import Records
from posture.records.values import Clip, Person, Reading
from posture.summary.record import Conditions, Interval, Summary

Cell = str | int | float | bool | None

DANGEROUS = ("=", "+", "-", "@", "\t", "\r")
"""With one of these at its beginning, a spreadsheet takes a text for a formula."""

_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")

ANGLES = ("tilt_deg", "turn_deg", "chin_deg", "tilt_on_trunk_deg", "tilt_midface_deg")
SHARES = ("steady_s", "spells", "share_tilt_right", "share_tilt_left", "share_neither", "turn_counts")
UNSIDED = ("tilt_size_deg", "turn_size_deg")


def export_table(records: Records, path: Path, person_ids: Sequence[int] | None = None) -> int:
    """Write a row for every reading of persons into a new CSV file.

    Parameters
    ----------
    records : Records
    path : Path
    person_ids : sequence of int or None
        None is everybody.

    Returns
    -------
    int
        How many rows.

    Raises
    ------
    OutputError
        If something has that name, or it cannot be written.
    """
    count = 0

    def pieces() -> Iterator[bytes]:
        nonlocal count
        ids = [line.person.id for line in records.persons.lines()] if person_ids is None else person_ids
        for row in _rows(records, ids):
            yield _line(row.keys()) + _line(row.values()) if count == 0 else _line(row.values())
            count += 1

    with records.database.one_moment():
        write_new(path, pieces())
    return count


def safe_cell(value: Cell) -> str:
    """A cell as text that no spreadsheet takes for a formula: an apostrophe before such beginnings, numbers excepted.

    Parameters
    ----------
    value : str, int, float, bool or None

    Returns
    -------
    str
        Booleans 0 and 1, nothing for None.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, int | float):
        return str(value)
    return f"'{value}" if value.startswith(DANGEROUS) and not _NUMBER.fullmatch(value) else value


def _rows(records: Records, ids: Sequence[int]) -> Iterator[dict[str, Cell]]:
    """A row for every reading."""
    for person_id in ids:
        person = records.persons.get(person_id)
        for clip in records.clips.of_person(person_id):
            for reading in records.readings.of_clip(clip.id):
                yield _row(person, clip, reading)


def _row(person: Person, clip: Clip, reading: Reading) -> dict[str, Cell]:
    """The row of a reading."""
    summary = reading.summary
    return {
        "code": person.code,
        "born": None if person.born is None else person.born.text,
        "suspected": person.suspected,
        "label": clip.label,
        "sha256": clip.sha256,
        "kind": clip.kind,
        "posed": clip.posed,
        "filmed_on": None if clip.filmed_on is None else clip.filmed_on.text,
        "filmed_on_is_about": None if clip.filmed_on is None else clip.filmed_on.about,
        "filmed_on_source": clip.filmed_on_source,
        "filmed_by": clip.filmed_by,
        "read_on": f"{reading.made_on:%Y-%m-%dT%H:%M:%SZ}",
        "is_current": reading.is_current,
        "sided": summary.sided,
        "mirrored": summary.clip.mirrored,
        "upright": summary.clip.upright,
        "duration_s": summary.clip.duration_s,
        **_measured(summary),
        # The date stands above, as the records have it.
        **{name: getattr(summary.conditions, name) for name in Conditions.model_fields if not name.startswith("filmed_on")},
        "warned": "; ".join(check.name for check in summary.checks if check.level == "warn"),
        "failed": "; ".join(check.name for check in summary.checks if check.level == "fail"),
        "posture_version": summary.made_with.posture,
    }


def _measured(summary: Summary) -> dict[str, Cell]:
    """What was measured; without a side, sizes only, and empty where there is nothing."""
    source = summary.habitual or summary.moment
    cells: dict[str, Cell] = {"is_moment": summary.habitual is None and summary.moment is not None}
    for name in ANGLES:
        cells |= _interval(name, getattr(source, name, None))
    cells |= {name: getattr(summary.habitual, name, None) for name in SHARES}
    for name in UNSIDED:
        cells |= _interval(name, getattr(summary.unsided, name, None))
    cells["same_direction"] = getattr(summary.unsided, "same_direction", None)
    cells["share_tilted"] = getattr(summary.unsided, "share_tilted", None)
    cells["postures"] = len(summary.postures)
    return cells


def _interval(name: str, interval: Interval | None) -> dict[str, Cell]:
    """An interval in three cells."""
    stem = name.removesuffix("_deg")
    values = (None, None, None) if interval is None else (interval.value, interval.low, interval.high)
    return dict(zip((name, f"{stem}_low_deg", f"{stem}_high_deg"), values, strict=True))


def _line(cells: Iterable[Cell]) -> bytes:
    """A line of the table."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow([safe_cell(cell) for cell in cells])
    return text.getvalue().encode()
