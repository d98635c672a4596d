"""The command line: a thin face on `posture.measure`; no arithmetic."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any, cast, get_args

import click

from posture import __version__
from posture.conventions import Mirrored
from posture.errors import ClipError, ConditionsError, PostureError, missing_library_error

EXIT_OTHER, EXIT_ARGUMENTS, EXIT_UNREADABLE = 1, 2, 3

DEMO_FOLDER = Path("posture-demo")


class _Commands(click.Group):
    """Turns this package's errors into one line and an exit status."""

    def invoke(self, context: click.Context) -> Any:
        try:
            return super().invoke(context)
        except ConditionsError as error:
            click.echo(f"posture: {error}", err=True)
            context.exit(EXIT_ARGUMENTS)
        except PostureError as error:
            click.echo(f"posture: {error}", err=True)
            context.exit(EXIT_OTHER)
        except (ImportError, OSError) as error:
            missing = missing_library_error(error)
            if missing is None:
                raise
            click.echo(f"posture: {missing}", err=True)
            context.exit(EXIT_OTHER)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 120})
@click.version_option(__version__, prog_name="posture")
def main() -> None:
    """Measure a child's habitual head posture from ordinary video. A screening aid, not a diagnosis."""


@main.command()
@click.argument("clips", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--out", "folder", required=True, type=click.Path(path_type=Path, file_okay=False), help="Folder for the results."
)
@click.option("--mirrored", type=click.Choice(get_args(Mirrored)), default="unknown", show_default=True)
@click.option("--upright", default="as-filmed", show_default=True, metavar="as-filmed|DEGREES",
              help="Roll of the file as stored, + when the picture is turned counter-clockwise.")  # fmt: skip
@click.option("--pitch", type=click.FloatRange(-60, 60), help="Degrees, + when the camera looks down.")
@click.option("--focal-px", type=click.FloatRange(1, 1e6), help="Focal length in pixels of the upright picture.")
@click.option("--view-deg", type=click.FloatRange(5, 170), help="Angle of view across the longer side.")
@click.option("--every", "every_s", type=click.FloatRange(0, 3600), metavar="SECONDS",
              help="Least time between pictures analysed; 0 is every one. About 15 a second if not given.")  # fmt: skip
@click.option("--conditions", "conditions_file", type=click.Path(path_type=Path, dir_okay=False, exists=True),
              help="JSON file that says how it was filmed.")  # fmt: skip
@click.option("--label", help="A code for the record, never a name.")
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON, one object a line.")
def measure(
    clips: tuple[Path, ...],
    folder: Path,
    mirrored: Mirrored,
    upright: str,
    pitch: float | None,
    focal_px: float | None,
    view_deg: float | None,
    every_s: float | None,
    conditions_file: Path | None,
    label: str | None,
    as_json: bool,
) -> None:
    """Measure CLIPS (videos or photographs); write a track and a summary of each into the folder."""
    if focal_px is not None and view_deg is not None:
        raise click.UsageError("Expected --focal-px or --view-deg; both came. Give the one that you know.")
    roll = _roll(upright)

    from posture import measure as measuring
    from posture.summary.words import result_sentences

    settings = measuring.Settings(
        mirrored, roll, pitch, focal_px, view_deg, measuring.DEFAULT_EVERY_S if every_s is None else every_s
    )
    conditions = measuring.read_conditions(conditions_file) if conditions_file else None
    unreadable = False
    for number, clip in enumerate(clips, 1):
        try:
            with _bar(f"clip {number} of {len(clips)}") as advance:
                measured = measuring.measure_clip(clip, settings, conditions, label, lambda frame, seen, share: advance(share))
        except ClipError as error:
            click.echo(f"posture: {error}", err=True)
            unreadable = True
            continue
        paths = measured.save(folder, clip.stem)
        if as_json:
            click.echo(measured.summary.model_dump_json(by_alias=True))
        else:
            click.echo("\n".join(["", *result_sentences(measured.summary), f"Written: {paths[1]}"]).lstrip("\n"))
    if unreadable:
        sys.exit(EXIT_UNREADABLE)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def sample(folder: Path) -> None:
    """Write the sample clips (an invented, drawn child) and their truth into FOLDER."""
    from posture.samples import write_samples

    with _bar("drawing the samples") as advance:
        paths = write_samples(folder, on_progress=lambda name, share: advance(share))
    for path in paths:
        click.echo(path)


@main.command()
@click.option("--out", "folder", type=click.Path(path_type=Path, file_okay=False), default=DEMO_FOLDER, show_default=True)
def demo(folder: Path) -> None:
    """Do the whole job on the sample clips, offline, ending in a folder of results."""
    from posture.demo import run_demo

    with _bar("demo") as advance:
        found = run_demo(folder, advance)
    click.echo("\n".join(found.sentences))
    click.echo(f"Results: {folder.resolve()}")
    click.echo(f"Begin with: {found.page.resolve()}")


@main.command()
@click.option("--port", type=click.IntRange(1, 65535), default=8501, show_default=True)
def page(port: int) -> None:
    """Start the page on 127.0.0.1."""
    import_module("posture.measure")  # A missing system library is told here, not in the browser.

    from posture.page.start import start_page

    start_page(port)


def _roll(upright: str) -> float | None:
    """The roll that --upright states; None for as filmed."""
    if upright == "as-filmed":
        return None
    try:
        roll = float(upright)
    except ValueError:
        roll = float("nan")
    if not -180 <= roll <= 180:
        raise click.UsageError(f"Expected --upright as-filmed or degrees from -180 to 180; '{upright}' came.")
    return roll


@contextlib.contextmanager
def _bar(text: str) -> Iterator[Callable[[float | None], None]]:
    """A progress bar on a terminal, nothing elsewhere; the library's own log lines are kept off the terminal."""
    from rich.console import Console
    from rich.progress import Progress

    with _native_silence() as stderr:
        console = Console(file=stderr)
        with Progress(console=console, disable=not stderr.isatty(), transient=True) as progress:
            task = progress.add_task(text, total=None)

            def advance(share: float | None) -> None:
                if share is not None:
                    progress.update(task, completed=share, total=1.0)

            yield advance


@contextlib.contextmanager
def _native_silence() -> Iterator[Any]:
    """Keep what native libraries log out of the way; Python's own errors still reach the terminal through the file given."""
    sys.stderr.flush()
    try:
        kept = os.dup(2)
    except OSError:
        yield sys.stderr
        return
    terminal = os.fdopen(os.dup(kept), "w", buffering=1)
    nothing = os.open(os.devnull, os.O_WRONLY)
    before = sys.stderr
    try:
        os.dup2(nothing, 2)
        sys.stderr = cast(Any, terminal)
        yield terminal
    finally:
        sys.stderr = before
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nothing)
        terminal.close()


if __name__ == "__main__":
    main()
