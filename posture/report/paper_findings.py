"""The words of the paper on the examination: what was entered and what was not, the evidence, what would settle it, and sources."""

from __future__ import annotations

import re
from collections.abc import Iterator

from posture.clinic.evidence import RANK, PointsTo
from posture.clinic.findings import CoveredEye, Findings, flag_words
from posture.clinic.hint import EvidenceRecord, Hint
from posture.clinic.references import REFERENCES
from posture.clinic.sentences import CAUTIONS, OUTCOMES, SIDES
from posture.report.notes import Notes, say_age
from posture.report.paper_words import SIDES_NOT_PRINTED
from posture.summary.words import say_angle, say_interval

LEFT_TO_OTHERS = ("refraction", "cover test near and far", "motility", "fundus", "neurology")
"""Parts of the examination that no findings of this program hold, so that they always stand among what was not entered."""

NOT_EXAMINED = (
    "acuity",
    "refraction",
    "stereo",
    "cover test near and far",
    "motility",
    "torsion",
    "fundus",
    "neck",
    "neurology",
)
"""In the order in which a report lists them (clinical rules, section 12)."""

NOTHING_FOUND = "nothing was found"
NOT_STATED = "not stated until the urgent questions are answered"
NOT_LAID_BESIDE = "The posture was not laid beside an examination."

MARKS = {"fail": "\u00d7", "warn": "!"}
LEVELS = {"fail": "Failed", "warn": "Caution"}
"""Sign and word of a check, so that nothing hangs on colour."""

SAID_BY_CHECK = {
    "mirroring": CAUTIONS["mirroring"].text,
    "one posture": CAUTIONS["two postures"].text,
    "steady time": CAUTIONS["no habitual posture"].text,
    "target": CAUTIONS["turn"].text,
}
"""Checks that say what a caution says as well, so that it stands once."""

GAZES = {
    "primary": "straight",
    "gaze_right": "gaze right",
    "gaze_left": "gaze left",
    "tilt_right": "tilt right",
    "tilt_left": "tilt left",
    "supine": "lying",
}


def entered_words(notes: Notes) -> list[str]:
    """What was entered, a part of the examination each.

    Parameters
    ----------
    notes : Notes

    Returns
    -------
    list of str
        While no side is known of the clip, what has sides is named without them.
    """
    given = notes.findings or Findings()
    said = [f"{name}: {words}" for name, words in _plain_words(given)]
    if notes.sided:
        return said + [f"{name}: {words}" for name, words in _sided_words(given)]
    names = [name.removeprefix("right eye ").removeprefix("left eye ") for name, _ in _sided_words(given)]
    return said + [f"{name}: entered" for name in dict.fromkeys(names)] + ([SIDES_NOT_PRINTED] if names else [])


def _plain_words(given: Findings) -> Iterator[tuple[str, str]]:
    """Findings without a side."""
    yes_no = {True: "yes", False: "no"}
    if given.age_months is not None:
        yield "age", say_age(given.age_months)
    if given.onset:
        yield "onset", {"infancy": "in infancy", "childhood": "later in childhood", "new": "new"}[given.onset]
    if given.neck_safe is not None:
        yield "neck screen", "every answer no" if given.neck_safe else "an answer was yes, the neck is not moved"
    for name, answer in (
        ("injury of head or neck", given.trauma),
        ("consciousness lost", given.loss_of_consciousness),
        ("earlier eye-muscle surgery", given.previous_eye_surgery),
        ("with feeds", given.feeding_related),
        ("in attacks", given.attacks),
    ):
        if answer is not None:
            yield name, yes_no[answer]
    if given.v_pattern_pd is not None:
        yield ("A pattern" if given.v_pattern_pd < 0 else "V pattern"), f"{abs(given.v_pattern_pd):g} PD"
    if given.stereo is not None:
        yield "stereo", "none" if given.stereo == "none" else f"{given.stereo:g} seconds of arc"
    for name, text in (
        ("nystagmus", given.nystagmus),
        ("asleep the posture", given.asleep),
        ("lying awake the posture", given.lying_awake),
        ("with glasses the posture is", {"none": "the same"}.get(given.glasses_effect or "", given.glasses_effect)),
    ):
        if text is not None:
            yield name, text


def _sided_words(given: Findings) -> Iterator[tuple[str, str]]:
    """Findings of a side."""
    if given.va_logmar:
        yield "acuity (logMAR)", _pairs(("right", given.va_logmar.right), ("left", given.va_logmar.left))
    if given.hypertropia_pd:
        seen = [(words, getattr(given.hypertropia_pd, name)) for name, words in GAZES.items()]
        how: str = given.hypertropia_method or "method not said"
        yield (
            f"hypertropia (PD, {how})",
            ", ".join(f"{words} {_higher(pd)}" for words, pd in seen if pd is not None) or "no figure",
        )
    if given.torsion_deg:
        eyes = (("right eye", given.torsion_deg.right_eye), ("left eye", given.torsion_deg.left_eye))
        yield "torsion", ", ".join(f"{eye} {_rolled(deg)}" for eye, deg in eyes if deg is not None) or "no figure"
    if given.fixing_eye:
        yield "fixing eye", given.fixing_eye
    for eye, covered in (("right", given.cover and given.cover.right_eye), ("left", given.cover and given.cover.left_eye)):
        if covered:
            yield f"{eye} eye under cover", _covered(covered)
    if given.neck_range_deg:
        neck = given.neck_range_deg
        how = {True: "passive", False: "active", None: "active or passive not said"}[neck.passive]
        ways = ("tilt_right", "tilt_left", "turn_right", "turn_left")
        yield f"neck range (degrees, {how})", _pairs(*((way.replace("_", " "), getattr(neck, way)) for way in ways))
    if given.neck_band_or_mass:
        yield "band or mass in the neck muscle", {"none": "none felt"}.get(given.neck_band_or_mass, given.neck_band_or_mass)
    if given.hearing_loss_side:
        yield "one-sided hearing loss", given.hearing_loss_side


def _pairs(*values: tuple[str, float | None]) -> str:
    """Names and figures."""
    return ", ".join(f"{name} {value:g}" for name, value in values if value is not None) or "no figure"


def _higher(pd: float) -> str:
    """Which eye is higher, by how many prism dioptres, as orthoptists write it."""
    return f"{'R/L' if pd > 0 else 'L/R'} {abs(pd):g}" if pd else "0"


def _rolled(degrees: float) -> str:
    """Which way an eye is rolled."""
    return f"{abs(degrees):g} degrees {'out (ex)' if degrees > 0 else 'in'}" if degrees else "0"


def _covered(covered: CoveredEye) -> str:
    """The tilt under cover, and for how long."""
    minutes = "minutes not said" if covered.minutes is None else f"{covered.minutes:g} minutes"
    if covered.tilt_deg is None:
        return minutes
    return f"{say_angle('tilt', covered.tilt_deg)} ({say_interval('tilt', covered.tilt_deg)}), {minutes}"


def not_examined(findings: Findings | None) -> list[str]:
    """The parts of the examination of which nothing was entered.

    Parameters
    ----------
    findings : Findings or None
    """
    given = findings or Findings()
    entered = {
        "acuity": given.va_logmar is not None,
        "stereo": given.stereo is not None,
        "torsion": given.torsion_deg is not None,
        "neck": given.neck_range_deg is not None or given.neck_band_or_mass is not None,
    }
    return [part for part in NOT_EXAMINED if part in LEFT_TO_OTHERS or not entered[part]]


def red_flag_words(findings: Findings | None) -> str:
    """Whether the red flags were asked, and what there was.

    Parameters
    ----------
    findings : Findings or None
    """
    flags = findings.red_flags if findings else None
    if flags is None:
        return "no, they were not asked."
    return f"yes: {'; '.join(map(flag_words, flags))}." if flags else "yes; there were none."


def outcome_words(hint: Hint | None) -> str:
    """What the findings fit, the side, and whether it agrees with the suspected side.

    Parameters
    ----------
    hint : Hint or None
    """
    if hint is None:
        return NOT_LAID_BESIDE
    side = (
        SIDES["neck" if hint.outcome == "neck-driven" else "eye"].text.format(side=hint.side)
        if hint.side
        else SIDES["none"].text
    )
    return f"{OUTCOMES[hint.outcome].text} {side} {SIDES[hint.suspected].text}"


def evidence_rows(hint: Hint) -> list[tuple[str, list[str]]]:
    """The evidence by what it points to, the strongest first: title and lines.

    Parameters
    ----------
    hint : Hint

    Returns
    -------
    list of tuple
        Eye and neck always, also where nothing points there; neither where something does.
    """
    leads = {"eye-driven": ("For: the", "Against: the"), "neck-driven": ("Against: the", "For: the")}.get(
        hint.outcome, ("To the", "To the")
    )
    of_neck = NOTHING_FOUND if hint.urgency is None else NOT_STATED
    rows = [(f"{leads[0]} eye", _lines(hint, "eye") or [f"{NOTHING_FOUND}."])]
    rows.append((f"{leads[1]} neck", _lines(hint, "neck") or [f"{of_neck}."]))
    neither = _lines(hint, "neither")
    return [*rows, ("To neither", neither)] if neither else rows


def _lines(hint: Hint, to: PointsTo) -> list[str]:
    """What points one way, each line with its strength and the numbers of its sources."""
    found = sorted((line for line in hint.evidence if line.points_to == to), key=lambda line: -RANK[line.strength])
    return [f"{line.strength.capitalize()}: {line.text}{_numbers(line)}" for line in found]


def _numbers(line: EvidenceRecord) -> str:
    """The numbers of the sources, or that there is none."""
    numbers = re.findall(r"\[\d+\]", line.source)
    return f" {''.join(numbers)}" if numbers else f" ({line.source})"


def also_fits_words(hint: Hint) -> str:
    """The causes that also fit, each with how fast it must be looked for.

    Parameters
    ----------
    hint : Hint
    """
    return "; ".join(f"{row.cause} ({row.speed})" for row in hint.also_fits)


def reliability_lines(notes: Notes) -> list[tuple[str, str]]:
    """How far to trust the numbers: sign and text each, the worst first; what was passed in one line.

    Parameters
    ----------
    notes : Notes
    """
    checks = notes.main.checks
    lines = [
        (MARKS[check.level], f"{LEVELS[check.level]}, {check.name}: {check.text}") for check in checks if check.level in MARKS
    ]
    said = {SAID_BY_CHECK.get(check.name, "") for check in checks if check.level in MARKS}
    # One after the other: they are many and short, and the sheet is one.
    cautions = [text for text in notes.further_cautions if text not in said]
    lines += [("!", f"Also: {' '.join(cautions)}")] if cautions else []
    passed = [check.name for check in checks if check.level == "pass"]
    return [*lines, ("\u2713", f"Passed: {', '.join(passed)}.")] if passed else lines


def source_words(hint: Hint | None, *lines: str) -> str:
    """The references that stand on the page, by their numbers.

    Parameters
    ----------
    hint : Hint or None
    *lines : str
        Other lines that cite a number in brackets.
    """
    cited = [*lines, *(line.source for line in hint.evidence)] if hint else list(lines)
    numbers = sorted({int(number) for line in cited for number in re.findall(r"\[(\d+)\]", line)} & REFERENCES.keys())
    listed = "; ".join(f"[{number}] {REFERENCES[number]}" for number in numbers)
    return f"{listed}." if listed else "none cited."
