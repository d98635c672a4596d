"""Summaries of clips that were never filmed, with the tilt that a test asks for."""

from typing import Any

from posture.summary.record import Summary
from tests.clinic.made import clip


def summary_of(tilt_deg: float | None = -14.0, half_deg: float = 2.0, kind: str = "one", **conditions: Any) -> Summary:
    """A clip with one habitual posture; of kind "unsided" while mirroring is unknown, of kind "two" with two postures."""
    unstated = {"target": None}
    return clip(tilt_deg, -8.0, -3.0, half=half_deg, sided=kind != "unsided", two=kind == "two", **(unstated | conditions))
