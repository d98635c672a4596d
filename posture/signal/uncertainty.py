"""What is not known about an angle beside its sampling: camera, lens, landmarks, target, and the zero of the chin."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from posture.conventions import wrap_deg
from posture.geometry.angles import FACING, camera_matrix, line_of_sight, posture_angles, to_level
from posture.geometry.lens import refit
from posture.signal.reading import ReadTrack

Array = NDArray[np.float64]

TABLE_NAME = "landmark_sd.json"

CHIN_ZERO_SD_DEG = 4.5
"""Faces differ in where level is: an examiner-set neutral is good to 9 degrees in flexion and extension in nineteen cases of
twenty (reference [106] of DEVELOPERS.md), and rendered heads differed by about as much."""

SCALE_SD_SHARE = 0.15
"""A place is in centimetres of an average face; children's faces are that much smaller (common practice, no source)."""


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


EYE_LINE_SD_DEG, MIDFACE_SD_DEG, LINES_APART_SD_DEG = 1.0, 1.6, 2.1
"""Standard deviations of the tilts along the eye line and the mid-face line over many postures, beside that of the fitted face, and of
their difference (`python -m tests.proof.face_lines`: rendered heads 40 to 190 px high, even ones and uneven ones)."""


def angle_sds_deg(read: ReadTrack, frame: int, frames: NDArray[np.int64], *, with_roll: bool = True) -> Array:
    """Standard deviation of what is not known about tilt, turn and chin at one frame, sampling left out.

    Parameters
    ----------
    read : ReadTrack
        With its settings: how well roll and pitch of the camera are known.
    frame : int
        A frame where a face was found, near the posture in question.
    frames : ndarray of int
        The frames that the posture was read from; the landmarks are as sure as in the middle one of them.
    with_roll : bool
        The roll of the camera counts; against the shoulder line it drops out.

    Returns
    -------
    ndarray, shape (3,)
        Degrees. Roll and pitch act through the posture itself, so that a pitch that is not known falsifies the tilt of a
        turned head.
    """
    seen = frames[read.face_found[frames]]
    landmarks = landmark_sds_deg(float(np.median(read.face_height_px[seen])), float(np.median(read.quality[seen])))
    zero_sd = read.chin_zero.sd_deg if read.chin_zero else CHIN_ZERO_SD_DEG
    parts = [landmarks, np.array([0.0, 0.0, zero_sd]), _by_target(read, frame)]
    at = _angles(read, read.rotation[frame], read.place_cm[frame])
    upright = read.upright

    def moved(roll_deg: float, pitch_deg: float) -> Array:
        """What a camera that stood otherwise does to the angles."""
        return np.asarray(
            wrap_deg(_angles(read, *to_level(read.rotation[frame], read.place_cm[frame], roll_deg, pitch_deg)) - at)
        )

    # Rolled to the one side or to the other, the farther counts: a posture and its mirror image are known equally well.
    roll_sd = upright.roll_sd_deg * with_roll
    parts.append(np.abs([moved(roll_sd, 0.0), moved(-roll_sd, 0.0)]).max(0))
    parts.append(moved(0.0, upright.pitch_sd_deg))
    parts.append(wrap_deg(_through_other_lens(read, frame) - at))
    return np.sqrt(np.square(parts).sum(0))


def _angles(read: ReadTrack, rotation: Array, place_cm: Array) -> Array:
    """Tilt, turn and chin of a posture and a place in the level frame, against the target of a reading."""
    azimuth, elevation = line_of_sight(place_cm, read.target_cm)
    tilt, turn, chin = posture_angles(rotation)
    return np.array([tilt, turn - azimuth, chin - elevation])


def _through_other_lens(read: ReadTrack, frame: int) -> Array:
    """The angles of a frame had the lens been shorter than believed by one standard deviation; a longer one does less."""
    camera = camera_matrix(*(values[frame] for values in read.camera_deg))
    # As the camera saw it; a mirror changes nothing about sizes.
    rotation = FACING @ camera @ FACING @ read.rotation[frame]
    believed = read.lens.focal_px
    found = refit(rotation, camera @ read.place_cm[frame], believed * (1 - read.lens.sd_share), believed)
    return _angles(read, *to_level(*found, *(values[frame] for values in read.camera_deg)))


def _by_target(read: ReadTrack, frame: int) -> Array:
    """What is not known of where the target is: the face may be smaller than average, and so nearer."""
    target, place = np.array(read.target_cm), read.place_cm[frame]
    sight = np.array(line_of_sight(place, target))
    off = wrap_deg(np.array(line_of_sight(place * (1 + SCALE_SD_SHARE), target)) - sight)
    if read.settings.mirrored == "unknown":
        # It may be on the one side or on the other in the picture; the farther one counts.
        x, y, z = read.settings.target_cm
        asides = [wrap_deg(np.array(line_of_sight(place, (side * x, y, z))) - sight) for side in (-1, 1)]
        off = np.hypot(off, np.abs(asides).max(0))
    return np.array([0.0, *off])
