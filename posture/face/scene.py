"""How the camera moved, from what lies still behind the faces, and whether a face ever moved against it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.conventions import wrap_deg
from posture.face.seen import FaceSeen, Picture, Window
from posture.face.stretch import Stretch
from posture.face.surface import Surfaces

Array = NDArray[np.float64]

SCENE_EVERY_S = 0.5
"""How often the picture behind the faces is compared with the one before."""

SCENE_PX = 320
"""Longer side of the picture in which that is done."""

MAX_CORNERS = 150
LEAST_CORNERS = 8
"""With fewer corners that agree, nothing is known of the camera's movement."""

FACE_MARGIN = 0.8
"""Corners nearer to a face than this share of its size may move with the person."""

SAME_FRAME_S = 0.001

JUDGED_S = 8.0
"""A face seen for less is not judged: people keep still for some seconds."""

LAG = 6
"""Movement is that over so many looks at the scene, three seconds. Standing and sitting people sway by more than a centimetre in
it."""

NOSE_COUNTS = 2.0
"""A turn of the face by four degrees shifts the nose by 0.015 face sizes, and counts like a shift of the face by 0.03."""

STILL = 0.028
"""A face whose place, nose (in face sizes), size and slope (in radians) changed by less than this against the scene, in nine of
ten such times, is a thing: about half a centimetre. From a camera held in the hand, pictures on a wall came to 0.018 at most, a
rendered person sitting still to 0.043, others to more than 0.1 (own measurement, no source)."""

MEAN_OF = 4
"""Changes that are averaged, half a second apart."""

ROCKING = 3.0
"""Single changes may be that much larger than their means, and no more, in a thing."""

STILL_PX = 2.0
"""Of a small face the landmarks themselves move by as much."""

FIXED, FIXED_PX = 0.01, 0.6
"""What a thing consists of is where it was in the scene: in three of four such times most corners of the face moved by less than
this, in face sizes, or in pixels for a small one. Pictures and dolls came to 0.0085 at most, small dolls in a shaken film to 0.0147 or 0.6
pixels; people rendered sitting very still (1.5 to 2 mm, half a degree) to 0.018 and more, others to 0.03 and more (own measurement, no source)."""

DOUBT = 2.0
"""A thing keeps still by one of the two bounds, and by the other to that much: a moving cover stirs the landmarks of a poster, but
those of a child behind the bars of a cot move more."""


@dataclass(frozen=True)
class SceneStep:
    """The camera's movement from one look at the scene to the next.

    Attributes
    ----------
    time_s : float
        Of the later one.
    matrix : ndarray, shape (2, 3), or None
        From pixels of the earlier picture to those of this one; None where it is not known.
    """

    time_s: float
    matrix: Array | None


class Scene:
    """Watches what lies behind the faces.

    Attributes
    ----------
    steps : list of SceneStep
    """

    def __init__(self) -> None:
        self.steps: list[SceneStep] = []
        self._surfaces = Surfaces(LAG)
        self._before: NDArray[np.uint8] | None = None
        self._corners: NDArray[np.float32] | None = None

    def look(self, picture: Picture, faces: Sequence[FaceSeen]) -> dict[int, float]:
        """Compare the picture with the one before, if that is long enough ago.

        Parameters
        ----------
        picture : Picture
        faces : sequence of FaceSeen
            In this picture.

        Returns
        -------
        dict of int to float
            How far what the faces consist of moved against it, see `Surfaces.look`; empty where nothing was compared.
        """
        if self.steps and picture.time_s - self.steps[-1].time_s < SCENE_EVERY_S:
            return {}
        window = Window.over(picture, SCENE_PX)
        scale = window.out_px / window.side_px
        grey = window.show_grey(picture)
        self.steps.append(SceneStep(picture.time_s, self._movement(grey, scale)))
        mask = np.full(grey.shape, 255, np.uint8)
        for face in faces:
            half = (0.5 + FACE_MARGIN) * face.size_px * scale
            low = np.maximum(face.centre_px * scale - half, 0).astype(int)
            # What is below a face is the body that carries it.
            high = (face.centre_px * scale + half).astype(int)
            mask[low[1] :, low[0] : high[0]] = 0
        shifts = self._surfaces.look(picture, faces, _motion(self.steps[-LAG:], self.steps))
        self._before = grey
        corners = cv2.goodFeaturesToTrack(grey, MAX_CORNERS, 0.02, 5, mask=mask)
        self._corners = None if corners is None else np.asarray(corners, np.float32)
        return shifts

    def _movement(self, grey: NDArray[np.uint8], scale: float) -> Array | None:
        """The movement since the picture before, in pixels of the film."""
        if self._before is None or self._corners is None or self._before.shape != grey.shape:
            return None
        after, found, _ = cv2.calcOpticalFlowPyrLK(self._before, grey, self._corners, None)
        kept = found.ravel() == 1
        if kept.sum() < LEAST_CORNERS:
            return None
        matrix, inliers = cv2.estimateAffinePartial2D(self._corners[kept], after[kept], ransacReprojThreshold=1.0)
        if matrix is None or inliers.sum() < max(LEAST_CORNERS, 0.4 * kept.sum()):
            return None
        moved = np.array(matrix, np.float64)
        moved[:, 2] /= scale
        return moved


def never_moved(stretches: Sequence[Stretch], scene: Sequence[SceneStep]) -> bool:
    """Whether a face kept so still against the scene that it is a picture or a doll.

    Parameters
    ----------
    stretches : sequence of Stretch
        Of one person, in order.
    scene : sequence of SceneStep

    Returns
    -------
    bool
        False also where too little was seen to judge.
    """
    if sum(s.last_s - s.first_s for s in stretches) < JUDGED_S:
        return False
    times = np.concatenate([s.times_s for s in stretches])
    places = np.concatenate([s.places for s in stretches])
    # In the very frame of the scene: a hand shakes several times in the time between two looks at it.
    nearest = [int(np.abs(times - step.time_s).argmin()) for step in scene]
    at = [places[k] if abs(times[k] - step.time_s) < SAME_FRAME_S else None for k, step in zip(nearest, scene, strict=True)]
    known = _changes(at, scene, LAG)
    step_s = float(np.median(np.diff([step.time_s for step in scene])))
    if len(known) * step_s < JUDGED_S / 2:
        return False
    size_px = float(np.median(places[:, 2]))
    bound, fixed = max(STILL, STILL_PX / size_px), max(FIXED, FIXED_PX / size_px)
    shifts = [shift for s in stretches for shift in s.shifts]
    if len(shifts) * step_s >= JUDGED_S / 2:
        shift = float(np.percentile(shifts, 75))
        if shift >= DOUBT * fixed:
            return False
        bound *= DOUBT if shift < fixed else 1.0
    # The mean of neighbouring changes keeps what a head does and halves what the landmarks and a hand add.
    means = np.stack([np.convolve(known[:, k], np.ones(MEAN_OF) / MEAN_OF, "valid") for k in range(6)], 1)
    if _usual_largest(means) >= bound:
        return False
    # Regular rocking would vanish from such means.
    return all(_usual_largest(_changes(at, scene, lag)) < ROCKING * bound for lag in (1, LAG - 1))


def _motion(steps: Sequence[SceneStep], scene: Sequence[SceneStep]) -> Array | None:
    """The camera's movement (3, 3) over some steps of a scene; None where it is not known."""
    motion = np.eye(3)
    # Before a wall without a mark nothing tells how the camera moved; it is taken as still.
    if all(step.matrix is None for step in scene):
        return motion
    for step in steps:
        if step.matrix is None:
            return None
        motion = np.vstack([step.matrix, [0, 0, 1]]) @ motion
    return motion


def _changes(at: Sequence[Array | None], scene: Sequence[SceneStep], lag: int) -> Array:
    """The changes, shape (n, 6), over so many steps wherever they are known."""
    found = []
    for k in range(len(at) - lag):
        before, after, motion = at[k], at[k + lag], _motion(scene[k + 1 : k + lag + 1], scene)
        if before is not None and after is not None and motion is not None:
            found.append(_change(before, after, motion))
    return np.array(found).reshape(-1, 6)


def _usual_largest(changes: Array) -> float:
    """What the largest of the six stays below in nine of ten; 0 where nothing is known."""
    return float(np.percentile(np.abs(changes).max(1), 90)) if len(changes) else 0.0


def _change(place: Array, later: Array, motion: Array) -> Array:
    """The change, shape (6,), of a place (see `Stretch.places`) that the camera's movement (3, 3) does not explain."""
    turning = motion[:2, :2]
    scale = float(np.hypot(turning[0, 0], turning[1, 0]))
    turn_deg = float(np.degrees(np.arctan2(turning[1, 0], turning[0, 0])))
    centre = later[:2] - (turning @ place[:2] + motion[:2, 2])
    slope = np.radians(wrap_deg(later[3] - place[3] - turn_deg))
    nose = NOSE_COUNTS * (later[4:] - turning @ place[4:] / scale)
    return np.array([*centre / later[2], np.log(later[2] / (place[2] * scale)), slope, *nose])
