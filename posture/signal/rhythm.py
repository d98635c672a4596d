"""Rhythmic head movement, looked for before anything is smoothed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posture.signal.reading import ReadTrack

Array = NDArray[np.float64]

BAND_HZ = (1.0, 5.0)
MIN_SIZE_DEG = 0.5
MIN_SECONDS = 3.0
"""Head nodding and tremor: 1 to 5 Hz, over half a degree, over three seconds (rules of the clinic, common practice)."""

WINDOW_S = 3.0
STEP_S = 1.0

MIN_SHARE = 0.6
"""Share of the movement's power (slow drift removed) that one frequency must carry. On simulated children who move a lot this is
reached by chance about once in forty minutes; a nod of 1 degree on top of that is found in two of three when it lasts 6 s, in
nearly all when the head is otherwise still. So it may prompt an examination and never reassures."""

SAMPLES_A_CYCLE = 2.5
"""A rhythm faster than the frames can show is not looked for."""

SAME_HZ = 0.6
"""Neighbouring windows show one rhythm when their frequencies differ by less."""


_Hit = tuple[float, float, float]
"""Start of a window in seconds, Hz and degrees."""


@dataclass(frozen=True)
class Rhythm:
    """A rhythmic head movement.

    Attributes
    ----------
    hz : float
    deg : float
        Amplitude, middle to extreme.
    seconds : float
        How long altogether.
    """

    hz: float
    deg: float
    seconds: float


def find_rhythm(read: ReadTrack) -> Rhythm | None:
    """Look for rhythmic movement in tilt, turn and chin.

    Parameters
    ----------
    read : ReadTrack
        Not smoothed, gaps not filled.

    Returns
    -------
    Rhythm or None
        The largest that lasted; None where none was seen (which says nothing: frames may be too few).
    """
    time_s, angles = read.time_s[read.face_found], read.camera_angles_deg[read.face_found]
    hits: list[list[_Hit]] = [[], [], []]
    if len(time_s) >= 2:
        for start in np.arange(time_s[0], time_s[-1] - WINDOW_S + 1e-9, STEP_S):
            first, last = np.searchsorted(time_s, [start, start + WINDOW_S])
            for k, peak in _peaks(time_s[first:last], angles[first:last]).items():
                hits[k].append((float(start), *peak))
    lasting = [found for found in map(_lasting, hits) if found is not None]
    return max(lasting, key=lambda found: found.deg * found.seconds, default=None)


def _lasting(hits: list[_Hit]) -> Rhythm | None:
    """The rhythm of one angle that lasted longest."""
    best: Rhythm | None = None
    run: list[_Hit] = []
    for hit in [*hits, (np.inf, 0.0, 0.0)]:
        if run and (hit[0] - run[-1][0] > STEP_S + 1e-6 or abs(hit[1] - run[-1][1]) > SAME_HZ):
            seconds = run[-1][0] + WINDOW_S - run[0][0]
            # Two neighbouring windows at least: one alone comes up by chance in long clips.
            if len(run) > 1 and seconds > MIN_SECONDS and (best is None or seconds > best.seconds):
                best = Rhythm(float(np.median([h[1] for h in run])), float(np.median([h[2] for h in run])), float(seconds))
            run = []
        run.append(hit)
    return best


def _peaks(time_s: Array, angles_deg: Array) -> dict[int, tuple[float, float]]:
    """(Hz, degrees) of the one frequency that carries a window's movement, for those of the angles (n, 3) that have one."""
    if len(time_s) < 3 * SAMPLES_A_CYCLE or np.diff(time_s).max() > WINDOW_S / 4:
        return {}
    fastest = min(BAND_HZ[1], (len(time_s) - 1) / (time_s[-1] - time_s[0]) / SAMPLES_A_CYCLE)
    if fastest <= BAND_HZ[0]:
        return {}
    centred = time_s - time_s.mean()
    drift = np.linalg.qr(np.vander(centred / centred[-1], 4))[0]
    moved = angles_deg - drift @ (drift.T @ angles_deg)
    variance = moved.var(0)
    # Of the others even one frequency alone would be too small.
    large = np.flatnonzero(2 * variance > MIN_SIZE_DEG**2)
    if not len(large):
        return {}
    hz = np.arange(BAND_HZ[0], fastest + 1e-9, 0.05)
    power = _power_shares(centred, moved[:, large], hz)
    peaks = {}
    for k, share in zip(large, power.T, strict=True):
        at = int(share.argmax())
        amplitude = float(np.sqrt(2 * share[at] * variance[k]))
        # A peak at the lower end is the flank of slower movement, not a rhythm.
        if at > 0 and share[at] >= MIN_SHARE and amplitude > MIN_SIZE_DEG:
            peaks[int(k)] = float(hz[at]), amplitude
    return peaks


def _power_shares(time_s: Array, moved_deg: Array, hz: Array) -> Array:
    """Share of the variance of m movements (n, m) that a sine of each of k frequencies explains, shape (k, m).

    Least squares, so uneven times do no harm: the normalised Lomb-Scargle periodogram, written out because importing scipy's costs
    half a second at every start.
    """
    phase = 2 * np.pi * hz[:, None] * time_s
    c, s = np.cos(phase), np.sin(phase)
    # Shifted in time so that sine and cosine are orthogonal on these very times.
    shift = np.arctan2((2 * s * c).sum(1), (c * c - s * s).sum(1))[:, None] / 2
    cosine, sine = c * np.cos(shift) + s * np.sin(shift), s * np.cos(shift) - c * np.sin(shift)
    explained = (cosine @ moved_deg) ** 2 / (cosine**2).sum(1, keepdims=True)
    explained += (sine @ moved_deg) ** 2 / (sine**2).sum(1, keepdims=True)
    return np.asarray(explained / (moved_deg**2).sum(0))
