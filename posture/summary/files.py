"""Writing the results of a clip: whole or not at all, and never over those of another clip."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import tempfile
import time
from pathlib import Path

import numpy as np

from posture.errors import OutputError, RecordError
from posture.signal.habitual import HabitualPosture
from posture.signal.steady import steady_mask
from posture.signal.track import HeadTrack
from posture.summary.record import Summary

TRACK_COLUMNS = (
    "time_s", "tilt_deg", "turn_deg", "chin_deg", "turn_camera_deg", "chin_camera_deg", "face_found", "steady",
    "face_height_px", "person", "trunk_tilt_deg", "camera_roll_deg", "camera_pitch_deg", "quality",
)  # fmt: skip
PICTURE_COLUMNS = ("tilt_picture_deg", "turn_picture_deg")
"""In place of tilt and turn while mirroring is unknown: the picture's own values, as if it were not mirrored."""


UNFINISHED = ".writing-"
"""Begin of the name of a file that is being written."""

ABANDONED_S = 3600.0
"""A file that has been unfinished for longer is not being written any more: its program was killed."""


def sweep_unfinished(folder: Path) -> None:
    """Remove what programs that were killed in the middle of writing left in a folder of results.

    Parameters
    ----------
    folder : Path
        Need not be there.
    """
    for path in folder.glob(f"{UNFINISHED}*"):
        with contextlib.suppress(OSError):
            if path.is_file() and time.time() - path.stat().st_mtime > ABANDONED_S:
                path.unlink()


def write_whole(path: Path, text: str) -> None:
    """Write a text file whole or not at all, see `write_whole_bytes`.

    Parameters
    ----------
    path : Path
    text : str
        Written as UTF-8.

    Raises
    ------
    OutputError
        If it cannot be written; nothing of it is left behind.
    """
    write_whole_bytes(path, text.encode("utf-8"))


def write_whole_bytes(path: Path, data: bytes) -> None:
    """Write a file whole or not at all: temporary file, flush to disk, replace.

    Parameters
    ----------
    path : Path
    data : bytes

    Raises
    ------
    OutputError
        If it cannot be written; nothing of it is left behind.
    """
    temporary = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile("wb", dir=path.parent, prefix=UNFINISHED, delete=False) as file:
            temporary = Path(file.name)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
    except OSError as error:
        raise OutputError(
            f"Expected to write '{path.name}' in '{path.parent}'; that failed ({error.strerror}). Free some space or choose another"
            " folder with --out."
        ) from error
    finally:
        # It is gone when it took its place; any failure, also an interruption by the user, leaves it to be removed.
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def result_paths(folder: Path, stem: str, sha256: str) -> tuple[Path, Path]:
    """Where the results of a clip belong: (track, summary).

    Parameters
    ----------
    folder : Path
    stem : str
        Name of the clip's file without its ending.
    sha256 : str
        Of the clip: a second clip of the same stem gets a part of it in its name.

    Raises
    ------
    OutputError
        If even that name holds the summary of another clip, or something that is no summary.
    """
    for name in (stem, f"{stem}-{sha256[:8]}"):
        summary = folder / f"{name}.summary.json"
        if not summary.exists() or _sha256_of(summary) == sha256:
            return folder / f"{name}.track.csv", summary
    raise OutputError(
        f"Expected '{summary.name}' to be free or of the same clip; it holds something else and is kept. Choose another --out."
    )


def track_csv(track: HeadTrack, found: HabitualPosture, person: int | None) -> str:
    """The track as CSV text: a row for every frame analysed, angles as read and not smoothed, empty where there is no value.

    Parameters
    ----------
    track : HeadTrack
        As seen.
    found : HabitualPosture
        With the reading that it comes from.
    person : int or None
        Number of the person.
    """
    read = found.read
    sided = read.settings.mirrored != "unknown"
    steady = steady_mask(len(track.time_s), list(found.spells))
    angles, camera = read.angles_deg, read.camera_angles_deg
    hidden = np.full(len(track.time_s), np.nan)
    roll, pitch = (read.scene.roll_deg, read.scene.pitch_deg) if read.scene else (hidden, hidden)
    columns = {
        "time_s": track.time_s,
        "tilt_deg": angles[:, 0] if sided else hidden,
        "turn_deg": angles[:, 1] if sided else hidden,
        "chin_deg": angles[:, 2],
        "turn_camera_deg": camera[:, 1] if sided else hidden,
        "chin_camera_deg": camera[:, 2],
        "face_found": read.face_found.astype(int),
        "steady": steady.astype(int),
        "face_height_px": track.face_height_px,
        "person": np.where(track.face_found, person if person is not None else np.nan, np.nan),
        "trunk_tilt_deg": read.trunk.tilt_deg if sided else hidden,
        "camera_roll_deg": roll,
        "camera_pitch_deg": pitch,
        "quality": track.quality,
    }
    names = list(TRACK_COLUMNS)
    if not sided:
        columns |= {"tilt_picture_deg": angles[:, 0], "turn_picture_deg": angles[:, 1]}
        names += PICTURE_COLUMNS
    digits = {"time_s": 4, "face_found": 0, "steady": 0, "person": 0, "face_height_px": 1}
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(names)
    formatted = [[_cell(v, digits.get(name, 3)) for v in columns[name]] for name in names]
    writer.writerows(zip(*formatted, strict=True))
    return text.getvalue()


def examination_path(summary: Path) -> Path:
    """Where that stands which was asked in the clip of a summary."""
    return summary.with_name(f"{summary.name.removesuffix('.summary.json')}.examination.json")


def write_results(
    folder: Path, stem: str, summary: Summary, track_text: str, examination_text: str | None = None
) -> tuple[Path, Path]:
    """Write the track, then the summary: a summary on disk means that all of it is there.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    stem : str
    summary : Summary
    track_text : str
        From `track_csv`.
    examination_text : str or None
        What was asked in the clip; where nothing was, one of an earlier reading of the same clip is taken away with its summary.

    Returns
    -------
    tuple of Path
        Track and summary.

    Raises
    ------
    OutputError
    """
    track_path, summary_path = result_paths(folder, stem, summary.clip.sha256)
    asked_path = examination_path(summary_path)
    if _examined_clip(asked_path) == summary.clip.sha256:
        asked_path.unlink()
    elif asked_path.exists() and examination_text is not None:
        raise OutputError(
            f"Expected '{asked_path.name}' to be free or of the same clip; it holds something else and is kept. Choose another --out."
        )
    # A clip that is measured again: until the new summary is there, none may stand beside the new track.
    summary_path.unlink(missing_ok=True)
    write_whole(track_path, track_text)
    if examination_text is not None:
        write_whole(asked_path, examination_text)
    write_whole(summary_path, summary.to_json())
    return track_path, summary_path


def read_summary(path: Path) -> Summary:
    """Read the summary of a clip as it was written.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Summary

    Raises
    ------
    RecordError
        If it cannot be read or is none.
    """
    try:
        return Summary.model_validate_json(path.read_bytes())
    except (OSError, ValueError) as error:
        raise RecordError(
            f"Expected the summary of a clip; '{path.name}' is none. Give a file that ends in .summary.json, as measure writes it."
        ) from error


def _sha256_of(summary: Path) -> str | None:
    """Which clip a summary on disk belongs to; None for anything that is no summary."""
    try:
        return str(json.loads(summary.read_text(encoding="utf-8"))["clip"]["sha256"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _examined_clip(examination: Path) -> str | None:
    """Of which clip a file on disk says what was asked; None for anything else."""
    try:
        document = json.loads(examination.read_text(encoding="utf-8"))
        return str(document["sha256"]) if str(document["schema"]).startswith("posture.examination/") else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _cell(value: float, digits: int) -> str:
    """A number as text, empty for NaN, no minus before a zero."""
    return "" if np.isnan(value) else f"{round(float(value), digits) + 0.0:.{digits}f}"
