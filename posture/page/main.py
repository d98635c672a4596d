"""Draws the page, from choosing a clip to its result."""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace
from functools import partial
from ipaddress import ip_address
from itertools import count
from pathlib import Path
from typing import Any

import streamlit as st
from streamlit import runtime

from posture.batch.child import Job
from posture.batch.children import measure_in_child
from posture.errors import FaultError, PostureError
from posture.measure import Measurement, read_clip
from posture.page.choose import Answers, Choice, ask_answers, ask_clip, settle_mirrored
from posture.page.film import Film
from posture.page.hint import draw_beside
from posture.page.keep import draw_keep, offer_last
from posture.page.others import Document, remember
from posture.page.parts import QUESTION as WHICH_STEP
from posture.page.parts import ask_part, film_is_done, has_parts, with_parts
from posture.page.persons import QUESTION, asks_who, draw_left_aside, draw_question
from posture.page.result import Shown, draw_disclaimer, draw_result, keep
from posture.page.settle import FIRST_ANSWER, UPRIGHT_WORDS, UprightAnswer, ask_upright, side_views, stills_of
from posture.page.side import draw_side_check
from posture.page.style import SHOW_OUTCOME, no_markup, tag
from posture.page.uploads import results_folder
from posture.page.watch import Watch
from posture.see import SeenClip

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
    """What an open page keeps, in memory; the only pictures among it are the portraits of `seen`, which go with the clip.

    Attributes
    ----------
    measuring : bool
        Questions are closed meanwhile: an answer would start the page anew and lose the measurement.
    stopping : bool
        The user has stopped it.
    token : tuple or None
        Of the clip that the rest belongs to.
    seen : SeenClip or None
        Read again for other answers and for another person.
    person : int or None
        Who was chosen; None until somebody is, which is the first.
    measured : tuple of Answers and Measurement, or None
        As the child process read it, until it is shown.
    upright : UprightAnswer
        How the user wants upright settled.
    read_for : tuple or None
        The clip or the part of it, answers, person and upright with which `shown` was read.
    shown : Shown or None
    is_new : bool
        The result was not yet brought into view.
    error : str or None
    folder : Path or None
        For the results of this visit.
    earlier : tuple of Summary and Examination
        Clips measured since the page was opened and what was asked in them, to be laid beside each other where the user says that they are of the same child.
    """

    measuring: bool = False
    stopping: bool = False
    token: tuple[str, str] | None = None
    seen: SeenClip | None = None
    person: int | None = None
    measured: tuple[Answers, Measurement] | None = None
    upright: UprightAnswer = FIRST_ANSWER
    read_for: tuple[str, Answers, int | None, UprightAnswer] | None = None
    shown: Shown | None = None
    is_new: bool = False
    error: str | None = None
    folder: Path | None = None
    earlier: tuple[Document, ...] = ()

    def forget_clip(self) -> None:
        """Let go of all that belongs to a clip."""
        self.token = self.seen = self.person = self.measured = self.read_for = self.shown = self.error = None
        self.upright = FIRST_ANSWER


def draw() -> None:
    """Draw the page on which a clip is measured."""
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
        st.button(
            "Measure", type="primary", key="measure", disabled=choice is None or choice.is_gone, on_click=_begin, args=(state,)
        )
    if state.measuring and choice is not None:
        _measure(state, choice, answers)
        # Once more from the top, with the questions open.
        st.rerun()
    state.measuring = False
    # Always there, so that what follows keeps its place in the window.
    waiting = st.empty()
    film, seen = choice.film if choice else None, state.seen
    if film is not None and seen is not None and has_parts(film):
        _step(4, WHICH_STEP, "outcome")
        seen, answers = _of_part(state, film, seen, answers)
    if seen is not None and (seen.sha256, answers, state.person, state.upright) != state.read_for:
        with waiting, st.spinner("Reading what was seen"):
            _read(state, seen, answers)
        if film_is_done(film, state.shown is not None and bool(state.shown.measured.track.face_found.any())):
            st.rerun()  # What the page says of the film above has changed.
    if seen is not None:
        # After the part that is shown, which was read without what was asked between the parts.
        state.earlier = with_parts(state.earlier, film)
        _draw_outcome(state, seen, answers, 5 if has_parts(film) else 4)
    elif state.error is not None:
        st.error(no_markup(state.error))
    draw_disclaimer()


def _of_part(state: _State, film: Film, seen: SeenClip, answers: Answers) -> tuple[SeenClip, Answers]:
    """The part of an examination that is shown, and the answers that it is read with; all parts are kept."""
    settings = replace(state.upright.applied_to(answers.settings), person=state.person)
    try:
        state.folder = state.folder or results_folder()
        seen, of_part = ask_part(film, seen, answers, settings, state.folder)
    except PostureError as error:
        st.error(no_markup(str(error)))
        return seen, answers
    return seen, of_part


def _draw_outcome(state: _State, seen: SeenClip, answers: Answers, first_step: int) -> None:
    """Draw who was seen, where that is open, what is still to be settled by eye, and the result of one person."""
    chosen, who_is_open = state.person or 1, asks_who(seen)
    choose = partial(_choose_person, state)
    steps, name = count(first_step), "outcome" if first_step == 4 else ""
    if who_is_open:
        _step(next(steps), QUESTION, name)
        draw_question(seen, chosen, choose)
    if state.error is not None:
        st.error(no_markup(state.error))
    elif state.shown is not None:
        measured = state.shown.measured
        is_stated = answers.settings.roll_deg is not None
        if not is_stated and measured.track.face_found.any():
            _step(next(steps), "Settle side and upright", "" if who_is_open else name)
            _draw_settling(state, seen, chosen, answers)
        title = f"Result of person {chosen}" if who_is_open or state.person else "Result"
        _step(next(steps), title, name if is_stated and not who_is_open else "")
        if not who_is_open:
            draw_left_aside(seen, chosen, choose)
        draw_result(state.shown)
        _step(next(steps), "Beside the examination")
        draw_beside(measured.summary, str(state.token), state.earlier)
        _step(next(steps), "Keep with a child")
        settings = replace(state.upright.applied_to(answers.settings), person=state.person)
        draw_keep(offer_last(measured, settings))
        if state.is_new:
            state.is_new = False
            st.html(SHOW_OUTCOME, unsafe_allow_javascript=True)


def _draw_settling(state: _State, seen: SeenClip, chosen: int, answers: Answers) -> None:
    """Ask by pictures which side is which, and how the camera stood; the result follows at once."""
    assert state.shown is not None
    key = f"{state.token}-{chosen}"
    mirrored, views = answers.settings.mirrored, side_views(seen, chosen)
    if views:
        side = {"unknown": "Which side is which? Not settled", "no": "Side: not mirrored", "yes": "Side: mirrored"}[mirrored]
        with st.expander(side, expanded=mirrored == "unknown"):
            draw_side_check(views, None if mirrored == "unknown" else mirrored, settle_mirrored, f"side-{key}")
    upright = state.shown.measured.found.read.upright
    with st.expander(f"Upright: {UPRIGHT_WORDS[upright.kind]}", expanded=state.upright.way == "marked"):
        answer = ask_upright(seen, stills_of(seen, chosen), state.shown.measured, state.upright, key)
    if answer != state.upright:
        state.upright = answer
        st.rerun()


def _begin(state: _State) -> None:
    """Close the questions and measure at the next drawing."""
    state.forget_clip()
    state.measuring = True


def _stop(state: _State) -> None:
    """Have no clip measured at the next drawing: the server gives a press of Measure that it interrupted once more."""
    state.stopping = True


def _choose_person(state: _State, number: int) -> None:
    """Have the result of another person shown at the next drawing."""
    state.person = number


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
            job = Job(path, state.upright.applied_to(answers.settings), answers.conditions, answers.label)
            measured = measure_in_child(job, watch.show)
        state.seen, state.measured = measured.seen, (answers, measured)
        state.is_new = True
    except Exception as error:
        state.error = _line_of(error)
    finally:
        # Also when the user stops it, which ends this script, and with it the child, at the next thing that it would show.
        state.measuring = False
    watch.clear()
    stop.empty()


def _read(state: _State, seen: SeenClip, answers: Answers) -> None:
    """Read what was seen, with these answers and of the person chosen; the summary is on disk before it is shown."""
    state.shown, state.error, state.read_for = None, None, (seen.sha256, answers, state.person, state.upright)
    (first_answers, measured), state.measured = state.measured or (None, None), None
    try:
        # The child process has read it once already; that is not done again.
        if measured is None or measured.seen.sha256 != seen.sha256 or first_answers != answers or state.upright != FIRST_ANSWER:
            settings = replace(state.upright.applied_to(answers.settings), person=state.person)
            measured = read_clip(seen, settings, answers.conditions, answers.label)
        state.folder = state.folder or results_folder()
        state.shown = keep(measured, state.folder)
        state.earlier = remember(state.earlier, measured.summary, measured.examination)
    except Exception as error:
        state.error = _line_of(error)


def _line_of(error: Exception) -> str:
    """What the page says of an error; a fault of the program goes to the log, as its text may hold a name."""
    if isinstance(error, PostureError) and not isinstance(error, FaultError):
        return str(error)
    _LOG.error("a clip was not measured or not read", exc_info=error)
    return WENT_WRONG


def _step(number: int, title: str, name: str = "") -> None:
    """The heading of a step, under a name to which the page can be brought."""
    place = f' id="{name}"' if name else ""
    st.html(f'<div class="p-step"{place}>{tag("b", str(number))}{tag("span", title)}</div>')


def refuse_other_addresses() -> None:
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
