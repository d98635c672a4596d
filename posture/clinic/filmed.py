"""Filmed movements beside what was typed: the neck range and the head-tilt test.

Filmed figures are never stronger than the examiner's own: what was typed stands, and no film is interpreted before the neck screen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from posture.clinic.examination import AskedRecord, Examination, ReachedDeg, gravity_deg, was_done
from posture.clinic.findings import Findings, NeckRangeDeg
from posture.clinic.neck import ENDS, End, NeckRange, Reached, range_of, typed_ends
from posture.clinic.sentences import EXAMINATION
from posture.clinic.tilt_pair import TiltHeld, TiltPair, head_tilt_pair
from posture.clinic.urgency import neck_may_move
from posture.signal.interval import Z95
from posture.summary.record import Interval

TRUNK_FACING_SD_DEG = 3.0
"""A trunk faces the camera this well when a chair is set by eye (common practice, no source); a face turned by the trunk is no neck range."""


@dataclass(frozen=True)
class Filmed:
    """What the findings make of filmed movements.

    Attributes
    ----------
    range_ : NeckRange or None
        Typed figures with filmed ones where nothing was typed; None where there are neither.
    ends : dict
        Filmed ends that are in it.
    passive : bool or None
        Of the whole range.
    pair : TiltPair or None
        The head-tilt test, where both sides were filmed in one clip.
    notes : tuple of str
        What must be said beside it, without a side.
    pair_notes : tuple of str
        What is said of the head-tilt test; names sides.
    """

    range_: NeckRange | None
    ends: dict[End, Reached]
    passive: bool | None
    pair: TiltPair | None
    notes: tuple[str, ...]
    pair_notes: tuple[str, ...]


def filmed_of(
    findings: Findings,
    examinations: Sequence[Examination],
    *,
    age_months: int | None = None,
    positions: Mapping[str, str | None] | None = None,
) -> Filmed:
    """Lay filmed movements beside what was typed.

    Parameters
    ----------
    findings : Findings
        While the neck may not be moved by them, no film is interpreted.
    examinations : sequence of Examination
        Of one child; those without sides are not interpreted.
    age_months : int or None
        Where the findings do not say it.
    positions : mapping or None
        sha256 of a clip -> the position in its conditions.

    Returns
    -------
    Filmed
    """
    age = findings.age_months if findings.age_months is not None else age_months
    typed, typed_passive = typed_ends(findings), findings.neck_range_deg.passive if findings.neck_range_deg else None
    has_typed = any(typed.values())
    notes: list[str] = []
    usable = _usable(findings, examinations, notes)
    passive = all(bool(one.passive) for one in usable) if usable else False
    if len({bool(one.passive) for one in usable}) == 2:
        notes.append(EXAMINATION["films differ"].text)
    ends = _ends_of([one for one in usable if bool(one.passive) == passive])
    if has_typed and ends:
        if typed_passive != passive:
            notes.append(EXAMINATION["kinds differ"].text)
            ends = {}
        else:
            by_typed = {end.split("_")[0] for end, deg in typed.items() if deg}
            notes += [EXAMINATION["typed stands"].text] if any(end.split("_")[0] in by_typed for end in ends) else []
            # Sides of one direction are only compared when both were measured in one way.
            ends = {end: deg for end, deg in ends.items() if end.split("_")[0] not in by_typed}
    elif ends:
        typed_passive = passive
    every = {end: typed[end] or ends.get(end) for end in ENDS}
    range_ = range_of(*every.values(), passive=typed_passive, age_months=age, filmed=bool(ends))
    typed_range = range_of(*typed.values(), passive=typed_passive, age_months=age)
    if range_ and range_.contradictory and typed_range and typed_range.may_tight:
        notes.append(EXAMINATION["film against typed"].text)
        range_, ends = typed_range, {}
    used = [one for exam in usable for one in exam.asked if was_done(one)]
    if any(one.is_turn for one in used) and any(end.startswith("turn") for end in ends):
        notes.append(EXAMINATION["turn of the trunk"].text)
    if any(one.reference == "gravity" for one in used):
        notes.append(EXAMINATION["trunk with gravity"].text)
    pair = _pair_of(usable, positions or {})
    return Filmed(range_, ends, typed_passive, pair, tuple(dict.fromkeys(notes)), tuple(_pair_notes(pair, findings)))


def with_filmed(findings: Findings, examinations: Sequence[Examination]) -> tuple[Findings, tuple[str, ...]]:
    """The findings with the neck range filled from films where nothing was typed, to be shown; `filmed_of` weighs it.

    Parameters
    ----------
    findings : Findings
    examinations : sequence of Examination

    Returns
    -------
    tuple
        Findings, and what must be said beside them. An end that was not seen is no figure and is left open.
    """
    filmed = filmed_of(findings, examinations)
    seen: dict[str, float | bool | None] = {
        end: round(reached.deg, 1) for end, reached in filmed.ends.items() if not reached.at_least
    }
    if not seen:
        return findings, filmed.notes
    typed = findings.neck_range_deg or NeckRangeDeg()
    both = typed.model_copy(update=seen | {"passive": filmed.passive})
    return findings.model_copy(update={"neck_range_deg": both}), filmed.notes


def reached_end(one: AskedRecord) -> Reached:
    """A filmed movement as an end of the neck range; a turn holds what the trunk may have turned.

    Parameters
    ----------
    one : AskedRecord
        Something was reached in it.
    """
    assert one.reached_deg is not None
    half = float(np.hypot(_half_deg(one.reached_deg), Z95 * TRUNK_FACING_SD_DEG if one.is_turn else 0.0))
    return Reached(one.reached_deg.value, half, one.beyond_camera)


def _usable(findings: Findings, examinations: Sequence[Examination], notes: list[str]) -> list[Examination]:
    """The examinations that are interpreted; why others are not is added to the notes."""
    if not examinations:
        return []
    if not neck_may_move(findings):
        unanswered = findings.neck_safe is None and neck_may_move(findings.model_copy(update={"neck_safe": True}))
        notes.append(EXAMINATION["screen not answered" if unanswered else "must not move"].text)
        return []
    if not all(one.sided for one in examinations):
        notes.append(EXAMINATION["sides not known"].text)
    return [one for one in examinations if one.sided]


def _ends_of(examinations: Sequence[Examination]) -> dict[End, Reached]:
    """The farthest of every end of the neck range; a tilt only on the shoulder line."""
    found: dict[End, Reached] = {}
    for end in ENDS:
        tries = [
            one
            for exam in examinations
            for one in exam.asked
            if one.movement.replace(" ", "_") == end and was_done(one) and one.reference != "gravity"
        ]
        if tries:
            farthest = max((reached_end(one) for one in tries), key=lambda reached: reached.deg)
            at_least = any(one.beyond_camera for one in tries)
            found[end] = Reached(farthest.deg, farthest.half_width_deg, at_least)
    return found


def _half_deg(angle: ReachedDeg | Interval) -> float:
    """The larger half of an interval."""
    return max(angle.value - angle.low, 0.0 if angle.high is None else angle.high - angle.value)


def _pair_of(examinations: Sequence[Examination], positions: Mapping[str, str | None]) -> TiltPair | None:
    """The head-tilt test: of the clip in which the two may be compared; of several the one whose smaller tilt is the largest."""
    pairs: list[tuple[bool, float, TiltPair]] = []
    for exam in examinations:
        sides = [
            max((one for one in exam.asked if one.movement == way and was_done(one)), key=gravity_deg, default=None)
            for way in ("tilt right", "tilt left")
        ]
        right, left = sides
        if right is not None and left is not None:
            # A range to the ends of the neck is tilted farther than a head-tilt test, and seldom evenly.
            pair = head_tilt_pair(_held(right, 1), _held(left, -1), position=positions.get(exam.sha256))
            pairs.append((pair.accepted, min(gravity_deg(right), gravity_deg(left)), pair))
    return max(pairs, key=lambda one: one[:2])[2] if pairs else None


def _held(one: AskedRecord, sign: int) -> TiltHeld:
    """A filmed tilt for the head-tilt test; when the deviation was measured no film knows."""
    assert one.reached_deg is not None
    trunk = one.trunk_tilt_deg
    on_trunk = trunk is not None and one.reference == "shoulder line"
    return TiltHeld(
        tilt_deg=sign * gravity_deg(one),
        held_s=one.held_s,
        trunk_tilt_deg=None if trunk is None else sign * trunk.value,
        trunk_half_width_deg=0.0 if trunk is None else _half_deg(trunk),
        half_width_deg=float(np.hypot(_half_deg(one.reached_deg), _half_deg(trunk) if on_trunk and trunk else 0.0)),
        at_least=one.beyond_camera,
    )


def _pair_notes(pair: TiltPair | None, findings: Findings) -> list[str]:
    """What is said of the head-tilt test, the examiner's prism dioptres beside it."""
    if pair is None:
        return []
    tilts = sorted(((abs(held.tilt_deg), side, held.held_s) for side, held in (("right", pair.right), ("left", pair.left))))
    words = ", ".join(f"{deg:.0f} degrees to the {side}, held for {held_s:.1f} s" for deg, side, held_s in reversed(tilts))
    key = "pair accepted" if pair.accepted else "pair refused"
    said = [EXAMINATION[key].text.format(tilts=words, reasons="; ".join(pair.reasons))]
    if deviations := _say_deviations(findings):
        said.append(EXAMINATION["pair beside"].text.format(deviations=deviations))
    return said + ([EXAMINATION["pair not known"].text.format(unknown="; ".join(pair.unknown))] if pair.unknown else [])


def _say_deviations(findings: Findings) -> str:
    """The vertical deviation entered for the tilt to each shoulder, the larger first; empty where none was."""
    entered = findings.hypertropia_pd
    tilted = {"right": entered.tilt_right, "left": entered.tilt_left} if entered else {}
    known = [(abs(pd), side, pd) for side, pd in tilted.items() if pd is not None]
    return ", ".join(f"{_say_deviation(pd)} on tilt to the {side}" for _, side, pd in sorted(known, reverse=True))


def _say_deviation(pd: float) -> str:
    """A vertical deviation in words."""
    return f"the {'right' if pd > 0 else 'left'} eye higher by {abs(pd):g} prism dioptres" if pd else "no vertical deviation"
