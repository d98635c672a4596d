"""The JSON of a summary: whole, without NaN, the same after a round trip, as its schema says."""

import json
from collections.abc import Callable

import pytest
from pydantic import ValidationError

from posture.measure import Measurement
from posture.summary.record import Conditions, Interval, Summary

Measure = Callable[..., Measurement]
KINDS = ("one", "two", "moment", "photograph", "no face")


def refuse(constant: str) -> None:
    raise AssertionError(f"{constant} in the JSON")


@pytest.mark.parametrize("mirrored", ["no", "yes", "unknown"])
@pytest.mark.parametrize("kind", KINDS)
def test_round_trip_keeps_everything_and_holds_no_nan(measure: Measure, mirrored: str, kind: str) -> None:
    summary = measure(mirrored, kind, rhythm=kind == "one").summary
    text = summary.to_json()
    document = json.loads(text, parse_constant=refuse)
    again = Summary(**document)
    assert again == summary
    assert again.to_json() == text
    assert document["schema"] == "posture.summary/1"
    assert text.endswith("}\n")


@pytest.mark.parametrize("mirrored", ["no", "unknown"])
@pytest.mark.parametrize("kind", KINDS)
def test_record_is_as_the_shipped_schema_says(measure: Measure, mirrored: str, kind: str) -> None:
    jsonschema = pytest.importorskip("jsonschema")
    schema = pytest.importorskip("posture.summary.schema")
    shipped = json.loads(schema.shipped_schema("summary-1.schema.json"))
    checker = jsonschema.Draft202012Validator(shipped)
    document = json.loads(measure(mirrored, kind).summary.to_json())
    checker.validate(document)
    assert list(checker.iter_errors(document | {"extra": 1}))
    assert list(checker.iter_errors({k: v for k, v in document.items() if k != "sided"}))


@pytest.mark.parametrize("name", ["summary-1.schema.json", "conditions-1.schema.json"])
def test_shipped_schemas_are_those_of_the_records(name: str) -> None:
    schema = pytest.importorskip("posture.summary.schema")
    assert schema.shipped_schema(name) == schema.schema_text(*schema.SCHEMAS[name])


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_nan_is_no_number(bad: float) -> None:
    with pytest.raises(ValidationError, match="finite"):
        Interval(value=bad, low=0.0, high=1.0)


def test_unknown_keys_and_changes_are_refused(measure: Measure) -> None:
    summary = measure("no").summary
    with pytest.raises(ValidationError, match="Extra inputs"):
        Summary.model_validate(json.loads(summary.to_json()) | {"more": 1})
    with pytest.raises(ValidationError, match="frozen"):
        summary.sided = False


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("age_months", -1),
        ("target", "television"),
        ("covered_eye", "both"),
        ("position", "upside down"),
        ("target_distance_m", 0),
        ("covered_minutes", -1),
    ],
)
def test_conditions_out_of_range_are_refused(key: str, value: object) -> None:
    with pytest.raises(ValidationError, match=key):
        Conditions.model_validate({key: value})


def test_record_holds_no_minus_zero_and_few_digits(measure: Measure) -> None:
    text = measure("no").summary.to_json()
    assert "-0.0," not in text
    document = json.loads(text)
    for interval in (document["habitual"]["tilt_deg"], document["habitual"]["chin_deg"]):
        assert all(round(interval[k], 2) == interval[k] for k in ("value", "low", "high"))
