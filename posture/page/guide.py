"""The live guide on the page: asked for after the neck screen, drawn in the recorder, answered by a process of its own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from posture.filming.guide import LEVEL, OLD_S, TiltGuide, may_guide
from posture.filming.steps import STEPS

KEY = "film_guide"

LABEL = "Show the tilt in large figures while the examiner tilts the child's head (head-tilt test)"

CLOSED = "Open when every line of the neck screen is answered, and no."

TILT_STEPS = tuple(step.key for step in STEPS.values() if step.asked in ("tilt right", "tilt left"))
"""Steps in which it is shown while filming; before, it is shown as soon as the camera is on."""


def ask_guide(screen: Mapping[str, bool | None]) -> bool:
    """Offer the guide; off unless asked for, and closed before the neck screen.

    Parameters
    ----------
    screen : mapping of str to bool or None
        Answers to the neck screen.

    Returns
    -------
    bool
        Whether it is wanted and may be shown.
    """
    is_open = may_guide(screen)
    wanted = st.checkbox(LABEL, key=KEY, disabled=not is_open, help=None if is_open else CLOSED)
    return wanted and is_open


def guide_data(wanted: bool) -> dict[str, Any] | None:
    """What the recorder needs for the guide, whose process begins with this and ends when it is not wanted.

    Parameters
    ----------
    wanted : bool

    Returns
    -------
    dict or None
        None when it is not wanted; an address of None while the process is starting.
    """
    guide: TiltGuide = st.session_state.setdefault("tilt_guide", TiltGuide())
    if not wanted:
        guide.close()
        return None
    guide.begin()
    return {"address": guide.address, "steps": TILT_STEPS, "level": LEVEL, "old_s": OLD_S}


def close_guide() -> None:
    """End the process: filming is over."""
    guide: TiltGuide | None = st.session_state.get("tilt_guide")
    if guide is not None:
        guide.close()
