"""Measures films and photographs of one child in one go: what is measured is kept at once, and the next run reads it again."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from posture.batch.child import Job
from posture.batch.folder import sha256_of, stem_of
from posture.clinic.dates import When, when_of
from posture.errors import ClipError, ModelError, PostureError
from posture.family.alike import Alike, how_alike
from posture.family.children import Measuring, OnShare, measure_in_children
from posture.family.dates import age_months, check_date, date_of
from posture.family.items import Face, FamilyItem
from posture.family.keeping import Kept, forget, read_alike, read_kept, write_alike, write_kept
from posture.family.listing import Listed
from posture.family.same_child import doubts_of
from posture.measure import Measurement, Settings, read_clip
from posture.records.seen import facts_of, seen_again
from posture.records.track_bytes import pack_track, unpack_track
from posture.summary.files import sweep_unfinished
from posture.summary.record import Conditions


def settings_of_listed(listed: Listed) -> Settings:
    """Settings for a film at home: upright from plumb lines in the picture where there are some, mirrored as the list says."""
    return Settings(mirrored=listed.mirrored, from_scene=True, person=listed.person)


def measure_family(
    listed: Sequence[Listed],
    folder: Path,
    settings_of: Callable[[Listed], Settings] = settings_of_listed,
    *,
    born: str | None = None,
    workers: int = 1,
    again: bool = False,
    on_progress: OnShare = lambda number, share: None,
    measuring: Measuring | None = None,
) -> list[FamilyItem]:
    """Measure films and photographs of one child, each in a process of its own, and look whether they show one child.

    Parameters
    ----------
    listed : sequence of Listed
    folder : Path
        For the results, under neutral names: a track, a summary and what was seen of each, and how alike the faces are. What an earlier
        run measured of the same file and the same person is read again, with the settings of now.
    settings_of : callable
        The settings for one of them; the person is the listed one.
    born : str or None
        Month of birth, "2018-05".
    workers : int
        How many are measured at a time.
    again : bool
        Measure all anew.
    on_progress : callable
        See `OnShare`; numbers are places in ``listed``.
    measuring : callable or None
        See `Measuring`; None measures in child processes.

    Returns
    -------
    list of FamilyItem
        In the order of ``listed``; one that cannot be measured holds its error; what is said not to be the child is not measured, and
        what was kept of it is removed.

    Raises
    ------
    ModelError
        If no film can be measured at all.
    OutputError
        If results cannot be written.
    DateError
        If the month of birth or the date of one is none, or cannot be.
    """
    sweep_unfinished(folder)
    birth = when_of(born)
    for one in listed:
        check_date(one.filmed_on, birth)
    hashes = [sha256_of(one.path) for one in listed]
    keys = [(sha256, one.person or 1) for one, sha256 in zip(listed, hashes, strict=True)]
    kept, todo = _known(listed, keys, folder, settings_of, again)
    errors: dict[tuple[str, int], PostureError] = {}
    faces: dict[tuple[str, int], tuple[Face, ...]] = {}
    jobs = [Job(listed[number].path, settings_of(listed[number])) for number in todo.values()]
    numbers, todo_keys = list(todo.values()), list(todo)
    running = (measuring or measure_in_children)(jobs, workers, lambda k, share: on_progress(numbers[k], share))
    with contextlib.closing(running):
        for k, came in running:
            key = todo_keys[k]
            if isinstance(came, ModelError):
                raise came
            if isinstance(came, PostureError):
                errors[key] = came
            elif came.measurement.seen.sha256 != key[0]:
                errors[key] = ClipError(f"Expected '{jobs[k].path.name}' as it was; it changed meanwhile. Run it again.")
            else:
                kept[key] = _kept_of(came.measurement, key[1], jobs[k].settings.every_s)
                write_kept(folder, kept[key])
                persons = zip(came.measurement.seen.persons, came.looks, strict=True)
                faces[key] = tuple(Face(person.portrait, looks, person.is_still) for person, looks in persons)
    items = [
        _read(one, key, kept.get(key), errors.get(key), faces.get(key, ()), settings_of(one), birth, folder)
        for one, key in zip(listed, keys, strict=True)
    ]
    return _with_doubts(items, faces, {} if again else read_alike(folder), folder)


def _known(
    listed: Sequence[Listed],
    keys: Sequence[tuple[str, int]],
    folder: Path,
    settings_of: Callable[[Listed], Settings],
    again: bool,
) -> tuple[dict[tuple[str, int], Kept], dict[tuple[str, int], int]]:
    """What an earlier run kept, and the places in the list of what has to be measured; what is not the child is forgotten."""
    kept: dict[tuple[str, int], Kept] = {}
    todo: dict[tuple[str, int], int] = {}
    for number, (one, key) in enumerate(zip(listed, keys, strict=True)):
        if not key[0]:
            continue
        if one.is_the_child is False:
            forget(folder, key[0])
            continue
        found = None if again else read_kept(folder, *key, settings_of(one).every_s)
        if found is not None:
            kept[key] = found
        else:
            todo.setdefault(key, number)
    return kept, todo


def _kept_of(measurement: Measurement, person: int, every_s: float) -> Kept:
    """What is kept of a measurement: the track as it comes back from disk, so that the next run gives the same numbers."""
    seen = measurement.seen
    track = seen.persons[person - 1].track if person <= len(seen.persons) else seen.empty_track()
    return Kept(facts_of(seen, person), unpack_track(pack_track(track)), every_s)


def _read(
    listed: Listed,
    key: tuple[str, int],
    kept: Kept | None,
    error: PostureError | None,
    faces: tuple[Face, ...],
    settings: Settings,
    born: When | None,
    folder: Path,
) -> FamilyItem:
    """What was seen, read with the settings of now."""
    if listed.is_the_child is False:
        return FamilyItem(listed, key[0])
    if kept is None:
        error = error or ClipError(f"Expected to read '{listed.path.name}'; that failed. Copy it to this computer again.")
        return FamilyItem(listed, key[0], error=error)
    facts = kept.facts
    on, source, note = date_of(listed.filmed_on, facts.filmed_on, facts.filmed_on_source, born)
    age = age_months(on, born)
    conditions = Conditions(filmed_on=on, filmed_on_source=source, age_months=age)
    # A date that cannot be must not come back from the file.
    seen = replace(seen_again(facts, kept.track), filmed_on=None, filmed_on_source=None)
    measured = read_clip(seen, replace(settings, person=listed.person), conditions)
    measured.save(folder, stem_of(key[0]))
    still = facts.still_persons
    return FamilyItem(
        listed=listed,
        sha256=key[0],
        kind="photograph" if facts.kind == "photograph" else "film",
        summary=measured.summary,
        filmed_on=on,
        filmed_on_source=source,
        age_months=age,
        persons=len(still) if facts.kind == "photograph" else still.count(False) or len(still),
        faces=faces,
        note=note,
        measured_now=bool(faces),
    )


def _with_doubts(
    items: list[FamilyItem], faces: Mapping[tuple[str, int], tuple[Face, ...]], alike: dict[frozenset[str], Alike], folder: Path
) -> list[FamilyItem]:
    """The same items, those marked whose face does not look like that of most."""
    looks = {
        _name(key): looked
        for key, persons in faces.items()
        if key[1] <= len(persons) and (looked := persons[key[1] - 1].looks) is not None
    }
    names = sorted(looks)
    # A film that was measured anew may have changed; pairs with it are all from now.
    fresh = {frozenset((a, b)): how_alike(looks[a], looks[b]) for i, a in enumerate(names) for b in names[i + 1 :]}
    alike = alike | fresh
    here = {_name((item.sha256, item.listed.person or 1)) for item in items if item.summary is not None}
    alike = {pair: one for pair, one in alike.items() if pair <= here}
    if alike or fresh:
        write_alike(folder, alike)
    asked = dict.fromkeys(
        _name((item.sha256, item.listed.person or 1))
        for item in items
        if item.summary is not None and item.summary.clip.person is not None
    )
    doubts = doubts_of(list(asked), alike)
    return [replace(item, doubt=doubts.get(_name((item.sha256, item.listed.person or 1)))) for item in items]


def _name(key: tuple[str, int]) -> str:
    """What a person of a file is called among those whose faces were compared."""
    return f"{stem_of(key[0])}-{key[1]}"
