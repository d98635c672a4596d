"""What is shown while a clip is measured: how far it is, and the picture with an outline around each face that was found."""

from __future__ import annotations

import time
from typing import Any

import numpy as np

from posture.batch.child import Progress
from posture.preview import WIDTH_PX

EVERY_S = 0.5
"""The drawing of a sample is shown at most this often."""


class Watch:
    """Shows a measurement as it goes; give its `show` to `measure_in_child`.

    Parameters
    ----------
    bar, picture : streamlit placeholders
        Made with ``st.empty()``.
    """

    def __init__(self, bar: Any, picture: Any) -> None:
        self._bar = bar
        self._picture = picture
        self._next_s = -np.inf

    def draw_sample(self, name: str, share: float) -> None:
        """Show how much of a sample has been drawn."""
        now_s = time.monotonic()
        if now_s >= self._next_s:
            self._next_s = now_s + EVERY_S
            self._bar.progress(share, text="Drawing the sample, once")

    def show(self, progress: Progress) -> None:
        """Show how far it is.

        Parameters
        ----------
        progress : Progress

        Notes
        -----
        The bar is drawn every time, also when nothing is new: a press of Stop reaches this script where it draws.
        """
        self._bar.progress(progress.share or 0.0, text=_said(progress))
        if progress.jpeg is not None:
            self._picture.image(progress.jpeg, width=WIDTH_PX)

    def clear(self) -> None:
        """Take both away."""
        self._bar.empty()
        self._picture.empty()


def _said(progress: Progress) -> str:
    """How far it is and what is seen, in words."""
    if progress == Progress():
        return "Opening the clip"
    time_s = progress.time_s
    where = f"{time_s // 60:.0f} min {time_s % 60:.0f} s" if time_s >= 60 else f"{time_s:.0f} s"
    done = f"{progress.share:.0%} of the clip" if progress.share is not None else f"{where} of the clip"
    found = {0: "no face at this moment", 1: "face found"}.get(progress.faces, f"{progress.faces} faces")
    return f"Measuring: {done}, {found}"
