"""A stretch: one face followed without a break, and what is remembered of it so that stretches can be joined to persons."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from posture.face.looks import Looks, describe, portrait
from posture.face.seen import FaceSeen, Window

LOOKS_EVERY_S = 0.4
"""How often the looks of a face are taken: neighbouring frames say nothing new."""

MOTION_S = 0.4
"""The speed at an end of a stretch is that over this time."""

MEETING_S = 0.2
"""Frames nearer in time to a meeting of two faces do not count."""


@dataclass
class Stretch:
    """One face followed without a break.

    Attributes
    ----------
    number : int
        From 1, in order of first sight.
    times_s : list of float
    places : list of ndarray, shape (6,)
        Centre x, y and size in pixels, slope of the eye line in degrees, place of the nose (see `FaceSeen.nose_share`), for every
        time.
    looks : list of Looks
        Taken every `LOOKS_EVERY_S`.
    shifts : list of float
        How far what the face consists of moved against the scene, in face sizes; see `posture.face.surface`.
    met_at_start, met_at_end : bool
        It began or ended where two faces came together.
    portrait : ndarray or None
        A small picture, RGB, kept in memory only.
    """

    number: int
    met_at_start: bool = False
    met_at_end: bool = False
    times_s: list[float] = field(default_factory=list)
    places: list[NDArray[np.float64]] = field(default_factory=list)
    looks: list[Looks] = field(default_factory=list)
    shifts: list[float] = field(default_factory=list)
    portrait: NDArray[np.uint8] | None = None
    _portrait_worth: float = 0.0

    @property
    def first_s(self) -> float:
        """When it began."""
        return self.times_s[0]

    @property
    def last_s(self) -> float:
        """When it ended."""
        return self.times_s[-1]

    def add(self, time_s: float, seen: FaceSeen, window: Window, pixels: NDArray[np.uint8]) -> None:
        """Remember a frame: where the face was and, now and then, what it looked like.

        Parameters
        ----------
        time_s : float
        seen : FaceSeen
        window : Window
        pixels : ndarray of uint8, shape (window.out_px, window.out_px, 3)
            What the window showed.
        """
        self.times_s.append(time_s)
        self.places.append(np.array([*seen.centre_px, seen.size_px, seen.slope_deg, *seen.nose_share]))
        if not self.looks or time_s - self.looks[-1].time_s >= LOOKS_EVERY_S:
            points = window.from_picture(seen.points_px)
            self.looks.append(describe(time_s, pixels, points))
            worth = seen.size_px * self.looks[-1].frontal
            if worth > 1.1 * self._portrait_worth:
                self.portrait, self._portrait_worth = portrait(pixels, points), worth

    def counts(self, time_s: float) -> bool:
        """Whether a frame is far enough from a meeting with another face, about which landmarks may be on either of them."""
        too_early = self.met_at_start and time_s < self.first_s + MEETING_S
        return not (too_early or (self.met_at_end and time_s > self.last_s - MEETING_S))

    def end(self, *, at_start: bool) -> tuple[float, NDArray[np.float64], NDArray[np.float64]]:
        """Time, place (6,) and speed of the place (6,) a second at one end."""
        times, places = np.array(self.times_s), np.array(self.places)
        # At a meeting the window of the hidden face slides on to the other one: what was before tells who goes where.
        sure = np.array([self.counts(t) for t in self.times_s])
        if sure.any():
            times, places = times[sure], places[sure]
        near = times <= times[0] + MOTION_S if at_start else times >= times[-1] - MOTION_S
        index = 0 if at_start else -1
        if near.sum() < 3:
            return float(times[index]), places[index], np.zeros(6)
        centred = times[near] - times[near].mean()
        speed = centred @ (places[near] - places[near].mean(0)) / (centred @ centred)
        return float(times[index]), places[index], speed
