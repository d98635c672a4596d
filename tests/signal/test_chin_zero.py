"""The chin zero of a person: the mean of several settings, and how sure it is."""

import numpy as np
import pytest

from posture.signal.chin_zero import LEAST_FACES, SETTING_SD_DEG, find_chin_zero

TIME_S = np.arange(0, 30, 0.1)


def chin_of(*values: float) -> np.ndarray:
    """Ten seconds of each value."""
    return np.repeat(values, 100).astype(float)


def test_the_zero_is_the_mean_of_the_settings_whatever_their_length():
    zero = find_chin_zero(TIME_S, chin_of(4.0, 7.0, 1.0), [(0, 9.9), (12, 13), (20, 29)])
    assert (zero.value_deg, zero.settings) == (pytest.approx(4.0), 3)
    assert zero.sd_deg == pytest.approx(SETTING_SD_DEG / 3**0.5)


def test_settings_that_differ_by_more_than_published_widen_it():
    zero = find_chin_zero(TIME_S, chin_of(-12.0, 0.0, 12.0), [(0, 9.9), (10, 19.9), (20, 29)])
    assert zero.sd_deg == pytest.approx(12.0 / 3**0.5)


def test_a_moment_of_wrong_landmarks_does_not_move_a_setting():
    chin = chin_of(5.0, 0.0, 0.0)
    chin[10:20] = 60.0
    assert find_chin_zero(TIME_S, chin, [(0, 9.9)]).value_deg == pytest.approx(5.0)


@pytest.mark.parametrize("seen", [0, LEAST_FACES - 1])
def test_no_face_no_setting(seen):
    chin = np.full(len(TIME_S), np.nan)
    chin[:seen] = 3.0
    assert find_chin_zero(TIME_S, chin, [(0, 9.9)]) is None
    assert find_chin_zero(TIME_S, chin, []) is None
