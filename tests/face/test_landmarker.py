"""The library behind its protocol: pixel conventions, open and closed, and what a missing system library says."""

import numpy as np
import pytest

from posture.errors import SYSTEM_LIBRARIES, ModelError, missing_library_error
from posture.face.landmarker import N_POINTS, LibraryLandmarker


@pytest.fixture(scope="module")
def portrait(astronaut: np.ndarray) -> np.ndarray:
    """The photograph, cut to 256 px about the face."""
    return np.ascontiguousarray(astronaut[:256, 96:352])


@pytest.mark.parametrize("settling", [False, True])
def test_landmarks_of_a_photograph(portrait: np.ndarray, settling: bool) -> None:
    with LibraryLandmarker(settling=settling) as landmarker:
        (points,) = landmarker.look(portrait)
    assert points.shape == (N_POINTS, 3)
    assert points[:, :2].min() > 0
    assert points[:, :2].max() < 256
    # The person's right eye is on the left, the nose is nearest to the camera.
    assert points[33, 0] < points[1, 0] < points[263, 0]
    assert points[1, 2] < points[[33, 263, 234, 454], 2].min()


def test_picture_without_a_face_has_none() -> None:
    with LibraryLandmarker(settling=False) as landmarker:
        assert landmarker.look(np.full((256, 256, 3), 128, np.uint8)) == []


def test_forgetting_starts_anew(portrait: np.ndarray) -> None:
    with LibraryLandmarker(settling=True) as landmarker:
        first = landmarker.look(portrait)[0]
        landmarker.look(portrait)
        landmarker.forget()
        again = landmarker.look(portrait)[0]
    assert again == pytest.approx(first, abs=1e-3)


def test_closed_landmarker_raises_instead_of_seeing_no_face(portrait: np.ndarray) -> None:
    landmarker = LibraryLandmarker(settling=True)
    with pytest.raises(RuntimeError, match="Expected an open landmarker"):
        landmarker.look(portrait)
    with landmarker:
        assert len(landmarker.look(portrait)) == 1
    with pytest.raises(RuntimeError, match="Expected an open landmarker"):
        landmarker.look(portrait)


@pytest.mark.parametrize(
    "picture",
    [np.zeros((9, 9), np.uint8), np.zeros((9, 9, 4), np.uint8), np.zeros((9, 9, 3))],
    ids=["grey", "four channels", "float"],
)
def test_other_pictures_are_refused(picture: np.ndarray) -> None:
    with LibraryLandmarker(settling=False) as landmarker, pytest.raises(ValueError, match="Expected an RGB picture of uint8"):
        landmarker.look(picture)


@pytest.mark.parametrize(
    ("text", "package"),
    [
        ("libGL.so.1: cannot open shared object file: No such file or directory", "libgl1"),
        ("libEGL.so.1: cannot open shared object file", "libegl1"),
        ("libGLESv2.so.2: cannot open shared object file", "libgles2"),
        ("libgthread-2.0.so.0: cannot open shared object file", "libglib2.0-0"),
        ("libglib-2.0.so.0: cannot open shared object file", "libglib2.0-0"),
    ],
)
def test_missing_library_names_its_package(text: str, package: str) -> None:
    error = missing_library_error(OSError(text))
    assert isinstance(error, ModelError)
    said = str(error)
    assert "\n" not in said
    assert f"apt-get install -y {package} (" in said
    assert all(needed in said for needed in SYSTEM_LIBRARIES.values())


def test_other_failure_to_load_is_passed_on() -> None:
    assert missing_library_error(ImportError("something else broke")) is None
