"""Results of an earlier run that a clip, measured again, would only repeat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

from posture import __version__
from posture.batch.child import Job
from posture.batch.folder import sha256_of
from posture.clip.clip import PHOTOGRAPH_DATE, VIDEO_DATE
from posture.errors import RecordError
from posture.face.model import MODEL_SHA256, POSE_MODEL_SHA256
from posture.summary.files import examination_path, read_summary
from posture.summary.record import Conditions, Summary

SUMMARY_ENDING, TRACK_ENDING = ".summary.json", ".track.csv"


@dataclass(frozen=True)
class Earlier:
    """A result on disk.

    Attributes
    ----------
    summary : Summary
    paths : tuple of Path
        Track and summary.
    """

    summary: Summary
    paths: tuple[Path, Path]


class EarlierResults:
    """The results in a folder, as they are now.

    Parameters
    ----------
    folder : Path
        Need not be there.
    jobs : sequence of Job
        All that will be asked for. Of two copies of one clip each keeps a result of its own, as in a run that nothing stopped.
    """

    def __init__(self, folder: Path, jobs: Sequence[Job]) -> None:
        self._stems = {job.path.stem for job in jobs}
        self._all: list[Earlier] = []
        for path in sorted(folder.glob(f"*{SUMMARY_ENDING}")):
            track = path.with_name(path.name.removesuffix(SUMMARY_ENDING) + TRACK_ENDING)
            summary = summary_at(path)
            is_whole = summary is not None and ("asked" not in summary.made_with.settings or examination_path(path).is_file())
            if summary is not None and is_whole and track.is_file():
                self._all.append(Earlier(summary, (track, path)))

    def find(self, job: Job) -> Earlier | None:
        """Find the result that a job would only repeat: same file, settings, versions, conditions and label.

        Parameters
        ----------
        job : Job

        Returns
        -------
        Earlier or None
        """
        alike = [earlier for earlier in self._all if _is_alike(job, earlier.summary)]
        sha256 = (sha256_of(job.path) or None) if alike else None
        same = [earlier for earlier in alike if earlier.summary.clip.sha256 == sha256]
        own = [earlier for earlier in same if job.path.stem in _stems_of(earlier)]
        of_no_other = [earlier for earlier in same if self._stems.isdisjoint(_stems_of(earlier))]
        return next(iter([*own, *of_no_other]), None)


def summary_at(path: Path) -> Summary | None:
    """The summary on disk; None for anything that is none."""
    try:
        return read_summary(path)
    except RecordError:
        return None


def _stems_of(earlier: Earlier) -> set[str]:
    """The stems of the clips to which a result may belong by its name, with and without a part of the sha256."""
    name = earlier.paths[1].name.removesuffix(SUMMARY_ENDING)
    return {name, name.removesuffix(f"-{earlier.summary.clip.sha256[:8]}")}


def _is_alike(job: Job, summary: Summary) -> bool:
    """Whether a summary was made in the way of a job, whatever the file."""
    made = summary.made_with
    stated = {name: value for name, value in job.settings.stated().items() if name != "focal_px"}
    return (
        (made.posture, made.mediapipe, made.model_sha256) == (__version__, version("mediapipe"), MODEL_SHA256)
        and made.settings.get("shoulder_model_sha256") == POSE_MODEL_SHA256
        and stated.items() <= made.settings.items()
        and made.settings.get("asked") == stated.get("asked")
        and _is_same_lens(job, summary)
        and summary.clip.label == job.label
        and _stated_conditions(summary.conditions, job.conditions) == (job.conditions or Conditions())
    )


def _is_same_lens(job: Job, summary: Summary) -> bool:
    """Whether the focal length in the record, which is the one that was used, is that which the job leads to."""
    # A photograph may hold a focal length of its own; it is measured again, which takes a moment, rather than opened here.
    asked = job.settings.lens(max(summary.clip.width_px, summary.clip.height_px), None)
    used = summary.made_with.settings
    return (used.get("focal_px"), used.get("focal_sd_share")) == (round(asked.focal_px, 3), round(asked.sd_share, 4))


def _stated_conditions(recorded: Conditions, asked: Conditions | None) -> Conditions:
    """The conditions in the record without the date that came from the file, where the job states none."""
    if (asked is None or asked.filmed_on is None) and recorded.filmed_on_source in (PHOTOGRAPH_DATE, VIDEO_DATE):
        source = asked.filmed_on_source if asked else None
        return recorded.model_copy(update={"filmed_on": None, "filmed_on_source": source})
    return recorded
