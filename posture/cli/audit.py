"""`posture audit`: a folder of clips under consent to one table."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click

from posture.cli.group import EXIT_OTHER, EXIT_UNREADABLE, main
from posture.cli.measure import MAX_WORKERS, roll_from
from posture.conventions import Mirrored
from posture.errors import ClipError
from posture.terminal import Bars, progress_display

if TYPE_CHECKING:  # What a command needs is loaded when it runs.
    from posture.audit.consent import Decision
    from posture.audit.run import Audit, AuditClip


@main.command()
@click.argument("clips", metavar="FOLDER", type=click.Path(path_type=Path))
@click.option("--out", "folder", required=True, type=click.Path(path_type=Path, file_okay=False), help="Folder for audit.csv.")
@click.option("--records", "records_file", type=click.Path(path_type=Path, dir_okay=False, exists=True),
              help="The records that hold the consents, if not those in their usual place.")  # fmt: skip
@click.option("--consents", "consents_file", type=click.Path(path_type=Path, dir_okay=False, exists=True),
              help="Instead of records a CSV file: clip (file name) or sha256, code, given_on, by_whom, withdrawn_on.")  # fmt: skip
@click.option("--mirrored", type=click.Choice(get_args(Mirrored)), default="unknown", show_default=True)
@click.option("--upright", default="as-filmed", show_default=True, metavar="as-filmed|scene|DEGREES", help="As for measure.")
@click.option("--conditions", "conditions_file", type=click.Path(path_type=Path, dir_okay=False, exists=True),
              help="JSON file that says how all of them were filmed; see README.")  # fmt: skip
@click.option("--workers", type=click.IntRange(1, MAX_WORKERS), default=1, show_default=True, help="Clips measured at a time.")
def audit(
    clips: Path,
    folder: Path,
    records_file: Path | None,
    consents_file: Path | None,
    mirrored: Mirrored,
    upright: str,
    conditions_file: Path | None,
    workers: int,
) -> None:
    """Measure the clips in FOLDER that are under consent to an audit; write one table of all of them.

    The others are not measured, and listed. Run again, it goes on where it stopped; results of clips whose consent was withdrawn
    meanwhile are removed. The table holds codes and no file names; those that are shown here are for your eyes.
    """
    if records_file is not None and consents_file is not None:
        raise click.UsageError("Expected --records or --consents; both came. Give the one that holds these consents.")
    roll = roll_from(upright)

    from posture.batch.children import get_ready

    with progress_display() as progress:
        get_ready()  # The children's libraries load beside our own.
        from posture.audit.consent import NO_CONSENT
        from posture.audit.run import RESULTS, clips_in, run_audit
        from posture.measure import Settings, read_conditions

        settings = Settings(mirrored=mirrored, roll_deg=roll, from_scene=upright == "scene")
        conditions = read_conditions(conditions_file) if conditions_file else None
        found = clips_in(clips, [consents_file] if consents_file else [])
        if found[0].path.parent in (folder.resolve(), (folder / RESULTS).resolve()):
            raise click.UsageError("Expected another folder as --out than that of the clips; the same came. Give a new one.")
        decisions = _decisions(found, records_file, consents_file)
        bars = Bars(
            progress, len({clip.sha256 for clip in found if decisions.get(clip.sha256, NO_CONSENT).answer == "allowed"})
        )
        try:
            done = run_audit(
                found,
                decisions,
                folder,
                settings,
                conditions,
                workers=workers,
                on_progress=bars.advance,
                on_outcome=bars.finish,
            )
        except KeyboardInterrupt:
            progress.stop()
            click.echo("posture: stopped; what is done is kept. The same command goes on from there.", err=True)
            sys.exit(EXIT_OTHER)
    _show(done)
    errors = [outcome.error for outcome in done.outcomes if outcome.error]
    if errors:
        sys.exit(EXIT_UNREADABLE if all(isinstance(error, ClipError) for error in errors) else EXIT_OTHER)


def _decisions(found: list[AuditClip], records_file: Path | None, consents_file: Path | None) -> dict[str, Decision]:
    """What the list or the records say of the clips."""
    from posture.audit.consent import decisions_of_list, decisions_of_records
    from posture.records.store import open_records, records_path

    if consents_file is not None:
        return decisions_of_list(consents_file, {clip.path.name: clip.sha256 for clip in found if clip.sha256})
    path = records_file or records_path()
    if not path.is_file():
        raise click.UsageError("Expected --consents, or records on this computer; there are none. Say where the consents are.")
    with open_records(path) as records:
        return decisions_of_records(records)


def _show(done: Audit) -> None:
    """Print what was left unmeasured, faults of this program as they are, and the counts."""
    from posture.audit.table import SHA256_SHOWN
    from posture.batch.table import printable

    for clip, said in sorted(done.skipped, key=lambda pair: pair[0].path.name):
        click.echo(f"{said.answer}: {printable(clip.path.name)} ({clip.sha256[:SHA256_SHOWN] or 'no hash'}). {said.reason}")
    for error in (outcome.error for outcome in done.outcomes if outcome.error):
        click.echo("\n".join([f"posture: {printable(str(error))}", *getattr(error, "__notes__", ())]), err=True)
    status = [row["status"] for row in done.rows]
    n = len(status)
    click.echo(
        f"{n} clip{'' if n == 1 else 's'}: {status.count('measured')} measured, {status.count('not measured')} not measured,"
        f" {status.count('skipped for consent')} skipped for consent."
    )
    taken = sum(outcome.skipped for outcome in done.outcomes)
    if taken:
        click.echo(f"{taken} of them were measured before and are taken from there.")
    if done.removed:
        click.echo(f"Earlier results of {done.removed} clip{'' if done.removed == 1 else 's'} without consent were removed.")
    click.echo(f"Written: {printable(str(done.table))}")
