"""A folder of clips: which of its files may be clips, their hashes, and what the results of one are called."""

from __future__ import annotations

import hashlib
from pathlib import Path

from posture.errors import ClipError

DOCUMENTS = frozenset(
    {".csv", ".txt", ".md", ".json", ".pdf", ".html", ".doc", ".docx", ".xls", ".xlsx", ".ods", ".ini", ".db", ".lnk"}
)
"""Endings of what lies beside clips and is none. Any other file counts as a clip, so that none with a rare ending is left out."""

STEM_FIGURES = 16
"""Results are called by so many figures of the hash of their clip, never by its file: file names are children's names."""


def stem_of(sha256: str) -> str:
    """What the results of a file are called."""
    return sha256[:STEM_FIGURES]


def sha256_of(path: Path) -> str:
    """The hash of an ordinary file; empty where there is none that can be read."""
    try:
        if not path.is_file():
            return ""
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError):
        return ""


def files_of(folder: Path, called: str, no_clips: frozenset[str] = DOCUMENTS) -> list[Path]:
    """The files of a folder that may be clips, in the order of their names; not those of folders in it.

    Parameters
    ----------
    folder : Path
    called : str
        What the clips are called in an error.
    no_clips : frozenset of str
        Endings, in small letters, of files that are none.

    Returns
    -------
    list of Path
        Absolute, without hidden files.

    Raises
    ------
    ClipError
        If the folder cannot be read.
    """
    from posture.clip.source import is_network_path

    if is_network_path(str(folder)):
        raise ClipError(f"Expected a folder on this computer; came a network path. Copy the {called} to this computer first.")
    try:
        paths = sorted(path for path in folder.resolve().iterdir() if path.is_file() and not path.name.startswith("."))
    except OSError as error:
        raise ClipError(f"Expected a folder of {called}; it cannot be read ({error.strerror}). Give another.") from error
    return [path for path in paths if path.suffix.lower() not in no_clips]
