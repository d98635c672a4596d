"""Backups: everything in one file behind a passphrase, in a form that other tools open too.

The file is a zip archive of two files in the age format (age-encryption.org): `key.age`, a key that the passphrase opens, and
`records.sqlite.age`, the records, which that key opens. Without this program: ``age --decrypt --identity key.age
records.sqlite.age > records.sqlite``. Two steps, because what a passphrase opens directly has to be held in memory as a whole.
"""

from __future__ import annotations

import io
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import cast

import pyrage
from pyrage import passphrase as by_passphrase
from pyrage import x25519

from posture.errors import OutputError, RecordsError
from posture.records.copies import BACKING_UP, new_beside
from posture.records.database import told
from posture.records.store import Records
from posture.records.upgrade import check_header

KEY, DATA = "key.age", "records.sqlite.age"

SHORTEST = 10
"""Letters of a passphrase: the file may lie where others can try for years."""

MOST_KEY_BYTES = 1 << 16


def make_backup(records: Records, path: Path, passphrase: str) -> None:
    """Write everything, as it is at one moment, into a new encrypted file.

    Parameters
    ----------
    records : Records
    path : Path
    passphrase : str
        Without it nobody opens the backup, also not the one who made it.

    Raises
    ------
    OutputError
        If something has that name, or it cannot be written.
    RecordsError
        If the passphrase is short, or the records cannot be read.
    """
    if len(passphrase) < SHORTEST:
        raise RecordsError(f"Expected a passphrase of {SHORTEST} letters or more; {len(passphrase)} came. Take four words.")
    key = x25519.Identity.generate()
    # The plain copy stays in the private folder of the records, for as long as it is encrypted.
    with _output(path), _folder_beside(records.database.path) as folder:
        plain = folder / "records.sqlite"
        records.database.copy_to(plain)
        with new_beside(path) as temporary, zipfile.ZipFile(temporary, "w", zipfile.ZIP_STORED) as archive:
            archive.writestr(KEY, by_passphrase.encrypt(str(key).encode(), passphrase))
            with plain.open("rb") as source, archive.open(DATA, "w", force_zip64=True) as target:
                pyrage.encrypt_io(source, target, [key.to_public()])


def restore_backup(path: Path, passphrase: str, target: Path) -> None:
    """Write the records of a backup into a new file; records that are there are left as they are.

    Parameters
    ----------
    path : Path
    passphrase : str
    target : Path
        Nothing may be there yet.

    Raises
    ------
    RecordsError
        If the passphrase is another one, or the file is no backup or damaged; nothing is written then.
    OutputError
        If something is there, or it cannot be written.
    """
    with _output(target), new_beside(target) as temporary:
        with _archive(path) as archive:
            key = _key(archive, path, passphrase)
            try:
                with archive.open(DATA) as source, temporary.open("wb") as plain:
                    pyrage.decrypt_io(cast("io.BufferedIOBase", source), plain, [key])
            except (pyrage.DecryptError, zipfile.BadZipFile, EOFError) as error:
                raise _damaged(path) from error
            except OSError as error:
                # What cannot be decrypted comes as one without a number of the system's.
                if error.errno is None:
                    raise _damaged(path) from error
                raise
        check_header(temporary, path)
        _check_whole(temporary, path)


def _check_whole(temporary: Path, path: Path) -> None:
    """Refuse records that are damaged inside."""
    with told(path), closing(sqlite3.connect(temporary)) as connection:
        if connection.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
            raise _damaged(path)


def _key(archive: zipfile.ZipFile, path: Path, passphrase: str) -> x25519.Identity:
    """The key in a backup."""
    with archive.open(KEY) as file:
        sealed = file.read(MOST_KEY_BYTES)
    try:
        return x25519.Identity.from_str(by_passphrase.decrypt(sealed, passphrase).decode())
    except (pyrage.DecryptError, pyrage.IdentityError, ValueError) as error:
        raise RecordsError(
            f"Expected the passphrase with which '{path.name}' was made; another came. Type it again, capitals and spaces alike."
        ) from error


@contextmanager
def _archive(path: Path) -> Iterator[zipfile.ZipFile]:
    """The archive in a file that should be a backup."""
    try:
        archive = zipfile.ZipFile(path)
    except (OSError, zipfile.BadZipFile) as error:
        raise RecordsError(f"Expected a backup of records; '{path.name}' is none, or damaged. Choose another file.") from error
    with archive:
        if {KEY, DATA} - set(archive.namelist()):
            raise RecordsError(f"Expected a backup of records; '{path.name}' holds something else. Choose another file.")
        yield archive


@contextmanager
def _folder_beside(path: Path) -> Iterator[Path]:
    """A private folder beside the records, gone when the block ends."""
    with TemporaryDirectory(prefix=BACKING_UP, dir=path.parent, ignore_cleanup_errors=True) as folder:
        yield Path(folder)


@contextmanager
def _output(path: Path) -> Iterator[None]:
    """Turn what the system raises into one line."""
    try:
        yield
    except FileExistsError as error:
        raise OutputError(f"Expected a name that is free; '{path.name}' is there and was left. Choose another name.") from error
    except OSError as error:
        raise OutputError(
            f"Expected to write '{path.name}' in '{path.parent}'; that failed ({error.strerror or error}). Free some space or choose"
            " another folder."
        ) from error


def _damaged(path: Path) -> RecordsError:
    """The error of a backup that does not open although the passphrase is right."""
    return RecordsError(f"Expected a whole backup; '{path.name}' is damaged, and nothing was restored. Choose an older one.")
