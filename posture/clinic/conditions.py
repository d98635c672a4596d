"""How two clips of one child were filmed, laid beside each other: what differs, what takes a verdict away, what is not known."""

from __future__ import annotations

from collections.abc import Iterator

from posture.clinic.cover import NO_DROPS
from posture.summary.record import Conditions, Summary

NAMES = {
    "covered_eye": "covered eye",
    "covered_minutes": "minutes covered",
    "position": "position",
    "target": "target",
    "target_distance_m": "distance of the target",
    "camera_height": "camera height",
    "correction": "correction",
    "drops": "drops",
    "attention": "attention",
    "examiner": "examiner",
}
"""Conditions in which every difference is said, the weightiest first. The dates of a before and an after differ by their nature."""

UNITS = {"target_distance_m": " m", "covered_minutes": " minutes"}
FREE_TEXT = ("correction", "drops", "attention", "examiner")
"""What users write themselves; it may name a side, so its words are left out while no side may be named."""

AGE_DIFFERS_MONTHS = 12
"""Ages further apart are said as a difference: the child has grown. Nearer ones are what a follow-up is (common practice)."""

LONGEST_WORDS = 60
"""Letters of a user's own words that are repeated in a list of differences."""


def is_under_drops(conditions: Conditions) -> bool:
    """Whether drops were given; any that are named count, as the program does not know drops."""
    return conditions.drops is not None and conditions.drops.strip().casefold() not in NO_DROPS


def covered_eye_of(conditions: Conditions) -> str:
    """The covered eye; where none is said, none is taken to be covered."""
    return conditions.covered_eye or "none"


def differences_of(before: Summary, after: Summary, *, sided: bool) -> list[str]:
    """Say every known difference of two clips.

    Parameters
    ----------
    before, after : Summary
    sided : bool
        Else no side is named, also none that stands in a condition.

    Returns
    -------
    list of str
        Parts of a sentence, such as "position (sitting, then standing)".
    """
    return [*_of_conditions(before.conditions, after.conditions, sided), *_of_measurement(before, after)]


def known_of_one(before: Conditions, after: Conditions) -> list[str]:
    """Names of conditions that are known of only one of two clips."""
    known = {name: [_plain(name, c) is not None for c in (before, after)] for name in NAMES}
    return [NAMES[name] for name, (a, b) in known.items() if a != b and name != "covered_minutes"]


def _of_conditions(before: Conditions, after: Conditions, sided: bool) -> Iterator[str]:
    """Differences of how they were filmed."""
    for name, words in NAMES.items():
        a, b = _plain(name, before), _plain(name, after)
        if a is None or b is None or a == b:
            continue
        if not sided and (name in FREE_TEXT or {a, b} == {"right", "left"}):
            yield words
        else:
            yield f"{words} ({_say(name, before, sided)}, then {_say(name, after, sided)})"
    a_months, b_months = before.age_months, after.age_months
    if a_months is not None and b_months is not None and abs(a_months - b_months) >= AGE_DIFFERS_MONTHS:
        yield f"age ({a_months}, then {b_months} months)"


def _of_measurement(before: Summary, after: Summary) -> Iterator[str]:
    """Differences of how they were measured."""
    a, b = before.clip.upright, after.clip.upright
    if a != b:
        yield f"how upright was settled ({a}, then {b})"
    if (before.made_with.posture, before.made_with.model_sha256) != (after.made_with.posture, after.made_with.model_sha256):
        yield f"version of the program or its model ({before.made_with.posture}, then {after.made_with.posture})"


def _plain(name: str, conditions: Conditions) -> object:
    """A condition as it is compared; None is not known."""
    value = getattr(conditions, name)
    if name == "covered_eye":
        return value or "none"
    if name == "drops" and value is not None and not is_under_drops(conditions):
        return "none"
    if isinstance(value, str):
        plain = " ".join(value.casefold().split())
        return None if plain in ("", "unknown") else plain
    return value


def _say(name: str, conditions: Conditions, sided: bool) -> str:
    """The value of a condition in words."""
    value = getattr(conditions, name)
    if name == "covered_eye" and not sided:
        return "none" if covered_eye_of(conditions) == "none" else "one eye"
    if isinstance(value, float):
        return f"{value:g}{UNITS.get(name, '')}"
    words = " ".join("".join(c if c.isprintable() else " " for c in str(value or "none")).split())
    return words if len(words) <= LONGEST_WORDS else f"{words[:LONGEST_WORDS]}..."
