"""`posture report`: the page for the notes, the paragraph for the letter, the parents' picture and the FHIR document."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from posture.cli.group import main

if TYPE_CHECKING:
    from posture.report.notes import Notes


class _Ending(click.Path):
    """A file to write, with an ending that says what it is."""

    def __init__(self, ending: str) -> None:
        super().__init__(path_type=Path, dir_okay=False)
        self.ending = ending

    def convert(self, value: Any, parameter: click.Parameter | None, context: click.Context | None) -> Path:
        """Convert, see `click.ParamType`."""
        path = Path(str(super().convert(value, parameter, context)))
        if path.suffix.lower() != self.ending:
            self.fail(f"Expected a file that ends in {self.ending}; '{path.name}' came.", parameter, context)
        return path


@main.command()
@click.argument("summaries", nargs=-1, required=True, type=click.Path(path_type=Path, dir_okay=False, exists=True))
@click.option("--out", required=True, type=_Ending(".pdf"), help="The page for the notes, FILE.pdf.")
@click.option("--suspected", default="unknown", show_default=True, type=click.Choice(["right", "left", "both", "unknown"]),
              help="Side of the weak muscle that is suspected.")  # fmt: skip
@click.option("--suspected-by", help="Who suspects it.")
@click.option("--findings", "findings_file", type=click.Path(path_type=Path, dir_okay=False, exists=True),
              help="JSON file of what the examination showed; its schema ships in posture/clinic/schemas.")  # fmt: skip
@click.option("--code", help="The clinic's code of the person, never a name. Default: the label given when measuring.")
@click.option("--born", help="Month and year of birth, as it is to be printed.")
@click.option("--question", help="The question asked.")
@click.option("--examiner", help="Who examined.")
@click.option("--estimate", help="The examiner's own estimate of the posture, by eye.")
@click.option("--device", help="What filmed.")
@click.option("--letter", is_flag=True, help="Print a paragraph for the letter.")
@click.option("--parent", type=_Ending(".png"), help="Also a picture for the parents, FILE.png: the measurement only.")
@click.option("--fhir", type=_Ending(".json"), help="Also FHIR R4B Observations, FILE.json; needs --code and posture[fhir].")
def report(
    summaries: tuple[Path, ...],
    out: Path,
    suspected: Literal["right", "left", "both", "unknown"],
    suspected_by: str | None,
    findings_file: Path | None,
    code: str | None,
    letter: bool,
    parent: Path | None,
    fhir: Path | None,
    **words: str | None,
) -> None:
    """Write measured clips of one child (SUMMARIES, as measure wrote them) on one page for the notes."""
    from posture.report.letter import letter_paragraph
    from posture.report.paper import write_paper
    from posture.summary.files import write_whole, write_whole_bytes

    notes = _notes(summaries, suspected, findings_file, code, suspected_by=suspected_by, **words)
    if fhir and not notes.code:
        raise click.UsageError("Expected --code with --fhir; none came. Give the clinic's code of the person.")
    write_paper(notes, out)
    written = [out]
    if parent:
        from posture.report.parent import draw_parent
        from posture.report.style import png_bytes

        write_whole_bytes(parent, png_bytes(draw_parent(notes.main)))
        written.append(parent)
    if fhir:
        from posture.report.fhir import observations

        write_whole(fhir, json.dumps(observations(notes), indent=1, ensure_ascii=False, allow_nan=False) + "\n")
        written.append(fhir)
    if letter:
        click.echo(letter_paragraph(notes))
    for path in written:
        click.echo(f"Written: {path}", err=letter)


def _notes(
    files: tuple[Path, ...],
    suspected: Literal["right", "left", "both", "unknown"],
    findings_file: Path | None,
    code: str | None,
    *,
    estimate: str | None,
    **words: str | None,
) -> Notes:
    """What was given, read and laid beside the examination."""
    from posture.clinic.examination import is_examination, read_examination
    from posture.clinic.findings import Findings, read_findings
    from posture.clinic.hint import hint_of
    from posture.report.notes import Notes
    from posture.summary.files import read_summary

    asked = [path for path in files if is_examination(path)]
    measured = [path for path in files if path not in asked]
    if not measured:
        raise click.UsageError(
            "Expected at least one summary of a clip; only what was asked came. Give a .summary.json as well."
        )
    read = [read_summary(path) for path in measured]
    findings = read_findings(findings_file) if findings_file else Findings()
    hint = hint_of(read, suspected, findings, [read_examination(path) for path in asked])
    label = next((summary.clip.label for summary in read if summary.clip.label), None)
    day = datetime.fromtimestamp(measured[0].stat().st_mtime).date()
    return Notes(
        summaries=tuple(read),
        code=code or label,
        suspected=suspected,
        hint=hint,
        findings=findings,
        measured_on=f"{day} (date of the file of the summary)",
        eye_estimate=estimate,
        **words,  # type: ignore[arg-type]
    )
