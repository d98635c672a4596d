"""Which two recordings of a child are compared, why two give no verdict, and which repeat each other before surgery."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from posture.clinic.conditions import covered_eye_of, is_under_drops
from posture.clinic.dates import Event, When, when_if_clear, when_of
from posture.clinic.held import MIN_HINT_MONTHS, Posture, posture_of
from posture.clinic.natural import AngleName
from posture.summary.record import Interval, Summary


@dataclass(frozen=True)
class Recording:
    """A recording with its place in the list it came in, its date as far as known, and what was held."""

    summary: Summary
    index: int
    when: When | None
    posture: Posture | None


@dataclass(frozen=True)
class Pair:
    """The two that are compared, why there is no verdict (keys), and whether the tilt is that on the shoulder line."""

    before: Recording
    after: Recording
    why: tuple[str, ...]

    @property
    def sided(self) -> bool:
        """Whether sides may be named."""
        return self.before.summary.sided and self.after.summary.sided

    @property
    def on_trunk(self) -> bool:
        """Infants', and where gravity is no zero: then in both."""
        return any(r.posture is not None and r.posture.on_trunk for r in (self.before, self.after))

    def angle(self, recording: Recording, name: AngleName) -> Interval | None:
        """An angle of one of them as it is compared; turn only where it counts in both, chin too."""
        posture = recording.posture
        if posture is None:
            return None
        if name == "tilt":
            return posture.trunk if self.on_trunk else posture.gravity
        counts = all(r.posture is not None and r.posture.counts for r in (self.before, self.after))
        return getattr(posture, name) if counts else None


def in_time(summaries: Sequence[Summary]) -> list[Recording]:
    """The recordings by their dates where all of these are certain, else in the order in which they came."""
    read = [Recording(s, i, when_if_clear(s.conditions.filmed_on), _posture(s)) for i, s in enumerate(summaries)]
    dated = sorted((r for r in read if r.when), key=lambda r: r.when.middle if r.when else date.min)
    certain = all(a.when and b.when and (a.when == b.when or a.when.is_before(b.when)) for a, b in pairwise(dated))
    return dated if len(dated) == len(read) and certain else read


def _posture(summary: Summary) -> Posture | None:
    """What was held; by the age of the clip itself."""
    return posture_of(summary, summary.conditions.age_months)


def choose_pair(befores: Sequence[Recording], afters: Sequence[Recording]) -> Pair:
    """The last before and the last after that may be compared; where no two may, the last of each."""
    pairs = [Pair(b, a, tuple(why_not(b, a))) for a in reversed(afters) for b in reversed(befores)]
    return next((pair for pair in pairs if not pair.why), pairs[0])


def why_not(before: Recording, after: Recording) -> Iterator[str]:
    """Why two recordings give no verdict, keys of `CHANGES`."""
    both = (before.summary, after.summary)
    first, second = (summary.conditions for summary in both)
    if covered_eye_of(first) != covered_eye_of(second):
        yield "why: covered eye"
    if first.position and second.position and first.position != second.position:
        yield "why: position"
    if not all(summary.sided for summary in both):
        yield "why: side"
    if any(len(summary.postures) == 2 for summary in both):
        yield "why: two postures"
    elif before.posture is None or after.posture is None:
        yield "why: no posture"
    if is_under_drops(first) or is_under_drops(second):
        yield "why: drops"
    if any(c.age_months is not None and c.age_months < MIN_HINT_MONTHS for c in (first, second)):
        yield "why: too young"


def repeats_of(pair: Pair, own: Sequence[Recording], events: Sequence[Event]) -> list[Recording]:
    """Recordings of different days before any surgery, like the one that is compared: what repeats in them is the child's own."""
    kept: list[Recording] = []
    for one in own:
        alike = not tuple(why_not(one, pair.before))
        late = any(one.when is None or not one.when.is_before(surgery) for surgery in surgeries_of(events))
        again = any(same_clip(one, other) or _same_day(one, other) for other in kept)
        if alike and not late and not again:
            kept.append(one)
    return kept


def surgeries_of(events: Sequence[Event]) -> list[When]:
    """When there was surgery."""
    return [when for event in events if event.kind == "surgery" and (when := when_of(event.on))]


def same_clip(one: Recording, other: Recording) -> bool:
    """Whether both are one person of one clip, however it was read: no second recording."""
    a, b = one.summary.clip, other.summary.clip
    return (a.sha256, a.person) == (b.sha256, b.person)


def _same_day(one: Recording, other: Recording) -> bool:
    """Whether both are known to be of one day, on which a posture varies less than from day to day."""
    return one.when is not None and one.when == other.when and one.when.precision == "day" and not one.when.about
