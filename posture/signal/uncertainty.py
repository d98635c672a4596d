"""What is not known about an angle beside its sampling: camera, lens, landmarks, and the zero of the chin."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from posture.geometry.angles import line_of_sight, posture_angles, to_level
from posture.signal.reading import ReadTrack

Array = NDArray[np.float64]

TABLE_NAME = "landmark_sd.json"

CHIN_ZERO_SD_DEG = 4.5
"""Faces differ in where level is: an examiner-set neutral is good to 9 degrees in flexion and extension in nineteen cases of
twenty (reference [106] of DEVELOPERS.md), and rendered heads differed by about as much."""

FOCAL_SD_SHARE = 0.15
"""A focal length that is not known is taken for that of a usual webcam or phone; they differ by about 15 % (common practice)."""

FOCAL_SHARE_LEFT = 0.5
"""Turn and chin against the line of sight hardly depend on the lens; half of the change of the line of sight is allowed for."""


def landmark_sds_deg(face_height_px: float, quality: float) -> Array:
    """Standard deviation of tilt, turn and chin (against the person's own neutral) that comes from the landmarks alone.

    Parameters
    ----------
    face_height_px : float
    quality : float
        0 to 1.

    Returns
    -------
    ndarray, shape (3,)
        Degrees. Root mean square errors on rendered heads turned within 25 degrees, plain, partly hidden, noisy, blurred and
        dark, by `python -m tests.proof.accuracy --table`; between the bands of height it is interpolated. Real faces add what
        rendered ones do not show.
    """
    table = _landmark_table()
    column = int(np.searchsorted(table.qualities, quality, side="right")) - 1
    values = table.sds_deg[:, max(column, 0)]
    return np.array([np.interp(np.log(face_height_px), table.log_heights, values[:, k]) for k in range(3)])


@dataclass(frozen=True)
class _LandmarkTable:
    """Middles of the bands of height (logarithms, pixels), lower edges of those of quality, and (heights, qualities, 3) degrees."""

    log_heights: Array
    qualities: Array
    sds_deg: Array


@lru_cache(maxsize=1)
def _landmark_table() -> _LandmarkTable:
    """The table that ships with the package."""
    text = (resources.files("posture.signal") / TABLE_NAME).read_text(encoding="utf-8")
    table = json.loads(text)
    edges = np.array([*table["face_height_px"], table["largest_px"]], float)
    return _LandmarkTable(
        np.log(np.sqrt(edges[:-1] * edges[1:])),
        np.array(table["quality"], float),
        np.stack([np.array(table[name], float) for name in ("tilt_deg", "turn_deg", "chin_deg")], -1),
    )


def angle_sds_deg(read: ReadTrack, frame: int, frames: NDArray[np.int64]) -> Array:
    """Standard deviation of what is not known about tilt, turn and chin at one frame, sampling left out.

    Parameters
    ----------
    read : ReadTrack
        With its settings: how well roll and pitch of the camera are known.
    frame : int
        A frame where a face was found, near the posture in question.
    frames : ndarray of int
        The frames that the posture was read from; the landmarks are as sure as in the middle one of them.

    Returns
    -------
    ndarray, shape (3,)
        Degrees. Roll and pitch act through the posture itself, so that a pitch that is not known falsifies the tilt of a
        turned head.
    """
    upright = read.settings.upright
    seen = frames[read.face_found[frames]]
    landmarks = landmark_sds_deg(float(np.median(read.face_height_px[seen])), float(np.median(read.quality[seen])))
    parts = [landmarks, np.array([0.0, 0.0, CHIN_ZERO_SD_DEG])]
    at = read.angles_deg[frame]
    for roll, pitch in ((upright.roll_sd_deg, 0.0), (0.0, upright.pitch_sd_deg)):
        parts.append(_moved(read, frame, roll, pitch) - at)
    # A longer lens brings the line of sight nearer to the axis, and with it the rotation: what is left is small.
    off_axis = np.array([0.0, read.azimuth_deg[frame], read.elevation_deg[frame]])
    parts.append(FOCAL_SHARE_LEFT * FOCAL_SD_SHARE * off_axis)
    return np.sqrt(np.square(parts).sum(0))


def _moved(read: ReadTrack, frame: int, roll_deg: float, pitch_deg: float) -> Array:
    """The angles of a frame had the camera stood otherwise by that much."""
    az, el = np.radians(read.azimuth_deg[frame]), np.radians(read.elevation_deg[frame])
    place = np.array([np.sin(az) * np.cos(el), np.sin(el), np.cos(az) * np.cos(el)])
    rotation, place = to_level(read.rotation[frame], place, roll_deg, pitch_deg)
    azimuth, elevation = line_of_sight(place)
    tilt, turn, chin = posture_angles(rotation)
    return np.array([tilt, turn - azimuth, chin - elevation])
