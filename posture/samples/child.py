"""What the invented children look like. Nobody was copied: every colour and style here was made up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Colour = tuple[int, int, int]
"""Red, green, blue, 0 to 255."""


@dataclass(frozen=True)
class ChildLook:
    """Colours and hair of an invented child, and of the room it sits in.

    Attributes
    ----------
    skin, lips, iris, hair : tuple of int
    hair_style : {'short', 'bob', 'long'}
    shirt, stripe : tuple of int
    wall, wood, floor : tuple of int
        The room.
    seed : int
        Of the strands of hair and the toys on the shelf.
    breadth : float
        Of the shoulders, against the usual drawn child's.
    """

    skin: Colour
    lips: Colour
    iris: Colour
    hair: Colour
    hair_style: Literal["short", "bob", "long"]
    shirt: Colour
    stripe: Colour
    wall: Colour
    wood: Colour
    floor: Colour
    seed: int
    breadth: float = 1.0


CHILDREN: dict[str, ChildLook] = {
    "blue": ChildLook(
        skin=(244, 206, 182),
        lips=(214, 128, 122),
        iris=(92, 128, 158),
        hair=(150, 106, 64),
        hair_style="short",
        shirt=(70, 112, 176),
        stripe=(236, 238, 240),
        wall=(226, 224, 212),
        wood=(196, 158, 112),
        floor=(176, 138, 98),
        seed=11,
    ),
    "yellow": ChildLook(
        skin=(198, 144, 106),
        lips=(172, 92, 88),
        iris=(86, 56, 36),
        hair=(44, 32, 28),
        hair_style="bob",
        shirt=(238, 186, 72),
        stripe=(250, 226, 160),
        wall=(206, 220, 222),
        wood=(182, 140, 96),
        floor=(160, 124, 92),
        seed=23,
    ),
    "green": ChildLook(
        skin=(238, 196, 164),
        lips=(206, 120, 112),
        iris=(104, 122, 78),
        hair=(92, 58, 38),
        hair_style="long",
        shirt=(104, 158, 112),
        stripe=(214, 234, 208),
        wall=(232, 218, 206),
        wood=(206, 172, 128),
        floor=(184, 150, 112),
        seed=37,
    ),
    "red": ChildLook(
        skin=(150, 102, 74),
        lips=(148, 82, 80),
        iris=(62, 40, 28),
        hair=(34, 27, 26),
        hair_style="short",
        shirt=(196, 82, 74),
        stripe=(242, 226, 214),
        wall=(214, 222, 206),
        wood=(188, 150, 108),
        floor=(168, 132, 98),
        seed=41,
    ),
    "violet": ChildLook(
        skin=(234, 192, 156),
        lips=(202, 116, 110),
        iris=(70, 48, 34),
        hair=(52, 38, 34),
        hair_style="bob",
        shirt=(142, 116, 178),
        stripe=(226, 216, 240),
        wall=(222, 226, 230),
        wood=(200, 164, 122),
        floor=(178, 146, 110),
        seed=59,
    ),
}
"""The children of the samples, by the colour of their shirts."""
