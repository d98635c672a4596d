"""What comes from the browser while it films: pieces, marks and notes of one session, put onto disk or refused in plain words."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from posture.errors import OutputError, PostureError
from posture.filming.looking import FaceWatcher
from posture.filming.marks import read_marks
from posture.filming.pieces import Recording, begin_recording

MOST_PIECE_CHARS = 40_000_000
"""Of one piece as text; a second of 720p has half a million."""

STARTED_ANEW = (
    "The page lost its connection while it was filming. What was recorded before is kept: load the page again, and it is offered"
    " above the camera."
)


@dataclass
class Filming:
    """What a session of the page keeps of its filming.

    Attributes
    ----------
    run : str or None
        Of the recording that the browser makes.
    recording : Recording or None
    ended : bool
        It was stopped, or taken up from what was left behind.
    trouble : str or None
        Why the browser must stop.
    number : int
        Of the recorder on the page: a new one for every recording.
    watcher : FaceWatcher
        Tells before filming whether a face is in view.
    """

    run: str | None = None
    recording: Recording | None = None
    ended: bool = False
    trouble: str | None = None
    number: int = 0
    watcher: FaceWatcher = field(default_factory=FaceWatcher)


def take_pieces(state: Filming, value: Mapping[str, Any], attendant: str) -> None:
    """Append the pieces of a message to the recording and keep its marks.

    Parameters
    ----------
    state : Filming
        Changed: also by what goes wrong, which the browser is told.
    value : mapping
        As film.js sends it: run, first (number of the first piece), pieces (base64), marks, notes, length_s, last.
    attendant : str
    """
    try:
        run, first, pieces = str(value["run"]), int(value["first"]), [_decoded(text) for text in value["pieces"]]
        if run != state.run:
            if first > 0:
                state.run, state.trouble = run, STARTED_ANEW
                return
            state.run, state.trouble, state.ended = run, None, False
            state.watcher.close()
            state.recording = begin_recording(attendant)
        if state.recording is None or state.trouble:
            return
        for number, data in enumerate(pieces, first):
            state.recording.append(number, data)
        notes = [str(note)[:400] for note in value["notes"]][:50]
        state.recording.note(read_marks(value["marks"]), notes, float(value["length_s"]))
        if value["last"] and state.recording.next_number >= first + len(pieces):
            state.recording.close()
            state.ended = True
    except PostureError as error:
        state.trouble = str(error)
        if state.recording is not None and state.recording.n_bytes:
            state.recording.close()
            state.ended = True


def _decoded(text: object) -> bytes:
    """A piece from its text."""
    if not isinstance(text, str) or len(text) > MOST_PIECE_CHARS:
        raise OutputError("Expected a second of film from the browser; something else came. Load the page anew.")
    try:
        return base64.b64decode(text, validate=True)
    except binascii.Error as error:
        raise OutputError("Expected a second of film from the browser; it came damaged. Load the page anew.") from error
