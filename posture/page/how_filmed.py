"""The questions about how a clip was filmed; every one may stay open."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any, get_args

import streamlit as st

from posture.conventions import Mirrored
from posture.errors import SpanError
from posture.geometry.devices import DEVICES
from posture.measure import Settings
from posture.page.style import no_markup, tag
from posture.signal.spans import Span, spans_from
from posture.summary.record import Conditions

NOT_STATED = "not stated"

LOOKED_AT = (
    "Tilt is measured at all times. Turn and chin are evidence only while the eyes are on a known target straight ahead: the camera"
    " at eye height, or a picture."
)

TARGET_PLACES = ("cm to the right of the camera, as the child sees it", "cm above the camera", "cm nearer than the camera")

CORRECTIONS = ("none", "glasses", "contact lenses")
ATTENTION = ("looking hard", "idle")


@dataclass(frozen=True)
class Answers:
    """How the clip is to be read."""

    settings: Settings
    conditions: Conditions
    label: str | None


def ask_filming(mirrored: Mirrored, disabled: bool) -> Answers:
    """Ask how the clip was filmed; every question may stay open.

    Parameters
    ----------
    mirrored : {"no", "yes", "unknown"}
    disabled : bool
        While a clip is being measured.

    Returns
    -------
    Answers
    """
    first, second = st.columns(2)
    choose = partial(_choose, disabled=disabled)
    values: dict[str, Any] = {
        "position": choose(first, "How the child sat or stood", "position"),
        "correction": choose(second, "Glasses or lenses", "correction", CORRECTIONS),
        "covered_eye": choose(first, "Covered eye", "covered_eye"),
        "age_months": second.number_input(
            "Age of the child, months", min_value=0, max_value=1500, step=1, key="age_months", placeholder="not stated",
            value=None, disabled=disabled,
        ),
    }  # fmt: skip
    if values["covered_eye"] in ("right", "left"):
        values["covered_minutes"] = second.number_input(
            "Covered for so many minutes", min_value=0.0, max_value=1440.0, step=5.0, format="%g", key="covered_minutes", value=None,
            placeholder="not stated", disabled=disabled,
        )  # fmt: skip
    device = choose(first, "What filmed it", "device", tuple(DEVICES), lambda name: DEVICES[name].title)
    label = second.text_input(
        "A code for the record, never a name", key="label", max_chars=40, placeholder="none", disabled=disabled
    )
    st.html(tag("p", "What the child looked at", "p-head"))
    st.html(tag("p", LOOKED_AT, "p-note"))
    first, second = st.columns(2)
    values["target"] = choose(first, "It looked at", "target")
    values["camera_height"] = choose(second, "Height of the camera", "camera_height")
    values["target_distance_m"] = first.number_input(
        "Distance of what it looked at, metres", min_value=0.1, max_value=100.0, step=0.1, format="%g", key="target_distance_m", value=None,
        placeholder="not stated", disabled=disabled,
    )  # fmt: skip
    values["attention"] = choose(second, "How it looked", "attention", ATTENTION)
    places = zip(st.columns(3), ("right", "up", "nearer"), TARGET_PLACES, strict=True)
    target = [
        column.number_input(
            question, min_value=-2000, max_value=2000, step=5, key=f"target_{name}", value=None, placeholder="at the camera",
            disabled=disabled,
        )
        for column, name, question in places
    ]  # fmt: skip
    on_target = _ask_times("When the eyes were on it", "on_target", disabled)
    st.html(tag("p", "The head set straight", "p-head"))
    head_set = _ask_times(
        "When an examiner had set the head straight, three times if possible: zero of the chin", "head_set", disabled
    )
    settings = Settings(
        mirrored,
        device=device,
        target_cm=None if all(t is None for t in target) else tuple(float(t or 0) for t in target),  # type: ignore[arg-type]
        on_target=on_target or None,
        head_set=head_set,
    )
    return Answers(settings, Conditions.model_validate(values), (label or "").strip() or None)


def _ask_times(question: str, key: str, disabled: bool) -> tuple[Span, ...]:
    """Ask for times of the clip; what cannot be read is said, and counts as none."""
    text = st.text_input(question, key=key, placeholder="such as 0:12-0:15, 1:02-1:05", disabled=disabled) or ""
    try:
        return spans_from(text)
    except SpanError as error:
        st.error(no_markup(str(error)))
        return ()


def _choose(
    place: Any,
    question: str,
    key: str,
    options: tuple[str, ...] | None = None,
    words: Callable[[str], str] = str,
    *,
    disabled: bool,
) -> str | None:
    """A question with the answers that the record allows; None while it is open."""
    if options is None:
        union = Conditions.model_fields[key].annotation
        options = get_args(next(part for part in get_args(union) if get_args(part)))
    answer = place.selectbox(
        question, (NOT_STATED, *options), key=key, disabled=disabled, format_func=lambda o: o if o == NOT_STATED else words(o)
    )
    return None if answer == NOT_STATED else answer
