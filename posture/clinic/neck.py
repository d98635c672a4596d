"""How far the neck goes to each side, and which muscle a shortness would fit.

A tight neck muscle shortens the tilt away from it and the turn towards it. Difference of the sides first; published range only of the
right kind and age.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

from posture.clinic.findings import Findings
from posture.clinic.sentences import NECK_NOTES, Sentence
from posture.conventions import Side

Strength = Literal["weak", "moderate", "strong"]
Direction = Literal["tilt", "turn"]
End = Literal["tilt_right", "tilt_left", "turn_right", "turn_left"]

ENDS: tuple[End, ...] = get_args(End)

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


BEYOND_CAMERA_DEG = 45.0
"""A turn to so much or more leaves the sight of one frontal camera (rule of the clinic)."""


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
    `short` what lies more than 2 SD under the published range, where an SD is known. `may_tight` and `may_strength` are the same by the
    values alone, whatever the intervals: an objection counts by its value. `is_even` says that every difference is surely under 10 degrees,
    or that the two go against each other; `filmed` that some of it was not typed.
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
    may_tight: Side | None
    may_strength: Strength | None
    is_even: bool
    filmed: bool = False


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
    return range_of(*typed_ends(findings).values(), passive=typed.passive, age_months=findings.age_months)


def typed_ends(findings: Findings) -> dict[End, Reached | None]:
    """What was typed of the neck range, by its ends in their order.

    Parameters
    ----------
    findings : Findings
    """
    typed = findings.neck_range_deg
    known: dict[End, float | None] = {end: getattr(typed, end, None) for end in ENDS}
    return {end: None if deg is None else Reached(deg) for end, deg in known.items()}


def range_of(
    tilt_right: Reached | None,
    tilt_left: Reached | None,
    turn_right: Reached | None,
    turn_left: Reached | None,
    *,
    passive: bool | None,
    age_months: int | None,
    filmed: bool = False,
) -> NeckRange | None:
    """Weigh a neck range, typed or measured from a film.

    Parameters
    ----------
    tilt_right, tilt_left, turn_right, turn_left : Reached or None
        Degrees without a sign; None was not measured.
    passive : bool or None
        Whether the examiner moved the neck; None is not known.
    age_months : int or None
    filmed : bool
        Whether some of it was measured from a film.

    Returns
    -------
    NeckRange or None
        None where nothing was measured. A difference whose interval holds 0 counts for nothing, one whose interval holds values under 10 is
        weak, and two are strong together where neither of their intervals does.
    """
    ends: dict[str, Reached | None] = {
        "tilt_right": tilt_right,
        "tilt_left": tilt_left,
        "turn_right": turn_right,
        "turn_left": turn_left,
    }
    if not any(ends.values()):
        return None
    # A tight muscle of the right: tilt to the left is short, turn to the right is short.
    tilt, turn = _difference(tilt_right, tilt_left), _difference(turn_left, turn_right)
    differences: dict[Direction, Reached | None] = {"tilt": tilt, "turn": turn}
    known = [difference for difference in differences.values() if difference]
    large = [difference for difference in known if abs(difference.deg) >= LEAST_DIFFERENCE_DEG]
    counted = [difference for difference in large if abs(difference.deg) > difference.half_width_deg]
    # By the values: a wider interval of the one must not make the other surer.
    contradictory = len(large) == 2 and large[0].deg * large[1].deg < 0
    norm = published_range(age_months, passive)
    found = NeckRange(
        tilt_difference_deg=None if tilt is None else tilt.deg,
        turn_difference_deg=None if turn is None else turn.deg,
        tight=None if contradictory else _tight(counted),
        directions=tuple(direction for direction, difference in differences.items() if difference in counted),
        strength=None if contradictory else _strength(counted),
        contradictory=contradictory,
        norm=norm,
        short=_short_of(norm, ends),
        notes=(),
        may_tight=None if contradictory else _tight(large),
        may_strength=None if contradictory else _strength([replace(difference, half_width_deg=0.0) for difference in large]),
        is_even=contradictory or (len(known) == 2 and all(_is_small(difference) for difference in known)),
        filmed=filmed,
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
    # A wrong zero takes from the one side what it gives to the other, so the half-widths add up.
    return Reached(one.deg - other.deg, one.half_width_deg + other.half_width_deg)


def _is_small(difference: Reached) -> bool:
    """Whether a difference surely counts as none."""
    return abs(difference.deg) + difference.half_width_deg < LEAST_DIFFERENCE_DEG


def _tight(differences: Sequence[Reached]) -> Side | None:
    """The muscle for which differences to one side are short."""
    return None if not differences else "right" if differences[0].deg > 0 else "left"


def _strength(differences: Sequence[Reached]) -> Strength | None:
    """The weight of differences that count and do not contradict each other."""
    if not differences:
        return None
    sure = [d for d in differences if abs(d.deg) - d.half_width_deg >= LEAST_DIFFERENCE_DEG]
    if len(sure) == 2:
        return "strong"
    return "moderate" if any(abs(d.deg) > MODERATE_DIFFERENCE_DEG for d in sure) else "weak"


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
    unseen = [end for end in ends.values() if end is not None and end.at_least]
    said = {
        "never excludes the eye": found.strength is not None,
        "directions disagree": found.contradictory,
        "beyond the camera": any(end.deg >= BEYOND_CAMERA_DEG for end in unseen),
        "face lost": any(end.deg < BEYOND_CAMERA_DEG for end in unseen),
        "not sure": found.may_strength != found.strength,
        "one side only": any((ends[one] is None) != (ends[other] is None) for one, other in pairs),
        "kind not said": passive is None,
        "age not said": age_months is None,
        "no published range": found.norm is None and passive is not None and age_months is not None,
    }
    notes = tuple(NECK_NOTES[key] for key, is_said in said.items() if is_said)
    return replace(found, notes=notes)
