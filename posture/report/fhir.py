"""A measured clip as FHIR R4B: a Bundle of Observations with codes of this program's own, validated by a library before it leaves.

No code of a public code system is claimed: none was found that means these angles as they are measured here. Angles carry their sign
with its meaning in the text of their code; while mirroring is unknown only sizes go out. The subject is the clinic's code.
"""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from posture.errors import ExtraError
from posture.report.notes import Notes
from posture.summary.record import Interval, Summary

CODE_SYSTEM = "urn:uuid:5b0f4f0e-6f0a-5c0e-9b0d-1f6d3c1a7e52"
"""Names the local codes below; no registry holds it."""

SUBJECT_SYSTEM = "urn:uuid:0d2a1c5e-8a3b-5d47-8f21-64b9c07e3a90"
"""Names the clinic's codes of persons as entered in this program."""

UCUM = "http://unitsofmeasure.org"
ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"

FHIR_DATE = re.compile(r"\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?")
"""A year, a month or a day; "about 2019" is none and goes out as a note."""

CODES = {
    "tilt": "Habitual head tilt against gravity; positive: right ear towards right shoulder",
    "turn": "Habitual turn of the face against the line of sight; positive: to the person's right",
    "chin": "Habitual chin position against the line of sight; positive: chin up",
    "tilt-on-shoulders": "Habitual head tilt on the shoulder line; positive: right ear towards right shoulder",
    "tilt-midface": "Habitual head tilt by the mid-face line; positive: right ear towards right shoulder",
    "head-shift": "Sideways shift of the head over the shoulders, in shoulder widths; positive: to the person's right",
    "tilt-size": "Size of the habitual head tilt, side not known",
    "turn-size": "Size of the habitual turn of the face, side not known",
    "posture-tilt": "Head tilt of one of two postures held; positive: right ear towards right shoulder",
    "posture-turn": "Turn of the face in one of two postures held; positive: to the person's right",
    "moment-tilt": "Head tilt at one moment, not a habit; positive: right ear towards right shoulder",
    "moment-turn": "Turn of the face at one moment, not a habit; positive: to the person's right",
    "moment-chin": "Chin position at one moment, not a habit; positive: chin up",
    "steady-time": "Time in which the head was held steady",
    "share-right": "Share of steady time with a head tilt of 5 degrees or more to the right",
    "share-left": "Share of steady time with a head tilt of 5 degrees or more to the left",
    "share-tilted": "Share of steady time with a head tilt of 5 degrees or more, side not known",
    "posture-share": "Share of steady time in one of two postures held",
    "value": "Value",
    "low": "Lower end of the 95 % interval",
    "high": "Upper end of the 95 % interval",
}
"""Local code -> what it means."""

NO_GRAVITY = "Not given: gravity is no zero in this position."
NOT_MEASURED = "Not measured."
NO_HABIT = "No habitual posture can be given from this clip."


@dataclass(frozen=True)
class _Angle:
    """An angle or a share of time, or why there is none."""

    code: str
    angle: Interval | None
    unit: tuple[str, str] = ("degrees", "deg")
    absent: tuple[str, str] = ("unknown", NOT_MEASURED)
    note: str | None = None


def observations(source: Notes | Summary, code: str | None = None) -> dict[str, Any]:
    """Write a clip, or all clips of some notes, as a FHIR R4B Bundle of type "collection".

    Parameters
    ----------
    source : Notes or Summary
    code : str or None
        The clinic's code of the person, never a name; that of the notes where None.

    Returns
    -------
    dict
        Ready for `json.dumps`: a Device and the Observations, each angle with the components "value", "low" and "high".

    Raises
    ------
    ExtraError
        If the library that validates it is not installed.
    ValueError
        If no code is given.
    """
    summaries = source.summaries if isinstance(source, Notes) else (source,)
    code = code or (source.code if isinstance(source, Notes) else None)
    if not code or not code.strip():
        raise ValueError("Expected the clinic's code for the person; none came. A Bundle without a subject belongs to nobody.")
    bundle = _bundle_model()
    entries: list[dict[str, Any]] = []
    for number, summary in enumerate(summaries):
        entries += _entries(summary, code.strip(), number)
    document = {"resourceType": "Bundle", "type": "collection", "entry": entries}
    validated: dict[str, Any] = json.loads(bundle.model_validate(document).model_dump_json())
    return validated


def _bundle_model() -> Any:
    """The library's model of a Bundle, loaded only when one is written."""
    try:
        from fhir.resources.R4B.bundle import Bundle
    except ImportError as error:
        raise ExtraError(
            "Expected the library fhir.resources, which checks FHIR output; it is not installed. Install it with: pip install"
            " 'posture[fhir]'."
        ) from error
    return Bundle


def _entries(summary: Summary, code: str, number: int) -> Iterator[dict[str, Any]]:
    """The device, then its observations of one clip."""
    device = _address(summary, number, "device")
    made = summary.made_with
    versions: list[dict[str, Any]] = [
        {"type": {"text": name}, "value": value} for name, value in (("posture", made.posture), ("mediapipe", made.mediapipe))
    ]
    versions.append({"type": {"text": "landmark model sha256"}, "value": made.model_sha256})
    name = {"name": "posture: head posture from video", "type": "model-name"}
    yield {
        "fullUrl": device,
        "resource": {"resourceType": "Device", "deviceName": [name], "version": [v for v in versions if v["value"].strip()]},
    }
    for index, angle in enumerate(_angles(summary)):
        resource = _observation(summary, angle, code, device)
        yield {"fullUrl": _address(summary, number, f"{index} {angle.code}"), "resource": resource}


def _address(summary: Summary, number: int, name: str) -> str:
    """An address within the Bundle, the same each time the clip is written."""
    return f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_OID, f'{summary.clip.sha256} {number} {name}')}"


def _angles(summary: Summary) -> Iterator[_Angle]:
    """All that a summary holds, in the order of the contract."""
    lying = ("not-applicable", NO_GRAVITY)
    if summary.habitual:
        held = summary.habitual
        note = None if held.turn_counts else "Not evidence: what the child looked at is not known."
        yield _Angle("tilt", held.tilt_deg, absent=lying)
        yield _Angle("turn", held.turn_deg, note=note)
        yield _Angle("chin", held.chin_deg, note=note)
        yield _Angle("tilt-on-shoulders", held.tilt_on_trunk_deg)
        if held.tilt_midface_deg:
            yield _Angle("tilt-midface", held.tilt_midface_deg)
        if held.head_shift:
            yield _Angle("head-shift", held.head_shift, ("shoulder widths", "1"))
        yield _Angle("steady-time", _exact(held.steady_s), ("seconds", "s"))
        if held.tilt_deg:
            yield _share("share-right", held.share_tilt_right)
            yield _share("share-left", held.share_tilt_left)
    elif summary.unsided:
        found = summary.unsided
        yield _Angle("tilt-size", found.tilt_size_deg, absent=lying)
        yield _Angle("turn-size", found.turn_size_deg)
        yield _Angle("chin", found.chin_deg)
        if found.tilt_size_deg:
            yield _share("share-tilted", found.share_tilted)
    elif summary.postures:
        for posture in summary.postures:
            yield _Angle("posture-tilt", posture.tilt_deg, absent=lying)
            yield _Angle("posture-turn", posture.turn_deg)
            yield _share("posture-share", posture.share)
    else:
        yield from _without_habit(summary)


def _without_habit(summary: Summary) -> Iterator[_Angle]:
    """That there is no habit, and the moment where there is one."""
    yield _Angle("tilt" if summary.sided else "tilt-size", None, absent=("unknown", NO_HABIT))
    if summary.moment:
        if summary.sided:
            yield _Angle("moment-tilt", summary.moment.tilt_deg)
            yield _Angle("moment-turn", summary.moment.turn_deg)
        yield _Angle("moment-chin", summary.moment.chin_deg)


def _exact(value: float) -> Interval:
    """A figure without an interval."""
    return Interval(value=value, low=value, high=value)


def _share(code: str, share: float) -> _Angle:
    """A share in per cent."""
    return _Angle(code, _exact(100 * share), ("%", "%"))


def _observation(summary: Summary, angle: _Angle, code: str, device: str) -> dict[str, Any]:
    """One Observation."""
    filmed = (summary.conditions.filmed_on or "").strip()
    dated = bool(FHIR_DATE.fullmatch(filmed))
    notes = [angle.note, f"Filmed: {filmed}" if filmed and not dated else None]
    notes += [check.text for check in summary.checks if check.level != "pass"]
    exam = {"coding": [{"system": CATEGORY, "code": "exam", "display": "Exam"}]}
    resource: dict[str, Any] = {
        "resourceType": "Observation",
        "status": "final",
        "category": [exam],
        "code": _concept(angle.code),
        "subject": {"identifier": {"system": SUBJECT_SYSTEM, "value": code}},
        "device": {"reference": device, "display": "posture: head posture from video"},
        "method": {"text": "Face landmarks on ordinary video, median of the time held steady, 95 % interval"},
    }
    if dated:
        resource["effectiveDateTime"] = filmed
    texts = [{"text": text} for text in notes if text and text.strip()]
    if texts:
        resource["note"] = texts
    if angle.angle is None:
        reason, words = angle.absent
        resource["dataAbsentReason"] = {"coding": [{"system": ABSENT, "code": reason}], "text": words}
    else:
        parts = ("value",) if angle.angle.low == angle.angle.high else ("value", "low", "high")
        resource["component"] = [
            {"code": _concept(part), "valueQuantity": _quantity(getattr(angle.angle, part), angle.unit)} for part in parts
        ]
    return resource


def _concept(code: str) -> dict[str, Any]:
    """A local code with its meaning."""
    return {"coding": [{"system": CODE_SYSTEM, "code": code, "display": CODES[code]}], "text": CODES[code]}


def _quantity(value: float, unit: tuple[str, str]) -> dict[str, Any]:
    """A quantity in a unit of UCUM, rounded to what can be told apart."""
    words, code = unit
    return {"value": round(value, 3) + 0.0, "unit": words, "system": UCUM, "code": code}
