"""Join stretches to persons when the whole film is known.

What counts is where a face went, how it moved, what it looks like, and that nobody is in two places at once.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, count, pairwise

import numpy as np
from numpy.typing import NDArray

from posture.conventions import wrap_deg
from posture.face.looks import Looks, mean_colours
from posture.face.stretch import Stretch

ALIKE, ALIKE_STEP = 0.25, 0.05
"""Distance of looks at which two stretches are as likely one person as two, and the step that makes it e times more or less
likely. Rendered and real people: 95 % of the same person under 0.22, 95 % of different ones over 0.25 (own measurement)."""

FEW_LOOKS = 3
"""With fewer looks than that their distance says less."""

LOOKS_LIMITS = (-6.0, 3.0)
"""However alike two faces look, that never outweighs all else: people who look alike are often in one picture."""

NEAR_IN_TIME_S = 1.5
"""Where and how fast a face went says who it is over gaps up to that long."""

GOES_ON = 3.0
"""Weight, in logarithms of odds, of a face that goes on exactly where it was."""

ELSEWHERE = -2.0
"""Weight of one that is altogether elsewhere: a film may be cut, and then only the looks say who it is."""

RETURNS = 1.0
"""A face seen after a gap is rather somebody already seen than somebody new."""

LEAST_S = 0.4
"""Who is seen for less in all is nobody of interest; in a photograph, one frame is all there is."""


@dataclass(frozen=True)
class Person:
    """One person of a film.

    Attributes
    ----------
    stretches : tuple of Stretch
        In order of time; never two at once.
    """

    stretches: tuple[Stretch, ...]

    @property
    def portrait(self) -> NDArray[np.uint8] | None:
        """The portrait of the longest stretch, shape (96, 96, 3)."""
        return max(self.stretches, key=lambda s: len(s.times_s)).portrait

    @cached_property
    def looks(self) -> list[Looks]:
        """All its looks."""
        return [look for stretch in self.stretches for look in stretch.looks]

    @cached_property
    def colours(self) -> NDArray[np.float64]:
        """Mean of its looks; each person is compared with all others."""
        return mean_colours(self.looks)


def join_stretches(stretches: Sequence[Stretch], film_s: float) -> list[Person]:
    """Join stretches to persons, the surest pairs first.

    Parameters
    ----------
    stretches : sequence of Stretch
        Of one film.
    film_s : float
        Its length.

    Returns
    -------
    list of Person
        In order of first sight. Where it stays open whether two stretches are one person, they are two.
    """
    persons = dict(enumerate(Person((s,)) for s in stretches if s.times_s))
    likely: list[tuple[float, int, int, int]] = []
    entries, numbers = count(), count(len(persons))

    def consider(one: int, other: int, joined: Person) -> None:
        odds = _log_odds(persons[one], joined)
        if odds > 0:
            heapq.heappush(likely, (-odds, next(entries), one, other))

    for one, other in combinations(persons, 2):
        consider(one, other, persons[other])
    while likely:
        _, _, one, other = heapq.heappop(likely)
        if one not in persons or other not in persons:
            continue
        both = [*persons.pop(one).stretches, *persons.pop(other).stretches]
        joined, number = Person(tuple(sorted(both, key=lambda s: s.first_s))), next(numbers)
        for somebody in persons:
            consider(somebody, number, joined)
        persons[number] = joined
    long = [p for p in persons.values() if film_s < LEAST_S or _time_s(p) >= LEAST_S]
    return sorted(long, key=lambda p: (p.stretches[0].first_s, p.stretches[0].number))


def _time_s(person: Person) -> float:
    """How long somebody was followed."""
    return sum(s.last_s - s.first_s for s in person.stretches)


def _log_odds(one: Person, other: Person) -> float:
    """Logarithm of the odds that two are one person."""
    if any(a.first_s <= b.last_s and b.first_s <= a.last_s for a in one.stretches for b in other.stretches):
        return -np.inf
    distance = float(np.linalg.norm(one.colours - other.colours))
    sure = min(len(one.looks), len(other.looks), FEW_LOOKS) / FEW_LOOKS
    alike = float(np.clip((ALIKE - distance) / ALIKE_STEP * np.sqrt(sure), *LOOKS_LIMITS))
    return alike + _goes_on(one, other)


def _goes_on(one: Person, other: Person) -> float:
    """Logarithm of the odds from where the faces were, over the shortest gap between them."""
    in_order = sorted([*((s, 0) for s in one.stretches), *((s, 1) for s in other.stretches)], key=lambda pair: pair[0].first_s)
    gaps = [(later.first_s - earlier.last_s, earlier, later) for (earlier, a), (later, b) in pairwise(in_order) if a != b]
    gap_s, earlier, later = min(gaps, key=lambda gap: gap[0])
    if gap_s > NEAR_IN_TIME_S:
        return RETURNS
    at_s, place, speed = earlier.end(at_start=False)
    next_s, next_place, next_speed = later.end(at_start=True)
    gap_s = next_s - at_s
    size = max(place[2], next_place[2])
    ahead, back = place + speed * gap_s, next_place - next_speed * gap_s
    off = (np.linalg.norm(ahead[:2] - next_place[:2]) + np.linalg.norm(back[:2] - place[:2])) / 2 / size
    # A face may turn round in a gap: where it could have gone grows with the gap.
    terms = [
        off / (0.25 + 0.8 * gap_s),
        abs(np.log(next_place[2] / place[2])) / (0.08 + 0.25 * gap_s),
        np.linalg.norm(next_speed[:2] - speed[:2]) / size / (1.0 + 2.0 * gap_s),
        abs(float(wrap_deg(next_place[3] - place[3]))) / (8.0 + 40.0 * gap_s),
    ]
    return max(GOES_ON - 0.5 * float(np.square(terms).sum()), ELSEWHERE)
