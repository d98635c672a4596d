"""`posture report`: writes whole, says what is wrong, names no file in what it writes."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from posture.cli import main
from tests.report.made_notes import FULL, summary_of, text_of


@pytest.fixture
def summary_file(tmp_path: Path) -> Path:
    path = tmp_path / "anna-example.summary.json"
    path.write_text(summary_of().to_json(), encoding="utf-8")
    return path


def run(*arguments: object):
    return CliRunner().invoke(main, ["report", *map(str, arguments)])


def test_report_writes_the_page(summary_file: Path, tmp_path: Path) -> None:
    findings = tmp_path / "findings.json"
    findings.write_text(json.dumps(FULL), encoding="utf-8")
    out = tmp_path / "out" / "page.pdf"
    found = run(
        summary_file, "--out", out, "--suspected", "right", "--suspected-by", "the clinic", "--findings", findings, "--code", "K-0417",
        "--question", "Eye or neck?", "--examiner", "CD", "--estimate", "10 degrees", "--device", "a phone", "--born", "June 2023",
    )  # fmt: skip
    assert found.exit_code == 0, found.output
    assert found.output == f"Written: {out}\n"
    text = text_of(out.read_bytes())
    for words in ("Code: K-0417", "right superior oblique weak; suspected by: the clinic", "10 degrees (the examiner's own)"):
        assert words in text
    assert "The findings fit an eye-driven posture." in text
    assert "date of the file of the summary" in text
    assert "anna" not in text.lower()
    assert b"anna" not in out.read_bytes()


def test_report_prints_the_letter_alone_on_its_way_out(summary_file: Path, tmp_path: Path) -> None:
    found = run(summary_file, "--out", tmp_path / "page.pdf", "--letter")
    assert found.exit_code == 0
    assert found.stdout.startswith("Red flags were not asked. The head posture was measured from video")
    assert len(found.stdout.splitlines()) == 1
    assert found.stderr.startswith("Written: ")
    assert "anna" not in found.stdout


def test_report_writes_the_picture_and_the_document(summary_file: Path, tmp_path: Path) -> None:
    picture, document = tmp_path / "parents.png", tmp_path / "fhir.json"
    found = run(summary_file, "--out", tmp_path / "page.pdf", "--parent", picture, "--fhir", document, "--code", "K-0417")
    assert found.exit_code == 0, found.output
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert json.loads(document.read_text(encoding="utf-8"))["resourceType"] == "Bundle"
    assert "anna" not in document.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--out", "page.txt"], "Expected a file that ends in .pdf; 'page.txt' came."),
        ([], "Missing option '--out'"),
        (["--out", "page.pdf", "--fhir", "a.json"], "Expected --code with --fhir; none came."),
        (["--out", "page.pdf", "--suspected", "up"], "'up' is not one of"),
    ],
)
def test_report_refuses_wrong_arguments(
    summary_file: Path, arguments: list[str], said: str, monkeypatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    found = run(summary_file, *arguments)
    assert found.exit_code == 2
    assert said in found.output
    assert [path.name for path in tmp_path.iterdir()] == [summary_file.name]


def test_report_refuses_what_is_no_summary(tmp_path: Path) -> None:
    path = tmp_path / "x.summary.json"
    path.write_text("{}", encoding="utf-8")
    found = run(path, "--out", tmp_path / "page.pdf")
    assert found.exit_code == 2
    assert "Expected the summary of a clip; 'x.summary.json' is none." in found.output
    assert not (tmp_path / "page.pdf").exists()


def test_report_leaves_nothing_where_it_cannot_write(summary_file: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    found = run(summary_file, "--out", tmp_path / "file" / "page.pdf")
    assert found.exit_code == 1
    assert "Expected to write 'page.pdf'" in found.output
