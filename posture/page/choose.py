"""The questions of the page: which clip, mirrored or not, and how it was filmed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO, cast, get_args

import streamlit as st

from posture.conventions import Mirrored
from posture.measure import Settings
from posture.page.style import tag
from posture.page.uploads import kept_upload, work_folder
from posture.samples import SAMPLE_NAMES, sample_info, write_samples
from posture.summary.record import Conditions

FILE_TYPES = [
    "mp4", "mov", "m4v", "mkv", "webm", "avi", "mpg", "mpeg", "mts", "m2ts", "wmv", "3gp", "ogv", "dv", "vob", "flv",
    "jpg", "jpeg", "png", "heic", "heif", "webp", "tif", "tiff", "bmp",
]  # fmt: skip
"""What the picker offers; what a file really is, its bytes say."""

WAYS = {"file": "A file", "path": "A path on this computer", "sample": "A sample"}

MIRRORED = {"no": "Not mirrored", "yes": "Mirrored", "unknown": "I do not know"}

SAMPLE_TITLES = {
    "steady-left-tilt": "A steady tilt",
    "straight-and-lively": "Straight and lively",
    "right-tilt-left-turn": "A tilt with a turn",
    "two-postures": "Two postures",
    "too-short": "Too short to tell",
}
"""What the samples are called here; one without a title is called by its name."""

NOT_STATED = "not stated"

_ANSWERED_FOR = "answered for"
"""Key of the clip that the answers belong to."""

_OPEN_ANSWERS: dict[str, str | None] = {
    "mirrored": "unknown", "roll": None, "pitch": None, "age_months": None, "label": "",
    "target": NOT_STATED, "position": NOT_STATED, "correction": NOT_STATED, "covered_eye": NOT_STATED,
}  # fmt: skip
"""Every question by its key, as it stands before it is answered."""

CORRECTIONS = ("none", "glasses", "contact lenses")


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
        One of the three is given.
    """

    token: tuple[str, str]
    upload: BinaryIO | None = None
    path: str | None = None
    sample: str | None = None

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
        else:
            assert self.path is not None
            # What is no path of a file here, an address or a folder of the network, is refused where clips are opened.
            yield Path(self.path)


@dataclass(frozen=True)
class Answers:
    """How the clip is to be read."""

    settings: Settings
    conditions: Conditions
    label: str | None


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
    sample = choice.sample if choice else None
    _settle_answers(choice.token if choice else None)
    mirrored: Mirrored = st.radio(
        "Is the picture mirrored?", get_args(Mirrored), format_func=lambda m: MIRRORED.get(m, m), key="mirrored",
        horizontal=True, disabled=disabled or sample is not None,
        label_visibility="collapsed",
    )  # fmt: skip
    if sample is not None:
        st.html(tag("p", "This is known for a sample: it is not mirrored and the camera was level.", "p-note"))
        info = sample_info(sample)
        known = {name: value for name, value in info.conditions.items() if name in Conditions.model_fields}
        settings = Settings(mirrored=info.mirrored, roll_deg=0.0, pitch_deg=0.0, focal_px=info.focal_px)
        return Answers(settings, Conditions.model_validate(known), None)
    st.html(
        tag(
            "p",
            "How to tell: writing in the picture reads backwards when it is mirrored; the parting of the hair, or the side of"
            " shirt buttons, is swapped. The front camera of many phones mirrors.",
            "p-note",
        )
    )
    with st.expander("More about the filming (if you know it)"):
        return _ask_filming(mirrored, disabled)


def _ask_filming(mirrored: Mirrored, disabled: bool) -> Answers:
    """The questions that may stay open."""
    first, second = st.columns(2)
    number, choose = partial(first.number_input, value=None, disabled=disabled), partial(_choose, second, disabled)
    roll = number(
        "Roll of the camera, degrees", min_value=-180.0, max_value=180.0, key="roll", placeholder="as filmed: taken as level",
        help="Plus when the whole picture is turned counter-clockwise as you look at it. A door frame or a plumb line shows it.",
    )  # fmt: skip
    pitch = number(
        "Pitch of the camera, degrees", min_value=-60.0, max_value=60.0, key="pitch", placeholder="not known",
        help="Plus when the camera looks down on the child.",
    )  # fmt: skip
    age = number("Age of the child, months", min_value=0, max_value=1500, step=1, key="age_months", placeholder="not stated")
    label = first.text_input(
        "A code for the record, never a name", key="label", max_chars=40, placeholder="none", disabled=disabled
    )
    values = {
        "target": choose("What the child looked at", "target"),
        "position": choose("How the child sat or stood", "position"),
        "correction": choose("Glasses or lenses", "correction", CORRECTIONS),
        "covered_eye": choose("Covered eye", "covered_eye"),
        "age_months": age,
    }
    return Answers(Settings(mirrored, roll, pitch), Conditions.model_validate(values), (label or "").strip() or None)


def _choose(place: Any, disabled: bool, question: str, key: str, options: tuple[str, ...] | None = None) -> str | None:
    """A question with the answers that the record allows; None while it is open."""
    if options is None:
        union = Conditions.model_fields[key].annotation
        options = get_args(next(part for part in get_args(union) if get_args(part)))
    answer = place.selectbox(question, (NOT_STATED, *options), key=key, disabled=disabled)
    return None if answer == NOT_STATED else answer


def _settle_answers(token: tuple[str, str] | None) -> None:
    """Take back every answer when a clip takes the place of another: the mirroring or the code of one is not the other's."""
    state = st.session_state
    if token is not None:
        if state.get(_ANSWERED_FOR) not in (None, token):
            state.update(_OPEN_ANSWERS)
        state[_ANSWERED_FOR] = token
    for key, value in _OPEN_ANSWERS.items():
        state.setdefault(key, value)
    if token is not None and token[0] == "sample":
        state["mirrored"] = "no"


def _other_way() -> None:
    """Take back every answer when clips come from elsewhere."""
    st.session_state.update(_OPEN_ANSWERS)
    st.session_state.pop(_ANSWERED_FOR, None)
