"""The questions of the page: which clip, mirrored or not, and how it was filmed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, BinaryIO, cast, get_args

import streamlit as st

from posture.conventions import Mirrored
from posture.measure import Settings
from posture.page import asked
from posture.page.film import MIRRORED_FROM, Film, ask_film, tell_left_behind
from posture.page.how_filmed import NOT_STATED, Answers, ask_filming
from posture.page.style import tag
from posture.page.uploads import kept_upload, work_folder
from posture.samples import SAMPLE_NAMES, sample_info, write_samples
from posture.summary.record import Conditions

FILE_TYPES = [
    "mp4", "mov", "m4v", "mkv", "webm", "avi", "mpg", "mpeg", "mts", "m2ts", "wmv", "3gp", "ogv", "dv", "vob", "flv",
    "jpg", "jpeg", "png", "heic", "heif", "webp", "tif", "tiff", "bmp",
]  # fmt: skip
"""What the picker offers; what a file really is, its bytes say."""

WAYS = {"file": "A file", "film": "Film now", "path": "A path on this computer", "sample": "A sample"}

MIRRORED = {"no": "Not mirrored", "yes": "Mirrored", "unknown": "I do not know"}

SAMPLE_TITLES = {
    "steady-left-tilt": "A steady tilt",
    "straight-and-lively": "Straight and lively",
    "right-tilt-left-turn": "A tilt with a turn",
    "two-postures": "Two postures",
    "too-short": "Too short to tell",
    "left-tilt-right-eye-covered": "The tilt, right eye covered",
    "left-tilt-left-eye-covered": "The tilt, left eye covered",
    "neck-turns": "Neck range: turns",
    "neck-tilts": "Neck range: tilts",
    "head-tilt-test": "Head-tilt test",
}
"""What the samples are called here; one without a title is called by its name."""

_ANSWERED_FOR = "answered for"
"""Key of the clip that the answers belong to."""

_OPEN_ANSWERS: dict[str, str | None] = {
    "mirrored": "unknown", "age_months": None, "label": "", "on_target": "", "head_set": "",
    "target_right": None, "target_up": None, "target_nearer": None,
    "target": NOT_STATED, "camera_height": NOT_STATED, "position": NOT_STATED, "correction": NOT_STATED,
    "covered_eye": NOT_STATED, "device": NOT_STATED, "covered_minutes": None, "target_distance_m": None, "attention": NOT_STATED,
    **asked.OPEN_ANSWERS,
}  # fmt: skip
"""Every question by its key, as it stands before it is answered."""


@dataclass(frozen=True)
class Choice:
    """The clip that was chosen.

    Attributes
    ----------
    token : tuple
        Two choices are the same clip exactly if their tokens are equal.
    upload : binary file or None
    path : str or None
    sample : str or None
    film : Film or None
        One of the four is given.
    """

    token: tuple[str, str]
    upload: BinaryIO | None = None
    path: str | None = None
    sample: str | None = None
    film: Film | None = None

    @property
    def is_gone(self) -> bool:
        """Whether it was erased, since its result is saved."""
        return self.film is not None and not self.film.is_there

    @contextmanager
    def on_disk(self, on_progress: Any) -> Iterator[Path]:
        """The clip as a file, for as long as the block lasts; a sample is drawn when it is first wanted."""
        if self.upload is not None:
            with kept_upload(self.upload) as path:
                yield path
        elif self.sample is not None:
            folder = work_folder() / "samples"
            clip = folder / f"{self.sample}.mp4"
            if not clip.exists():
                write_samples(folder, names=[self.sample], on_progress=on_progress)
            yield clip
        elif self.film is not None:
            yield self.film.recording.path
        else:
            assert self.path is not None
            # What is no path of a file here, an address or a folder of the network, is refused where clips are opened.
            yield Path(self.path)


def ask_clip(disabled: bool) -> Choice | None:
    """Ask for the clip.

    Parameters
    ----------
    disabled : bool
        While one is being measured.

    Returns
    -------
    Choice or None
        None while nothing is chosen.
    """
    way = st.segmented_control(
        "Where the clip comes from", list(WAYS), format_func=lambda w: WAYS.get(w, w), key="way", default="file",
        required=True, on_change=_other_way, label_visibility="collapsed", disabled=disabled,
    )  # fmt: skip
    if way == "sample":
        name = st.selectbox(
            "An invented, drawn child; no real person", SAMPLE_NAMES, key="sample",
            format_func=lambda name: SAMPLE_TITLES.get(name, name), disabled=disabled,
        )  # fmt: skip
        st.html(tag("p", sample_info(name).description, "p-note"))
        return Choice(("sample", name), sample=name)
    if way == "film":
        film = ask_film(disabled)
        return Choice(film.token, film=film) if film else None
    tell_left_behind()
    if way == "path":
        text = st.text_input("Path of a video or a photograph on this computer", key="path", disabled=disabled) or ""
        # Windows copies a path with quotation marks around it.
        text = text.strip().strip('"')
        return Choice(("path", text), path=text) if text else None
    upload = st.file_uploader("A video or a photograph", type=FILE_TYPES, key="clip_file", disabled=disabled)
    if upload is None:
        st.html(
            tag(
                "p",
                "Best: three minutes of the child sitting and busy, from the front, the camera on something firm.",
                "p-note",
            )
        )
        return None
    return Choice(("file", upload.file_id), upload=cast(BinaryIO, upload))


def ask_answers(choice: Choice | None, disabled: bool) -> Answers:
    """Ask whether the picture is mirrored and, folded away, how it was filmed.

    Parameters
    ----------
    choice : Choice or None
        Of a sample all of it is known.
    disabled : bool
        While a clip is being measured.

    Returns
    -------
    Answers
    """
    sample, film = (choice.sample, choice.film) if choice else (None, None)
    _settle_answers(choice.token if choice else None)
    mirrored: Mirrored = st.radio(
        "Is the picture mirrored?", get_args(Mirrored), format_func=lambda m: MIRRORED.get(m, m), key="mirrored",
        horizontal=True, disabled=disabled or sample is not None or film is not None,
        label_visibility="collapsed",
    )  # fmt: skip
    if sample is not None:
        st.html(tag("p", "This is known for a sample: it is not mirrored and the camera was level.", "p-note"))
        info = sample_info(sample)
        known = {name: value for name, value in info.conditions.items() if name in Conditions.model_fields}
        settings = Settings(mirrored=info.mirrored, roll_deg=0.0, pitch_deg=0.0, focal_px=info.focal_px)
        settings = asked.with_sample_asked(settings, info)
        if settings.asked:
            st.html(tag("p", asked.say_sample_asked(settings), "p-note"))
        return Answers(settings, Conditions.model_validate(known), None)
    if film is not None:
        st.html(tag("p", f"This is known: {MIRRORED_FROM}.", "p-note"))
        with st.expander("More about the filming (if you know it)"):
            answers = _of_film(ask_filming(mirrored, disabled), film)
        # The steps of an examination say themselves what was asked.
        return answers if film.parts else replace(answers, settings=asked.ask_asked(answers.settings, disabled))
    st.html(
        tag(
            "p",
            "How to tell: writing in the picture reads backwards when it is mirrored; the parting of the hair, or the side of"
            " shirt buttons, is swapped. The front camera of many phones mirrors.",
            "p-note",
        )
    )
    with st.expander("More about the filming (if you know it)"):
        answers = ask_filming(mirrored, disabled)
    return replace(answers, settings=asked.ask_asked(answers.settings, disabled))


def settle_mirrored(mirrored: Mirrored) -> None:
    """Answer the question of mirroring from elsewhere on the page; to be called before it is drawn."""
    st.session_state["mirrored"] = mirrored


def _of_film(answers: Answers, film: Film) -> Answers:
    """The answers, with what is known of a clip that was filmed here."""
    dated = {"filmed_on": film.recording.begun.date().isoformat(), "filmed_on_source": "filmed by this program"}
    settings = replace(film.settings_for(answers.settings), mirrored="no", mirrored_from=MIRRORED_FROM)
    said = {key: value for key, value in answers.conditions if value is not None}
    conditions = Conditions.model_validate({**film.conditions, **said, **dated})
    return replace(answers, settings=settings, conditions=conditions)


def _settle_answers(token: tuple[str, str] | None) -> None:
    """Take back every answer when a clip takes the place of another: the mirroring or the code of one is not the other's."""
    state = st.session_state
    if token is not None:
        if state.get(_ANSWERED_FOR) not in (None, token):
            state.update(_OPEN_ANSWERS)
        state[_ANSWERED_FOR] = token
    for key, value in _OPEN_ANSWERS.items():
        state.setdefault(key, value)
    if token is not None and token[0] in ("sample", "film"):
        state["mirrored"] = "no"


def _other_way() -> None:
    """Take back every answer when clips come from elsewhere."""
    st.session_state.update(_OPEN_ANSWERS)
    st.session_state.pop(_ANSWERED_FOR, None)
