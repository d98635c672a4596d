"""Change of one angle between two recordings: its interval, and whether it is more than chance makes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from pydantic import Field

from posture.clinic.natural import Z95, AngleName, Natural, chance_deg, natural_of
from posture.clinic.pairs import Pair, Recording
from posture.summary.record import Interval, Record

DIGITS = 4
"""Decimals of degrees in the record."""


class AngleChange(Record):
    """Change of one angle, + as the angle itself; numbers are null where nothing can be compared, `real` where there is no verdict.

    `before` and `after` are for words and figures and do not stand in the JSON; sizes while no side may be named.
    """

    change: float | None
    low: float | None
    high: float | None
    real: bool | None
    before: Annotated[Interval | None, Field(exclude=True)] = None
    after: Annotated[Interval | None, Field(exclude=True)] = None


def angle_change(before: Interval, after: Interval, natural: Natural, *, has_verdict: bool = True) -> AngleChange:
    """The change of one angle.

    Parameters
    ----------
    before, after : Interval
        Degrees, with their 95 % intervals; of an uneven one the half towards the other value counts.
    natural : Natural
    has_verdict : bool
        Else `real` is None.

    Returns
    -------
    AngleChange
        Its interval holds the natural variation too, so that it leaves 0 out exactly when the change is real.
    """
    moved = after.value - before.value
    down = chance_deg(_sd(after.value - after.low), _sd(before.high - before.value), natural)
    up = chance_deg(_sd(after.high - after.value), _sd(before.value - before.low), natural)
    real = moved > down or -moved > up
    low, high = round(moved - down, DIGITS), round(moved + up, DIGITS)
    return AngleChange(
        change=round(moved, DIGITS), low=low, high=high, real=real if has_verdict else None, before=before, after=after
    )


def _sd(half_deg: float) -> float:
    """The standard deviation of which a half width of a 95 % interval tells."""
    return max(0.0, half_deg) / Z95


def natural_between(pair: Pair, repeats: Sequence[Recording], name: AngleName) -> Natural:
    """The natural variation of an angle, the child's own where it can be known."""
    angles = [Pair(pair.before, one, ()).angle(one, name) for one in repeats]
    values = [angle.value for angle in angles if angle is not None]
    return natural_of(name, values if len(values) == len(repeats) else ())


def change_between(pair: Pair, name: AngleName, natural: Natural) -> AngleChange:
    """The change of an angle of the pair; sizes only while no side may be named."""
    before, after = pair.angle(pair.before, name), pair.angle(pair.after, name)
    if before is None or after is None:
        return AngleChange(change=None, low=None, high=None, real=None)
    if name != "chin" and not pair.sided:
        return AngleChange(change=None, low=None, high=None, real=None, before=size_of(before), after=size_of(after))
    return angle_change(before, after, natural, has_verdict=not pair.why)


def size_of(angle: Interval) -> Interval:
    """An angle without its side."""
    ends = sorted((abs(angle.low), abs(angle.high)))
    return Interval(value=abs(angle.value), low=0.0 if angle.low <= 0 <= angle.high else ends[0], high=ends[1])
