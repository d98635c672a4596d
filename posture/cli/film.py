"""`posture film`: record from a local camera, with the prompts of an examination on the terminal."""

from __future__ import annotations

import queue
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from posture.cli.group import EXIT_OTHER, Number, main

if TYPE_CHECKING:
    from posture.filming.camera import Camera
    from posture.filming.session import Filmed
    from posture.filming.steps import Step

MOST_MINUTES = 30

ALL = "all"


@main.command()
@click.option("--out", "path", required=True, type=click.Path(path_type=Path, dir_okay=False),
              help="File to write, such as clip.mkv; its marks go beside it.")  # fmt: skip
@click.option("--minutes", type=Number(0.05, MOST_MINUTES), default=3, show_default=True, help="Longest film, pauses left out.")
@click.option("--steps", "steps_text", default="", metavar="STEP,...",
              help="Steps of an examination in their order, or all; see `posture film --list`. Without it, one clip.")  # fmt: skip
@click.option("--camera", "number", type=click.IntRange(0, 63), default=0, show_default=True, help="Which camera.")
@click.option("--size", default="1280x720", show_default=True, help="Picture asked of the camera.")
@click.option("--list", "lists", is_flag=True, is_eager=True, expose_value=False, callback=lambda c, p, v: _list(c, v),
              help="List the steps and end.")  # fmt: skip
@click.option("--from-file", "source", type=click.Path(path_type=Path, dir_okay=False, exists=True),
              help="A film in the place of the camera, to try it out.")  # fmt: skip
def film(path: Path, minutes: float, steps_text: str, number: int, size: str, source: Path | None) -> None:
    """Film from a camera of this computer. Pictures are as the camera gives them, not mirrored.

    While it films: Enter goes on, s and Enter skips, q and Enter ends.
    """
    width, height = _size(size)
    marks_path = path.with_suffix(".marks.json")
    if marks_path.exists():
        raise click.UsageError(f"Expected a new file; '{marks_path.name}' is there already. Choose another name.")
    steps = _steps(steps_text)

    from posture.filming.camera import FileCamera, FilmWriter, LocalCamera
    from posture.filming.marks import marks_text
    from posture.filming.session import Session
    from posture.summary.files import write_whole

    def keep(filmed: Filmed) -> None:
        write_whole(marks_path, marks_text(filmed.marks, length_s=round(filmed.length_s, 2), notes=filmed.notes))

    camera: Camera = FileCamera(source) if source else LocalCamera(number, width, height)
    try:
        with FilmWriter(path) as writer:
            session = Session(camera, writer, _typed(), click.echo, _counter(), 60 * minutes, keep)
            click.echo("Filming. Enter: stop." if not steps else f"{len(steps)} steps.")
            filmed = session.film(steps)
    finally:
        camera.close()
    keep(filmed)
    click.echo(f"Written: {path} ({filmed.length_s:.0f} s) and {marks_path}")
    how = f"--marks {marks_path}" if filmed.marks else "--mirrored no"
    click.echo(f"Not mirrored: posture measure {path} {how} --out DIR")
    if filmed.notes:
        sys.exit(EXIT_OTHER)


def _list(context: click.Context, wanted: bool) -> None:
    """Print the steps."""
    if not wanted or context.resilient_parsing:
        return
    from posture.filming.steps import PLAN, STEPS

    for step in STEPS.values():
        click.echo(f"{step.key:12} {step.title}: {step.instruction}")
    click.echo(f"all: {','.join(PLAN)}")
    context.exit()


def _size(text: str) -> tuple[int, int]:
    """Width and height."""
    parts = text.lower().split("x")
    if len(parts) != 2 or not all(part.isdigit() and 0 < int(part) <= 10_000 for part in parts):
        raise click.UsageError(f"Expected --size such as 1280x720; '{text}' came.")
    return int(parts[0]), int(parts[1])


def _steps(text: str) -> tuple[Step, ...]:
    """The steps that may be done; the neck screen is asked first where one of them needs it."""
    if not text.strip():
        return ()
    from posture.clinic.urgency import NECK_SCREEN
    from posture.filming.steps import PLAN, offered, step_named

    keys = PLAN if text.strip() == ALL else [part.strip() for part in text.split(",") if part.strip()]
    screen: dict[str, bool | None] = {}
    if any(step_named(key).needs_neck_screen or step_named(key).moves_head for key in keys):
        click.echo("Before the neck is moved. y: yes, n: no; Enter alone counts as not asked.")
        for line, words in NECK_SCREEN.items():
            answer = click.prompt(f"  {words[0].upper()}{words[1:]}", default="", show_default=False).strip().lower()
            screen[line] = {"y": True, "yes": True, "n": False, "no": False}.get(answer)
    found = offered(keys, screen)
    if found.why:
        click.echo(found.why)
    if not found.steps:
        raise click.UsageError("Expected at least one step that may be done; none is left. Film one clip without --steps.")
    return found.steps


def _typed() -> Callable[[], str | None]:
    """Lines as they are typed, read in a thread: looking for one takes no time."""
    lines: queue.SimpleQueue[str] = queue.SimpleQueue()

    def listen() -> None:
        for line in sys.stdin:
            lines.put(line.strip().lower())

    threading.Thread(target=listen, name="keys", daemon=True).start()

    def keys() -> str | None:
        try:
            return lines.get_nowait()
        except queue.Empty:
            return None

    return keys


def _counter() -> Callable[[str, float], None]:
    """Shows the seconds left, in one line of a terminal and nowhere else."""

    def count(what: str, left_s: float) -> None:
        if sys.stderr.isatty():
            whole = round(left_s)
            click.echo(f"\r{what}: {whole // 60}:{whole % 60:02d}   ", nl=False, err=True)

    return count
