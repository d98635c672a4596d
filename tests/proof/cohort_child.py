"""A virtual child, and a weak muscle of one eye as published: which way, how far, and what an examiner would find.

Numbers in [ ] are references; ASSUMED stands where nothing was published. All is drawn for the right side and then multiplied by the
side, +1 right or -1 left, in the signs of `posture.conventions`. The table of muscles is written out here, so that an error in that of
the program is not repeated.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

Rng = np.random.Generator


@dataclass
class Child:
    """A child as it is: true posture in degrees, what an examination would find if it were done, and the side of its muscle.

    `deficit` is how much less the neck tilts to the left and turns to the right than the other way: + for a tight muscle of the right.
    `muscle_side` is +1, -1, 0 for both sides, None where no muscle is weak or tight.
    """

    tilt: float = 0.0
    turn: float = 0.0
    chin: float = 0.0
    swaps: bool = False
    lifted_trunk: float = 0.0
    hypertropia: dict[str, float] = field(default_factory=dict)
    supine_share: float = 1.0
    torsion: tuple[float, float] = (0.0, 0.0)
    v_pattern: float = 0.0
    deficit: tuple[float, float] = (0.0, 0.0)
    band: float = 0.0
    relief: tuple[bool, bool] = (False, False)
    onset: str = "childhood"
    flags: tuple[str, ...] = ()
    nystagmus: str = "none"
    unsafe_neck: bool = False
    muscle_side: int | None = None


GAZES = ("primary", "gaze_right", "gaze_left", "tilt_right", "tilt_left")

#                  higher  gaze  tilt | posture: tilt turn chin
MUSCLES = {
    "superior oblique": (1, -1, 1, -1, -1, -1),
    "inferior rectus": (1, 1, -1, 1, 1, -1),
    "inferior oblique": (-1, -1, -1, 1, -1, 1),
    "superior rectus": (-1, 1, 1, -1, 1, 1),
}
"""A weak muscle of the right: higher eye, gaze and tilt with more deviation, and the posture; + right or up (derived)."""

TYPES_FROM_BIRTH = {"tilt": 23, "tilt turn": 10, "turn": 4, "tilt chin": 5, "tilt turn chin": 5}
TYPES_ACQUIRED = {"tilt": 1, "tilt turn": 8, "turn": 2, "tilt chin": 2}
"""Numbers of people with each posture, one-sided superior oblique palsy [1]."""

SHARE_PARADOXICAL = 0.034
"""Tilt to the side of the palsy: up to this share [6]."""

SHARES_OF_STEPS = {3: 0.70, 2: 0.28, 1: 0.02}
"""Positive steps of proven superior oblique palsies [9]; taken for the other muscles as well (ASSUMED)."""

SHARE_EXCYCLO, SHARE_OTHER_EYE = 30 / 33, 15 / 60
"""Excyclodeviation in superior oblique palsy [25]; in the other eye [28]."""

SHARE_CONTRACTURE = 2 / 12
"""Of the superior oblique palsies in a screening series, those with a contracture of the neck from it [33]."""

SHARE_RELIEF = 0.8
"""Superior oblique palsies whose tilt falls under either cover: ASSUMED, only single cases are published [6]."""


def pick(rng: Rng, shares: dict[str, int]) -> str:
    """A key drawn by its number."""
    names, numbers = list(shares), np.array(list(shares.values()), float)
    return names[int(rng.choice(len(names), p=numbers / numbers.sum()))]


def at_least(rng: Rng, mean: float, sd: float, least: float) -> float:
    """A size about a mean, drawn again while under the least one."""
    while (value := rng.normal(mean, sd)) < least:
        pass
    return float(value)


def figures(rng: Rng, muscle: str, side: int, steps: int) -> dict[str, float]:
    """Hypertropia with so many positive steps: 15.9 PD straight ahead [85], 19 PD between the two tilts [15]; SDs and gaze ASSUMED."""
    higher, gaze, tilt = (side * sign for sign in MUSCLES[muscle][:3])
    negative = {3: "", 2: str(rng.choice(["gaze", "tilt"])), 1: "gaze tilt"}[steps]
    size = at_least(rng, 15.9, 6.0, 4.0)
    half_gaze = rng.normal(0, 0.7) if "gaze" in negative else at_least(rng, 5.0, 2.0, 1.5)
    half_tilt = rng.normal(0, 1.2) if "tilt" in negative else at_least(rng, 9.5, 3.0, 2.5)
    # On its easier side the deviation of a one-sided palsy falls, on average by 62 % [16], but does not reverse.
    values = {"primary": higher * size}
    for name, worse, half in (("gaze", gaze, half_gaze), ("tilt", tilt, half_tilt)):
        easier = max(size - half, 0.0)
        right, left = (easier + 2 * half, easier) if worse > 0 else (easier, easier + 2 * half)
        values |= {f"{name}_right": higher * right, f"{name}_left": higher * left}
    return values


def steps_of(rng: Rng) -> int:
    """How many steps are positive."""
    return int(rng.choice(list(SHARES_OF_STEPS), p=list(SHARES_OF_STEPS.values())))


def weak_muscle(rng: Rng, side: int, muscle: str, types: dict[str, int], tilt: tuple[float, float], onset: str) -> Child:
    """A weak muscle of one side. Turn 10 +- 5 and chin 13 +- 4 where present: ASSUMED, no size is published."""
    kind = pick(rng, types)
    directions = MUSCLES[muscle][3:]
    sizes = (at_least(rng, *tilt, 5.0), at_least(rng, 10.0, 5.0, 5.0), at_least(rng, 13.0, 4.0, 8.0))
    held = [s * d if name in kind else 0.0 for s, d, name in zip(sizes, directions, ("tilt", "turn", "chin"), strict=True)]
    way = -side if rng.random() < SHARE_PARADOXICAL else side
    relieved = bool(rng.random() < SHARE_RELIEF)
    child = Child(
        tilt=way * held[0], turn=way * held[1], chin=held[2], onset=onset, muscle_side=side, relief=(relieved, relieved)
    )
    child.hypertropia = figures(rng, muscle, side, steps_of(rng))
    if muscle == "superior oblique" and rng.random() < SHARE_EXCYCLO:
        # Mean of 48 palsies 6.7 degrees [24]; SD ASSUMED.
        excyclo = at_least(rng, 6.7, 2.5, 2.5)
        in_right = (side > 0) != (rng.random() < SHARE_OTHER_EYE)
        child.torsion = (excyclo, 0.0) if in_right else (0.0, excyclo)
    if rng.random() < SHARE_CONTRACTURE:
        short = at_least(rng, 15.0, 5.0, 5.0) * float(np.sign(child.tilt))
        child.deficit = (short, short)
    return child


def small(rng: Rng, sd: float = 0.5) -> dict[str, float]:
    """Hypertropia of people without one: 0 to 2 PD (from memory)."""
    return {name: float(rng.normal(0, sd)) for name in GAZES}
