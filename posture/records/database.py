"""The one connection to the file of the records: opened safely, written whole or not at all, every failure one line."""

from __future__ import annotations

import errno
import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from posture.errors import RecordsError
from posture.folders import PRIVATE
from posture.records.copies import PRIVATE_FILE, copy_database, sync_folder
from posture.records.journal import pick_journal
from posture.records.upgrade import bring_up_to_date, check_header

WAIT_S = 10.0
"""How long one page waits for another to finish writing; an entry takes a few hundredths of a second."""


OLDEST_SQLITE = (3, 37)
"""Since then a table refuses a value of another type than its column's."""


class Database:
    """An open file of records.

    Attributes
    ----------
    path : Path
    warnings : tuple of str
        What the user should know of where the file lies.
    """

    def __init__(self, path: Path, wait_s: float = WAIT_S) -> None:
        self.path = path
        if sqlite3.sqlite_version_info < OLDEST_SQLITE:
            raise RecordsError(
                f"Expected SQLite {'.'.join(map(str, OLDEST_SQLITE))} or later in this Python; {sqlite3.sqlite_version} came. Use a"
                " later Python."
            )
        with told(path):
            is_new = _make_file(path)
            check_header(path)
            _check_writable(path)
            self._connection = sqlite3.connect(path, timeout=wait_s, isolation_level=None)
        try:
            with told(path):
                self.warnings = self._prepare(is_new)
        except BaseException:
            self._connection.close()
            raise

    def _prepare(self, is_new: bool) -> tuple[str, ...]:
        """Settings of the connection, and the schema of today."""
        self._connection.row_factory = sqlite3.Row
        run = self._connection.execute
        # What is deleted is overwritten, and small sorts never go to the system's folder for temporary files.
        run("PRAGMA secure_delete = ON")
        run("PRAGMA temp_store = MEMORY")
        run("PRAGMA trusted_schema = OFF")
        # A power cut loses nothing that was said to be kept.
        run("PRAGMA synchronous = FULL")
        bring_up_to_date(self._connection, self.path)
        run("PRAGMA foreign_keys = ON")
        journal, warning = pick_journal(self.path)
        warnings = [] if warning is None else [warning]
        if run("PRAGMA journal_mode").fetchone()[0] != journal:
            try:
                now = run(f"PRAGMA journal_mode = {journal}").fetchone()[0]
            except sqlite3.OperationalError:
                now = "as it was, because somebody else has the records open"
            if now != journal and journal == "delete":
                warnings.append(f"The records are written with the journal {now}. Close all other pages and open them again.")
        if is_new:
            sync_folder(self.path.parent)
        return tuple(warnings)

    def close(self) -> None:
        """Close the file; the last to close it puts everything into the one file."""
        self._connection.close()

    def wait(self, wait_s: float = WAIT_S) -> None:
        """How long to try again from here on while somebody else has the file."""
        self.run(f"PRAGMA busy_timeout = {round(1000 * wait_s)}")

    def run(self, statement: str, values: Sequence[Any] | dict[str, Any] = ()) -> sqlite3.Cursor:
        """Run one statement; outside of `writing` it is a transaction of its own."""
        with told(self.path):
            return self._connection.execute(statement, values)

    def rows(self, statement: str, values: Sequence[Any] | dict[str, Any] = ()) -> list[sqlite3.Row]:
        """All rows of one question."""
        with told(self.path):
            return self._connection.execute(statement, values).fetchall()

    def row(self, statement: str, values: Sequence[Any] | dict[str, Any] = ()) -> sqlite3.Row | None:
        """The first row of one question."""
        rows = self.rows(statement, values)
        return rows[0] if rows else None

    def insert(self, table: str, values: dict[str, Any]) -> int:
        """Add a row; returns its id. Names of tables and columns come from this package, never from outside."""
        names, marks = ", ".join(values), ", ".join("?" * len(values))
        new = self.run(f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(values.values())).lastrowid
        assert new is not None  # It was an INSERT.
        return new

    def update(self, table: str, id_: int, version: int, values: dict[str, Any]) -> bool:
        """Change a row that has still this version; whether it had."""
        names = ", ".join(f"{name} = ?" for name in values)
        statement = f"UPDATE {table} SET {names}, version = version + 1 WHERE id = ? AND version = ?"
        return self.run(statement, (*values.values(), id_, version)).rowcount == 1

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Write whole or not at all; a block within another is part of it."""
        with self._transaction("BEGIN IMMEDIATE"):
            yield

    @contextmanager
    def one_moment(self) -> Iterator[None]:
        """Read several things as they were at one moment."""
        with self._transaction("BEGIN"):
            yield

    @contextmanager
    def _transaction(self, begin: str) -> Iterator[None]:
        """From BEGIN to COMMIT, or back."""
        if self._connection.in_transaction:
            yield
            return
        self.run(begin)
        try:
            yield
            self.run("COMMIT")
        except BaseException:
            # A full disk may have undone it already.
            if self._connection.in_transaction:
                with suppress(sqlite3.Error):
                    self._connection.execute("ROLLBACK")
            raise

    def copy_to(self, path: Path) -> None:
        """Copy everything, as it is at one moment, into a new private file; all of it on disk before this returns."""
        with told(self.path):
            copy_database(self._connection, path)


def _make_file(path: Path) -> bool:
    """Make the file, private, in a private folder; whether it was made."""
    path.parent.mkdir(mode=PRIVATE, parents=True, exist_ok=True)
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, PRIVATE_FILE))
    except FileExistsError:
        return False
    return True


def _check_writable(path: Path) -> None:
    """Refuse a place that cannot be written before anything is begun: the library would open it, and fail at the first entry."""
    for place in (path, path.parent):
        if not os.access(place, os.W_OK):
            raise PermissionError(errno.EACCES, "it may not be written", str(place))


_TOLD = {
    "SQLITE_FULL": "the disk is full; nothing was changed. Free some space and try again.",
    "SQLITE_READONLY": "they may not be written. Make the file and its folder writable for you, or choose another with --records.",
    "SQLITE_CANTOPEN": "the file cannot be opened. Make it and its folder readable and writable for you.",
    "SQLITE_PERM": "the file may not be opened. Make it and its folder readable and writable for you.",
    "SQLITE_BUSY": "somebody else is writing for long; nothing was changed. Try again, or close the other page.",
    "SQLITE_LOCKED": "somebody else is writing for long; nothing was changed. Try again, or close the other page.",
    "SQLITE_NOTADB": "the file holds something else, and was left as it is. Choose another with --records.",
    "SQLITE_CORRUPT": "the file is damaged, and was left as it is. Restore a backup into a new file.",
    "SQLITE_IOERR": "the disk refused to read or write; nothing was changed. Free some space, or look after the disk.",
    "SQLITE_TOOBIG": "something is too large to be kept; nothing was changed.",
}
"""Beginning of the library's name of an error -> what came and what to do."""


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what the system and the library raise into one line for the user.

    Parameters
    ----------
    path : Path
        Of the file.

    Raises
    ------
    RecordsError
    """
    try:
        yield
    except OSError as error:
        raise RecordsError(
            f"Expected to keep the records in '{path}'; that failed ({error.strerror}). Make it writable for you, or choose another"
            " file with --records."
        ) from error
    except sqlite3.Error as error:
        name = getattr(error, "sqlite_errorname", None) or ""
        why = next((text for known, text in _TOLD.items() if name.startswith(known)), None)
        # Anything else is a fault of this program, and shown as one.
        if why is None:
            raise
        raise RecordsError(f"Expected to use the records in '{path}'; {why}") from error
