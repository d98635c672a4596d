"""The evidence: what was found, what it points to, how strongly, why, and its source (clinical rules, section 7)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from posture.clinic.cover import CoverTest
from posture.clinic.demand import Comparison, effect_of
from posture.clinic.demand_words import say_comparison
from posture.clinic.findings import Findings
from posture.clinic.found import NOT_INTERPRETED, Found
from posture.clinic.held import Posture
from posture.clinic.muscles import MUSCLES
from posture.clinic.neck import NeckRange
from posture.clinic.sentences import EVIDENCE, cite
from posture.summary.checks import is_uneven
from posture.summary.record import Interval
from posture.summary.words import say_angle, say_interval

PointsTo = Literal["eye", "neck", "neither"]
Strength = Literal["weak", "moderate", "strong"]

RANK: dict[str, int] = {"weak": 1, "moderate": 2, "strong": 3}

REFUSALS = NOT_INTERPRETED | {"no tilt", "changes side"}
"""Notes of a cover test with which it says nothing at all."""

POOR_EYE_LOGMAR = 0.2
"""Difference between the eyes from which one counts as worse: two lines (common practice, no source)."""


@dataclass(frozen=True)
class Line:
    """One line of evidence. `filmed` tells a sign of the clip from the examiner's own; `first` what must be read before the others."""

    finding: str
    points_to: PointsTo
    strength: Strength
    text: str
    source: str
    filmed: bool = False
    first: bool = False


def list_evidence(found: Found) -> tuple[Line, ...]:
    """List the evidence, what must be read first at the top, then the strongest.

    Parameters
    ----------
    found : Found

    Returns
    -------
    tuple of Line
        What points to eye or neck before what points to neither; of equal lines the examiner's own before a filmed one.
    """
    lines = [
        *_of_skew(found),
        *_of_direction(found),
        *_of_vertical(found),
        *_of_cover(found),
        *(_of_demand(one) for one in found.clips.demand if _counts(one, found.findings)),
        *_of_neck(found),
        *_of_rest(found),
        *_of_clip(found),
    ]
    return tuple(
        sorted(lines, key=lambda line: (not line.first, line.points_to == "neither", -RANK[line.strength], line.filmed))
    )


def _line(key: str, points_to: PointsTo, strength: Strength, **words: object) -> Line:
    """A line from its sentence."""
    sentence = EVIDENCE[key]
    return Line(key, points_to, strength, sentence.text.format(**words), cite(sentence.source))


def _filmed(key: str, points_to: PointsTo, strength: Strength, **words: object) -> Line:
    """A line of what was filmed, which is never stronger than moderate."""
    return replace(_line(key, points_to, strength, **words), filmed=True)


def _first(line: Line) -> Line:
    """The same line, to be read before the others."""
    return replace(line, first=True)


def say_posture(posture: Posture) -> dict[str, str]:
    """Tilt, turn and chin in words, without a side while it is not known.

    Parameters
    ----------
    posture : Posture

    Returns
    -------
    dict
        With the keys tilt, turn and chin.
    """

    def say(name: str, angle: Interval) -> str:
        sided = posture.sided or name == "chin"
        words = (
            f"{say_angle(name, angle)}, {say_interval(name, angle)}"
            if sided
            else f"{angle.value:.0f} degrees, between {angle.low:.0f} and {angle.high:.0f}"
        )
        return f"{words}, on the shoulder line" if name == "tilt" and posture.on_trunk else words

    tilt = say("tilt", posture.tilt) if posture.tilt else "not given"
    return {"tilt": f"tilt {tilt}", "turn": f"face {say('turn', posture.turn)}", "chin": say("chin", posture.chin)}


def _of_skew(found: Found) -> Iterator[Line]:
    """What points to skew is read before everything else."""
    if "supine" in found.steps.skew:
        yield _first(_line("deviation falls when lying", "neither", "strong"))
    if "torsion" in found.steps.skew:
        yield _first(_line("higher eye turned inwards", "neither", "moderate"))


def _of_direction(found: Found) -> Iterator[Line]:
    """How tilt, turn and chin go together, as far as they are evidence."""
    posture = found.clips.posture
    if posture is None:
        return
    words = say_posture(posture)
    if posture.direction == "same":
        # Against the pull of gravity only: lying or held, a tilt is no answer of the eyes.
        if posture.by_gravity and posture.chin_sign < 0:
            yield _filmed("tilt and turn to the same side, chin down", "eye", "moderate", **words)
        elif posture.by_gravity:
            yield _filmed("tilt and turn to the same side", "eye", "weak", **words)
    elif posture.direction == "opposite":
        yield from _of_opposite(found, posture, words)
    elif posture.is_pure_turn:
        yield _filmed("pure turn", "eye", "weak", **words)
    elif posture.tilt_sign and posture.counts:
        yield _filmed("pure tilt", "neither", "weak", **words)
    elif posture.tilt_sign:
        yield _filmed("tilt, turn not evidence", "neither", "weak", **words)
    elif posture.chin_sign:
        yield _filmed("chin down alone" if posture.chin_sign < 0 else "chin up alone", "neither", "weak", **words)


def _of_opposite(found: Found, posture: Posture, words: dict[str, str]) -> Iterator[Line]:
    """Tilt and turn to opposite sides: subluxation first, then the eye with the chin up, then the neck."""
    if found.is_recent_or_painful:
        key = "tilt and turn to opposite sides, with pain, injury or recent onset"
        yield _first(_filmed(key, "neither", "moderate"))
    elif posture.chin_sign > 0:
        yield _filmed("tilt and turn to opposite sides, chin up", "eye", "weak", **words)
    elif found.range_matches and found.findings.onset == "infancy":
        yield _filmed("tilt and turn to opposite sides, neck range short", "neck", "moderate", **words)
    else:
        yield _filmed("tilt and turn to opposite sides", "neck", "weak", **words)


def _of_vertical(found: Found) -> Iterator[Line]:
    """Hypertropia by the three steps, torsion, and the signs of both sides."""
    steps = found.steps
    if steps.nil:
        yield _line("no vertical deviation", "neck", "weak")
    elif steps.named and steps.decided >= 2:
        matches = bool(steps.torsion_matches)
        strength: Strength = "strong" if steps.decided == 3 or matches else "moderate"
        if not steps.method_ok:
            strength = "moderate" if strength == "strong" else "weak"
        key = "three steps with torsion" if matches else "three steps"
        yield _line(key, "eye", strength, decided=steps.decided, muscles=say_muscles(steps.named, found.sided))
    elif found.has_vertical_deviation:
        yield _line("vertical deviation, no muscle named", "eye", "weak", decided=steps.decided)
    if steps.torsion == "higher eye out":
        yield _line("torsion", "eye", "weak")
    if steps.both_possible:
        strength = "moderate" if found.may_be_both else "weak"
        yield _line("signs of both sides", "eye", strength, signs=", ".join(steps.both_sides))


def say_muscles(names: frozenset[str], sided: bool) -> str:
    """Muscles in words, in an order that does not depend on their sides.

    Parameters
    ----------
    names : frozenset of str
        Keys of `MUSCLES`.
    sided : bool
        Whether sides may be named.
    """
    muscles = sorted((MUSCLES[name] for name in names), key=lambda muscle: (-len(muscle.kind), muscle.kind))
    return " or ".join(dict.fromkeys(f"the {muscle.name if sided else muscle.kind}" for muscle in muscles))


def _of_cover(found: Found) -> Iterator[Line]:
    """The cover test, in its four words."""
    test = found.cover
    if test is None:
        return
    falls = any(fall is not None and fall.says == "falls" for fall in (test.right, test.left))
    refused = test.relief is None and any(note.key in REFUSALS for note in test.notes)
    if test.relief == "either eye":
        yield _filmed("relieved by either eye", "eye", "moderate")
    elif test.relief in ("right only", "left only"):
        yield _filmed("relieved under one eye only", "eye", "moderate", relief=test.relief)
    elif test.relief == "neither":
        yield _filmed("relieved by neither eye", "neck", "weak")
    elif falls and not refused:
        # Weak, so that a second cover that says nothing never takes anything away from the first.
        yield _filmed("relieved under one cover, the other open", "eye", "weak")
    elif test.relief == "too short to say":
        yield _filmed("cover too short to say", "neither", "weak")
    elif not refused:
        yield _filmed("cover not clear", "neither", "weak", words=_say_covers(test))


def _say_covers(test: CoverTest) -> str:
    """What each cover did, in an order that does not depend on sides."""
    return ", ".join(sorted(fall.says if fall else "not done" for fall in (test.right, test.left)))


def _counts(comparison: Comparison, findings: Findings) -> bool:
    """Whether a comparison is evidence: what was entered of the glasses stands above what was filmed."""
    return comparison.has_verdict and not (comparison.demand == "correction" and findings.glasses_effect is not None)


def _of_demand(comparison: Comparison) -> Line:
    """Clips under different demand beside each other; they point to neither side."""
    figures = say_comparison(comparison)
    if comparison.demand == "attention" and effect_of(comparison) == "more":
        return _filmed("larger when looking hard", "neither", "weak", figures=figures)
    if comparison.demand == "correction":
        key = "glasses, as filmed" if comparison.is_shown else "glasses, alike as filmed"
        return _filmed(key, "neither", "weak", figures=figures)
    key = "differs under other demand" if comparison.is_shown else "alike under other demand"
    return _filmed(key, "neither", "weak", figures=figures)


def _of_neck(found: Found) -> Iterator[Line]:
    """Neck range, band or mass."""
    neck = found.range_
    if neck is not None and found.range_is_short and neck.strength and neck.tight:
        if found.range_contradicts:
            yield replace(_line("neck range of the other side", "neck", "weak"), filmed=neck.filmed)
        else:
            of_side = f" of the {neck.tight}" if found.sided else ""
            line = _line("neck range", "neck", neck.strength, of_side=of_side, figures=_range_figures(neck))
            yield replace(line, filmed=neck.filmed)
    elif neck is not None and neck.may_tight and found.range_may_weigh:
        # It keeps an outcome from being surer (`posture.clinic.outcome`), so it must be seen.
        of_side = f" of the {neck.may_tight}" if found.sided else ""
        line = _line("neck range, not sure", "neck", "weak", of_side=of_side, figures=_range_figures(neck))
        yield replace(line, filmed=neck.filmed)
    elif neck is not None and neck.is_even:
        yield replace(_line("neck range even", "neither", "weak"), filmed=neck.filmed)
    if found.has_band:
        of_side = f" of the {found.findings.neck_band_or_mass}" if found.sided else ""
        yield _line("band or mass", "neck", "moderate", of_side=of_side)


def _range_figures(neck: NeckRange) -> str:
    """By how much the two directions are short."""
    figures = {"tilt": neck.tilt_difference_deg, "turn": neck.turn_difference_deg}
    return ", ".join(f"{name} by {abs(value):.0f} degrees" for name, value in figures.items() if value is not None)


def _of_rest(found: Found) -> Iterator[Line]:
    """What decides nothing on its own but must not be hidden."""
    findings = found.findings
    if findings.asleep:
        yield _line("gone asleep" if findings.asleep == "goes" else "stays asleep", "neither", "weak")
    if findings.lying_awake:
        yield _line("gone lying awake" if findings.lying_awake == "goes" else "stays lying awake", "neither", "weak")
    if findings.nystagmus in ("old", "new", "latent"):
        yield _line("nystagmus", "neither", "weak", kind=findings.nystagmus)
    if findings.glasses_effect in ("less", "more"):
        yield _line("glasses", "neither", "weak", effect=findings.glasses_effect)
    acuity = findings.va_logmar
    if acuity and acuity.right is not None and acuity.left is not None:
        worse = abs(acuity.right - acuity.left)
        # Acuity is typed in tenths; a sum of them must not fall short by a rounding error.
        if worse >= POOR_EYE_LOGMAR - 1e-9:
            yield _line("one poor eye", "neither", "weak", lines=f"{10 * worse:.0f}")


def _of_clip(found: Found) -> Iterator[Line]:
    """What else was seen in the clip."""
    main, rhythm = found.clips.main, found.clips.rhythm
    if rhythm:
        yield _first(_filmed("rhythm", "neither", "weak", hz=f"{rhythm.hz:.1f}", seconds=f"{rhythm.seconds:.0f}"))
    if main and main.symmetry and is_uneven(main.symmetry):
        yield _filmed("facial asymmetry", "neither", "weak")
