"""The postures to expect: a weak superior oblique of the right, the left or both sides, and a tight neck muscle of either side.

==============================  ==================  ==================  =========================  ===========================
cause                           tilt                turn                chin                       sources
==============================  ==================  ==================  =========================  ===========================
weak right superior oblique     to the left         to the left         down in about one in five  [1], [2]
weak left superior oblique      to the right        to the right        down in about one in five  [1], [2]
weak superior obliques of both  none or small       none                down                       [13], [20]
tight right neck muscle         to the right        to the left         level                      [30], [31], [42], [43]
tight left neck muscle          to the left         to the right        level                      [30], [31], [42], [43]
==============================  ==================  ==================  =========================  ===========================

"Usually", never "always": up to 3.4 % of superior oblique palsies tilt to the side of the weak muscle [6], 13 % of congenital ones have
another posture [4]. Sizes and frequencies stand below with their sources; of turn and chin no published size was found.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from posture.conventions import Side

Direction = Literal[-1, 0, 1]
Kind = Literal["superior oblique", "neck muscle"]


@dataclass(frozen=True)
class Figure:
    """A published figure: what, how large, of whom, and the number of its reference."""

    text: str
    value: float
    low: float | None
    high: float | None
    of: str
    source: str


@dataclass(frozen=True)
class Expected:
    """An expected posture.

    Directions are +1, 0 or -1 in the signs of `posture.conventions`: tilt to the right shoulder, face to the right, chin up.
    `tilt_deg` is the typical size to draw, without a sign; `turn_deg` and `chin_deg` are None, as no size was published.
    """

    kind: Kind
    side: Side | Literal["both"]
    tilt: Direction
    turn: Direction
    chin: Direction
    tilt_deg: float | None
    turn_deg: float | None
    chin_deg: float | None
    sizes: tuple[Figure, ...]
    frequencies: tuple[Figure, ...]
    source: str

    @property
    def name(self) -> str:
        """For example "weak right superior oblique"."""
        if self.kind == "neck muscle":
            return f"tight {self.side} neck muscle"
        return "weak superior obliques of both sides" if self.side == "both" else f"weak {self.side} superior oblique"


OBLIQUE_SIZES = (
    Figure("tilt, congenital, mean and SD", 15.1, 15.1 - 9.34, 15.1 + 9.34, "47 people, photographs", "[1]"),
    Figure("tilt, acquired, mean", 9.61, None, None, "13 people, photographs", "[1]"),
    Figure("tilt, congenital, mean and SD", 10.11, 10.11 - 6.31, 10.11 + 6.31, "58 people, photographs", "[2]"),
    Figure("tilt before surgery, mean and SD", 17.0, 8.0, 26.0, "13 children", "[84]"),
    Figure("severe tilt since infancy", 30.0, 20.0, 35.0, "5 children, selected", "[86]"),
)
"""Degrees; low and high are one SD below and above, or the range."""

OBLIQUE_FREQUENCIES = (
    Figure("any tilt, congenital (derived)", 0.91, None, None, "43 of 47", "[1]"),
    Figure("pure tilt, congenital", 0.489, None, None, "23 of 47", "[1]"),
    Figure("any turn to the same side, congenital (derived)", 0.40, None, None, "19 of 47", "[1]"),
    Figure("any turn to the same side, acquired (derived)", 0.77, None, None, "10 of 13", "[1]"),
    Figure("any chin down, congenital (derived)", 0.21, None, None, "10 of 47", "[1]"),
    Figure("any chin down, acquired (derived)", 0.15, None, None, "2 of 13", "[1]"),
    Figure("tilt to the side of the weak muscle, at most", 0.034, None, None, "cited in a letter", "[6]"),
)
"""Shares, 0 to 1."""

BOTH_FREQUENCIES = (
    Figure("both sides, of traumatic superior oblique palsies", 12 / 33, None, None, "12 of 33", "[13]"),
    Figure("masked second side after surgery of one", 0.087, None, None, "8 of 92", "[15]"),
)

NECK_SIZES = (
    Figure("tilt on photographs, operated", 6.6, None, None, "37 people, mean age 8.5 years", "[42]"),
    Figure("tilt on radiographs, operated", 17.1, None, None, "37 people, mean age 8.5 years", "[42]"),
    Figure("eye line, mild, moderate and severe (derived)", 17.2, 8.3, 23.4, "35 children", "[43]"),
)
"""Degrees; the last one's low and high are the mild and the severe group."""

NECK_FREQUENCIES = (Figure("changed side", 0.012, None, None, "525 children in therapy", "[34]"),)

OBLIQUE_TILT_DEG = 15.1
"""Mean of congenital superior oblique palsy, to draw an expected head by [1]."""

NECK_TILT_DEG = 17.2
"""Eye line of the moderate group, to draw an expected head by (derived from [43])."""


def _oblique(side: Side, tilt: Direction) -> Expected:
    """A weak superior oblique of one side: tilt and turn away from it, chin down."""
    sizes, frequencies = OBLIQUE_SIZES, OBLIQUE_FREQUENCIES
    return Expected("superior oblique", side, tilt, tilt, -1, OBLIQUE_TILT_DEG, None, None, sizes, frequencies, "[1]; [2]")


def _neck(side: Side, tilt: Direction, turn: Direction) -> Expected:
    """A tight neck muscle of one side: tilt towards it, turn away from it."""
    source = "[30]; [31]"
    return Expected("neck muscle", side, tilt, turn, 0, NECK_TILT_DEG, None, None, NECK_SIZES, NECK_FREQUENCIES, source)


EXPECTED: tuple[Expected, ...] = (
    _oblique("right", -1),
    _oblique("left", 1),
    Expected("superior oblique", "both", 0, 0, -1, None, None, None, (), BOTH_FREQUENCIES, "[13]; [20]"),
    _neck("right", 1, -1),
    _neck("left", -1, 1),
)
"""The five postures that the measured one is laid beside."""


def expected_of(kind: Kind, side: Side | Literal["both"]) -> Expected:
    """The expected posture of a cause.

    Parameters
    ----------
    kind : {"superior oblique", "neck muscle"}
    side : {"right", "left", "both"}
        Of the weak or of the tight muscle.

    Returns
    -------
    Expected

    Raises
    ------
    ValueError
        If there is none: a neck muscle of both sides.
    """
    for expected in EXPECTED:
        if (expected.kind, expected.side) == (kind, side):
            return expected
    known = ", ".join(expected.name for expected in EXPECTED)
    raise ValueError(f"Expected one of the postures in the table ({known}); {kind!r} of {side!r} came. Choose one of those.")
