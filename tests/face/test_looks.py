"""Looks hold over size and light, and differ between people; a portrait shows the head."""

from collections.abc import Iterator

import cv2
import numpy as np
import pytest

from posture.face.follow import FollowedFace
from posture.face.looks import PORTRAIT_PX, Looks, describe, mean_colours, portrait
from posture.face.persons import ALIKE
from posture.geometry.angles import posture_matrix
from tests.face.pictures import blank, put
from tests.proof.material import HEADS_MISSING, frame_of, heads_present, load_heads, see_face


class Viewer:
    """Takes the looks of a face whose place is known."""

    def __init__(self) -> None:
        self.face = FollowedFace()

    def take(self, picture: np.ndarray, centre_px: tuple[float, float], size_px: float) -> Looks:
        """The looks of the face there."""
        return describe(0.0, *self.view(picture, centre_px, size_px))

    def view(self, picture: np.ndarray, centre_px: tuple[float, float], size_px: float) -> tuple[np.ndarray, np.ndarray]:
        """The window's pixels and the landmarks in it."""
        seen = self.face.place(frame_of(picture), np.array(centre_px), size_px)
        assert seen is not None
        assert self.face.window is not None
        assert self.face.pixels is not None
        return self.face.pixels, self.face.window.from_picture(seen.points_px)


def looks_distance(one: list[Looks], other: list[Looks]) -> float:
    """How persons are compared."""
    return float(np.linalg.norm(mean_colours(one) - mean_colours(other)))


@pytest.fixture(scope="module")
def viewer() -> Iterator[Viewer]:
    made = Viewer()
    with made.face:
        yield made


@pytest.fixture(scope="module")
def looks(viewer: Viewer, astronaut: np.ndarray) -> Looks:
    return viewer.take(put(blank(640, 480), astronaut, (320, 240), 120), (320, 240), 120)


def test_colours_are_roots_of_shares(looks: Looks) -> None:
    assert looks.colours.shape == (48,)
    assert np.linalg.norm(looks.colours) <= 1 + 1e-9
    # Lightness spans everything: its shares are a third of the whole.
    assert (looks.colours[:16] ** 2).sum() == pytest.approx(1 / 3)
    assert 0.6 < looks.frontal <= 1


@pytest.mark.parametrize("size_px", [50.0, 80.0, 180.0])
def test_same_face_at_another_size_looks_alike(viewer: Viewer, looks: Looks, astronaut: np.ndarray, size_px: float) -> None:
    other = viewer.take(put(blank(640, 480), astronaut, (250, 260), size_px), (250, 260), size_px)
    assert looks_distance([looks], [other]) < 0.6 * ALIKE


@pytest.mark.parametrize("gain", [0.93, 1.07])
def test_same_face_in_another_light_looks_alike(viewer: Viewer, looks: Looks, astronaut: np.ndarray, gain: float) -> None:
    lit = np.clip(astronaut * gain, 0, 255).astype(np.uint8)
    other = viewer.take(put(blank(640, 480), lit, (320, 240), 120), (320, 240), 120)
    assert looks_distance([looks], [other]) < ALIKE


def test_turned_face_looks_alike(viewer: Viewer, looks: Looks, astronaut: np.ndarray) -> None:
    other = viewer.take(put(blank(640, 480), astronaut, (320, 240), 120, turned_deg=25), (320, 240), 120)
    assert looks_distance([looks], [other]) < ALIKE


@pytest.mark.parametrize(("lighter", "warmer"), [(0.55, 6), (0.7, 12), (1.3, -10)])
def test_face_of_other_colours_looks_different(
    viewer: Viewer, looks: Looks, astronaut: np.ndarray, lighter: float, warmer: int
) -> None:
    """The same features with other skin and hair: what colours alone tell."""
    lab = cv2.cvtColor(astronaut, cv2.COLOR_RGB2LAB).astype(float)
    lab = np.clip(lab * [lighter, 1, 1] + [0, 0, warmer], 0, 255).astype(np.uint8)
    recoloured = np.asarray(cv2.cvtColor(lab, cv2.COLOR_LAB2RGB), np.uint8)
    other = viewer.take(put(blank(640, 480), recoloured, (320, 240), 120), (320, 240), 120)
    assert looks_distance([looks], [other]) > 1.5 * ALIKE


@pytest.mark.skipif(not heads_present(), reason=HEADS_MISSING)
def test_rendered_people_look_different(viewer: Viewer, looks: Looks) -> None:
    """Of one posture and in one light; the same one a little turned is nearer than any other."""
    heads = load_heads()
    camera = heads.Camera(width=640, height=480)
    taken = []
    for name, turn_deg in (("child_a", 0.0), ("child_a", 10.0), ("child_b", 0.0), ("adult_a", 0.0)):
        picture = heads.render(heads.load(name), posture_matrix(0.0, turn_deg, 0.0), camera, (0.0, 0.0, 1.2))
        seen = see_face(picture)
        assert seen is not None
        taken.append(viewer.take(picture, (float(seen.centre_px[0]), float(seen.centre_px[1])), seen.size_px))
    same = looks_distance([taken[0]], [taken[1]])
    others = [looks_distance([a], [b]) for k, a in enumerate([looks, *taken[1:]]) for b in [looks, *taken[1:]][:k]]
    assert same < ALIKE
    assert min(others) > same
    assert np.median(others) > ALIKE
    assert max(others) < np.sqrt(2) + 1e-9


def one_colour(place: int, frontal: float) -> Looks:
    colours = np.zeros(48)
    colours[place] = 1.0
    return Looks(0.0, colours, frontal)


def test_frontal_looks_count_more() -> None:
    """Half of a face's looks are another's, but taken from the side."""
    mixed = [one_colour(0, 1.0), one_colour(1, 0.1)]
    to_frontal, to_side = (looks_distance(mixed, [one_colour(k, 1.0)]) for k in (0, 1))
    assert to_frontal == pytest.approx(np.sqrt(2) / 11)
    assert to_side == pytest.approx(np.sqrt(2) * 10 / 11)
    assert looks_distance(mixed, mixed) == 0


def test_profile_is_not_frontal() -> None:
    pixels = np.full((384, 384, 3), 120, np.uint8)
    points = np.random.default_rng(0).uniform(100, 280, (478, 2))
    points[[33, 133]], points[[262, 263, 362]], points[[13, 14]] = [140, 160], [240, 160], [190, 230]
    frontal = []
    for nose_x in (190.0, 215.0, 240.0, 300.0):
        points[1] = [nose_x, 195]
        frontal.append(describe(0.0, pixels, points).frontal)
    assert frontal == pytest.approx([1.0, 0.5, 0.05, 0.05])


def test_portrait_shows_the_head(viewer: Viewer, astronaut: np.ndarray) -> None:
    pixels, points = viewer.view(put(blank(640, 480), astronaut, (400, 200), 90), (400, 200), 90)
    small = portrait(pixels, points)
    assert small.shape == (PORTRAIT_PX, PORTRAIT_PX, 3)
    assert small.dtype == np.uint8
    # The same part of the photograph, cut by hand: one and a half faces, a little above the middle.
    side = 1.5 * 108
    left, top = 225 - side / 2, 124 - 0.6 * side
    scale = PORTRAIT_PX / side
    expected = cv2.warpAffine(astronaut, np.array([[scale, 0, -left * scale], [0, scale, -top * scale]]), (96, 96))
    middle = (slice(28, 80), slice(28, 68))
    assert np.abs(small[middle].astype(float) - expected[middle]).mean() < 25
