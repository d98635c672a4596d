"""The one folder of the user in which this program keeps things, private to the user."""

from __future__ import annotations

from pathlib import Path

from platformdirs import user_data_path

from posture.errors import OutputError

PRIVATE = 0o700


def data_folder() -> Path:
    """The user's folder of this program, where the platform keeps such folders; made, and made private, if it is not.

    Returns
    -------
    Path

    Raises
    ------
    OutputError
        If it cannot be made.
    """
    folder = user_data_path("posture", appauthor=False)
    try:
        folder.mkdir(mode=PRIVATE, parents=True, exist_ok=True)
        folder.chmod(PRIVATE)
    except OSError as error:
        raise OutputError(
            f"Expected to keep files in '{folder}'; that failed ({error.strerror}). Make it writable for you, or free some space."
        ) from error
    return folder
