"""`posture compare` as a user runs it: words, JSON by its schema, unlike pairs, one clear line for a bad file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result

from posture.cli import main
from posture.clinic.change import change_sentences, compare
from posture.clinic.schema import shipped_schema
from tests.clinic.clips import summary_of


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["compare", *map(str, arguments)])


def written(folder: Path, name: str, tilt: float, kind: str = "one", **conditions: Any) -> Path:
    path = folder / f"{name}.summary.json"
    path.write_text(summary_of(tilt, kind=kind, **conditions).to_json(), encoding="utf-8")
    return path


def test_compare_in_words(tmp_path: Path) -> None:
    done = run(written(tmp_path, "before", -14.0), written(tmp_path, "after", -4.0))
    assert done.exit_code == 0, done.output
    assert done.output.splitlines() == change_sentences(compare([summary_of(-14.0)], [summary_of(-4.0)]))
    assert done.output.startswith("Tilt: from 14 degrees to the child's left shoulder to 4 degrees")


def test_compare_as_json_is_one_object_of_the_shipped_schema(tmp_path: Path) -> None:
    done = run(written(tmp_path, "before", -14.0), written(tmp_path, "after", 9.0), "--json")
    told = json.loads(done.output)
    assert told["schema"] == "posture.change/1"
    assert told["residual_tilt"] == "reversed"
    assert told["tilt_deg"]["real"] is True
    checker = jsonschema.Draft202012Validator(json.loads(shipped_schema("change-1.schema.json")))
    assert list(checker.iter_errors(told)) == []


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ({"position": "sitting"}, {"position": "standing"}),
        ({}, {"covered_eye": "left"}),
        ({"kind": "unsided"}, {}),
        ({}, {"kind": "two"}),
    ],
)
def test_unlike_files_have_no_verdict(tmp_path: Path, before: dict[str, Any], after: dict[str, Any]) -> None:
    done = run(written(tmp_path, "before", -14.0, **before), written(tmp_path, "after", 9.0, **after), "--json")
    told = json.loads(done.output)
    assert [told[name]["real"] for name in ("tilt_deg", "turn_deg", "chin_deg")] == [None, None, None]
    assert told["cautions"][0].startswith("No verdict on a change: ")


@pytest.mark.parametrize("text", ["{}", "not JSON", '{"schema": "posture.summary/1"}'])
def test_a_bad_file_is_one_clear_line_and_status_2(tmp_path: Path, text: str) -> None:
    good, bad = written(tmp_path, "good", -14.0), tmp_path / "bad.summary.json"
    bad.write_text(text, encoding="utf-8")
    done = run(good, bad)
    assert done.exit_code == 2
    assert done.output.strip() == (
        "posture: Expected the summary of a clip; 'bad.summary.json' is none. Give a file that ends in .summary.json, as measure"
        " writes it."
    )


def test_two_files_are_needed(tmp_path: Path) -> None:
    assert run(written(tmp_path, "before", -14.0)).exit_code == 2
    assert run(written(tmp_path, "before", -14.0), tmp_path / "none.summary.json").exit_code == 2
