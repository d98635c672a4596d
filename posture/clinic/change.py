"""Change between recordings before and after: its interval, real or not, and what is left. Its JSON is `posture.change/1`.

A change is real when it exceeds what the two measurements and the natural variation make by chance. Like is compared with like:
every difference in conditions is said, and some take the verdict away. It is a measurement and names no cause.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import ConfigDict, Field

from posture.clinic.angle_change import AngleChange, change_between, natural_between, size_of
from posture.clinic.change_cautions import (
    cautions_of_drift,
    cautions_of_limits,
    cautions_of_pair,
    cautions_of_tilt,
    has_changed_side,
)
from posture.clinic.change_words import say_change
from posture.clinic.conditions import covered_eye_of, differences_of, is_under_drops
from posture.clinic.dates import Event
from posture.clinic.held import MIN_HINT_MONTHS, clear_sign
from posture.clinic.natural import AngleName, Natural
from posture.clinic.pairs import Pair, choose_pair, in_time, repeats_of
from posture.clinic.sentences import CHANGES
from posture.conventions import STRAIGHT_DEG
from posture.summary.record import Record, Summary

__all__ = ["AngleChange", "Change", "Residual", "change_sentences", "compare"]

Residual = Literal["within-5", "5-10", "over-10", "reversed", "between"]

SIGNIFICANT_DEG = 10.0
"""A tilt left after surgery was called mild up to here and significant beyond [83]; below `STRAIGHT_DEG` it is a success [84, 85]."""

CLASSES: tuple[tuple[float, float, Residual], ...] = (
    (-math.inf, -STRAIGHT_DEG, "reversed"),
    (-STRAIGHT_DEG, STRAIGHT_DEG, "within-5"),
    (STRAIGHT_DEG, SIGNIFICANT_DEG, "5-10"),
    (SIGNIFICANT_DEG, math.inf, "over-10"),
)
"""Bounds of the tilt that is left, + to the side of the tilt before."""


class Change(Record):
    """The change; `cautions` have the most important first.

    Not in the JSON: `sided`, whether sides may be named; `why`, reasons why there is no verdict; `is_worse`, a tilt that got worse,
    which is urgent; `used`, which of the recordings before and which after were compared; `natural_deg`, the natural variation of tilt.
    """

    schema_: Annotated[Literal["posture.change/1"], Field(alias="schema")] = "posture.change/1"
    tilt_deg: AngleChange
    turn_deg: AngleChange
    chin_deg: AngleChange
    residual_tilt: Residual | None
    differences: list[str]
    cautions: list[str]
    sided: Annotated[bool, Field(exclude=True)] = True
    why: Annotated[tuple[str, ...], Field(exclude=True)] = ()
    is_worse: Annotated[bool, Field(exclude=True)] = False
    used: Annotated[tuple[int, int], Field(exclude=True)] = (0, 0)
    natural_deg: Annotated[float | None, Field(exclude=True)] = None

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)

    def to_json(self) -> str:
        """The JSON text, every key present, ending in a line break."""
        return self.model_dump_json(by_alias=True, indent=1) + "\n"


def compare(
    before: Sequence[Summary],
    after: Sequence[Summary],
    own: Sequence[Summary] | None = None,
    events: Sequence[Event] = (),
    *,
    is_urgent: bool = False,
) -> Change:
    """Compare recordings before with recordings after, surgery or anything else.

    Parameters
    ----------
    before, after : sequence of Summary
        One or more of each, in the order of time. The last two that are alike are compared.
    own : sequence of Summary or None
        Recordings before surgery that give the child's own repeatability; None takes those of `before`. Two or more like ones of
        different days are needed, else the figures of adults stand.
    events : sequence of Event
        Those of kind "surgery" bound what is before.
    is_urgent : bool
        Something else about the child is urgent: then no neck cause is named.

    Returns
    -------
    Change

    Raises
    ------
    ValueError
        If there is nothing before or nothing after.
    DateError
        If the date of an event cannot be read; one of a recording that cannot be read counts as not known.
    """
    if not before or not after:
        raise ValueError("Expected at least one recording before and one after; one of the two is empty. Give both.")
    befores, afters = in_time(before), in_time(after)
    pair = choose_pair(befores, afters)
    repeats = repeats_of(pair, befores if own is None else in_time(own), events)
    natural: dict[AngleName, Natural] = {name: natural_between(pair, repeats, name) for name in ("tilt", "turn", "chin")}
    angles = {name: change_between(pair, name, natural[name]) for name in natural}
    sided = pair.sided
    residual = _residual(angles["tilt"], sided) if _has_residual(pair) else None
    worse = _is_worse(angles["tilt"], residual)
    why = tuple(CHANGES[key].text for key in pair.why)
    differences = differences_of(pair.before.summary, pair.after.summary, sided=sided)
    cautions = [
        *([CHANGES["worse"].text] if worse else []),
        *([CHANGES["no verdict"].text.format(reasons="; ".join(why))] if why else []),
        *cautions_of_tilt(angles["tilt"], residual, is_urgent=is_urgent or worse),
        *cautions_of_drift(pair, afters, natural["tilt"]),
        *cautions_of_pair(pair, befores, afters, events),
        *(CHANGES["differs"].text.format(difference=difference) for difference in differences),
        *cautions_of_limits(pair, natural["tilt"], repeats),
    ]
    return Change(
        tilt_deg=angles["tilt"],
        turn_deg=angles["turn"],
        chin_deg=angles["chin"],
        residual_tilt=residual,
        differences=differences,
        cautions=list(dict.fromkeys(cautions)),
        sided=sided,
        why=why,
        is_worse=worse,
        used=(pair.before.index, pair.after.index),
        natural_deg=natural["tilt"].sd_deg,
    )


def change_sentences(change: Change) -> list[str]:
    """Say a change, without any sign.

    Parameters
    ----------
    change : Change
        From `compare`; one that was read from its JSON says only by how much.

    Returns
    -------
    list of str
        What is urgent and why there is no verdict; tilt and what is left of it, turn and chin; the other cautions.
    """
    no_verdict = CHANGES["no verdict"].text.split("{")[0]
    first = [text for text in change.cautions if text == CHANGES["worse"].text or text.startswith(no_verdict)]
    said = say_change("tilt", change.tilt_deg, change.sided)
    if change.residual_tilt:
        said.append(CHANGES[change.residual_tilt].text)
    return [
        *first,
        *said,
        *say_change("turn", change.turn_deg, change.sided),
        *say_change("chin", change.chin_deg, True),
        *(text for text in change.cautions if text not in first),
    ]


def _has_residual(pair: Pair) -> bool:
    """Whether the recording after shows the tilt that is left: both eyes open, no drops, old enough to hold the head."""
    after = pair.after.summary.conditions
    young = after.age_months is not None and after.age_months < MIN_HINT_MONTHS
    return covered_eye_of(after) == "none" and not is_under_drops(after) and not young


def _residual(tilt: AngleChange, sided: bool) -> Residual | None:
    """The class of the tilt that is left; None where it cannot be set against the tilt before."""
    before, after = tilt.before, tilt.after
    if before is None or after is None or not sided:
        return None
    side = clear_sign(before, STRAIGHT_DEG)
    if side:
        low, high = sorted((side * after.low, side * after.high))
    else:
        # Nothing was to either side before, so there is no other side: the size alone counts.
        size = size_of(after)
        low, high = size.low, size.high
    return next((name for least, most, name in CLASSES if least <= low and high <= most), "between")


def _is_worse(tilt: AngleChange, residual: Residual | None) -> bool:
    """Whether a tilt grew, or one came where none was, by more than chance; a change of side is said by itself."""
    if not tilt.real or tilt.before is None or tilt.after is None:
        return False
    grew = abs(tilt.after.value) > abs(tilt.before.value) and abs(tilt.after.value) >= STRAIGHT_DEG
    return grew and not has_changed_side(tilt, residual)
