"""Many clips, some at a time, each in a process of its own; what is done is on disk before it is told."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from posture.batch.child import Finished, Job, Work, measure_job
from posture.batch.children import STALL_S, Children
from posture.batch.earlier import EarlierResults, summary_at
from posture.errors import ModelError, OutputError, PostureError
from posture.summary.files import sweep_unfinished
from posture.summary.record import Summary


@dataclass(frozen=True)
class Outcome:
    """What came of one clip of several.

    Attributes
    ----------
    number : int
        Place of the job among the jobs, from 0.
    job : Job
    summary : Summary or None
        None when there is an error.
    error : PostureError or None
    seconds : float
        That it took now; 0 when it was skipped.
    skipped : bool
        Whether the summary is that of an earlier run.
    paths : tuple of Path or None
        Track and summary on disk.
    """

    number: int
    job: Job
    summary: Summary | None
    error: PostureError | None
    seconds: float
    skipped: bool = False
    paths: tuple[Path, Path] | None = None


OnShare = Callable[[int, float | None], None]
"""Told the number of a job that goes on and the share of it that is done (None: not known)."""


def measure_clips(
    jobs: Sequence[Job],
    folder: Path,
    *,
    workers: int = 1,
    resume: bool = False,
    on_progress: OnShare = lambda number, share: None,
    stall_s: float = STALL_S,
    work: Work = measure_job,
) -> Generator[Outcome, None, None]:
    """Measure clips and save each result as soon as it is there.

    Parameters
    ----------
    jobs : sequence of Job
    folder : Path
        For the results.
    workers : int
        How many clips are measured at a time, 1 or more.
    resume : bool
        Take the results in the folder for clips that would be measured again in the same way.
    on_progress : callable
        See `OnShare`.
    stall_s : float
        A clip without progress for so long is given up.
    work : callable
        Done in the children instead of measuring; for tests.

    Yields
    ------
    Outcome
        One a job, as they end; see `in_order`. Closing the iterator ends what is running.

    Raises
    ------
    ModelError
        If the model or a system library is missing: no clip can be measured then.
    """
    sweep_unfinished(folder)
    earlier = EarlierResults(folder, jobs) if resume else None
    first_of_stem = _first_of_stem(jobs)
    waiting = deque(enumerate(jobs))
    with Children(workers, on_progress, stall_s=stall_s, work=work) as running:
        while waiting or running:
            while waiting and running.has_room:
                number, job = waiting.popleft()
                found = earlier.find(job) if earlier else None
                if found is not None:
                    yield Outcome(number, job, found.summary, None, 0.0, True, found.paths)
                    continue
                running.begin(number, job)
            for number, child, finished in running.ended():
                yield _kept(number, jobs[number], finished, child.seconds, folder, number in first_of_stem)


def in_order(outcomes: Iterable[Outcome]) -> Iterator[Outcome]:
    """Give outcomes in the order of their jobs, each as soon as those before it are there."""
    ready: dict[int, Outcome] = {}
    number = 0
    for outcome in outcomes:
        ready[outcome.number] = outcome
        while number in ready:
            yield ready.pop(number)
            number += 1


def _kept(number: int, job: Job, finished: Finished, seconds: float, folder: Path, is_first: bool) -> Outcome:
    """Save what came of a clip; an error becomes the outcome."""
    if isinstance(finished.error, ModelError):
        raise finished.error
    if finished.measurement is None:
        return Outcome(number, job, None, finished.error, seconds)
    summary = finished.measurement.summary
    try:
        paths = finished.measurement.save(folder, _stem(job, summary.clip.sha256, folder, is_first))
    except OutputError as error:
        return Outcome(number, job, None, error, seconds)
    return Outcome(number, job, summary, None, seconds, False, paths)


def _first_of_stem(jobs: Sequence[Job]) -> set[int]:
    """The numbers of the jobs that are the first of their stem."""
    first: dict[str, int] = {}
    for number, job in enumerate(jobs):
        first.setdefault(job.path.stem, number)
    return set(first.values())


def _stem(job: Job, sha256: str, folder: Path, is_first: bool) -> str:
    """The stem for the results: that of the clip for the first one, whichever of them ends first."""
    stem = job.path.stem
    if is_first:
        return stem
    other = summary_at(folder / f"{stem}.summary.json")
    return stem if other is not None and other.clip.sha256 == sha256 else f"{stem}-{sha256[:8]}"
