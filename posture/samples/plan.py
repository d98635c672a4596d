"""The five sample clips: who is on them, what the child does, and what is true of each as a whole."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import cycle
from types import MappingProxyType
from typing import Literal

import numpy as np

from posture.samples.child import CHILDREN, ChildLook
from posture.samples.motion import Hold, Motion, Stay, follow_holds

WIDTH_PX, HEIGHT_PX = 854, 480
RATE_HZ = 15.0
FOCAL_PX = 769.0
"""0.9 of the width, as of a webcam; the camera is level and its axis goes through the middle of the picture."""


@dataclass(frozen=True)
class HeldPosture:
    """A posture of the truth: medians over the frames in which the child holds still.

    Attributes
    ----------
    tilt_deg, turn_deg, chin_deg : float
        Turn and chin against the line of sight.
    share : float
        Of the frames in which the child holds still.
    """

    tilt_deg: float
    turn_deg: float
    chin_deg: float
    share: float


@dataclass(frozen=True)
class SampleInfo:
    """What is known of a sample clip.

    Attributes
    ----------
    name : str
    description : str
        One sentence, to be shown to people.
    duration_s, rate_hz : float
    width_px, height_px : int
    focal_px : float
    mirrored : {'no'}
    conditions : mapping
        Invented circumstances, by the names of the summary: ``age_months``, ``target``, ``camera_height``, ``position``.
    postures : tuple of HeldPosture
        One, two for the child with two postures, none where too little was held.
    steady_s : float
        Time in which the child holds still, looks away included.
    """

    name: str
    description: str
    duration_s: float
    rate_hz: float
    width_px: int
    height_px: int
    focal_px: float
    mirrored: Literal["no"]
    conditions: Mapping[str, str | int]
    postures: tuple[HeldPosture, ...]
    steady_s: float

    @property
    def habitual(self) -> HeldPosture | None:
        """The one habitual posture; None where there are two or none."""
        return self.postures[0] if len(self.postures) == 1 else None


@dataclass(frozen=True)
class _Plan:
    """A sample before it is drawn."""

    description: str
    child: str
    duration_s: float
    seed: int
    age_months: int
    holds: Callable[[np.random.Generator], Iterator[Hold]]
    stay: Stay | None = None
    two_postures: bool = False


def _about(rng: np.random.Generator, centre: tuple[float, float, float], scatter: float, least_s: float, most_s: float) -> Hold:
    """A hold scattered about a posture."""
    tilt, turn, chin = np.array(centre) + rng.normal(size=3) * [scatter, 1.2 * scatter, scatter]
    return Hold(float(rng.uniform(least_s, most_s)), tilt, turn, chin)


def _away(rng: np.random.Generator, tilt_deg: float) -> Hold:
    """A look down at the blocks or to one side, keeping part of the tilt."""
    tilt = 0.7 * tilt_deg + rng.normal() * 1.5
    if rng.random() < 0.6:
        return Hold(
            float(rng.uniform(0.8, 1.6)), tilt, float(rng.uniform(-12, 12)), float(rng.uniform(-27, -20)), looks_away=True
        )
    side = float(rng.choice([-1.0, 1.0]))
    return Hold(
        float(rng.uniform(0.8, 1.4)), tilt, side * float(rng.uniform(22, 32)), float(rng.uniform(-6, 2)), looks_away=True
    )


def _steady_child(centre: tuple[float, float, float], looks_every: int) -> Callable[[np.random.Generator], Iterator[Hold]]:
    """Holds about one posture, with a look away now and then."""

    def holds(rng: np.random.Generator) -> Iterator[Hold]:
        count = 0
        while True:
            yield _about(rng, centre, 1.5, 1.2, 4.0)
            count += 1
            if count % looks_every == 0:
                yield _away(rng, centre[0])

    return holds


def _lively_child(rng: np.random.Generator) -> Iterator[Hold]:
    """Many short holds, straight on average, with wide looks at play."""
    # Signs in turn, so that a short clip is as straight as a long one.
    for side in cycle((1.0, -1.0)):
        size = abs(rng.normal()) * 2.2 + 0.4
        yield Hold(float(rng.uniform(0.8, 1.5)), side * size, float(rng.normal() * 5.0), float(rng.normal() * 3.0 - 1.0))
        if rng.random() < 0.45:
            yield _away(rng, -side * size)


def _child_of_two_postures(rng: np.random.Generator) -> Iterator[Hold]:
    """About eight seconds in one posture, then as long in the other."""
    for centre in cycle(((-10.0, -14.0, -2.0), (9.0, 15.0, -2.0))):
        held_s = 0.0
        while held_s < 6.2:
            hold = _about(rng, centre, 1.3, 1.4, 2.8)
            held_s += hold.duration_s + 0.5
            yield hold


_PLANS: dict[str, _Plan] = {
    "steady-left-tilt": _Plan(
        "A child who holds the head tilted to its own left, the face turned a little to the left and the chin slightly down.",
        "blue", 40.0, 105, 52, _steady_child((-14.0, -8.0, -6.0), looks_every=4),
    ),
    "straight-and-lively": _Plan(
        "A child who holds the head straight on average, but seldom still: many short moments, wide looks at play.",
        "yellow", 40.0, 128, 47, _lively_child,
    ),
    "right-tilt-left-turn": _Plan(
        "A child who holds the head tilted to its own right with the face turned to its left.",
        "green", 35.0, 119, 58, _steady_child((12.0, -15.0, -1.0), looks_every=5),
    ),
    "two-postures": _Plan(
        "A child who changes between two postures, each held for about eight seconds at a time.",
        "red", 48.0, 159, 55, _child_of_two_postures, two_postures=True,
    ),
    "too-short": _Plan(
        "A child who comes to the table, stays for about four seconds and leaves: too little to name a habitual posture.",
        "violet", 15.0, 505, 44, _steady_child((7.0, 4.0, -3.0), looks_every=99), stay=Stay(5.6, 9.4, walk_s=1.4),
    ),
}  # fmt: skip

SAMPLE_NAMES: tuple[str, ...] = tuple(_PLANS)
"""Names of the sample clips, without the ending of the file."""


def sample_info(name: str) -> SampleInfo:
    """Describe a sample clip.

    Parameters
    ----------
    name : str
        One of `SAMPLE_NAMES`.

    Returns
    -------
    SampleInfo

    Raises
    ------
    ValueError
        If there is no sample of this name.
    """
    plan = _plan(name)
    motion = sample_motion(name)
    return SampleInfo(
        name=name,
        description=plan.description,
        duration_s=plan.duration_s,
        rate_hz=RATE_HZ,
        width_px=WIDTH_PX,
        height_px=HEIGHT_PX,
        focal_px=FOCAL_PX,
        mirrored="no",
        conditions=MappingProxyType(
            {"age_months": plan.age_months, "target": "camera", "camera_height": "eye level", "position": "sitting"}
        ),
        postures=() if plan.stay else _held_postures(motion, plan.two_postures),
        steady_s=float(motion.steady.sum() / RATE_HZ),
    )


def sample_child(name: str) -> ChildLook:
    """Give the look of the child on a sample clip.

    Parameters
    ----------
    name : str

    Returns
    -------
    ChildLook

    Raises
    ------
    ValueError
        If there is no sample of this name.
    """
    return CHILDREN[_plan(name).child]


def sample_motion(name: str, duration_s: float | None = None) -> Motion:
    """Give posture, place and eyes at every frame of a sample clip.

    Parameters
    ----------
    name : str
    duration_s : float, optional
        Of the beginning that is wanted; the whole clip unless given.

    Returns
    -------
    Motion

    Raises
    ------
    ValueError
        If there is no sample of this name.
    """
    plan = _plan(name)
    return _motion(name, plan.duration_s if duration_s is None else min(duration_s, plan.duration_s))


@lru_cache(maxsize=16)
def _motion(name: str, duration_s: float) -> Motion:
    """The motion of a sample, worked out once."""
    plan = _PLANS[name]
    stay = plan.stay or Stay(0.0, plan.duration_s)
    # Two streams of chance, so that a shortened clip is the beginning of the whole one.
    schedule, rest = (np.random.default_rng([plan.seed, k]) for k in range(2))
    holds: list[Hold] = []
    reach_s = stay.from_s
    for hold in plan.holds(schedule):
        holds.append(hold)
        reach_s += hold.duration_s + 0.3
        if reach_s > plan.duration_s:
            break
    return follow_holds(holds, stay, RATE_HZ, duration_s, rest)


def _held_postures(motion: Motion, two: bool) -> tuple[HeldPosture, ...]:
    """Medians of the held frames, all together or apart by the side of the tilt."""
    held = motion.steady
    groups = [held & (motion.tilt_deg < 0), held & (motion.tilt_deg > 0)] if two else [held]
    return tuple(
        HeldPosture(
            tilt_deg=float(np.median(motion.tilt_deg[group])),
            turn_deg=float(np.median(motion.turn_deg[group])),
            chin_deg=float(np.median(motion.chin_deg[group])),
            share=float(group.sum() / held.sum()),
        )
        for group in groups
    )


def _plan(name: str) -> _Plan:
    """The plan of a sample, or an error that lists the names."""
    try:
        return _PLANS[name]
    except KeyError:
        raise ValueError(f"Expected the name of a sample; got '{name}'. Use one of: {', '.join(SAMPLE_NAMES)}.") from None
