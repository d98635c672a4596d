"""How even a face is, over a clip: two published measures, from the times in which the face looked about at the camera.

They say how long a posture may have lasted and nothing else. Figures here were measured on rendered heads made uneven by known amounts
(``python -m tests.proof.symmetry``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posture.conventions import wrap_deg
from posture.geometry.angles import line_of_sight, posture_angles
from posture.signal.interval import Interval, spell_interval, weighted_quantile
from posture.signal.reading import ReadTrack
from posture.signal.steady import frame_seconds

Array = NDArray[np.float64]

MOST_ASIDE_DEG = 10.0
"""Frames turned or lifted by more, against the line to the camera, are not used: the straightening cannot make up for a face that is
not as deep as an average one. Tilt drops out of both measures."""

PIECE_S = 2.0
"""Frames next to each other err alike, so the interval resamples pieces of this length."""

MIN_STRAIGHT_S, MIN_PIECES = 5.0, 4
"""Less gives no symmetry; as for a habitual posture."""

ANGLE_SHARE, SIZE_SHARE = 0.92, 0.85
"""Of a true facial angle, and of the logarithm of a true relative facial size, so much is seen: the landmarks make faces more even."""

ANGLE_SHARE_SD, SIZE_SHARE_SD = 0.13, 0.16
"""What is not known of that, as a share of the value: a half that is shrunk shows more than a mouth that slopes, and heads differ."""

ANGLE_SD_DEG, SIZE_SD_LOG = 0.8, 0.013
"""Standard deviation of both measures between even faces, the share made up for. It does not fall with time. On heads and ways of being
uneven that were left out of the learning these four gave the root mean square errors of 0.99 degrees and 0.016."""


@dataclass(frozen=True)
class HeldSymmetry:
    """Symmetry of the face over a clip.

    Attributes
    ----------
    facial_angle : Interval or None
        Degrees, the line of the mouth against that of the eyes, + as tilt is; 0 is even. None where there is too little.
    relative_size : Interval or None
        Right over left; 1 is even. None together with the other.
    straight_s : float
        Time in which the face looked about at the camera.
    """

    facial_angle: Interval | None
    relative_size: Interval | None
    straight_s: float


def find_symmetry(read: ReadTrack) -> HeldSymmetry:
    """Find how even the face of a clip is.

    Parameters
    ----------
    read : ReadTrack
        Of its settings only the mirroring matters. While that is unknown the signs are the picture's own.

    Returns
    -------
    HeldSymmetry
    """
    seen = read.seen
    _, turn, chin = posture_angles(seen.rotation)
    azimuth, elevation = line_of_sight(seen.place_cm)
    with np.errstate(invalid="ignore"):
        aside = np.maximum(np.abs(wrap_deg(turn - azimuth)), np.abs(wrap_deg(chin - elevation)))
        usable = read.face_found & (aside <= MOST_ASIDE_DEG)
    usable &= np.isfinite(seen.facial_angle_deg) & np.isfinite(seen.relative_facial_size)
    index = np.flatnonzero(usable)
    weight = frame_seconds(read.time_s)[index]
    piece = np.floor(read.time_s[index] / PIECE_S).astype(int)
    straight_s = float(weight.sum())
    if straight_s < MIN_STRAIGHT_S or len(np.unique(piece)) < MIN_PIECES:
        return HeldSymmetry(None, None, straight_s)
    sign = -1.0 if read.settings.mirrored == "yes" else 1.0
    angle = _true(_middle(sign * seen.facial_angle_deg[index], weight, piece), ANGLE_SHARE, ANGLE_SD_DEG, ANGLE_SHARE_SD)
    size = _true(
        _middle(sign * np.log(seen.relative_facial_size[index]), weight, piece), SIZE_SHARE, SIZE_SD_LOG, SIZE_SHARE_SD
    )
    return HeldSymmetry(angle, Interval(*(float(np.exp(v)) for v in (size.value, size.low, size.high))), straight_s)


def _middle(values: Array, weight_s: Array, piece: NDArray[np.int64]) -> Interval:
    """The weighted median with the sampling part of its interval, of values (n,) in pieces of time."""
    pieces = [piece == p for p in np.unique(piece)]
    medians = [weighted_quantile(values[one], weight_s[one], 0.5) for one in pieces]
    seconds = [float(weight_s[one].sum()) for one in pieces]
    return spell_interval(weighted_quantile(values, weight_s, 0.5), medians, seconds)


def _true(seen: Interval, share: float, sd: float, share_sd: float) -> Interval:
    """What a measure truly is if so much of it is seen, and equally uneven faces differ by that standard deviation."""
    true = Interval(*(value / share for value in (seen.value, seen.low, seen.high)))
    return true.widened(float(np.hypot(sd, true.value * share_sd)))
