"""The interval of the median: the same every time, wider for fewer spells, added to in quadrature."""

import numpy as np
import pytest

from posture.signal.interval import Interval, spell_interval, weighted_quantile


@pytest.mark.parametrize(
    ("values", "weights", "share", "expected"),
    [
        ([3, 1, 2], [1, 1, 1], 0.5, 2),
        ([3, 1, 2], [10, 1, 1], 0.5, 3),
        ([1, 2, 3, 4], [1, 1, 1, 1], 0.25, 1.5),
        ([1, 2, 3, 4], [1, 1, 1, 1], 0.5, 2.5),
        ([1, 2, 3, 4], [1, 1, 1, 1], 0.75, 3.5),
        ([5], [0.1], 0.9, 5),
        ([1, 2, 3], [0, 0, 1], 0.5, 3),
        ([1, 2, 3], [1, 1, 1], 1.0, 3),
        ([1, 2, 3], [1, 1, 1], 0.0, 1),
    ],
)
def test_weighted_quantile(values: list[float], weights: list[float], share: float, expected: float) -> None:
    assert weighted_quantile(values, weights, share) == expected


def test_weighted_quantile_is_that_of_repeated_values() -> None:
    rng = np.random.default_rng(41)
    for _ in range(50):
        values, times = rng.normal(size=9), rng.integers(1, 6, 9)
        repeated = np.sort(np.repeat(values, times))
        for share in (0.25, 0.5, 0.75):
            at = share * len(repeated)
            upper = int(np.floor(at))
            lower = upper - 1 if at == upper else upper
            assert weighted_quantile(values, times, share) == pytest.approx((repeated[lower] + repeated[upper]) / 2)


def test_a_mirrored_middle_is_the_middle_mirrored() -> None:
    """Also where half of the weight lies at either of two values."""
    values, weights = np.array([-14.0, -14.0, -10.0, -10.0]), np.array([1.0, 2.0, 2.0, 1.0])
    assert weighted_quantile(values, weights, 0.5) == -weighted_quantile(-values, weights, 0.5) == -12.0


def test_interval_is_the_same_every_time_and_leaves_the_callers_randomness() -> None:
    rng = np.random.default_rng(42)
    values, seconds = rng.normal(size=12), rng.uniform(0.6, 5, 12)
    np.random.seed(1)  # noqa: NPY002  The global generator is what must not be touched.
    state = np.random.get_state()[1].copy()  # noqa: NPY002
    assert spell_interval(0.0, values, seconds) == spell_interval(0.0, values, seconds)
    assert (np.random.get_state()[1] == state).all()  # noqa: NPY002


def test_interval_is_about_the_value_that_is_given() -> None:
    interval = spell_interval(7.0, [1.0, 2.0, 3.0, 4.0], [1.0, 1.0, 1.0, 1.0])
    assert interval.value == 7.0
    assert interval.high - 7.0 == pytest.approx(7.0 - interval.low)
    assert interval.high > 7.5


def test_equal_spells_leave_no_sampling_part() -> None:
    interval = spell_interval(3.0, np.full(6, 3.0), np.ones(6))
    assert (interval.low, interval.high) == (3.0, 3.0)


def test_interval_scales_with_the_spread_and_shifts_with_the_values() -> None:
    values, seconds = np.array([1.0, -2.0, 0.5, 3.0, -1.0, 0.0]), np.array([1, 2, 1, 3, 1, 2.0])
    half = spell_interval(0.0, values, seconds).high
    assert spell_interval(0.0, 3 * values, seconds).high == pytest.approx(3 * half)
    assert spell_interval(0.0, values + 100, seconds).high == pytest.approx(half)
    assert spell_interval(0.0, values, 10 * seconds).high == pytest.approx(half)


def test_one_spell_that_lasts_longest_makes_the_rest_count_for_less() -> None:
    values = np.array([1.0, -2.0, 0.5, 3.0, -1.0, 0.0, 2.0, -3.0])
    even = spell_interval(0.0, values, np.ones(8)).high
    assert spell_interval(0.0, values, np.array([1, 1, 9, 1, 1, 1, 1, 9.0])).high > even


@pytest.mark.parametrize("n", [0, 1])
def test_fewer_than_two_spells_have_no_interval(n: int) -> None:
    with pytest.raises(ValueError, match=f"at least two spells for an interval; {n} came"):
        spell_interval(0.0, np.zeros(n), np.ones(n))


def test_widened_adds_in_quadrature_on_either_side() -> None:
    wide = Interval(10.0, 7.0, 14.0).widened(4.0 / 1.959964)
    assert wide.value == 10.0
    assert wide.low == pytest.approx(10 - 5.0)
    assert wide.high == pytest.approx(10 + np.hypot(4, 4))
    assert Interval(1.0, 0.0, 2.0).widened(0.0) == Interval(1.0, 0.0, 2.0)
