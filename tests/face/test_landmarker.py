"""The library behind its protocols: pixel conventions, open and closed, and what a missing system library says."""

from typing import Any

import numpy as np
import pytest

from posture.errors import SYSTEM_LIBRARIES, ModelError, missing_library_error
from posture.face.landmarker import FIND_SCORE, N_POINTS, STEP_MS, LibraryFinder, LibraryLandmarker
from posture.face.model import load_landmark_bundle, load_model_bytes
from tests.face.pictures import PHOTO_CENTRE_PX, PHOTO_FACE_PX, blank, moved, put


@pytest.fixture(scope="module")
def portrait(astronaut: np.ndarray) -> np.ndarray:
    """The photograph, cut to 256 px about the face."""
    return np.ascontiguousarray(astronaut[:256, 96:352])


def test_landmarks_of_a_photograph(portrait: np.ndarray) -> None:
    with LibraryLandmarker() as landmarker:
        points = landmarker.look(portrait)
    assert points is not None
    assert points.shape == (N_POINTS, 3)
    assert points[:, :2].min() > 0
    assert points[:, :2].max() < 256
    # The person's right eye is on the left, the nose is nearest to the camera.
    assert points[33, 0] < points[1, 0] < points[263, 0]
    assert points[1, 2] < points[[33, 263, 234, 454], 2].min()


def test_picture_without_a_face_has_none() -> None:
    with LibraryLandmarker() as landmarker, LibraryFinder() as finder:
        assert landmarker.look(blank(256, 256)) is None
        assert finder.find(blank(256, 256)) == []


def test_second_look_is_not_delayed(portrait: np.ndarray) -> None:
    """What the library keeps from the call before is the region, not the points: a shift is there at once."""
    shifted = np.ascontiguousarray(np.roll(portrait, 8, axis=1))
    with LibraryLandmarker() as landmarker:
        first = [landmarker.look(portrait) for _ in range(3)][-1]
        then = landmarker.look(shifted)
    assert first is not None
    assert then is not None
    assert (then - first)[:468, 0].mean() == pytest.approx(8, abs=0.6)


def test_bundle_without_expressions_gives_the_same_landmarks(portrait: np.ndarray, monkeypatch: pytest.MonkeyPatch) -> None:
    with LibraryLandmarker() as landmarker:
        assert len(load_landmark_bundle()) < len(load_model_bytes())
        monkeypatch.setattr("posture.face.landmarker.load_landmark_bundle", load_model_bytes)
        with LibraryLandmarker() as whole:
            for picture in sequence(portrait):
                mine, theirs = landmarker.look(picture), whole.look(picture)
                assert (mine is None) == (theirs is None)
                assert mine is None or np.array_equal(mine, theirs)


def test_forgetting_starts_anew(portrait: np.ndarray) -> None:
    with LibraryLandmarker() as landmarker:
        first = landmarker.look(portrait)
        landmarker.look(portrait)
        landmarker.forget()
        again = landmarker.look(portrait)
    assert first is not None
    assert again == pytest.approx(first, abs=1e-3)


def sequence(portrait: np.ndarray) -> list[np.ndarray]:
    """Pictures of the face still, moving, turning, gone, and back; the last of another shape."""
    shown = [portrait, portrait, moved(portrait, 5, 2), moved(portrait, 11, -4, 8.0), moved(portrait, -20, 6, -12.0)]
    wide = np.ascontiguousarray(np.pad(portrait, ((0, 0), (40, 60), (0, 0)), mode="edge"))
    return [*shown, blank(256, 256), blank(256, 256), portrait, portrait, wide]


def test_points_are_those_of_the_library_itself(portrait: np.ndarray) -> None:
    """Copied out of its memory, they equal what its own objects say, look after look."""
    seen = 0
    with LibraryLandmarker() as landmarker, LibraryLandmarker() as other:
        for number, picture in enumerate(sequence(portrait), 1):
            points = landmarker.look(picture)
            faces = other._task.detect_for_video(other._image(picture), number * STEP_MS).face_landmarks
            assert (points is None) == (not faces), number
            if points is None:
                continue
            height, width = picture.shape[:2]
            expected = [[p.x * width - 0.5, p.y * height - 0.5, p.z * width] for p in faces[0]]
            assert points == pytest.approx(np.array(expected), abs=1e-6)
            seen += 1
    assert seen >= 7


def test_points_outlive_the_library(portrait: np.ndarray) -> None:
    """They are a copy: neither later looks nor closing change them, and they may be written to."""
    with LibraryLandmarker() as landmarker:
        first = landmarker.look(portrait)
        assert first is not None
        kept = np.array(first.tolist())
        for picture in sequence(portrait):
            landmarker.look(picture)
        assert np.array_equal(first, kept)
    assert np.array_equal(first, kept)
    assert first.dtype == np.float64
    first += 1.0
    assert first == pytest.approx(kept + 1)


class CountingLibrary:
    """Passes calls on to the library and keeps their names."""

    def __init__(self, library: Any) -> None:
        self.library = library
        self.called: list[str] = []

    def __getattr__(self, name: str) -> Any:
        self.called.append(name)
        return getattr(self.library, name)


def test_every_result_is_given_back(portrait: np.ndarray, monkeypatch: pytest.MonkeyPatch) -> None:
    """With a face, without one, and when the numbers cannot be read: otherwise memory would be lost with every frame."""
    with LibraryLandmarker() as landmarker:
        counting = CountingLibrary(landmarker._task._lib)
        landmarker._task._lib = counting
        for picture in (portrait, blank(256, 256), portrait):
            landmarker.look(picture)
        monkeypatch.setattr("posture.face.landmarker.np.frombuffer", _unreadable)
        with pytest.raises(ValueError, match="unreadable"):
            landmarker.look(portrait)
        landmarker._task._lib = counting.library
    assert counting.called == ["MpFaceLandmarkerDetectForVideo", "MpFaceLandmarkerCloseResult"] * 4


def _unreadable(*_: object) -> np.ndarray:
    """Stands in for a reading of bytes that fails."""
    raise ValueError("unreadable")


def test_region_is_kept_while_a_face_is_found(portrait: np.ndarray) -> None:
    with LibraryLandmarker() as landmarker:
        assert not landmarker.has_region
        known = []
        for picture in (portrait, portrait, blank(256, 256), blank(256, 256), portrait):
            landmarker.look(picture)
            known.append(landmarker.has_region)
        assert known == [True, True, False, False, True]
        landmarker.forget()
        assert not landmarker.has_region
        landmarker.look(portrait)
        assert landmarker.has_region


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_finder_finds_a_face_however_it_is_turned(astronaut: np.ndarray, quarters: int) -> None:
    centre = np.array(PHOTO_CENTRE_PX)
    for _ in range(quarters):
        centre = np.array([centre[1], 511 - centre[0]])
    with LibraryFinder() as finder:
        best = max(finder.find(np.ascontiguousarray(np.rot90(astronaut, quarters))), key=lambda find: find.score)
    assert best.score > 0.55
    assert best.centre_px == pytest.approx(centre, abs=0.2 * PHOTO_FACE_PX)
    assert best.size_px == pytest.approx(PHOTO_FACE_PX, rel=0.25)


@pytest.mark.parametrize("size_px", [45.0, 110.0, 260.0])
def test_finder_finds_faces_of_many_sizes(astronaut: np.ndarray, size_px: float) -> None:
    with LibraryFinder() as finder:
        finds = finder.find(put(blank(320, 320), astronaut, (165, 160), size_px))
    best = max(finds, key=lambda find: find.score)
    assert FIND_SCORE <= best.score <= 1
    assert best.centre_px == pytest.approx([165, 160], abs=0.15 * size_px)
    assert best.size_px == pytest.approx(size_px, rel=0.3)


def test_finder_counts_in_pixels_of_its_picture(astronaut: np.ndarray) -> None:
    with LibraryFinder() as finder:
        best = max(finder.find(astronaut), key=lambda find: find.score)
    assert best.centre_px == pytest.approx(PHOTO_CENTRE_PX, abs=12)
    assert best.size_px == pytest.approx(PHOTO_FACE_PX, rel=0.2)


@pytest.mark.parametrize(("kind", "method"), [(LibraryLandmarker, "look"), (LibraryFinder, "find")])
def test_closed_object_raises_instead_of_seeing_no_face(portrait: np.ndarray, kind: type, method: str) -> None:
    task = kind()
    with pytest.raises(RuntimeError, match="Expected an open landmarker"):
        getattr(task, method)(portrait)
    with task:
        assert len(getattr(task, method)(portrait)) > 0
    with pytest.raises(RuntimeError, match="Expected an open landmarker"):
        getattr(task, method)(portrait)


@pytest.mark.parametrize(
    "picture",
    [np.zeros((9, 9), np.uint8), np.zeros((9, 9, 4), np.uint8), np.zeros((9, 9, 3))],
    ids=["grey", "four channels", "float"],
)
@pytest.mark.parametrize(("kind", "method"), [(LibraryLandmarker, "look"), (LibraryFinder, "find")])
def test_other_pictures_are_refused(picture: np.ndarray, kind: type, method: str) -> None:
    with kind() as task, pytest.raises(ValueError, match="Expected an RGB picture of uint8"):
        getattr(task, method)(picture)


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


@pytest.mark.parametrize(
    ("failure", "message"),
    [(OSError("libGL.so.1: cannot open"), "apt-get install -y libgl1"), (ImportError("broken"), "Install the package again")],
)
def test_library_that_does_not_load_is_one_clear_line(
    monkeypatch: pytest.MonkeyPatch, failure: Exception, message: str
) -> None:
    def fail() -> tuple:
        raise failure

    monkeypatch.setattr("posture.face.landmarker._import_library", fail)
    with pytest.raises(ModelError, match=message), LibraryFinder():
        pass


def test_closed_landmarker_is_not_opened_by_forgetting() -> None:
    with LibraryLandmarker() as landmarker:
        pass
    with pytest.raises(RuntimeError, match="Expected an open landmarker"):
        landmarker.forget()
