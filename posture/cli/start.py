"""`posture sample`, `posture demo` and `posture page`."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

import click

from posture.cli.group import main
from posture.terminal import bar

DEMO_FOLDER = Path("posture-demo")


@main.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def sample(folder: Path) -> None:
    """Write the sample clips (an invented, drawn child) and their truth into FOLDER."""
    from posture.samples import write_samples

    with bar("drawing the samples") as advance:
        paths = write_samples(folder, on_progress=lambda name, share: advance(share))
    for path in paths:
        click.echo(path)


@main.command()
@click.option("--out", "folder", type=click.Path(path_type=Path, file_okay=False), default=DEMO_FOLDER, show_default=True)
def demo(folder: Path) -> None:
    """Do the whole job on the sample clips, offline, ending in a folder of results."""
    from posture.demo import run_demo

    with bar("demo") as advance:
        found = run_demo(folder, advance)
    click.echo("\n".join(found.sentences))
    click.echo(f"Results: {folder.resolve()}")
    click.echo(f"Begin with: {found.page.resolve()}")


@main.command()
@click.option("--port", type=click.IntRange(1, 65535), default=8501, show_default=True)
@click.option("--records", "records_file", type=click.Path(path_type=Path, dir_okay=False),
              help="The file of records, if not the one in its usual place; made when something is kept.")  # fmt: skip
def page(port: int, records_file: Path | None) -> None:
    """Start the page on 127.0.0.1."""
    import_module("posture.measure")  # A missing system library is told here, not in the browser.

    from posture.page.start import start_page

    start_page(port, records_file)
