"""A recording on disk: pieces appended as they come, its marks beside it, and what was left behind found again.

Every recording has a folder of its own in the user's private one, owned by the process that records. It goes when its result is
saved or when somebody says so, and never by itself: after a crash it is offered at the next start.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from posture.errors import OutputError, SpanError
from posture.filming.marks import Mark, marks_from, marks_text
from posture.filming.owner import is_owned, own
from posture.folders import PRIVATE, data_folder
from posture.summary.files import write_whole

PRIVATE_FILE = 0o600

FILM, MARKS = "film", "marks.json"
"""Names in the folder of a recording; nothing in it names anybody."""

SYNC_EVERY_S = 2.0
"""What came is forced to disk this often: a power cut loses no more."""

LEAST_FREE_BYTES = 1_500_000_000
"""Half an hour at 720p takes about a gigabyte."""

LARGEST_BYTES = 4_000_000_000
"""No half hour of a webcam is larger; what is, is none."""

OLD_DAYS = 7
"""A recording that lies there for longer is told as old: films of children are not kept by oversight (common practice, no source)."""

BEGINNING_S = 60.0
"""An empty folder that is younger belongs to a recording that is just beginning."""


class Recording:
    """A recording of this process, being made or made.

    Attributes
    ----------
    folder, path : Path
        The film is at `path`, under a neutral name.
    attendant : str
        Whose it is, for `left_behind`: a session of the page.
    marks : tuple of Mark
    notes : tuple of str
        What happened while it was made, in plain words.
    length_s : float
    n_bytes : int
    """

    def __init__(self, folder: Path, path: Path, owner: IO[str], attendant: str) -> None:
        self.folder = folder
        self.path = path
        self.attendant = attendant
        self.marks: tuple[Mark, ...] = ()
        self.notes: tuple[str, ...] = ()
        self.length_s = 0.0
        self.begun = datetime.now().astimezone()
        self.n_bytes = path.stat().st_size if path.exists() else 0
        self._next = 0
        self._owner = owner
        self._file: IO[bytes] | None = None
        self._synced_s = 0.0
        self._told: tuple[object, ...] = ()

    @property
    def next_number(self) -> int:
        """The number of the piece that comes next: all before it are kept."""
        return self._next

    def append(self, number: int, data: bytes) -> int:
        """Append a piece.

        Parameters
        ----------
        number : int
            From 0; a piece that is there already is left as it is, so that sending it twice does no harm.
        data : bytes

        Returns
        -------
        int
            The number of the piece that is expected next; unchanged where an earlier one is missing.

        Raises
        ------
        OutputError
            If it cannot be written; what was written before is kept.
        """
        if number != self._next:
            return self._next
        if self.n_bytes + len(data) > LARGEST_BYTES:
            raise OutputError("Expected a recording under 4 GB; this one is larger. Stop it: what was recorded is kept.")
        try:
            if self._file is None:
                self._file = open(self.path, "ab", opener=_private_opener)  # noqa: SIM115 - kept open while it records.
            self._file.write(data)
            self._file.flush()
            now_s = time.monotonic()
            if now_s - self._synced_s >= SYNC_EVERY_S:
                os.fsync(self._file.fileno())
                self._synced_s = now_s
        except OSError as error:
            # Half a piece would stand before the next one: it is taken off again.
            with contextlib.suppress(OSError):
                os.truncate(self.path, self.n_bytes)
            raise OutputError(
                f"Expected to keep the recording on disk; that failed ({error.strerror}). Free some space: what was recorded so far"
                " is kept."
            ) from error
        self.n_bytes += len(data)
        self._next += 1
        return self._next

    def note(self, marks: Sequence[Mark], notes: Sequence[str], length_s: float) -> None:
        """Write marks, notes and length beside the film, whole; nothing is written where nothing is new.

        Parameters
        ----------
        marks : sequence of Mark
        notes : sequence of str
        length_s : float

        Raises
        ------
        OutputError
        """
        self.marks, self.notes, self.length_s = tuple(marks), tuple(notes), length_s
        told = (self.marks, self.notes, int(length_s / SYNC_EVERY_S))
        if told != self._told:
            self._told = told
            self._write()

    def close(self) -> None:
        """End the recording: all of it is on disk after this. It stays this process's until `erase`."""
        if self._file is not None:
            with self._file as file, contextlib.suppress(OSError):
                os.fsync(file.fileno())
            self._file = None
            self._write()

    def erase(self) -> None:
        """Remove the film and all that lies beside it."""
        if self._file is not None:
            self._file.close()
            self._file = None
        self._owner.close()
        _held.pop(self.folder, None)
        shutil.rmtree(self.folder, ignore_errors=True)

    def _write(self) -> None:
        """Write what is known of it."""
        more: dict[str, Any] = {
            "begun": self.begun.isoformat(timespec="seconds"),
            "length_s": round(self.length_s, 2),
            "notes": list(self.notes),
        }
        write_whole(self.folder / MARKS, marks_text(self.marks, **more))
        (self.folder / MARKS).chmod(PRIVATE_FILE)


@dataclass(frozen=True)
class LeftBehind:
    """A recording that nobody attends to: its tab was closed, its page ended, or the computer crashed.

    Attributes
    ----------
    folder : Path
    begun : datetime
        Local.
    length_s : float or None
        None is not known.
    n_bytes : int
    days : int
        Since it was begun.
    """

    folder: Path
    begun: datetime
    length_s: float | None
    n_bytes: int
    days: int

    @property
    def is_old(self) -> bool:
        """Whether it has lain there for longer than `OLD_DAYS`."""
        return self.days > OLD_DAYS


_held: dict[Path, Recording] = {}
"""Recordings of this process by their folder."""


def recordings_folder() -> Path:
    """Where recordings lie until they are measured or erased.

    Raises
    ------
    OutputError
    """
    folder = data_folder() / "recordings"
    try:
        folder.mkdir(mode=PRIVATE, exist_ok=True)
        folder.chmod(PRIVATE)
    except OSError as error:
        raise OutputError(
            f"Expected to keep recordings in '{folder}'; that failed ({error.strerror}). Free some space."
        ) from error
    return folder


def begin_recording(attendant: str = "", suffix: str = ".webm") -> Recording:
    """Begin a recording.

    Parameters
    ----------
    attendant : str
        See `Recording`.
    suffix : str
        Of the film's name.

    Returns
    -------
    Recording

    Raises
    ------
    OutputError
        If there is no space or no folder for it.
    """
    place = recordings_folder()
    free = shutil.disk_usage(place).free
    if free < LEAST_FREE_BYTES:
        raise OutputError(
            f"Expected {LEAST_FREE_BYTES / 1e9:.1f} GB free for a recording; {free / 1e9:.1f} GB are. Free some space, or erase earlier"
            " recordings."
        )
    try:
        folder = Path(tempfile.mkdtemp(prefix=f"{datetime.now():%Y-%m-%d-%H%M}-", dir=place))
        owner = own(folder)
    except OSError as error:
        raise OutputError(
            f"Expected to make a folder in '{place}'; that failed ({error.strerror}). Free some space."
        ) from error
    recording = Recording(folder, folder / f"{FILM}{suffix}", owner, attendant)
    _held[folder] = recording
    return recording


def left_behind(is_attended: Callable[[str], bool] = lambda attendant: True) -> list[LeftBehind]:
    """Find recordings that nobody attends to; empty ones are removed.

    Parameters
    ----------
    is_attended : callable
        Whether an attendant of this process is still there.

    Returns
    -------
    list of LeftBehind
        The newest first.

    Raises
    ------
    OutputError
    """
    found = []
    for folder in recordings_folder().iterdir():
        if folder.is_symlink() or not folder.is_dir():
            continue
        held = _held.get(folder)
        if is_attended(held.attendant) if held is not None else is_owned(folder):
            continue
        film = _film_in(folder)
        if film is None or film.stat().st_size == 0:
            if time.time() - folder.stat().st_mtime > BEGINNING_S:
                shutil.rmtree(folder, ignore_errors=True)
            continue
        begun, length_s, _ = _known_of(folder, film)
        days = (datetime.now().astimezone() - begun).days
        found.append(LeftBehind(folder, begun, length_s, film.stat().st_size, max(0, days)))
    return sorted(found, key=lambda left: left.begun, reverse=True)


def take_up(left: LeftBehind, attendant: str = "") -> Recording:
    """Attend to a recording that was left behind.

    Parameters
    ----------
    left : LeftBehind
    attendant : str

    Returns
    -------
    Recording
        Ended; with the marks that reached the disk.

    Raises
    ------
    OutputError
        If it is gone or another process has taken it up meanwhile.
    """
    held = _held.get(left.folder)
    if held is not None:
        held.close()
        held.attendant = attendant
        return held
    film = _film_in(left.folder)
    try:
        if film is None:
            raise FileNotFoundError
        owner = own(left.folder)
    except OSError as error:
        raise OutputError(
            "Expected the recording to be there for the taking; it is gone, or another page has it. Load this page again."
        ) from error
    recording = Recording(left.folder, film, owner, attendant)
    recording.begun, length_s, recording.notes = _known_of(left.folder, film)
    recording.length_s = length_s or 0.0
    # A film can be measured without its marks.
    with contextlib.suppress(OSError, SpanError):
        recording.marks = marks_from((left.folder / MARKS).read_text(encoding="utf-8"))
    _held[left.folder] = recording
    return recording


def _film_in(folder: Path) -> Path | None:
    """The film in the folder of a recording."""
    return next(iter(folder.glob(f"{FILM}.*")), None)


def _known_of(folder: Path, film: Path) -> tuple[datetime, float | None, tuple[str, ...]]:
    """When it was begun, how long it is, and its notes, as far as that reached the disk."""
    begun = datetime.fromtimestamp(film.stat().st_mtime).astimezone()
    try:
        values = json.loads((folder / MARKS).read_text(encoding="utf-8"))
        notes = tuple(str(note) for note in values["notes"])
        return datetime.fromisoformat(values["begun"]).astimezone(), float(values["length_s"]), notes
    except (OSError, ValueError, KeyError, TypeError):
        return begun, None, ()


def _private_opener(path: str, flags: int) -> int:
    """Open a file that nobody else may read."""
    return os.open(path, flags, PRIVATE_FILE)
