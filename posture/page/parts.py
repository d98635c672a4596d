"""The steps of a filmed examination as results: every one is read and kept, and one at a time is shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import streamlit as st

from posture.clinic.examination import examination_sentences
from posture.filming.marks import PartOfClip
from posture.filming.parts import ReadFilm, ReadPart, part_of, read_film
from posture.measure import Settings
from posture.page.choose import Answers
from posture.page.film import Film, erase_film_file
from posture.page.others import Document, remember
from posture.page.result import file_stem
from posture.page.style import tag
from posture.see import SeenClip
from posture.summary.files import write_whole
from posture.summary.record import Summary

QUESTION = "Which step of the examination?"

_READ = "read parts"
"""Key under which the session keeps what was read last."""


def has_parts(film: Film | None) -> bool:
    """Whether a recording has steps with a posture to be shown."""
    return film is not None and any(part.asked is None for part in film.parts)


def ask_part(film: Film, seen: SeenClip, answers: Answers, settings: Settings, folder: Path) -> tuple[SeenClip, Answers]:
    """Read and keep every step of an examination, and ask which one is shown.

    Parameters
    ----------
    film : Film
        With at least one step that is no asked movement.
    seen : SeenClip
        The whole recording.
    answers : Answers
        For the whole recording.
    settings : Settings
        With what else was settled: upright and the person.
    folder : Path
        For the results.

    Returns
    -------
    tuple of SeenClip and Answers
        Of the step that is chosen.

    Raises
    ------
    PostureError
        If a result cannot be written.
    """
    read = _read_all(film, seen, replace(answers, settings=settings), folder)
    shown = {one.part.name: one for one in read.parts}
    if not shown:
        return seen, answers
    names = list(shown)
    name = st.segmented_control(
        QUESTION, names, format_func=lambda n: shown[n].part.title if n in shown else n, key=f"part-{film.token[1]}",
        default=names[0], required=True, label_visibility="collapsed",
    ) or names[0]  # fmt: skip
    st.html("".join(tag("p", line, "p-note") for line in _said(read)))
    one = shown.get(name, shown[names[0]])
    return part_of(seen, *one.part.span), _answers_of(one, answers)


def summaries_of(film: Film) -> list[Summary]:
    """The summaries of all steps as they were read last, in order of time."""
    token, read = st.session_state.get(_READ, (None, None))
    if token is None or token[0] != film.token:
        return []
    return [one.measured.summary for one in read.parts]


def with_parts(kept: Sequence[Document], film: Film | None) -> tuple[Document, ...]:
    """Keep all steps as they were read last, and what was asked beside the one whose mark it bears.

    Parameters
    ----------
    kept : sequence of Summary and Examination
    film : Film or None
        Of one without steps nothing is added.
    """
    token, read = st.session_state.get(_READ, (None, None))
    asked = None if film is None or token is None or token[0] != film.token else read.asked
    for summary in summaries_of(film) if film is not None and has_parts(film) else ():
        is_of_it = asked is not None and asked.sha256 == summary.clip.sha256
        kept = remember(kept, summary, asked if is_of_it else None)
    return tuple(kept)


def film_is_done(film: Film | None, face_was_seen: bool) -> bool:
    """Erase the film, now that its result is on disk, and tell whether it was; one without a face stays, to be looked into."""
    if film is None or not film.is_there or not face_was_seen:
        return False
    erase_film_file()
    return True


def _read_all(film: Film, seen: SeenClip, answers: Answers, folder: Path) -> ReadFilm:
    """All steps, read and written once for these answers."""
    token = (film.token, seen.sha256, answers)
    known, read = st.session_state.get(_READ, (None, None))
    if known == token and isinstance(read, ReadFilm):
        return read
    read = read_film(seen, film.parts, answers.settings, answers.conditions, answers.label)
    stem = file_stem(answers.label)
    for one in read.parts:
        one.measured.save(folder, f"{stem}-{one.part.name}")
    if read.asked is not None:
        write_whole(folder / f"{stem}-asked.examination.json", read.asked.to_json())
    st.session_state[_READ] = token, read
    return read


def _answers_of(one: ReadPart, answers: Answers) -> Answers:
    """The answers with which a step was read."""
    part: PartOfClip = one.part
    read = one.measured.found.read.settings
    settings = replace(answers.settings, on_target=read.on_target, head_set=(), chin_zero=read.chin_zero, asked=())
    label = f"{answers.label} {part.name}" if answers.label else answers.label
    return replace(answers, settings=settings, conditions=part.conditions_with(answers.conditions), label=label)


def _said(read: ReadFilm) -> list[str]:
    """What is said of asked movements and of the reference."""
    lines = [] if read.asked is None else examination_sentences(read.asked)
    zero = read.parts[0].measured.found.read.settings.chin_zero
    if zero is not None:
        times = "once" if zero.settings == 1 else f"{zero.settings} times"
        lines.append(f"The chin is read from the head as it was set straight, {times}.")
    return lines
