"""How an invented child moves: moments of holding still, quick moves between them, and the truth of every frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from posture.geometry.angles import line_of_sight, posture_matrix
from posture.samples.place import PIVOT_M, place_from_pivot

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

Movement = Literal["turn right", "turn left", "tilt right", "tilt left"]
"""What an examiner asks for, or does, with the head; the person's own right and left."""

_SWAY_DEG = (0.14, 0.16, 0.15)
"""Standard deviation of the slow sway of tilt, turn and chin while the child holds still."""

_WALK_FROM_M = 1.0
"""Place beside the table from which a child comes in, outside the picture."""


@dataclass(frozen=True)
class Hold:
    """A moment of holding still.

    Attributes
    ----------
    duration_s : float
    tilt_deg, turn_deg, chin_deg : float
        Turn and chin against the line of sight.
    looks_away : bool
        Whether the eyes follow the face to something else; otherwise they stay on the camera.
    move_s : float or None
        Time of the move that leads to it; None leaves it to chance.
    asked : Movement or None
        The movement that an examiner asked for, or made.
    """

    duration_s: float
    tilt_deg: float
    turn_deg: float
    chin_deg: float
    looks_away: bool = False
    move_s: float | None = None
    asked: Movement | None = None


@dataclass(frozen=True)
class Motion:
    """Posture, place and eyes of a child at every frame, each of shape (n,) but for ``place_m``.

    Attributes
    ----------
    time_s : ndarray
    tilt_deg, turn_deg, chin_deg : ndarray
        Turn and chin against the line of sight.
    turn_camera_deg, chin_camera_deg : ndarray
        The same against the camera's axis.
    place_m : ndarray, shape (n, 3)
        The origin of the canonical face in the level frame.
    present : ndarray of bool
        Whether the child is in the room.
    steady : ndarray of bool
        Whether the child is holding still.
    gaze_right, gaze_up, lids_closed : ndarray
        As `posture.samples.eyes.Gaze` describes.
    """

    time_s: Floats
    tilt_deg: Floats
    turn_deg: Floats
    chin_deg: Floats
    turn_camera_deg: Floats
    chin_camera_deg: Floats
    place_m: Floats
    present: Flags
    steady: Flags
    gaze_right: Floats
    gaze_up: Floats
    lids_closed: Floats


@dataclass(frozen=True)
class Stay:
    """When the child is at the table; walking in and out take `walk_s` before and after.

    Attributes
    ----------
    from_s, to_s : float
    walk_s : float
        0 when the child is there all the time.
    """

    from_s: float
    to_s: float
    walk_s: float = 0.0


def follow_holds(holds: list[Hold], stay: Stay, rate_hz: float, duration_s: float, rng: np.random.Generator) -> Motion:
    """Move a child through a list of holds.

    Parameters
    ----------
    holds : list of Hold
        In their order; the last one lasts until the child leaves. Moves of 0.3-0.7 s, or of the time that a hold gives, join them,
        added to their durations.
    stay : Stay
    rate_hz, duration_s : float
        Of the clip.
    rng : numpy.random.Generator

    Returns
    -------
    Motion

    Raises
    ------
    ValueError
        If there is no hold.
    """
    if not holds:
        raise ValueError("Expected at least one hold; none came. Give the posture that the child holds.")
    time_s = np.arange(round(duration_s * rate_hz)) / rate_hz
    angles, steady, away = _walk_through(holds, time_s, stay.from_s, rng)
    sway = np.stack([_sway(time_s, rng) * size for size in _SWAY_DEG], 1)
    tilt, turn, chin = (angles + sway).T
    pivot, walking = _pivot(time_s, stay)
    present = (time_s >= stay.from_s - stay.walk_s) & (time_s <= stay.to_s + stay.walk_s)
    # The child looks where it goes; at the table it turns to its habitual posture.
    going = np.clip(walking, -1, 1)
    turn = turn + 38.0 * going
    turn_camera, chin_camera, place = _against_camera(tilt, turn, chin, pivot)
    return Motion(
        time_s=time_s,
        tilt_deg=tilt,
        turn_deg=turn,
        chin_deg=chin,
        turn_camera_deg=turn_camera,
        chin_camera_deg=chin_camera,
        place_m=place,
        present=present,
        steady=steady & present & (np.abs(walking) < 1e-6) & (time_s >= stay.from_s) & (time_s <= stay.to_s),
        # Eyes on the camera stand opposite to the turn of the face; on something else they go with it.
        gaze_right=np.clip(np.where(away, 0.25 * np.sign(turn), -turn / 24.0), -1, 1),
        gaze_up=np.clip(np.where(away, np.where(chin < -15, -0.6, 0.0), -chin / 24.0), -1, 1),
        lids_closed=_blinks(time_s, rng),
    )


def _walk_through(holds: list[Hold], time_s: Floats, start_s: float, rng: np.random.Generator) -> tuple[Floats, Flags, Flags]:
    """Tilt, turn and chin (n, 3), holding still (n,), and looking away (n,)."""
    targets = np.array([[h.tilt_deg, h.turn_deg, h.chin_deg] for h in holds])
    angles = np.tile(targets[0], (len(time_s), 1))
    steady = np.ones(len(time_s), bool)
    away = np.full(len(time_s), holds[0].looks_away)
    at = start_s + holds[0].duration_s
    for before, after, hold in zip(targets[:-1], targets[1:], holds[1:], strict=True):
        move_s = float(rng.uniform(0.3, 0.7)) if hold.move_s is None else hold.move_s
        share = np.clip((time_s - at) / move_s, 0, 1)
        # Minimum jerk: the path of an unhurried movement of the head.
        smooth = share**3 * (10 - 15 * share + 6 * share**2)
        moved = time_s > at
        angles[moved] = before + (after - before) * smooth[moved, None]
        steady[moved] = share[moved] >= 1.0
        away[moved & (share > 0.5)] = hold.looks_away
        at += move_s + hold.duration_s
    return angles, steady, away


def _sway(time_s: Floats, rng: np.random.Generator) -> Floats:
    """A slow, smooth wave of standard deviation 1."""
    periods = rng.uniform(3.5, 11.0, 3)
    phases = rng.uniform(0, 2 * np.pi, 3)
    return np.sin(2 * np.pi * time_s[:, None] / periods + phases).sum(1) / np.sqrt(1.5)


def _pivot(time_s: Floats, stay: Stay) -> tuple[Floats, Floats]:
    """Place of the pivot (n, 3), and the way of walking (n,): 1 to the child's right, -1 to its left, 0 at the table."""
    pivot = np.tile(PIVOT_M, (len(time_s), 1))
    walking = np.zeros(len(time_s))
    if stay.walk_s <= 0:
        return pivot, walking
    # In from the picture's right side, out again the same way.
    come = np.clip((time_s - (stay.from_s - stay.walk_s)) / stay.walk_s, 0, 1)
    go = np.clip((time_s - stay.to_s) / stay.walk_s, 0, 1)
    away = 1 - _ease(come) + _ease(go)
    pivot[:, 0] += _WALK_FROM_M * away
    pivot[:, 1] -= 0.012 * np.abs(np.sin(np.pi * 4 * (come + go))) * (away > 0) * (away < 1)
    walking = np.sin(np.pi * come) ** 0.7 - np.sin(np.pi * go) ** 0.7
    return pivot, walking


def _ease(share: Floats) -> Floats:
    """0 to 1, starting and ending at rest."""
    return share * share * (3 - 2 * share)


def _against_camera(tilt: Floats, turn: Floats, chin: Floats, pivot: Floats) -> tuple[Floats, Floats, Floats]:
    """Turn and chin against the camera's axis, and the place (n, 3), of heads whose line of sight depends on the place."""
    turn_camera, chin_camera = turn, chin
    place = pivot
    # The place of the face depends on the rotation only a little: a few rounds settle it far below what is written out.
    for _ in range(8):
        place = place_from_pivot(posture_matrix(tilt, turn_camera, chin_camera), pivot)
        across, upwards = line_of_sight(place)
        turn_camera, chin_camera = turn + across, chin + upwards
    return turn_camera, chin_camera, place


def _blinks(time_s: Floats, rng: np.random.Generator) -> Floats:
    """How far the lids are closed, 0 to 1: a blink of a fifth of a second every two to six seconds."""
    closed = np.zeros(len(time_s))
    at = float(rng.uniform(1.0, 4.0))
    while len(time_s) and at < time_s[-1]:
        closed = np.maximum(closed, np.clip(1.4 - np.abs(time_s - at) / 0.07, 0, 1))
        at += float(rng.uniform(2.0, 6.0))
    return closed
