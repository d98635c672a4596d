"""How fast the child must be seen, and whether the neck may be moved at all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from posture.clinic.findings import RED_FLAGS_SOON, RED_FLAGS_TODAY, Findings
from posture.clinic.sentences import REASONS, STEP_NOTES, Sentence
from posture.clinic.vertical import skew_signs

Speed = Literal["soon", "today"]

NECK_FLAGS = frozenset(
    {
        "headache",
        "vomiting",
        "unsteady",
        "weakness",
        "fever",
        "stiff_neck",
        "swallowing",
        "noisy_breathing",
        "injury_neck_pain",
        "severe_pain",
        "fixed_neck",
        "drug",
        "new_tilt",
        "worsening_tilt",
        "neck_pain",
        "mass",
    }
)
"""Red flags with which no neck is moved: those that the screen before it asks for as well, and a tilt that got worse, which counts as
new. Common practice: emergency texts warn against passive movement while a subluxation is possible."""


NECK_SCREEN = {
    "injury": "injury in the last 6 weeks",
    "pain": "neck pain, tenderness or resistance",
    "infection": "fever, sore throat, recent infection or operation of throat or ear",
    "new": "tilt new within 6 months",
    "known": "Down syndrome, juvenile arthritis, skeletal dysplasia, connective-tissue disease, known neck anomaly or operation",
    "nerves": "weak limb, unsteadiness, headache or vomiting",
}
"""What is asked before a neck is moved (clinical rules, section 1; common practice)."""


@dataclass(frozen=True)
class Urgency:
    """How fast, and why.

    `speed` is "today", "soon" (within two weeks, sooner if it changes) or None; `asked` whether the red flags were asked at all;
    `reasons` plain words, those for today first.
    """

    speed: Speed | None
    asked: bool
    reasons: tuple[str, ...]


def urgency_of(findings: Findings) -> Urgency:
    """How fast this child must be seen.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    Urgency
        A tilt with a new onset or an injury is urgent without any red flag; an answer that is missing never makes it less so.
    """
    flags = findings.red_flags or []
    today = [words for code, words in RED_FLAGS_TODAY.items() if code in flags]
    soon = [words for code, words in RED_FLAGS_SOON.items() if code in flags]
    if findings.onset == "new" and "new_tilt" not in flags:
        soon.append(REASONS["posture is new"].text)
    if findings.nystagmus == "new" and "new_nystagmus" not in flags:
        soon.append(REASONS["new nystagmus"].text)
    _weigh_injury(findings, today, soon)
    _weigh_skew(findings, today, soon)
    speed: Speed | None = "today" if today else "soon" if soon else None
    return Urgency(speed, findings.red_flags is not None, tuple(today + soon))


def _weigh_injury(findings: Findings, today: list[str], soon: list[str]) -> None:
    """An injury alone within two weeks; with neck pain or any neurological sign, such as lost consciousness, today."""
    if not findings.trauma:
        return
    if findings.loss_of_consciousness:
        today.append(REASONS["injury, consciousness lost"].text)
    elif "neck_pain" in (findings.red_flags or []):
        today.append(REASONS["injury, neck pain"].text)
    elif "injury_neck_pain" not in (findings.red_flags or []):
        soon.append(REASONS["injury"].text)


def _weigh_skew(findings: Findings, today: list[str], soon: list[str]) -> None:
    """A skew deviation today if it is new; what is not known to be old is taken as new."""
    signs = skew_signs(findings)
    known_old = findings.onset in ("infancy", "childhood")
    if "supine" in signs:
        (soon if known_old else today).append(_as_reason(STEP_NOTES["supine fall"]))
    elif "torsion" in signs:
        (today if findings.onset == "new" else soon).append(_as_reason(STEP_NOTES["torsion in"]))


def _as_reason(note: Sentence) -> str:
    """A sentence as part of a list of reasons."""
    return note.text[0].lower() + note.text[1:].rstrip(".")


def neck_may_move(findings: Findings) -> bool:
    """Whether a head-tilt test, a neck range or the live guide may be begun.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    bool
        True only when the neck screen was answered, every line no (`neck_safe`), and nothing else that was found speaks against it.
    """
    flagged = NECK_FLAGS.intersection(findings.red_flags or [])
    return findings.neck_safe is True and not flagged and findings.onset != "new" and not findings.trauma
