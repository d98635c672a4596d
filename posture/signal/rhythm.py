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
    best: Rhythm | None = None
    for angle in read.camera_angles_deg.T:
        found = _rhythm_of(read.time_s[read.face_found], angle[read.face_found])
        if found and (best is None or found.deg * found.seconds > best.deg * best.seconds):
            best = found
    return best


def _rhythm_of(time_s: Array, angle_deg: Array) -> Rhythm | None:
    """The rhythm of one angle."""
    if len(time_s) < 2:
        return None
    hits: list[tuple[float, float, float]] = []
    for start in np.arange(time_s[0], time_s[-1] - WINDOW_S + 1e-9, STEP_S):
        first, last = np.searchsorted(time_s, [start, start + WINDOW_S])
        peak = _peak(time_s[first:last], angle_deg[first:last])
        if peak is not None:
            hits.append((start, *peak))
    best: Rhythm | None = None
    run: list[tuple[float, float, float]] = []
    for hit in [*hits, (np.inf, 0.0, 0.0)]:
        if run and (hit[0] - run[-1][0] > STEP_S + 1e-6 or abs(hit[1] - run[-1][1]) > SAME_HZ):
            seconds = run[-1][0] + WINDOW_S - run[0][0]
            # Two neighbouring windows at least: one alone comes up by chance in long clips.
            if len(run) > 1 and seconds > MIN_SECONDS and (best is None or seconds > best.seconds):
                best = Rhythm(float(np.median([h[1] for h in run])), float(np.median([h[2] for h in run])), float(seconds))
            run = []
        run.append(hit)
    return best


def _peak(time_s: Array, angle_deg: Array) -> tuple[float, float] | None:
    """(Hz, degrees) of the one frequency that carries a window's movement, or None."""
    if len(time_s) < 3 * SAMPLES_A_CYCLE or np.diff(time_s).max() > WINDOW_S / 4:
        return None
    fastest = min(BAND_HZ[1], (len(time_s) - 1) / (time_s[-1] - time_s[0]) / SAMPLES_A_CYCLE)
    if fastest <= BAND_HZ[0]:
        return None
    centred = time_s - time_s.mean()
    moved = angle_deg - np.polyval(np.polyfit(centred, angle_deg, 3), centred)
    variance = moved.var()
    if variance < 1e-12:
        return None
    hz = np.arange(BAND_HZ[0], fastest + 1e-9, 0.05)
    power = _power_shares(centred, moved, hz)
    at = int(power.argmax())
    # A peak at the lower end is the flank of slower movement, not a rhythm.
    if at == 0 or power[at] < MIN_SHARE:
        return None
    amplitude = float(np.sqrt(2 * power[at] * variance))
    return (float(hz[at]), amplitude) if amplitude > MIN_SIZE_DEG else None


def _power_shares(time_s: Array, moved_deg: Array, hz: Array) -> Array:
    """Share of the variance that a sine of each frequency explains: least squares, so uneven times do no harm.

    The normalised Lomb-Scargle periodogram, written out because importing scipy's costs half a second at every start.
    """
    phase = 2 * np.pi * hz[:, None] * time_s
    # Shifted in time so that sine and cosine are orthogonal on these very times.
    shift = np.arctan2(np.sin(2 * phase).sum(1), np.cos(2 * phase).sum(1))[:, None] / 2
    cosine, sine = np.cos(phase - shift), np.sin(phase - shift)
    explained = (cosine @ moved_deg) ** 2 / (cosine**2).sum(1) + (sine @ moved_deg) ** 2 / (sine**2).sum(1)
    return np.asarray(explained / (moved_deg**2).sum())
