"""What is kept of a measured film so that it can be read again: angles of the child, no picture, no landmarks, no name of a file."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

from posture import __version__
from posture.batch.folder import stem_of
from posture.errors import OutputError, RecordsError
from posture.face.model import MODEL_SHA256, POSE_MODEL_SHA256
from posture.family.alike import Alike
from posture.records.seen import SeenFacts, facts_from, facts_json
from posture.records.track_bytes import pack_track, unpack_track
from posture.signal.track import HeadTrack
from posture.summary.files import write_whole, write_whole_bytes

ENDING = ".seen"

ALIKE_NAME = "alike.json"
"""Two numbers for each pair of films, from which no face can be made; what a face looks like is in memory only."""

FORM = "posture.family/1"


@dataclass(frozen=True)
class Kept:
    """What was seen of the child in one film, looked at so often."""

    facts: SeenFacts
    track: HeadTrack
    every_s: float


def pack_kept(kept: Kept) -> bytes:
    """As bytes: a line that says what made it and the facts, then the track."""
    header = {"form": FORM, "made_with": _made_with(), "every_s": kept.every_s, "facts": facts_json(kept.facts)}
    return json.dumps(header).encode() + b"\n" + pack_track(kept.track)


def unpack_kept(packed: bytes) -> Kept | None:
    """The same out of its bytes; None where another version made it, or it is damaged."""
    head, _, body = packed.partition(b"\n")
    try:
        header = json.loads(head)
        if header["form"] != FORM or header["made_with"] != _made_with():
            return None
        return Kept(facts_from(str(header["facts"])), unpack_track(body), float(header["every_s"]))
    except (ValueError, KeyError, TypeError, RecursionError, RecordsError):
        return None


def write_kept(folder: Path, kept: Kept) -> None:
    """Keep what was seen of a film.

    Raises
    ------
    OutputError
    """
    write_whole_bytes(folder / f"{stem_of(kept.facts.sha256)}{ENDING}", pack_kept(kept))


def read_kept(folder: Path, sha256: str, person: int, every_s: float) -> Kept | None:
    """What was kept of a file, if it was of that person and looked at so often.

    Parameters
    ----------
    folder : Path
    sha256 : str
    person : int
        Number in the film, from 1.
    every_s : float
    """
    try:
        kept = unpack_kept((folder / f"{stem_of(sha256)}{ENDING}").read_bytes())
    except OSError:
        return None
    is_it = kept is not None and (kept.facts.sha256, kept.facts.person, kept.every_s) == (sha256, person, every_s)
    return kept if is_it else None


def forget(folder: Path, sha256: str) -> None:
    """Remove all that is kept of a file, such as one that shows another child.

    Raises
    ------
    OutputError
    """
    for path in sorted(folder.glob(f"{stem_of(sha256)}.*")):
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            raise OutputError(
                f"Expected to remove '{path.name}' from the results; that failed ({error.strerror}). Remove it by hand."
            ) from error


def write_alike(folder: Path, alike: Mapping[frozenset[str], Alike]) -> None:
    """Keep how alike the faces of films are.

    Raises
    ------
    OutputError
    """
    pairs = sorted([*sorted(pair), a.picture, a.shape] for pair, a in alike.items())
    write_whole(folder / ALIKE_NAME, json.dumps({"form": FORM, "made_with": _made_with(), "pairs": pairs}, indent=0) + "\n")


def read_alike(folder: Path) -> dict[frozenset[str], Alike]:
    """How alike they are; nothing where another version compared them."""
    try:
        known = json.loads((folder / ALIKE_NAME).read_bytes())
        if known["form"] != FORM or known["made_with"] != _made_with():
            return {}
        return {frozenset((str(a), str(b))): Alike(float(picture), float(shape)) for a, b, picture, shape in known["pairs"]}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}


def _made_with() -> list[str]:
    """The versions on which the numbers depend."""
    return [__version__, version("mediapipe"), MODEL_SHA256, POSE_MODEL_SHA256]
