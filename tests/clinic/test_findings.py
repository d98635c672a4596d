"""Findings as a file: what may stand in it, what is said when it may not, and the schema that ships."""

import json
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import ValidationError

from posture.clinic.findings import (
    RED_FLAGS_SOON,
    RED_FLAGS_TODAY,
    Findings,
    FlagSoon,
    FlagToday,
    flag_words,
    read_findings,
)
from posture.clinic.schema import SCHEMAS, shipped_schema
from posture.errors import FindingsError, PostureError
from posture.summary.schema import schema_text
from tests.clinic.clips import summary_of
from tests.clinic.mirror import mirror_findings

FULL: dict[str, Any] = {
    "age_months": 70,
    "onset": "childhood",
    "neck_safe": True,
    "red_flags": [],
    "trauma": False,
    "loss_of_consciousness": False,
    "hypertropia_pd": {"primary": 12, "gaze_right": 6, "gaze_left": 20.5, "tilt_right": 18, "tilt_left": 2, "supine": 11},
    "hypertropia_method": "alternate prism cover",
    "torsion_deg": {"right_eye": 6, "left_eye": -0.5},
    "v_pattern_pd": 12,
    "cover": {"left_eye": {"tilt_deg": {"value": -3, "low": -6, "high": 0}, "minutes": 30}},
    "neck_range_deg": {"tilt_right": 60, "tilt_left": 55, "turn_right": 80, "turn_left": 80, "passive": False},
    "neck_band_or_mass": "none",
    "asleep": "goes",
    "lying_awake": "stays",
    "fixing_eye": "left",
    "va_logmar": {"right": 0.1, "left": 0},
    "stereo": 120,
    "nystagmus": "none",
    "previous_eye_surgery": False,
    "glasses_effect": "less",
    "hearing_loss_side": "none",
    "feeding_related": False,
    "attacks": False,
}
CONTRACT = set(FULL)


def write(folder: Path, document: Any) -> Path:
    path = folder / "findings.json"
    path.write_text(document if isinstance(document, str) else json.dumps(document), encoding="utf-8")
    return path


def test_every_key_of_the_contract_is_read_and_none_is_needed(tmp_path: Path) -> None:
    assert set(Findings.model_fields) == CONTRACT
    full = read_findings(write(tmp_path, FULL))
    assert full.hypertropia_pd is not None
    assert full.hypertropia_pd.gaze_left == 20.5
    assert full.stereo == 120
    empty = read_findings(write(tmp_path, {}))
    assert all(value is None for _, value in empty)
    assert empty.red_flags is None
    assert full.red_flags == []


@pytest.mark.parametrize("stereo", [40, 0.5, "none", None])
def test_stereo_is_seconds_of_arc_or_none(tmp_path: Path, stereo: object) -> None:
    assert read_findings(write(tmp_path, {"stereo": stereo})).stereo == stereo


@pytest.mark.parametrize(
    ("document", "message"),
    [
        ({"onset": "old"}, "'onset' came as \"old\"; it holds 'infancy' or 'childhood' or 'new'"),
        ({"neck_safe": "yes"}, "'neck_safe' came as \"yes\"; it holds true or false"),
        ({"neck_safe": 1}, "'neck_safe' came as 1; it holds true or false"),
        ({"red_flags": ["headache", "hedache"]}, r"'red_flags\.1' came as \"hedache\"; it holds 'headache' or 'vomiting'"),
        ({"red_flags": "headache"}, "'red_flags' came as \"headache\"; it holds a list of 'headache'"),
        (
            {"hypertropia_pd": {"primary": "12"}},
            r"'hypertropia_pd\.primary' came as \"12\"; it holds a number from -100 to 100",
        ),
        ({"hypertropia_pd": {"primary": 1200}}, r"'hypertropia_pd\.primary' came as 1200; it holds a number from -100 to 100"),
        ({"hypertropia_pd": 12}, "'hypertropia_pd' came as 12; it holds an object with keys of primary, gaze_right"),
        ({"age_months": 7.5}, r"'age_months' came as 7\.5; it holds a whole number from 0 to 1500"),
        ({"age_months": True}, "'age_months' came as true; it holds a whole number"),
        ({"stereo": "some"}, "'stereo' came as \"some\"; it holds a number from 0 to 10000 or 'none'"),
        ({"hypertropia": 12}, "there is no key 'hypertropia'. Did you mean 'hypertropia_pd'\\?"),
        (
            {"neck_range_deg": {"tilt_rihgt": 3}},
            r"no key 'neck_range_deg\.tilt_rihgt'\. Did you mean 'tilt_right'\?.*turn_left",
        ),
        ({"neck_range_deg": {"tilt_right": -3}}, r"'neck_range_deg\.tilt_right' came as -3; it holds a number from 0 to 180"),
        (
            {"cover": {"left_eye": {"tilt_deg": {"value": 1, "low": 0}}}},
            r"'cover\.left_eye\.tilt_deg\.high' is missing. It holds a n",
        ),
        (
            {"cover": {"left_eye": {"tilt_deg": {"value": 1, "low": 2, "high": 3}}}},
            r"'cover\.left_eye' came as .* low <= value <= hi",
        ),
        (
            {"cover": {"left_eye": {"tilt_deg": {"value": 1, "low": 0, "high": 3}, "summary": "a.summary.json"}}},
            "'tilt_deg' or 'summary', not both",
        ),
        ("[1]", r"JSON object of findings in 'findings\.json'; \[1\] came"),
        ("{", "cannot be read as one"),
        ('{"trauma": true, "trauma": false}', "the key 'trauma' stands twice"),
        ('{"v_pattern_pd": NaN}', "'v_pattern_pd' came as NaN; it holds a number from -100 to 100"),
    ],
)
def test_wrong_findings_are_said_by_key_value_and_what_may_stand_there(tmp_path: Path, document: Any, message: str) -> None:
    with pytest.raises(FindingsError, match=message):
        read_findings(write(tmp_path, document))


def test_error_is_one_of_ours(tmp_path: Path) -> None:
    assert issubclass(FindingsError, PostureError)
    assert issubclass(FindingsError, ValueError)
    with pytest.raises(FindingsError, match="cannot be read as one"):
        read_findings(tmp_path / "absent.json")


def test_a_file_saved_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    path = tmp_path / "findings.json"
    path.write_bytes(b"\xef\xbb\xbf" + json.dumps({"onset": "new"}).encode())
    assert read_findings(path).onset == "new"


def test_red_flags_are_those_of_the_contract_in_plain_words() -> None:
    assert tuple(RED_FLAGS_TODAY) == get_args(FlagToday)
    assert tuple(RED_FLAGS_SOON) == get_args(FlagSoon)
    assert len(RED_FLAGS_TODAY) == 19
    assert len(RED_FLAGS_SOON) == 7
    words = [*RED_FLAGS_TODAY.values(), *RED_FLAGS_SOON.values()]
    assert len(set(words)) == len(words)
    assert all("_" not in said for said in words)
    assert flag_words("drug") == "a drug that can cause dystonia"
    with pytest.raises(KeyError):
        flag_words("tiredness")


def test_findings_do_not_change() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        Findings().onset = "new"


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_shipped_schemas_are_those_of_the_records(name: str) -> None:
    assert shipped_schema(name) == schema_text(*SCHEMAS[name])


def test_findings_are_as_the_shipped_schema_says() -> None:
    jsonschema = pytest.importorskip("jsonschema")
    checker = jsonschema.Draft202012Validator(json.loads(shipped_schema("findings-1.schema.json")))
    checker.validate(FULL)
    checker.validate({})
    assert list(checker.iter_errors(FULL | {"extra": 1}))
    assert list(checker.iter_errors({"red_flags": ["tiredness"]}))
    assert list(checker.iter_errors({"hypertropia_pd": {"primary": 1200}}))


def test_mirroring_twice_gives_the_same_findings() -> None:
    findings = Findings(**FULL)
    once = mirror_findings(findings)
    assert mirror_findings(once) == findings
    assert once.hypertropia_pd is not None
    assert once.hypertropia_pd.tilt_left == -18
    assert once.fixing_eye == "right"


@pytest.mark.parametrize("minutes", [None, 45])
def test_tilt_under_cover_is_read_from_the_summary(tmp_path: Path, minutes: int | None) -> None:
    clip = summary_of(-14.0, covered_eye="left", covered_minutes=31)
    (tmp_path / "a.summary.json").write_text(clip.to_json(), encoding="utf-8")
    named = {"summary": "a.summary.json"} | ({} if minutes is None else {"minutes": minutes})
    cover = read_findings(write(tmp_path, {"cover": {"left_eye": named}})).cover
    assert cover is not None
    assert cover.right_eye is None
    assert cover.left_eye is not None
    assert cover.left_eye.summary is None
    assert cover.left_eye.minutes == (31 if minutes is None else minutes)
    assert cover.left_eye.tilt_deg is not None
    assert (cover.left_eye.tilt_deg.value, cover.left_eye.tilt_deg.low) == (-14.0, -16.0)


@pytest.mark.parametrize(
    ("kind", "covered_eye", "message"),
    [
        ("one", "right", r"left eye covered at 'cover\.left_eye\.summary'.*says 'right'"),
        ("one", "none", "says 'none'"),
        ("unsided", "left", "a settled side"),
        ("two", "left", "a habitual tilt"),
    ],
)
def test_summary_that_cannot_be_the_cover_is_refused(tmp_path: Path, kind: str, covered_eye: Any, message: str) -> None:
    clip = summary_of(kind=kind, covered_eye=covered_eye)
    (tmp_path / "a.summary.json").write_text(clip.to_json(), encoding="utf-8")
    with pytest.raises(FindingsError, match=message):
        read_findings(write(tmp_path, {"cover": {"left_eye": {"summary": "a.summary.json"}}}))


def test_summary_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FindingsError, match=r"'b\.json' is none. Give a file that ends in\s+\.summary\.json"):
        read_findings(write(tmp_path, {"cover": {"right_eye": {"summary": "b.json"}}}))
