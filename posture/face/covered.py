"""A face one eye of which is covered, by a patch or a hand: what that does to the landmarks, and how it is taken off them.

The landmark network puts a covered eye where what covers it suggests, and the whole face leans with it: up with one person, down with
another. It leans less where both eyes are alike. So a face whose eyes look unlike is looked at again with one eye painted over, then
with the other: the eye that tells nothing about its neighbour is the covered one. Its place comes from looks with both eyes painted
over. Then the seen eye is copied in its mirror image over the covered one, what covers that one over the seen one, and the mean of
the face as it is and of both copies is taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.conventions import SIDES, Side, other_side
from posture.face.landmarker import Landmarker
from posture.face.model import load_canonical_face
from posture.face.seen import EYES, N_MESH, Window, size_of
from posture.face.two_ways import difference_in_face, mirror_index, moved_in_face

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

AROUND_CM = 2.5
"""Points of the mesh so near to the middle of an eye go with it."""

MIDDLE_CM = (-3.4, 2.8)
"""Middle of eye, brow and what is under the eye, at the right, in the canonical face."""

PAINTED_CM = ((3.7, 3.5), (4.4, 4.1))
"""Half width and half height of what is painted over, once smaller and once larger: much smaller leaves a patch to be seen, much larger
hides the nose (rendered faces under a patch: tilt 1.24, 1.09 and 2.00 degrees with 0.8, 1 and 1.4 times the smaller)."""

COPIED_CM = (3.1, 3.0)
"""Half width and half height of what is copied from one eye to the other."""

TONES = (1.0, 0.3)
"""What is painted over has the colour of the cheeks, or that much darkened: one colour alone reads tilt worse by a tenth."""

SOFT_SHARE = 0.02
"""Blur of the edges, as a share of the face."""

UNLIKE = 0.6
"""Eyes whose pictures go together better than this are both seen, or both covered."""

TELLS_MORE, TELLS_MORE_ALIKE = 0.2, 2.0
"""One eye is covered where the other tells more about it than it about the other, as a logarithm, by the first and, for eyes that look alike,
by that many times more (159 rendered faces under a patch, 320 plain and with glasses: 88 % found, 2 % taken as covered that are not)."""

EVEN_LIGHT = 1.6
"""Nothing is said of the eyes where one cheek is so many times as bright as the other: in light from one side (60 rendered faces) the ratio
was above this in 19 of 20, elsewhere in one of 100, and the eye in the dark was taken as covered."""

EVERY_S = 2.0
"""A face that is followed is looked at for a covered eye so often; what is found twice in a row counts."""

RATE = 0.5
"""How much the newest look counts in what a covered eye does."""

EYE_CM, EYE_PX, EYE_PX_PER_CM = (-3.15, 2.6), (34, 20), 6.0
"""Middle, in the canonical face, width and height of the picture of an eye in which both are compared; with the brow and the hair above
it told covered eyes less well."""


@dataclass(frozen=True)
class _Eyes:
    """What looks at the eyes of one frame have found."""

    covered: Side | None
    difference: Array | None = None


class CoveredEye:
    """What a covered eye does to the landmarks of one face, in the frame of the face.

    Attributes
    ----------
    side : {'right', 'left'} or None
        The eye that is taken as covered, the person's own; None: neither.
    """

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Begin anew, perhaps with another face."""
        self.side: Side | None = None
        self._difference: Array | None = None
        self._found: Side | None = None
        self._looked_s = -np.inf

    def correct(self, points: Array) -> Array:
        """Points (478, 3) as they were seen, without what a covered eye does to them."""
        return points if self._difference is None else moved_in_face(points, self._difference)

    def is_due(self, time_s: float) -> bool:
        """Whether the eyes should be looked at again."""
        return abs(time_s - self._looked_s) >= EVERY_S

    def begin(self, landmarkers: list[Landmarker], window: Window, pixels: Pixels, points: Array, time_s: float) -> None:
        """Look at the eyes of a face that is seen for the first time: what is found counts at once.

        Parameters
        ----------
        landmarkers : list of Landmarker
            With their region in this window; it is there again afterwards.
        window : Window
        pixels : ndarray of uint8, shape (n, n, 3)
            What the window shows.
        points : ndarray, shape (478, 3)
            As they were seen, in the picture.
        time_s : float
        """
        self._looked_s = time_s
        eyes = _look_at_eyes(landmarkers, window, pixels, points)
        self.side, self._difference, self._found = eyes.covered, eyes.difference, eyes.covered

    def look(self, landmarkers: list[Landmarker], window: Window, pixels: Pixels, points: Array, time_s: float) -> None:
        """Look at the eyes of a face that is followed; parameters as of `begin`."""
        self._looked_s = time_s
        eyes = _look_at_eyes(landmarkers, window, pixels, points)
        before, self._found = self._found, eyes.covered
        if eyes.covered != self.side:
            if eyes.covered == before:
                self.side, self._difference = eyes.covered, eyes.difference
        elif eyes.difference is not None and self._difference is not None:
            self._difference = (1 - RATE) * self._difference + RATE * eyes.difference


def _look_at_eyes(landmarkers: list[Landmarker], window: Window, pixels: Pixels, points: Array) -> _Eyes:
    """Find a covered eye and what it does."""
    flat = window.from_picture(points[:, :2])
    alike = _likeness(pixels, flat)
    if alike > UNLIKE or not _is_lit_evenly(pixels, flat):
        return _Eyes(None)
    seen = {landmarker: here for landmarker in landmarkers if (here := landmarker.look(pixels)) is not None}
    tells = {
        landmarker: more for landmarker, here in seen.items() if (more := _tells_more(landmarker, pixels, here)) is not None
    }
    more = float(np.mean(list(tells.values()))) if tells else 0.0
    covered: Side = "right" if more > 0 else "left"
    differences = []
    if abs(more) > TELLS_MORE + TELLS_MORE_ALIKE * max(alike, 0.0):
        for landmarker in tells:
            without = _look_without(landmarker, pixels, seen[landmarker], covered)
            if without is not None:
                difference = difference_in_face(window.to_picture(without), window.to_picture(seen[landmarker]))
                differences.append(_one_sided(difference))
    for landmarker in landmarkers:
        # Its region is where the face was in the last look.
        landmarker.look(pixels)
    return _Eyes(covered, np.mean(differences, axis=0)) if differences else _Eyes(None)


def _likeness(pixels: Pixels, flat: Array) -> float:
    """How well the picture of the right eye goes with the mirrored one of the left, -1 to 1; points (478, 2) in these pixels."""
    grey = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)
    right, left = (_standardised(_picture_of_eye(grey, flat, side)) for side in SIDES)
    return float((right * left).sum())


def _tells_more(landmarker: Landmarker, pixels: Pixels, points: Array) -> float | None:
    """How many times farther the right eye moves without the left one than the left one without the right one, as a logarithm."""
    moved = []
    for side in SIDES:
        mask = _mask(pixels, points, other_side(side), PAINTED_CM[0])
        without = landmarker.look(_laid_over(pixels, TONES[0] * _skin(pixels, points), mask))
        if without is None:
            return None
        around = _around(side)
        moved.append(float(np.linalg.norm(without[around, :2] - points[around, :2], axis=1).mean()))
    return float(np.log(max(moved[0], 1e-3) / max(moved[1], 1e-3)))


def _look_without(landmarker: Landmarker, pixels: Pixels, points: Array, covered: Side) -> Array | None:
    """The mean of the face as it is and with both eyes alike, points (478, 3) in these pixels; None where it is not seen so."""
    blind, skin = [], _skin(pixels, points)
    for half_cm in PAINTED_CM:
        mask = np.maximum(*(_mask(pixels, points, side, half_cm) for side in SIDES))
        for tone in TONES:
            seen = landmarker.look(_laid_over(pixels, tone * skin, mask))
            if seen is not None:
                blind.append(seen)
    if len(blind) < len(TONES):
        return None
    place = np.median(blind, axis=0)
    looks = [points]
    for target in (covered, other_side(covered)):
        seen = landmarker.look(_copied(pixels, place, target))
        if seen is None:
            return None
        looks.append(seen)
    return np.asarray(np.mean(looks, axis=0))


def _one_sided(difference: Array) -> Array:
    """The part of a difference (478, 3) that is not its own mirror image: it turns and tilts the face, and leaves the chin as it was."""
    return np.asarray((difference - difference[mirror_index()] * [-1, 1, 1]) / 2)


@lru_cache(maxsize=2)
def _around(side: Side) -> NDArray[np.int64]:
    """The points of the mesh around an eye, those of the left in the order of their mirror images at the right."""
    flat = load_canonical_face().vertices_cm[:N_MESH, :2]
    right = np.flatnonzero(np.linalg.norm(flat - flat[list(EYES["right"])].mean(0), axis=1) < AROUND_CM)
    return right if side == "right" else mirror_index()[right]


def _to_pixels(points: Array, side: Side) -> Array:
    """How the canonical face around the right eye lies at an eye in the picture: centimetres x, y and 1 to pixels, shape (2, 3)."""
    flat = load_canonical_face().vertices_cm[_around("right"), :2]
    known = np.concatenate([flat, np.ones((len(flat), 1))], 1)
    return np.asarray(np.linalg.lstsq(known, points[_around(side), :2], rcond=None)[0].T)


def _picture_of_eye(grey: Pixels, points: Array, side: Side) -> NDArray[np.float64]:
    """An eye as it would be seen from before the face, the left one mirrored."""
    (width, height), cm = EYE_PX, 1 / EYE_PX_PER_CM
    x, y = EYE_CM
    to_cm = np.array([[cm, 0, x - cm * (width - 1) / 2], [0, -cm, y + cm * (height - 1) / 2], [0, 0, 1]])
    return _moved_picture(grey, _to_pixels(points, side) @ to_cm, EYE_PX).astype(np.float64)


def _standardised(eye: NDArray[np.float64]) -> NDArray[np.float64]:
    """A picture without what is fine in it, of mean 0 and length 1."""
    smooth = cv2.GaussianBlur(eye, (0, 0), 1.0)
    smooth = smooth - smooth.mean()
    return np.asarray(smooth / max(float(np.linalg.norm(smooth)), 1e-6))


def _moved_picture(pixels: Pixels, move: Array, size: tuple[int, int]) -> Pixels:
    """A picture of that width and height; `move`, shape (2, 3), says where in the first one each of its pixels lies."""
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(pixels, move, size, flags=flags, borderMode=cv2.BORDER_REPLICATE), np.uint8)


def _mask(pixels: Pixels, points: Array, side: Side, half_cm: tuple[float, float]) -> NDArray[np.float32]:
    """Where an eye is, 0 to 1 with soft edges, shape (n, n, 1)."""
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    (x, y), (wide, high) = MIDDLE_CM, half_cm
    corners = (_to_pixels(points, side) @ [x + wide * np.cos(angle), y + high * np.sin(angle), np.ones(24)]).T
    mask = np.zeros(pixels.shape[:2], np.float32)
    cv2.fillConvexPoly(mask, np.round(corners * 16).astype(np.int32), 1.0, cv2.LINE_AA, 4)
    return np.asarray(cv2.GaussianBlur(mask, (0, 0), SOFT_SHARE * size_of(points[:, :2]) + 0.5), np.float32)[..., None]


def _laid_over(pixels: Pixels, over: Array | Pixels, mask: NDArray[np.float32]) -> Pixels:
    """The picture with another, or one colour, laid over it where the mask is 1."""
    return np.asarray(pixels * (1 - mask) + over * mask).astype(np.uint8)


def _copied(pixels: Pixels, points: Array, side: Side) -> Pixels:
    """The picture with what is at the other eye copied, mirrored, to this one."""
    back = cv2.invertAffineTransform(_to_pixels(points, side))
    move = _to_pixels(points, other_side(side)) @ np.concatenate([back, [[0, 0, 1]]])
    copy = _moved_picture(pixels, move, (pixels.shape[1], pixels.shape[0]))
    return _laid_over(pixels, copy, _mask(pixels, points, side, COPIED_CM))


def _is_lit_evenly(pixels: Pixels, flat: Array) -> bool:
    """Whether no cheek is much brighter than the other; points (478, 2) in these pixels."""
    right, left = (float(_skin(pixels, flat, side).mean()) for side in SIDES)
    return max(right, left) < EVEN_LIGHT * max(min(right, left), 1.0)


def _skin(pixels: Pixels, points: Array, side: Side | None = None) -> Array:
    """The colour of the cheeks, shape (3,), or of that at one side."""
    cheeks = np.concatenate([_cheek(one) for one in (SIDES if side is None else [side])])
    columns, rows = np.round(points[cheeks, :2]).astype(int).clip(0, len(pixels) - 1).T
    return np.asarray(np.median(pixels[rows, columns], axis=0))


@lru_cache(maxsize=2)
def _cheek(side: Side) -> NDArray[np.int64]:
    """The points of the mesh on a cheek."""
    x, y = load_canonical_face().vertices_cm[:N_MESH, :2].T
    outwards = -x if side == "right" else x
    return np.flatnonzero((np.abs(outwards - 3.5) < 1.0) & (np.abs(y + 1.2) < 1.0))
