"""Private folders of the page: uploads for as long as they are measured, results for good.

Everything lies in one folder of the user that nobody else may enter. Each running page has a folder of its own in it for uploads
and drawn samples; it holds the page's process number and a lock, and goes with the page or, after a crash, at the next start.
"""

from __future__ import annotations

import atexit
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import IO, BinaryIO

from posture.errors import OutputError
from posture.filming.owner import OWNER, is_owned, own
from posture.folders import PRIVATE, data_folder

WORK = "work-"
"""How the folder of a running page begins."""

UPLOAD_NAME = "this file"
"""An upload's own name is often a child's; this is what an error calls it instead."""

PIECE_BYTES = 1 << 20

BEGINNING_S = 60.0
"""A folder without an owner that is younger belongs to a page that is just starting."""

_held: list[IO[str]] = []
"""Owner files of this process; closing one would give up its lock."""


@cache
def work_folder() -> Path:
    """The folder of this running page; those of pages that are gone are swept first.

    Returns
    -------
    Path
        Removed when the process ends.

    Raises
    ------
    OutputError
    """
    data = data_folder()
    sweep(data)
    try:
        folder = Path(tempfile.mkdtemp(prefix=WORK, dir=data))
        owner = own(folder)
    except OSError as error:
        raise OutputError(f"Expected to make a folder in '{data}'; that failed ({error.strerror}). Free some space.") from error
    _held.append(owner)
    atexit.register(_leave, folder, owner)
    return folder


def results_folder() -> Path:
    """A new folder for the results of one session; kept.

    Returns
    -------
    Path

    Raises
    ------
    OutputError
    """
    results = data_folder() / "results"
    try:
        results.mkdir(mode=PRIVATE, exist_ok=True)
        return Path(tempfile.mkdtemp(prefix=f"{datetime.now():%Y-%m-%d-%H%M}-", dir=results))
    except OSError as error:
        raise OutputError(
            f"Expected to make a folder in '{results}'; that failed ({error.strerror}). Free some space."
        ) from error


@contextmanager
def kept_upload(upload: BinaryIO) -> Iterator[Path]:
    """Keep an upload on disk for as long as the block lasts.

    Parameters
    ----------
    upload : binary file
        Read from its beginning, in pieces.

    Yields
    ------
    Path
        Under a neutral name.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    folder: Path | None = None
    try:
        try:
            folder = Path(tempfile.mkdtemp(prefix="upload-", dir=work_folder()))
            path = folder / UPLOAD_NAME
            upload.seek(0)
            with path.open("wb") as file:
                shutil.copyfileobj(upload, file, PIECE_BYTES)
        except OSError as error:
            raise OutputError(
                f"Expected to keep the upload for the time of the measurement; that failed ({error.strerror}). Free some space, or"
                " give the path of the file instead."
            ) from error
        yield path
    finally:
        if folder is not None:
            shutil.rmtree(folder, ignore_errors=True)


def sweep(data: Path) -> list[Path]:
    """Remove the folders of pages that no longer run.

    Parameters
    ----------
    data : Path

    Returns
    -------
    list of Path
        The folders removed.
    """
    swept = []
    for folder in data.glob(f"{WORK}*"):
        if folder.is_dir() and not folder.is_symlink() and not _owner_lives(folder):
            shutil.rmtree(folder, ignore_errors=True)
            swept.append(folder)
    return swept


def _owner_lives(folder: Path) -> bool:
    """Whether a page still holds the folder, or is just making it."""
    is_beginning = not (folder / OWNER).exists() and time.time() - folder.stat().st_mtime < BEGINNING_S
    return is_beginning or is_owned(folder)


def _leave(folder: Path, owner: IO[str]) -> None:
    """Remove the folder of this page."""
    owner.close()
    shutil.rmtree(folder, ignore_errors=True)
