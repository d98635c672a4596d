"""The strip of tilt that runs below the drawn head."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from posture.report.replay_head import Picture, colour_of, line
from posture.report.replay_words import tick_words
from posture.report.style import BLUE, GREY, INK, PALE

Array = NDArray[np.float64]

CHART_PX = (70, 354, 716, 70)
"""Where the strip stands: from the near edge, from above, width, height."""

WINDOW_S = 30.0
"""So much of the clip is in sight: single looks away can be told apart, and a spell is seen as a whole."""

NOW_SHARE = 0.75
"""Where in the strip now is: most of it is what was seen already."""

LEAST_RANGE_DEG = 20.0
GRID_DEG = 10.0


class TiltChart:
    """A strip as long as the clip, of which a piece is shown at a time.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        From 0.
    tilt_deg : ndarray, shape (n,)
        NaN where the face was not seen: the line is broken there.
    """

    def __init__(self, time_s: Array, tilt_deg: Array) -> None:
        _, _, width, height = CHART_PX
        self._px_per_s = width / WINDOW_S
        largest = np.nanmax(np.abs(tilt_deg), initial=0.0, where=np.isfinite(tilt_deg))
        self._range_deg = max(LEAST_RANGE_DEG, float(GRID_DEG * np.ceil((largest + 1) / GRID_DEG)))
        before = round(NOW_SHARE * width)
        self._strip: Picture = np.full((height, before + int(time_s[-1] * self._px_per_s) + width, 3), 255, np.uint8)
        whole_px = self._strip.shape[1]
        for level in np.arange(-self._range_deg, self._range_deg + 1, GRID_DEG):
            ends = np.array([[0.0, self._y(level)], [whole_px, self._y(level)]])
            line(self._strip, ends, colour_of(GREY if level == 0 else PALE), 0.6)
        x = before + time_s * self._px_per_s
        seen = np.isfinite(tilt_deg)
        starts = np.flatnonzero(seen & ~np.r_[False, seen[:-1]])
        ends_at = np.flatnonzero(seen & ~np.r_[seen[1:], False])
        for first, last in zip(starts, ends_at, strict=True):
            points = np.stack([x[first : last + 1], self._y(tilt_deg[first : last + 1])], -1)
            line(self._strip, points if len(points) > 1 else np.repeat(points, 2, 0), colour_of(BLUE), 1.2)

    def name_ticks(self, picture: Picture) -> None:
        """Write into a picture what stands in every one: the ends of the scale."""
        left, top, _, _ = CHART_PX
        far = round(self._range_deg)
        ticks = [(self._range_deg, f"right {far}"), (0.0, "upright"), (-self._range_deg, f"left {far}")]
        tick_words(picture, [(top + round(float(self._y(level))), text) for level, text in ticks], left - 6)

    def paint(self, picture: Picture, now_s: float) -> None:
        """Paint the piece around a moment.

        Parameters
        ----------
        picture : ndarray of uint8, shape (h, w, 3)
            Painted into.
        now_s : float
            From 0.
        """
        left, top, width, height = CHART_PX
        at = round(now_s * self._px_per_s)
        picture[top : top + height, left : left + width] = self._strip[:, at : at + width]
        x = left + NOW_SHARE * width
        line(picture, np.array([[x, top], [x, top + height - 1]], float), colour_of(INK), 1.0)

    def _y(self, tilt_deg: float | Array) -> Array:
        """Height in the strip; the child's right is up, as in the other figures."""
        height = CHART_PX[3]
        return np.asarray((height - 1) * (0.5 - 0.46 * np.asarray(tilt_deg) / self._range_deg))
