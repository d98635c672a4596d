"""The words for angles, shifts and cameras: no sign in any of them, a side only where one is meant."""

import re

import pytest

from posture.summary.record import Interval
from posture.summary.words import say_angle, say_interval, say_shift, say_shift_interval, say_size, say_stand

SIGN = re.compile(r"[-+−±]\d|\bminus\b")
SIDE = re.compile(r"\b(right|left)\b", re.IGNORECASE)


def about(value: float, low: float | None = None, high: float | None = None) -> Interval:
    """A value with an interval; five on either side if none is given."""
    return Interval(value=value, low=value - 5 if low is None else low, high=value + 5 if high is None else high)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("tilt", 14.2, "14 degrees to the child's right shoulder"),
        ("tilt", -14.2, "14 degrees to the child's left shoulder"),
        ("tilt", -0.6, "1 degree to the child's left shoulder"),
        ("tilt", 0.4, "upright"),
        ("tilt", -0.4, "upright"),
        ("turn", 7.0, "7 degrees to the child's right"),
        ("turn", -1.2, "1 degree to the child's left"),
        ("turn", 0.0, "straight ahead"),
        ("chin", 9.0, "chin up by 9 degrees"),
        ("chin", -1.0, "chin down by 1 degree"),
        ("chin", -0.2, "level"),
    ],
)
def test_angle(name: str, value: float, said: str) -> None:
    assert say_angle(name, about(value)) == said


@pytest.mark.parametrize(
    ("name", "low", "high", "said"),
    [
        ("tilt", 9.0, 19.0, "between 9 and 19"),
        ("tilt", -19.0, -9.0, "between 9 and 19"),
        ("tilt", -3.0, 5.0, "between 3 left and 5 right"),
        ("chin", -3.0, 5.0, "between 3 down and 5 up"),
        ("turn", -0.4, 5.0, "between 0 and 5"),
        ("turn", -5.0, 0.3, "between 0 and 5"),
    ],
)
def test_interval(name: str, low: float, high: float, said: str) -> None:
    assert say_interval(name, about((low + high) / 2, low, high)) == said


def test_size_has_no_side() -> None:
    assert say_size(about(14.4, 9.1, 19.6)) == "14 degrees (between 9 and 20)"


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0.124, "12 % of the shoulder width to the child's right"),
        (-0.05, "5 % of the shoulder width to the child's left"),
        (0.004, "over the middle of the shoulders"),
        (-0.004, "over the middle of the shoulders"),
    ],
)
def test_shift_of_the_head(value: float, said: str) -> None:
    assert say_shift(about(value, value - 0.1, value + 0.1)) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(0.02, 0.21, "between 2 and 21"), (-0.21, -0.02, "between 2 and 21"), (-0.05, 0.15, "between 5 left and 15 right")],
)
def test_interval_of_a_shift_is_in_per_cent(low: float, high: float, said: str) -> None:
    assert say_shift_interval(about((low + high) / 2, low, high)) == said


ROLLS = [
    (0.0, None, 0),
    (0.4, None, 0),
    (-0.4, None, 0),
    (3.0, "counter-clockwise", 3),
    (-3.0, "clockwise", 3),
    (1.2, "counter-clockwise", 1),
]
PITCHES = [(0.0, "straight ahead", 0), (-0.3, "straight ahead", 0), (12.0, "down", 12), (-12.0, "up", 12), (1.0, "down", 1)]


@pytest.mark.parametrize(("roll_deg", "way", "roll"), ROLLS)
@pytest.mark.parametrize(("pitch_deg", "looked", "pitch"), PITCHES)
def test_stand_of_a_camera_has_no_sign_and_no_side(
    roll_deg: float, way: str | None, roll: int, pitch_deg: float, looked: str, pitch: int
) -> None:
    said = say_stand(roll_deg, pitch_deg)
    assert not SIGN.search(said), said
    assert not SIDE.search(said), said
    assert re.findall(r"\d+", said) == [str(n) for n in (roll, pitch) if n]
    assert (re.findall(r"\b(?:counter-)?clockwise\b", said) or [None]) == [way]
    assert ("level" in said) == (roll == 0)
    assert re.findall(r"looked (straight ahead|up|down)\b", said) == [looked]
    # Of one degree there is no plural, and no number goes without its unit the first time.
    if roll or pitch:
        assert f"{roll or pitch} degree{'' if (roll or pitch) == 1 else 's'}" in said
