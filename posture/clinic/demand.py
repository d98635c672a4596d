"""Comparisons under different demand: far against near, idle against looking hard, without against with glasses.

Two clips, or two groups of clips under like conditions, that differ in one condition are laid beside each other. What else differs is
said, and where the covered eye or the position differs too there is no verdict. Nothing here says why a posture changes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Literal

from posture.clinic.cover import NO_DROPS, along
from posture.clinic.demand_values import OF_DEMAND, WORDS, Demand, demand_value
from posture.clinic.held import Posture, posture_of
from posture.clinic.natural import NATURAL_SD_DEG, Z95, AngleName
from posture.clinic.sentences import DEMAND_NOTES, Sentence
from posture.conventions import STRAIGHT_DEG
from posture.summary.record import Conditions, Interval, Summary

Effect = Literal["less", "more"]
Says = Literal["larger", "smaller", "other side", "not shown", "no verdict"]

NATURAL_DEG: dict[AngleName, float] = {name: round(Z95 * sd_deg, 1) for name, sd_deg in NATURAL_SD_DEG.items()}
"""Natural variation of a single posture: 1.96 times the SD of the difference between two sittings a week apart, adults [74]."""

MUST_BE_EQUAL = ("covered_eye", "position")
"""Where one of these differs too there is no verdict."""

SAID_WHEN_MISSING = (*MUST_BE_EQUAL, "camera_height", "target", "target_distance_m", "attention", "correction")
SAID_WHEN_KNOWN = ("covered_minutes", "filmed_on", "age_months", "examiner")
"""Conditions in which a difference is said: of the first also where one clip does not say it, of the second where both do."""


@dataclass(frozen=True)
class AngleDifference:
    """One angle under both values.

    `difference_deg` is the second less the first: of angles with their sign where `sided`, of sizes where not (chin always with its
    sign); `on_trunk` a tilt on the shoulder line. `excludes_0` and `exceeds_natural` are said apart; `is_shown` needs more than either, the two together in quadrature.
    """

    name: AngleName
    first: Interval
    second: Interval
    difference_deg: Interval
    natural_deg: float
    sided: bool
    on_trunk: bool = False

    @property
    def excludes_0(self) -> bool:
        """Whether the interval of the difference leaves 0 out."""
        return self.difference_deg.low > 0 or self.difference_deg.high < 0

    @property
    def exceeds_natural(self) -> bool:
        """Whether the difference is larger than the natural variation of a posture."""
        return abs(self.difference_deg.value) > self.natural_deg

    @property
    def is_shown(self) -> bool:
        """Whether it stands clear of its uncertainty and of the natural variation together, which implies both of the above."""
        found = self.difference_deg
        towards_0 = found.value - found.low if found.value >= 0 else found.high - found.value
        return self.excludes_0 and abs(found.value) > math.hypot(towards_0, self.natural_deg)

    @property
    def grown_deg(self) -> Interval:
        """How much larger the angle is under the second value: along the side of the larger one of the two."""
        larger = self.first if abs(self.first.value) > abs(self.second.value) else self.second
        return along(self.difference_deg, larger.value)

    @property
    def says(self) -> Says:
        """What the second value does to the angle."""
        if not self.is_shown:
            return "not shown"
        if min(abs(self.first.value), abs(self.second.value)) >= STRAIGHT_DEG and self.first.value * self.second.value < 0:
            return "other side"
        return "larger" if self.grown_deg.value > 0 else "smaller"


@dataclass(frozen=True)
class Comparison:
    """Two clips, or groups of like clips, that differ in one demand.

    `values` are the two in words; `angles` tilt, and turn and chin where they count in both; `also_differs` every other condition, in
    words; `notes` what must be said with it; `clips` those that took part.
    """

    demand: Demand
    values: tuple[str, str]
    angles: tuple[AngleDifference, ...]
    also_differs: tuple[str, ...]
    has_verdict: bool
    sided: bool
    notes: tuple[Sentence, ...]
    clips: tuple[Summary, ...]

    @property
    def is_alone(self) -> bool:
        """Whether nothing else is known to differ."""
        return not self.also_differs

    @property
    def tilt(self) -> AngleDifference | None:
        """The tilt, where it could be compared."""
        return next((angle for angle in self.angles if angle.name == "tilt"), None)

    def says(self, name: AngleName) -> Says:
        """What the second value does to an angle.

        Parameters
        ----------
        name : {"tilt", "turn", "chin"}

        Returns
        -------
        {"larger", "smaller", "other side", "not shown", "no verdict"}
        """
        if not self.has_verdict:
            return "no verdict"
        return next((angle.says for angle in self.angles if angle.name == name), "no verdict")

    @property
    def is_shown(self) -> bool:
        """Whether any angle differs beyond its uncertainty and the natural variation."""
        return self.has_verdict and any(angle.is_shown for angle in self.angles)


@dataclass(frozen=True)
class _Group:
    """Clips under like conditions, with the posture of each."""

    conditions: Conditions
    clips: tuple[Summary, ...]
    postures: tuple[Posture, ...]
    order: tuple[float, str]


def demand_of(summaries: Sequence[Summary], age_months: int | None = None) -> tuple[Comparison, ...]:
    """Lay the clips beside each other that differ in one demand.

    Parameters
    ----------
    summaries : sequence of Summary
        Of one child. Clips under drops, without a habitual posture, or whose words are not understood are left out.
    age_months : int or None
        Where it is younger than the clips say.

    Returns
    -------
    tuple of Comparison
        Far against near first, then idle against looking hard, then without against with glasses. Of each, every pair of groups that
        differs in nothing else; where there is none, the pair that differs in least.
    """
    found: list[Comparison] = []
    for demand in OF_DEMAND:
        first, second = (_groups(summaries, demand, value, age_months) for value in (0, 1))
        alone = [pair for pair in product(first, second) if not _differences(demand, *pair)]
        if not alone and first and second:
            alone = [min(product(first, second), key=lambda pair: _unlikeness(demand, pair))]
        compared = (_comparison(demand, *pair) for pair in alone)
        found += [one for one in compared if one.angles]
    return tuple(found)


def effect_of(comparison: Comparison) -> Effect | None:
    """What the second value does to the posture, in the words of the findings.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    {"less", "more"} or None
        None where no change was shown: an effect that was not shown is not shown to be none. A change to the other side is no word.
    """
    said: set[Says] = {comparison.says(angle.name) for angle in comparison.angles} - {"not shown", "no verdict"}
    words: dict[frozenset[Says], Effect] = {frozenset({"larger"}): "more", frozenset({"smaller"}): "less"}
    return words.get(frozenset(said))


def _groups(summaries: Iterable[Summary], demand: Demand, value: int, age_months: int | None) -> list[_Group]:
    """The clips under one value, those under like conditions together."""
    alike: dict[tuple[object, ...], list[tuple[Summary, Posture]]] = {}
    for summary in summaries:
        drops = summary.conditions.drops
        is_under_drops = drops is not None and drops.strip().lower() not in NO_DROPS
        ages = [age for age in (age_months, summary.conditions.age_months) if age is not None]
        posture = None if is_under_drops else posture_of(summary, min(ages, default=None))
        if posture is not None and demand_value(demand, summary.conditions) == value:
            names = [name for name in (*SAID_WHEN_MISSING, *SAID_WHEN_KNOWN) if name not in OF_DEMAND[demand]]
            key = tuple(_plain(name, summary.conditions) for name in names)
            alike.setdefault(key, []).append((summary, posture))
    groups = []
    for members in alike.values():
        # The order in which clips are given decides nothing.
        members.sort(key=lambda member: (member[0].clip.sha256, member[0].to_json()))
        seconds = sum(member.habitual.steady_s for member, _ in members if member.habitual)
        clips, postures = (tuple(part) for part in zip(*members, strict=True))
        groups.append(_Group(clips[0].conditions, clips, postures, (-seconds, clips[0].to_json())))
    return sorted(groups, key=lambda group: group.order)


def _plain(name: str, conditions: Conditions) -> object:
    """A condition as it is compared: no eye covered when none is said, the day of a date, text without regard to its letters."""
    value = getattr(conditions, name)
    if name == "covered_eye":
        return value or "none"
    if name == "covered_minutes" and conditions.covered_eye not in ("right", "left"):
        return None
    if name == "filmed_on":
        return value and value[:10]
    return " ".join(value.casefold().split()) if isinstance(value, str) else value


def _differences(demand: Demand, first: _Group, second: _Group) -> list[str]:
    """Keys of the other conditions that differ."""
    unlike = []
    for name in (*SAID_WHEN_MISSING, *SAID_WHEN_KNOWN):
        a, b = (_plain(name, group.conditions) for group in (first, second))
        is_said = name in SAID_WHEN_MISSING or (a is not None and b is not None)
        if name not in OF_DEMAND[demand] and is_said and a != b:
            unlike.append(name)
    return unlike


def _unlikeness(demand: Demand, pair: tuple[_Group, _Group]) -> tuple[int, int, tuple[float, str], tuple[float, str]]:
    """How unlike two groups are in what should be equal: the least counts."""
    unlike = _differences(demand, *pair)
    return len(_blocking(unlike, pair)), len(unlike), pair[0].order, pair[1].order


def _blocking(unlike: Iterable[str], pair: tuple[_Group, _Group]) -> list[str]:
    """The differences with which there is no verdict; a position that one clip does not say is no difference that is known."""
    known = {name: [_plain(name, group.conditions) for group in pair] for name in MUST_BE_EQUAL}
    return [name for name in unlike if name in MUST_BE_EQUAL and None not in known[name]]


def _comparison(demand: Demand, first: _Group, second: _Group) -> Comparison:
    """Two groups beside each other."""
    unlike = _differences(demand, first, second)
    sided = all(posture.sided for posture in (*first.postures, *second.postures))
    has_verdict = not _blocking(unlike, (first, second))
    also = tuple(_say_condition(name, first.conditions, second.conditions, sided) for name in unlike)
    words = WORDS[demand]
    said = {"words": f"{words[0].capitalize()} against {words[1]}", "differences": "; ".join(also)}
    angles = tuple(_angles(first.postures, second.postures, sided))
    notes = [DEMAND_NOTES["natural variation"]] if angles else []
    if also:
        note = DEMAND_NOTES["not alone" if has_verdict else "no verdict"]
        notes.insert(0, replace(note, text=note.text.format(**said)))
    if not sided:
        notes.append(DEMAND_NOTES["sizes only"])
    under = "" if "covered_eye" in unlike else _say_cover(first.conditions, sided)
    values = (_say_value(demand, 0, first.conditions) + under, _say_value(demand, 1, second.conditions) + under)
    return Comparison(demand, values, angles, also, has_verdict, sided, tuple(notes), (*first.clips, *second.clips))


def _angles(first: Sequence[Posture], second: Sequence[Posture], sided: bool) -> Iterable[AngleDifference]:
    """The angles that may be compared."""
    # A tilt against gravity and one on the shoulder line are two things.
    like = len({posture.on_trunk for posture in (*first, *second)}) == 1
    parts: Mapping[AngleName, Callable[[Posture], Interval | None]] = {
        "tilt": lambda posture: posture.tilt if like else None,
        "turn": lambda posture: posture.turn if posture.counts else None,
        "chin": lambda posture: posture.chin if posture.counts else None,
    }
    for name, part in parts.items():
        as_size = not sided and name != "chin"
        pair = [_together([part(posture) for posture in group], as_size) for group in (first, second)]
        if pair[0] is not None and pair[1] is not None:
            difference = _less(pair[1], pair[0])
            on_trunk = name == "tilt" and first[0].on_trunk
            yield AngleDifference(name, pair[0], pair[1], difference, NATURAL_DEG[name], not as_size, on_trunk)


def _together(angles: Iterable[Interval | None], as_size: bool) -> Interval | None:
    """The mean of like clips, as uncertain as all of them together."""
    known = [size_of(angle) if as_size else angle for angle in angles if angle is not None]
    if not known:
        return None
    value = sum(angle.value for angle in known) / len(known)
    return Interval(value=value, low=min(angle.low for angle in known), high=max(angle.high for angle in known))


def size_of(angle: Interval) -> Interval:
    """An angle without its side.

    Parameters
    ----------
    angle : Interval
    """
    ends = sorted((abs(angle.low), abs(angle.high)))
    return Interval(value=abs(angle.value), low=0.0 if angle.low <= 0 <= angle.high else ends[0], high=ends[1])


def _less(a: Interval, b: Interval) -> Interval:
    """One angle less another, their uncertainties in quadrature."""
    value = a.value - b.value
    low, high = math.hypot(a.value - a.low, b.high - b.value), math.hypot(a.high - a.value, b.value - b.low)
    return Interval(value=value, low=value - low, high=value + high)


def _say_value(demand: Demand, value: int, conditions: Conditions) -> str:
    """A value in words, with the distance where it is known."""
    distance_m = conditions.target_distance_m if demand == "target" else None
    return WORDS[demand][value] if distance_m is None else f"{WORDS[demand][value]} ({distance_m:g} m)"


def _say_cover(conditions: Conditions, sided: bool) -> str:
    """That an eye was covered in both, and which where sides are known."""
    eye = conditions.covered_eye
    return f", {eye if sided else 'one'} eye covered" if eye in ("right", "left") else ""


def _say_condition(name: str, a: Conditions, b: Conditions, sided: bool) -> str:
    """A condition with both of its values; which eye only where sides are known."""
    values = [_plain(name, conditions) for conditions in (a, b)]
    title = name.removesuffix("_m").removesuffix("_months").replace("_", " ").replace("filmed on", "date")
    if name == "covered_eye" and not sided:
        return title
    return f"{title} ({', '.join('not said' if value is None else str(value) for value in values)})"
