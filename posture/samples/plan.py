"""What is true of each sample clip, as a whole and at every frame."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from types import MappingProxyType
from typing import Literal

import numpy as np

from posture.conventions import Side
from posture.samples.child import CHILDREN, ChildLook
from posture.samples.holds import Asked, asked_spells
from posture.samples.motion import Hold, Motion, Stay, follow_holds
from posture.samples.plans import COVERED_MIN, PLANS, Plan

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
        Invented circumstances, by the names of the summary: ``age_months``, ``target``, ``camera_height``, ``correction``,
        ``covered_eye``, ``covered_minutes`` where an eye is covered, ``position``.
    postures : tuple of HeldPosture
        One, two for the child with two postures, none where too little was held or movements were asked for.
    steady_s : float
        Time in which the child holds still, looks away included.
    asked : tuple of Asked
        The spells in which a movement was asked for or made by the examiner, in their order; each is
        ``(movement, start_s, end_s)``. Empty where the child did as it liked.
    passive : bool
        Whether an examiner moved the head in them.
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
    asked: tuple[Asked, ...]
    passive: bool = False

    @property
    def habitual(self) -> HeldPosture | None:
        """The one habitual posture; None where there are two or none."""
        return self.postures[0] if len(self.postures) == 1 else None


SAMPLE_NAMES: tuple[str, ...] = tuple(PLANS)
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
    asked = asked_spells(plan.holds)
    return SampleInfo(
        name=name,
        description=plan.description,
        duration_s=plan.duration_s,
        rate_hz=RATE_HZ,
        width_px=WIDTH_PX,
        height_px=HEIGHT_PX,
        focal_px=FOCAL_PX,
        mirrored="no",
        conditions=MappingProxyType(_conditions(plan)),
        postures=() if plan.stay or asked else _held_postures(motion, plan.two_postures),
        steady_s=float(motion.steady.sum() / RATE_HZ),
        asked=asked,
        passive=plan.passive,
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
    plan = _plan(name)
    return replace(CHILDREN[plan.child], breadth=plan.breadth)


def sample_covered_eye(name: str) -> Side | None:
    """Tell which eye of the child, its own right or left, is covered on a sample clip.

    Parameters
    ----------
    name : str

    Returns
    -------
    {'right', 'left'} or None

    Raises
    ------
    ValueError
        If there is no sample of this name.
    """
    return _plan(name).covered_eye


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
    plan = PLANS[name]
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


def _conditions(plan: Plan) -> dict[str, str | int]:
    """Invented circumstances of a sample, by the names of the summary."""
    conditions: dict[str, str | int] = {
        "age_months": plan.age_months, "target": plan.target, "camera_height": "eye level", "correction": "none",
        "covered_eye": plan.covered_eye or "none", "position": "sitting",
    }  # fmt: skip
    if plan.covered_eye:
        conditions["covered_minutes"] = COVERED_MIN
    return conditions


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


def _plan(name: str) -> Plan:
    """The plan of a sample, or an error that lists the names."""
    try:
        return PLANS[name]
    except KeyError:
        raise ValueError(f"Expected the name of a sample; got '{name}'. Use one of: {', '.join(SAMPLE_NAMES)}.") from None
