"""Whose a folder is: a file in it that is locked for as long as its owner's process runs."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import IO

OWNER = "owner"
"""Holds the process number; a process number alone may have been given anew, so it is locked as well."""


def own(folder: Path) -> IO[str]:
    """Make a folder this process's, until the file that is returned is closed or the process ends.

    Parameters
    ----------
    folder : Path

    Raises
    ------
    OSError
        BlockingIOError where another process, or another file of this one, owns it.
    """
    # Opened without emptying it: the number in it is its owner's until it is ours.
    file = (folder / OWNER).open("a", encoding="utf-8")
    try:
        if sys.platform != "win32":
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        file.truncate(0)
        file.write(f"{os.getpid()}\n")
        file.flush()
    except OSError:
        file.close()
        raise
    return file


def is_owned(folder: Path) -> bool:
    """Whether a running process owns the folder."""
    owner = folder / OWNER
    if sys.platform == "win32":
        try:
            owner.unlink(missing_ok=True)  # Fails while the owner has it open.
        except OSError:
            return True
        return False
    import fcntl

    try:
        with owner.open(encoding="utf-8") as file:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False
