"""`posture family`: old films and photographs of one child, over the years."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from posture.cli.group import EXIT_OTHER, EXIT_UNREADABLE, main
from posture.cli.measure import MAX_WORKERS
from posture.errors import ClipError, DateError
from posture.terminal import bar

if TYPE_CHECKING:  # What a command needs is loaded when it runs.
    from posture.family.course import FamilyCourse
    from posture.family.items import FamilyItem

RESULTS = "results"
"""Folder for the results of each film, beside the course."""

TEXT_NAME, FIGURE_NAME = "course.txt", "course"

FILL_IN = (
    "Look at each film and fill in the list: mirrored (yes or no), posed for photographs, person where there are several, is_the_child"
    " where it is asked, and dates that are missing. Then give the same command again: nothing is measured twice."
)

HOLDS_NAMES = "The list holds the names of the files: keep it with the films, and never in the notes."


@main.command()
@click.argument("films", metavar="FOLDER", type=click.Path(path_type=Path))
@click.option("--out", "folder", required=True, type=click.Path(path_type=Path, file_okay=False),
              help="Folder for the list, the course and the results.")  # fmt: skip
@click.option("--born", metavar="YYYY-MM", help="Month and year of birth: the course is then by age.")
@click.option("--list", "list_file", type=click.Path(path_type=Path, dir_okay=False, exists=True), metavar="FILE.csv",
              help="What is known of the files, as in family.csv; that in the --out folder is taken if none is given.")  # fmt: skip
@click.option("--workers", type=click.IntRange(1, MAX_WORKERS), default=1, show_default=True, help="Films measured at a time.")
@click.option("--again", is_flag=True, help="Measure all anew, and compare all faces anew.")
def family(films: Path, folder: Path, born: str | None, list_file: Path | None, workers: int, again: bool) -> None:
    """Measure the films and photographs of one child in FOLDER; write a list to be filled in, and the tilt over the years.

    A film whose face does not look like that in most of the others does not count until somebody looked; nobody is identified, and what
    a face looks like is not kept. The results hold no names of files; those that are shown here are for your eyes.
    """
    from posture.batch.children import get_ready

    with bar("films and photographs") as advance:
        get_ready()  # The children's libraries load beside our own.
        from posture.clinic.dates import parse_when
        from posture.family.course import family_course
        from posture.family.listing import LIST_NAME, Listed, files_in, read_list
        from posture.family.measuring import measure_family

        files = files_in(films)
        if films.resolve() in (folder.resolve(), (folder / RESULTS).resolve()):
            raise click.UsageError("Expected another folder as --out than that of the films; the same came. Give a new one.")
        try:
            birth = parse_when(born) if born else None
        except DateError as error:
            raise click.UsageError(str(error)) from error
        own = folder / LIST_NAME
        read_from = list_file or (own if own.is_file() else None)
        listed = read_list(read_from, files, birth) if read_from else [Listed(file) for file in files]
        shares: dict[int, float] = {}

        def on_progress(number: int, share: float | None) -> None:
            shares[number] = shares.get(number, 0.0) if share is None else share
            advance(sum(shares.values()) / len(listed))

        try:
            items = measure_family(listed, folder / RESULTS, born=born, workers=workers, again=again, on_progress=on_progress)
        except KeyboardInterrupt:
            click.echo("posture: stopped; what is done is kept. The same command goes on from there.", err=True)
            sys.exit(EXIT_OTHER)
        done = family_course(items)
        _write(done, items, folder, own, read_from)
    _show(done, items, folder)
    errors = [item.error for item in items if item.error]
    if errors:
        sys.exit(EXIT_UNREADABLE if all(isinstance(error, ClipError) for error in errors) else EXIT_OTHER)


def _write(done: FamilyCourse, items: Sequence[FamilyItem], folder: Path, own: Path, read_from: Path | None) -> None:
    """Write the course as words and figure, and the list where there is none yet or where files are missing in it."""
    from posture.family.course import family_lines
    from posture.family.listing import files_listed, write_list
    from posture.report.course import draw_course
    from posture.report.style import png_bytes, svg_text
    from posture.summary.files import write_whole, write_whole_bytes

    write_whole(folder / TEXT_NAME, "\n\n".join(family_lines(done)) + "\n")
    figure = draw_course(done.course)
    write_whole_bytes(folder / f"{FIGURE_NAME}.png", png_bytes(figure))
    write_whole(folder / f"{FIGURE_NAME}.svg", svg_text(figure, "course") + "\n")
    is_theirs = read_from is not None and read_from.resolve() != own.resolve()
    names = {item.listed.path.name for item in items}
    if not is_theirs and not (own.is_file() and names <= files_listed(own)):
        write_list(own, [item.listed for item in items], {item.listed.path: _found(item) for item in items})


def _found(item: FamilyItem) -> dict[str, str]:
    """What was found out of a file, for the list."""
    if item.summary is None:
        return {}
    on = {"filmed_on": item.filmed_on, "date_from": item.filmed_on_source or ""} if item.filmed_on else {}
    face = item.doubt.verdict if item.doubt is not None and item.doubt.must_confirm else ""
    return {"kind": item.kind, "persons": str(item.persons), "face": face, **on}


def _show(done: FamilyCourse, items: Sequence[FamilyItem], folder: Path) -> None:
    """Print which file is which, what the course says, and what to do."""
    from posture.batch.table import printable
    from posture.family.course import family_lines, say_tilt
    from posture.family.listing import LIST_NAME

    for item in items:
        name = printable(item.listed.path.name)
        if item.error is not None:
            click.echo("\n".join([f"posture: {printable(str(item.error))}", *getattr(item.error, "__notes__", ())]), err=True)
        click.echo(f"{item.sha256[:8] or 'no hash':<8}  {name}: {say_tilt(item)}")
    click.echo("")
    for line in family_lines(done):
        click.echo(printable(line))
    click.echo(f"\n{FILL_IN}\n{HOLDS_NAMES}")
    for name in (LIST_NAME, TEXT_NAME, f"{FIGURE_NAME}.png", f"{FIGURE_NAME}.svg"):
        if (folder / name).is_file():
            click.echo(f"Written: {printable(str(folder / name))}")
