"""Records out of the file and into it again, as JSON: a person, some, or everything. Nothing is overwritten on either way."""

from __future__ import annotations

import json
from base64 import b64decode
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from posture import __version__
from posture.errors import RecordsError
from posture.records.copies import write_new
from posture.records.dates import PartialDate
from posture.records.exchange_form import ClipForm, PersonForm, RecordsForm
from posture.records.form_of import person_form, person_json
from posture.records.readings import TIME_FORM
from posture.records.store import Records
from posture.records.track_bytes import unpack_track
from posture.records.values import Clip, Consent, Event, Person, Reading, Visit, utc_now

MOST_BYTES = 512 << 20
"""Of a file of exported records: it is read as a whole, and takes some times its size in memory. About 1000 clips of three
minutes; everything of a large clinic goes into a backup instead."""


@dataclass(frozen=True)
class Imported:
    """What came of an import, as codes.

    Attributes
    ----------
    added : tuple of str
    same : tuple of str
        Were there already, with the same content.
    left : tuple of str
        Were there already with another content, and were left as they are.
    """

    added: tuple[str, ...]
    same: tuple[str, ...]
    left: tuple[str, ...]


def export_records(records: Records, path: Path, person_ids: Sequence[int] | None = None) -> int:
    """Write persons into a new JSON file, tracks and pictures included. It is private to the user, and not encrypted.

    Parameters
    ----------
    records : Records
    path : Path
    person_ids : sequence of int or None
        None is everybody.

    Returns
    -------
    int
        How many persons.

    Raises
    ------
    OutputError
        If something has that name, or it cannot be written.
    RecordsError
        If it became too large to be read again.
    """
    with records.database.one_moment():
        ids = [line.person.id for line in records.persons.lines()] if person_ids is None else list(person_ids)
        write_new(path, _bounded(_pieces(records, ids)))
    return len(ids)


def import_records(records: Records, path: Path, leave_others: bool = False) -> Imported:
    """Read persons out of a JSON file; all of them or, after an error, none.

    Parameters
    ----------
    records : Records
    path : Path
    leave_others : bool
        Where a code is there already with another content, leave what is there; otherwise that is an error.

    Returns
    -------
    Imported

    Raises
    ------
    RecordsError
        If the file holds something else, or a code is there already with another content.
    """
    form = _read(path)
    added, same, left = [], [], []
    with records.database.writing():
        for person in form.persons:
            there = records.persons.find(person.code)
            if there is None:
                _add(records, person)
                added.append(person.code)
            elif person_form(records, there.id) == person:
                same.append(person.code)
            else:
                left.append(person.code)
        if left and not leave_others:
            raise RecordsError(
                f"Expected codes that are free; {', '.join(left)} {'is' if len(left) == 1 else 'are'} there already with another"
                " content, and nothing was imported. Erase what is there first, or import the others only."
            )
    return Imported(tuple(added), tuple(same), tuple(left))


def _pieces(records: Records, ids: Sequence[int]) -> Iterator[bytes]:
    """The document, person by person: only one is in memory at a time."""
    empty = RecordsForm(made_on=utc_now().strftime(TIME_FORM), posture=__version__, persons=[])
    before, after = empty.model_dump_json(by_alias=True).rsplit("[]", 1)
    yield f"{before}[".encode()
    for number, person_id in enumerate(ids):
        yield b",\n" if number else b"\n"
        yield person_json(person_form(records, person_id)).encode()
    yield f"]{after}\n".encode()


def _bounded(pieces: Iterator[bytes]) -> Iterator[bytes]:
    """Pieces of a file that can be read again."""
    total = 0
    for piece in pieces:
        total += len(piece)
        if total > MOST_BYTES:
            raise RecordsError(
                f"Expected {MOST_BYTES >> 20} MB or less to be exported; there is more. Export fewer persons at a time, or make a backup."
            )
        yield piece


def _read(path: Path) -> RecordsForm:
    """The document in a file."""
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise RecordsError(f"Expected exported records; '{path.name}' cannot be read ({error.strerror}).") from error
    if len(data) > MOST_BYTES:
        raise RecordsError(f"Expected {MOST_BYTES >> 20} MB or less of exported records; '{path.name}' is larger.")
    try:
        return RecordsForm.model_validate(json.loads(data, parse_constant=_refuse))
    except ValidationError as error:
        first = error.errors(include_input=False, include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise RecordsError(f"Expected exported records in '{path.name}'; at '{where}': {first['msg']}.") from error
    except (ValueError, RecursionError) as error:
        raise RecordsError(f"Expected exported records in '{path.name}'; it is no JSON ({error}).") from error


def _refuse(constant: str) -> None:
    """NaN and infinity are no JSON."""
    raise ValueError(f"{constant} stands in it")


def _add(records: Records, form: PersonForm) -> None:
    """Keep a person that came, within a transaction."""
    born = None if form.born is None else PartialDate(form.born)
    person_id = records.persons.add(Person(form.code, born, form.suspected, form.suspected_by)).id
    for event in form.events:
        records.events.add(Event(person_id, event.kind, PartialDate.parse(event.on), event.text))
    for visit in form.visits:
        texts: dict[str, Any] = {name: getattr(visit, name) for name in ("question", "examiner", "eye_estimate")}
        records.visits.add(Visit(person_id, PartialDate.parse(visit.on), findings=visit.findings, **texts))
    clips: dict[str | None, int | None] = {None: None}
    for clip in form.clips:
        clips[clip.sha256] = _add_clip(records, person_id, clip)
    for consent in form.consents:
        withdrawn = None if consent.withdrawn_on is None else PartialDate.parse(consent.withdrawn_on)
        given, scopes = PartialDate.parse(consent.given_on), frozenset(consent.scopes)
        records.consents.add(Consent(person_id, clips[consent.clip], consent.by_whom, given, scopes, withdrawn))


def _add_clip(records: Records, person_id: int, form: ClipForm) -> int:
    """Keep a clip that came, within a transaction; returns its id."""
    clip = Clip(
        person_id=person_id,
        sha256=form.sha256,
        kind=form.kind,
        posed=form.posed,
        filmed_on=None if form.filmed_on is None else PartialDate.parse(form.filmed_on),
        filmed_on_source=form.filmed_on_source,
        filmed_by=form.filmed_by,
        label=form.label,
        picture=None if form.picture is None else _bytes(form.picture),
    )
    clip_id = records.clips.insert(clip)
    track_ids = []
    for track in form.tracks:
        packed = _bytes(track.track)
        unpack_track(packed)  # Looked at before it is kept.
        track_ids.append(records.readings.insert_track(clip_id, track.seen, packed))
    for reading in form.readings:
        try:
            made_on = datetime.strptime(reading.made_on, TIME_FORM).replace(tzinfo=UTC)
        except ValueError as error:
            raise RecordsError(f"Expected when a reading was made; '{reading.made_on}' came.") from error
        kept = Reading(
            clip_id=clip_id,
            track_id=track_ids[reading.track],
            summary=reading.summary,
            settings=reading.settings,
            made_on=made_on,
            is_current=reading.is_current,
            examination=reading.examination,
        )
        records.readings.insert(kept)
    return clip_id


def _bytes(text: str) -> bytes:
    """The bytes in base64."""
    try:
        return b64decode(text, validate=True)
    except ValueError as error:
        raise RecordsError("Expected base64 in exported records; it is damaged. Export them again.") from error
