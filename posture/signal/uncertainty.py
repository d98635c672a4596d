"""What is not known about an angle beside its sampling: camera, lens, landmarks, and the zero of the chin."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from posture.geometry.angles import line_of_sight, posture_angles, to_level
from posture.signal.reading import ReadTrack

Array = NDArray[np.float64]

LANDMARK_SD_DEG = (0.9, 1.6, 2.7)
"""Tilt, turn, chin against the person's own neutral: rendered heads with faces of 90-190 px turned within 25 degrees, root mean
square (`python -m tests.proof.accuracy`). Real faces add what rendered ones do not show."""

CHIN_ZERO_SD_DEG = 4.5
"""Faces differ in where level is: an examiner-set neutral is good to 9 degrees in flexion and extension in nineteen cases of
twenty (reference [106] of DEVELOPERS.md), and rendered heads differed by about as much."""

FOCAL_SD_SHARE = 0.15
"""A focal length that is not known is taken for that of a usual webcam or phone; they differ by about 15 % (common practice)."""

FOCAL_SHARE_LEFT = 0.5
"""Turn and chin against the line of sight hardly depend on the lens; half of the change of the line of sight is allowed for."""


def angle_sds_deg(read: ReadTrack, frame: int) -> Array:
    """Standard deviation of what is not known about tilt, turn and chin at one frame, sampling left out.

    Parameters
    ----------
    read : ReadTrack
        With its settings: how well roll and pitch of the camera are known.
    frame : int
        A frame where a face was found, near the posture in question.

    Returns
    -------
    ndarray, shape (3,)
        Degrees. Roll and pitch act through the posture itself, so that a pitch that is not known falsifies the tilt of a
        turned head.
    """
    upright = read.settings.upright
    parts = [np.array(LANDMARK_SD_DEG), np.array([0.0, 0.0, CHIN_ZERO_SD_DEG])]
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
