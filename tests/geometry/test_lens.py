"""Focal lengths: which one is taken, and what another one does to a pose, against an independent fit."""

import cv2
import numpy as np
import pytest

from posture.face.model import load_canonical_face
from posture.geometry.angles import FACING, angle_between_deg, camera_matrix, posture_matrix
from posture.geometry.devices import DEVICES
from posture.geometry.fit import Camera, project
from posture.geometry.lens import DEFAULT_SD_SHARE, lens_of, refit, stand_through_other_lens, through_other_lens

PLACES = [(0.0, 0.0, 60.0), (22.0, -8.0, 60.0), (-40.0, 12.0, 110.0)]


@pytest.mark.parametrize(
    ("known", "focal_px", "source"),
    [
        ({}, 1152.0, "usual for any camera"),
        ({"device": "laptop"}, 640 / np.tan(np.radians(33.0)), "laptop"),
        ({"device": "laptop", "file_px": 900.0}, 900.0, "the file"),
        ({"file_px": 900.0, "view_deg": 90.0}, 640.0, "angle of view"),
        ({"stated_px": 1000.0, "file_px": 900.0}, 1000.0, "stated focal length"),
    ],
)
def test_the_best_that_is_known_is_taken(known, focal_px, source):
    lens = lens_of(1280, **known)
    assert lens.focal_px == pytest.approx(focal_px)
    assert source in lens.known_from


def test_what_is_known_is_surer_than_what_is_usual():
    sds = [lens_of(1280, stated_px=1.0).sd_share, lens_of(1280, file_px=1.0).sd_share, lens_of(1280, device="phone").sd_share]
    assert sds == sorted(sds)
    assert sds[-1] < DEFAULT_SD_SHARE
    # A camcorder's zoom is known to nobody.
    assert DEVICES["camcorder"].sd_share > DEFAULT_SD_SHARE


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("other_px", [700.0, 1300.0])
def test_the_pixels_stay(place, other_px):
    _, moved = through_other_lens(posture_matrix([10.0], [20.0], [-5.0]), np.array([place]), 1000.0, other_px)
    first, second = np.array(place), moved[0]
    assert first[:2] / first[2] * 1000 == pytest.approx(second[:2] / second[2] * other_px)


def test_one_and_the_same_lens_changes_nothing_and_nan_stays():
    rotation, place = posture_matrix([1.0, 2.0], [3.0, 4.0], [5.0, 6.0]), np.array([[1.0, 2, 60], [3, 4, 70]])
    assert np.array_equal(through_other_lens(rotation, place, 900.0, 900.0)[0], rotation)
    rotation[1], place[1] = np.nan, np.nan
    turned, moved = through_other_lens(rotation, place, 900.0, 1000.0)
    assert np.isnan(turned[1]).all()
    assert np.isnan(moved[1]).all()
    assert not np.isnan(turned[0]).any()


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("other_px", [800.0, 1250.0])
def test_refit_agrees_with_opencv(place, other_px):
    """OpenCV's iterative solvePnP on the same points is the reference; it weighs them equally, so it agrees to a degree only."""
    rotation = posture_matrix(12.0, 15.0, -8.0)
    found, _ = refit(rotation, np.array(place), 1000.0, other_px)
    face = load_canonical_face()
    model = face.vertices_cm[face.pose_index]
    pixels = project(model, rotation, np.array(place), Camera(1, 1, 1000.0))
    start = cv2.Rodrigues(FACING @ rotation)[0], np.array(place, float).reshape(3, 1)
    matrix = Camera(1, 1, other_px).matrix
    _, vector, _ = cv2.solvePnP(model, pixels, matrix, None, start[0].copy(), start[1].copy(), True, cv2.SOLVEPNP_ITERATIVE)
    assert float(angle_between_deg(FACING @ cv2.Rodrigues(vector)[0], found)) < 1.0


@pytest.mark.parametrize("other_px", [770.0, 1300.0])
def test_a_long_track_is_as_if_every_pose_were_fitted_anew(other_px):
    """Postures and places that wander; only some of them are fitted."""
    n = 1000
    share = np.linspace(0, 40, n)
    rotation = posture_matrix(-12 + 8 * np.sin(share), 20 * np.sin(0.7 * share), -5 + 10 * np.sin(1.3 * share))
    place = np.stack([18 * np.sin(0.4 * share), 6 * np.cos(0.9 * share), 80 + 15 * np.sin(0.2 * share)], 1)
    rotation[::7], place[::7] = np.nan, np.nan
    found, moved = through_other_lens(rotation, place, 1000.0, other_px)
    away = [
        float(angle_between_deg(found[i], refit(rotation[i], place[i], 1000.0, other_px)[0]))
        for i in range(n) if i % 7 and i % 29 == 0
    ]  # fmt: skip
    assert max(away) < 0.15
    assert np.isnan(found[::7]).all()
    assert np.isnan(moved[::7]).all()


@pytest.mark.parametrize("pitch_deg", [-20.0, 0.0, 8.0, 30.0])
def test_the_vanishing_point_keeps_its_pixels(pitch_deg):
    down = camera_matrix(7.0, pitch_deg) @ [0.0, 1.0, 0.0]
    roll, pitch = stand_through_other_lens(7.0, pitch_deg, 1000.0, 1300.0)
    other = camera_matrix(float(roll), float(pitch)) @ [0.0, 1.0, 0.0]
    # Both directions meet the same line through the picture's middle, at the same pixel.
    assert down[0] * other[1] == pytest.approx(down[1] * other[0])
    assert 1000.0 * down[1] * other[2] == pytest.approx(1300.0 * other[1] * down[2])
