"""Readings of kept clips: each belongs to the track that it read; one of a clip's is current, and none is ever replaced."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from datetime import UTC, datetime

from pydantic import ValidationError

from posture.clinic.examination import Examination
from posture.errors import RecordsError
from posture.measure import Measurement, Settings, read_clip
from posture.records.database import Database
from posture.records.seen import Measured, SeenFacts, facts_from, facts_json, seen_again, settings_from, settings_json
from posture.records.track_bytes import pack_track, unpack_track
from posture.records.values import Reading, utc_now
from posture.signal.track import HeadTrack
from posture.summary.record import Conditions, Interval, Summary

TIME_FORM = "%Y-%m-%dT%H:%M:%SZ"


class Readings:
    """The readings and tracks of an open file of records."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of_clip(self, clip_id: int) -> list[Reading]:
        """All readings of a clip, in the order in which they were made."""
        rows = self._database.rows("SELECT * FROM readings WHERE clip_id = ? ORDER BY id", (clip_id,))
        return [_reading(row) for row in rows]

    def current(self, clip_id: int) -> Reading:
        """The reading that stands for a clip.

        Raises
        ------
        RecordsError
            If the clip is not there any more.
        """
        row = self._database.row("SELECT * FROM readings WHERE clip_id = ? AND is_current", (clip_id,))
        if row is None:
            raise RecordsError(
                "Expected a clip in the records; there is none of this number any more. Look at the person anew."
            )
        return _reading(row)

    def current_of_person(self, person_id: int) -> dict[int, Reading]:
        """The current reading of every clip of a person, by the clip's id."""
        question = "SELECT readings.* FROM readings JOIN clips ON clips.id = clip_id WHERE person_id = ? AND is_current"
        return {row["clip_id"]: _reading(row) for row in self._database.rows(question, (person_id,))}

    def track(self, track_id: int) -> HeadTrack:
        """A track as it was seen.

        Raises
        ------
        RecordsError
            If it is not there any more, damaged, or of a later version.
        """
        return unpack_track(self._track_row(track_id)["track"])

    def add(self, clip_id: int, measured: Measured) -> Reading:
        """Keep a second measurement of a clip that is kept, beside the first; it becomes current.

        Parameters
        ----------
        clip_id : int
        measured : Measured
            Of the same file.

        Returns
        -------
        Reading

        Raises
        ------
        RecordsError
            If it is of another file.
        """
        with self._database.writing():
            clip = self._database.row("SELECT sha256 FROM clips WHERE id = ?", (clip_id,))
            if clip is None or clip["sha256"] != measured.summary.clip.sha256:
                raise RecordsError("Expected a measurement of the same file; another came. Keep it as a clip of its own.")
            track_id = self.insert_track(clip_id, measured.seen, pack_track(measured.track))
            return self.insert(reading_now(clip_id, track_id, measured))

    def read_anew(self, clip_id: int, settings: Settings | None = None, conditions: Conditions | None = None) -> Reading:
        """Read the kept track of a clip with the code of today; the earlier readings stay, the new one becomes current.

        Parameters
        ----------
        clip_id : int
        settings : Settings or None
            None is as the current reading. The person stays the one who was measured.
        conditions : Conditions or None
            None is as the current reading.

        Returns
        -------
        Reading

        Raises
        ------
        RecordsError
            If the clip is not there any more, its track cannot be read, or another person of it is asked for.
        """
        reading = self.current(clip_id)
        made = self.measured_again(reading, settings, conditions)
        with self._database.writing():
            settings = replace(settings or reading.settings, person=reading.settings.person)
            made_now = Reading(clip_id, reading.track_id, made.summary, settings, utc_now(), True, made.examination)
            return self.insert(made_now)

    def measured_again(
        self, reading: Reading, settings: Settings | None = None, conditions: Conditions | None = None
    ) -> Measurement:
        """All that comes of reading a kept track with the code of today, nothing of it kept; for its plots and spells.

        Parameters
        ----------
        reading : Reading
            Whose track is read.
        settings, conditions
            As for `read_anew`.

        Returns
        -------
        Measurement
        """
        row = self._track_row(reading.track_id)
        facts = facts_from(row["seen"])
        wanted = settings or reading.settings
        if wanted.person not in (None, facts.person):
            raise RecordsError(
                f"Expected person {facts.person} of this clip, of whom the track was kept; person {wanted.person} came. Measure the"
                " clip anew."
            )
        wanted = replace(wanted, person=reading.settings.person)
        seen = seen_again(facts, unpack_track(row["track"]))
        return read_clip(seen, wanted, conditions or reading.summary.conditions, reading.summary.clip.label)

    def make_current(self, reading: Reading) -> Reading:
        """Let another reading stand for its clip."""
        with self._database.writing():
            self._none_current(reading.clip_id)
            done = self._database.run("UPDATE readings SET is_current = 1 WHERE id = ?", (reading.id,))
            if done.rowcount != 1:
                raise RecordsError("Expected a reading in the records; it is not there any more. Open the clip anew.")
        return replace(reading, is_current=True)

    def tracks(self, clip_id: int) -> list[tuple[int, SeenFacts, bytes]]:
        """Id, facts and bytes of every track of a clip, in the order in which they were kept."""
        rows = self._database.rows("SELECT id, seen, track FROM tracks WHERE clip_id = ? ORDER BY id", (clip_id,))
        return [(row["id"], facts_from(row["seen"]), bytes(row["track"])) for row in rows]

    def insert_track(self, clip_id: int, seen: SeenFacts, packed: bytes) -> int:
        """Add a track, within a transaction; returns its id."""
        return self._database.insert("tracks", {"clip_id": clip_id, "seen": facts_json(seen), "track": packed})

    def insert(self, reading: Reading) -> Reading:
        """Add a reading, within a transaction; where it is current, no other one is any more."""
        if reading.is_current:
            self._none_current(reading.clip_id)
        tilt, is_moment = _tilt(reading.summary)
        values = {
            "clip_id": reading.clip_id,
            "track_id": reading.track_id,
            "made_on": reading.made_on.strftime(TIME_FORM),
            "is_current": int(reading.is_current),
            "is_moment": int(is_moment),
            "tilt_deg": tilt and tilt.value,
            "tilt_low_deg": tilt and tilt.low,
            "tilt_high_deg": tilt and tilt.high,
            "settings": settings_json(reading.settings),
            "summary": reading.summary.to_json(),
            "examination": None if reading.examination is None else reading.examination.to_json(),
        }
        return replace(reading, id=self._database.insert("readings", values))

    def _none_current(self, clip_id: int) -> None:
        """Let no reading stand for a clip, for a moment within a transaction."""
        self._database.run("UPDATE readings SET is_current = 0 WHERE clip_id = ? AND is_current", (clip_id,))

    def _track_row(self, track_id: int) -> sqlite3.Row:
        """A track with what was seen beside it."""
        row = self._database.row("SELECT seen, track FROM tracks WHERE id = ?", (track_id,))
        if row is None:
            raise RecordsError("Expected a kept track; it is not there any more. Open the clip anew.")
        return row


def reading_now(clip_id: int, track_id: int, measured: Measured) -> Reading:
    """The reading of a measurement that was just made, as the current one."""
    return Reading(clip_id, track_id, measured.summary, measured.settings, utc_now(), True, measured.examination)


def _reading(row: sqlite3.Row) -> Reading:
    """The reading in a row."""
    kept = row["examination"]
    try:
        summary = Summary.model_validate_json(row["summary"])
        examination = None if kept is None else Examination.model_validate_json(kept)
    except ValidationError as error:
        raise RecordsError(
            "Expected a summary that this version of the program knows; another was kept. Use the version that kept it, or a later one."
        ) from error
    return Reading(
        clip_id=row["clip_id"],
        track_id=row["track_id"],
        summary=summary,
        settings=settings_from(row["settings"]),
        made_on=datetime.strptime(row["made_on"], TIME_FORM).replace(tzinfo=UTC),
        is_current=bool(row["is_current"]),
        examination=examination,
        id=row["id"],
    )


def _tilt(summary: Summary) -> tuple[Interval | None, bool]:
    """The tilt for lists, and whether it is that of a moment; none while the side is not known."""
    if not summary.sided:
        return None, False
    if summary.habitual is not None:
        return summary.habitual.tilt_deg, False
    return (summary.moment.tilt_deg, True) if summary.moment is not None else (None, False)
