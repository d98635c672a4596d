"""Summaries and findings seen in a mirror: every right is a left, every signed deviation and angle the other way round."""

import re
from collections.abc import Mapping
from typing import Any

from posture.clinic.findings import Findings
from posture.summary.record import Summary

Json = dict[str, Any]

SWAP = {"right": "left", "left": "right", "Right": "Left", "Left": "Right"}
_SIDE = re.compile(r"(?<![A-Za-z])(right|left|Right|Left)(?![A-Za-z])")


def swap(text: str) -> str:
    """A text, or a key, with right and left exchanged; "upright" stays."""
    return _SIDE.sub(lambda side: SWAP[side[0]], text)


def swapped(value: Any) -> Any:
    """Anything with right and left exchanged in its keys and texts, at any depth; numbers stay."""
    if isinstance(value, str):
        return swap(value)
    if isinstance(value, Mapping):
        return {swap(key): swapped(item) for key, item in value.items()}
    return [swapped(item) for item in value] if isinstance(value, list | tuple) else value


def mirror_summary(summary: Summary) -> Summary:
    """The record of the same clip with the picture mirrored."""
    document = swapped(summary.model_dump(by_alias=True))
    document["clip"]["camera_roll_deg"] = _negated(document["clip"]["camera_roll_deg"])
    for held in filter(None, [document["habitual"], document["moment"], *document["postures"]]):
        for name in {"tilt_deg", "turn_deg", "tilt_on_trunk_deg", "tilt_midface_deg", "head_shift"} & held.keys():
            held[name] = _negated(held[name])
    if symmetry := document["symmetry"]:
        symmetry["facial_angle_deg"] = _negated(symmetry["facial_angle_deg"])
        size = symmetry["relative_facial_size"]
        symmetry["relative_facial_size"] = {"value": 1 / size["value"], "low": 1 / size["high"], "high": 1 / size["low"]}
    return Summary.model_validate(document)


def mirror_findings(findings: Findings) -> Findings:
    """The same findings in the mirror image of the child."""
    document = swapped(findings.model_dump())
    figures = document["hypertropia_pd"]
    document["hypertropia_pd"] = figures and {key: None if value is None else -value for key, value in figures.items()}
    for covered in filter(None, (document["cover"] or {}).values()):
        covered["tilt_deg"] = _negated(covered["tilt_deg"])
    return Findings.model_validate(document)


def _negated(angle: Json | None) -> Json | None:
    """An interval of the other side."""
    if angle is None:
        return None
    other = {"value": -angle["value"], "low": -angle["high"], "high": -angle["low"]}
    if "middle_half" in angle:
        low, high = angle["middle_half"]
        other["middle_half"] = (-high, -low)
    return other
