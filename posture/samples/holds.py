"""What the children of the samples do: the postures that they hold one after another, by themselves or when asked."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import cycle
from typing import NamedTuple

import numpy as np

from posture.samples.motion import Hold, Movement

Holds = Callable[[np.random.Generator], Iterator[Hold]]
"""Makes the holds of a child, without an end unless movements are asked for."""

_STRAIGHT_S = 2.0
"""How long a child sits straight before the first movement."""


class Asked(NamedTuple):
    """A spell in which a movement was asked for: from where it begins to where the way back begins, seconds of the clip."""

    movement: Movement
    start_s: float
    end_s: float


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


def steady_child(centre: tuple[float, float, float], looks_every: int) -> Holds:
    """Holds about one posture, with a look away now and then."""

    def holds(rng: np.random.Generator) -> Iterator[Hold]:
        count = 0
        while True:
            yield _about(rng, centre, 1.5, 1.2, 4.0)
            count += 1
            if count % looks_every == 0:
                yield _away(rng, centre[0])

    return holds


def lively_child(rng: np.random.Generator) -> Iterator[Hold]:
    """Many short holds, straight on average, with wide looks at play."""
    # Signs in turn, so that a short clip is as straight as a long one.
    for side in cycle((1.0, -1.0)):
        size = abs(rng.normal()) * 2.2 + 0.4
        yield Hold(float(rng.uniform(0.8, 1.5)), side * size, float(rng.normal() * 5.0), float(rng.normal() * 3.0 - 1.0))
        if rng.random() < 0.45:
            yield _away(rng, -side * size)


def child_of_two_postures(rng: np.random.Generator) -> Iterator[Hold]:
    """About eight seconds in one posture, then as long in the other."""
    for centre in cycle(((-10.0, -14.0, -2.0), (9.0, 15.0, -2.0))):
        held_s = 0.0
        while held_s < 6.2:
            hold = _about(rng, centre, 1.3, 1.4, 2.8)
            held_s += hold.duration_s + 0.5
            yield hold


def asked_child(movements: tuple[tuple[Movement, float], ...], move_s: float, held_s: float, between_s: float) -> Holds:
    """Make the holds of a child that is asked for movements, each from straight and back again.

    Parameters
    ----------
    movements : tuple of (movement, degrees without a sign)
        In their order.
    move_s, held_s, between_s : float
        Of each way there or back, at the end of the movement, and straight between two movements.

    Returns
    -------
    callable
        From a generator of chance to the holds; it scatters what is reached by about a degree, never the times.
    """

    def holds(rng: np.random.Generator) -> Iterator[Hold]:
        yield _reached(rng, 0.0, 0.0, _STRAIGHT_S, None, None)
        for movement, degrees in movements:
            kind, side = movement.split()
            size = degrees if side == "right" else -degrees
            tilt, turn = (size, 0.0) if kind == "tilt" else (0.0, size)
            yield _reached(rng, tilt, turn, held_s, move_s, movement)
            yield _reached(rng, 0.0, 0.0, between_s, move_s, None)

    return holds


def asked_spells(holds: Holds) -> tuple[Asked, ...]:
    """Give the spells in which a child does what it is asked for.

    Parameters
    ----------
    holds : callable
        From `asked_child`; of others there are none, however long they go on.

    Returns
    -------
    tuple of Asked
    """
    spells = []
    at_s = 0.0
    for count, hold in enumerate(holds(np.random.default_rng(0))):
        if count and hold.move_s is None:
            break
        start_s = at_s
        at_s += (hold.move_s or 0.0) + hold.duration_s
        if hold.asked is not None:
            spells.append(Asked(hold.asked, round(start_s, 3), round(at_s, 3)))
    return tuple(spells)


def _reached(
    rng: np.random.Generator, tilt_deg: float, turn_deg: float, held_s: float, move_s: float | None, asked: Movement | None
) -> Hold:
    """A hold where a movement ends, or straight; the eyes go along with a turn and stay on the camera otherwise."""
    tilt, turn, chin = np.array([tilt_deg, turn_deg, -2.0]) + rng.normal(size=3) * [0.8, 0.8, 0.6]
    return Hold(held_s, tilt, turn, chin, looks_away=abs(turn_deg) > 0, move_s=move_s, asked=asked)
