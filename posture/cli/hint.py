"""`posture hint`: measured clips beside the suspected side and the examination."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from posture.cli.group import main


@main.command()
@click.argument("summaries", nargs=-1, required=True, type=click.Path(path_type=Path, dir_okay=False, exists=True))
@click.option("--suspected", required=True, type=click.Choice(["right", "left", "both", "unknown"]),
              help="Side of the weak muscle that is suspected.")  # fmt: skip
@click.option("--findings", "findings_file", type=click.Path(path_type=Path, dir_okay=False, exists=True),
              help="JSON file of what the examination showed; its schema ships in posture/clinic/schemas.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print the hint as JSON.")
def hint(
    summaries: tuple[Path, ...],
    suspected: Literal["right", "left", "both", "unknown"],
    findings_file: Path | None,
    as_json: bool,
) -> None:
    """Lay measured clips of one child beside the suspected side and the examination. A screening hint, no diagnosis.

    SUMMARIES are files that measure wrote: summaries, and what was asked in a clip (.examination.json).
    """
    from posture.clinic.examination import is_examination, read_examination
    from posture.clinic.findings import Findings, read_findings
    from posture.clinic.hint import hint_of, hint_sentences
    from posture.summary.files import read_summary

    findings = read_findings(findings_file) if findings_file else Findings()
    asked = [path for path in summaries if is_examination(path)]
    measured = [read_summary(path) for path in summaries if path not in asked]
    found = hint_of(measured, suspected, findings, [read_examination(path) for path in asked])
    click.echo(found.to_json().rstrip() if as_json else "\n".join(hint_sentences(found)))
