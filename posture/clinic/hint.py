"""The hint: the posture beside the suspected side and the examination, and its JSON, `posture.hint/1`. A screening hint, no diagnosis."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Annotated, Literal

from pydantic import ConfigDict, Field

from posture.clinic.also_fits import also_fits
from posture.clinic.clips import cover_of, read_clips
from posture.clinic.cover import FIRST_MONTH
from posture.clinic.demand import effect_of
from posture.clinic.evidence import Line, PointsTo, Strength, list_evidence
from posture.clinic.examination import Examination
from posture.clinic.filmed import filmed_of
from posture.clinic.findings import Findings, Hypertropia
from posture.clinic.found import Found
from posture.clinic.held import LAST_TRUNK_MONTHS, MIN_HINT_MONTHS
from posture.clinic.muscles import MUSCLES, three_steps
from posture.clinic.outcome import Agreement, Outcome, OutcomeName, Suspected, agreement_of, outcome_of, raise_urgency
from posture.clinic.sentences import CAUTIONS, COVER_NOTES, EVIDENCE, NAMES_NECK, NEXT, OUTCOMES, SIDES, STEP_NOTES, cite
from posture.clinic.urgency import Speed, Urgency, neck_may_move, urgency_of
from posture.conventions import Side
from posture.summary.checks import NO_GRAVITY
from posture.summary.record import Record, Summary
from posture.summary.words import say_shift

HEAD_SHIFT_SHARE = 0.05
"""Of the shoulder width: 15 mm, the mean shift with a mild tight neck muscle [43], of shoulders some 30 cm wide (derived)."""

SAID_AS_EVIDENCE = frozenset(
    {"nil", "both", "torsion out", "torsion in", "torsion and side", "supine fall", "reversal", "surgery"}
)
"""Notes of the three steps that stand among the evidence or the cautions already."""


class EvidenceRecord(Record):
    """One line of evidence."""

    finding: str
    points_to: PointsTo
    strength: Strength
    text: str
    source: str


class AlsoFits(Record):
    """A cause that also fits, what separates it, and how fast it must be looked for."""

    cause: str
    separates: str
    speed: str


class Hint(Record):
    """The hint; `side` is that of the weak or of the tight muscle, `cautions` have the most important first."""

    schema_: Annotated[Literal["posture.hint/1"], Field(alias="schema")] = "posture.hint/1"
    outcome: OutcomeName
    side: Side | Literal["both"] | None
    suspected: Agreement
    urgency: Speed | None
    evidence: list[EvidenceRecord]
    also_fits: list[AlsoFits]
    next: list[str]
    cautions: list[str]

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)

    def to_json(self) -> str:
        """The JSON text, every key present, ending in a line break."""
        return self.model_dump_json(by_alias=True, indent=1) + "\n"


def hint_of(
    summaries: Sequence[Summary], suspected: Suspected, findings: Findings, examinations: Sequence[Examination] = ()
) -> Hint:
    """Lay the posture beside the suspected side and the examination.

    Parameters
    ----------
    summaries : sequence of Summary
        `conditions.covered_eye` tells which is which; one with both eyes open counts as the posture.
    suspected : {"right", "left", "both", "unknown"}
        Side of the muscle that is suspected to be weak.
    findings : Findings
        What is missing counts as not examined.
    examinations : sequence of Examination
        What was asked on film, where there is such a film; what was typed stands above it.

    Returns
    -------
    Hint
    """
    clips = read_clips(summaries, findings)
    chin_down = None if clips.posture is None else clips.posture.chin_sign < 0
    positions = {one.clip.sha256: one.conditions.position for one in summaries}
    filmed = filmed_of(findings, examinations, age_months=clips.age_months, positions=positions)
    found = Found(
        clips=clips,
        findings=findings,
        steps=three_steps(findings, chin_down=chin_down),
        range_=filmed.range_,
        cover=cover_of(clips, findings),
        filmed=filmed,
    )
    urgency = raise_urgency(found, urgency_of(findings))
    is_urgent = urgency.speed is not None
    lines = () if _is_too_young(found) else list_evidence(found)
    outcome = outcome_of(found, lines, urgency)
    causes = also_fits(found, is_urgent=is_urgent)
    cautions = [*_first_cautions(found, urgency), *_cautions_of_clips(found), *_cautions_of_hint(found, outcome, is_urgent)]
    return Hint(
        outcome=outcome.name,
        side=outcome.side,
        suspected=agreement_of(found, outcome, suspected),
        urgency=urgency.speed,
        evidence=[_record(line, is_urgent) for line in lines],
        also_fits=[AlsoFits(cause=cause.cause, separates=cause.separates, speed=cause.speed) for cause in causes],
        next=[NEXT[key].text for key in _next_of(found, outcome, urgency)],
        cautions=list(dict.fromkeys(cautions)),
    )


def hint_sentences(hint: Hint) -> list[str]:
    """Say the hint on a terminal: what is urgent before everything.

    Parameters
    ----------
    hint : Hint

    Returns
    -------
    list of str
        A line each.
    """
    urgent = [text for text in hint.cautions if text.startswith("Urgent")]
    asked = [text for text in hint.cautions if text == CAUTIONS["red flags"].text]
    rest = [text for text in hint.cautions if text not in (*urgent, *asked)]
    side = "neck" if hint.outcome == "neck-driven" else "eye"
    said = [*urgent, *asked, OUTCOMES[hint.outcome].text]
    said.append(SIDES[side].text.format(side=hint.side) if hint.side else SIDES["none"].text)
    said.append(SIDES[hint.suspected].text)
    for title, lines in (
        ("Evidence", [f"{line.points_to}, {line.strength}: {line.text} ({line.source})" for line in hint.evidence]),
        ("Also fits", [f"{row.cause}: {row.separates} ({row.speed})" for row in hint.also_fits]),
        ("Next", hint.next),
        ("Cautions", rest),
    ):
        if lines:
            said += [f"{title}:", *(f"- {line}" for line in lines)]
    return said


def _record(line: Line, is_urgent: bool) -> EvidenceRecord:
    """The line as it is printed: while urgent it says that it was entered, but names no neck cause."""
    if is_urgent and line.finding == "no vertical deviation":
        text = EVIDENCE["no vertical deviation, urgent"].text
        return EvidenceRecord(finding=line.finding, points_to="neither", strength="weak", text=text, source=line.source)
    if is_urgent and (line.points_to == "neck" or line.finding in NAMES_NECK):
        hidden = EVIDENCE["not stated"]
        source = cite(hidden.source)
        return EvidenceRecord(finding=line.finding, points_to="neither", strength="weak", text=hidden.text, source=source)
    return EvidenceRecord(
        finding=line.finding, points_to=line.points_to, strength=line.strength, text=line.text, source=line.source
    )


def _is_too_young(found: Found) -> bool:
    """Whether no hint is given for the age."""
    return found.clips.age_months is not None and found.clips.age_months < MIN_HINT_MONTHS


def _must_not_move(findings: Findings) -> bool:
    """Whether something is known with which no neck is moved, apart from an unanswered screen."""
    return findings.neck_safe is False or not neck_may_move(findings.model_copy(update={"neck_safe": True}))


def _first_cautions(found: Found, urgency: Urgency) -> Iterator[str]:
    """What is read before everything else."""
    if not urgency.asked:
        yield CAUTIONS["red flags"].text
    if urgency.speed is not None:
        yield CAUTIONS[urgency.speed].text.format(reasons="; ".join(urgency.reasons))
        yield CAUTIONS["not stated"].text
    if _must_not_move(found.findings):
        yield CAUTIONS["do not move"].text
    elif found.findings.neck_safe is None:
        yield CAUTIONS["neck screen"].text
    if _is_too_young(found):
        yield CAUTIONS["under 4 months"].text


def _cautions_of_clips(found: Found) -> Iterator[str]:
    """How the clips limit what may be said."""
    clips = found.clips
    if not found.sided:
        yield CAUTIONS["mirroring"].text
    for key, words in clips.cautions:
        yield CAUTIONS[key].text.format(**words)
    if clips.posture and clips.main and clips.main.conditions.position in NO_GRAVITY:
        yield CAUTIONS["gravity"].text
    elif clips.age_months is not None and MIN_HINT_MONTHS <= clips.age_months <= LAST_TRUNK_MONTHS:
        yield CAUTIONS["4 to 9 months"].text
    if clips.posture and not clips.posture.counts:
        yield CAUTIONS["turn"].text
    tried = found.findings.cover is not None or bool(clips.covered)
    if tried and clips.age_months is not None and clips.age_months < FIRST_MONTH:
        yield COVER_NOTES["too young"].text


def _cautions_of_hint(found: Found, outcome: Outcome, is_urgent: bool) -> Iterator[str]:
    """How far to trust the outcome; the last one names screening."""
    if not _is_too_young(found):
        for key in outcome.cautions:
            yield CAUTIONS[key].text
        findings, held = found.findings, found.clips.main.habitual if found.clips.main else None
        if _is_paradoxical(found):
            yield CAUTIONS["paradoxical"].text
        if findings.previous_eye_surgery:
            yield STEP_NOTES["surgery"].text
        if findings.trauma and findings.loss_of_consciousness:
            yield CAUTIONS["injury, both sides"].text
        shift = held.head_shift if held else None
        if shift and not is_urgent and abs(shift.value) >= HEAD_SHIFT_SHARE and not shift.low <= 0 <= shift.high:
            yield CAUTIONS["head shift"].text.format(shift=say_shift(shift))
        if "eye" in outcome.leans:
            yield CAUTIONS["not the only palsy"].text
        if "neck" in outcome.leans:
            yield CAUTIONS["age and eye"].text
        yield from (note.text for note in found.steps.notes if note.key not in SAID_AS_EVIDENCE)
        yield from _cautions_of_cover(found)
        yield from _cautions_of_demand(found)
        yield from (note.text for note in (found.range_.notes if found.range_ else ()) if not is_urgent)
        yield from _cautions_of_film(found)
    yield CAUTIONS["screening"].text


def _cautions_of_cover(found: Found) -> Iterator[str]:
    """What must be said with the cover test and was not said yet."""
    if found.cover is not None:
        said = {"too young", "drops"} | ({"stays has other reasons"} if found.cover.relief == "neither" else set())
        yield from (note.text for note in found.cover.notes if note.key not in said)


def _cautions_of_demand(found: Found) -> Iterator[str]:
    """What must be said with the comparisons under different demand."""
    entered = found.findings.glasses_effect
    for one in found.clips.demand:
        yield from (note.text for note in one.notes)
        filmed = effect_of(one)
        if one.demand == "correction" and entered is not None and filmed not in (None, entered):
            yield CAUTIONS["glasses not as entered"].text.format(effect="the same" if entered == "none" else entered)


def _cautions_of_film(found: Found) -> Iterator[str]:
    """What must be said with filmed movements; the head-tilt test names sides."""
    if found.filmed is not None:
        yield from found.filmed.notes
        yield from found.filmed.pair_notes if found.sided else ()


def _is_paradoxical(found: Found) -> bool:
    """Whether the tilt is clear and goes the other way than the one muscle that the examiner's figures leave would take it."""
    posture, named = found.clips.posture, found.steps.named
    if posture is None or not posture.sided or not posture.by_gravity or len(named) != 1:
        return False
    expected = 1 if MUSCLES[next(iter(named))].tilt_to == "right" else -1
    return posture.tilt_sign == -expected


def _next_of(found: Found, outcome: Outcome, urgency: Urgency) -> Iterator[str]:
    """What to do next, keys of `NEXT`, the most important first."""
    findings = found.findings
    must_not_move = _must_not_move(findings)
    if urgency.speed is not None:
        yield f"refer {urgency.speed}"
    if not urgency.asked:
        yield "ask red flags"
    if _is_too_young(found):
        yield "age"
        return
    if findings.neck_safe is None and not must_not_move:
        yield "neck screen"
    if "eye" in outcome.leans:
        yield "examine the neck, not moved" if must_not_move else "examine the neck"
    if "neck" in outcome.leans:
        yield "examine the eyes"
    if urgency.speed == "today":
        return
    yield from _next_films(found, outcome)
    if findings.onset is None:
        yield "onset"
    yield from _next_examination(found, must_not_move)


def _next_examination(found: Found, must_not_move: bool) -> Iterator[str]:
    """What the examination would still add."""
    findings, clips = found.findings, found.clips
    if not found.steps.nil and found.steps.decided < 3:
        yield "hypertropia, no tilt" if must_not_move else "hypertropia"
    if found.has_vertical_deviation and findings.torsion_deg is None:
        yield "torsion"
    if found.has_vertical_deviation and (findings.hypertropia_pd or Hypertropia()).supine is None:
        yield "supine"
    old_enough = clips.age_months is None or clips.age_months >= FIRST_MONTH
    if found.cover is None and old_enough and clips.posture and clips.posture.tilt_sign:
        yield "cover"
    is_sure = found.range_ is not None and found.range_.may_strength == found.range_.strength
    if not is_sure and not must_not_move:
        yield "neck range"


def _next_films(found: Found, outcome: Outcome) -> Iterator[str]:
    """What to film next."""
    clips = found.clips
    said = {key for key, _ in clips.cautions}
    if not found.sided:
        yield "settle mirroring"
    if "drops" in said:
        yield "drops"
    if {"two postures", "side changes"} & said:
        yield "longer film"
    elif clips.posture is None:
        yield "clip"
    elif not clips.posture.counts:
        yield "target"
    if outcome.name == "no-posture":
        yield "film again"
