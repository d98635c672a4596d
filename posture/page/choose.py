"""The questions of the page: which clip, mirrored or not, and how it was filmed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO, cast, get_args

import streamlit as st

from posture.conventions import Mirrored
from posture.errors import SpanError
from posture.geometry.devices import DEVICES
from posture.measure import Settings
from posture.page.style import no_markup, tag
from posture.page.uploads import kept_upload, work_folder
from posture.samples import SAMPLE_NAMES, sample_info, write_samples
from posture.signal.spans import Span, spans_from
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
    "mirrored": "unknown", "age_months": None, "label": "", "on_target": "", "head_set": "",
    "target_right": None, "target_up": None, "target_nearer": None,
    "target": NOT_STATED, "camera_height": NOT_STATED, "position": NOT_STATED, "correction": NOT_STATED,
    "covered_eye": NOT_STATED, "device": NOT_STATED,
}  # fmt: skip
"""Every question by its key, as it stands before it is answered."""

LOOKED_AT = (
    "Tilt is measured at all times. Turn and chin are evidence only while the eyes are on a known target straight ahead: the camera"
    " at eye height, or a picture."
)

TARGET_PLACES = ("cm to the right of the camera, as the child sees it", "cm above the camera", "cm nearer than the camera")

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


def settle_mirrored(mirrored: Mirrored) -> None:
    """Answer the question of mirroring from elsewhere on the page; to be called before it is drawn."""
    st.session_state["mirrored"] = mirrored


def _ask_filming(mirrored: Mirrored, disabled: bool) -> Answers:
    """The questions that may stay open."""
    first, second = st.columns(2)
    choose = partial(_choose, disabled=disabled)
    values = {
        "position": choose(first, "How the child sat or stood", "position"),
        "correction": choose(second, "Glasses or lenses", "correction", CORRECTIONS),
        "covered_eye": choose(first, "Covered eye", "covered_eye"),
        "age_months": second.number_input(
            "Age of the child, months", min_value=0, max_value=1500, step=1, key="age_months", placeholder="not stated",
            value=None, disabled=disabled,
        ),
    }  # fmt: skip
    device = choose(first, "What filmed it", "device", tuple(DEVICES), lambda name: DEVICES[name].title)
    label = second.text_input(
        "A code for the record, never a name", key="label", max_chars=40, placeholder="none", disabled=disabled
    )
    st.html(tag("p", "What the child looked at", "p-head"))
    st.html(tag("p", LOOKED_AT, "p-note"))
    first, second = st.columns(2)
    values["target"] = choose(first, "It looked at", "target")
    values["camera_height"] = choose(second, "Height of the camera", "camera_height")
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
