"""The form in which records leave and come back: `posture.records/1`, JSON. Its schema ships in `schemas/`."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import ConfigDict, Field, model_validator

from posture.clinic.examination import Examination
from posture.clinic.findings import Findings
from posture.measure import Settings
from posture.records.seen import SeenFacts
from posture.records.values import ClipKind, EventKind, Scope, Suspected
from posture.summary.record import Record, Summary

FilmedOn = Annotated[str, Field(pattern="^[0-9]{4}(-[0-9]{2}(-[0-9]{2})?)?~?$")]
"""A day, a month or a year; with ~ after it known only about, as ISO 8601-2 writes it."""

Moment = Annotated[str, Field(pattern="^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z$")]
"""UTC."""

Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Base64 = Annotated[str, Field(pattern="^[A-Za-z0-9+/]*={0,2}$")]


class EventForm(Record):
    """Something that may change a posture."""

    kind: EventKind
    on: FilmedOn
    text: str


class VisitForm(Record):
    """A visit, with what was asked and found."""

    on: FilmedOn
    question: str
    examiner: str
    eye_estimate: str
    findings: Findings


class ConsentForm(Record):
    """A consent; `clip` is the sha256 of the one clip that it is for, null for all clips of the person."""

    clip: Sha256 | None
    by_whom: str
    given_on: FilmedOn
    scopes: list[Scope]
    withdrawn_on: FilmedOn | None


class TrackForm(Record):
    """What was seen: facts, and the track as `posture.records.track_bytes` packs it, in base64."""

    seen: SeenFacts
    track: Base64


class ReadingForm(Record):
    """A reading of one of the clip's tracks, counted from 0."""

    track: Annotated[int, Field(ge=0)]
    made_on: Moment
    is_current: bool
    settings: Settings
    summary: Summary
    examination: Examination | None


class ClipForm(Record):
    """A film or photograph that was measured; `picture` is JPEG or PNG in base64."""

    sha256: Sha256
    kind: ClipKind
    posed: bool
    filmed_on: FilmedOn | None
    filmed_on_source: str
    filmed_by: str
    label: str
    picture: Base64 | None
    tracks: list[TrackForm]
    readings: list[ReadingForm]

    @model_validator(mode="after")
    def _whole(self) -> Self:
        """One reading is current, each has its track, and all are of this file."""
        if sum(reading.is_current for reading in self.readings) != 1:
            raise ValueError("exactly one reading of a clip is current")
        if any(reading.track >= len(self.tracks) for reading in self.readings):
            raise ValueError("every reading has a track")
        files = {reading.summary.clip.sha256 for reading in self.readings} | {track.seen.sha256 for track in self.tracks}
        files |= {reading.examination.sha256 for reading in self.readings if reading.examination is not None}
        if files != {self.sha256}:
            raise ValueError("every track and reading of a clip is of its file")
        return self


class PersonForm(Record):
    """A person with all that is kept of it."""

    code: str
    born: Annotated[str, Field(pattern="^[0-9]{4}-[0-9]{2}$")] | None
    suspected: Suspected
    suspected_by: str
    events: list[EventForm]
    visits: list[VisitForm]
    clips: list[ClipForm]
    consents: list[ConsentForm]

    @model_validator(mode="after")
    def _whole(self) -> Self:
        """No file twice, and consents for clips that are there."""
        files = [clip.sha256 for clip in self.clips]
        if len(set(files)) < len(files):
            raise ValueError("no file is kept twice for a person")
        if {consent.clip for consent in self.consents} - {None, *files}:
            raise ValueError("a consent is for a clip that is there")
        return self


class RecordsForm(Record):
    """A person or everything."""

    schema_: Annotated[Literal["posture.records/1"], Field(alias="schema")] = "posture.records/1"
    made_on: Moment
    posture: str
    persons: list[PersonForm]

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)
