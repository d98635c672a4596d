"""Which films and photographs of several may show another child: those whose face does not look like that of most of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

from posture.family.alike import UNLIKE, Alike

Verdict = Literal["alike", "may be another child", "not compared", "nothing to compare"]

ENOUGH = 0.5
"""A face must have been compared with so many of those of the most, as a share, to be said to be like them."""

CAN_MISS = (
    "Faces are compared only to notice a film of another child. Siblings who look alike are missed, and years, glasses, a hat or a poor"
    " picture can make one child look like two: look yourself, and confirm."
)


@dataclass(frozen=True)
class Doubt:
    """What comparing the face of an item with the others says.

    Attributes
    ----------
    verdict : str
        See `Verdict`.
    alike : Alike or None
        Median of how alike it is to those of the most; None where nothing was compared.
    """

    verdict: Verdict
    alike: Alike | None = None

    @property
    def must_confirm(self) -> bool:
        """Whether somebody has to look before the item counts."""
        return self.verdict in ("may be another child", "not compared")


def doubts_of(items: Sequence[str], alike: Mapping[frozenset[str], Alike]) -> dict[str, Doubt]:
    """Say of each item whether its face looks like that of most.

    Parameters
    ----------
    items : sequence of str
        Keys of all that may be the child, each once.
    alike : mapping of frozenset of str to Alike
        How alike two of them are; of pairs that are not in it nothing is known.

    Returns
    -------
    dict of str to Doubt
        One for each item. Where no face is that of more than half, all may be another child.
    """
    if len(items) < 2:
        return {item: Doubt("nothing to compare") for item in items}
    compared = [item for item in items if any(frozenset((item, other)) in alike for other in items if other != item)]
    most = _most(compared, alike)
    is_majority = 2 * len(most) > len(compared)
    doubts = {}
    for item in items:
        others = [other for other in most if other != item]
        known = [alike[pair] for other in others if (pair := frozenset((item, other))) in alike]
        if item not in compared or len(known) < ENOUGH * len(others):
            doubts[item] = Doubt("not compared")
            continue
        middle = Alike(median(a.picture for a in known), median(a.shape for a in known)) if known else None
        is_like = is_majority and median([a.distance for a in known] or [0.0]) <= UNLIKE
        doubts[item] = Doubt("alike" if is_like else "may be another child", middle)
    return doubts


def _most(items: Sequence[str], alike: Mapping[frozenset[str], Alike]) -> list[str]:
    """The largest set of items that look like one of them; of equal ones the one whose members are nearer to it."""

    def around(middle: str) -> tuple[int, float, list[str]]:
        near = {other: alike.get(frozenset((middle, other))) for other in items if other != middle}
        like = {other: a.distance for other, a in near.items() if a is not None and a.distance <= UNLIKE}
        return len(like), -sum(like.values()), [item for item in items if item == middle or item in like]

    return max((around(item) for item in items), key=lambda found: found[:2], default=(0, 0.0, []))[2]
