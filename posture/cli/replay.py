"""`posture replay`: a film of the measured head as a drawing, for parents, teaching and colleagues."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from posture.cli.group import main
from posture.cli.measure import roll_from
from posture.conventions import Mirrored
from posture.terminal import bar

if TYPE_CHECKING:
    from posture.measure import Measurement, Settings

ENDING = ".mp4"


@main.command()
@click.argument("clip", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@click.option("--out", "path", required=True, type=click.Path(path_type=Path, dir_okay=False), help="Film to write, FILE.mp4.")
@click.option("--mirrored", required=True, type=click.Choice(["no", "yes"]),
              help="Whether the picture is mirrored: a drawn head leans to a side, so this must be known.")  # fmt: skip
@click.option("--upright", default="as-filmed", show_default=True, metavar="as-filmed|scene|DEGREES", help="As of measure.")
@click.option("--part", metavar="FROM-TO", default="", help="Only this part of the clip, such as 0:10-0:40.")
@click.option("--person", type=click.IntRange(1, 99), help="Which person, from 1 in the order of face time times size.")
def replay(clip: Path, path: Path, mirrored: Mirrored, upright: str, part: str, person: int | None) -> None:
    """Measure CLIP and write a film of the head as a drawing, with the angles: no face, no picture and no name is in it."""
    if path.suffix.lower() != ENDING:
        raise click.UsageError(f"Expected a film that ends in {ENDING}; '{path.name}' came.")
    roll = roll_from(upright)

    from posture.measure import Settings
    from posture.signal.spans import spans_from

    spans = spans_from(part)
    if len(spans) > 1:
        raise click.UsageError(f"Expected one part such as 0:10-0:40; {len(spans)} came.")
    settings = Settings(mirrored=mirrored, roll_deg=roll, from_scene=upright == "scene", person=person)
    measured = _measured(clip, settings)

    from posture.filming.replay import write_film
    from posture.report.replay import RATE_HZ, replay_of

    film = replay_of(measured.summary, measured.found, spans[0] if spans else None)
    with bar("drawing") as advance:
        write_film(path, film.pictures(advance), RATE_HZ)
    click.echo(f"Written: {path} (no face, no picture and no name is in it)")


def _measured(clip: Path, settings: Settings) -> Measurement:
    """The clip, measured in a process of its own."""
    from posture.batch.child import Job
    from posture.batch.children import measure_in_child

    with bar("measuring") as advance:
        return measure_in_child(Job(clip, settings), lambda progress: advance(progress.share), pictures=False)
