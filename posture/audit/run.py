"""The audit itself: hash, ask for consent, measure what is allowed, and keep the table true at every moment of it."""

from __future__ import annotations

import contextlib
import re
import time
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, cast

from posture.audit.consent import NO_CONSENT, Decision
from posture.audit.table import Row, check_table_free, plain_row, result_row, write_table
from posture.batch.child import Job, Work, measure_job
from posture.batch.children import STALL_S
from posture.batch.clips import OnShare, Outcome, measure_clips
from posture.batch.folder import STEM_FIGURES, files_of, sha256_of, stem_of
from posture.errors import ClipError, OutputError

if TYPE_CHECKING:
    from posture.measure import Measurement, OnFrame, Settings
    from posture.summary.record import Conditions, Summary

RESULTS = "results"
"""Folder for the results, beside the table."""

WRITE_EVERY_S = 30.0
"""The table on disk is never older than this: what a computer that is switched off at night may lose of it, and nothing measured."""

NOT_REACHED = "Not reached yet: the audit has not come to its end. Run it again, and it goes on from here."

_OURS = re.compile(rf"([0-9a-f]{{{STEM_FIGURES}}})\.(?:summary\.json|track\.csv)")


@dataclass(frozen=True)
class AuditClip:
    """A file in the folder.

    Attributes
    ----------
    path : Path
        Absolute.
    sha256 : str
        Empty when it cannot be read.
    """

    path: Path
    sha256: str


@dataclass(frozen=True)
class Audit:
    """What came of an audit.

    Attributes
    ----------
    table : Path
    rows : tuple of Row
    outcomes : tuple of Outcome
        Of the clips that were tried, in no order.
    skipped : tuple of (AuditClip, Decision)
        That were not tried.
    removed : int
        Clips whose results of an earlier run were removed.
    """

    table: Path
    rows: tuple[Row, ...]
    outcomes: tuple[Outcome, ...]
    skipped: tuple[tuple[AuditClip, Decision], ...]
    removed: int


def clips_in(folder: Path, leave_out: Collection[Path] = ()) -> list[AuditClip]:
    """The files of a folder that may be clips, hashed, in the order of their names; not those of folders in it.

    Parameters
    ----------
    folder : Path
    leave_out : collection of Path
        Such as the list of consents.

    Returns
    -------
    list of AuditClip
        Without hidden files and `DOCUMENTS`.

    Raises
    ------
    ClipError
        If the folder cannot be read or holds none.
    """
    others = {path.resolve() for path in leave_out}
    clips = [path for path in files_of(folder, "clips") if path.resolve() not in others]
    if not clips:
        raise ClipError("Expected clips in the folder; it holds none. Give the folder in which they lie, not one above it.")
    return [AuditClip(path, sha256_of(path)) for path in clips]


def run_audit(
    clips: Sequence[AuditClip],
    decisions: Mapping[str, Decision],
    folder: Path,
    settings: Settings,
    conditions: Conditions | None = None,
    *,
    workers: int = 1,
    on_progress: OnShare = lambda number, share: None,
    on_outcome: Callable[[Outcome], object] = lambda outcome: None,
    stall_s: float = STALL_S,
    work: Work = measure_job,
) -> Audit:
    """Measure the clips that are under consent and write the table; what an earlier run measured in the same way is taken.

    Results of clips that are not under consent, or no longer, are removed first, and the table is written without them.

    Parameters
    ----------
    clips : sequence of AuditClip
        Of the same file under several names one is measured.
    decisions : mapping of str to Decision
        By the hash; a clip that is not in it is not under consent.
    folder : Path
        For the table, and for the results in a folder of it.
    settings : Settings
    conditions : Conditions or None
    workers : int
    on_progress, on_outcome : callable
        Told how far clips are, and what came of each; what is shown of it is up to them.
    stall_s, work
        See `posture.batch.clips.measure_clips`.

    Returns
    -------
    Audit

    Raises
    ------
    OutputError
        If the table cannot be written, something else has its name, or results cannot be removed.
    ModelError
        If no clip can be measured at all.
    """
    check_table_free(folder)
    allowed = {sha256 for sha256, decision in decisions.items() if decision.answer == "allowed"}
    removed = _remove_others(folder / RESULTS, {stem_of(sha256) for sha256 in allowed})
    once = {clip.sha256 or str(clip.path): clip for clip in reversed(clips)}
    tried = [clip for clip in once.values() if clip.sha256 in allowed]
    skipped = [(clip, _answer(clip, decisions)) for clip in once.values() if clip.sha256 not in allowed]
    rows = {clip.path: plain_row(said.code, clip.sha256, said.answer, said.reason) for clip, said in skipped}
    # In the order of the table, so that a table that is not finished is finished from above.
    tried.sort(key=lambda clip: (decisions[clip.sha256].code, clip.sha256))
    codes = {clip.path: decisions[clip.sha256].code for clip in tried}
    rows |= {clip.path: plain_row(codes[clip.path], clip.sha256, "not measured", NOT_REACHED) for clip in tried}
    write_table(folder, rows.values())
    jobs = [Job(clip.path, settings, conditions, codes[clip.path]) for clip in tried]
    nameless = partial(_measure_nameless, work, {str(clip.path): clip.sha256 for clip in tried})
    outcomes: list[Outcome] = []
    running = measure_clips(
        jobs, folder / RESULTS, workers=workers, resume=True, on_progress=on_progress, stall_s=stall_s, work=nameless
    )
    written_s = time.monotonic()
    try:
        with contextlib.closing(running):
            for outcome in running:
                outcomes.append(outcome)
                clip = tried[outcome.number]
                rows[clip.path] = result_row(codes[clip.path], clip.sha256, outcome)
                on_outcome(outcome)
                if time.monotonic() - written_s > WRITE_EVERY_S:
                    write_table(folder, rows.values())
                    written_s = time.monotonic()
    finally:
        table = write_table(folder, rows.values())
    return Audit(table, tuple(rows.values()), tuple(outcomes), tuple(skipped), removed)


class _Nameless:
    """A measurement that is saved under the hash of its clip."""

    def __init__(self, measured: Measurement) -> None:
        self._measured = measured

    @property
    def summary(self) -> Summary:
        """Of the clip."""
        return self._measured.summary

    def save(self, folder: Path, stem: str) -> tuple[Path, Path]:
        """Save it, the name of the file aside."""
        return self._measured.save(folder, stem_of(self.summary.clip.sha256))


def _measure_nameless(work: Work, expected: Mapping[str, str], job: Job, on_frame: OnFrame) -> Measurement:
    """Measure a clip in a child; the file must still be the one that is under consent."""
    measured = work(job, on_frame)
    if measured.summary.clip.sha256 != expected[str(job.path)]:
        raise ClipError("Expected the file that is under consent; it was exchanged meanwhile. Run the audit again.")
    return cast("Measurement", _Nameless(measured))


def _answer(clip: AuditClip, decisions: Mapping[str, Decision]) -> Decision:
    """The decision on a clip that is not allowed."""
    if not clip.sha256:
        return Decision("", "not measured", "The file cannot be read, so its consent was not looked for.")
    return decisions.get(clip.sha256, NO_CONSENT)


def _remove_others(folder: Path, stems: Collection[str]) -> int:
    """Remove the results of an audit that are not among those; gives of how many clips."""
    removed = set()
    for path in sorted(folder.glob("*")):
        match = _OURS.fullmatch(path.name)
        if match is None or match[1] in stems:
            continue
        try:
            path.unlink()
        except OSError as error:
            raise OutputError(
                f"Expected to remove the result '{path.name}', which is not under consent; that failed ({error.strerror}). Remove it by"
                " hand, and run the audit again."
            ) from error
        removed.add(match[1])
    return len(removed)
