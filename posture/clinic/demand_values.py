"""What a clip was filmed under, as far as its conditions are understood: far or near, idle or looking hard, without or with glasses."""

from __future__ import annotations

from typing import Literal

from posture.clinic.held import FAR_PICTURE_M
from posture.summary.record import Conditions

Demand = Literal["target", "attention", "correction"]

NEAR_MOST_M = 0.4
"""A camera within reach of a book is a near target (common practice, no source)."""

NEAR_PICTURE_MOST_M = 1.0
"""A picture said to be near, but further than this, is not taken for near (common practice, no source)."""

OF_DEMAND: dict[Demand, tuple[str, ...]] = {
    "target": ("target", "target_distance_m"),
    "attention": ("attention",),
    "correction": ("correction",),
}
"""Conditions that each demand is read from."""

WORDS: dict[Demand, tuple[str, str]] = {
    "target": ("looking far", "looking near"),
    "attention": ("idle", "looking hard"),
    "correction": ("without glasses", "with glasses"),
}
"""The two values of each, in the order in which they are compared."""

IDLE = frozenset({"idle", "idly", "looking idly", "looking about", "at rest", "resting", "relaxed", "not looking hard"})
HARD = frozenset({"hard", "looking hard", "looks hard", "looking closely", "reading small letters", "concentrating"})
WITHOUT_GLASSES = frozenset({"none", "no", "no glasses", "without glasses", "without", "no correction", "uncorrected"})
WITH_GLASSES = frozenset({"glasses", "with glasses", "own glasses", "spectacles", "with spectacles"})
"""Free text that is understood; anything else, contact lenses among it, is not compared rather than guessed at."""


def demand_value(demand: Demand, conditions: Conditions) -> int | None:
    """Which of the two values of a demand a clip was filmed under.

    Parameters
    ----------
    demand : {"target", "attention", "correction"}
    conditions : Conditions

    Returns
    -------
    int or None
        0 far, idle, without glasses; 1 near, looking hard, with glasses; None where it is neither or not understood.
    """
    if demand == "target":
        return _value_of_target(conditions)
    values = (IDLE, HARD) if demand == "attention" else (WITHOUT_GLASSES, WITH_GLASSES)
    text = " ".join((getattr(conditions, demand) or "").casefold().split()).rstrip(".")
    return next((k for k, words in enumerate(values) if text in words), None)


def _value_of_target(conditions: Conditions) -> int | None:
    """Far or near, where the target and its distance agree."""
    target, distance_m = conditions.target, conditions.target_distance_m
    if target == "far picture" or (target == "camera" and distance_m is not None and distance_m >= FAR_PICTURE_M):
        return 0 if distance_m is None or distance_m >= FAR_PICTURE_M else None
    if target == "near picture":
        return 1 if distance_m is None or distance_m <= NEAR_PICTURE_MOST_M else None
    return 1 if target == "camera" and distance_m is not None and distance_m <= NEAR_MOST_M else None
