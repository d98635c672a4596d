"""Findings seen in a mirror: every right is a left, every signed vertical deviation and tilt the other way round."""

from typing import Any

from posture.clinic.findings import Findings

SIGNED = {"primary", "gaze_right", "gaze_left", "tilt_right", "tilt_left", "supine"}


def mirrored_text(text: str) -> str:
    """A text with right and left exchanged."""
    return text.replace("right", "\0").replace("left", "right").replace("\0", "left")


def mirrored_value(value: Any) -> Any:
    """A value of any kind with right and left exchanged; numbers stay."""
    if isinstance(value, dict):
        return {mirrored_text(key): mirrored_value(inner) for key, inner in value.items()}
    return mirrored_text(value) if isinstance(value, str) else value


def mirrored_findings(findings: Findings) -> Findings:
    """The same child in a mirror."""
    document = mirrored_value(findings.model_dump())
    if document["hypertropia_pd"]:
        document["hypertropia_pd"] = {key: -v if v is not None else None for key, v in document["hypertropia_pd"].items()}
    for covered in (document["cover"] or {}).values():
        if covered and covered["tilt_deg"]:
            value, low, high = (covered["tilt_deg"][key] for key in ("value", "low", "high"))
            covered["tilt_deg"] = {"value": -value, "low": -high, "high": -low}
    return Findings(**document)
