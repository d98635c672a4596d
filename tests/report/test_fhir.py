"""FHIR R4B: validated by the library, with the values of the summary, no side while none is known, and a reason where there is none."""

import json
import sys
from typing import Any

import pytest
from fhir.resources.R4B.bundle import Bundle
from fhir.resources.R4B.observation import Observation

from posture.errors import ExtraError
from posture.report.fhir import CODES, observations
from tests.report.made_notes import case, notes_of, summary_of

KINDS = ("one", "two", "unsided", "moment", "lying", "nothing")


def resources(document: dict[str, Any], kind: str = "Observation") -> list[dict[str, Any]]:
    return [entry["resource"] for entry in document["entry"] if entry["resource"]["resourceType"] == kind]


def code_of(resource: dict[str, Any]) -> str:
    return str(resource["code"]["coding"][0]["code"])


def by_code(document: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {code_of(resource): resource for resource in resources(document)}


def parts(resource: dict[str, Any]) -> dict[str, float]:
    return {code_of(part): part["valueQuantity"]["value"] for part in resource.get("component", [])}


@pytest.mark.parametrize("kind", KINDS)
def test_observations_are_a_valid_bundle(kind: str) -> None:
    document = observations(summary_of(kind), "K-0417")
    bundle = Bundle.model_validate_json(json.dumps(document, allow_nan=False))
    assert bundle.type == "collection"
    assert len({entry.fullUrl for entry in bundle.entry}) == len(bundle.entry)
    found = [entry.resource for entry in bundle.entry if isinstance(entry.resource, Observation)]
    assert found
    (device,) = resources(document, "Device")
    assert {version["type"]["text"] for version in device["version"]} == {"posture", "mediapipe", "landmark model sha256"}
    for resource in resources(document):
        assert resource["subject"] == {"identifier": {"system": resource["subject"]["identifier"]["system"], "value": "K-0417"}}
        assert resource["device"]["reference"] == document["entry"][0]["fullUrl"]
        assert resource["effectiveDateTime"] == "2026-11-20"
        assert resource["code"]["text"] == CODES[code_of(resource)]
        assert ("component" in resource) != ("dataAbsentReason" in resource)
        assert "loinc" not in json.dumps(resource).lower()


def test_observations_hold_the_values_of_the_summary() -> None:
    summary = summary_of()
    found = by_code(observations(summary, "K"))
    held = summary.habitual
    assert held is not None
    for code, angle in (
        ("tilt", held.tilt_deg),
        ("turn", held.turn_deg),
        ("chin", held.chin_deg),
        ("head-shift", held.head_shift),
    ):
        assert angle is not None
        assert parts(found[code]) == pytest.approx({"value": angle.value, "low": angle.low, "high": angle.high})
    quantity = found["tilt"]["component"][0]["valueQuantity"]
    assert (quantity["system"], quantity["code"], quantity["unit"]) == ("http://unitsofmeasure.org", "deg", "degrees")
    assert parts(found["steady-time"]) == {"value": 60.0}
    assert parts(found["share-left"]) == {"value": 90.0}


def test_observations_name_no_side_while_none_is_known() -> None:
    found = by_code(observations(summary_of("unsided"), "K"))
    assert set(found) == {"tilt-size", "turn-size", "chin", "share-tilted"}
    assert parts(found["tilt-size"])["value"] == 14.0
    text = json.dumps(list(found.values()))
    assert "right" not in text
    assert "left" not in text


@pytest.mark.parametrize(
    ("kind", "code", "reason", "words"),
    [
        ("lying", "tilt", "not-applicable", "gravity is no zero"),
        ("nothing", "tilt", "unknown", "No habitual posture"),
        ("moment", "tilt", "unknown", "No habitual posture"),
    ],
)
def test_observations_say_why_there_is_no_value(kind: str, code: str, reason: str, words: str) -> None:
    absent = by_code(observations(summary_of(kind), "K"))[code]["dataAbsentReason"]
    assert absent["coding"][0]["code"] == reason
    assert words in absent["text"]


def test_observations_of_two_postures_are_two() -> None:
    found = [parts(r)["value"] for r in resources(observations(summary_of("two"), "K")) if code_of(r) == "posture-tilt"]
    assert found == [-12.0, 9.0]


def test_observations_of_notes_hold_every_clip_under_its_code() -> None:
    notes = notes_of(others=(summary_of(covered_eye="left"),))
    document = observations(notes)
    assert len(resources(document, "Device")) == 2
    assert {r["subject"]["identifier"]["value"] for r in resources(document)} == {"K-0417"}
    assert observations(notes) == document


@pytest.mark.parametrize(
    ("filmed", "day"), [("2019", "2019"), ("2019-05", "2019-05"), ("about 2019", None), ("2019-13", None), (None, None)]
)
def test_observations_take_only_dates_that_are_dates(filmed: str | None, day: str | None) -> None:
    found = by_code(observations(summary_of(filmed_on=filmed), "K"))["tilt"]
    assert found.get("effectiveDateTime") == day
    notes = [note["text"] for note in found["note"]]
    assert (f"Filmed: {filmed}" in notes) == (filmed is not None and day is None)


@pytest.mark.parametrize("code", [None, "", "  "])
def test_observations_need_a_code(code: str | None) -> None:
    with pytest.raises(ValueError, match="the clinic's code for the person; none came"):
        observations(summary_of(), code)


def test_observations_say_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "fhir.resources.R4B.bundle", None)
    with pytest.raises(ExtraError, match=r"fhir\.resources.*pip install 'posture\[fhir\]'"):
        observations(case("sided"))
