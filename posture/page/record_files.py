"""Records of clips that are given as files: what is read of them, and what no measurement can hold."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from posture.clinic.examination import Examination
from posture.errors import RecordError
from posture.summary.record import Summary

LARGEST_BYTES = 1_000_000
"""Of a file; a summary has some three thousand, what was asked less."""

MOST_LETTERS = 200
"""A longer text in a condition is no condition."""

MOST_DEG = 360.0
"""Beyond it nothing is an angle of a head."""

Document = Summary | Examination


def read_document(data: bytes) -> Document:
    """Read a record that was given as a file.

    Parameters
    ----------
    data : bytes

    Returns
    -------
    Summary or Examination

    Raises
    ------
    RecordError
        If it is too large, is neither, or holds what no measurement can: in a line without the file's name.
    """
    if len(data) > LARGEST_BYTES:
        raise RecordError(f"Expected a record under {LARGEST_BYTES // 1000} kB; a larger file came. Choose another.")
    try:
        values = json.loads(data)
        kind = values.get("schema") if isinstance(values, dict) else None
        document: Document = (Examination if kind == "posture.examination/1" else Summary).model_validate_json(data)
    except (ValueError, RecursionError) as error:
        raise RecordError(
            "Expected the summary of a clip, or what was asked in one, as measure writes them; the file is neither. Give a file that"
            " ends in .summary.json or .examination.json."
        ) from error
    if not all(_is_possible(interval) for interval in _intervals(values)):
        raise RecordError(
            "Expected angles of a head, each within its interval; the file holds others. It was changed: measure the clip again."
        )
    if not all(len(text) <= MOST_LETTERS and text.isprintable() for text in _texts(values)):
        raise RecordError(
            f"Expected texts of up to {MOST_LETTERS} letters that can be printed; the file holds others. Measure the clip again."
        )
    return document


def _intervals(values: Any) -> Iterator[Mapping[str, Any]]:
    """Every value with its interval, at any depth."""
    if isinstance(values, dict):
        if {"value", "low", "high"} <= values.keys():
            yield values
        for value in values.values():
            yield from _intervals(value)
    elif isinstance(values, list):
        for value in values:
            yield from _intervals(value)


def _is_possible(interval: Mapping[str, Any]) -> bool:
    """Whether a value lies in its interval, and the interval in what an angle can be; an open end is null."""
    low, value, high = (interval[name] for name in ("low", "value", "high"))
    ends = [-math.inf if low is None else low, value, math.inf if high is None else high]
    if not all(isinstance(end, int | float) for end in ends):
        return False
    return ends == sorted(ends) and all(abs(end) <= MOST_DEG for end in ends if math.isfinite(end))


def _texts(values: Any) -> Iterable[str]:
    """Every text of the conditions and the code."""
    for part in (values.get("conditions"), values.get("clip")):
        if isinstance(part, dict):
            yield from (text for text in part.values() if isinstance(text, str))
