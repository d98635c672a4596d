"""What happened to a person beside the clips: events, visits with what was found, consents."""

from __future__ import annotations

import sqlite3
from typing import Any, Generic, TypeVar

from pydantic import ValidationError

from posture.clinic.findings import Findings
from posture.errors import RecordsError
from posture.records.database import Database
from posture.records.dates import PartialDate, check_possible
from posture.records.persons import Persons, stale
from posture.records.values import Consent, Event, Scope, Visit

Kept = TypeVar("Kept", Event, Visit, Consent)


class Course(Generic[Kept]):
    """Things of one kind that belong to persons: read, added, changed and removed alike."""

    table: str
    word: str
    order: str

    def __init__(self, database: Database) -> None:
        self._database = database

    def of_person(self, person_id: int) -> list[Kept]:
        """All of one person, in order of time."""
        question = f"SELECT * FROM {self.table} WHERE person_id = ? ORDER BY {self.order}, id"
        return [self._value(row) for row in self._database.rows(question, (person_id,))]

    def get(self, id_: int) -> Kept:
        """One of them.

        Raises
        ------
        RecordsError
            If there is none, or no longer.
        """
        row = self._database.row(f"SELECT * FROM {self.table} WHERE id = ?", (id_,))
        if row is None:
            raise RecordsError(f"Expected a {self.word} in the records; there is none of this number any more.")
        return self._value(row)

    def add(self, value: Kept) -> Kept:
        """Keep a new one; returns it with its id.

        Raises
        ------
        RecordsError
            If the person is not there, or its date is in the future or before birth.
        """
        with self._database.writing():
            self._check(value)
            return self.get(self._database.insert(self.table, {"person_id": value.person_id, **self._columns(value)}))

    def change(self, value: Kept) -> Kept:
        """Keep one that was changed since it was read; returns it with its new version.

        Raises
        ------
        ChangedMeanwhileError
            If somebody else changed or removed it meanwhile.
        """
        with self._database.writing():
            self._check(value)
            if not self._database.update(self.table, value.id, value.version, self._columns(value)):
                raise stale(self.word)
            return self.get(value.id)

    def remove(self, value: Kept) -> None:
        """Remove one that is still as it was read.

        Raises
        ------
        ChangedMeanwhileError
        """
        with self._database.writing():
            question = f"DELETE FROM {self.table} WHERE id = ? AND version = ?"
            if self._database.run(question, (value.id, value.version)).rowcount != 1:
                raise stale(self.word)

    def _check(self, value: Kept) -> None:
        """Refuse what cannot be."""
        for on in self._dates(value):
            check_possible(on, Persons(self._database).get(value.person_id).born, f"the {self.word}")

    def _dates(self, value: Kept) -> list[PartialDate | None]:
        """Its dates."""
        raise NotImplementedError

    def _columns(self, value: Kept) -> dict[str, Any]:
        """Its columns, but for those that all have."""
        raise NotImplementedError

    def _value(self, row: sqlite3.Row) -> Kept:
        """The value in a row."""
        raise NotImplementedError


class Events(Course[Event]):
    """Surgery, patching, glasses and the like."""

    table, word, order = "events", "event", "held_on"

    def _dates(self, value: Event) -> list[PartialDate | None]:
        return [value.on]

    def _columns(self, value: Event) -> dict[str, Any]:
        return {"kind": value.kind, "held_on": value.on.stored, "text": value.text}

    def _value(self, row: sqlite3.Row) -> Event:
        on = PartialDate.parse(row["held_on"])
        return Event(row["person_id"], row["kind"], on, row["text"], id=row["id"], version=row["version"])


class Visits(Course[Visit]):
    """Visits, with the examiner's findings."""

    table, word, order = "visits", "visit", "held_on"

    def _dates(self, value: Visit) -> list[PartialDate | None]:
        return [value.on]

    def _columns(self, value: Visit) -> dict[str, Any]:
        texts = {name: getattr(value, name) for name in ("question", "examiner", "eye_estimate")}
        return {"held_on": value.on.stored, **texts, "findings": findings_json(value.findings)}

    def _value(self, row: sqlite3.Row) -> Visit:
        return Visit(
            person_id=row["person_id"],
            on=PartialDate.parse(row["held_on"]),
            question=row["question"],
            examiner=row["examiner"],
            eye_estimate=row["eye_estimate"],
            findings=_findings(row["findings"]),
            id=row["id"],
            version=row["version"],
        )


class Consents(Course[Consent]):
    """Consents, and what they allow."""

    table, word, order = "consents", "consent", "given_on"

    def allow(self, person_id: int, clip_id: int | None, scope: Scope) -> bool:
        """Whether a clip of a person may be used for something.

        Parameters
        ----------
        person_id : int
        clip_id : int or None
            None asks for the person as a whole.
        scope : {"care", "letter", "teaching", "audit"}

        Returns
        -------
        bool
            Where consents were given for the clip itself, also ones withdrawn since, they decide; else those for all clips of the
            person. One that is withdrawn allows nothing.
        """
        consents = self.of_person(person_id)
        own = [consent for consent in consents if clip_id is not None and consent.clip_id == clip_id]
        counted = own or [consent for consent in consents if consent.clip_id is None]
        return any(scope in consent.scopes and consent.withdrawn_on is None for consent in counted)

    def _check(self, value: Consent) -> None:
        super()._check(value)
        if value.clip_id is not None:
            question = "SELECT 1 FROM clips WHERE id = ? AND person_id = ?"
            if self._database.row(question, (value.clip_id, value.person_id)) is None:
                raise RecordsError(
                    "Expected a clip of this person for the consent; another or none came. Open the person anew."
                )

    def _dates(self, value: Consent) -> list[PartialDate | None]:
        return [value.given_on, value.withdrawn_on]

    def _columns(self, value: Consent) -> dict[str, Any]:
        return {
            "clip_id": value.clip_id,
            "by_whom": value.by_whom,
            "given_on": value.given_on.stored,
            "scopes": " ".join(sorted(value.scopes)),
            "withdrawn_on": None if value.withdrawn_on is None else value.withdrawn_on.stored,
        }

    def _value(self, row: sqlite3.Row) -> Consent:
        withdrawn = row["withdrawn_on"]
        return Consent(
            person_id=row["person_id"],
            clip_id=row["clip_id"],
            by_whom=row["by_whom"],
            given_on=PartialDate.parse(row["given_on"]),
            scopes=frozenset(row["scopes"].split()),
            withdrawn_on=None if withdrawn is None else PartialDate.parse(withdrawn),
            id=row["id"],
            version=row["version"],
        )


def findings_json(findings: Findings) -> str:
    """Findings as they are kept: what was not examined has no key."""
    return findings.model_dump_json(exclude_unset=True)


def _findings(text: str) -> Findings:
    """Findings out of what was kept."""
    try:
        return Findings.model_validate_json(text)
    except ValidationError as error:
        raise RecordsError(
            "Expected findings that this version of the program knows; others were kept. Use the version that kept them, or a later one."
        ) from error
