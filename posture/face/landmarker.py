"""The library's face landmarks behind a protocol of four lines, so that it can be replaced.

Two things about the library decide how it is used here. In its still mode the region that is looked at comes from a coarse
detector, which costs about half of the precision; in its stream mode the region comes from the landmarks of the call before,
but a causal filter delays them. The filter's strength depends on the time between calls, so the stream mode is given a clock
that advances `STEP_MS` a call: over such a step the filter passes its input through, and what is left is the settled region.
"""

from __future__ import annotations

import warnings
from types import TracebackType
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from posture.errors import ModelError, missing_library_error
from posture.face.model import load_model_bytes

STEP_MS = 1_000_000
"""The library's one-euro filter has a minimum cut-off of 0.05 Hz; over 1000 s its gain is 0.997, so nothing is smoothed."""

N_POINTS = 478


class Landmarker(Protocol):
    """Finds faces in an RGB picture, each as points (478, 3): x, y in pixels, z in pixels growing away from the camera."""

    def __enter__(self) -> Self: ...
    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None: ...
    def look(self, picture: NDArray[np.uint8]) -> list[NDArray[np.float64]]:
        """Find the faces of one picture."""


class LibraryLandmarker:
    """The bundled model in the landmark library.

    Parameters
    ----------
    settling : bool
        True: one face, the region taken from the call before, for a window that stays still. False: each picture on its own.
    max_faces : int
        At most this many faces; 1 when settling.

    Raises
    ------
    ModelError
        If the model or a system library is missing.
    """

    def __init__(self, *, settling: bool, max_faces: int = 1) -> None:
        self._settling = settling
        self._max_faces = 1 if settling else max_faces
        self._clock_ms = 0
        self._task = None

    def __enter__(self) -> Self:
        self._open()
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._close()

    def look(self, picture: NDArray[np.uint8]) -> list[NDArray[np.float64]]:
        """Find the faces of one picture.

        Parameters
        ----------
        picture : ndarray of uint8, shape (h, w, 3)
            RGB, contiguous.

        Returns
        -------
        list of ndarray, shape (478, 3)
            Pixels of this picture, z growing away from the camera; empty where no face was found.
        """
        if picture.dtype != np.uint8 or picture.ndim != 3 or picture.shape[2] != 3:
            raise ValueError(f"Expected an RGB picture of uint8, (h, w, 3); {picture.dtype} {picture.shape} came.")
        if self._task is None:
            # A closed landmarker of the library answers "no face"; that must never pass for an observation.
            raise RuntimeError("Expected an open landmarker; use it inside 'with'.")
        image = self._mp.Image(image_format=self._mp.ImageFormat.SRGB, data=np.ascontiguousarray(picture))
        if self._settling:
            self._clock_ms += STEP_MS
            result = self._task.detect_for_video(image, self._clock_ms)
        else:
            result = self._task.detect(image)
        height, width = picture.shape[:2]
        scale = np.array([width, height, width], float)
        # The library counts from the outer edge of the first pixel; pixel centres are at whole numbers here.
        shift = np.array([0.5, 0.5, 0.0])
        return [np.array([[p.x, p.y, p.z] for p in face]) * scale - shift for face in result.face_landmarks]

    def forget(self) -> None:
        """Start anew: the next picture's region comes from the detector."""
        self._close()
        self._open()

    def _open(self) -> None:
        """Make the library's object from the checked bytes."""
        self._mp, tasks, vision = _import_library()
        options = vision.FaceLandmarkerOptions(
            base_options=tasks.BaseOptions(model_asset_buffer=load_model_bytes()),
            running_mode=vision.RunningMode.VIDEO if self._settling else vision.RunningMode.IMAGE,
            num_faces=self._max_faces,
        )
        try:
            self._task = vision.FaceLandmarker.create_from_options(options)
        except (ImportError, OSError) as error:
            raise _load_error(error) from error

    def _close(self) -> None:
        """Close the library's object; it must not be left to the garbage collector."""
        if self._task is not None:
            self._task.close()
            self._task = None


def _import_library() -> tuple:
    """(mediapipe, its tasks, its vision tasks); a missing system library becomes one clear line."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import mediapipe
            from mediapipe.tasks import python as tasks
            from mediapipe.tasks.python import vision
    except (ImportError, OSError) as error:
        raise _load_error(error) from error
    return mediapipe, tasks, vision


def _load_error(error: BaseException) -> ModelError:
    """What to tell a user when a native library does not load."""
    missing = missing_library_error(error)
    return missing or ModelError(f"Expected the landmark library to load; it did not ({error}). Install the package again.")
