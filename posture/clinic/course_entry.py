"""The values of a course of films and pictures: an item, an item as the course sees it, growth, and the course itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from posture.clinic.dates import When, least_months_between
from posture.clinic.held import Sign
from posture.summary.record import Interval, Summary

Kind = Literal["film", "photograph"]
Status = Literal["long-standing", "growing", "changing side", "since at least", "not enough"]

LONG_OCCASIONS, LONG_MONTHS = 3, 12
"""Long-standing: the same side on at least three occasions over at least twelve months (rule of the clinic)."""

GROWTH_DEG = 5.0
"""A tilt that grows by more is not long-standing but growing (rule of the clinic)."""


@dataclass(frozen=True)
class Dated:
    """One film or photograph of a person.

    Attributes
    ----------
    summary : Summary
    filmed_on : str or None
        "2021-03-12", "2021-03", "2021", each also with "about" before it; None is not known.
    age_months : int or None
        None takes that of the summary.
    kind : {"film", "photograph"}
    posed : bool
        The child was told to sit or look for it.
    filmed_by : str or None
    """

    summary: Summary
    filmed_on: str | None
    age_months: int | None = None
    kind: Kind = "film"
    posed: bool = False
    filmed_by: str | None = None


@dataclass(frozen=True)
class Entry:
    """One item of a course.

    Attributes
    ----------
    number : int
        Its place in the list that was given, from 0.
    item : Dated
    when : When or None
    age_months : int or None
    tilt : Interval or None
        Degrees, the person's own side; None where no side is settled or no tilt was found.
    size : Interval or None
        Size of the tilt where its side is not settled.
    side : {-1, 0, 1}
        Clear side of the tilt, of 5 degrees or more; 0 where there is none.
    on_trunk : bool
        The tilt is that on the shoulder line.
    why_not : tuple of str
        Why it does not count; empty where it counts.
    unlike : tuple of str
        How it was filmed otherwise than most of what counts.
    """

    number: int
    item: Dated
    when: When | None
    age_months: int | None
    tilt: Interval | None
    size: Interval | None
    side: Sign
    on_trunk: bool
    why_not: tuple[str, ...]
    unlike: tuple[str, ...] = ()

    @property
    def counts(self) -> bool:
        """Whether it counts towards what is said of the course."""
        return not self.why_not


@dataclass(frozen=True)
class Growth:
    """By how much the tilt grew along its side, degrees, and between which two entries."""

    degrees: Interval
    first: Entry
    last: Entry

    @property
    def is_shown(self) -> bool:
        """Whether it is more than 5 degrees, and more than chance makes."""
        return self.degrees.value > GROWTH_DEG and self.degrees.low > 0


@dataclass(frozen=True)
class Course:
    """What films and pictures of years say together.

    Attributes
    ----------
    entries : tuple of Entry
        In the order of time, those without a date last.
    status : {"long-standing", "growing", "changing side", "since at least", "not enough"}
    side : {-1, 0, 1}
        Side of the tilt that counts.
    since : Entry or None
        The first that shows it.
    growth : Growth or None
        None with fewer than two films to compare.
    may_grow : bool
        By its values it grew by more than 5 degrees, which is not shown.
    flag : str or None
        Red flag "worsening_tilt" where the tilt is shown to grow.
    sentences, cautions : tuple of str
        In plain words; the most important caution first.
    """

    entries: tuple[Entry, ...]
    status: Status
    side: Sign
    since: Entry | None
    growth: Growth | None
    may_grow: bool
    flag: Literal["worsening_tilt"] | None
    sentences: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def counting(self) -> tuple[Entry, ...]:
        """What counts, in the order of time."""
        return tuple(entry for entry in self.entries if entry.counts)


def occasions(entries: Iterable[Entry]) -> int:
    """How many occasions some entries are of: films of one day are one."""
    return len({entry.when for entry in entries})


def months_over(entries: Sequence[Entry]) -> int:
    """Months over which some entries reach, at the least that their dates allow."""
    whens = [entry.when for entry in entries if entry.when]
    pairs = [(a, b) for a in whens for b in whens]
    return max((least_months_between(a, b) for a, b in pairs), default=0)
