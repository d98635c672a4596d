"""`posture compare`: what changed between two measured clips of one child, and whether by more than chance."""

from __future__ import annotations

from pathlib import Path

import click

from posture.cli.group import main


@main.command()
@click.argument("before", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@click.argument("after", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@click.option("--json", "as_json", is_flag=True, help="Print the change as JSON; its schema ships in posture/clinic/schemas.")
def compare(before: Path, after: Path, as_json: bool) -> None:
    """Compare two measured clips of one child, BEFORE and AFTER: summary files as measure writes them. A measurement, no cause."""
    from posture.clinic.change import change_sentences
    from posture.clinic.change import compare as compare_summaries
    from posture.summary.files import read_summary

    change = compare_summaries([read_summary(before)], [read_summary(after)])
    click.echo(change.to_json().rstrip() if as_json else "\n".join(change_sentences(change)))
