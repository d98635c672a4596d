"""Films measured in processes of their own, and the looks of every face in them taken there."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, cast

from posture.batch.child import Job, measure_job
from posture.batch.children import Children, measurement_of
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
    waiting = deque(enumerate(jobs))
    # What comes back is unpickled as it was sent: a measurement with what the faces look like.
    with Children(workers, on_progress, work=measure_and_look) as running:  # type: ignore[arg-type]
        while waiting or running:
            while waiting and running.has_room:
                running.begin(*waiting.popleft())
            for number, _, finished in running.ended():
                on_progress(number, 1.0)
                try:
                    yield number, cast(Looked, measurement_of(finished))
                except PostureError as error:
                    yield number, error


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
