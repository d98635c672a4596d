"""`posture measure`: clips to tracks and summaries."""

from __future__ import annotations

import contextlib
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click
from click.core import ParameterSource

from posture.cli.group import EXIT_OTHER, EXIT_UNREADABLE, Number, main
from posture.conventions import Mirrored
from posture.errors import ClipError
from posture.geometry.devices import DEVICES
from posture.terminal import Bars, progress_display, say

if TYPE_CHECKING:  # What a command needs is loaded when it runs.
    from rich.progress import Progress

    from posture.batch.child import Job
    from posture.batch.clips import Outcome

MAX_WORKERS = 32
"""Each takes about 0.4 GB of memory; more than this is a slip of the finger."""


@main.command()
@click.argument("clips", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--out", "folder", required=True, type=click.Path(path_type=Path, file_okay=False), help="Folder for the results."
)
@click.option("--mirrored", type=click.Choice(get_args(Mirrored)), default="unknown", show_default=True)
@click.option("--upright", default="as-filmed", show_default=True, metavar="as-filmed|scene|DEGREES",
              help="Roll of the file as stored, + when the picture is turned counter-clockwise; scene reads roll and pitch from the"
              " plumb lines in the picture.")  # fmt: skip
@click.option("--pitch", type=Number(-60, 60), help="Degrees, + when the camera looks down.")
@click.option("--focal-px", type=Number(1, 1e6), help="Focal length in pixels of the upright picture.")
@click.option("--view-deg", type=Number(5, 170), help="Angle of view across the longer side.")
@click.option("--device", type=click.Choice(list(DEVICES)), help="What filmed it, where neither of these is known.")
@click.option("--target-cm", nargs=3, type=Number(-2000, 2000), metavar="RIGHT UP NEARER",
              help="Where the child looked if not into the camera, as the child sees it: so far to the right of the camera, above it,"
              " nearer than it.")  # fmt: skip
@click.option("--on-target", metavar="FROM-TO,...", help="When the eyes were on it, such as 0:10-0:25, 1:05-1:30; turn and chin"
              " are then those of these times.")  # fmt: skip
@click.option(
    "--head-set", metavar="FROM-TO,...", default="", help="When the examiner had set the head straight: zero of the chin."
)
@click.option("--chin-zero", "zero_file", type=click.Path(path_type=Path, dir_okay=False, exists=True), metavar="SUMMARY",
              help="Take the zero of the chin from the summary of another clip of the same child.")  # fmt: skip
@click.option("--asked", metavar="MOVEMENT=FROM-TO,...", default="", help="Movements that the child was asked to make, such as"
              " turn-right=3-9,tilt-left=12-18, of one clip: how far it went is written beside the summary. After the neck screen only.")  # fmt: skip
@click.option("--passive", is_flag=True, help="The examiner moved the head in them.")
@click.option("--marks", "marks_file", type=click.Path(path_type=Path, dir_okay=False, exists=True), metavar="FILE.marks.json",
              help="The marks that posture film left beside the film: every step becomes a result of its own. Such a film is not"
              " mirrored, unless --mirrored says otherwise.")  # fmt: skip
@click.option("--every", "every_s", type=Number(0, 3600), metavar="SECONDS",
              help="Least time between pictures analysed; 0 is every one. About 15 a second if not given.")  # fmt: skip
@click.option("--conditions", "conditions_file", type=click.Path(path_type=Path, dir_okay=False, exists=True),
              help="JSON file that says how it was filmed: age_months, target, position, covered_eye and more; see README.")  # fmt: skip
@click.option("--label", help="A code for the record, never a name.")
@click.option("--person", type=click.IntRange(1, 99), help="Which person, from 1 in the order of face time times size.")
@click.option("--workers", type=click.IntRange(1, MAX_WORKERS), default=1, show_default=True,
              help="Clips measured at a time; more than the processors brings nothing.")  # fmt: skip
@click.option("--resume", is_flag=True,
              help="Take what is in the folder for clips measured with the same settings and versions.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON, one object a line.")
def measure(
    clips: tuple[Path, ...],
    folder: Path,
    mirrored: Mirrored,
    upright: str,
    pitch: float | None,
    focal_px: float | None,
    view_deg: float | None,
    device: str | None,
    target_cm: tuple[float, float, float] | None,
    on_target: str | None,
    head_set: str,
    zero_file: Path | None,
    asked: str,
    passive: bool,
    marks_file: Path | None,
    every_s: float | None,
    conditions_file: Path | None,
    label: str | None,
    person: int | None,
    workers: int,
    resume: bool,
    as_json: bool,
) -> None:
    """Measure CLIPS (videos or photographs); write a track and a summary of each into the folder, and a table of several.

    Each clip is measured in a process of its own: one that crashes or hangs there costs one line and one row.
    """
    if focal_px is not None and view_deg is not None:
        raise click.UsageError("Expected --focal-px or --view-deg; both came. Give the one that you know.")
    roll = roll_from(upright)
    if upright == "scene" and pitch is not None:
        raise click.UsageError("Expected --upright scene, which reads the pitch too, or --pitch; both came. Give one.")
    if zero_file is not None and head_set:
        raise click.UsageError("Expected --head-set or --chin-zero; both came. Give the times if they are of this clip.")

    if asked and len(clips) > 1:
        raise click.UsageError(
            f"Expected one clip with --asked; {len(clips)} came. Measure those with movements one at a time."
        )
    if marks_file is not None and (len(clips) > 1 or asked or on_target or head_set or resume):
        raise click.UsageError(
            "Expected --marks with one film, without --asked, --on-target, --head-set and --resume; the marks say what was when."
        )
    if passive and not asked and marks_file is None:
        raise click.UsageError("Expected --asked with --passive; none came. Say what was asked and when.")

    from posture.batch.children import get_ready
    from posture.signal.spans import spans_from

    target_spans = None if on_target is None else spans_from(on_target)
    set_spans = spans_from(head_set)
    with progress_display() as progress:
        get_ready()  # The children's libraries load beside our own.
        from posture import measure as measuring
        from posture.batch.child import Job
        from posture.signal.asked import asked_from

        settings = measuring.Settings(
            mirrored=mirrored,
            roll_deg=roll,
            pitch_deg=pitch,
            from_scene=upright == "scene",
            focal_px=focal_px,
            view_deg=view_deg,
            device=device,
            target_cm=target_cm,
            on_target=target_spans,
            head_set=set_spans,
            chin_zero=measuring.read_chin_zero(zero_file) if zero_file else None,
            every_s=measuring.DEFAULT_EVERY_S if every_s is None else every_s,
            person=person,
            asked=asked_from(asked),
            passive=passive,
        )
        conditions = measuring.read_conditions(conditions_file) if conditions_file else None
        jobs = [Job(clip, settings, conditions, label) for clip in clips]
        if marks_file is not None:
            _measure_marked(jobs[0], marks_file, folder, as_json, progress)
            return
        outcomes = _measure_all(jobs, folder, workers, resume, as_json, progress)
    if len(jobs) > 1:
        from posture.batch.table import results_table, write_results_csv

        try:
            write_results_csv(folder, outcomes)
        finally:
            click.echo(f"{'' if as_json else chr(10)}{results_table(outcomes)}", err=as_json)
    errors = [outcome.error for outcome in outcomes if outcome.error]
    if errors:
        sys.exit(EXIT_UNREADABLE if all(isinstance(error, ClipError) for error in errors) else EXIT_OTHER)


def roll_from(upright: str) -> float | None:
    """The roll that --upright states; None where it states none."""
    if upright in ("as-filmed", "scene"):
        return None
    try:
        roll = float(upright)
    except ValueError:
        roll = float("nan")
    if not -180 <= roll <= 180:
        raise click.UsageError(f"Expected --upright as-filmed, scene or degrees from -180 to 180; '{upright}' came.")
    return roll


def _measure_all(jobs: list[Job], folder: Path, workers: int, resume: bool, as_json: bool, progress: Progress) -> list[Outcome]:
    """Measure, save and show clips one after the other in their order; Ctrl-C keeps what is done."""
    from posture.batch.clips import in_order, measure_clips

    bars = Bars(progress, len(jobs))
    done: list[Outcome] = []
    running = measure_clips(jobs, folder, workers=workers, resume=resume, on_progress=bars.advance)
    try:
        with contextlib.closing(running):
            for outcome in in_order(map(bars.finish, running)):
                done.append(outcome)
                _show(outcome, as_json, len(jobs) > 1, progress)
    except KeyboardInterrupt:
        progress.stop()
        kept = sum(bars.kept.values())
        click.echo(f"posture: stopped; {kept} of {len(jobs)} clips are done and kept. --resume goes on from there.", err=True)
        sys.exit(EXIT_OTHER)
    skipped = sum(outcome.skipped for outcome in done)
    if skipped:
        say(progress, f"posture: {skipped} of {len(jobs)} clips were measured before and are taken from there.", err=True)
    return done


def _measure_marked(job: Job, marks_file: Path, folder: Path, as_json: bool, progress: Progress) -> None:
    """Measure a film with marks, and show every step of it."""
    from posture.batch.table import printable
    from posture.clinic.examination import examination_sentences
    from posture.filming.marked import measure_marked, read_marks_file, settings_of_film
    from posture.summary.words import result_sentences

    marks = read_marks_file(marks_file)
    if click.get_current_context().get_parameter_source("mirrored") is ParameterSource.DEFAULT:
        job = replace(job, settings=settings_of_film(job.settings))
    task = progress.add_task("measuring", total=None)
    kept = measure_marked(job, marks, folder, lambda told: progress.update(task, completed=told.share or 0.0, total=1.0))
    for one, path in zip(kept.read.parts, kept.summaries, strict=True):
        summary = one.measured.summary
        if as_json:
            say(progress, summary.model_dump_json(by_alias=True))
        else:
            say(progress, "\n".join([f"{one.part.title}:", *result_sentences(summary), f"Written: {printable(str(path))}"]))
    if kept.read.asked is not None:
        said = [*examination_sentences(kept.read.asked), f"Written: {printable(str(kept.examination))}"]
        say(progress, "\n".join(said), err=as_json)


def _show(outcome: Outcome, as_json: bool, named: bool, progress: Progress) -> None:
    """Print what came of one clip."""
    from posture.batch.table import clip_name, printable
    from posture.summary.words import result_sentences

    if outcome.summary is None:
        notes = getattr(outcome.error, "__notes__", ())
        say(progress, "\n".join([f"posture: {printable(str(outcome.error))}", *notes]), err=True)
    elif as_json:
        say(progress, outcome.summary.model_dump_json(by_alias=True))
    else:
        assert outcome.paths is not None
        name = [f"{clip_name(outcome)}:"] if named else []
        written = f"Written: {printable(str(outcome.paths[1]))}"
        say(progress, "\n".join([*name, *result_sentences(outcome.summary), *_asked_sentences(outcome), written]))


def _asked_sentences(outcome: Outcome) -> list[str]:
    """What came of the movements that were asked in a clip."""
    if not outcome.job.settings.asked or outcome.paths is None:
        return []
    from posture.clinic.examination import examination_sentences, read_examination
    from posture.summary.files import examination_path

    return examination_sentences(read_examination(examination_path(outcome.paths[1])))
