"""Filming on the page: the recorder, the steps of an examination, and recordings that were left behind."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from importlib.resources import files
from typing import Any

import streamlit as st
from streamlit import runtime
from streamlit.runtime.scriptrunner import get_script_run_ctx

from posture.clinic.urgency import NECK_SCREEN
from posture.errors import OutputError
from posture.filming.looking import LARGEST_BYTES as LARGEST_PICTURE_BYTES
from posture.filming.looking import say_faces
from posture.filming.marks import PartOfClip, clips_of
from posture.filming.pieces import OLD_DAYS, LeftBehind, Recording, left_behind, take_up
from posture.filming.receive import Filming, take_pieces
from posture.filming.steps import PLAN, STEPS, Offered, Step, offered
from posture.measure import Settings
from posture.page.film_html import RECORDER
from posture.page.guide import ask_guide, close_guide, guide_data
from posture.page.style import no_markup, tag
from posture.signal.asked import Asked

LIMIT_S = 1800.0
"""Half an hour of film, pauses left out."""

MIRRORED_FROM = "filmed on this page: a browser records the camera's own picture, which is not mirrored"
"""Why the side is settled without asking; `tests/page/test_film.py` films a clip of a known side to see that it is so."""

MODES = {"play": "Free play only", "steps": "An examination, step by step"}

ADVICE = (
    "The camera on something firm, at the child's eye height, straight in front; light from the front. While it films the screen is"
    " dark and shows no picture: a mirror image straightens the head, and a lit screen pulls the eyes."
)

ERASED = "The film is erased; its result is saved."


@dataclass(frozen=True)
class Film:
    """A recording that is ready to be measured.

    Attributes
    ----------
    recording : Recording
    parts : tuple of PartOfClip
        Empty where it is one clip.
    conditions : dict
        Of that one clip, with keys of `posture.summary.record.Conditions`, as far as nobody says otherwise.
    """

    recording: Recording
    parts: tuple[PartOfClip, ...] = ()
    conditions: Mapping[str, Any] = field(default_factory=dict)

    @classmethod
    def of(cls, recording: Recording) -> Film:
        """The film of a recording, with its steps if it has several."""
        parts = clips_of(recording.marks)
        if len(parts) == 1 and not parts[0].head_set and parts[0].asked is None:
            return cls(recording, conditions=parts[0].conditions)
        return cls(recording, parts)

    def settings_for(self, settings: Settings) -> Settings:
        """The settings for the recording as a whole: what was asked in it, or set by an examiner, is no habit."""
        asked = tuple(Asked(part.asked, *part.span) for part in self.parts if part.asked is not None)
        set_times = tuple((m.start_s, m.end_s) for m in self.recording.marks if m.what.gives == "head set")
        return replace(settings, asked=asked, head_set=settings.head_set or set_times)

    @property
    def is_there(self) -> bool:
        """Whether it can be measured; it is erased when its result is saved."""
        return self.recording.path.exists()

    @property
    def token(self) -> tuple[str, str]:
        """Of the clip."""
        return "film", self.recording.folder.name


def ask_film(disabled: bool) -> Film | None:
    """Film, or choose a recording that was left behind.

    Parameters
    ----------
    disabled : bool
        While a clip is being measured.

    Returns
    -------
    Film or None
        None until something has been filmed.
    """
    state = _state()
    if state.recording is not None and state.ended:
        _draw_recorded(state, state.recording, disabled)
        return Film.of(state.recording)
    _draw_left_behind(state)
    st.html(tag("p", ADVICE, "p-note"))
    mode = st.radio("What is filmed", list(MODES), format_func=lambda m: MODES[m], key="film_mode", horizontal=True,
                    label_visibility="collapsed")  # fmt: skip
    steps, has_guide = _ask_steps() if mode == "steps" else ((), False)
    target = st.checkbox(
        "Show the child a quiet dot beneath the camera while filming; else the screen is blank", key="film_target"
    )
    if mode == "play" or steps:
        _draw_recorder(steps, target, has_guide)
    return None


def tell_left_behind() -> None:
    """Say that there are recordings to be looked after, where clips are not filmed."""
    with suppress(OutputError):  # Told where it matters.
        n = len(left_behind(_is_attended))
        if n:
            what = "A recording was" if n == 1 else f"{n} recordings were"
            st.html(tag("p", f"{what} neither measured nor erased: press Film now.", "p-note"))


def erase_film() -> None:
    """Erase the recording that was made here: its result is saved, or it was discarded."""
    state = _state()
    state.watcher.close()
    if state.recording is not None:
        state.recording.erase()
    st.session_state["filming"] = Filming(number=state.number + 1)


def erase_film_file() -> None:
    """Erase the film that was made here; that there was one is still shown."""
    state = _state()
    if state.recording is not None:
        state.recording.erase()


def _state() -> Filming:
    """What is kept while the page is open."""
    state: Filming = st.session_state.setdefault("filming", Filming())
    return state


def _draw_recorded(state: Filming, recording: Recording, disabled: bool) -> None:
    """What was filmed, and the way to film anew."""
    lines = [f"Recorded: {_length(recording.length_s)}, {recording.n_bytes / 1e6:.0f} MB."]
    lines += [f"{part.title}: {_length(part.span[1] - part.span[0])}" for part in Film.of(recording).parts]
    set_times = sum(mark.what.gives == "head set" for mark in recording.marks)
    lines += [f"Head set straight: {set_times} times"] if set_times else []
    st.html("".join(tag("p", line, "p-note") for line in lines))
    for note in recording.notes:
        st.warning(no_markup(note))
    if state.trouble:
        st.error(no_markup(state.trouble))
    is_there = recording.path.exists()
    kept = "It lies in a private folder of this computer, and is erased once its result is saved." if is_there else ERASED
    st.html(tag("p", kept, "p-note"))
    st.button("Erase it and film anew" if is_there else "Film anew", key="film_erase", on_click=erase_film, disabled=disabled)


def _draw_left_behind(state: Filming) -> None:
    """Offer recordings whose tab was closed or whose page ended."""
    try:
        found = left_behind(_is_attended)
    except OutputError as error:
        st.error(no_markup(str(error)))
        return
    for left in found:
        length = _length(left.length_s) if left.length_s is not None else "of unknown length"
        with st.container(border=True):
            st.html(
                tag("p", f"A recording of {left.begun:%d %B %Y, %H:%M}, {length}, was neither measured nor erased.", "p-note")
            )
            if left.is_old:
                st.warning(no_markup(f"It has lain here for {left.days} days, more than {OLD_DAYS}. Measure or erase it."))
            name, row = left.folder.name, st.container(horizontal=True)
            row.button("Measure it", key=f"film-take-{name}", on_click=partial(_take_up, state, left))
            row.button("Erase it", key=f"film-erase-{name}", on_click=partial(_erase_left, left))


def _take_up(state: Filming, left: LeftBehind) -> None:
    """Have a recording that was left behind measured."""
    try:
        state.recording, state.ended, state.trouble = take_up(left, _attendant()), True, None
    except OutputError as error:
        state.trouble = str(error)


def _erase_left(left: LeftBehind) -> None:
    """Erase a recording that was left behind."""
    try:
        take_up(left).erase()
    except OutputError as error:
        _state().trouble = str(error)


def _ask_steps() -> tuple[tuple[Step, ...], bool]:
    """Ask for the neck screen, for the steps that are wanted, and for the live guide."""
    with st.expander("Before the neck is moved: the neck screen"):
        st.html(tag("p", "A line without an answer counts as not asked: no tilt and no turn is then asked for.", "p-note"))
        screen: dict[str, bool | None] = {}
        for line, words in NECK_SCREEN.items():
            answer = st.radio(
                f"{words[0].upper()}{words[1:]}", ("No", "Yes"), index=None, key=f"film_neck_{line}", horizontal=True
            )
            screen[line] = None if answer is None else answer == "Yes"
    found: Offered = offered(PLAN, screen)
    if found.why:
        st.warning(no_markup(found.why))
    numbered = [f"{step.key}#{i}" for i, step in enumerate(found.steps)]
    chosen = st.multiselect(
        "Steps, in their order; each can be skipped or repeated while filming", numbered, default=numbered,
        format_func=lambda name: STEPS[name.split("#")[0]].title, key=f"film_steps_{len(numbered)}",
    )  # fmt: skip
    return tuple(STEPS[name.split("#")[0]] for name in chosen), ask_guide(screen)


@st.fragment
def _draw_recorder(steps: tuple[Step, ...], target: bool, has_guide: bool) -> None:
    """The recorder: a piece of film runs only this part of the page anew."""
    state = _state()
    key = f"recorder-{state.number}"
    plan = [
        {"key": s.key, "title": s.title, "instruction": s.instruction, "film_s": s.film_s, "wait_s": s.wait_s} for s in steps
    ]
    _component()(
        key=key,
        data={
            "run": state.run,
            "ack": state.recording.next_number if state.recording else 0,
            "done": state.ended,
            "trouble": state.trouble,
            "plan": plan,
            # Without steps the whole film is this one.
            "alone": "play",
            "target": target,
            "limit_s": LIMIT_S,
            "face": say_faces(state.watcher.faces),
            "guide": guide_data(has_guide),
        },
        on_pieces_change=partial(_came, key),
        on_look_change=partial(_look, key),
    )
    if state.ended:
        close_guide()
        st.rerun()


def _came(key: str) -> None:
    """Keep what the browser sent."""
    value = st.session_state[key].get("pieces")
    if isinstance(value, Mapping):
        take_pieces(_state(), value, _attendant())


def _look(key: str) -> None:
    """Have a small picture looked at for faces."""
    text = st.session_state[key].get("look")
    if isinstance(text, str) and len(text) < 2 * LARGEST_PICTURE_BYTES:
        with suppress(binascii.Error):
            _state().watcher.offer(base64.b64decode(text, validate=True))


def _attendant() -> str:
    """Which open page this runs for, by the number that the library gives it."""
    context = get_script_run_ctx()
    return context.session_id if context is not None else ""


def _is_attended(attendant: str) -> bool:
    """Whether the window of an open page is still there."""
    # The test frame puts a stand-in in the server's place, whose answers are neither.
    return runtime.exists() and attendant != "" and runtime.get_instance().is_active_session(attendant) is True


def _length(time_s: float) -> str:
    """A length in words."""
    whole = round(time_s)
    return f"{whole // 60} min {whole % 60} s" if whole >= 60 else f"{whole} s"


@lru_cache(maxsize=1)
def _component() -> Any:
    """The part of the page that runs in the browser, registered once."""
    folder = files("posture.page")
    css, js = (
        "\n".join(folder.joinpath(f"{name}.{kind}").read_text(encoding="utf-8") for name in ("guide", "film"))
        for kind in ("css", "js")
    )
    return st.components.v2.component("posture_filming", html=RECORDER, css=css, js=js)
