"""What was asked of children who were never filmed, with the ends that a test asks for."""

from __future__ import annotations

from typing import Any

from posture.clinic.examination import AskedRecord, Examination, ReachedDeg
from posture.summary.record import Interval
from tests.clinic.mirror import swapped

Json = dict[str, Any]

TIGHT_RIGHT_FILM: Json = {"tilt right": 45.0, "tilt left": 15.0}
"""The tilt to the left is short, as a tight muscle of the right makes it."""


def asked_record(
    movement: str, deg: float, half: float = 4.0, *, at_least: bool = False, trunk: float | None = 1.0, start_s: float = 0.0
) -> AskedRecord:
    """One movement; a tilt without a trunk is against gravity."""
    is_turn = movement.startswith("turn")
    return AskedRecord(
        movement=movement,  # type: ignore[arg-type]
        start_s=start_s,
        end_s=start_s + 5,
        reached_deg=ReachedDeg(value=deg, low=deg - half, high=None if at_least else deg + half),
        reference="line of sight" if is_turn else "gravity" if trunk is None else "shoulder line",
        beyond_camera=at_least,
        held_s=2.0,
        trunk_tilt_deg=None if trunk is None or is_turn else Interval(value=trunk, low=trunk - 5, high=trunk + 5),
        found_share=1.0,
    )


def examination(
    ends: Json, half: float = 4.0, *, passive: bool | None = False, sided: bool = True, sha256: str = "a" * 64, **more: Any
) -> Examination:
    """What was asked in a clip: movement -> degrees; "at least 45" for an end that was not seen."""
    asked = []
    for k, (movement, deg) in enumerate(ends.items()):
        at_least = isinstance(deg, str)
        size = float(str(deg).removeprefix("at least "))
        asked.append(asked_record(movement, size, half, at_least=at_least, start_s=6.0 * k, **more))
    known = all(one.trunk_tilt_deg is not None for one in asked)
    return Examination(sided=sided, sha256=sha256, passive=passive, trunk_known=known, asked=asked)


def mirror_examination(of: Examination) -> Examination:
    """The same of the mirrored child: angles are along the way asked, so only the words change."""
    return Examination.model_validate(swapped(of.model_dump(by_alias=True)))


def widened_examination(of: Examination, factor: float) -> Examination:
    """The same with wider intervals."""
    document = of.model_dump(by_alias=True)
    for one in document["asked"]:
        for angle in filter(None, (one["reached_deg"], one["trunk_tilt_deg"])):
            value, high = angle["value"], angle["high"]
            angle["low"] = value - factor * (value - angle["low"])
            angle["high"] = None if high is None else value + factor * (high - value)
    return Examination.model_validate(document)
