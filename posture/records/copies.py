"""Copies of a database that are whole and on disk: made by the library's own backup, never by copying the file."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from posture.errors import OutputError
from posture.summary.files import ABANDONED_S, UNFINISHED, sweep_unfinished

PRIVATE_FILE = 0o600

PAGES_AT_ONCE = 4096
"""Between so many pages, 16 MB, others may write."""


BACKING_UP = ".backup-"
"""Begin of the name of a folder that holds a plain copy while it is encrypted."""


def sweep_abandoned(folder: Path) -> None:
    """Remove what programs that were killed while they made a copy left in the folder of the records."""
    sweep_unfinished(folder)
    for left in folder.glob(f"{BACKING_UP}*"):
        with suppress(OSError):
            if time.time() - left.stat().st_mtime > ABANDONED_S:
                shutil.rmtree(left, ignore_errors=True)


def copy_database(connection: sqlite3.Connection, path: Path) -> None:
    """Copy a database, as it is at one moment, into a new private file.

    Parameters
    ----------
    connection : Connection
    path : Path
        Nothing may be there yet.

    Raises
    ------
    FileExistsError
    OSError, sqlite3.Error
        What was begun is removed.
    """
    os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, PRIVATE_FILE))
    try:
        other = sqlite3.connect(path, isolation_level=None)
        try:
            connection.backup(other, pages=PAGES_AT_ONCE)
            # One file, whatever it was copied from.
            other.execute("PRAGMA journal_mode = DELETE")
        finally:
            other.close()
        sync_file(path)
        sync_folder(path.parent)
    except BaseException:
        path.unlink(missing_ok=True)
        raise


def sync_file(path: Path) -> None:
    """See a file to the disk."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """See the names in a folder to the disk; Windows does that by itself."""
    if os.name != "nt":
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def put_in_place(temporary: Path, path: Path) -> None:
    """Give a finished file its name, whole, unless something has that name.

    Parameters
    ----------
    temporary, path : Path
        In the same folder.

    Raises
    ------
    FileExistsError
    """
    sync_file(temporary)
    if os.name == "nt":
        temporary.rename(path)  # Refuses what is there.
    else:
        try:
            path.hardlink_to(temporary)
        except FileExistsError:
            raise
        except OSError:
            # A drive without such links: looked first, then renamed.
            if path.exists():
                raise FileExistsError(str(path)) from None
            temporary.replace(path)
        else:
            temporary.unlink()
    sync_folder(path.parent)


def write_new(path: Path, pieces: Iterable[bytes]) -> None:
    """Write a new private file, whole or not at all, and never over another.

    Parameters
    ----------
    path : Path
    pieces : iterable of bytes
        Whatever it raises leaves nothing behind.

    Raises
    ------
    OutputError
        If something has that name, or it cannot be written.
    """
    try:
        with new_beside(path) as temporary, temporary.open("wb") as file:
            for piece in pieces:
                file.write(piece)
    except FileExistsError as error:
        raise OutputError(f"Expected a name that is free; '{path.name}' is there and was left. Choose another name.") from error
    except OSError as error:
        raise OutputError(
            f"Expected to write '{path.name}' in '{path.parent}'; that failed ({error.strerror}). Free some space or choose another"
            " folder."
        ) from error


@contextmanager
def new_beside(path: Path) -> Iterator[Path]:
    """A private empty file that takes a name, whole, when the block ends well, and goes when it does not.

    Parameters
    ----------
    path : Path

    Raises
    ------
    FileExistsError
        If something has that name.
    OSError
    """
    if path.exists():
        raise FileExistsError(str(path))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        raise NotADirectoryError(errno.ENOTDIR, "a file is in the place of the folder", str(path.parent)) from error
    number, name = tempfile.mkstemp(prefix=UNFINISHED, dir=path.parent)
    os.close(number)
    temporary = Path(name)
    try:
        yield temporary
        put_in_place(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)
