"""What has to be kept of a clip beside the track so that it can be read anew in five years: everything but the pictures."""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from typing import Any, Literal, TypeVar

from pydantic import TypeAdapter, ValidationError

from posture.clinic.examination import Examination
from posture.errors import RecordsError
from posture.geometry.lens import Lens
from posture.measure import Measurement, Settings
from posture.see import SeenClip, SeenPerson
from posture.signal.track import HeadTrack
from posture.summary.record import Summary

Form = TypeVar("Form")


@dataclass(frozen=True)
class SeenFacts:
    """What was seen in a clip beside the track of the one person who was measured; of the others, only that they were there.

    Attributes
    ----------
    kind : {"video", "photograph"}
    sha256 : str
    width_px, height_px : int
    damage, filmed_on, filmed_on_source : str or None
    lens : Lens
        With which the heads were seen.
    file_focal_px : float or None
    steps : tuple of str
    person : int
        The number that was asked for, counted from 1.
    seen_share : float or None
        Of that person; None where there is no such person.
    still_persons : tuple of bool
        Of every person of the clip, whether the face never moved.
    """

    kind: Literal["video", "photograph"]
    sha256: str
    width_px: int
    height_px: int
    damage: str | None
    filmed_on: str | None
    filmed_on_source: str | None
    lens: Lens
    file_focal_px: float | None
    steps: tuple[str, ...]
    person: int
    seen_share: float | None
    still_persons: tuple[bool, ...]


@dataclass(frozen=True)
class Measured:
    """What is kept of one measurement.

    Attributes
    ----------
    summary : Summary
    track : HeadTrack
        Of the person who was measured.
    seen : SeenFacts
    settings : Settings
    examination : Examination or None
        What came of movements that were asked.
    """

    summary: Summary
    track: HeadTrack
    seen: SeenFacts
    settings: Settings
    examination: Examination | None = None

    @classmethod
    def of(cls, measurement: Measurement, settings: Settings) -> Measured:
        """What is kept of a measurement that was made with these settings."""
        facts = facts_of(measurement.seen, settings.person)
        return cls(measurement.summary, measurement.track, facts, settings, measurement.examination)


def facts_of(seen: SeenClip, person: int | None) -> SeenFacts:
    """The facts of a clip for one person of it; None is the first."""
    number = 1 if person is None else person
    measured = seen.persons[number - 1] if 1 <= number <= len(seen.persons) else None
    alike = {name: getattr(seen, name) for name in _ALIKE}
    return SeenFacts(
        **alike,
        person=number,
        seen_share=None if measured is None else measured.seen_share,
        still_persons=tuple(bool(one.is_still) for one in seen.persons),
    )


_ALIKE = tuple(known.name for known in fields(SeenFacts) if known.name in {other.name for other in fields(SeenClip)})
"""What stands in both alike."""


def seen_again(facts: SeenFacts, track: HeadTrack) -> SeenClip:
    """A clip as it was seen, for `posture.measure.read_clip`: the others of it are there, but nothing is known of them.

    Parameters
    ----------
    facts : SeenFacts
    track : HeadTrack
        Of the person who was measured.

    Returns
    -------
    SeenClip
        Without portraits and stills.
    """
    alike = {name: getattr(facts, name) for name in _ALIKE}
    nobody = SeenClip(**alike, time_s=track.time_s, persons=()).empty_track()
    persons = [SeenPerson(nobody, None, (), 0.0, is_still) for is_still in facts.still_persons]
    if facts.seen_share is not None:
        is_still = facts.still_persons[facts.person - 1]
        persons[facts.person - 1] = SeenPerson(track, None, (), facts.seen_share, is_still)
    return SeenClip(**alike, time_s=track.time_s, persons=tuple(persons))


def facts_json(facts: SeenFacts) -> str:
    """Facts as JSON text."""
    return _to_json(SeenFacts, facts)


def facts_from(text: str) -> SeenFacts:
    """Facts out of JSON text.

    Raises
    ------
    RecordsError
        If a later version of the program wrote them, or they are damaged.
    """
    facts = _from_json(SeenFacts, text)
    if facts.seen_share is not None and not 1 <= facts.person <= len(facts.still_persons):
        raise RecordsError(
            f"Expected the person who was measured to be one of {len(facts.still_persons)}; {facts.person} came."
        )
    return facts


def settings_json(settings: Settings) -> str:
    """Settings as JSON text."""
    return _to_json(Settings, settings)


def settings_from(text: str) -> Settings:
    """Settings out of JSON text; what an earlier version did not have is as by default.

    Raises
    ------
    RecordsError
        If a later version of the program wrote them, or they are damaged.
    """
    return _from_json(Settings, text)


_ADAPTERS: dict[type, TypeAdapter[Any]] = {form: TypeAdapter(form) for form in (SeenFacts, Settings)}
"""What checks either; making one takes longer than using it a hundred times."""


def _to_json(form: type[Form], value: Form) -> str:
    """A dataclass as JSON text without NaN."""
    try:
        return json.dumps(_ADAPTERS[form].dump_python(value, mode="json"), allow_nan=False)
    except ValueError as error:
        raise _unknown_form(form) from error


def _from_json(form: type[Form], text: str) -> Form:
    """A dataclass out of JSON text; a key that it does not have is not passed over."""
    try:
        values: dict[str, Any] = json.loads(text)
        unknown = set(values) - {known.name for known in fields(form)}  # type: ignore[arg-type]
        value = _ADAPTERS[form].validate_python(values)
    except (ValidationError, ValueError, TypeError, RecursionError) as error:
        raise _unknown_form(form) from error
    if unknown:
        raise _unknown_form(form)
    return value


def _unknown_form(form: type[Form]) -> RecordsError:
    """The error of something that a later version kept, or that is damaged."""
    return RecordsError(
        f"Expected what this version of the program keeps of a clip ({form.__name__}); something else came. Use the version that"
        " kept it, or a later one."
    )
