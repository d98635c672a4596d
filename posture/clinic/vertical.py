"""What the examiner's vertical figures and torsion say on their own: which eye is higher, skew, reversal, signs of both sides.

Vertical deviation in prism dioptres, + the right eye higher; torsion in degrees, + outwards.
"""

from __future__ import annotations

from typing import Literal

from posture.clinic.findings import Findings, Hypertropia
from posture.clinic.sentences import STEP_WORDS
from posture.conventions import Side

TorsionSign = Literal["higher eye out", "higher eye in", "neither"]
SkewSign = Literal["supine", "torsion"]
BothSign = Literal["chin down on a target", "V pattern", "excyclotorsion", "reversal", "injury with loss of consciousness"]

NORMAL_PD = 2.0
"""Vertical deviation up to this is none: normals show 0 to 2. From memory. More than this names the higher eye, or a reversal."""

SUPINE_SHARE = 0.5
"""A deviation that falls by this share or more from upright to lying points to skew: 80 % sensitive, 100 % specific if old [47]."""

TORSION_LEAST_DEG = 2.0
"""Torsion of one eye below this is read as none. Common practice; no bound for a single eye was found (repeats within 7 degrees [21])."""

EXCYCLO_TOTAL_DEG = 10.0
"""Excyclotorsion of both eyes together above which both sides are thought of [13]."""

V_PATTERN_PD = 25.0
"""V pattern above which both sides are thought of [13]."""


def higher_eye(findings: Findings) -> Side | None:
    """The higher eye in straight gaze; None when not measured, or no more than normal people show.

    Parameters
    ----------
    findings : Findings
    """
    primary = (findings.hypertropia_pd or Hypertropia()).primary
    return None if primary is None or abs(primary) <= NORMAL_PD else side_of(primary)


def torsion_of_higher_eye(findings: Findings) -> TorsionSign | None:
    """How the higher eye is rolled; None when its torsion, or which eye is higher, is not known.

    Parameters
    ----------
    findings : Findings
    """
    higher = higher_eye(findings)
    if higher is None or findings.torsion_deg is None:
        return None
    torsion: float | None = getattr(findings.torsion_deg, f"{higher}_eye")
    if torsion is None:
        return None
    if abs(torsion) < TORSION_LEAST_DEG:
        return "neither"
    return "higher eye out" if torsion > 0 else "higher eye in"


def supine_falls(findings: Findings) -> bool | None:
    """Whether the vertical deviation falls by half or more on lying down.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    bool or None
        None when one of the two is missing, or when there is no deviation upright. A fall within what normal people show is none.
    """
    figures = findings.hypertropia_pd or Hypertropia()
    if higher_eye(findings) is None or figures.primary is None or figures.supine is None:
        return None
    fall = (figures.primary - figures.supine) * (1 if figures.primary > 0 else -1)
    return fall >= SUPINE_SHARE * abs(figures.primary) and fall > NORMAL_PD


def skew_signs(findings: Findings) -> tuple[SkewSign, ...]:
    """What points to a skew deviation rather than a weak muscle.

    Parameters
    ----------
    findings : Findings
    """
    signs: list[SkewSign] = []
    if supine_falls(findings):
        signs.append("supine")
    if torsion_of_higher_eye(findings) == "higher eye in":
        signs.append("torsion")
    return tuple(signs)


def both_sides_signs(findings: Findings, *, chin_down: bool | None = None) -> tuple[BothSign, ...]:
    """The signs that both superior obliques are weak; it takes two of them [13].

    Parameters
    ----------
    findings : Findings
    chin_down : bool or None
        Whether the chin was held down on a target straight ahead. Alone it has many other reasons.
    """
    torsion = findings.torsion_deg
    total = (
        None
        if torsion is None or torsion.right_eye is None or torsion.left_eye is None
        else torsion.right_eye + torsion.left_eye
    )
    seen: dict[BothSign, bool] = {
        "chin down on a target": bool(chin_down),
        "V pattern": findings.v_pattern_pd is not None and findings.v_pattern_pd > V_PATTERN_PD,
        "excyclotorsion": total is not None and total > EXCYCLO_TOTAL_DEG,
        "reversal": _reverses_as_both(findings.hypertropia_pd or Hypertropia()),
        "injury with loss of consciousness": bool(findings.trauma and findings.loss_of_consciousness),
    }
    return tuple(sign for sign, is_seen in seen.items() if is_seen)


def side_of(signed: float) -> Side:
    """Right for +, left for -."""
    return "right" if signed > 0 else "left"


def say_figure(value_pd: float) -> str:
    """A vertical deviation in words without a sign."""
    return "neither eye higher" if value_pd == 0 else f"{side_of(value_pd)} eye higher by {abs(value_pd):g} PD"


def upright_figures(figures: Hypertropia) -> dict[str, float]:
    """The figures that were measured upright, in words."""
    words = {
        "primary": "straight ahead",
        "gaze_right": "on gaze to the right",
        "gaze_left": "on gaze to the left",
        "tilt_right": "on tilt to the right",
        "tilt_left": "on tilt to the left",
    }
    values = {said: getattr(figures, key) for key, said in words.items()}
    return {said: value for said, value in values.items() if value is not None}


def contradiction_of(figures: Hypertropia) -> str | None:
    """Why no single muscle explains the figures; None when one may."""
    upright = upright_figures(figures)
    right = [where for where, value in upright.items() if value > NORMAL_PD]
    left = [where for where, value in upright.items() if value < -NORMAL_PD]
    if not (right and left):
        return None
    return STEP_WORDS["contradiction"].text.format(right=" and ".join(right), left=" and ".join(left))


def _reverses_as_both(figures: Hypertropia) -> bool:
    """Whether the higher eye changes as with two weak superior obliques: the right on tilt to the right or gaze to the left."""
    if contradiction_of(figures) is None:
        return False
    raises_right = [value for value in (figures.tilt_right, figures.gaze_left) if value is not None]
    raises_left = [value for value in (figures.tilt_left, figures.gaze_right) if value is not None]
    primary = [] if figures.primary is None else [figures.primary]
    other_way = min([*raises_right, *primary], default=0) < -NORMAL_PD and max([*raises_left, *primary], default=0) > NORMAL_PD
    return not other_way


def is_nil(figures: Hypertropia) -> bool:
    """Measured straight ahead and on both tilts, and nowhere more than normal people show."""
    needed = (figures.primary, figures.tilt_right, figures.tilt_left)
    return None not in needed and all(abs(value) <= NORMAL_PD for value in upright_figures(figures).values())
