"""Opening the records: one file on this machine, made at the first use."""

from __future__ import annotations

from os import PathLike
from pathlib import Path
from types import TracebackType
from typing import Self

from posture.folders import data_folder
from posture.records.clips import Clips
from posture.records.copies import sweep_abandoned
from posture.records.course import Consents, Events, Visits
from posture.records.database import WAIT_S, Database
from posture.records.erase import finish_erasing
from posture.records.persons import Persons
from posture.records.readings import Readings

FILE = Path("records") / "records.sqlite"


class Records:
    """An open file of records; a context manager. For one thread: each opens its own, which takes some milliseconds.

    Attributes
    ----------
    database : Database
    persons : Persons
    events : Events
    visits : Visits
    consents : Consents
    clips : Clips
    readings : Readings
    warnings : tuple of str
        What the user should know: of the place of the file, and of erasing that could not be finished.
    """

    def __init__(self, database: Database) -> None:
        self.database = database
        self.persons = Persons(database)
        self.events = Events(database)
        self.visits = Visits(database)
        self.consents = Consents(database)
        self.clips = Clips(database)
        self.readings = Readings(database)
        self.warnings: tuple[str, ...] = database.warnings

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self.database.close()


def records_path() -> Path:
    """Where the records are unless the user says otherwise: in the private folder of this program.

    Raises
    ------
    OutputError
        If that folder cannot be made.
    """
    return data_folder() / FILE


def open_records(path: str | PathLike[str] | None = None, wait_s: float = WAIT_S) -> Records:
    """Open the records, made at the first use and brought up to date after a copy where an earlier version wrote them.

    Parameters
    ----------
    path : str or path or None
        None is `records_path()`.
    wait_s : float
        How long to wait for somebody else who writes.

    Returns
    -------
    Records

    Raises
    ------
    RecordsError
        In one line, if the file holds something else, is of a later version, is damaged, cannot be written, or the disk is full.
    """
    records = Records(Database(records_path() if path is None else Path(path), wait_s))
    try:
        sweep_abandoned(records.database.path.parent)
        left = finish_erasing(records.database, wait_s=0.0)
        if left is not None:
            records.warnings = (*records.warnings, left)
    except BaseException:
        records.close()
        raise
    return records
