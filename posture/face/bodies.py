"""Bodies as the library's pose model sees them: all in a square, each picture for itself, or one that is carried from look to look.

A body that is carried needs no search, which is half of the time, and its shoulders are read as well (films of rendered people: adults
off by 2.03 degrees and searched for in every look by 2.06, children 1.72 and 1.85; `python -m tests.proof.trunk`). The library
smooths what it carries. Points pass through, by the clock that `posture.face.landmarker` explains; visibility is smoothed by the look
and not by the clock, so that is undone here: shoulders that are hidden from one look to the next must not count as seen for seconds.
"""

from __future__ import annotations

import ctypes
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posture.face.landmarker import STEP_MS, _Task, copied_numbers
from posture.face.model import POSE_MODEL_NAME, load_model_bytes

N_POSES = 2
"""People the model looks for in a square: the one that is followed may be the fainter one."""

FIND_SCORE = 0.3
"""Least score of a body; what is found by chance is refused by the face."""

NEWEST_SHARE = 0.1
"""Of the visibility in the newest look, in what the library gives of a body that it carries."""

_N_POINTS = 33
_MIRRORED = [0, 4, 5, 6, 1, 2, 3, 8, 7, 10, 9, *(i + 1 if i % 2 else i - 1 for i in range(11, _N_POINTS))]
"""The point of the other side for every point."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Body:
    """The points of one body.

    Attributes
    ----------
    points_px : ndarray, shape (33, 2)
        In the picture that was given.
    deep : ndarray, shape (33, 3)
        In the model's own space: x right and z away from the camera, of one unit.
    visibility : ndarray, shape (33,)
        0 to 1.
    """

    points_px: Array
    deep: Array
    visibility: Array

    def mirrored(self, width_px: int) -> Body:
        """A body of a mirrored picture of that width as one of the picture itself, right and left exchanged back."""
        points, deep = self.points_px[_MIRRORED], self.deep[_MIRRORED]
        return Body(points * [-1, 1] + [width_px - 1, 0], deep * [-1, 1, 1], self.visibility[_MIRRORED])


class _Bodies(_Task):
    """The pose model in one of its modes."""

    mode = "IMAGE"
    most = N_POSES

    def _make(self, tasks: Any, vision: Any) -> Any:
        options = vision.PoseLandmarkerOptions(
            base_options=tasks.BaseOptions(model_asset_buffer=load_model_bytes(POSE_MODEL_NAME)),
            running_mode=vision.RunningMode[self.mode],
            num_poses=self.most,
            min_pose_detection_confidence=FIND_SCORE,
            min_pose_presence_confidence=FIND_SCORE,
        )
        from mediapipe.tasks.python.vision.pose_landmarker import PoseLandmarkerResultC

        self._result_type = PoseLandmarkerResultC
        return vision.PoseLandmarker.create_from_options(options)

    def _see(self, pixels: NDArray[np.uint8], clock_ms: int | None) -> list[Body]:
        """All bodies in an RGB picture."""
        image = self._image(pixels)
        result = self._result_type()
        library, handle, at = self._task._lib, self._task._handle, ctypes.byref(result)
        if clock_ms is None:
            library.MpPoseLandmarkerDetectImage(handle, image._image_ptr, None, at)
        else:
            library.MpPoseLandmarkerDetectForVideo(handle, image._image_ptr, None, clock_ms, at)
        try:
            flat = [
                copied_numbers(result.pose_landmarks[k], ("x", "y", "visibility")) for k in range(result.pose_landmarks_count)
            ]
            deep = [
                copied_numbers(result.pose_world_landmarks[k], ("x", "y", "z"))
                for k in range(result.pose_world_landmarks_count)
            ]
        finally:
            library.MpPoseLandmarkerCloseResult(at)
        height, width = pixels.shape[:2]
        return [
            Body(points[:, :2] * [width, height] - 0.5, space, points[:, 2]) for points, space in zip(flat, deep, strict=True)
        ]


class LibraryBodies(_Bodies):
    """Searches every picture for itself: 25 to 30 ms a look.

    Raises
    ------
    ModelError
        If the model or a system library is missing, when entered.
    """

    def find(self, pixels: NDArray[np.uint8]) -> list[Body]:
        """All bodies (at most `N_POSES`) in an RGB picture (h, w, 3), in its own pixels."""
        return self._see(pixels, None)


class CarriedBody(_Bodies):
    """One body, its place in the window taken from the look before: 15 ms a look.

    Raises
    ------
    ModelError
        If the model or a system library is missing, when entered.
    """

    mode = "VIDEO"
    most = 1

    def __init__(self) -> None:
        super().__init__()
        self._clock_ms = 0
        self._smoothed: Array | None = None

    def look(self, pixels: NDArray[np.uint8]) -> Body | None:
        """The body in an RGB picture (h, w, 3), near to where it was in the one before; None where it is not found."""
        self._clock_ms += STEP_MS
        bodies = self._see(pixels, self._clock_ms)
        if not bodies:
            return None
        body, before = bodies[0], self._smoothed
        self._smoothed = body.visibility
        if before is None:
            return body
        newest = (body.visibility - (1 - NEWEST_SHARE) * before) / NEWEST_SHARE
        return Body(body.points_px, body.deep, np.clip(newest, 0.0, 1.0))

    def _make(self, tasks: Any, vision: Any) -> Any:
        self._smoothed = None
        return super()._make(tasks, vision)
