"""Comparisons under different demand in words: without a sign, and without a side where sides are not known."""

from __future__ import annotations

from posture.clinic.cover import along
from posture.clinic.demand import AngleDifference, Comparison
from posture.summary.record import Interval
from posture.summary.words import SAYS_SIDE, say_angle, say_interval


def say_difference(angle: AngleDifference) -> str:
    """A difference in words without a sign.

    Parameters
    ----------
    angle : AngleDifference

    Returns
    -------
    str
        For example "smaller by 7 (3 to 11)"; the words do not say whether it is beyond chance.
    """
    if angle.says == "other side":
        return f"to the other side, apart by {_size(along(angle.difference_deg, angle.difference_deg.value))}"
    grown = angle.grown_deg
    way, other = ("larger", "smaller") if grown.value >= 0 else ("smaller", "larger")
    size = along(grown, grown.value)
    low = round(size.low)
    return f"{way} by {_size(size)}" if low >= 0 else f"{way} by {size.value:.0f} ({-low} {other} to {size.high:.0f} {way})"


def say_comparison(comparison: Comparison) -> str:
    """A comparison in words: each angle under both values and the difference, with their intervals.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    str
        Without a side where sides are not known; of turn and chin only the difference where none was shown.
    """
    first, second = comparison.values
    said = []
    for angle in comparison.angles:
        if angle.name != "tilt" and comparison.says(angle.name) == "not shown":
            said.append(f"{_title(angle)} not shown to differ: {say_difference(angle)}")
            continue
        one, other = (_say(angle, interval) for interval in (angle.first, angle.second))
        verdict = "" if comparison.says(angle.name) != "not shown" else ", not shown to differ"
        said.append(f"{_title(angle)} {one} {first}, {other} {second}: {say_difference(angle)}{verdict}")
    return "; ".join(said)


def _title(angle: AngleDifference) -> str:
    """The angle's name, as a sentence goes on with it."""
    return {"tilt": "tilt on the shoulder line" if angle.on_trunk else "tilt", "turn": "face", "chin": "chin"}[angle.name]


def _say(angle: AngleDifference, interval: Interval) -> str:
    """A value with its interval; without a side where it is a size."""
    if not angle.sided:
        return f"{_size(interval)} degrees"
    words = say_angle(angle.name, interval)
    ends = SAYS_SIDE[angle.name]
    if angle.name == "chin" and words.startswith(ends):
        words = words.removeprefix("chin ")
    return f"{words} ({say_interval(angle.name, interval)})"


def _size(size: Interval) -> str:
    """A size with its interval in whole degrees."""
    return f"{size.value:.0f} ({max(0, round(size.low))} to {size.high:.0f})"
