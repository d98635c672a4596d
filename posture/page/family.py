"""What goes to the family: how the next film is made at home, and a replay in which no face is seen; folded away."""

from __future__ import annotations

import numpy as np
import streamlit as st

from posture.errors import PostureError
from posture.filming.home_check import check_home_clip, home_lines
from posture.filming.replay import film_bytes
from posture.measure import Measurement
from posture.page.style import tag
from posture.report.home_sheet import home_sheet_bytes
from posture.report.replay import RATE_HZ, replay_of

HOME = "Filmed at home?"
REPLAY = "Replay without a face"
REPLAY_NOTE = (
    "A film of the measured head as a drawing, with its angles: no face, no picture and no name is in it. For parents, teaching and"
    " colleagues."
)
SIDE_FIRST = "A drawn head leans to a side: answer “Is the picture mirrored?” first."

_MADE = "replay made"
"""Key under which the session keeps the film that was made last, and of what."""


def draw_family(measured: Measurement, stem: str) -> None:
    """Draw what is folded away for the family; nothing for a photograph.

    Parameters
    ----------
    measured : Measurement
    stem : str
        Of the names of files.
    """
    if measured.summary.clip.duration_s is None:
        return
    with st.expander(HOME):
        heights = measured.track.face_height_px
        height = float(np.nanmedian(heights)) if np.isfinite(heights).any() else None
        lines = home_lines(measured.summary, check_home_clip(measured.summary, height))
        st.html("".join(tag("p", line) for line in lines))
        st.download_button(
            "How to film at home (PDF, one page)", home_sheet_bytes, "film-at-home.pdf", "application/pdf", key="home-sheet",
            on_click="ignore",
        )  # fmt: skip
    with st.expander(REPLAY):
        st.html(tag("p", REPLAY_NOTE, "p-note"))
        _draw_replay(measured, stem)


def _draw_replay(measured: Measurement, stem: str) -> None:
    """The film when it was made, or the button that makes it."""
    if not measured.summary.sided:
        st.html(tag("p", SIDE_FIRST))
        return
    token, film = st.session_state.get(_MADE, (None, b""))
    if token != measured.summary:
        if not st.button("Make the film", key="make-replay"):
            return
        try:
            replay = replay_of(measured.summary, measured.found)
        except PostureError as error:
            st.error(str(error))
            return
        with st.spinner(f"Drawing {len(replay.time_s)} pictures"):
            film = film_bytes(replay.pictures(), RATE_HZ)
        st.session_state[_MADE] = measured.summary, film
    st.video(film, format="video/mp4")
    st.download_button("Replay (MP4)", film, f"{stem}.replay.mp4", "video/mp4", key="replay", on_click="ignore")
