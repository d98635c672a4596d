"""Two ways of looking at one face: what they differ by is taken off both, and a movement of the head is not taken for it."""

import numpy as np
import pytest

from posture.face.landmarker import MirroredLandmarker
from posture.face.model import load_canonical_face
from posture.face.two_ways import TwoWays, mirror_index, mirror_points

RNG = np.random.default_rng(3)


@pytest.fixture(scope="module")
def face() -> np.ndarray:
    """Points (478, 3) of an even face in a picture, 200 px high."""
    vertices = load_canonical_face().vertices_cm * [1, -1, 1] * 12 + [300, 200, 0]
    irises = vertices[[468 - 1] * 10]
    return np.concatenate([vertices, irises])


@pytest.fixture(scope="module")
def error(face: np.ndarray) -> np.ndarray:
    """What one way sees wrongly, smooth over the face, about 2 px."""
    return 2.0 * np.stack([np.sin(face[:, 1] / 40), np.cos(face[:, 0] / 50), np.sin(face[:, 0] / 60)], 1)


def test_the_point_of_the_other_side_is_its_mirror_image():
    vertices, index = load_canonical_face().vertices_cm, mirror_index()
    assert np.abs(vertices[index[:468]] * [-1, 1, 1] - vertices).max() < 1e-9
    assert (index[index] == np.arange(478)).all()
    # The outer corners of the eyes, and the irises.
    assert (index[33], index[468], index[469]) == (263, 473, 476)


def test_mirrored_twice_is_as_it_was(face: np.ndarray):
    assert mirror_points(mirror_points(face, 640), 640) == pytest.approx(face)
    assert mirror_points(face, 640)[263, 0] == pytest.approx(639 - face[33, 0])


class _Whole:
    """Sees the pixels that are white."""

    has_region = True

    def look(self, picture: np.ndarray) -> np.ndarray:
        y, x = np.argwhere(picture[..., 0] == 255)[0]
        return np.tile([x, y, 7.0], (478, 1))


def test_what_is_seen_in_the_mirror_is_told_of_the_picture():
    picture = np.zeros((20, 20, 3), np.uint8)
    picture[5, 3] = 255
    seen = MirroredLandmarker(_Whole()).look(picture)
    assert (seen == [3, 5, 7]).all()


def test_one_frame_seen_both_ways_gives_the_middle(face: np.ndarray, error: np.ndarray):
    ways = TwoWays()
    ways.begin(face + error, face - error)
    for way in (1, -1):
        left = ways.correct(face + way * error, way) - face
        assert np.abs(left - left.mean(0)).max() < 0.1
    ways.forget()
    assert ways.correct(face, 1) is face


def test_turns_teach_what_the_ways_differ_by(face: np.ndarray, error: np.ndarray):
    ways = TwoWays()
    for k in range(60):
        way = 1 if k % 2 else -1
        ways.learn(face + way * error + RNG.normal(0, 0.2, face.shape), way)
    left = ways.correct(face + error, 1) - face
    assert np.abs(left - left.mean(0)).mean() < 0.15


def test_an_even_movement_is_not_taken_for_a_difference(face: np.ndarray):
    """A head that tilts by a degree a frame, and comes nearer."""
    ways = TwoWays()
    middle = face[:468].mean(0)
    for k in range(40):
        angle = np.radians(k)
        turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
        moved = (face - middle) @ turn.T * (1 + 0.002 * k) + middle + [3.0 * k, k, 0]
        ways.learn(moved, 1 if k % 2 else -1)
    # A degree would move the points at the face's edge by 1.7 px.
    assert np.abs(ways.correct(face, 1) - face).max() < 0.2


def test_a_jump_teaches_nothing(face: np.ndarray, error: np.ndarray):
    ways = TwoWays()
    ways.begin(face + error, face - error)
    known = ways.correct(face, 1)
    ways.learn(face + error, 1)
    ways.learn((face - face.mean(0)) @ np.diag([0.6, 1.0, 1.0]) + face.mean(0), -1)
    assert ways.correct(face, 1) == pytest.approx(known)
