"""What the command line shows while it works: bars on a terminal, lines above them, and nothing of what libraries log."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, cast

import click

if TYPE_CHECKING:  # Loaded when something is shown.
    from rich.progress import Progress, TaskID

    from posture.batch.clips import Outcome


class Bars:
    """A bar for each clip that is being measured, and one for all when there are several."""

    def __init__(self, progress: Progress, n: int) -> None:
        self._progress = progress
        self._tasks: dict[int, TaskID] = {}
        self._all = progress.add_task(f"{n} clips", total=n) if n > 1 else None
        self.kept: dict[int, bool] = {}

    def advance(self, number: int, share: float | None) -> None:
        """Show how far a clip is."""
        if number not in self._tasks:
            self._tasks[number] = self._progress.add_task(f"clip {number + 1}", total=None)
        if share is not None:
            self._progress.update(self._tasks[number], completed=share, total=1.0)

    def finish(self, outcome: Outcome) -> Outcome:
        """Take a clip's bar away; gives the outcome back."""
        if outcome.number in self._tasks:
            self._progress.remove_task(self._tasks.pop(outcome.number))
        if self._all is not None:
            self._progress.advance(self._all)
        self.kept[outcome.number] = outcome.summary is not None
        return outcome


@contextlib.contextmanager
def bar(text: str) -> Iterator[Callable[[float | None], None]]:
    """One progress bar; the library's own log lines are kept off the terminal."""
    with progress_display() as progress:
        task = progress.add_task(text, total=None)

        def advance(share: float | None) -> None:
            if share is not None:
                progress.update(task, completed=share, total=1.0)

        yield advance


@contextlib.contextmanager
def progress_display() -> Iterator[Progress]:
    """A progress display on a terminal, nothing elsewhere."""
    from rich.console import Console
    from rich.progress import Progress

    with _native_silence() as stderr:
        console = Console(file=stderr)
        # What goes to a file or a pipe must get there as it is, and not through the display.
        with Progress(console=console, disable=not stderr.isatty(), transient=True, redirect_stdout=False) as progress:
            yield progress


def say(progress: Progress, text: str, err: bool = False) -> None:
    """Print a text, above the bars where it meets them on a terminal."""
    from rich.text import Text

    if err or (sys.stdout.isatty() and not progress.disable):
        progress.console.print(Text(text), soft_wrap=True)
    else:
        click.echo(text)


@contextlib.contextmanager
def _native_silence() -> Iterator[Any]:
    """Keep what native libraries log out of the way; Python's own errors still reach the terminal through the file given."""
    sys.stderr.flush()
    try:
        kept = os.dup(2)
    except OSError:
        yield sys.stderr
        return
    terminal = os.fdopen(os.dup(kept), "w", buffering=1, errors="backslashreplace")
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
