"""Landmarks of a face are shaped like one, scrambled ones are not."""

from dataclasses import replace

import numpy as np
import pytest

from posture.face.seen import FaceSeen
from posture.face.shape import WORST_SHAPE, is_face_shaped, shape_error
from tests.face.pictures import made_face
from tests.proof.material import see_face


@pytest.mark.parametrize("slope_deg", [0.0, 45.0, 180.0])
@pytest.mark.parametrize("size_px", [20.0, 400.0])
def test_canonical_face_has_no_error_wherever_it_is(slope_deg: float, size_px: float) -> None:
    face = made_face((300.0, 40.0), size_px, slope_deg)
    assert shape_error(face) == pytest.approx(0, abs=1e-6)
    assert is_face_shaped(face)


def test_photograph_is_face_shaped(astronaut: np.ndarray) -> None:
    seen = see_face(astronaut)
    assert seen is not None
    assert 0.02 < shape_error(seen) < 0.13
    assert is_face_shaped(seen)


def shuffled(face: FaceSeen) -> FaceSeen:
    order = np.random.default_rng(1).permutation(468)
    return replace(face, points_px=face.points_px[order], depth_px=face.depth_px[order])


def mirrored(face: FaceSeen) -> FaceSeen:
    return replace(face, points_px=face.points_px * [-1, 1])


def squeezed(face: FaceSeen) -> FaceSeen:
    return replace(face, points_px=face.points_px * [0.4, 1.0])


def scattered(face: FaceSeen) -> FaceSeen:
    noise = np.random.default_rng(2).normal(0, 0.15 * face.size_px, face.points_px.shape)
    return replace(face, points_px=face.points_px + noise)


@pytest.mark.parametrize("spoil", [shuffled, mirrored, squeezed, scattered])
def test_spoilt_landmarks_are_no_face(spoil: object) -> None:
    face = spoil(made_face((300.0, 200.0), 100.0))  # type: ignore[operator]
    assert shape_error(face) > WORST_SHAPE
    assert not is_face_shaped(face)


def test_error_grows_with_the_disorder() -> None:
    face = made_face((300.0, 200.0), 100.0)
    noise = np.random.default_rng(4).normal(0, 1.0, face.points_px.shape)
    errors = [shape_error(replace(face, points_px=face.points_px + k * noise)) for k in (0.0, 1.0, 3.0, 9.0, 27.0)]
    assert errors == sorted(errors)
    assert errors[-1] > WORST_SHAPE > errors[1]
