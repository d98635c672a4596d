"""Marks: which step of an examination ran when in a recording, and which clips with which conditions that gives."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

from posture.errors import SpanError
from posture.filming.steps import Step, step_named
from posture.signal.asked import Movement
from posture.signal.spans import Span
from posture.summary.record import Conditions

SCHEMA = "posture.marks/1"

LEAST_S = 0.5
"""A shorter mark is a slip of the finger: no posture, and no setting of a head, can be read from it."""

MOST_MARKS = 500
"""More come from no examination of half an hour."""

ORDINALS = ("", "second time", "third time")


@dataclass(frozen=True)
class Mark:
    """One run of a step.

    Attributes
    ----------
    step : str
        A key of `posture.filming.steps.STEPS`.
    start_s, end_s : float
        In the time of the recording, in which pauses do not count.
    before_s : float
        How long its condition, such as a cover, had lasted when its filming began.

    Raises
    ------
    SpanError
        If the step is unknown or the times are no times.
    """

    step: str
    start_s: float
    end_s: float
    before_s: float = 0.0

    def __post_init__(self) -> None:
        step_named(self.step)
        times = (self.start_s, self.end_s, self.before_s)
        if not all(isinstance(t, int | float) and isfinite(t) and t >= 0 for t in times) or self.end_s < self.start_s:
            raise SpanError(
                f"Expected a mark from an earlier to a later time; '{self.step}' from {self.start_s} to {self.end_s} s came."
            )

    @property
    def what(self) -> Step:
        """The step that ran."""
        return step_named(self.step)


@dataclass(frozen=True)
class PartOfClip:
    """A part of a recording that is read as a clip of its own.

    Attributes
    ----------
    name : str
        For files: letters and dashes.
    title : str
        For people.
    span : Span
        In the time of the recording.
    conditions : dict
        With keys of `Conditions`.
    on_target : bool
        The eyes were on a known target throughout.
    asked : str or None
        The movement that was asked for: what is reached in it is no habit.
    head_set : tuple of Span
        In the time of the recording: when the head was set straight, which gives the chin zero of every part.
    """

    name: str
    title: str
    span: Span
    conditions: dict[str, Any]
    on_target: bool
    asked: Movement | None
    head_set: tuple[Span, ...]

    def conditions_with(self, others: Conditions) -> Conditions:
        """What is known of the whole recording, with what the step says of this part."""
        return Conditions.model_validate(others.model_dump() | self.conditions)


def clips_of(marks: Sequence[Mark]) -> tuple[PartOfClip, ...]:
    """The clips that a marked recording holds.

    Parameters
    ----------
    marks : sequence of Mark

    Returns
    -------
    tuple of PartOfClip
        In order of time; every run of a step is one, since a step is repeated because something was wrong with it. Runs in which the
        head was set straight are none of their own but the reference of all.
    """
    long_enough = sorted((m for m in marks if m.end_s - m.start_s >= LEAST_S), key=lambda m: m.start_s)
    head_set = tuple((m.start_s, m.end_s) for m in long_enough if m.what.gives == "head set")
    runs: Counter[str] = Counter()
    parts = []
    for mark in long_enough:
        step = mark.what
        if step.gives == "head set":
            continue
        runs[step.key] += 1
        n = runs[step.key]
        again = ORDINALS[n - 1] if n <= len(ORDINALS) else f"time {n}"
        conditions = dict(step.conditions)
        if conditions.get("covered_eye") in ("right", "left"):
            conditions["covered_minutes"] = round((mark.before_s + mark.end_s - mark.start_s) / 60, 1)
        parts.append(
            PartOfClip(
                name=step.key if n == 1 else f"{step.key}-{n}",
                title=f"{step.title}, {again}" if again else step.title,
                span=(mark.start_s, mark.end_s),
                conditions=conditions,
                on_target=step.gives == "on target",
                asked=step.asked,
                head_set=head_set,
            )
        )
    return tuple(parts)


def marks_text(marks: Sequence[Mark], **more: Any) -> str:
    """Marks as JSON, with other things to be kept beside them."""
    return json.dumps({"schema": SCHEMA, **more, "marks": [vars(mark) for mark in marks]}, indent=1) + "\n"


def marks_from(text: str) -> tuple[Mark, ...]:
    """Read marks from what `marks_text` gave.

    Parameters
    ----------
    text : str

    Returns
    -------
    tuple of Mark

    Raises
    ------
    SpanError
        If it is anything else.
    """
    try:
        values = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise SpanError(
            "Expected the marks of a recording as JSON; what came is none. Measure the recording as a whole."
        ) from error
    if not isinstance(values, dict) or values.get("schema") != SCHEMA:
        raise SpanError(f"Expected marks with schema {SCHEMA}; another came. Measure the recording as a whole.")
    return read_marks(values.get("marks"))


def read_marks(values: object) -> tuple[Mark, ...]:
    """Marks from a list of objects as the browser sends them.

    Parameters
    ----------
    values : object
        Should be a list of ``{"step", "start_s", "end_s", "before_s"}``.

    Returns
    -------
    tuple of Mark

    Raises
    ------
    SpanError
        If it is anything else.
    """
    if not isinstance(values, list) or len(values) > MOST_MARKS:
        raise SpanError(f"Expected a list of at most {MOST_MARKS} marks; something else came.")
    marks = []
    for value in values:
        try:
            marks.append(Mark(str(value["step"]), value["start_s"], value["end_s"], value.get("before_s", 0.0)))
        except (TypeError, KeyError, AttributeError) as error:
            raise SpanError("Expected marks with step, start_s and end_s; another came.") from error
    return tuple(marks)
