"""The sample clips before they are drawn: who is on them and what the child does."""

from __future__ import annotations

from dataclasses import dataclass

from posture.conventions import Side
from posture.samples.holds import Holds, asked_child, child_of_two_postures, lively_child, steady_child
from posture.samples.motion import Stay


@dataclass(frozen=True)
class Plan:
    """A sample before it is drawn.

    Attributes
    ----------
    description : str
        One sentence, to be shown to people.
    child : str
        Of `posture.samples.child.CHILDREN`.
    duration_s : float
    seed : int
        Of everything that chance decides.
    age_months : int
    holds : callable
        What the child does.
    stay : Stay, optional
        When it is at the table; all the time unless given.
    two_postures : bool
        Whether the truth is two postures, one to each side.
    covered_eye : {'right', 'left'}, optional
        Its own eye that is covered, for `COVERED_MIN` minutes.
    target : str
        What it looks at, in the words of the summary's conditions.
    breadth : float
        Of its shoulders, against the usual.
    passive : bool
        Whether an examiner moved the head where a movement was asked.
    """

    description: str
    child: str
    duration_s: float
    seed: int
    age_months: int
    holds: Holds
    stay: Stay | None = None
    two_postures: bool = False
    covered_eye: Side | None = None
    target: str = "camera"
    breadth: float = 1.0
    passive: bool = False


COVERED_MIN = 30
"""Minutes for which the eye has been covered where one is: the least after which a tilt that stays would say anything."""

_BREADTH = 1.14
"""Of the shoulders on the clips of an examination, which need the shoulder line: at the usual breadth it is refused as too narrow."""


def _examined(
    description: str,
    duration_s: float,
    seed: int,
    holds: Holds,
    covered_eye: Side | None = None,
    target: str = "camera",
    *,
    passive: bool = False,
) -> Plan:
    """A clip of the examination of the child of steady-left-tilt."""
    return Plan(
        description,
        "blue",
        duration_s,
        seed,
        52,
        holds,
        covered_eye=covered_eye,
        target=target,
        breadth=_BREADTH,
        passive=passive,
    )


PLANS: dict[str, Plan] = {
    "steady-left-tilt": Plan(
        "A child who holds the head tilted to its own left, the face turned a little to the left and the chin slightly down.",
        "blue", 40.0, 105, 52, steady_child((-14.0, -8.0, -6.0), looks_every=4),
    ),
    "straight-and-lively": Plan(
        "A child who holds the head straight on average, but seldom still: many short moments, wide looks at play.",
        "yellow", 40.0, 128, 47, lively_child,
    ),
    "right-tilt-left-turn": Plan(
        "A child who holds the head tilted to its own right with the face turned to its left.",
        "green", 35.0, 119, 58, steady_child((12.0, -15.0, -1.0), looks_every=5),
    ),
    "two-postures": Plan(
        "A child who changes between two postures, each held for about eight seconds at a time.",
        "red", 48.0, 159, 55, child_of_two_postures, two_postures=True,
    ),
    "too-short": Plan(
        "A child who comes to the table, stays for about four seconds and leaves: too little to name a habitual posture.",
        "violet", 15.0, 505, 44, steady_child((7.0, 4.0, -3.0), looks_every=99), stay=Stay(5.6, 9.4, walk_s=1.4),
    ),
    "left-tilt-right-eye-covered": _examined(
        "The child of steady-left-tilt with a patch over its own right eye: the head stands nearly straight.",
        26.0, 216, steady_child((-3.0, -2.0, -4.0), looks_every=5), covered_eye="right",
    ),
    "left-tilt-left-eye-covered": _examined(
        "The child of steady-left-tilt with a patch over its own left eye: the head stands nearly straight.",
        26.0, 213, steady_child((-3.5, -3.0, -4.0), looks_every=5), covered_eye="left",
    ),
    "neck-turns": _examined(
        "The child of steady-left-tilt, asked to turn the head as far as it goes to its right and its left, twice each: less far"
        " to its left.",
        24.0, 307, asked_child((("turn right", 40.0), ("turn left", 27.0)) * 2, 1.0, 2.0, 1.5), target="unknown",
    ),
    "neck-tilts": _examined(
        "The child of steady-left-tilt, asked to tilt the head as far as it goes to its right and its left shoulder, twice each:"
        " less far to its right.",
        24.0, 311, asked_child((("tilt right", 33.0), ("tilt left", 45.0)) * 2, 1.0, 2.0, 1.5),
    ),
    "head-tilt-test": _examined(
        "The child of steady-left-tilt while an examiner, whose hands are not drawn, tilts its head to its right shoulder and then"
        " to its left, six seconds each.",
        22.0, 313, asked_child((("tilt right", 27.0), ("tilt left", 26.0)), 1.0, 6.0, 2.0), passive=True,
    ),
}  # fmt: skip
