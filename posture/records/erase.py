"""Erasing: a person or a clip goes from every byte of the file, or it is said that it has not yet."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from posture.errors import RecordsError
from posture.records.database import Database
from posture.records.texts import code_key
from posture.records.upgrade import copies_before_upgrades

if TYPE_CHECKING:
    from posture.records.store import Records

WAIT_S = 20.0
"""How long to wait for pages that are still reading what was erased."""

LIMITS = (
    "Erased are the data in the records of this program only. Not erased are: backups and exports that were made of the records;"
    " summaries, tables and pictures that were saved as files; reports and letters in the notes, which stay as local law on"
    " children's records demands; the films themselves. A disk or its copies may hold parts of files that were overwritten."
)
"""What erasing does not reach, for the user."""

UNFINISHED = (
    "What was erased cannot be opened any more, but its bytes are still in the file: somebody else has the records open, or the disk is"
    " full. Close the other pages, and open the records again."
)


@dataclass(frozen=True)
class Erased:
    """What came of erasing.

    Attributes
    ----------
    clips : int
        How many went.
    left : str or None
        What is still to do, for the user; None when every byte is gone.
    copies : int
        Copies made before upgrades, of everybody, that were removed with it: they held the same data.
    limits : str
        What erasing does not reach.
    """

    clips: int
    left: str | None
    copies: int
    limits: str = LIMITS


def erase_person(records: Records, person_id: int, confirm_code: str, wait_s: float = WAIT_S) -> Erased:
    """Erase a person with everything that is kept of it.

    Parameters
    ----------
    records : Records
    person_id : int
    confirm_code : str
        The code, typed again; capitals do not matter.
    wait_s : float
        How long to wait for pages that are still reading.

    Returns
    -------
    Erased

    Raises
    ------
    RecordsError
        If the code is not that of the person; nothing is erased then.
    """
    with records.database.writing():
        _confirm(records, person_id, confirm_code)
        clips = len(records.clips.of_person(person_id))
        _delete(records.database, "persons", person_id)
    return Erased(clips, *_shred(records.database, wait_s))


def erase_clip(records: Records, clip_id: int, confirm_code: str, wait_s: float = WAIT_S) -> Erased:
    """Erase one clip with its track, readings, picture and the consents to it alone.

    Parameters
    ----------
    records : Records
    clip_id : int
    confirm_code : str
        The person's code, typed again.
    wait_s : float

    Returns
    -------
    Erased

    Raises
    ------
    RecordsError
        If the code is not that of the clip's person; nothing is erased then.
    """
    with records.database.writing():
        _confirm(records, records.clips.get(clip_id).person_id, confirm_code)
        _delete(records.database, "clips", clip_id)
    return Erased(1, *_shred(records.database, wait_s))


def finish_erasing(database: Database, wait_s: float = WAIT_S) -> str | None:
    """Finish what an earlier erasing had to leave.

    Parameters
    ----------
    database : Database
    wait_s : float

    Returns
    -------
    str or None
        What is still to do, for the user; None when nothing is.
    """
    if database.row("SELECT 1 FROM to_shred") is None:
        return None
    return _shred(database, wait_s)[0]


def _confirm(records: Records, person_id: int, typed: str) -> None:
    """Refuse a code that is not the person's."""
    if code_key(typed) != code_key(records.persons.get(person_id).code):
        raise RecordsError("Expected the code of this person, typed again; another came, and nothing was erased.")


def _delete(database: Database, table: str, id_: int) -> None:
    """Delete a row with all that hangs on it, and remember that the bytes are to go."""
    database.run(f"DELETE FROM {table} WHERE id = ?", (id_,))
    database.run("INSERT OR IGNORE INTO to_shred VALUES (1)")


def _shred(database: Database, wait_s: float) -> tuple[str | None, int]:
    """Write the file anew without what was deleted, and empty the log; what is still to do, and how many copies went."""
    copies = 0
    for copy in copies_before_upgrades(database.path):
        copy.unlink(missing_ok=True)
        copies += 1
    database.wait(wait_s)
    try:
        with _temporary_beside(database):
            database.run("VACUUM")
        if not _empty_log(database):
            return UNFINISHED, copies
        database.run("DELETE FROM to_shred")
        _empty_log(database)
    except RecordsError:
        return UNFINISHED, copies
    finally:
        database.wait()
    return None, copies


def _empty_log(database: Database) -> bool:
    """Move the write-ahead log into the file and cut it to nothing, trying again while others read; whether that was done."""
    row = database.row("PRAGMA wal_checkpoint(TRUNCATE)")
    return row is not None and row[0] == 0


@contextmanager
def _temporary_beside(database: Database) -> Iterator[None]:
    """Let the library write its temporary file in the folder of the records, which is private, and not in the system's."""
    before = os.environ.get("SQLITE_TMPDIR")
    os.environ["SQLITE_TMPDIR"] = str(database.path.parent)
    database.run("PRAGMA temp_store = FILE")
    try:
        yield
    finally:
        database.run("PRAGMA temp_store = MEMORY")
        if before is None:
            os.environ.pop("SQLITE_TMPDIR", None)
        else:
            os.environ["SQLITE_TMPDIR"] = before
