"""Draws the page, from choosing a clip to its result."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import streamlit as st
from streamlit import runtime

from posture.errors import PostureError
from posture.measure import Measurement, measure_clip, read_measurement
from posture.page.choose import Answers, Choice, ask_answers, ask_clip
from posture.page.result import Shown, draw_disclaimer, draw_result, keep
from posture.page.style import CSS, SHOW_RESULT, no_markup, tag
from posture.page.uploads import results_folder
from posture.page.watch import Watch

LEAD = (
    "Choose a clip of the child, press Measure, and see how far the head is tilted and turned and how constantly. Nothing leaves"
    " this computer."
)

WENT_WRONG = "Something went wrong inside the program; the clip was not measured."

NOT_LOOPBACK = (
    "This page shows people's clips and must be reachable from this computer only. Expected the server's address to be"
    " 127.0.0.1; it is another, or none. Start the page with: posture page"
)

_LOG = logging.getLogger("posture.page")


@dataclass
class _State:
    """What a session keeps; no picture is among it.

    Attributes
    ----------
    measuring : bool
        Questions are closed meanwhile: an answer would start the page anew and lose the measurement.
    stopping : bool
        The user has stopped it.
    token : tuple or None
        Of the clip that the rest belongs to.
    measured : Measurement or None
        As first read; its track is read again for other answers.
    answers : Answers or None
        With which `shown` was read.
    shown : Shown or None
    is_new : bool
        The result was not yet brought into view.
    error : str or None
    folder : Path or None
        For the results of this visit.
    """

    measuring: bool = False
    stopping: bool = False
    token: tuple[str, str] | None = None
    measured: Measurement | None = None
    answers: Answers | None = None
    shown: Shown | None = None
    is_new: bool = False
    error: str | None = None
    folder: Path | None = None

    def forget_clip(self) -> None:
        """Let go of all that belongs to a clip."""
        self.token = self.measured = self.answers = self.shown = self.error = None


def draw() -> None:
    """Draw the page; the script of the server calls it at every change."""
    st.set_page_config(page_title="Head posture", layout="centered")
    st.html(CSS)
    _refuse_other_addresses()
    st.html(tag("h1", "Head posture", "p-title") + tag("p", LEAD, "p-lead"))
    state: _State = st.session_state.setdefault("posture", _State())
    if state.stopping:
        state.measuring = state.stopping = False
    _step(1, "Choose a clip")
    choice = ask_clip(state.measuring)
    if choice is None or choice.token != state.token:
        state.forget_clip()
    _step(2, "Is the picture mirrored?")
    answers = ask_answers(choice, state.measuring)
    _step(3, "Measure")
    if not state.measuring:
        st.button("Measure", type="primary", key="measure", disabled=choice is None, on_click=_begin, args=(state,))
    if state.measuring and choice is not None:
        _measure(state, choice, answers)
        # Once more from the top, with the questions open.
        st.rerun()
    state.measuring = False
    if state.measured is not None and answers != state.answers:
        _read(state, state.measured, answers)
    if state.error is not None:
        st.error(no_markup(state.error))
    elif state.shown is not None:
        _step(4, "Result", "result")
        draw_result(state.shown)
        if state.is_new:
            state.is_new = False
            st.html(SHOW_RESULT, unsafe_allow_javascript=True)
    draw_disclaimer()


def _begin(state: _State) -> None:
    """Close the questions and measure at the next drawing."""
    state.forget_clip()
    state.measuring = True


def _stop(state: _State) -> None:
    """Have no clip measured at the next drawing: the server gives a press of Measure that it interrupted once more."""
    state.stopping = True


def _measure(state: _State, choice: Choice, answers: Answers) -> None:
    """Measure the chosen clip, showing how it goes; an error becomes a line."""
    stop, bar, picture = st.empty(), st.empty(), st.empty()
    # Any press of a button starts the script anew, and so ends the measurement.
    stop.button("Stop", key="stop", on_click=_stop, args=(state,))
    watch = Watch(bar, picture)
    bar.progress(0.0, text="Opening the clip")
    state.token = choice.token
    try:
        with choice.on_disk(watch.draw_sample) as path:
            state.measured = measure_clip(path, answers.settings, answers.conditions, answers.label, watch.show)
        state.is_new = True
    except PostureError as error:
        state.error = str(error)
    except Exception:
        _LOG.exception("a clip was not measured")
        state.error = WENT_WRONG
    finally:
        # Also when the user stops it, which ends this script at the next thing that it would show.
        state.measuring = False
    watch.clear()
    stop.empty()


def _read(state: _State, measured: Measurement, answers: Answers) -> None:
    """Read the kept track with these answers; the summary is on disk before it is shown."""
    state.shown, state.error, state.answers = None, None, answers
    filmed = {name: getattr(measured.summary.conditions, name) for name in ("filmed_on", "filmed_on_source")}
    conditions = answers.conditions.model_copy(update=filmed)
    try:
        state.folder = state.folder or results_folder()
        state.shown = keep(
            read_measurement(measured.track, measured.facts, answers.settings, conditions, answers.label), state.folder
        )
    except PostureError as error:
        state.error = str(error)
    except Exception:
        _LOG.exception("a track was not read")
        state.error = WENT_WRONG


def _step(number: int, title: str, name: str = "") -> None:
    """The heading of a step, under a name to which the page can be brought."""
    place = f' id="{name}"' if name else ""
    st.html(f'<div class="p-step"{place}>{tag("b", str(number))}{tag("span", title)}</div>')


def _refuse_other_addresses() -> None:
    """Stop where others could reach the page: a real server that listens on more than the loopback address."""
    address = st.get_option("server.address")
    # The test frame puts a stand-in in the server's place, which listens nowhere.
    served = runtime.exists() and type(runtime.get_instance()) is runtime.Runtime
    if (served or address is not None) and not _is_loopback(address):
        st.error(no_markup(NOT_LOOPBACK))
        st.stop()


def _is_loopback(address: Any) -> bool:
    """Whether an address is this computer's own."""
    if address == "localhost":
        return True
    try:
        return ip_address(str(address)).is_loopback
    except ValueError:
        return False
