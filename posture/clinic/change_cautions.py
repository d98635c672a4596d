"""What must be read with a change: what it may be, how far it may be trusted, what stood aside."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from posture.clinic.angle_change import AngleChange, change_between
from posture.clinic.conditions import known_of_one
from posture.clinic.dates import Event
from posture.clinic.held import clear_sign
from posture.clinic.natural import Natural
from posture.clinic.pairs import Pair, Recording, same_clip, surgeries_of, why_not
from posture.clinic.sentences import CHANGES
from posture.conventions import STRAIGHT_DEG
from posture.summary.words import say_angle


def has_changed_side(tilt: AngleChange, residual: str | None) -> bool:
    """Whether a clear tilt went to the other side: shown to be 5 degrees or more, or real and 5 degrees or more by its value."""
    if tilt.before is None or tilt.after is None:
        return False
    sides = clear_sign(tilt.before, STRAIGHT_DEG) * clear_sign(tilt.after, STRAIGHT_DEG)
    return residual == "reversed" or (sides < 0 and tilt.real is True)


def cautions_of_tilt(tilt: AngleChange, residual: str | None, *, is_urgent: bool) -> Iterator[str]:
    """What a change of side may be, and what a tilt that stays may be."""
    if has_changed_side(tilt, residual):
        yield CHANGES["changed side"].text
    if tilt.before is None or tilt.after is None or residual in (None, "reversed") or is_urgent:
        return
    before, after = (clear_sign(angle, STRAIGHT_DEG) for angle in (tilt.before, tilt.after))
    if before and before == after:
        yield CHANGES["stays"].text


def cautions_of_drift(pair: Pair, afters: Sequence[Recording], natural: Natural) -> Iterator[str]:
    """Whether the tilt moved on in later months, in recordings whose order is certain."""
    last = pair.after
    if pair.why or last.when is None:
        return
    for first in afters:
        if first.when is None or not first.when.is_before(last.when) or tuple(why_not(first, last)):
            continue
        later = change_between(Pair(first, last, ()), "tilt", natural)
        if later.real and later.before and later.after:
            yield CHANGES["drift"].text.format(
                before=say_angle("tilt", later.before),
                after=say_angle("tilt", later.after),
                first=first.when.say(),
                last=last.when.say(),
            )
        return


def cautions_of_pair(
    pair: Pair, befores: Sequence[Recording], afters: Sequence[Recording], events: Sequence[Event]
) -> Iterator[str]:
    """What is doubtful about the choice of the two."""
    if same_clip(pair.before, pair.after):
        yield CHANGES["same clip"].text
    out_of_order = list(dict.fromkeys(_out_of_order(pair, events)))
    if out_of_order:
        yield CHANGES["order"].text.format(which="; ".join(out_of_order))
    for those, used in ((befores, pair.before), (afters, pair.after)):
        aside = those[those.index(used) + 1 :]
        other = pair.after if used is pair.before else pair.before
        reasons = dict.fromkeys(CHANGES[key].text for one in aside for key in why_not(one, other))
        if aside and not pair.why:
            yield CHANGES["left out"].text.format(count=len(aside), reasons="; ".join(reasons))


def _out_of_order(pair: Pair, events: Sequence[Event]) -> Iterator[str]:
    """What does not stand in order by its date, or may not."""
    before, after = pair.before.when, pair.after.when
    if before and after and not before.is_before(after):
        yield f"{before.say()} and {after.say()}"
    whens = surgeries_of(events)
    if whens and before and not any(before.is_before(when) for when in whens):
        yield f"before ({before.say()}) is not before an operation"
    if whens and after and not any(when.is_before(after) for when in whens):
        yield f"after ({after.say()}) is not after an operation"


def cautions_of_limits(pair: Pair, natural: Natural, repeats: Sequence[Recording]) -> Iterator[str]:
    """What limits the comparison however well both were measured."""
    names = known_of_one(pair.before.summary.conditions, pair.after.summary.conditions)
    if names:
        yield CHANGES["known of one"].text.format(names=", ".join(names))
    postures = [r.posture for r in (pair.before, pair.after) if r.posture is not None]
    if len(postures) == 2:
        tilts = [pair.angle(r, "tilt") for r in (pair.before, pair.after)]
        if None in tilts:
            yield CHANGES["no zero"].text
        elif pair.on_trunk:
            yield CHANGES["on trunk"].text
        if not all(posture.counts for posture in postures):
            yield CHANGES["turn"].text
    if natural.df is None:
        yield CHANGES["adult figures"].text
        return
    yield CHANGES["own figures"].text.format(count=natural.recordings)
    if any(one.when is None for one in repeats):
        yield CHANGES["own, days not known"].text
