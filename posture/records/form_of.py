"""Persons in the form in which they leave: values and what hangs on them, brought into `posture.records.exchange_form`."""

from __future__ import annotations

import json
from base64 import b64encode

from posture.records.course import findings_json
from posture.records.exchange_form import ClipForm, ConsentForm, EventForm, PersonForm, ReadingForm, TrackForm, VisitForm
from posture.records.readings import TIME_FORM
from posture.records.store import Records
from posture.records.values import Clip


def person_json(form: PersonForm) -> str:
    """A person as JSON; in findings, what was not examined has no key."""
    values = form.model_dump(mode="json", by_alias=True)
    for visit, kept in zip(values["visits"], form.visits, strict=True):
        visit["findings"] = json.loads(findings_json(kept.findings))
    return json.dumps(values, ensure_ascii=False, allow_nan=False)


def person_form(records: Records, person_id: int) -> PersonForm:
    """A person with all that is kept of it, in the form in which it leaves."""
    person = records.persons.get(person_id)
    clips = records.clips.of_person(person_id)
    files = {clip.id: clip.sha256 for clip in clips}
    return PersonForm(
        code=person.code,
        born=None if person.born is None else person.born.text,
        suspected=person.suspected,
        suspected_by=person.suspected_by,
        events=[EventForm(kind=e.kind, on=e.on.stored, text=e.text) for e in records.events.of_person(person_id)],
        visits=[
            VisitForm(
                on=v.on.stored, question=v.question, examiner=v.examiner, eye_estimate=v.eye_estimate, findings=v.findings
            )
            for v in records.visits.of_person(person_id)
        ],
        clips=[_clip_form(records, clip) for clip in clips],
        consents=[
            ConsentForm(
                clip=None if c.clip_id is None else files[c.clip_id],
                by_whom=c.by_whom,
                given_on=c.given_on.stored,
                scopes=sorted(c.scopes),
                withdrawn_on=None if c.withdrawn_on is None else c.withdrawn_on.stored,
            )
            for c in records.consents.of_person(person_id)
        ],
    )


def _clip_form(records: Records, clip: Clip) -> ClipForm:
    """A clip in the form in which it leaves."""
    tracks = records.readings.tracks(clip.id)
    numbers = {track_id: number for number, (track_id, _, _) in enumerate(tracks)}
    picture = records.clips.picture(clip.id)
    return ClipForm(
        sha256=clip.sha256,
        kind=clip.kind,
        posed=clip.posed,
        filmed_on=None if clip.filmed_on is None else clip.filmed_on.stored,
        filmed_on_source=clip.filmed_on_source,
        filmed_by=clip.filmed_by,
        label=clip.label,
        picture=None if picture is None else b64encode(picture).decode(),
        tracks=[TrackForm(seen=seen, track=b64encode(packed).decode()) for _, seen, packed in tracks],
        readings=[
            ReadingForm(
                track=numbers[reading.track_id],
                made_on=reading.made_on.strftime(TIME_FORM),
                is_current=reading.is_current,
                settings=reading.settings,
                summary=reading.summary,
                examination=reading.examination,
            )
            for reading in records.readings.of_clip(clip.id)
        ],
    )
