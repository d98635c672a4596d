"""The schema of the file: one file a migration, its number the version; older files are brought up to date after a copy was made.

A file that a later version of the program wrote is refused before anything in it is touched.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from glob import escape
from importlib import resources
from pathlib import Path

from posture.errors import RecordsError
from posture.records.copies import copy_database

APPLICATION_ID = 0x506F5374
"""Stands in the header of every file of records: other programs keep databases too."""

SQLITE = b"SQLite format 3\x00"
HEADER_BYTES, VERSION_AT, APPLICATION_AT = 100, 60, 68
"""Of the format of the file, which is published and does not change."""

BEFORE = "-before-version-"
"""In the name of the copy that is made before an upgrade."""


def migrations() -> tuple[str, ...]:
    """The migrations in order: the first makes version 1 of an empty file."""
    files = (file for file in (resources.files("posture.records") / "migrations").iterdir() if file.name.endswith(".sql"))
    ordered = sorted(files, key=lambda file: file.name)
    assert [int(file.name[:4]) for file in ordered] == list(range(1, len(ordered) + 1)), "a migration is missing"
    return tuple(file.read_text(encoding="utf-8") for file in ordered)


def check_header(path: Path, called: Path | None = None) -> None:
    """Refuse what is no file of records, or a later version's, by its first bytes alone.

    Parameters
    ----------
    path : Path
        An empty file is fine.
    called : Path or None
        What an error calls it; None is its own name.

    Raises
    ------
    RecordsError
    """
    with path.open("rb") as file:
        header = file.read(HEADER_BYTES)
    if not header:
        return
    called = called or path
    version = int.from_bytes(header[VERSION_AT : VERSION_AT + 4])
    mark = int.from_bytes(header[APPLICATION_AT : APPLICATION_AT + 4])
    if len(header) < HEADER_BYTES or not header.startswith(SQLITE) or mark not in (APPLICATION_ID, 0):
        raise _other(called)
    _check_version(called, version, len(migrations()))


def bring_up_to_date(connection: sqlite3.Connection, path: Path, steps: Sequence[str] | None = None) -> Path | None:
    """Bring the schema up to date, each version in one transaction.

    Parameters
    ----------
    connection : Connection
        Without a transaction, foreign keys off.
    path : Path
        Of its file.
    steps : sequence of str or None
        The migrations; None is those of the package.

    Returns
    -------
    Path or None
        The copy of an older file that was made before; None when there was nothing to do.

    Raises
    ------
    RecordsError
        If it is of a later version, or no file of records.
    """
    steps = migrations() if steps is None else steps
    version = _version(connection)
    _check_version(path, version, len(steps))
    if version == 0 and connection.execute("SELECT 1 FROM sqlite_schema").fetchone():
        # Another page may just be making it, and be done once it can be locked.
        connection.execute("BEGIN IMMEDIATE")
        version = _version(connection)
        connection.execute("ROLLBACK")
        if version == 0:
            raise _other(path)
    if version == len(steps):
        return None
    copy = _copy_before(connection, path, version + 1) if version > 0 else None
    for number in range(version + 1, len(steps) + 1):
        _step(connection, number, steps[number - 1])
    return copy


def copies_before_upgrades(path: Path) -> list[Path]:
    """The copies that were made before upgrades of a file."""
    return sorted(path.parent.glob(f"{escape(path.stem)}{BEFORE}*{path.suffix}"))


def _step(connection: sqlite3.Connection, number: int, script: str) -> None:
    """Run one migration in one transaction, unless somebody else has meanwhile."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        if _version(connection) < number:
            _migrate(connection, number, script)
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _migrate(connection: sqlite3.Connection, number: int, script: str) -> None:
    """The statements of one migration, its number, and a look whether all references lead somewhere."""
    for statement in _statements(script):
        connection.execute(statement)
    if connection.execute("PRAGMA foreign_key_check").fetchone():
        raise RecordsError(
            f"Expected version {number} of the records to be whole; a reference leads nowhere. Restore a backup."
        )
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {number}")


def _statements(script: str) -> list[str]:
    """The statements of a script, one by one: run as a whole, it would end the transaction it stands in."""
    found, begun = [], ""
    for line in script.splitlines(keepends=True):
        begun += line
        if sqlite3.complete_statement(begun):
            found.append(begun)
            begun = ""
    assert not begun.strip() or begun.lstrip().startswith("--"), "the last statement of a migration has no end"
    return found


def _copy_before(connection: sqlite3.Connection, path: Path, number: int) -> Path:
    """Copy an older file beside itself, under a name that is free."""
    taken = 0
    while True:
        more = f"-{taken}" if taken else ""
        copy = path.with_name(f"{path.stem}{BEFORE}{number}{more}{path.suffix}")
        try:
            copy_database(connection, copy)
        except FileExistsError:
            taken += 1
        except BaseException:
            copy.unlink(missing_ok=True)
            raise
        else:
            return copy


def _version(connection: sqlite3.Connection) -> int:
    """Of the schema; 0 for an empty file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _check_version(path: Path, version: int, known: int) -> None:
    """Refuse a file of a later version."""
    if version > known:
        raise RecordsError(
            f"Expected records of version {known} or earlier in '{path}'; version {version} came and was left as it is. Use the"
            " later version of this program that wrote them."
        )


def _other(path: Path) -> RecordsError:
    """The error of a file that is something else."""
    return RecordsError(
        f"Expected records in '{path}'; the file holds something else, and was left as it is. Choose another with --records."
    )
