"""Before and after: which clips are compared, the two heads beside each other, and whether the change is real."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from posture.clinic.change import Change, change_sentences, compare
from posture.clinic.dates import When, when_of
from posture.clinic.urgency import urgency_of
from posture.errors import PostureError
from posture.page.kept import ChildFile, cached, say_date
from posture.page.look import figure_html, list_html
from posture.page.style import no_markup, tag
from posture.records.values import Clip
from posture.report.change import draw_change
from posture.summary.record import Summary

PICTURE_WORDS = "The head before and after, both tilts on one axis with their intervals, and whether the change is real"

TOO_FEW = "Two clips or more are needed to compare."

ALL_BEFORE, ALL_AFTER = "All before the operation", "All after the operation"

Chosen = int | str


def split_by_surgery(child: ChildFile) -> tuple[list[Clip], list[Clip]]:
    """The clips that lie before the first surgery and after the last for certain; none of either without surgery.

    Parameters
    ----------
    child : ChildFile
    """
    operated = [when for event in child.happened if event.kind == "surgery" and (when := when_of(event.on))]
    if not operated:
        return [], []
    first, last = min(operated, key=lambda w: w.first), max(operated, key=lambda w: w.last)
    dated = [(clip, when) for clip in child.clips if (when := _when(clip))]
    return [c for c, when in dated if when.is_before(first)], [c for c, when in dated if last.is_before(when)]


def since_surgery(child: ChildFile) -> Change | None:
    """The change from before to after surgery; None where there is none, or nothing on one side of it.

    Parameters
    ----------
    child : ChildFile
    """
    before, after = split_by_surgery(child)
    return _compared(child, before, after) if before and after else None


def draw_before_after(child: ChildFile) -> None:
    """Draw the choice of the two, the figure and the words.

    Parameters
    ----------
    child : ChildFile
    """
    if len(child.clips) < 2:
        st.html(tag("p", TOO_FEW, "p-note"))
        return
    before, after = split_by_surgery(child)
    by_id = {clip.id: clip for clip in child.clips}
    names: dict[Chosen, str] = {ALL_BEFORE: ALL_BEFORE, ALL_AFTER: ALL_AFTER}
    names |= {clip.id: _name(child, clip) for clip in child.clips}
    options: list[Chosen] = [*([ALL_BEFORE] if before else []), *by_id]
    first = _choose("Before", options, names, f"before-{child.person.id}", 0)
    options = [*([ALL_AFTER] if after else []), *reversed(by_id)]
    second = _choose("After", options, names, f"after-{child.person.id}", 0)
    if first == second:
        st.html(tag("p", "Choose two clips that are not the same.", "p-note"))
        return
    befores = before if isinstance(first, str) else [by_id[first]]
    afters = after if isinstance(second, str) else [by_id[second]]
    try:
        change = _compared(child, befores, afters)
        one, other = befores[change.used[0]], afters[change.used[1]]
        mark = (child.mark, tuple(c.id for c in befores), tuple(c.id for c in afters))
        picture = cached("change", mark, lambda: _picture(child, one, other, change))
    except PostureError as error:
        st.error(no_markup(str(error)))
        return
    said = change_sentences(change)
    st.html(picture)
    if isinstance(first, str) or isinstance(second, str):
        text = f"Compared are the last two that are alike: {_name(child, one)}, and {_name(child, other)}."
        st.html(tag("p", text, "p-note"))
    style = "p-urgent" if change.is_worse else "p-said"
    of_cautions = [text for text in said if text in change.cautions]
    plain = [text for text in said if text not in change.cautions]
    urgent = of_cautions[:1] if change.is_worse else []
    st.html(f'<div class="{style}">{"".join(tag("p", line) for line in [*urgent, *plain])}</div>')
    rest = [text for text in of_cautions if text not in urgent]
    if rest:
        st.html(tag("p", "To be read with it", "p-head") + list_html(rest))


def _compared(child: ChildFile, before: Sequence[Clip], after: Sequence[Clip]) -> Change:
    """The change between some clips; the child's own repeatability is that of all its recordings before surgery."""
    earlier, _ = split_by_surgery(child)
    own = _summaries(child, earlier) if len(earlier) > 1 else None
    urgent = urgency_of(child.findings).speed is not None
    return compare(_summaries(child, before), _summaries(child, after), own, child.happened, is_urgent=urgent)


def _picture(child: ChildFile, before: Clip, after: Clip, change: Change) -> str:
    """The figure as an element."""
    figure = draw_change(child.summaries[before.id], child.summaries[after.id], change, child.happened)
    return figure_html(figure, "change", PICTURE_WORDS)


def _summaries(child: ChildFile, clips: Sequence[Clip]) -> list[Summary]:
    """The summaries of some clips."""
    return [child.summaries[clip.id] for clip in clips]


def _choose(label: str, options: Sequence[Chosen], names: dict[Chosen, str], key: str, index: int) -> Chosen:
    """A question for clips."""
    chosen: Chosen = st.selectbox(label, options, index=index, format_func=lambda one: names.get(one, str(one)), key=key)
    return chosen


def _name(child: ChildFile, clip: Clip) -> str:
    """A clip in a list: kind, date, and the eye that was covered."""
    eye = child.summaries[clip.id].conditions.covered_eye
    covered = ", an eye covered" if eye in ("right", "left") else ""
    number = [one.id for one in child.clips].index(clip.id) + 1
    return f"{clip.kind} {number}, {say_date(clip.filmed_on)}{covered}{', posed' if clip.posed else ''}"


def _when(clip: Clip) -> When | None:
    """The date of a clip."""
    return None if clip.filmed_on is None else when_of(str(clip.filmed_on))
