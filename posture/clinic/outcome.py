"""The outcome, the side, and whether the posture agrees with the suspected side (clinical rules, section 8)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from posture.clinic.evidence import RANK, Line
from posture.clinic.found import Found
from posture.clinic.held import MIN_HINT_MONTHS, TURN_DIRECTION_DEG, Posture
from posture.clinic.muscles import MUSCLES, Muscle
from posture.clinic.neck import NeckRange, neck_range
from posture.clinic.sentences import REASONS
from posture.clinic.urgency import Speed, Urgency
from posture.conventions import STRAIGHT_DEG, Side
from posture.summary.checks import CHIN_COUNTS_DEG

OutcomeName = Literal["eye-driven", "neck-driven", "mixed", "no-posture", "insufficient"]
Suspected = Literal["right", "left", "both", "unknown"]
Agreement = Literal["agrees", "against", "open"]

MODERATE = RANK["moderate"]

DIRECTION_FINDINGS = frozenset({"tilt and turn to the same side", "tilt and turn to the same side, chin down", "pure turn"})
"""What the filmed posture alone says for the eye: it decides nothing before a vertical deviation was measured."""


@dataclass(frozen=True)
class Outcome:
    """What the findings fit, and the cautions that go with it (keys).

    `leans` are the sides on which the evidence is at least as strong as on the other, which decides what else to examine.
    """

    name: OutcomeName
    side: Side | Literal["both"] | None
    leans: tuple[Literal["eye", "neck"], ...]
    cautions: tuple[str, ...]


def raise_urgency(found: Found, urgency: Urgency) -> Urgency:
    """Add what only clip and findings together make urgent.

    Parameters
    ----------
    found : Found
    urgency : Urgency
        Of the findings alone.

    Returns
    -------
    Urgency
        Never slower than before.
    """
    today, soon = [], []
    posture = found.clips.posture
    if posture and posture.may_be_opposite and found.is_recent_or_painful:
        today.append(REASONS["subluxation"].text)
    if is_later_neck_pattern(found):
        soon.append(REASONS["later neck pattern"].text)
    if found.clips.rhythm is not None:
        soon.append(REASONS["rhythm"].text)
    speed: Speed | None = "today" if today or urgency.speed == "today" else "soon" if soon or urgency.speed else None
    return Urgency(speed, urgency.asked, (*today, *urgency.reasons, *soon))


def is_later_neck_pattern(found: Found) -> bool:
    """Whether the neck shows a pattern that is known not to be from infancy.

    Parameters
    ----------
    found : Found
    """
    if found.findings.onset not in ("childhood", "new"):
        return False
    return found.has_band or found.range_may_weigh or found.may_be_neck_pattern


def outcome_of(found: Found, lines: Sequence[Line], urgency: Urgency) -> Outcome:
    """What the findings fit.

    Parameters
    ----------
    found : Found
    lines : sequence of Line
        The evidence.
    urgency : Urgency
        While something is urgent, or the red flags were not asked, no neck cause is stated.

    Returns
    -------
    Outcome
    """
    name, cautions = _name_of(found, lines)
    if name == "neck-driven" and (urgency.speed is not None or not urgency.asked):
        name, cautions = "insufficient", ("not stated",)
    side: Side | Literal["both"] | None = None
    if name == "eye-driven" and found.sided:
        side = _side_of_eye(found)
    elif name == "neck-driven" and found.range_ and _is_examined(found, found.range_):
        side = found.range_.tight
    leans: tuple[Literal["eye", "neck"], ...]
    too_young = found.clips.age_months is not None and found.clips.age_months < MIN_HINT_MONTHS
    leans = ("eye", "neck") if name == "mixed" else () if too_young or name == "no-posture" else _leans(lines)
    return Outcome(name, side, leans, cautions)


def agreement_of(found: Found, outcome: Outcome, suspected: Suspected) -> Agreement:
    """Whether the side agrees with the one suspected; where no eye muscle is named, whether the posture does.

    Parameters
    ----------
    found : Found
    outcome : Outcome
    suspected : {"right", "left", "both", "unknown"}
        The side of the eye muscle that is suspected to be weak.

    Returns
    -------
    {"agrees", "against", "open"}
        Always open while mirroring is unknown.
    """
    posture = found.clips.posture
    young = found.clips.age_months is not None and found.clips.age_months < MIN_HINT_MONTHS
    if suspected == "unknown" or not found.sided or young:
        return "open"
    if outcome.side is not None and outcome.name == "eye-driven":
        if outcome.side == suspected:
            return "agrees"
        # One side found does not exclude the other, and both sides hold the one suspected.
        return "open" if "both" in (outcome.side, suspected) else "against"
    if posture is None or not posture.by_gravity or outcome.name == "no-posture":
        return "open"
    return _posture_agrees(posture, suspected)


def strongest(lines: Iterable[Line], points_to: Literal["eye", "neck"]) -> int:
    """The rank of the strongest line to one side, 0 where there is none.

    Parameters
    ----------
    lines : iterable of Line
    points_to : {"eye", "neck"}
    """
    return max((RANK[line.strength] for line in lines if line.points_to == points_to), default=0)


def _name_of(found: Found, lines: Sequence[Line]) -> tuple[OutcomeName, tuple[str, ...]]:
    """The outcome, and what must be said with it."""
    posture, age = found.clips.posture, found.clips.age_months
    if age is not None and age < MIN_HINT_MONTHS:
        return "insufficient", ()
    if found.has_band and found.has_vertical_deviation:
        return "mixed", ()
    if posture is None:
        return "insufficient", ()
    if posture.is_straight:
        return "no-posture", ("no posture",)
    if not posture.is_held:
        return "insufficient", ("nothing held",)
    if is_later_neck_pattern(found):
        return "mixed", ("later neck pattern",)
    eye, neck = strongest(lines, "eye"), strongest(lines, "neck")
    # An objection counts by its value, so that a wider interval never turns "mixed" into something surer.
    for_neck = neck >= MODERATE or found.range_may_weigh or (found.may_be_neck_pattern and found.findings.onset == "infancy")
    for_eye = eye >= MODERATE or found.may_be_relieved or posture.may_be_same_with_chin_down
    if for_eye and for_neck:
        return "mixed", ()
    if eye >= MODERATE:
        beyond_posture = strongest((line for line in lines if line.finding not in DIRECTION_FINDINGS), "eye")
        decided = beyond_posture >= MODERATE or found.has_vertical_deviation
        missing = "hypertropia nil" if found.steps.nil else "hypertropia missing"
        return ("eye-driven", ()) if decided else ("insufficient", (missing,))
    if neck >= MODERATE:
        return _name_of_neck(found)
    return "insufficient", ()


def _name_of_neck(found: Found) -> tuple[OutcomeName, tuple[str, ...]]:
    """The neck is the stronger side: neck-driven takes onset in infancy, a matching range and a hypertropia measured as nil."""
    if found.has_vertical_deviation:
        return "mixed", ()
    missing = []
    if not found.steps.nil:
        missing.append("hypertropia missing")
    if not found.range_matches:
        missing.append("range missing")
    if found.findings.onset != "infancy":
        missing.append("onset missing")
    return ("insufficient", tuple(missing)) if missing else ("neck-driven", ())


def _is_examined(found: Found, range_: NeckRange) -> bool:
    """Whether the examiner found the side of the muscle: by a typed range, or by the band felt in it. A film alone names none."""
    typed = neck_range(found.findings)
    return range_.tight in (typed and typed.tight, found.findings.neck_band_or_mass)


def _leans(lines: Sequence[Line]) -> tuple[Literal["eye", "neck"], ...]:
    """The sides that the evidence leans to; both where they are equal."""
    eye, neck = strongest(lines, "eye"), strongest(lines, "neck")
    leans: list[Literal["eye", "neck"]] = []
    if eye and eye >= min(neck, MODERATE):
        leans.append("eye")
    if neck and neck >= min(eye, MODERATE):
        leans.append("neck")
    return tuple(leans)


def _side_of_eye(found: Found) -> Side | Literal["both"] | None:
    """The side of the weak muscle: only from the examiner's vertical pattern, among what it leaves by the posture that goes with it."""
    steps = found.steps
    if found.may_be_both:
        return "both"
    if not steps.method_ok or steps.decided < 2:
        return None
    muscles = [MUSCLES[name] for name in steps.named]
    if steps.torsion_matches and len(muscles) > 1:
        muscles = [muscle for muscle in muscles if muscle.kind == "superior oblique"]
    if len(muscles) == 1:
        return muscles[0].side
    posture = found.clips.posture
    if posture is None:
        return None
    left = [muscle for muscle in muscles if _is_allowed(muscle, posture)]
    sides = {muscle.side for muscle in left}
    if len(sides) == 1 and any(not goes_against(muscle, posture) for muscle in left):
        return sides.pop()
    return None


def _is_allowed(muscle: Muscle, posture: Posture) -> bool:
    """Whether no clear part of the posture goes the other way than this muscle would take it."""
    expected = _signs(muscle)
    seen = (posture.tilt_sign if posture.by_gravity else 0, posture.turn_sign, posture.chin_sign)
    return all(e == s or s == 0 for e, s in zip(expected, seen, strict=True))


def goes_against(muscle: Muscle, posture: Posture) -> bool:
    """Whether the tilt, clear or not, goes the other way than this muscle would take it.

    Parameters
    ----------
    muscle : Muscle
    posture : Posture
        Its value counts here, whatever the interval: a wider interval never takes an objection away.

    Returns
    -------
    bool
        Of a clip whose mirroring is unknown never.
    """
    if not posture.sided or not posture.by_gravity or posture.tilt is None:
        return False
    tilt, turn, chin = _signs(muscle)
    seen = [(tilt, posture.tilt.value, STRAIGHT_DEG)]
    if posture.counts:
        seen += [(turn, posture.turn.value, TURN_DIRECTION_DEG), (chin, posture.chin.value, CHIN_COUNTS_DEG)]
    return any(abs(value) >= least and value * sign < 0 for sign, value, least in seen)


def _signs(muscle: Muscle) -> tuple[int, int, int]:
    """Where a weak muscle takes tilt, turn and chin."""
    return 1 if muscle.tilt_to == "right" else -1, 1 if muscle.turn_to == "right" else -1, 1 if muscle.chin == "up" else -1


def _posture_agrees(posture: Posture, suspected: Suspected) -> Agreement:
    """Whether a posture goes where a weak superior oblique of the suspected side usually takes it."""
    if suspected == "both":
        small = posture.tilt is not None and abs(posture.tilt.value) < STRAIGHT_DEG
        return "agrees" if small and posture.chin_sign < 0 else "open"
    away = -1 if suspected == "right" else 1
    turned = posture.counts and abs(posture.turn.value) >= TURN_DIRECTION_DEG
    # The value of the turn counts here, whatever its interval: a wider one never takes an objection away.
    if not posture.tilt_sign or (turned and posture.turn.value * posture.tilt_sign < 0):
        return "open"
    return "agrees" if posture.tilt_sign == away else "against"
