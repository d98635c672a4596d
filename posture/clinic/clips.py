"""What the clips tell the hint: which one counts, and which may be laid beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from posture.clinic.cover import NO_DROPS, CoverTest, cover_test_of
from posture.clinic.demand import Comparison, demand_of
from posture.clinic.findings import Findings
from posture.clinic.held import MIN_HINT_MONTHS, Posture, posture_of
from posture.summary.record import RhythmRecord, Summary

Caution = tuple[str, dict[str, str]]
"""Key of a caution, and the words that are filled in."""

MUST_BE_EQUAL = ("position", "target", "correction", "camera_height")
"""Where one of these differs, two clips are not compared."""

MAY_DIFFER = ("target_distance_m", "filmed_on", "age_months", "attention", "examiner")
"""Where one of these differs, it is said beside the comparison."""


@dataclass(frozen=True)
class Clips:
    """The clip that counts, the covered ones that may be laid beside it, and what must be said (key of the caution, words).

    `demand` are the comparisons under different demand; `unsettled` whether mirroring is unknown in any of the clips.
    """

    main: Summary | None
    posture: Posture | None
    covered: tuple[Summary, ...]
    age_months: int | None
    rhythm: RhythmRecord | None
    cautions: tuple[Caution, ...]
    demand: tuple[Comparison, ...] = ()
    unsettled: bool = False


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
    demand = demand_of(summaries, findings.age_months)
    under_demand = {id(clip) for one in demand for clip in one.clips}
    like = [main] if main else []
    covered = []
    for other in (s for s in summaries if main and s is not main and not _is_under_drops(s) and not _is_asked_only(s)):
        cautions, comparable = _compare(main, other) if main else ([], False)
        is_open = other.conditions.covered_eye in (None, "none")
        if is_open and cautions and id(other) in under_demand:
            continue  # Laid beside another as such, with what differs; no second clip of the same posture.
        said += cautions
        if comparable and is_open:
            # Of another day or age, a tilt to the other side is a change and not a second posture.
            like += [] if cautions else [other]
        elif comparable and other.habitual and other.sided and main and main.sided:
            covered.append(other)
        elif comparable:
            said.append(("cover not comparable", {"which": _which(other, main)}))
    posture, cautions = _posture_of(main, like, age)
    said += cautions
    rhythm = max((s.rhythm for s in summaries if s.rhythm), key=lambda seen: seen.seconds, default=None)
    return Clips(main, posture, tuple(covered), age, rhythm, tuple(said), demand, not all(s.sided for s in summaries))


def cover_of(clips: Clips, findings: Findings) -> CoverTest | None:
    """The cover test of the clips that may be laid beside the one that counts.

    Parameters
    ----------
    clips : Clips
    findings : Findings
        A tilt typed there stands above a clip of the same eye.

    Returns
    -------
    CoverTest or None
        None where no posture counts, or none was filmed or typed under a cover.
    """
    return cover_test_of(findings, [clips.main, *clips.covered]) if clips.main and clips.posture else None


def _posture_of(main: Summary | None, like: Sequence[Summary], age: int | None) -> tuple[Posture | None, list[Caution]]:
    """The posture that counts, and why there is none."""
    posture = posture_of(main, age) if main else None
    if main and len(main.postures) == 2:
        return posture, [("two postures", {})]
    if _changes_side(like, age):
        return None, [("side changes", {})]
    return posture, [("no habitual posture", {})] if main and posture is None else []


def _least(*ages: int | None) -> int | None:
    """The youngest of the ages that are known."""
    return min((age for age in ages if age is not None), default=None)


def _is_too_young(summary: Summary) -> bool:
    """Whether no hint is given for the age at which it was filmed."""
    return summary.conditions.age_months is not None and summary.conditions.age_months < MIN_HINT_MONTHS


def _has_posture(summary: Summary) -> bool:
    """Whether a posture was found habitual in it."""
    return summary.habitual is not None or summary.unsided is not None


def _is_asked_only(summary: Summary) -> bool:
    """Whether movements were asked in it and it shows no posture beside them: there is nothing to compare."""
    return "asked" in summary.made_with.settings and not _has_posture(summary) and not summary.postures


def _is_under_drops(summary: Summary) -> bool:
    """Whether drops were given; any that are named count, as the program does not know drops."""
    drops = summary.conditions.drops
    return drops is not None and drops.strip().lower() not in NO_DROPS


def _compare(main: Summary, other: Summary) -> tuple[list[Caution], bool]:
    """What differs in another clip, as cautions, and whether it may be compared."""
    known = {name: (getattr(main.conditions, name), getattr(other.conditions, name)) for name in MUST_BE_EQUAL + MAY_DIFFER}
    unlike = [name for name, (a, b) in known.items() if a is not None and b is not None and a != b]
    said, blocks = [], [name for name in unlike if name in MUST_BE_EQUAL]
    for key, names in (("position differs", blocks), ("conditions differ", [name for name in unlike if name in MAY_DIFFER])):
        if names:
            said.append((key, {"which": _which(other, main), "differences": ", ".join(_words(name) for name in names)}))
    return said, not blocks


def _which(summary: Summary, main: Summary | None) -> str:
    """Which clip it is, by the eye that was covered; named only where neither clip lacks its sides."""
    eye = summary.conditions.covered_eye
    if not (summary.sided and main and main.sided) and eye in ("right", "left"):
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
