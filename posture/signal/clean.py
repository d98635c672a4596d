"""Outliers, short gaps and smoothing, on rotations; never on angles.

Everything here works on the true times, so that uneven frame rates are handled.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from posture.geometry.angles import angle_between_deg
from posture.signal.reading import ReadTrack

Array = NDArray[np.float64]

OUTLIER_WINDOW_S = 0.3
"""Half width of the neighbourhood that a frame is held against: no head turns there and back within it."""

OUTLIER_DEG = 12.0
"""A frame farther than this from all its neighbours' middle is a wrong landmark, not a movement (common practice, no source)."""

MAX_GAP_S = 0.25
"""Longest gap that is filled, seen frame to seen frame: shorter than the quickest look aside and back."""

CUT_OFF_HZ = 2.0
"""-3 dB of the smoothing. Held postures change far below it and landmark noise lies mostly above; rhythm is looked for before."""

_SIGMA_S = float(np.sqrt(np.log(2)) / (2 * np.pi * CUT_OFF_HZ))
"""Width of the Gaussian with that cut-off: its gain is exp(-2 (pi sigma f)^2), 0.707 at f = sqrt(ln 2) / (2 pi sigma)."""


def drop_outliers(read: ReadTrack) -> ReadTrack:
    """Blank frames whose posture is far from that of the frames before and after.

    Parameters
    ----------
    read : ReadTrack

    Returns
    -------
    ReadTrack
        Outliers are NaN. A frame without at least two seen neighbours is kept.
    """
    rotation, time_s = np.array(read.rotation), read.time_s
    seen = np.flatnonzero(read.face_found)
    first = np.searchsorted(time_s[seen], time_s[seen] - OUTLIER_WINDOW_S)
    last = np.searchsorted(time_s[seen], time_s[seen] + OUTLIER_WINDOW_S, side="right")
    # An outlier is far from all its neighbours, so from the next ones too; only such frames need a closer look.
    step = angle_between_deg(rotation[seen[:-1]], rotation[seen[1:]])
    place = np.arange(len(seen))
    before = np.where(first < place, np.concatenate([[np.inf], step])[: len(seen)], np.inf)
    after = np.where(last > place + 1, np.concatenate([step, [np.inf]])[: len(seen)], np.inf)
    bad = []
    for k in np.flatnonzero(np.minimum(before, after) > OUTLIER_DEG / 2):
        i = seen[k]
        near = np.delete(seen[first[k] : last[k]], k - first[k])
        if len(near) < 2:
            continue
        away = angle_between_deg(rotation[near], rotation[i])
        # The neighbours must agree among themselves better than with this frame.
        among = np.median(angle_between_deg(rotation[near], rotation[near[np.argsort(away)[len(away) // 2]]]))
        if np.median(away) > OUTLIER_DEG + 2 * among and away.min() > OUTLIER_DEG / 2:
            bad.append(i)
    rotation[bad] = np.nan
    found = read.face_found.copy()
    found[bad] = False
    return read.with_step(f"{len(bad)} outlying frames left out", rotation=rotation, face_found=found)


def fill_gaps(read: ReadTrack, max_gap_s: float = MAX_GAP_S) -> ReadTrack:
    """Fill short gaps along the shortest rotation between the frames on either side.

    Parameters
    ----------
    read : ReadTrack
    max_gap_s : float
        Longest gap, from seen frame to seen frame, in seconds. 0 fills nothing.

    Returns
    -------
    ReadTrack
        Longer gaps and gaps at either end stay NaN; ``face_found`` still says what was really seen.

    Raises
    ------
    ValueError
        If max_gap_s is negative or not finite.
    """
    if not 0 <= max_gap_s < np.inf:
        raise ValueError(f"Expected max_gap_s of 0 or more seconds; {max_gap_s} came.")
    rotation = np.array(read.rotation)
    missing = np.isnan(rotation[:, 0, 0])
    seen = np.flatnonzero(~missing)
    azimuth, elevation = np.array(read.azimuth_deg), np.array(read.elevation_deg)
    a, b, time_s = seen[:-1], seen[1:], read.time_s
    is_short = (b - a > 1) & (time_s[b] - time_s[a] <= max_gap_s)
    a, b = a[is_short], b[is_short]
    gap = np.repeat(np.arange(len(a)), b - a - 1)
    between = np.concatenate([np.arange(i + 1, j) for i, j in zip(a, b, strict=True)]) if len(a) else np.zeros(0, int)
    if len(between):
        share = (time_s[between] - time_s[a[gap]]) / (time_s[b[gap]] - time_s[a[gap]])
        start = Rotation.from_matrix(rotation[a])
        turn = (start.inv() * Rotation.from_matrix(rotation[b])).as_rotvec()
        rotation[between] = (start[gap] * Rotation.from_rotvec(turn[gap] * share[:, None])).as_matrix()
        for values in (azimuth, elevation):
            values[between] = values[a[gap]] + share * (values[b[gap]] - values[a[gap]])
    step = f"{len(between)} frames in gaps of at most {max_gap_s:g} s filled"
    return read.with_step(step, rotation=rotation, azimuth_deg=azimuth, elevation_deg=elevation)


def smooth(read: ReadTrack) -> ReadTrack:
    """Smooth the rotations with a Gaussian in time: zero phase, cut-off `CUT_OFF_HZ`, never across a gap.

    Parameters
    ----------
    read : ReadTrack

    Returns
    -------
    ReadTrack
        NaN stays NaN. The smoothed rotation is the weighted chordal mean of its neighbours.
    """
    rotation, time_s = read.rotation, read.time_s
    present = ~np.isnan(rotation[:, 0, 0])
    piece = np.cumsum(~present)
    total = np.zeros_like(rotation)
    reach = 4 * _SIGMA_S
    interval = np.diff(time_s).min(initial=reach)
    for shift in range(-int(reach / interval) - 1, int(reach / interval) + 2):
        here = np.arange(max(0, -shift), len(time_s) - max(0, shift))
        there = here + shift
        apart = time_s[there] - time_s[here]
        use = present[here] & present[there] & (piece[here] == piece[there]) & (np.abs(apart) <= reach)
        weight = np.exp(-0.5 * (apart[use] / _SIGMA_S) ** 2)
        total[here[use]] += weight[:, None, None] * rotation[there[use]]
    out = np.full_like(rotation, np.nan)
    u, _, vt = np.linalg.svd(total[present])
    sign = np.linalg.det(u @ vt)
    u[:, :, 2] *= sign[:, None]
    out[present] = u @ vt
    return read.with_step(f"smoothed on rotations, zero phase, cut-off {CUT_OFF_HZ:g} Hz", rotation=out)


def clean_track(read: ReadTrack) -> ReadTrack:
    """Outliers, gaps, smoothing, in that order."""
    return smooth(fill_gaps(drop_outliers(read)))
