"""What the clips tell the hint: which one counts, and which may be laid beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from posture.clinic.cover import NO_DROPS
from posture.clinic.findings import Findings
from posture.clinic.held import MIN_HINT_MONTHS, Posture, posture_of
from posture.summary.record import Conditions, RhythmRecord, Summary

Caution = tuple[str, dict[str, str]]
"""Key of a caution, and the words that are filled in."""

MUST_BE_EQUAL = ("position", "target", "correction", "camera_height")
"""Where one of these differs, two clips are not compared."""

MAY_DIFFER = ("target_distance_m", "filmed_on", "age_months", "attention", "examiner")
"""Where one of these differs, it is said beside the comparison."""


@dataclass(frozen=True)
class Clips:
    """The clip that counts, the covered ones that may be laid beside it, and what must be said (key of the caution, words)."""

    main: Summary | None
    posture: Posture | None
    covered: tuple[Summary, ...]
    age_months: int | None
    rhythm: RhythmRecord | None
    cautions: tuple[Caution, ...]


def read_clips(summaries: Sequence[Summary], findings: Findings) -> Clips:
    """Choose the clip that counts and say what the others are good for.

    Parameters
    ----------
    summaries : sequence of Summary
        `conditions.covered_eye` tells which is which; the first with both eyes open and a habitual posture counts.
    findings : Findings
        For the age, where it is younger than the clips say.

    Returns
    -------
    Clips
    """
    opened = [s for s in summaries if s.conditions.covered_eye in (None, "none")]
    usable = [s for s in opened if not _is_under_drops(s)]
    with_posture = [s for s in usable if _has_posture(s)]
    # An old film of an infant must not stand in the way of a hint from a later one.
    main = next(iter([s for s in with_posture if not _is_too_young(s)] or with_posture or usable), None)
    age = _least(findings.age_months, main.conditions.age_months if main else None)
    said: list[Caution] = []
    if not opened:
        said.append(("no open clip", {}))
    if any(_is_under_drops(s) for s in summaries):
        said.append(("drops", {}))
    like = [main] if main else []
    covered = []
    for other in (s for s in summaries if main and s is not main and not _is_under_drops(s)):
        cautions, comparable = _compare(main.conditions, other) if main else ([], False)
        said += cautions
        is_open = other.conditions.covered_eye in (None, "none")
        if comparable and is_open:
            # Of another day or age, a tilt to the other side is a change and not a second posture.
            like += [] if cautions else [other]
        elif comparable and other.habitual and other.sided and main and main.sided:
            covered.append(other)
        elif comparable:
            said.append(("cover not comparable", {"which": _which(other)}))
    posture = posture_of(main, age) if main else None
    if main and len(main.postures) == 2:
        said.append(("two postures", {}))
    elif _changes_side(like, age):
        said.append(("side changes", {}))
        posture = None
    elif main and posture is None:
        said.append(("no habitual posture", {}))
    rhythm = max((s.rhythm for s in summaries if s.rhythm), key=lambda seen: seen.seconds, default=None)
    return Clips(main, posture, tuple(covered), age, rhythm, tuple(said))


def _least(*ages: int | None) -> int | None:
    """The youngest of the ages that are known."""
    return min((age for age in ages if age is not None), default=None)


def _is_too_young(summary: Summary) -> bool:
    """Whether no hint is given for the age at which it was filmed."""
    return summary.conditions.age_months is not None and summary.conditions.age_months < MIN_HINT_MONTHS


def _has_posture(summary: Summary) -> bool:
    """Whether a posture was found habitual in it."""
    return summary.habitual is not None or summary.unsided is not None


def _is_under_drops(summary: Summary) -> bool:
    """Whether drops were given; any that are named count, as the program does not know drops."""
    drops = summary.conditions.drops
    return drops is not None and drops.strip().lower() not in NO_DROPS


def _compare(main: Conditions, other: Summary) -> tuple[list[Caution], bool]:
    """What differs in another clip, as cautions, and whether it may be compared."""
    known = {name: (getattr(main, name), getattr(other.conditions, name)) for name in MUST_BE_EQUAL + MAY_DIFFER}
    unlike = [name for name, (a, b) in known.items() if a is not None and b is not None and a != b]
    said, blocks = [], [name for name in unlike if name in MUST_BE_EQUAL]
    for key, names in (("position differs", blocks), ("conditions differ", [name for name in unlike if name in MAY_DIFFER])):
        if names:
            said.append((key, {"which": _which(other), "differences": ", ".join(_words(name) for name in names)}))
    return said, not blocks


def _which(summary: Summary) -> str:
    """Which clip it is, by the eye that was covered."""
    eye = summary.conditions.covered_eye
    if not summary.sided and eye in ("right", "left"):
        return "one eye covered"
    return f"{eye} eye covered" if eye in ("right", "left") else "both eyes open"


def _words(name: str) -> str:
    """A key of the conditions as words."""
    return {"target_distance_m": "distance of the target", "filmed_on": "date", "age_months": "age"}.get(
        name, name.replace("_", " ")
    )


def _changes_side(like: Sequence[Summary], age_months: int | None) -> bool:
    """Whether clips under like conditions show a clear tilt to either side."""
    postures = [posture_of(s, age_months) for s in like]
    return {-1, 1} <= {p.tilt_sign for p in postures if p and p.sided}
