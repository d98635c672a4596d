"""Reads the parts of a recording that was measured once: every step of an examination as a clip of its own.

The recording is looked at once, as a whole, and what was seen is cut by time. Cutting the file instead would begin every part at
the next key picture, up to seconds late in what browsers write, would look for the child anew in each, and could number the
persons differently from part to part.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from posture.clinic.examination import Examination
from posture.errors import SpanError
from posture.filming.marks import PartOfClip
from posture.measure import Measurement, Settings, read_clip
from posture.see import SeenClip, SeenPerson
from posture.signal.asked import Asked
from posture.signal.chin_zero import ChinZero
from posture.signal.track import HeadTrack
from posture.summary.record import Conditions

LEAST_FRAMES = 2


@dataclass(frozen=True)
class ReadPart:
    """One step of an examination as it was read."""

    part: PartOfClip
    measured: Measurement


@dataclass(frozen=True)
class ReadFilm:
    """All that came of the steps of one recording.

    Attributes
    ----------
    parts : tuple of ReadPart
        Those in which a posture was held; steps of which the recording has no pictures are left out.
    asked : Examination or None
        What was asked for and how far it went, all movements together. It bears the sha256 of the first part, beside which it is laid.
    """

    parts: tuple[ReadPart, ...]
    asked: Examination | None


def part_of(seen: SeenClip, start_s: float, end_s: float) -> SeenClip:
    """Cut what was seen by time.

    Parameters
    ----------
    seen : SeenClip
    start_s, end_s : float
        In the time of the recording; ends are included.

    Returns
    -------
    SeenClip
        Its times begin at 0, its persons keep their numbers, and its sha256 is that of the recording's and of the times, so that two
        parts are two clips.

    Raises
    ------
    SpanError
        If fewer than two of the frames analysed lie in it.
    """
    kept = (seen.time_s >= start_s) & (seen.time_s <= end_s)
    if kept.sum() < LEAST_FRAMES:
        raise SpanError(
            f"Expected a part of the recording from {start_s:.1f} to {end_s:.1f} s; the recording has no pictures there. It may have"
            " been cut off before: measure the other parts."
        )
    first_s = float(seen.time_s[kept][0])
    name = f"{seen.sha256}:{start_s:.3f}-{end_s:.3f}"
    step = f"part of a recording, from {start_s:.1f} to {end_s:.1f} s of it"
    stills = tuple(replace(s, time_s=s.time_s - first_s) for s in seen.stills if start_s <= s.time_s <= end_s)
    return replace(
        seen,
        sha256=hashlib.sha256(name.encode()).hexdigest(),
        time_s=seen.time_s[kept] - first_s,
        persons=tuple(_part_of_person(person, kept, first_s, step) for person in seen.persons),
        steps=(*seen.steps, step),
        stills=stills or seen.stills,
    )


def _part_of_person(person: SeenPerson, kept: NDArray[np.bool_], first_s: float, step: str) -> SeenPerson:
    """The same person in a part."""
    track = _part_of_track(person.track, kept, first_s, step)
    found, found_before = float(track.face_found.mean()), float(person.track.face_found.mean())
    # How many faces were left out for their quality is known of the whole only; the share of them is taken as even.
    seen_share = min(1.0, found * person.seen_share / found_before) if found_before else 0.0
    return replace(person, track=track, seen_share=seen_share)


def _part_of_track(track: HeadTrack, kept: NDArray[np.bool_], first_s: float, step: str) -> HeadTrack:
    """The rows of a track that are kept."""
    arrays = {known.name: getattr(track, known.name)[kept] for known in fields(track) if known.type == "Array"}
    return replace(track, **arrays | {"time_s": track.time_s[kept] - first_s}, steps=(*track.steps, step))


def chin_zero_of(seen: SeenClip, settings: Settings, parts: Sequence[PartOfClip]) -> ChinZero | None:
    """The chin zero from the times in which the head was set straight, for all parts.

    Parameters
    ----------
    seen : SeenClip
        The whole recording.
    settings : Settings
    parts : sequence of PartOfClip

    Returns
    -------
    ChinZero or None
        That of the settings where no head was set.
    """
    head_set = parts[0].head_set if parts else ()
    if not head_set:
        return settings.chin_zero
    return read_clip(seen, replace(settings, head_set=head_set, on_target=None)).found.read.chin_zero


def read_film(
    seen: SeenClip,
    parts: Sequence[PartOfClip],
    settings: Settings,
    conditions: Conditions | None = None,
    label: str | None = None,
) -> ReadFilm:
    """Read every step of a recording with its own conditions.

    Parameters
    ----------
    seen : SeenClip
        The whole recording.
    parts : sequence of PartOfClip
        From `posture.filming.marks.clips_of`.
    settings : Settings
        For all of them; times in it are left out, as the steps have their own.
    conditions : Conditions or None
        What is known of all of them; what a step says stands above it.
    label : str or None

    Returns
    -------
    ReadFilm
    """
    conditions = conditions or Conditions()
    settings = replace(settings, chin_zero=chin_zero_of(seen, settings, parts), head_set=(), on_target=None, asked=())
    read = []
    for part in parts:
        if part.asked is not None:
            continue
        with contextlib.suppress(SpanError):
            cut = part_of(seen, *part.span)
            on_target = ((0.0, part.span[1] - part.span[0]),) if part.on_target else None
            own = replace(settings, on_target=on_target)
            read.append(ReadPart(part, read_clip(cut, own, part.conditions_with(conditions), label)))
    asked = tuple(Asked(part.asked, *part.span) for part in parts if part.asked and seen.time_s[-1] > part.span[0])
    if not asked:
        return ReadFilm(tuple(read), None)
    examination = read_clip(seen, replace(settings, asked=asked), conditions).examination
    if examination is not None and read:
        examination = examination.model_copy(update={"sha256": read[0].measured.summary.clip.sha256})
    return ReadFilm(tuple(read), examination)
