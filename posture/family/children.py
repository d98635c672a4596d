"""Films measured in processes of their own, and the looks of every face in them taken there."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, replace
from multiprocessing.connection import wait
from typing import TYPE_CHECKING, cast

from posture.batch.child import Job, measure_job
from posture.batch.children import TICK_S, Child, measurement_of
from posture.errors import PostureError
from posture.family.alike import FaceLooks, looks_of
from posture.measure import Measurement

if TYPE_CHECKING:
    from posture.measure import OnFrame

OnShare = Callable[[int, float | None], None]
"""Told the number of a job that goes on and the share of it that is done (None: not known, or ended)."""


@dataclass(frozen=True)
class Looked:
    """A measurement, and what the faces in it look like."""

    measurement: Measurement
    looks: tuple[FaceLooks | None, ...]


Came = tuple[int, Looked | PostureError]

Measuring = Callable[[Sequence[Job], int, OnShare], Generator[Came, None, None]]
"""Measures jobs, so many at a time; gives the number of each with what came of it."""


def measure_in_children(jobs: Sequence[Job], workers: int, on_progress: OnShare) -> Generator[Came, None, None]:
    """Measure each in a process of its own; see `Measuring`."""
    waiting, running = deque(enumerate(jobs)), dict[int, Child]()
    try:
        while waiting or running:
            while waiting and len(running) < workers:
                number, job = waiting.popleft()
                # What comes back is unpickled as it was sent: a measurement with what the faces look like.
                running[number] = Child(job, beside_others=workers > 1, work=measure_and_look)  # type: ignore[arg-type]
                on_progress(number, 0.0)
            wait([child.connection for child in running.values()], TICK_S)
            for number, child in list(running.items()):
                finished = child.look()
                if finished is None:
                    on_progress(number, child.progress.share)
                    continue
                del running[number]
                on_progress(number, 1.0)
                try:
                    yield number, cast(Looked, measurement_of(finished))
                except PostureError as error:
                    yield number, error
    finally:
        for child in running.values():
            child.end()


def measure_and_look(job: Job, on_frame: OnFrame) -> Looked:
    """Measure a film in this process, and take the looks of every face in it.

    Parameters
    ----------
    job : Job
    on_frame : callable
        See `posture.see.OnFrame`.
    """
    measurement = measure_job(job, on_frame)
    # The stills are for the page, and large.
    measurement = replace(measurement, seen=replace(measurement.seen, stills=()))
    return Looked(measurement, tuple(looks_of([person.portrait for person in measurement.seen.persons])))
