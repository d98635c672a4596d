"""Persons: the list that a clinic has open all day, and each of them by the code."""

from __future__ import annotations

import sqlite3

from posture.errors import ChangedMeanwhileError, RecordsError
from posture.records.database import Database
from posture.records.dates import PartialDate
from posture.records.texts import code_key
from posture.records.values import Person, PersonLine
from posture.summary.record import Interval

_LIST = """
WITH last_clip AS (
  -- With max(), the other columns are those of its row.
  SELECT person_id, count(*) AS clips, max(coalesce(filmed_on, '')) AS filmed_on, id FROM clips GROUP BY person_id
), last_visit AS (
  SELECT person_id, max(held_on) AS held_on FROM visits GROUP BY person_id
)
SELECT persons.*, coalesce(last_clip.clips, 0) AS clips, last_clip.filmed_on, last_visit.held_on,
  is_moment, tilt_deg, tilt_low_deg, tilt_high_deg
FROM persons
LEFT JOIN last_clip ON last_clip.person_id = persons.id
LEFT JOIN last_visit ON last_visit.person_id = persons.id
LEFT JOIN readings ON readings.clip_id = last_clip.id AND readings.is_current
WHERE instr(code_key, :key) > 0
ORDER BY code_key
"""


class Persons:
    """The persons of an open file of records."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def lines(self, search: str = "") -> list[PersonLine]:
        """All persons, or those whose code holds a text, in the order of their codes.

        Parameters
        ----------
        search : str
            Capitals and spaces around it do not matter.

        Returns
        -------
        list of PersonLine
        """
        return [_line(row) for row in self._database.rows(_LIST, {"key": code_key(search)})]

    def get(self, person_id: int) -> Person:
        """One person.

        Raises
        ------
        RecordsError
            If there is none, or no longer.
        """
        row = self._database.row("SELECT * FROM persons WHERE id = ?", (person_id,))
        if row is None:
            raise RecordsError(
                "Expected a person in the records; there is none of this number any more. Look at the list anew."
            )
        return person_of(row)

    def find(self, code: str) -> Person | None:
        """The person with a code, capitals aside; None where there is none."""
        row = self._database.row("SELECT * FROM persons WHERE code_key = ?", (code_key(code),))
        return None if row is None else person_of(row)

    def add(self, person: Person) -> Person:
        """Keep a new person.

        Returns
        -------
        Person
            With its id.

        Raises
        ------
        RecordsError
            If the code is taken.
        """
        with self._database.writing():
            self._check_free(person)
            return self.get(self._database.insert("persons", _columns(person)))

    def change(self, person: Person) -> Person:
        """Keep a person that was changed since it was read.

        Parameters
        ----------
        person : Person
            As read, with other values (`dataclasses.replace`).

        Returns
        -------
        Person
            With its new version.

        Raises
        ------
        ChangedMeanwhileError
            If somebody else changed or erased it meanwhile.
        RecordsError
            If the code is taken.
        """
        with self._database.writing():
            self._check_free(person)
            if not self._database.update("persons", person.id, person.version, _columns(person)):
                raise stale("person")
            return self.get(person.id)

    def _check_free(self, person: Person) -> None:
        """Refuse the code of another person."""
        other = self.find(person.code)
        if other is not None and other.id != person.id:
            raise RecordsError(f"Expected a code that is free; '{other.code}' is taken. Choose another, or open that person.")


def person_of(row: sqlite3.Row) -> Person:
    """The person in a row."""
    return Person(
        code=row["code"],
        born=None if row["born"] is None else PartialDate(row["born"]),
        suspected=row["suspected"],
        suspected_by=row["suspected_by"],
        id=row["id"],
        version=row["version"],
    )


def stale(what: str) -> ChangedMeanwhileError:
    """The error of a change to something that was changed meanwhile."""
    return ChangedMeanwhileError(
        f"Expected that the {what} is as it was when you opened it; it was changed meanwhile, and nothing was overwritten. Open it"
        " anew and make your change again."
    )


def _columns(person: Person) -> dict[str, str | None]:
    """The columns of a person."""
    return {
        "code": person.code,
        "code_key": code_key(person.code),
        "born": None if person.born is None else person.born.text,
        "suspected": person.suspected,
        "suspected_by": person.suspected_by,
    }


def _line(row: sqlite3.Row) -> PersonLine:
    """The person in a row of the list."""
    tilt = row["tilt_deg"]
    return PersonLine(
        person=person_of(row),
        clips=row["clips"],
        last_on=PartialDate.parse(row["filmed_on"]) if row["filmed_on"] else None,
        last_visit_on=PartialDate.parse(row["held_on"]) if row["held_on"] else None,
        last_tilt_deg=None if tilt is None else Interval(value=tilt, low=row["tilt_low_deg"], high=row["tilt_high_deg"]),
        last_is_moment=bool(row["is_moment"]),
    )
