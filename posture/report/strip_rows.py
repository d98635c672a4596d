"""What stands in the strip of tilts: its parts, their rows, and their words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from posture.clinic.cover import CoverTest, Fall, along
from posture.clinic.demand import Comparison, size_of
from posture.clinic.demand_values import WORDS
from posture.clinic.demand_words import say_difference
from posture.clinic.found import NOT_INTERPRETED
from posture.summary.record import Interval


@dataclass(frozen=True)
class StripRow:
    """One row.

    Attributes
    ----------
    words : str
        What was different.
    tilt : Interval
        Degrees, the child's own sides; a size where sides are not known.
    before : Interval or None
        Where the tilt came from; an arrow leads from there.
    change : str
        The change in words, over the arrow.
    is_shown : bool
        Whether the change stands clear of chance; the arrow is solid then, else dashed.
    """

    words: str
    tilt: Interval
    before: Interval | None = None
    change: str = ""
    is_shown: bool = False


@dataclass(frozen=True)
class StripPart:
    """Rows that belong together, under a heading; `sided` whether their tilts have a side."""

    heading: str
    rows: tuple[StripRow, ...]
    sided: bool


def strip_parts(cover: CoverTest | None, demand: Sequence[Comparison]) -> list[StripPart]:
    """What the strip holds, in its order.

    Parameters
    ----------
    cover : CoverTest or None
        One that is not interpreted has no row: arrows would interpret it.
    demand : sequence of Comparison
        Those without a tilt on both sides have no row.

    Returns
    -------
    list of StripPart
    """
    is_shown = cover is not None and (cover.right or cover.left) and not {note.key for note in cover.notes} & NOT_INTERPRETED
    parts = [_part_of_cover(cover)] if cover is not None and is_shown else []
    return parts + [_part_of_demand(one) for one in demand if one.tilt is not None]


def _part_of_cover(cover: CoverTest) -> StripPart:
    """Both eyes open, and each eye covered."""
    rows = [StripRow("both eyes open", cover.open_deg)]
    for side, fall in (("right", cover.right), ("left", cover.left)):
        if fall is not None:
            minutes = "" if fall.minutes is None else f" for {fall.minutes:g} min"
            tilt = along(fall.remains_deg, cover.open_deg.value)
            words, falls = _say_fall(fall), fall.says == "falls"
            rows.append(StripRow(f"{side} eye covered{minutes}", tilt, cover.open_deg, words, falls))
    words = cover.words
    heading = f"Cover test: {words}" if cover.relief is None or not words.startswith("relieved") else _capital(words)
    return StripPart(heading, tuple(rows), True)


def _part_of_demand(comparison: Comparison) -> StripPart:
    """The two values of a demand."""
    tilt = comparison.tilt
    assert tilt is not None
    first, second = comparison.values
    plain = WORDS[comparison.demand][1]
    heading = {
        "larger": f"More tilt {plain}",
        "smaller": f"Less tilt {plain}",
        "other side": f"Tilt to the other side {plain}",
        "not shown": f"No change of tilt shown {plain}",
        "no verdict": f"No verdict {plain}: other conditions differ",
    }[comparison.says("tilt")]
    if comparison.has_verdict and not comparison.is_alone:
        heading += " (other conditions differ too)"
    heading += " (on the shoulder line)" if tilt.on_trunk else ""
    shown = comparison.has_verdict and tilt.is_shown
    rows = (StripRow(first, tilt.first), StripRow(second, tilt.second, tilt.first, _say_change(comparison), shown))
    return StripPart(heading, rows, tilt.sided)


def _say_fall(fall: Fall) -> str:
    """The fall in words without a sign."""
    if fall.says not in ("falls", "changes side"):
        return f"{fall.says} ({_reach(fall.fall_deg)})"
    size = fall.fall_deg
    return f"falls by {size.value:.0f} ({size.low:.0f} to {size.high:.0f})" + (": other side" if fall.says != "falls" else "")


def _say_change(comparison: Comparison) -> str:
    """The change under another demand in words without a sign."""
    tilt = comparison.tilt
    assert tilt is not None
    grown = tilt.grown_deg
    if not tilt.excludes_0:
        return f"no change shown ({_reach(Interval(value=-grown.value, low=-grown.high, high=-grown.low))})"
    return say_difference(tilt)


def _reach(less: Interval) -> str:
    """The interval of what a tilt may have lost, in words: it may have grown as well."""
    low, high = round(less.low), round(less.high)
    if low < 0 < high:
        return f"{-low} more to {high} less"
    return f"{low} to {high} less" if high > 0 else f"{-high} to {-low} more"


def as_sizes(part: StripPart) -> StripPart:
    """A part whose tilts have lost their sides.

    Parameters
    ----------
    part : StripPart
    """
    rows = (replace(row, tilt=size_of(row.tilt), before=row.before and size_of(row.before)) for row in part.rows)
    return StripPart(part.heading, tuple(rows), False)


def _capital(text: str) -> str:
    """The text as a sentence begins."""
    return f"{text[:1].upper()}{text[1:]}"
