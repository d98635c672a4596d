"""A covered eye is found, on its side, and what it does to the landmarks is taken off; a face with both eyes is left as it is."""

from collections.abc import Iterator

import numpy as np
import pytest

from posture.conventions import SIDES, Side
from posture.face import covered
from posture.face.covered import (
    EVERY_S,
    PAINTED_CM,
    UNLIKE,
    CoveredEye,
    _copied,
    _Eyes,
    _is_lit_evenly,
    _laid_over,
    _likeness,
    _mask,
    _one_sided,
    _skin,
)
from posture.face.follow import FollowedFace
from posture.face.landmarker import LibraryLandmarker
from posture.face.seen import EYES, FaceSeen, Window
from posture.face.two_ways import mirror_index
from tests.face.pictures import PHOTO_CENTRE_PX, PHOTO_FACE_PX
from tests.proof.covered_eyes import paint_patch
from tests.proof.material import frame_of

CENTRE = np.array(PHOTO_CENTRE_PX)


@pytest.fixture(scope="module")
def face() -> Iterator[FollowedFace]:
    with FollowedFace() as opened:
        yield opened


@pytest.fixture(scope="module")
def plain(face: FollowedFace, astronaut: np.ndarray) -> FaceSeen:
    seen = face.place(frame_of(astronaut), CENTRE, PHOTO_FACE_PX)
    assert seen is not None
    return seen


@pytest.fixture(scope="module")
def points(plain: FaceSeen) -> np.ndarray:
    """The landmarks of the photograph with their depth, shape (478, 3)."""
    return np.concatenate([plain.points_px, plain.depth_px[:, None]], 1)


@pytest.fixture(scope="module")
def patched(plain: FaceSeen, astronaut: np.ndarray) -> dict[Side, np.ndarray]:
    """The photograph with an adhesive patch over either eye."""
    return {side: paint_patch(astronaut, plain, side, "skin", np.random.default_rng(1)) for side in SIDES}


def slope_deg(seen: FaceSeen, other: FaceSeen) -> float:
    """By how much a face is turned in the picture against another, all points together."""
    one, two = (s.points_px[:468] - s.points_px[:468].mean(0) for s in (seen, other))
    return float(np.degrees(np.arctan2((two[:, 0] * one[:, 1] - two[:, 1] * one[:, 0]).sum(), (one * two).sum())))


def test_a_face_with_both_eyes_has_none_covered(face: FollowedFace, points: np.ndarray, astronaut: np.ndarray) -> None:
    assert face.place(frame_of(astronaut), CENTRE, PHOTO_FACE_PX) is not None
    assert face.covered_eye is None
    assert face._covered.correct(points) is points


@pytest.mark.parametrize("side", SIDES)
def test_the_covered_eye_is_found_and_the_posture_stays(
    face: FollowedFace, plain: FaceSeen, patched: dict[Side, np.ndarray], side: Side
) -> None:
    seen = face.place(frame_of(patched[side]), CENTRE, PHOTO_FACE_PX)
    assert seen is not None
    assert face.covered_eye == side
    # On this one face what is taken off brings more than it mends; tests/proof/test_covered_eyes.py has more faces.
    assert abs(slope_deg(seen, plain)) < 2.0


def test_what_is_taken_off_leaves_the_chin(points: np.ndarray) -> None:
    """A difference that is its own mirror image, as a nod is, is no part of it; one of one side is, by half on each."""
    index, rng = mirror_index(), np.random.default_rng(4)
    nod = rng.normal(size=points.shape)
    nod += nod[index] * [-1, 1, 1]
    assert np.abs(_one_sided(nod)).max() < 1e-12
    assert np.abs(_one_sided(_one_sided(nod + points)) - _one_sided(points)).max() < 1e-9
    lean = np.zeros_like(points)
    lean[33, 1] = 1.0
    half = _one_sided(lean)
    assert (half[33, 1], half[263, 1]) == (0.5, -0.5)


def test_a_mirrored_picture_has_the_other_eye_covered_and_the_mirrored_points(
    face: FollowedFace, patched: dict[Side, np.ndarray]
) -> None:
    picture = patched["right"]
    seen = face.place(frame_of(picture), CENTRE, PHOTO_FACE_PX)
    width = picture.shape[1]
    other = face.place(
        frame_of(np.ascontiguousarray(picture[:, ::-1])), np.array([width - 1, 0]) + CENTRE * [-1, 1], PHOTO_FACE_PX
    )
    assert seen is not None
    assert other is not None
    assert face.covered_eye == "left"
    assert other.slope_deg == pytest.approx(-seen.slope_deg, abs=0.3)


@pytest.mark.parametrize("side", SIDES)
def test_eyes_are_alike_after_one_is_copied_over_the_other(
    points: np.ndarray, patched: dict[Side, np.ndarray], side: Side
) -> None:
    assert _likeness(patched[side], points) < UNLIKE
    for target in SIDES:
        assert _likeness(_copied(patched[side], points, target), points) > 0.9


def test_what_is_painted_over_is_of_one_colour_and_nothing_else_changes(points: np.ndarray, astronaut: np.ndarray) -> None:
    painted = _laid_over(astronaut, _skin(astronaut, points), _mask(astronaut, points, "right", PAINTED_CM[0]))
    middle = np.round(points[list(EYES["right"]), :2].mean(0)).astype(int)
    around = painted[middle[1] - 3 : middle[1] + 4, middle[0] - 3 : middle[0] + 4].reshape(-1, 3).astype(int)
    assert np.ptp(around, axis=0).max() <= 1
    changed = np.abs(painted.astype(int) - astronaut).max(2) > 1
    left = np.round(points[EYES["left"][0]]).astype(int)
    assert changed.any()
    assert not changed[:, left[0] - 3 :].any()


@pytest.mark.parametrize("side", SIDES)
def test_an_eye_in_the_dark_is_not_taken_as_covered(
    face: FollowedFace, astronaut: np.ndarray, points: np.ndarray, side: Side
) -> None:
    across = points[EYES["left"][0], :2] - points[EYES["right"][0], :2]
    y, x = np.mgrid[: astronaut.shape[0], : astronaut.shape[1]]
    along = ((np.stack([x, y], -1) - points[1, :2]) @ across) / np.linalg.norm(across) ** 2
    light = 1 / (1 + np.exp(12 * (-1 if side == "right" else 1) * along))
    dark = (astronaut * (0.15 + 0.85 * light)[..., None]).astype(np.uint8)
    assert _is_lit_evenly(astronaut, points)
    assert not _is_lit_evenly(dark, points)
    assert face.place(frame_of(dark), CENTRE, PHOTO_FACE_PX) is not None
    assert face.covered_eye is None


def test_region_is_where_it_was_after_the_looks(plain: FaceSeen, patched: dict[Side, np.ndarray]) -> None:
    window = Window.around(plain.centre_px, plain.size_px)
    pixels = window.show(frame_of(patched["left"]))
    with LibraryLandmarker() as landmarker:
        for _ in range(4):
            before = landmarker.look(pixels)
        assert before is not None
        eye = CoveredEye()
        eye.begin([landmarker], window, pixels, window.to_picture(before), 0.0)
        assert eye.side == "left"
        after = landmarker.look(pixels)
    assert after is not None
    assert np.linalg.norm(after - before, axis=1).max() < 0.02 * len(pixels)


def test_a_face_that_is_not_seen_without_its_eyes_is_left_as_it_is(plain: FaceSeen, patched: dict[Side, np.ndarray]) -> None:
    window = Window.around(plain.centre_px, plain.size_px)
    pixels = window.show(frame_of(patched["left"]))
    seen = np.zeros((478, 3))
    seen[:, :2], seen[:, 2] = window.from_picture(plain.points_px), plain.depth_px

    class _Only:
        """Sees the face in its own picture and in none that is painted over."""

        has_region = True

        def look(self, picture: np.ndarray) -> np.ndarray | None:
            return seen.copy() if picture is pixels else None

    eye = CoveredEye()
    eye.begin([_Only()], window, pixels, window.to_picture(seen), 0.0)  # type: ignore[list-item]
    assert eye.side is None
    assert eye.correct(seen) is seen


def test_what_is_found_twice_in_a_row_counts(monkeypatch: pytest.MonkeyPatch, plain: FaceSeen, points: np.ndarray) -> None:
    found: list[_Eyes] = []
    monkeypatch.setattr(covered, "_look_at_eyes", lambda *_: found[-1])
    window, pixels, eye = Window.around(plain.centre_px, plain.size_px), np.zeros((128, 128, 3), np.uint8), CoveredEye()
    none, right, left = _Eyes(None), _Eyes("right", np.full((478, 3), 0.01)), _Eyes("left", np.full((478, 3), 0.03))
    sides, moved = [], []
    for k, eyes in enumerate((none, right, none, right, right, left, right, none, none)):
        found.append(eyes)
        if k == 0:
            eye.begin([], window, pixels, points, 0.0)
        else:
            assert not eye.is_due(EVERY_S * (k - 0.5))
            assert eye.is_due(EVERY_S * k)
            eye.look([], window, pixels, points, EVERY_S * k)
        sides.append(eye.side)
        moved.append(float(np.linalg.norm((eye.correct(points) - points)[:, :2], axis=1).mean()))
    assert sides == [None, None, None, None, "right", "right", "right", "right", None]
    assert moved[:4] == [0, 0, 0, 0]
    assert moved[8] == 0
    assert moved[4] > 0.1
    assert moved[5:8] == pytest.approx([moved[4]] * 3)


def test_what_an_eye_does_is_followed(monkeypatch: pytest.MonkeyPatch, plain: FaceSeen, points: np.ndarray) -> None:
    does = iter([0.01, 0.03, 0.03, 0.03])
    monkeypatch.setattr(covered, "_look_at_eyes", lambda *_: _Eyes("left", np.full((478, 3), next(does))))
    window, pixels, eye = Window.around(plain.centre_px, plain.size_px), np.zeros((128, 128, 3), np.uint8), CoveredEye()
    eye.begin([], window, pixels, points, 0.0)
    depths = [float((eye.correct(points) - points)[0, 2])]
    for k in range(3):
        eye.look([], window, pixels, points, EVERY_S * (k + 1))
        depths.append(float((eye.correct(points) - points)[0, 2]))
    assert np.array(depths) / depths[0] == pytest.approx([1, 2, 2.5, 2.75])


def test_a_patch_that_comes_and_goes_in_a_film_is_noticed(
    face: FollowedFace, astronaut: np.ndarray, patched: dict[Side, np.ndarray]
) -> None:
    assert face.place(frame_of(astronaut), CENTRE, PHOTO_FACE_PX) is not None
    sides = []
    for k in range(1, 17):
        assert face.look(frame_of(patched["left"] if k <= 8 else astronaut, time_s=k * EVERY_S / 2)) is not None
        sides.append(face.covered_eye)
    # Looked at every second frame, and found twice.
    assert sides == [None] * 3 + ["left"] * 8 + [None] * 5
