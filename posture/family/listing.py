"""The list of a family's films and photographs: found in a folder, written as a CSV file to be filled in, and read again."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar, cast

from posture.batch.folder import DOCUMENTS, files_of
from posture.clinic.dates import When
from posture.conventions import Mirrored
from posture.errors import ClipError, DateError, FamilyListError
from posture.family.dates import check_date
from posture.records.table import safe_cell
from posture.summary.files import write_whole

LIST_NAME = "family.csv"

ASKED = ("filmed_on", "about", "posed", "mirrored", "person", "is_the_child", "filmed_by")
FOUND = ("kind", "date_from", "persons", "face")
COLUMNS = (
    "file", "kind", "filmed_on", "date_from", "about", "posed", "mirrored", "persons", "person", "face", "is_the_child", "filmed_by",
)  # fmt: skip
"""Of the list. `ASKED` is taken from it; `FOUND` is written into it for whoever fills it in, and not read."""

NO_CLIPS = DOCUMENTS | {".aae", ".xmp"}
"""Endings of what lies beside films and is none, what phones and programs note of a picture among them."""

MOST_FILES = 1000
"""More than a family brings; a whole disk is a slip of the hand."""

MOST_LIST_BYTES = 5_000_000

YES_NO = {"": None, "yes": True, "no": False}

T = TypeVar("T")


@dataclass(frozen=True)
class Listed:
    """A film or photograph, and what the family or the user says of it.

    Attributes
    ----------
    path : Path
    filmed_on : str or None
        As in `posture.clinic.course_entry.Dated`; None leaves it to the file.
    posed : bool or None
        None is not said.
    mirrored : {"no", "yes", "unknown"}
    person : int or None
        Which of the persons in it is the child; None is not said.
    is_the_child : bool or None
        Whether somebody looked and says that it is the child; None is not said.
    filmed_by : str or None
    """

    path: Path
    filmed_on: str | None = None
    posed: bool | None = None
    mirrored: Mirrored = "unknown"
    person: int | None = None
    is_the_child: bool | None = None
    filmed_by: str | None = None


def files_in(folder: Path) -> list[Path]:
    """The films and photographs of a folder, in the order of their names; not those of folders in it.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    list of Path
        Without hidden files and `NO_CLIPS`.

    Raises
    ------
    ClipError
        If the folder cannot be read, holds none, or holds more than `MOST_FILES`.
    """
    clips = files_of(folder, "films", NO_CLIPS)
    if not 1 <= len(clips) <= MOST_FILES:
        raise ClipError(
            f"Expected 1 to {MOST_FILES} films and photographs in the folder; {len(clips)} came. Give the folder in which they lie."
        )
    return clips


def read_list(path: Path, files: Sequence[Path], born: When | None = None) -> list[Listed]:
    """What a list says of the files of a folder.

    Parameters
    ----------
    path : Path
        A CSV file with the columns of `ASKED` that are known, beside "file"; separated by commas, semicolons or tabs.
    files : sequence of Path
        All are given back, those of which the list says nothing too.
    born : When or None
        What was filmed before is refused.

    Returns
    -------
    list of Listed
        In the order of ``files``.

    Raises
    ------
    FamilyListError
        Naming the line and what it may hold.
    """
    by_name = {file.name: file for file in files}
    said: dict[str, Listed] = {}
    for number, row in _rows(path):
        name = row.pop("file")
        # A name that begins like a formula was written with an apostrophe.
        file = by_name.get(name) or by_name.get(_plain(name))
        if file is None:
            raise _wrong(
                path, number, f"the name of a file in the folder; {name[:60]!r} came", "Correct it, or take the line out"
            )
        if file.name in said:
            raise _wrong(path, number, f"each file once; {name[:60]!r} came again", "Take one of the lines out")
        said[file.name] = _listed(path, number, file, row, born)
    return [said.get(file.name, Listed(file)) for file in files]


def write_list(path: Path, listed: Iterable[Listed], found: Mapping[Path, Mapping[str, str]]) -> None:
    """Write the list to be filled in, whole or not at all.

    Parameters
    ----------
    path : Path
    listed : iterable of Listed
        What is known is written.
    found : mapping of Path to mapping of str to str
        What was found out of each file: `FOUND`, and "filmed_on" where the list says none.

    Raises
    ------
    OutputError
    """
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    for one in listed:
        said = {key: value for key, value in _cells(one).items() if value}
        row = {key: value for key, value in found.get(one.path, {}).items() if key in COLUMNS} | said
        writer.writerow({key: safe_cell(value) for key, value in row.items()})
    write_whole(path, text.getvalue())


def files_listed(path: Path) -> set[str]:
    """The names of the files that a list holds.

    Raises
    ------
    FamilyListError
    """
    names = {row["file"] for _, row in _rows(path)}
    return names | {_plain(name) for name in names}


def _cells(one: Listed) -> dict[str, str]:
    """What is said of a file, as cells."""
    words = {True: "yes", False: "no", None: ""}
    return {
        "file": one.path.name,
        "filmed_on": one.filmed_on or "",
        "posed": words[one.posed],
        "mirrored": "" if one.mirrored == "unknown" else one.mirrored,
        "person": "" if one.person is None else str(one.person),
        "is_the_child": words[one.is_the_child],
        "filmed_by": one.filmed_by or "",
    }


def _rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    """Line number and cells of each line of a list; every row has all columns of `ASKED`."""
    try:
        with path.open("rb") as file:
            text = file.read(MOST_LIST_BYTES + 1).decode("utf-8-sig")
    except (OSError, ValueError) as error:
        raise FamilyListError(f"Expected a CSV file (UTF-8); '{path.name}' cannot be read as one. Save it as such.") from error
    if len(text) > MOST_LIST_BYTES:
        raise FamilyListError(f"Expected a list of at most {MOST_LIST_BYTES // 1_000_000} MB; '{path.name}' is larger.")
    first = text.partition("\n")[0]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=first.count))
    try:
        lines = [(reader.line_num, [cell.strip() for cell in line]) for line in reader]
    except csv.Error as error:
        raise FamilyListError(f"Expected a CSV file; '{path.name}' cannot be read as one ({error}). Save it anew.") from error
    header = [cell.casefold() for cell in lines[0][1]] if lines else []
    unknown = [name for name in header if name not in COLUMNS]
    if "file" not in header or unknown or len(set(header)) < len(header):
        raise FamilyListError(
            f"Expected the columns {', '.join(COLUMNS)}, 'file' among them, in '{path.name}'; came {', '.join(header)[:200] or 'nothing'}."
            " Correct the first line."
        )
    rows = []
    for number, cells in lines[1:]:
        if not any(cells):
            continue
        if len(cells) > len(header):
            raise _wrong(path, number, f"{len(header)} cells; {len(cells)} came", "Put quotes around what holds a comma")
        rows.append((number, dict.fromkeys(("file", *ASKED), "") | dict(zip(header, cells, strict=False))))
    return rows


def _listed(path: Path, number: int, file: Path, row: Mapping[str, str], born: When | None) -> Listed:
    """What one line says."""

    def read(name: str, values: Mapping[str, T]) -> T:
        value = row[name].casefold()
        if value not in values:
            raise _wrong(
                path, number, f"{name}: {', '.join(v or 'nothing' for v in values)}; {value[:40]!r} came", "Correct it"
            )
        return values[value]

    mirrored: dict[str, str] = {"": "unknown", "no": "no", "yes": "yes", "unknown": "unknown"}
    on = row["filmed_on"]
    if on and read("about", YES_NO) and not on.casefold().startswith("about"):
        on = f"about {on}"
    _check(path, number, lambda: check_date(on, born))
    person = row["person"]
    if person and not (person.isascii() and person.isdigit() and 1 <= int(person) <= 99):
        raise _wrong(path, number, f"person: a number from 1 on; {person[:40]!r} came", "Correct it, or leave it empty")
    return Listed(
        path=file,
        filmed_on=on or None,
        posed=read("posed", YES_NO),
        mirrored=cast(Mirrored, read("mirrored", mirrored)),
        person=int(person) if person else None,
        is_the_child=read("is_the_child", YES_NO),
        filmed_by=_plain(row["filmed_by"]) or None,
    )


def _plain(cell: str) -> str:
    """A cell without the apostrophe that keeps it from being taken for a formula."""
    return cell[1:] if cell.startswith("'") and safe_cell(cell[1:]) == cell else cell


def _check(path: Path, number: int, reading: Callable[[], object]) -> None:
    """Tell of an error in which line it was."""
    try:
        reading()
    except DateError as error:
        raise FamilyListError(f"Line {number} of '{path.name}': {error}") from error


def _wrong(path: Path, number: int, expected: str, what_to_do: str) -> FamilyListError:
    """The error of a line."""
    return FamilyListError(f"Line {number} of '{path.name}': expected {expected}. {what_to_do}.")
