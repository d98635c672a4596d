"""`posture hint` as a user runs it: words, JSON by its schema, one clear line for a bad file."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result

from posture.cli import main
from posture.clinic.schema import shipped_schema
from tests.clinic.clips import summary_of


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    """The summary of a child that holds the head 14 degrees to the left shoulder."""
    path = tmp_path / "clip.summary.json"
    path.write_text(summary_of(-14.0).to_json(), encoding="utf-8")
    return path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["hint", *map(str, arguments)])


def findings_file(folder: Path, **values: object) -> Path:
    path = folder / "findings.json"
    path.write_text(json.dumps(values), encoding="utf-8")
    return path


def test_hint_in_words_says_first_what_was_not_asked(clip: Path) -> None:
    done = run(clip, "--suspected", "right")
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    assert lines[0] == "Red flags were not asked."
    assert "Evidence:" in lines
    assert "14 degrees to the child's left shoulder" in done.output


def test_hint_as_json_is_one_object_of_the_shipped_schema(clip: Path) -> None:
    done = run(clip, "--suspected", "right", "--json")
    told = json.loads(done.output)
    assert told["schema"] == "posture.hint/1"
    checker = jsonschema.Draft202012Validator(json.loads(shipped_schema("hint-1.schema.json")))
    assert list(checker.iter_errors(told)) == []


def test_findings_reach_the_hint(clip: Path, tmp_path: Path) -> None:
    vertical = {"primary": 12, "gaze_right": 4, "gaze_left": 18, "tilt_right": 20, "tilt_left": 3}
    findings = findings_file(
        tmp_path,
        red_flags=[],
        neck_safe=True,
        onset="childhood",
        hypertropia_pd=vertical,
        hypertropia_method="alternate prism cover",
    )
    told = json.loads(run(clip, "--suspected", "right", "--findings", findings, "--json").output)
    assert (told["outcome"], told["side"], told["suspected"]) == ("eye-driven", "right", "agrees")
    other = json.loads(run(clip, "--suspected", "left", "--findings", findings, "--json").output)
    assert (other["side"], other["suspected"]) == ("right", "against")


def test_a_tilt_under_cover_is_read_beside_the_findings(clip: Path, tmp_path: Path) -> None:
    covered = tmp_path / "covered.summary.json"
    covered.write_text(summary_of(-1.0, covered_eye="right", covered_minutes=35).to_json(), encoding="utf-8")
    findings = findings_file(tmp_path, cover={"right_eye": {"summary": covered.name}})
    told = json.loads(run(clip, "--suspected", "right", "--findings", findings, "--json").output)
    assert any("cover" in line["finding"] for line in told["evidence"]), told["evidence"]


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("clip.summary.json", "{}", "Expected the summary of a clip; 'clip.summary.json' is none."),
        ("findings.json", '{"onset": "yesterday"}', "onset"),
        ("findings.json", '{"onsets": "new"}', "onsets"),
        ("findings.json", "not JSON", "findings.json"),
    ],
)
def test_a_bad_file_is_one_clear_line_and_status_2(clip: Path, tmp_path: Path, name: str, text: str, said: str) -> None:
    findings = findings_file(tmp_path)
    (tmp_path / name).write_text(text, encoding="utf-8")
    done = run(clip, "--suspected", "right", "--findings", findings)
    assert done.exit_code == 2
    assert len(done.output.strip().splitlines()) == 1
    assert said in done.output
    assert done.output.startswith("posture: Expected")


@pytest.mark.parametrize("arguments", [[], ["--suspected", "middle"]])
def test_the_suspected_side_must_be_said(clip: Path, arguments: list[str]) -> None:
    assert run(clip, *arguments).exit_code == 2
