"""Other clips of the same child, to be laid beside the one that is shown: measured since the page was opened, or from files.

Which of them are of the same child the user ticks; nothing is ticked by itself. Kept are records of a few kilobytes, no picture and no
file name.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import BinaryIO

import streamlit as st

from posture.clinic.examination import Examination
from posture.errors import RecordError
from posture.page.record_files import LARGEST_BYTES, Document, read_document
from posture.page.style import no_markup, tag
from posture.summary.record import Conditions, Summary
from posture.summary.words import say_angle

MOST = 12
"""So many clips are kept while the page is open, and as many from files; the oldest goes first."""

SHOWN_LETTERS = 40
"""Of a text in a condition: the beginning is enough to tell clips apart."""

NOTE = (
    "Tick those of the same child: with an eye covered, looking far and near, hard and idly, without and with glasses, with movements that"
    " were asked. Nothing is taken by itself."
)
NONE_YET = (
    "There are none yet. Measure another clip of the child, with an eye covered or with and without glasses, and it is offered here; or"
    " add records from files."
)
UPLOAD = "Add records of clips (files that end in .summary.json or .examination.json)"

_FILES, _TICKED, _SAID, _ROUND = "others-files", "others-ticked", "others-said", "others-round"
"""Keys of what the open page keeps: records from files by their mark; what is ticked, with the clip that it belongs to; what was wrong with files; how
often the uploader was emptied."""


@dataclass(frozen=True)
class Others:
    """What the user ticked, in the order of the list."""

    summaries: tuple[Summary, ...] = ()
    examinations: tuple[Examination, ...] = ()


def remember(kept: Sequence[Document], summary: Summary, examination: Examination | None = None) -> tuple[Document, ...]:
    """Keep a clip that was measured, in the place of an earlier reading of it: a person who was not meant is not kept.

    Parameters
    ----------
    kept : sequence of Summary and Examination
        The oldest first.
    summary : Summary
    examination : Examination or None
        What was asked in the clip.

    Returns
    -------
    tuple of Summary and Examination
        Of at most `MOST` clips.
    """
    own = (summary,) if examination is None else (summary, examination)
    others = [one for one in kept if sha256_of(one) != summary.clip.sha256]
    clips = list(dict.fromkeys(sha256_of(one) for one in others))
    gone = clips[: max(len(clips) + 1 - MOST, 0)]
    return (*(one for one in others if sha256_of(one) not in gone), *own)


def sha256_of(document: Document) -> str:
    """The file that a record is of.

    Parameters
    ----------
    document : Summary or Examination
    """
    return document.sha256 if isinstance(document, Examination) else document.clip.sha256


def mark_of(document: Document) -> str:
    """What tells records apart: the clip, and the person in it.

    Parameters
    ----------
    document : Summary or Examination
    """
    if isinstance(document, Examination):
        return f"asked {document.sha256}"
    return f"clip {document.clip.sha256} {document.clip.person}"


def ask_others(key: str, shown: Summary, measured: Sequence[Document]) -> Others:
    """Ask which other clips are of the same child.

    Parameters
    ----------
    key : str
        Of the clip that is shown: ticks belong to it and go with it.
    shown : Summary
        Never among the others.
    measured : sequence of Summary and Examination
        Since the page was opened, the oldest first. What was asked in a clip goes with its summary; that of the clip that is shown is taken
        without asking.

    Returns
    -------
    Others
    """
    state = st.session_state
    if state.get(_TICKED, (None,))[0] != key:
        state[_TICKED] = (key, set())
    ticked: set[str] = state[_TICKED][1]
    files: dict[str, Document] = state.setdefault(_FILES, {})
    # What was measured here is not asked for again from a file.
    asked = {one.sha256: one for one in measured if isinstance(one, Examination)}
    known = {mark_of(one) for one in measured}
    listed: dict[str, tuple[str, Document]] = {
        mark_of(one): ("measured here", one) for one in measured if isinstance(one, Summary)
    }
    listed |= {mark: ("from a file", one) for mark, one in files.items() if mark not in known}
    listed.pop(mark_of(shown), None)
    st.html(tag("p", "Other clips of the same child", "p-head") + tag("p", NOTE if listed else NONE_YET, "p-note"))
    taken: list[Document] = [asked[shown.clip.sha256]] if shown.clip.sha256 in asked else []
    for mark, (where, one) in listed.items():
        with_it = asked.get(one.clip.sha256) if isinstance(one, Summary) and where == "measured here" else None
        if _tick(mark, f"{where}: {say_document(one, shown, with_it)}", key, ticked):
            taken += [one] if with_it is None else [one, with_it]
    with st.expander("Records from files"):
        _ask_files(shown)
    # Outside of what may be folded.
    for line in state.get(_SAID, ()):
        st.error(no_markup(line))
    return Others(
        tuple(one for one in taken if isinstance(one, Summary)), tuple(one for one in taken if isinstance(one, Examination))
    )


def say_document(document: Document, shown: Summary, asked: Examination | None = None) -> str:
    """A clip in one line by its conditions, never by a file's name.

    Parameters
    ----------
    document : Summary or Examination
    shown : Summary
        The clip beside which it is to be laid: while its side is not known none is named here either.
    asked : Examination or None
        What was asked in the clip of a summary.

    Returns
    -------
    str
        Plain text, not escaped.
    """
    sided = document.sided and shown.sided
    if isinstance(document, Examination):
        return _say_asked(document, sided)
    said = [*_say_conditions(document.conditions, sided)]
    has_posture = document.habitual or document.unsided or document.postures
    if asked is not None:
        said.insert(0, _say_asked(asked, sided and asked.sided))
    if asked is None or has_posture:
        said.append(_say_tilt(document, sided))
    label, own = document.clip.label, shown.clip.label
    if label:
        said.append(f"code {_cut(label)}" + (", another code than the clip shown" if own and own != label else ""))
    return "; ".join(said)


def _tick(mark: str, words: str, key: str, ticked: set[str]) -> bool:
    """One clip to tick; the answer is kept beside the widget, as the server forgets what is not drawn."""
    widget = f"others-{mark}|{key}"
    if widget not in st.session_state:
        st.session_state[widget] = mark in ticked
    answer = bool(st.checkbox(no_markup(words[0].upper() + words[1:]), key=widget))
    (ticked.add if answer else ticked.discard)(mark)
    return answer


def _ask_files(shown: Summary) -> None:
    """The uploader; it is emptied as soon as its files are read, as their names are often a child's."""
    state = st.session_state
    widget = f"others-upload-{state.get(_ROUND, 0)}"
    st.file_uploader(
        UPLOAD, type=["json"], accept_multiple_files=True, key=widget, on_change=_take_files, args=(widget, mark_of(shown))
    )


def _take_files(widget: str, shown: str) -> None:
    """Read the files that were given, and say in a line each what is wrong with them."""
    state = st.session_state
    uploads: list[BinaryIO] = state.get(widget) or []
    if not uploads:
        return
    files: dict[str, Document] = state.setdefault(_FILES, {})
    said = []
    for number, upload in enumerate(uploads, 1):
        which = f"File {number} of {len(uploads)}: " if len(uploads) > 1 else ""
        try:
            document = read_document(upload.read(LARGEST_BYTES + 1))
        except RecordError as error:
            said.append(f"{which}{error}")
            continue
        mark = mark_of(document)
        if mark == shown:
            said.append(f"{which}Expected another clip; this is the record of the one that is shown. Choose another.")
            continue
        files.pop(mark, None)
        files[mark] = document
    for mark in [*files][:-MOST]:
        del files[mark]
    state[_SAID] = said
    state[_ROUND] = state.get(_ROUND, 0) + 1


def _say_conditions(conditions: Conditions, sided: bool) -> Iterator[str]:
    """The conditions that are known, the covered eye first."""
    eye, minutes = conditions.covered_eye, conditions.covered_minutes
    if eye in ("right", "left"):
        yield f"{eye if sided else 'one'} eye covered" + ("" if minutes is None else f" for {minutes:g} min")
    else:
        yield "both eyes open"
    at = "" if conditions.target_distance_m is None else f" at {conditions.target_distance_m:g} m"
    if conditions.target or at:
        yield f"target {conditions.target or 'not stated'}{at}"
    given = {"correction": conditions.correction, "attention": conditions.attention, "drops": conditions.drops}
    yield from (f"{name} {_cut(value)}" for name, value in given.items() if value)
    yield from (
        _cut(value) for value in (conditions.position, conditions.filmed_on and f"filmed {conditions.filmed_on}") if value
    )
    if conditions.age_months is not None:
        yield f"age {conditions.age_months} months"


def _say_asked(examination: Examination, sided: bool) -> str:
    """What was asked, each movement once."""
    movements: list[str] = [one.movement for one in examination.asked]
    if not sided:
        movements = sorted({movement.split()[0] for movement in movements})
    who = ", moved by the examiner" if examination.passive else ""
    return f"movements that were asked ({_cut(', '.join(dict.fromkeys(movements))) or 'none'}){who}"


def _say_tilt(summary: Summary, sided: bool) -> str:
    """The tilt, by which a clip is known again; its size where a side may not be named."""
    tilt = summary.habitual.tilt_deg if summary.habitual else summary.unsided and summary.unsided.tilt_size_deg
    if not tilt:
        return "no habitual tilt"
    words = say_angle("tilt", tilt) if sided else f"{abs(tilt.value):.0f} degrees, side not named"
    return words if words == "upright" else f"tilt {words}"


def _cut(text: str) -> str:
    """The beginning of a text, without what cannot be printed."""
    plain = "".join(letter if letter.isprintable() else " " for letter in text)
    return plain if len(plain) <= SHOWN_LETTERS else f"{plain[:SHOWN_LETTERS]}…"
