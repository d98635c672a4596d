"""Face-free replay: the measured head as a drawing, picture by picture, with its angles in words; no face, no picture, no name."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posture import __version__
from posture.errors import ReplayError
from posture.report.heads import FAN
from posture.report.replay_chart import TiltChart
from posture.report.replay_head import Picture, Place, colour_of, line, paint_head_into
from posture.report.replay_words import PANEL_PX, Said, background, panel_of
from posture.report.style import BLUE, INK
from posture.signal.habitual import HabitualPosture
from posture.signal.spans import Span
from posture.summary.checks import NO_GRAVITY
from posture.summary.record import Summary

Array = NDArray[np.float64]

RATE_HZ = 15
"""Pictures a second: as many as are analysed."""

NEAR_S = 0.2
"""A picture of the clip further away in time says nothing of a moment."""

WORDS_EVERY_S = 0.5
"""Words that change more often cannot be read; they are the medians of so long."""

FRONT, ABOVE = Place(190.0, 242.0, 61.0), Place(580.0, 128.0, 44.0)
"""Where the two views stand."""

LEAST_S = 1.0
"""A shorter film is over before one has looked."""


@dataclass(frozen=True)
class Replay:
    """A clip that can be replayed as a drawing, a row for every picture of the film.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        In the time of the clip, `RATE_HZ` a second.
    angles_deg : ndarray, shape (n, 3)
        Tilt, turn and chin as read and not smoothed, the child's own sides; NaN where the face was not seen.
    trunk_deg : ndarray, shape (n,)
        Lean of the shoulder line, + when the child's right shoulder is lower; NaN where not known.
    is_target_known : bool
        Whether turn and chin are evidence.
    """

    time_s: Array
    angles_deg: Array
    trunk_deg: Array
    is_target_known: bool

    def pictures(self, on_share: Callable[[float], None] = lambda share: None) -> Iterator[Picture]:
        """Draw the film, picture by picture.

        Parameters
        ----------
        on_share : callable
            Told which share is drawn, before every picture.

        Yields
        ------
        ndarray of uint8, shape (450, 800, 3)
            Red, green, blue. Where the face was not seen no head is drawn.
        """
        from_s = self.time_s - self.time_s[0]
        chart = TiltChart(from_s, self.angles_deg[:, 0])
        has_line = bool(np.isfinite(self.trunk_deg).any())
        empty = background(__version__, is_target_known=self.is_target_known, has_shoulder_line=has_line)
        chart.name_ticks(empty)
        x, y, width, height = PANEL_PX
        for k, now_s in enumerate(from_s):
            on_share(k / len(from_s))
            picture = empty.copy()
            picture[y : y + height, x : x + width] = panel_of(self._said(k))
            chart.paint(picture, float(now_s))
            if np.isfinite(self.angles_deg[k]).all():
                _paint_views(picture, self.angles_deg[k], float(self.trunk_deg[k]))
            yield picture

    def _said(self, k: int) -> Said:
        """What is said in picture k: the medians of its half second."""
        n = round(WORDS_EVERY_S * RATE_HZ)
        rows = self.angles_deg[k // n * n : k // n * n + n]
        seen = rows[np.isfinite(rows).all(1)]
        seconds = int(self.time_s[k])
        if 2 * len(seen) < len(rows):
            return Said(seconds)
        tilt, turn, chin = (round(float(angle)) for angle in np.median(seen, 0))
        return Said(seconds, tilt, turn, chin)


def replay_of(summary: Summary, found: HabitualPosture, span: Span | None = None) -> Replay:
    """Prepare the replay of a measured clip.

    Parameters
    ----------
    summary : Summary
    found : HabitualPosture
        Of the same clip.
    span : Span or None
        Part of the clip in seconds; None is all of it.

    Returns
    -------
    Replay

    Raises
    ------
    ReplayError
        If no side may be named, gravity is no zero, or there is no film of a face.
    """
    if not summary.sided:
        raise ReplayError(
            "Expected to know whether the picture is mirrored, as a drawn head leans to a side; it is not known. Settle it by"
            " writing, a parting or buttons in the picture."
        )
    if summary.conditions.position in NO_GRAVITY:
        raise ReplayError(
            f"Expected a child that sits or stands; position '{summary.conditions.position}' was entered, in which gravity is no"
            " zero for tilt, so that no head can be drawn upright or tilted."
        )
    is_target_known = bool(summary.habitual and summary.habitual.turn_counts)
    replay = _replay(found, span, is_target_known)
    if len(replay.time_s) < LEAST_S * RATE_HZ or not np.isfinite(replay.angles_deg).any():
        raise ReplayError(
            "Expected a film of a face for a second or more; there is none here. Choose another clip or another part."
        )
    return replay


def _replay(found: HabitualPosture, span: Span | None, is_target_known: bool) -> Replay:
    """The readings nearest to the time of each picture of the film."""
    read = found.read
    first_s, last_s = span or (0.0, np.inf)
    start_s, end_s = max(first_s, float(read.time_s[0])), min(last_s, float(read.time_s[-1]))
    time_s = start_s + np.arange(int(max(0.0, end_s - start_s) * RATE_HZ + 1e-6) + 1) / RATE_HZ
    after = np.minimum(np.maximum(np.searchsorted(read.time_s, time_s), 1), len(read.time_s) - 1)
    before = np.maximum(after - 1, 0)
    nearest = np.where(time_s - read.time_s[before] <= read.time_s[after] - time_s, before, after)
    near_s = max(NEAR_S, 0.75 * float(np.median(np.diff(read.time_s)))) if len(read.time_s) > 1 else NEAR_S
    is_near = np.abs(read.time_s[nearest] - time_s) <= near_s
    angles = np.where((is_near & read.face_found[nearest])[:, None], read.angles_deg[nearest], np.nan)
    return Replay(time_s, angles, np.where(is_near, read.trunk.tilt_deg[nearest], np.nan), is_target_known)


def _paint_views(picture: Picture, angles_deg: Array, trunk_deg: float) -> None:
    """The head from the front and from above, each with its zero and its angle."""
    tilt, turn, chin = (float(angle) for angle in angles_deg)
    ink, blue = colour_of(INK), colour_of(BLUE)
    paint_head_into(picture, FRONT, tilt, turn, chin, "front")
    paint_head_into(picture, ABOVE, tilt, turn, chin, "above")
    inner, outer = FAN["front"]
    line(picture, FRONT.pixels([[0.0, -0.25], [0.0, outer + 0.1]]), ink, 0.8, dash_px=7)
    line(
        picture, FRONT.pixels(np.outer([inner, outer + 0.12], [-np.sin(np.radians(tilt)), np.cos(np.radians(tilt))])), blue, 2.4
    )
    inner, outer = FAN["above"]
    line(picture, ABOVE.pixels([[0.0, -1.3], [0.0, -outer - 0.1]]), ink, 0.8, dash_px=6)
    line(
        picture, ABOVE.pixels(np.outer([inner, outer + 0.1], [-np.sin(np.radians(turn)), -np.cos(np.radians(turn))])), blue, 2.4
    )
    if np.isfinite(trunk_deg):
        # The shoulder on the child's right, which is at the near edge, is the lower one when the lean is positive.
        across = np.array([np.cos(np.radians(trunk_deg)), np.sin(np.radians(trunk_deg))])
        line(picture, FRONT.pixels(np.array([0.0, -0.5]) + np.outer([-1.75, 1.75], across)), blue, 1.4)
