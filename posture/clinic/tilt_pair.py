"""Whether a head tilt to each shoulder may be compared with the other."""

from __future__ import annotations

from dataclasses import dataclass

from posture.clinic.sentences import TILT_PAIR
from posture.conventions import STRAIGHT_DEG, Side

TILT_REACHED_DEG = 20.0
"""Both head tilts must reach this. Common practice; the usual clinic tilt is about 30, from memory."""

TILT_EQUAL_DEG = 5.0
"""The two tilts may differ by this. Common practice."""

MEASURED_WITHIN_S = 30.0
"""The deviation must be measured within this time of reaching the tilt. Common practice."""

TRUNK_UPRIGHT_DEG = STRAIGHT_DEG
"""A trunk that leans less counts as upright: the same bound as for a head. Common practice."""


@dataclass(frozen=True)
class TiltHeld:
    """A tilt to one shoulder as it was really reached.

    `tilt_deg` with its sign, against gravity; `held_s` how long it was held, `measured_after_s` how long after reaching it the deviation was
    measured; `trunk_tilt_deg` the lean of the trunk. None is not known. `half_width_deg` is that of the interval of the tilt,
    `trunk_half_width_deg` that of the lean, and `at_least` says that the end of the tilt was not seen.
    """

    tilt_deg: float
    held_s: float | None = None
    measured_after_s: float | None = None
    trunk_tilt_deg: float | None = None
    fixing_eye: Side | None = None
    half_width_deg: float = 0.0
    at_least: bool = False
    trunk_half_width_deg: float = 0.0


@dataclass(frozen=True)
class TiltPair:
    """A tilt to each shoulder: accepted, or `reasons` why not; `unknown` what could not be checked."""

    right: TiltHeld
    left: TiltHeld
    accepted: bool
    reasons: tuple[str, ...]
    unknown: tuple[str, ...]


def head_tilt_pair(right: TiltHeld, left: TiltHeld, *, position: str | None = None) -> TiltPair:
    """Say whether two head tilts may be compared.

    Parameters
    ----------
    right, left : TiltHeld
        To the right shoulder (+) and to the left (-).
    position : str or None
        As in the conditions of a clip.

    Returns
    -------
    TiltPair
        Accepted when both reached 20 degrees and are equal within 5, not lying [13]; what is known to be otherwise (later than 30 s, the
        trunk leaning by its whole interval, another fixing eye) refuses it, what is not known is listed, a bound inside of an interval too.
    """
    reasons, unknown = [], []
    for side, size, held in (("right", right.tilt_deg, right), ("left", -left.tilt_deg, left)):
        if size < TILT_REACHED_DEG:
            reasons.append(TILT_PAIR["too small"].text.format(side=side, reached=f"{max(size, 0):.0f}"))
        elif size - held.half_width_deg < TILT_REACHED_DEG:
            unknown.append(TILT_PAIR["reach not sure"].text.format(side=side))
    _check_equal(right, left, reasons, unknown)
    if position in ("lying", "held"):
        reasons.append(TILT_PAIR["lying"].text.format(position=position))
    elif position is None:
        unknown.append(TILT_PAIR["position not known"].text)
    for side, held in (("right", right), ("left", left)):
        _check_held(side, held, reasons, unknown)
    if right.fixing_eye is None or left.fixing_eye is None:
        unknown.append(TILT_PAIR["fixing eye not known"].text)
    elif right.fixing_eye != left.fixing_eye:
        reasons.append(TILT_PAIR["fixing eye changed"].text)
    return TiltPair(right, left, not reasons, tuple(reasons), tuple(unknown))


def _check_equal(right: TiltHeld, left: TiltHeld, reasons: list[str], unknown: list[str]) -> None:
    """Whether the two are equal, as far as their ends were seen; a wrong zero counts twice, so half-widths add up."""
    difference = abs(right.tilt_deg + left.tilt_deg)
    if right.at_least or left.at_least:
        unknown.append(TILT_PAIR["end not seen"].text)
    elif difference > TILT_EQUAL_DEG:
        reasons.append(TILT_PAIR["unequal"].text.format(difference=f"{difference:.0f}"))
    elif difference + right.half_width_deg + left.half_width_deg > TILT_EQUAL_DEG:
        unknown.append(TILT_PAIR["equal not sure"].text)


def _check_held(side: str, held: TiltHeld, reasons: list[str], unknown: list[str]) -> None:
    """Time and trunk of one tilt."""
    if held.measured_after_s is None:
        unknown.append(TILT_PAIR["time not known"].text.format(side=side))
    elif held.measured_after_s > MEASURED_WITHIN_S:
        reasons.append(TILT_PAIR["too late"].text.format(seconds=f"{held.measured_after_s:.0f}", side=side))
    if held.trunk_tilt_deg is None:
        unknown.append(TILT_PAIR["trunk not known"].text.format(side=side))
        return
    # A shoulder line seen on film follows a large tilt of the head by some degrees, so its value alone refuses nothing.
    lean = abs(held.trunk_tilt_deg)
    if lean - held.trunk_half_width_deg >= TRUNK_UPRIGHT_DEG:
        reasons.append(TILT_PAIR["trunk leans"].text.format(lean=f"{lean:.0f}", side=side))
    elif lean + held.trunk_half_width_deg >= TRUNK_UPRIGHT_DEG:
        unknown.append(TILT_PAIR["trunk not sure"].text.format(side=side))
