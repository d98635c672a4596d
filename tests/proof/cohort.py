"""How often the hint says what, in a virtual cohort: ``python -m tests.proof.cohort [--children N] [--seed N]``.

Simulated, not measured: children are drawn from the published mixture of causes (`tests.proof.cohort_causes`, every number with its
reference), filmed with the error of this program and the natural variation of a posture, and examined to three depths. The figures tell
how the rules behave on such a mixture, not how accurate the program is in a clinic.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import binomtest

from posture.clinic.hint import Hint, hint_of
from posture.summary.record import Summary
from tests.clinic.histories import film_of, findings_of
from tests.clinic.mirror import Json
from tests.proof.cohort_causes import CAUSES, Cause
from tests.proof.cohort_child import Child, Rng

CHILDREN = 2000
SEED = 2026

NATURAL_SD_DEG = {"tilt": 1.4, "turn": 2.3, "chin": 2.1}
"""A natural posture from one week to the next, adults sitting [74]."""

ERROR_SD_DEG = {"tilt": 1.0, "turn": 1.5, "chin": 2.0}
"""Error of this program on rendered heads, about; the chin has a zero."""

SAMPLING_SD_DEG = 1.0
"""Spread of the middle of the spells of one clip (ASSUMED), part of the interval."""

TRUNK_SD_DEG = 2.0
"""Error of the shoulder line (ASSUMED)."""

RANGE_SD_DEG = (2.5, 1.5)
"""One end of the neck range, tilt and turn: an examiner-set head is good to 5 and 3 degrees at 95 % [106]."""

PRISM_SD = 0.7
TORSION_SD_DEG = 1.5
"""Of one reading (ASSUMED: people without a deviation then show 0 to 2 PD; torsion repeats within 7 degrees [21])."""

FREE_PLAY = {"turn": (0.0, 15.0), "chin": (-20.0, 8.0)}
"""What play adds to turn and chin, mean and SD: a child at blocks looks down by 20 to 40 degrees (common practice)."""

ON_TARGET, SIDED, TRUNK_SEEN = 0.6, 0.9, 0.7
"""Shares of clips on a target, with mirroring known, with both shoulders seen (ASSUMED)."""

PARTS = ("red_flags", "onset", "hypertropia", "torsion", "supine", "range", "cover")
DEPTHS: dict[str, dict[str, float]] = {
    "film alone": dict.fromkeys(PARTS, 0.0),
    "usual": dict(zip(PARTS, (0.85, 0.9, 0.8, 0.5, 0.3, 0.6, 0.3), strict=True)),
    "everything": dict.fromkeys(PARTS, 1.0),
}
"""Share of the children in whom each part of the examination was done (ASSUMED)."""

OUTCOMES = ("eye-driven", "neck-driven", "mixed", "no-posture", "insufficient")
SIDES = {1: "right", -1: "left", 0: "both", None: None}


@dataclass(frozen=True)
class Seen:
    """A child of the cohort and what the hint said; `is_calm` without a red flag or a new onset."""

    cause: Cause
    true_side: str | None
    is_calm: bool
    hint: Hint


def run_cohort(children: int, seed: int, depth: str) -> list[Seen]:
    """Draw children, film and examine them, and take their hints.

    Parameters
    ----------
    children : int
    seed : int
    depth : str
        A key of `DEPTHS`. The same seed gives the same children and films at every depth.

    Returns
    -------
    list of Seen
    """
    shares = np.array([cause.share for cause in CAUSES])
    seen = []
    for k in range(children):
        rng = np.random.default_rng([seed, k])
        cause = CAUSES[int(rng.choice(len(CAUSES), p=shares / shares.sum()))]
        child = cause.draw(rng, 1 if rng.random() < 0.5 else -1)
        films = [film(rng, child)]
        hint = hint_of(films, "unknown", findings_of(examine(rng, child, DEPTHS[depth])))
        is_calm = not child.flags and child.onset != "new"
        seen.append(Seen(cause, SIDES[child.muscle_side], is_calm, hint))
    return seen


def film(rng: Rng, child: Child) -> Summary:
    """The record of a clip of this child, with natural variation, the error of the program and an interval to match."""
    on_target = rng.random() < ON_TARGET
    angles: Json = {}
    for name in ("tilt", "turn", "chin"):
        value = getattr(child, name) + rng.normal(0, NATURAL_SD_DEG[name]) + rng.normal(0, ERROR_SD_DEG[name])
        if not on_target and name in FREE_PLAY:
            value += rng.normal(*FREE_PLAY[name])
        angles[name] = [float(value), half_width(ERROR_SD_DEG[name])]
    conditions: Json = {
        "age": int(rng.integers(12, 144)),
        "target": "camera" if on_target else "play",
        "sided": bool(rng.random() < SIDED),
    }
    if child.swaps:
        tilt, turn = angles["tilt"], angles["turn"]
        postures = [{"share": 0.48, "tilt": [s * tilt[0], tilt[1]], "turn": [s * turn[0], turn[1]]} for s in (1, -1)]
        return film_of(postures=postures, **conditions)
    trunk = [angles["tilt"][0] + child.lifted_trunk + rng.normal(0, TRUNK_SD_DEG), half_width(TRUNK_SD_DEG)]
    return film_of(trunk=trunk if rng.random() < TRUNK_SEEN else None, **angles, **conditions)


def half_width(error_sd_deg: float) -> float:
    """Half of a 95 % interval for the error and the sampling."""
    return float(1.96 * np.hypot(error_sd_deg, SAMPLING_SD_DEG))


def examine(rng: Rng, child: Child, depth: dict[str, float]) -> Json:
    """What was found, in the short form of case histories; no neck is moved where the screen forbids it."""
    done = {part: bool(rng.random() < share) for part, share in depth.items()}
    found: Json = {}
    if done["red_flags"]:
        found["red_flags"] = list(child.flags)
    if done["onset"]:
        found["onset"] = child.onset
    safe = done["red_flags"] and done["onset"] and not child.flags and child.onset != "new" and not child.unsafe_neck
    if done["red_flags"]:
        found["neck_safe"] = safe
    if done["hypertropia"]:
        read = {name: float(round(value + rng.normal(0, PRISM_SD))) for name, value in child.hypertropia.items()}
        if not safe:
            read = {name: value for name, value in read.items() if not name.startswith("tilt")}
        if done["supine"]:
            read["supine"] = float(round(child.supine_share * child.hypertropia["primary"] + rng.normal(0, PRISM_SD)))
        found |= {"hypertropia_pd": read, "hypertropia_method": "alternate prism cover"}
        found["v_pattern_pd"] = float(round(child.v_pattern + rng.normal(0, 3 * PRISM_SD)))
    if done["torsion"]:
        right, left = (float(round(value + rng.normal(0, TORSION_SD_DEG))) for value in child.torsion)
        found["torsion_deg"] = {"right_eye": right, "left_eye": left}
    if done["range"] and safe:
        found |= neck_of(rng, child)
    if done["cover"]:
        found["cover"] = {
            eye: covered(rng, child, relief) for eye, relief in zip(("right_eye", "left_eye"), child.relief, strict=True)
        }
    if child.nystagmus != "none" and done["onset"]:
        found["nystagmus"] = child.nystagmus
    return found


def neck_of(rng: Rng, child: Child) -> Json:
    """The neck range to each side, 60 and 90 degrees where it is free, and a band."""
    tilt, turn = child.deficit
    ends = {
        "tilt_right": 60 - max(-tilt, 0) + rng.normal(0, RANGE_SD_DEG[0]),
        "tilt_left": 60 - max(tilt, 0) + rng.normal(0, RANGE_SD_DEG[0]),
        "turn_right": 90 - max(turn, 0) + rng.normal(0, RANGE_SD_DEG[1]),
        "turn_left": 90 - max(-turn, 0) + rng.normal(0, RANGE_SD_DEG[1]),
    }
    band = {1.0: "right", -1.0: "left"}.get(child.band, "none")
    read = {name: float(np.clip(round(value), 0, 180)) for name, value in ends.items()}
    return {"neck_range_deg": {**read, "passive": True}, "neck_band_or_mass": band}


def covered(rng: Rng, child: Child, relief: bool) -> Json:
    """The tilt under a cover of 30 minutes: a fifth of it left where it is relieved (ASSUMED)."""
    tilt = child.tilt * (0.2 if relief else 1.0) + rng.normal(0, ERROR_SD_DEG["tilt"])
    return {"tilt": [float(tilt), half_width(ERROR_SD_DEG["tilt"])], "minutes": 30.0}


def say_share(hits: int, of: int) -> str:
    """A share in per cent with its 95 % interval (Wilson)."""
    if of == 0:
        return "-"
    ends = binomtest(hits, of).proportion_ci(method="wilson")
    return f"{100 * hits / of:.1f} ({100 * ends.low:.1f}-{100 * ends.high:.1f})"


def is_wrong(one: Seen) -> bool:
    """A side that is not that of the muscle: the other one, one of two, or any where no muscle is weak or tight."""
    return one.hint.side is not None and one.hint.side != one.true_side


def is_urgent(one: Seen) -> bool:
    """Whether the hint was urgent."""
    return one.hint.urgency is not None


def print_causes(seen: Sequence[Seen], depth: str) -> None:
    """A table of what the hint said for each cause."""
    print(f"simulated: {len(seen)} children, examination: {depth}; per cent (95 % interval, Wilson)")
    print(f"{'cause':32} {'n':>5} " + " ".join(f"{name:>18}" for name in (*OUTCOMES, "urgent", "side right", "side wrong")))
    for name in [*(cause.name for cause in CAUSES), "all"]:
        rows = [one for one in seen if name in (one.cause.name, "all")]
        outcomes: Counter[str] = Counter(one.hint.outcome for one in rows)
        counts = [outcomes[outcome] for outcome in OUTCOMES]
        counts.append(sum(map(is_urgent, rows)))
        counts.append(sum(one.hint.side is not None and not is_wrong(one) for one in rows))
        counts.append(sum(is_wrong(one) for one in rows))
        print(f"{name:32} {len(rows):5d} " + " ".join(f"{say_share(count, len(rows)):>18}" for count in counts))
    print()


def print_errors(seen: Sequence[Seen], depth: str) -> None:
    """What would do harm, over the whole mixture."""
    named = [one for one in seen if one.hint.side is not None]
    of_eye = [one for one in seen if one.cause.group in ("eye", "brain")]
    of_neck = [one for one in seen if one.cause.group == "neck"]
    brain = [one for one in seen if one.cause.group == "brain"]
    calm = [one for one in seen if one.is_calm]
    wrong = {
        "right for left": [one for one in named if {one.hint.side, one.true_side} == {"right", "left"}],
        "one side, though both": [one for one in named if one.hint.side != "both" and one.true_side == "both"],
        "both, though one side": [one for one in named if one.hint.side == "both" and one.true_side in ("right", "left")],
        "a side, though no muscle is weak or tight": [one for one in named if one.true_side is None],
    }
    rows = {
        "a side was named": say_share(len(named), len(seen)),
        "wrong side, of all children": say_share(sum(map(is_wrong, seen)), len(seen)),
        "wrong side, of the sides named": say_share(sum(map(is_wrong, named)), len(named)),
        **{f"- {name}": say_share(len(ones), len(named)) for name, ones in wrong.items()},
        "neck-driven, though of eye or brain": say_share(sum(one.hint.outcome == "neck-driven" for one in of_eye), len(of_eye)),
        "eye-driven, though of the neck": say_share(sum(one.hint.outcome == "eye-driven" for one in of_neck), len(of_neck)),
        "no posture, though of the brain": say_share(sum(one.hint.outcome == "no-posture" for one in brain), len(brain)),
        "urgent, of the brain": say_share(sum(map(is_urgent, brain)), len(brain)),
        "urgent, neither new nor with a red flag": say_share(sum(map(is_urgent, calm)), len(calm)),
    }
    print(f"simulated, examination: {depth}")
    for name, value in rows.items():
        print(f"  {name:46} {value}")
    print()


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--children", type=int, default=CHILDREN)
    parser.add_argument("--seed", type=int, default=SEED)
    options = parser.parse_args(arguments)
    cohorts = {depth: run_cohort(options.children, options.seed, depth) for depth in DEPTHS}
    print_causes(cohorts["usual"], "usual")
    print_causes(cohorts["everything"], "everything")
    for depth, seen in cohorts.items():
        print_errors(seen, depth)


if __name__ == "__main__":
    main()
