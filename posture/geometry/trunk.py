"""The shoulder line against gravity, and how far the head is shifted over it.

The line is taken as a direction in space: across, as the picture shows it; in depth, by how far the trunk seems turned. Figures here
were measured on rendered people (``python -m tests.proof.trunk``). There the pose model reads a lean about a tenth too small, and a
twentieth of the head's tilt as a lean; a correction learned on some heads did others no good, so none is made, and the stated standard
deviation carries both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from posture.geometry.angles import FACING, camera_matrix, line_of_sight, posture_angles
from posture.geometry.fit import Camera

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

UNSEEN, ARM, TURNED, SMALL, STRAY = "unseen", "arm raised", "turned", "proportions", "stray"
REASONS = (UNSEEN, ARM, TURNED, SMALL, STRAY)
"""Why a look gives no shoulder line: no shoulders seen, an arm raised, the shoulders differing in depth, shoulders as narrow against
the head as only a baby's are, and a value far from those just before and after."""

HEAD_FOLLOW = 0.4
"""The model's depth follows the head's turn by so much while the trunk stays: 0.38 to 0.47 in four series of filmed people, 0.25 on
rendered ones. Without it a face held aside would be refused for a turned trunk."""

TURN_SHARE = 1.6
"""The trunk's expected turn against the line of sight, for each degree of the model's depth without what follows the head. Off by 17
degrees on heads that it was not learned on, so it only tells far from not far."""

MOST_TURN_DEG = 12.0
"""Expected turn beyond which the line is refused. The expectation is drawn towards zero, so this stands for about 20 degrees."""

LEAST_WIDTH_CM, USUAL_WIDTH_CM = 24.0, 28.0
"""Shoulder widths, in centimetres of a head of canonical size. Below the first all is refused: rendered babies have 17 to 19, and the
model makes little of their lean. Above the second are rendered children and adults; filmed women had 27 to 29. Between them the
standard deviation rises to twice its size, since nobody in between was tried."""

SD_DEG = 2.6
"""Standard deviation of the tilt of one adult or child: nineteen of twenty single looks were within twice this."""

SKULL_CM = (0.0, 0.7, -2.5)
"""The point of the head whose shift is read, in the head frame: midway between the ears, above the joint of skull and neck."""

REACH_S, SPREAD_S = 1.0, 0.4
"""A value is carried so far from its look, and looks are averaged with a Gaussian of this standard deviation."""

STRAY_DEG = 6.0
"""A look that differs by more from the median of its neighbours is a wrong look: nobody leans there and back in a second."""


@dataclass(frozen=True)
class Trunk:
    """The shoulder line of one person through a clip.

    Attributes
    ----------
    tilt_deg : ndarray, shape (n,)
        Elevation of the shoulder line in the level frame, + when the shoulder that the picture shows as the person's right is lower.
        NaN where refused or too far from a look.
    shift_share : ndarray, shape (n,)
        How far the middle between the ears is shifted sideways over the middle of the shoulders, along the shoulder line, as a share
        of the shoulder width, + to the person's right. A pure tilt shifts it too, by the height of the ears over the place where
        the neck bends: about 0.03 for each 10 degrees when the upper neck bends, 0.07 when all of it does.
    refused : dict of str to float
        Share of the looked-at frames that were refused, for each of `REASONS`.
    sd_deg : float
        Standard deviation of the tilt as a whole, to be added in quadrature to others; NaN where everything was refused.
    """

    tilt_deg: Array
    shift_share: Array
    refused: dict[str, float]
    sd_deg: float


def read_trunk(
    time_s: ArrayLike,
    shoulders_px: ArrayLike,
    shoulders_turn_deg: ArrayLike,
    arm_raised: ArrayLike,
    rotation: ArrayLike,
    place: ArrayLike,
    camera: Camera,
    roll_deg: ArrayLike = 0.0,
    pitch_deg: ArrayLike = 0.0,
) -> Trunk:
    """Read the shoulder line out of what was seen a few times a second, for every frame.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Increasing.
    shoulders_px : array_like, shape (n, 2, 2)
        The shoulder shown as the person's right, then the left one; NaN where not looked at or not seen.
    shoulders_turn_deg : array_like, shape (n,)
        As of `posture.face.shoulders`.
    arm_raised : array_like, shape (n,)
        1 or 0; NaN where not looked at. 0 without shoulders means that they were looked for and not seen.
    rotation : array_like, shape (n, 3, 3)
        The head's posture as the camera sees it.
    place : array_like, shape (n, 3)
        The head's place in the camera's frame, centimetres of a canonical head.
    camera : Camera
    roll_deg, pitch_deg : array_like
        The camera's; scalars or of shape (n,).

    Returns
    -------
    Trunk
        Of a mirrored picture, with tilt and shift still to be negated.

    Raises
    ------
    ValueError
        If the shapes do not fit each other.
    """
    time, points, arm = np.asarray(time_s, float), np.asarray(shoulders_px, float), np.asarray(arm_raised, float)
    turn, turned, where = (np.asarray(a, float) for a in (shoulders_turn_deg, rotation, place))
    n = len(time)
    for name, array, shape in (
        ("shoulders_px", points, (n, 2, 2)),
        ("shoulders_turn_deg", turn, (n,)),
        ("arm_raised", arm, (n,)),
        ("rotation", turned, (n, 3, 3)),
        ("place", where, (n, 3)),
    ):
        if array.shape != shape:
            raise ValueError(f"Expected {name} of shape {shape} for {n} times; {array.shape} came.")
    line = _line(points, turn, turned, where, camera)
    to_level = np.swapaxes(camera_matrix(*(np.broadcast_to(np.asarray(a, float), n) for a in (roll_deg, pitch_deg))), -1, -2)
    level = (to_level @ line.direction[..., None])[..., 0]
    tilt = np.degrees(np.arcsin(np.clip(-level[:, 1] / np.linalg.norm(level, axis=1), -1.0, 1.0)))
    looked = np.isfinite(arm)
    reason = _refuse(looked, arm > 0.5, line, tilt)
    used = looked & (reason == "")
    used[np.flatnonzero(used)[_stray(time[used], tilt[used])]] = False
    reason[looked & (reason == "") & ~used] = STRAY
    refused = {name: float((reason[looked] == name).mean()) if looked.any() else 0.0 for name in REASONS}
    carried = _carry(time, looked, used, np.stack([tilt, line.shift_share], 1))
    return Trunk(carried[:, 0], carried[:, 1], refused, _sd_deg(line.width_cm[used]))


@dataclass(frozen=True)
class _Line:
    """The shoulder line of every frame in the camera's frame; NaN where not seen.

    direction (n, 3) from right to left, of any length; turn_deg (n,) expected, against the line of sight; width_cm, shift_share (n,).
    """

    direction: Array
    turn_deg: Array
    width_cm: Array
    shift_share: Array


def _line(points: Array, depth_turn_deg: Array, rotation: Array, place: Array, camera: Camera) -> _Line:
    """Lay rays through the shoulders and the head."""
    rays = np.concatenate([(points - camera.middle_px) / camera.focal_px, np.ones((len(points), 2, 1))], 2)
    middle = rays.mean(1)
    far = np.linalg.norm(middle, axis=1)
    sight = middle / far[:, None]
    # Across the line of sight, for a distance of 1 along it.
    across = (rays[:, 1] - rays[:, 0]) / far[:, None]
    across = across - (across * sight).sum(1)[:, None] * sight
    width = np.linalg.norm(across, axis=1)
    _, head_turn, _ = posture_angles(rotation)
    azimuth, _ = line_of_sight(place)
    turn = TURN_SHARE * (depth_turn_deg - HEAD_FOLLOW * (head_turn - azimuth))
    t = np.radians(turn)[:, None]
    direction = np.cos(t) * across - np.sin(t) * width[:, None] * sight
    skull = FACING @ rotation @ np.array(SKULL_CM) + place
    over = skull / (skull * sight).sum(1)[:, None] - sight
    shift = -(over * across).sum(1) / width**2
    return _Line(direction, turn, width * np.linalg.norm(place, axis=1), shift)


def _sd_deg(width_cm: Array) -> float:
    """The standard deviation for shoulders of those widths; NaN for none."""
    if not width_cm.size:
        return np.nan
    narrow = (USUAL_WIDTH_CM - float(np.median(width_cm))) / (USUAL_WIDTH_CM - LEAST_WIDTH_CM)
    return SD_DEG * (1.0 + float(np.clip(narrow, 0.0, 1.0)))


def _refuse(looked: Bools, raised: Bools, line: _Line, tilt_deg: Array) -> NDArray[np.str_]:
    """Why each look is refused, "" where it is not."""
    reason = np.full(len(looked), "", dtype="<U16")
    reason[looked & ~np.isfinite(tilt_deg)] = UNSEEN
    reason[looked & (reason == "") & raised] = ARM
    reason[looked & (reason == "") & (np.abs(line.turn_deg) > MOST_TURN_DEG)] = TURNED
    left = looked & (reason == "")
    # One person has one build: single looks scatter too much to be told apart.
    if left.any() and np.median(line.width_cm[left]) < LEAST_WIDTH_CM:
        reason[left] = SMALL
    return reason


def _stray(time_s: Array, tilt_deg: Array) -> Bools:
    """Which looks are far from the median of those within reach, themselves included; with fewer than two others nothing is."""
    stray = np.zeros(len(time_s), bool)
    first = np.searchsorted(time_s, time_s - REACH_S)
    last = np.searchsorted(time_s, time_s + REACH_S, side="right")
    for i, (a, b) in enumerate(zip(first, last, strict=True)):
        stray[i] = b - a > 2 and abs(tilt_deg[i] - np.median(tilt_deg[a:b])) > STRAY_DEG
    return stray


def _carry(time_s: Array, looked: Bools, used: Bools, values: Array) -> Array:
    """Values (n, k) of the used looks for every frame; NaN where the nearest look was refused or is out of reach."""
    total, weight = np.zeros_like(values), np.zeros(len(time_s))
    for i in np.flatnonzero(used):
        near = slice(*np.searchsorted(time_s, [time_s[i] - REACH_S, time_s[i] + REACH_S + 1e-9]))
        share = np.exp(-0.5 * ((time_s[near] - time_s[i]) / SPREAD_S) ** 2)
        total[near] += share[:, None] * values[i]
        weight[near] += share
    looks = np.flatnonzero(looked)
    out = np.full(values.shape, np.nan)
    if looks.size:
        after = np.clip(np.searchsorted(time_s[looks], time_s), 0, len(looks) - 1)
        before = np.clip(after - 1, 0, None)
        earlier = np.abs(time_s - time_s[looks[before]]) <= np.abs(time_s[looks[after]] - time_s)
        nearest = looks[np.where(earlier, before, after)]
        shown = used[nearest] & (weight > 0)
        out[shown] = total[shown] / weight[shown, None]
    return out
