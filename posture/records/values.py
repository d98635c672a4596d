"""What the records hold, as values: an instance is valid or does not exist. Nothing in them names a person or a file.

`id` is 0 in a value that is not kept yet. `version` counts the changes; a value that was read before somebody else changed it cannot
be written over that change.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal, get_args

from posture.clinic.examination import Examination
from posture.clinic.findings import Findings
from posture.errors import RecordsError
from posture.measure import Settings
from posture.records.dates import PartialDate
from posture.records.pictures import check_picture
from posture.records.texts import LONGEST, check_choice, check_code, check_sha256, check_text
from posture.summary.record import Interval, Summary

Suspected = Literal["right", "left", "both", "unknown"]
EventKind = Literal["surgery", "patching", "glasses", "other"]
ClipKind = Literal["film", "photograph"]
Scope = Literal["care", "letter", "teaching", "audit"]

SUSPECTED: tuple[str, ...] = get_args(Suspected)
EVENT_KINDS: tuple[str, ...] = get_args(EventKind)
CLIP_KINDS: tuple[str, ...] = get_args(ClipKind)
SCOPES: tuple[str, ...] = get_args(Scope)


@dataclass(frozen=True)
class Person:
    """A person, by a code that the clinic chose.

    Attributes
    ----------
    code : str
        Never a name. Capitals do not tell two codes apart.
    born : PartialDate or None
        Month and year; never the day.
    suspected : {"right", "left", "both", "unknown"}
        Side of the weak muscle.
    suspected_by : str
    """

    code: str
    born: PartialDate | None = None
    suspected: Suspected = "unknown"
    suspected_by: str = ""
    id: int = 0
    version: int = 1

    def __post_init__(self) -> None:
        check_code(self.code)
        if self.born is not None and (len(self.born.text) != len("YYYY-MM") or self.born.about):
            raise RecordsError(f"Expected month and year of birth, such as 2019-05; '{self.born}' came. Leave the day out.")
        check_choice(self.suspected, SUSPECTED, "the suspected side")
        check_text(self.suspected_by, "who suspects it")


@dataclass(frozen=True)
class Event:
    """Something that may change a posture.

    Attributes
    ----------
    person_id : int
    kind : {"surgery", "patching", "glasses", "other"}
    on : PartialDate
    text : str
        In words.
    """

    person_id: int
    kind: EventKind
    on: PartialDate
    text: str = ""
    id: int = 0
    version: int = 1

    def __post_init__(self) -> None:
        check_choice(self.kind, EVENT_KINDS, "the kind of event")
        check_text(self.text, "the event", LONGEST)


@dataclass(frozen=True)
class Consent:
    """A consent, to all clips of a person or to one.

    Attributes
    ----------
    person_id : int
    clip_id : int or None
        None is every clip of the person.
    by_whom : str
        "mother", "the patient": no name.
    given_on : PartialDate
    scopes : frozenset of {"care", "letter", "teaching", "audit"}
    withdrawn_on : PartialDate or None
    """

    person_id: int
    clip_id: int | None
    by_whom: str
    given_on: PartialDate
    scopes: frozenset[Scope]
    withdrawn_on: PartialDate | None = None
    id: int = 0
    version: int = 1

    def __post_init__(self) -> None:
        check_text(self.by_whom, "who consented")
        if not self.by_whom or not self.scopes:
            raise RecordsError("Expected who consented and to what; one of them is missing. Fill in both.")
        for scope in self.scopes:
            check_choice(scope, SCOPES, "the scope of a consent")
        if self.withdrawn_on is not None and self.withdrawn_on.latest < self.given_on.earliest:
            raise RecordsError(f"Expected a consent to be withdrawn after {self.given_on}; {self.withdrawn_on} came.")


@dataclass(frozen=True)
class Visit:
    """A visit, with what was asked and found.

    Attributes
    ----------
    person_id : int
    on : PartialDate
    question, examiner, eye_estimate : str
        The estimate is the examiner's own, in words.
    findings : Findings
        No path in it: tilts under cover are put in the place of the files that they came from.
    """

    person_id: int
    on: PartialDate
    question: str = ""
    examiner: str = ""
    eye_estimate: str = ""
    findings: Findings = Findings()  # noqa: RUF009 - it does not change.
    id: int = 0
    version: int = 1

    def __post_init__(self) -> None:
        for text, what in ((self.question, "the question"), (self.eye_estimate, "the examiner's estimate")):
            check_text(text, what, LONGEST)
        check_text(self.examiner, "the examiner")
        cover = self.findings.cover
        covered = () if cover is None else (cover.right_eye, cover.left_eye)
        if any(eye is not None and eye.summary is not None for eye in covered):
            raise RecordsError(
                "Expected the tilt under cover itself; the name of a file came. Read it first: read_findings does."
            )


@dataclass(frozen=True)
class Clip:
    """A film or photograph that was measured; the file itself is not kept.

    Attributes
    ----------
    person_id : int
    sha256 : str
        Of the file.
    kind : {"film", "photograph"}
    posed : bool
        The person was told how to sit or to look; counts less.
    filmed_on : PartialDate or None
    filmed_on_source : str
        How that is known.
    filmed_by, label : str
    picture : bytes or None
        JPEG or PNG, only where the user asked for it; None also in lists, see `Clips.picture`.
    """

    person_id: int
    sha256: str
    kind: ClipKind
    posed: bool = False
    filmed_on: PartialDate | None = None
    filmed_on_source: str = ""
    filmed_by: str = ""
    label: str = ""
    picture: bytes | None = None
    id: int = 0
    version: int = 1

    def __post_init__(self) -> None:
        check_sha256(self.sha256)
        check_choice(self.kind, CLIP_KINDS, "the kind of clip")
        for text, what in (
            (self.filmed_on_source, "how the date is known"),
            (self.filmed_by, "who filmed"),
            (self.label, "the label"),
        ):
            check_text(text, what)
        if self.picture is not None:
            check_picture(self.picture)


@dataclass(frozen=True)
class Reading:
    """One reading of a clip's track.

    Attributes
    ----------
    clip_id, track_id : int
        A clip that was measured twice has two tracks.
    summary : Summary
    settings : Settings
        With which it was read.
    made_on : datetime
        UTC.
    is_current : bool
        The one that stands for the clip.
    examination : Examination or None
        What came of movements that were asked; None where none were.
    """

    clip_id: int
    track_id: int
    summary: Summary
    settings: Settings
    made_on: datetime
    is_current: bool
    examination: Examination | None = None
    id: int = 0


@dataclass(frozen=True)
class PersonLine:
    """A person in the list.

    Attributes
    ----------
    person : Person
    clips : int
    last_on, last_visit_on : PartialDate or None
        Of the last clip with a date, and of the last visit.
    last_tilt_deg : Interval or None
        Of that clip's current reading; None without a side or a number.
    last_is_moment : bool
        It is a single moment, not a habitual posture.
    """

    person: Person
    clips: int
    last_on: PartialDate | None
    last_visit_on: PartialDate | None
    last_tilt_deg: Interval | None
    last_is_moment: bool


def utc_now() -> datetime:
    """The present moment, to the second."""
    return datetime.now(UTC).replace(microsecond=0)
