"""The library's face landmarks and its face detector behind a protocol of few lines, so that they can be replaced.

Two things about the library decide how it is used here. In its still mode the region that is looked at comes from a coarse
detector, which costs about half of the precision; in its stream mode the region comes from the landmarks of the call before,
but a causal filter delays them. The filter's strength depends on the time between calls, so the stream mode is given a clock
that advances `STEP_MS` a call: over such a step the filter passes its input through, and what is left is the settled region.
"""

from __future__ import annotations

import ctypes
import io
import warnings
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Protocol, Self, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.errors import ModelError, missing_library_error
from posture.face.model import load_landmark_bundle, load_model_bytes
from posture.face.two_ways import mirror_points

STEP_MS = 1_000_000
"""The library's one-euro filter has a minimum cut-off of 0.05 Hz; over 1000 s its gain is 0.997, so nothing is smoothed."""

N_POINTS = 478

NOT_OPEN = "Expected an open landmarker; use it inside 'with'."

FIND_SCORE = 0.4
"""Least score of a find. On rendered heads turned within 25 degrees, at any angle in the picture's plane, every face of 0.15 to
0.8 of the picture's side scored 0.3 or more and nearly all 0.5; what is found by chance is refused by the landmarks."""

REGION_SCORE = 0.3
"""Least score of the detector inside a window where a face is already known to be: an upside-down face scores about 0.6."""

SIZE_OF_BOX = 1.15
"""Longer side of the landmarks' box over that of the detector's (measured on rendered heads and a photograph)."""

_DETECTOR_NAME = "face_detector.tflite"


class Landmarker(Protocol):
    """Finds the face in an RGB picture as points (478, 3): x, y in pixels, z in pixels growing away from the camera.

    `has_region` tells whether the last call found one, whose place is the next one's region.
    """

    @property
    def has_region(self) -> bool:
        """Whether the last call found a face."""

    def __enter__(self) -> Self: ...
    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None: ...
    def look(self, picture: NDArray[np.uint8]) -> NDArray[np.float64] | None:
        """Find the face of one picture."""

    def forget(self) -> None:
        """Start anew: the next picture's region comes from the detector."""


@dataclass(frozen=True)
class Find:
    """A face as the detector sees it.

    Attributes
    ----------
    centre_px : ndarray, shape (2,)
    size_px : float
        About the longer side of the box around the landmarks of such a face.
    score : float
        0 to 1.
    slope_deg : float
        About `FaceSeen.slope_deg`: 0 upright, + when the left eye is lower. Of a face that hangs it is often the opposite.
    """

    centre_px: NDArray[np.float64]
    size_px: float
    score: float
    slope_deg: float = 0.0


class _Task:
    """The life of one object of the library: used inside ``with``, closed by nobody else."""

    def __init__(self) -> None:
        self._task: Any = None

    def __enter__(self) -> Self:
        self._open()
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._close()

    def _make(self, tasks: Any, vision: Any) -> Any:
        """The library's object from the checked bytes."""
        raise NotImplementedError

    def _open(self) -> None:
        """Make the library's object; a missing system library becomes one clear line."""
        try:
            self._mp, tasks, vision = _import_library()
            self._task = self._make(tasks, vision)
        except (ImportError, OSError) as error:
            missing = missing_library_error(error)
            text = f"Expected the landmark library to load; it did not ({error}). Install the package again."
            raise missing or ModelError(text) from error

    def _close(self) -> None:
        """Close the library's object; it must not be left to the garbage collector."""
        if self._task is not None:
            self._task.close()
            self._task = None

    def _image(self, picture: NDArray[np.uint8]) -> Any:
        """The library's image of an RGB picture."""
        if picture.dtype != np.uint8 or picture.ndim != 3 or picture.shape[2] != 3:
            raise ValueError(f"Expected an RGB picture of uint8, (h, w, 3); {picture.dtype} {picture.shape} came.")
        if self._task is None:
            # A closed object of the library answers "no face"; that must never pass for an observation.
            raise RuntimeError(NOT_OPEN)
        return self._mp.Image(image_format=self._mp.ImageFormat.SRGB, data=np.ascontiguousarray(picture))


class LibraryLandmarker(_Task):
    """The bundled landmarks, one face, the region taken from the call before: for a window that stays still.

    Attributes
    ----------
    has_region : bool
        The last call found a face; otherwise the next one asks the detector where to look.

    Raises
    ------
    ModelError
        If the model or a system library is missing, when entered.
    """

    def __init__(self) -> None:
        super().__init__()
        self._clock_ms = 0
        self.has_region = False

    def look(self, picture: NDArray[np.uint8]) -> NDArray[np.float64] | None:
        """Find the face of one picture.

        Parameters
        ----------
        picture : ndarray of uint8, shape (h, w, 3)
            RGB, contiguous.

        Returns
        -------
        ndarray, shape (478, 3), or None
            Pixels of this picture, z growing away from the camera; None where no face was found.
        """
        image = self._image(picture)
        self._clock_ms += STEP_MS
        points = self._points(image)
        self.has_region = points is not None
        if points is None:
            return None
        height, width = picture.shape[:2]
        # The library counts from the outer edge of the first pixel; pixel centres are at whole numbers here.
        return points * [width, height, width] - [0.5, 0.5, 0.0]

    def _points(self, image: Any) -> NDArray[np.float64] | None:
        """The landmarks (478, 3) in shares of the picture; None for no face."""
        result = self._result_type()
        library = self._task._lib
        library.MpFaceLandmarkerDetectForVideo(self._task._handle, image._image_ptr, None, self._clock_ms, ctypes.byref(result))
        try:
            if not result.face_landmarks_count:
                return None
            return copied_numbers(result.face_landmarks[0], ("x", "y", "z"))
        finally:
            library.MpFaceLandmarkerCloseResult(ctypes.byref(result))

    def forget(self) -> None:
        """Start anew: the next picture's region comes from the detector."""
        if self._task is None:
            raise RuntimeError(NOT_OPEN)
        if self._clock_ms == 0:
            return
        self._close()
        self._open()
        self.has_region = False

    def _make(self, tasks: Any, vision: Any) -> Any:
        options = vision.FaceLandmarkerOptions(
            base_options=tasks.BaseOptions(model_asset_buffer=load_landmark_bundle()),
            running_mode=vision.RunningMode.VIDEO,
            min_face_detection_confidence=REGION_SCORE,
        )
        from mediapipe.tasks.python.vision.face_landmarker import FaceLandmarkerResultC

        self._result_type = FaceLandmarkerResultC
        self._clock_ms = 0
        return vision.FaceLandmarker.create_from_options(options)


class MirroredLandmarker:
    """Another landmarker that is shown every picture in a mirror; what it says is of the picture itself."""

    def __init__(self, landmarker: Landmarker) -> None:
        self._landmarker = landmarker

    @property
    def has_region(self) -> bool:
        """As of the other."""
        return self._landmarker.has_region

    def __enter__(self) -> Self:
        self._landmarker.__enter__()
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._landmarker.__exit__(kind, error, trace)

    def look(self, picture: NDArray[np.uint8]) -> NDArray[np.float64] | None:
        """Find the face of one picture, see `Landmarker`."""
        points = self._landmarker.look(np.asarray(cv2.flip(picture, 1), np.uint8))
        return None if points is None else mirror_points(points, picture.shape[1])

    def forget(self) -> None:
        """Start anew."""
        self._landmarker.forget()


class LibraryFinder(_Task):
    """The bundled detector by itself, each picture on its own. It works at 128 px, whatever the picture's size."""

    def find(self, picture: NDArray[np.uint8]) -> list[Find]:
        """Find faces of an eighth to nine tenths of the picture's side, at any angle in its plane.

        Parameters
        ----------
        picture : ndarray of uint8, shape (h, w, 3)
            RGB, contiguous.

        Returns
        -------
        list of Find
            In pixels of this picture.
        """
        finds = []
        image = self._image(picture)
        for face in self._task.detect(image).detections:
            box = face.bounding_box
            centre = np.array([box.origin_x + box.width / 2, box.origin_y + box.height / 2]) - 0.5
            size = SIZE_OF_BOX * max(box.width, box.height)
            right, left, _, mouth = (np.array([k.x, k.y]) for k in face.keypoints[:4])
            down = mouth - (right + left) / 2
            slope = float(np.degrees(np.arctan2(-down[0], down[1])))
            finds.append(Find(centre, size, float(face.categories[0].score), slope))
        return finds

    def _make(self, tasks: Any, vision: Any) -> Any:
        with zipfile.ZipFile(io.BytesIO(load_model_bytes())) as bundle:
            model = bundle.read(_DETECTOR_NAME)
        options = vision.FaceDetectorOptions(
            base_options=tasks.BaseOptions(model_asset_buffer=model), min_detection_confidence=FIND_SCORE
        )
        return vision.FaceDetector.create_from_options(options)


def copied_numbers(listed: Any, names: Sequence[str]) -> NDArray[np.float64]:
    """Some numbers (n, k) of every one of a list of points, copied straight out of the library's memory.

    Its own way makes an object of every point first, which holds up every other thread for longer than all the rest of a look.

    Parameters
    ----------
    listed : object
        The library's own list: ``landmarks`` and ``landmarks_count``.
    names : sequence of str
        Fields of its points, each a number of four bytes.
    """
    kind, count = type(listed.landmarks.contents), listed.landmarks_count
    held = ctypes.string_at(ctypes.addressof(listed.landmarks.contents), count * ctypes.sizeof(kind))
    offsets = [getattr(kind, name).offset for name in names]
    layout = {"names": list(names), "formats": ["f4"] * len(names), "offsets": offsets, "itemsize": ctypes.sizeof(kind)}
    points: NDArray[np.void] = np.frombuffer(held, np.dtype(cast(Any, layout)))
    return np.stack([points[name] for name in names], 1).astype(np.float64)


def _import_library() -> tuple:
    """(mediapipe, its tasks, its vision tasks)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import mediapipe
        from mediapipe.tasks import python as tasks
        from mediapipe.tasks.python import vision
    return mediapipe, tasks, vision
