"""What else fits, which a hint must not swallow: the causes of the table whose posture or findings are there."""

from __future__ import annotations

from posture.clinic.demand import effect_of
from posture.clinic.evidence import POOR_EYE_LOGMAR
from posture.clinic.found import Found
from posture.clinic.held import MIN_HINT_MONTHS
from posture.clinic.sentences import CAUSES, NECK_CAUSES, Cause

INFANT_MONTHS = 24
"""Causes of the skull are looked for up to this age, or where the posture began in infancy (common practice, no source)."""

THROAT_FLAGS = frozenset({"fever", "swallowing", "noisy_breathing"})
"""Red flags of throat and airway, with which a subluxation is thought of."""


def also_fits(found: Found, *, is_urgent: bool) -> tuple[Cause, ...]:
    """The causes that also fit, the fastest first.

    Parameters
    ----------
    found : Found
    is_urgent : bool
        While urgent no neck cause is printed; a subluxation is, as it is what is urgent.

    Returns
    -------
    tuple of Cause
        None under 4 months, and none of a head that is shown to be straight unless a finding speaks for one.
    """
    if found.clips.age_months is not None and found.clips.age_months < MIN_HINT_MONTHS and not is_urgent:
        return ()
    fits = _by_posture(found, is_urgent)
    for key, says in _by_findings(found).items():
        fits[key] = fits.get(key, False) or says
    if is_urgent:
        fits |= dict.fromkeys(NECK_CAUSES, False)
    return tuple(cause for key, cause in CAUSES.items() if fits.get(key, False))


def _by_posture(found: Found, is_urgent: bool) -> dict[str, bool]:
    """What fits the posture that was filmed."""
    posture, findings = found.clips.posture, found.findings
    swaps = any(key in ("two postures", "side changes") for key, _ in found.clips.cautions)
    held = posture is not None and posture.is_held and not posture.is_straight
    tilted = held and posture is not None and bool(posture.tilt_sign)
    turned = held and posture is not None and bool(posture.turn_sign)
    chin = posture.chin_sign if posture is not None and held else 0
    opposite = posture is not None and posture.direction == "opposite"
    infant = findings.onset == "infancy" or (found.clips.age_months is not None and found.clips.age_months <= INFANT_MONTHS)
    return {
        "skew": tilted and not found.steps.nil,
        "subluxation": opposite or (tilted and found.is_recent_or_painful),
        "tumour": held or swaps or is_urgent,
        "new sixth": turned,
        "ptosis": chin > 0,
        "one poor eye": held and posture is not None and posture.is_pure_turn,
        "nystagmus": swaps or (held and findings.nystagmus != "none"),
        "hemianopia": turned,
        "other vertical muscles": (tilted or chin != 0) and not found.steps.nil,
        "Brown": opposite or chin > 0,
        "DVD": tilted,
        "synostosis": tilted and infant,
        "plagiocephaly": turned and infant,
        "refraction": (tilted or chin != 0) and findings.glasses_effect != "none",
        "attacks": swaps,
        "webbed neck": held,
        "others": held or swaps,
    }


def _by_findings(found: Found) -> dict[str, bool]:
    """What the findings themselves speak for."""
    findings = found.findings
    flags = frozenset(findings.red_flags or [])
    acuity = findings.va_logmar
    known = acuity is not None and acuity.right is not None and acuity.left is not None
    worse = abs(acuity.right - acuity.left) if acuity and acuity.right is not None and acuity.left is not None else 0.0
    return {
        "skew": bool(found.steps.skew) or found.has_vertical_deviation,
        "subluxation": bool(THROAT_FLAGS & flags) or "injury_neck_pain" in flags or "fixed_neck" in flags,
        "ptosis": "pupils_or_lid" in flags,
        "one poor eye": (known and worse >= POOR_EYE_LOGMAR - 1e-9) or "white_pupil" in flags,
        "nystagmus": findings.nystagmus in ("old", "new", "latent") or "new_nystagmus" in flags or _grows(found),
        "spasmus nutans": found.clips.rhythm is not None or "head_nodding" in flags,
        "other vertical muscles": found.has_vertical_deviation,
        "DVD": found.has_vertical_deviation or (found.cover is not None and found.cover.relief in ("right only", "left only")),
        "synostosis": found.has_vertical_deviation,
        "refraction": findings.glasses_effect in ("less", "more") or _changes_with_glasses(found),
        "hearing": findings.hearing_loss_side in ("right", "left"),
        "feeds": bool(findings.feeding_related),
        "attacks": bool(findings.attacks),
        "others": "drug" in flags,
    }


def _grows(found: Found) -> bool:
    """Whether the posture was filmed to be larger when the child looks hard."""
    return any(one.demand == "attention" and effect_of(one) == "more" for one in found.clips.demand)


def _changes_with_glasses(found: Found) -> bool:
    """Whether the posture was filmed to change with glasses; what was entered stands above it."""
    return found.findings.glasses_effect is None and any(
        one.demand == "correction" and one.is_shown for one in found.clips.demand
    )
