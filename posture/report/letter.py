"""One paragraph for the letter: plain text without a line break, to be pasted and edited by whoever signs it."""

from __future__ import annotations

from posture.clinic.sentences import CAUTIONS
from posture.report.free_text import CUT
from posture.report.notes import Notes, say_age
from posture.report.paper_findings import outcome_words
from posture.report.paper_words import seconds_words
from posture.summary.words import result_sentences

SHORT_DISCLAIMER = (
    "This is a screening aid, not a diagnosis; a normal or a neck result does not exclude disease of eye or brain, and the method has not"
    " been clinically validated."
)
LONGEST = 1000
"""Letters of one text, so that a slip of the hand does not fill the letter."""

MOST_NEXT = 4
"""Of what to do next, the most important first; a letter is no list."""


def letter_paragraph(notes: Notes) -> str:
    """Say for a letter what was measured and how far it goes: what is urgent first, the limits last.

    Parameters
    ----------
    notes : Notes

    Returns
    -------
    str
        Plain text in one line; no code, no name of a file. While no side is known of the clip, none in it but what was typed.
    """
    said = list(notes.urgent)
    if not notes.flags_asked:
        said.append(CAUTIONS["red flags"].text)
    said.append(_opening(notes))
    said += result_sentences(notes.main)
    if notes.eye_estimate:
        said.append(f"The examiner's own estimate by eye: {notes.eye_estimate}.")
    said += notes.change
    if notes.hint:
        said.append(_of_hint(notes))
        said += [f"Next: {text}" if i == 0 else text for i, text in enumerate(notes.hint.next[:MOST_NEXT])]
    said.append(SHORT_DISCLAIMER)
    return " ".join(_plain(text) for text in said)


def _opening(notes: Notes) -> str:
    """How and when it was filmed."""
    given = notes.main.conditions
    when = f" filmed on {given.filmed_on}" if given.filmed_on else ""
    age = "" if notes.age is None else f" at the age of {say_age(notes.age)}"
    what = "a photograph" if notes.main.clip.duration_s is None else "video"
    opening = f"The head posture was measured from {what}{when}{age}"
    length = notes.main.clip.duration_s
    if notes.main.habitual:
        return f"{opening} ({seconds_words(notes.main).rstrip('.')})."
    return f"{opening}." if length is None else f"{opening} ({length:.0f} s filmed)."


def _of_hint(notes: Notes) -> str:
    """The outcome; that no side is suspected needs no comparison."""
    words = outcome_words(notes.hint)
    return words if notes.suspected != "unknown" else words.rsplit(". ", 1)[0] + "."


def _plain(text: str) -> str:
    """Text without breaks or control signs, of a length that a letter bears."""
    shown = " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
    return shown if len(shown) <= LONGEST else shown[: LONGEST - len(CUT)] + CUT
