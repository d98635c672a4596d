"""Clips: a measurement is kept whole or not at all, and the same file is never kept twice without a word."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from typing import Any, Literal

from posture.errors import AlreadyKeptError, RecordsError
from posture.records.database import Database
from posture.records.dates import PartialDate, check_possible
from posture.records.persons import Persons, stale
from posture.records.readings import Readings, reading_now
from posture.records.seen import Measured
from posture.records.track_bytes import pack_track
from posture.records.values import Clip, Reading

Kept = Literal["no", "here", "elsewhere"]


class Clips:
    """The clips of an open file of records."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._readings = Readings(database)

    def of_person(self, person_id: int) -> list[Clip]:
        """All clips of a person in order of the date filmed, those without a date first; no pictures."""
        question = "SELECT * FROM clips WHERE person_id = ? ORDER BY filmed_on, id"
        return [_clip(row) for row in self._database.rows(question, (person_id,))]

    def get(self, clip_id: int) -> Clip:
        """One clip, without its picture.

        Raises
        ------
        RecordsError
            If there is none, or no longer.
        """
        row = self._database.row("SELECT * FROM clips WHERE id = ?", (clip_id,))
        if row is None:
            raise RecordsError(
                "Expected a clip in the records; there is none of this number any more. Look at the person anew."
            )
        return _clip(row)

    def picture(self, clip_id: int) -> bytes | None:
        """The picture of a clip, if the user asked for one to be kept."""
        row = self._database.row("SELECT picture FROM pictures WHERE clip_id = ?", (clip_id,))
        return None if row is None else bytes(row["picture"])

    def set_picture(self, clip_id: int, picture: bytes | None) -> None:
        """Keep a picture for a clip, or none any more.

        Parameters
        ----------
        clip_id : int
        picture : bytes or None
            From `posture.records.pictures.clean_picture`.
        """
        with self._database.writing():
            kept = replace(self.get(clip_id), picture=picture)
            self._database.run("DELETE FROM pictures WHERE clip_id = ?", (clip_id,))
            if kept.picture is not None:
                self._database.insert("pictures", {"clip_id": clip_id, "picture": kept.picture})

    def where_kept(self, sha256: str, person_id: int) -> tuple[Kept, int | None]:
        """Whether a file is kept already: for this person, with the clip's id, or under another code, of which nothing is told."""
        rows = self._database.rows("SELECT id, person_id FROM clips WHERE sha256 = ?", (sha256,))
        for row in rows:
            if row["person_id"] == person_id:
                return "here", int(row["id"])
        return ("elsewhere" if rows else "no"), None

    def keep(self, clip: Clip, measured: Measured, is_of_both: bool = False) -> tuple[Clip, Reading]:
        """Keep a measured clip: clip, picture, track and reading, all or nothing, and on disk before this returns.

        Parameters
        ----------
        clip : Clip
            Its `person_id` says whose. See `clip_of`.
        measured : Measured
            Of that file.
        is_of_both : bool
            The file may be kept under another code as well: it shows both persons.

        Returns
        -------
        tuple of Clip and Reading
            With their ids; the clip without its picture.

        Raises
        ------
        AlreadyKeptError
            If the same file is kept for this person (then `Readings.add` keeps the measurement beside the first one), or under another
            code and `is_of_both` is not set.
        RecordsError
            If the person is not there, or the date is in the future or before birth.
        """
        if clip.sha256 != measured.summary.clip.sha256:
            raise RecordsError("Expected the measurement of the clip itself; that of another file came. Measure the clip anew.")
        with self._database.writing():
            where, clip_id = self.where_kept(clip.sha256, clip.person_id)
            if where == "here":
                raise AlreadyKeptError(
                    "This file is kept for this person already, and was not replaced. Keep the measurement as a second reading, or"
                    " leave it.",
                    clip_id,
                )
            if where == "elsewhere" and not is_of_both:
                raise AlreadyKeptError(
                    "This file is kept under another code. Look whether this is the right person; keep it here too only if the clip"
                    " shows both.",
                    None,
                )
            clip_id = self.insert(clip)
            track_id = self._readings.insert_track(clip_id, measured.seen, pack_track(measured.track))
            return self.get(clip_id), self._readings.insert(reading_now(clip_id, track_id, measured))

    def change(self, clip: Clip) -> Clip:
        """Keep a clip whose date, label or the like was changed since it was read; its picture stays as it is.

        Raises
        ------
        ChangedMeanwhileError
            If somebody else changed or erased it meanwhile.
        """
        with self._database.writing():
            self._check(clip)
            if not self._database.update("clips", clip.id, clip.version, _columns(clip)):
                raise stale("clip")
            return self.get(clip.id)

    def insert(self, clip: Clip) -> int:
        """Add a clip with its picture, within a transaction; returns its id."""
        self._check(clip)
        values = {"person_id": clip.person_id, "sha256": clip.sha256, **_columns(clip)}
        clip_id = self._database.insert("clips", values)
        if clip.picture is not None:
            self._database.insert("pictures", {"clip_id": clip_id, "picture": clip.picture})
        return clip_id

    def _check(self, clip: Clip) -> None:
        """Refuse a date that cannot be."""
        check_possible(clip.filmed_on, Persons(self._database).get(clip.person_id).born, "the day of filming")


def clip_of(person_id: int, measured: Measured, **known: Any) -> Clip:
    """The clip of a measurement, with what the measurement knows of it.

    Parameters
    ----------
    person_id : int
    measured : Measured
    **known
        Other attributes of `Clip`: `posed`, `filmed_by`, `picture`, or a better date.

    Returns
    -------
    Clip
        Not kept yet. A date of the file that cannot be read is left open.
    """
    summary = measured.summary
    values: dict[str, Any] = {
        "kind": "film" if measured.seen.kind == "video" else "photograph",
        "label": summary.clip.label or "",
    }
    if summary.conditions.filmed_on is not None and "filmed_on" not in known:
        try:
            # A time of day behind it is left out.
            values["filmed_on"] = PartialDate.parse(summary.conditions.filmed_on.split("T")[0])
            values["filmed_on_source"] = summary.conditions.filmed_on_source or ""
        except RecordsError:
            values["filmed_on"] = None
    return Clip(person_id=person_id, sha256=summary.clip.sha256, **values | known)


def _columns(clip: Clip) -> dict[str, Any]:
    """The columns of a clip that may change."""
    return {
        "kind": clip.kind,
        "posed": int(clip.posed),
        "filmed_on": None if clip.filmed_on is None else clip.filmed_on.stored,
        "filmed_on_source": clip.filmed_on_source,
        "filmed_by": clip.filmed_by,
        "label": clip.label,
    }


def _clip(row: sqlite3.Row) -> Clip:
    """The clip in a row."""
    return Clip(
        person_id=row["person_id"],
        sha256=row["sha256"],
        kind=row["kind"],
        posed=bool(row["posed"]),
        filmed_on=None if row["filmed_on"] is None else PartialDate.parse(row["filmed_on"]),
        filmed_on_source=row["filmed_on_source"],
        filmed_by=row["filmed_by"],
        label=row["label"],
        id=row["id"],
        version=row["version"],
    )
