"""Spans: times of a clip that were marked by whoever filmed it or looked through it."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from posture.errors import SpanError

Span = tuple[float, float]
"""From and to, in seconds of the clip."""

_TIME = r"(?:(\d+):)?(?:(\d+):)?(\d+(?:\.\d+)?)"
_SPAN = re.compile(rf"\s*{_TIME}\s*[-–]\s*{_TIME}\s*")


def inside(time_s: NDArray[np.float64], spans: Sequence[Span]) -> NDArray[np.bool_]:
    """Which times lie in one of the spans, ends included, shape (n,)."""
    found = np.zeros(len(time_s), bool)
    for first, last in spans:
        found |= (time_s >= first) & (time_s <= last)
    return found


def spans_from(text: str) -> tuple[Span, ...]:
    """Read spans as people write them.

    Parameters
    ----------
    text : str
        For example "0:12-0:15, 62-65.5": minutes and seconds or seconds, with commas between. May be empty.

    Returns
    -------
    tuple of Span
        In order of time.

    Raises
    ------
    SpanError
        Naming the part that cannot be read, or is empty.
    """
    spans = []
    for part in filter(str.strip, text.split(",")):
        match = _SPAN.fullmatch(part)
        if match is None:
            raise SpanError(
                f"Expected times such as '0:12-0:15, 1:02-1:05'; '{part.strip()}' came. Write minutes:seconds, from - to."
            )
        groups = match.groups()
        first, last = _seconds(groups[:3]), _seconds(groups[3:])
        if last <= first:
            raise SpanError(f"Expected times from the earlier to the later; '{part.strip()}' came. Exchange the two.")
        spans.append((first, last))
    return tuple(sorted(spans))


def say_spans(spans: Sequence[Span]) -> str:
    """Spans as text that `spans_from` reads back."""
    return ", ".join(f"{say_number(first)}-{say_number(last)}" for first, last in spans)


def say_number(value: float) -> str:
    """A number with all of its digits, and no exponent."""
    return str(np.format_float_positional(value, trim="-"))


def _seconds(parts: Sequence[str | None]) -> float:
    """Seconds of hours, minutes and seconds, the missing ones being nothing."""
    first, second, seconds = parts
    if first is not None and second is None:
        first, second = None, first
    return 3600 * int(first or 0) + 60 * int(second or 0) + float(seconds or 0)
