"""A recording with marks, measured once and read step by step: every step gets a result of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from posture.batch.child import Job, Progress
from posture.batch.children import measure_in_child
from posture.errors import SpanError
from posture.filming.marks import Mark, clips_of, marks_from
from posture.filming.parts import ReadFilm, read_film
from posture.measure import Settings
from posture.summary.files import examination_path, write_whole

MOST_BYTES = 1_000_000
"""Marks of an examination take some kilobytes; more is another file."""

MIRRORED_FROM = "filmed with this program, which records the camera's own picture, which is not mirrored"


@dataclass(frozen=True)
class KeptFilm:
    """What came of a marked recording.

    Attributes
    ----------
    read : ReadFilm
    summaries : tuple of Path
        Of the parts of `read`, in the same order.
    examination : Path or None
        What was asked and how far it went.
    """

    read: ReadFilm
    summaries: tuple[Path, ...]
    examination: Path | None


def read_marks_file(path: Path) -> tuple[Mark, ...]:
    """Read the marks that `posture film` left beside a film.

    Parameters
    ----------
    path : Path

    Returns
    -------
    tuple of Mark

    Raises
    ------
    SpanError
        If it cannot be read, or holds no step that could be measured.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES)
        marks = marks_from(data.decode("utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise SpanError(f"Expected the marks of a film; '{path.name}' cannot be read as such. Give FILE.marks.json.") from error
    if not clips_of(marks):
        raise SpanError(f"Expected marks with steps; '{path.name}' has none. Measure the film without --marks.")
    return marks


def settings_of_film(settings: Settings) -> Settings:
    """Settings for a film that this program recorded, whose side is known unless somebody said something else."""
    if settings.mirrored != "unknown":
        return settings
    return replace(settings, mirrored="no", mirrored_from=MIRRORED_FROM)


def measure_marked(
    job: Job, marks: Sequence[Mark], folder: Path, on_progress: Callable[[Progress], None] = lambda progress: None
) -> KeptFilm:
    """Measure a recording once, and keep every step of it as a result of its own.

    Parameters
    ----------
    job : Job
        The recording, with settings and conditions for all of it.
    marks : sequence of Mark
    folder : Path
        For the results: `FILE.STEP.track.csv` and `FILE.STEP.summary.json` for each step, and beside the first of them
        `FILE.STEP.examination.json` where movements were asked.
    on_progress : callable
        See `posture.batch.children.measure_in_child`.

    Returns
    -------
    KeptFilm

    Raises
    ------
    PostureError
        What the measurement raised, or OutputError.
    SpanError
        If the recording has no pictures of any step.
    """
    seen = measure_in_child(job, on_progress, pictures=False).seen
    read = read_film(seen, clips_of(marks), job.settings, job.conditions, job.label)
    if not read.parts and read.asked is None:
        raise SpanError(
            "Expected a recording of the marked steps; it has pictures of none. Are these the marks of another film?"
        )
    stem = job.path.stem
    summaries = tuple(one.measured.save(folder, f"{stem}.{one.part.name}")[1] for one in read.parts)
    examination = None
    if read.asked is not None:
        # It bears the mark of the first part; where movements alone were filmed there is none.
        examination = examination_path(summaries[0]) if summaries else folder / f"{stem}.asked.examination.json"
        write_whole(examination, read.asked.to_json())
    return KeptFilm(read, summaries, examination)
