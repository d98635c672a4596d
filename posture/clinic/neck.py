"""How far the neck goes to each side, and which muscle a shortness would fit.

A tight neck muscle shortens the tilt away from it and the turn towards it. Difference of the sides first; published range only of the
right kind and age.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from posture.clinic.findings import Findings
from posture.clinic.sentences import NECK_NOTES, Sentence
from posture.conventions import Side

Strength = Literal["weak", "moderate", "strong"]
Direction = Literal["tilt", "turn"]

LEAST_DIFFERENCE_DEG = 10.0
"""Smaller differences between the sides count as none. Common practice; an examiner-set straight head is good to 5 degrees of
tilt and 3 of turn [106]."""

MODERATE_DIFFERENCE_DEG = 15.0
"""A difference above this counts for more: the first limit of the grades of a tight neck muscle, from memory [30]."""


@dataclass(frozen=True)
class NeckNorm:
    """Published range to each side in degrees, with its SD where that is known; ages in months, both ends included."""

    ages: str
    passive: bool
    first_month: int
    last_month: int
    turn_deg: float
    turn_sd_deg: float | None
    tilt_deg: float
    tilt_sd_deg: float | None
    source: str


NORMS: tuple[NeckNorm, ...] = (
    NeckNorm("2 to 10 months", True, 2, 10, 110.0, None, 70.0, None, "[39], 38 infants"),
    NeckNorm("3.5 to 5 years", True, 42, 60, 100.0, None, 70.0, None, "[40], 23 of the same children"),
    NeckNorm("8 to 10 years", False, 96, 131, 77.0, 7.0, 58.0, 8.0, "[41], 106 children"),
)
"""All that is published and was found. Passive and active are never mixed, and nothing is filled in between."""


@dataclass(frozen=True)
class Reached:
    """How far the neck went to one side, without a sign; `at_least` when the end was out of sight."""

    deg: float
    half_width_deg: float = 0.0
    at_least: bool = False


@dataclass(frozen=True)
class NeckRange:
    """What a neck range says.

    `tilt_difference_deg` and `turn_difference_deg` are + when that direction is short as a tight muscle of the right makes it, None where
    the sides cannot be compared. `directions` are those that count, `tight` the side of the muscle that they fit, `strength` the weight;
    `short` what lies more than 2 SD under the published range, where an SD is known.
    """

    tilt_difference_deg: float | None
    turn_difference_deg: float | None
    tight: Side | None
    directions: tuple[Direction, ...]
    strength: Strength | None
    contradictory: bool
    norm: NeckNorm | None
    short: tuple[str, ...]
    notes: tuple[Sentence, ...]


def neck_range(findings: Findings) -> NeckRange | None:
    """Weigh the neck range that was typed in.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    NeckRange or None
        None where nothing was measured.
    """
    typed = findings.neck_range_deg
    if typed is None:
        return None
    ends = [
        None if deg is None else Reached(deg) for deg in (typed.tilt_right, typed.tilt_left, typed.turn_right, typed.turn_left)
    ]
    return range_of(*ends, passive=typed.passive, age_months=findings.age_months)


def range_of(
    tilt_right: Reached | None,
    tilt_left: Reached | None,
    turn_right: Reached | None,
    turn_left: Reached | None,
    *,
    passive: bool | None,
    age_months: int | None,
) -> NeckRange | None:
    """Weigh a neck range, typed or measured from a film.

    Parameters
    ----------
    tilt_right, tilt_left, turn_right, turn_left : Reached or None
        Degrees without a sign; None was not measured.
    passive : bool or None
        Whether the examiner moved the neck; None is not known.
    age_months : int or None

    Returns
    -------
    NeckRange or None
        None where nothing was measured. A difference whose interval holds 0 counts for nothing.
    """
    ends = {"tilt_right": tilt_right, "tilt_left": tilt_left, "turn_right": turn_right, "turn_left": turn_left}
    if not any(ends.values()):
        return None
    # A tight muscle of the right: tilt to the left is short, turn to the right is short.
    tilt, turn = _difference(tilt_right, tilt_left), _difference(turn_left, turn_right)
    differences: dict[Direction, float] = {"tilt": _counted(tilt), "turn": _counted(turn)}
    directions = tuple(direction for direction, difference in differences.items() if difference)
    contradictory = len(directions) == 2 and differences["tilt"] * differences["turn"] < 0
    total = 0.0 if contradictory else sum(differences.values())
    norm = published_range(age_months, passive)
    found = NeckRange(
        tilt_difference_deg=None if tilt is None else tilt.deg,
        turn_difference_deg=None if turn is None else turn.deg,
        tight=None if not total else "right" if total > 0 else "left",
        directions=directions,
        strength=None if contradictory else _strength(differences),
        contradictory=contradictory,
        norm=norm,
        short=_short_of(norm, ends),
        notes=(),
    )
    return _with_notes(found, ends, passive, age_months)


def published_range(age_months: int | None, passive: bool | None) -> NeckNorm | None:
    """The published range of this age and kind.

    Parameters
    ----------
    age_months : int or None
    passive : bool or None

    Returns
    -------
    NeckNorm or None
        None where nothing is published, or where age or kind is not known.
    """
    if age_months is None or passive is None:
        return None
    fits = (norm for norm in NORMS if norm.passive == passive and norm.first_month <= age_months <= norm.last_month)
    return next(fits, None)


def _difference(one: Reached | None, other: Reached | None) -> Reached | None:
    """One side less the other, with the half-width of its interval; None unless both ends were seen."""
    if one is None or other is None or one.at_least or other.at_least:
        return None
    return Reached(one.deg - other.deg, math.hypot(one.half_width_deg, other.half_width_deg))


def _counted(difference: Reached | None) -> float:
    """The difference where it counts, else 0."""
    if difference is None or not abs(difference.deg) > difference.half_width_deg or abs(difference.deg) < LEAST_DIFFERENCE_DEG:
        return 0.0
    return difference.deg


def _strength(differences: dict[Direction, float]) -> Strength | None:
    """The weight of differences that do not contradict each other."""
    sizes = [abs(difference) for difference in differences.values() if difference]
    if not sizes:
        return None
    if len(sizes) == 2:
        return "strong"
    return "moderate" if sizes[0] > MODERATE_DIFFERENCE_DEG else "weak"


def _short_of(norm: NeckNorm | None, ends: dict[str, Reached | None]) -> tuple[str, ...]:
    """What lies more than 2 SD under the published range."""
    if norm is None:
        return ()
    bounds = {"tilt": (norm.tilt_deg, norm.tilt_sd_deg), "turn": (norm.turn_deg, norm.turn_sd_deg)}
    short = []
    for name, end in ends.items():
        mean, sd = bounds[name.split("_", maxsplit=1)[0]]
        if end is not None and sd is not None and not end.at_least and end.deg + end.half_width_deg < mean - 2 * sd:
            short.append(name)
    return tuple(short)


def _with_notes(found: NeckRange, ends: dict[str, Reached | None], passive: bool | None, age_months: int | None) -> NeckRange:
    """The same with what must be said beside it."""
    pairs = (("tilt_right", "tilt_left"), ("turn_right", "turn_left"))
    said = {
        "never excludes the eye": found.strength is not None,
        "directions disagree": found.contradictory,
        "beyond the camera": any(end is not None and end.at_least for end in ends.values()),
        "one side only": any((ends[one] is None) != (ends[other] is None) for one, other in pairs),
        "kind not said": passive is None,
        "age not said": age_months is None,
        "no published range": found.norm is None and passive is not None and age_months is not None,
    }
    notes = tuple(NECK_NOTES[key] for key, is_said in said.items() if is_said)
    return NeckRange(**{**vars(found), "notes": notes})
