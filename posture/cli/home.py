"""`posture sheet` and `posture home-check`: how to film at home, and whether a returned clip was filmed so."""

from __future__ import annotations

from pathlib import Path

import click

from posture.cli.group import main


@main.command()
@click.option("--out", "path", required=True, type=click.Path(path_type=Path, dir_okay=False), help="Page to write, FILE.pdf.")
def sheet(path: Path) -> None:
    """Write one page for the family: how to film at home."""
    if path.suffix.lower() != ".pdf":
        raise click.UsageError(f"Expected a page that ends in .pdf; '{path.name}' came.")
    from posture.report.home_sheet import home_sheet_bytes
    from posture.summary.files import write_whole_bytes

    write_whole_bytes(path, home_sheet_bytes())
    click.echo(f"Written: {path}")


@main.command("home-check")
@click.argument("summaries", nargs=-1, required=True, type=click.Path(path_type=Path, dir_okay=False, exists=True))
@click.option("--all", "says_all", is_flag=True, help="Also every single check.")
def home_check(summaries: tuple[Path, ...], says_all: bool) -> None:
    """Say in four lines whether clips that a family filmed can be used (SUMMARIES, as measure wrote them), and how to film better."""
    from posture.batch.table import printable
    from posture.filming.home_check import check_home_clip, home_lines, read_face_height_px
    from posture.summary.files import read_summary

    for path in summaries:
        summary = read_summary(path)
        checks = check_home_clip(summary, read_face_height_px(path))
        if len(summaries) > 1:
            click.echo(f"{printable(path.name)}:")
        click.echo("\n".join(home_lines(summary, checks)))
        if says_all:
            click.echo("\n".join(f"  {check.state:9} {check.name}: {check.text}" for check in checks))
