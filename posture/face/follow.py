"""Follow one face from frame to frame, in a window that stays still around it until the landmarks no longer move."""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from types import TracebackType
from typing import Self

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.conventions import Side, wrap_deg
from posture.face.covered import CoveredEye
from posture.face.landmarker import Landmarker, LibraryLandmarker, MirroredLandmarker
from posture.face.seen import WINDOW_FACES, FaceSeen, Picture, Window
from posture.face.shape import is_face_shaped
from posture.face.two_ways import BOTH_WAYS, TwoWays, Way

OFF_CENTRE = 0.18
"""The window moves when the face's centre is farther than this share of its side from the middle."""

SIZE_RATIO = 1.35
"""The window moves when the face has grown or shrunk by this factor since it was placed."""

SETTLED = 0.006
"""Landmarks have settled when a further look moves them by less than this share of the face, on average."""

MAX_LOOKS = 5
"""Looks at one frame at most; four are enough for nearly all."""

AGREE = 0.08
"""A face seen as it is and mirrored is the same to this share of its size, on average."""

LEANS_DEG = 60.0
"""The window is turned by a quarter when the face leans farther in it."""

ALONE_FACES = 1.5
"""Side of the part of a window, in face sizes, that is shown when it is looked at for the first time."""

SAME_PLACE = 0.6
"""A face found farther than this share of its size from where the window was put is another one."""

GOES_FAST, GOES_TOO_FAST = 0.02, 0.5
"""The window goes along with a face that moves by a share of its size between these from one frame to the next."""

TURNED_DEG = 10.0
"""A face looked at for the first time is looked at turned by this to both sides too, in the region of the look before: how it lies in the
region makes errors that partly cancel (200 rendered faces: tilt, turn and chin better by 5, 3 and 2 %; by 5 or 15 degrees less)."""

FAST = 0.05
"""A face that is farther than this share of its size from where it was expected is looked at again."""


@dataclass(frozen=True)
class _Ahead:
    """A look at a frame to come, going on in a thread: through which window, with which landmarker."""

    time_s: float
    window: Window
    landmarker: Landmarker
    looking: Future[tuple[NDArray[np.uint8], NDArray[np.float64] | None]]


class FollowedFace:
    """One face and the window around it. Use it inside ``with``; give it the frames in order.

    Two landmarkers take turns, so that the next frame can be looked at while this one still is: each takes half of the time that
    there is for one. What they see does not depend on how long it takes them. One sees the face as it is and the other in a mirror,
    and what that makes of a difference is taken off both, see `posture.face.two_ways`.

    Attributes
    ----------
    window : Window or None
        Where the face was looked at last; None before it was placed.
    pixels : ndarray or None
        What the window showed in the last frame, RGB.
    """

    def __init__(self) -> None:
        self._landmarkers: tuple[Landmarker, Landmarker] = (LibraryLandmarker(), MirroredLandmarker(LibraryLandmarker()))
        self._threads = ThreadPoolExecutor(len(self._landmarkers), "face-landmarker")
        self._turn = 0
        self._ways = TwoWays()
        self._covered = CoveredEye()
        self._raw: NDArray[np.float64] | None = None
        self._ahead: list[_Ahead] = []
        self.window: Window | None = None
        self.pixels: NDArray[np.uint8] | None = None
        self._placed_size_px = 0.0
        self._last: FaceSeen | None = None
        self._last_s = 0.0
        self._speed_px_s = np.zeros(2)

    def __enter__(self) -> Self:
        for opening in [self._threads.submit(landmarker.__enter__) for landmarker in self._landmarkers]:
            opening.result()
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._threads.shutdown(cancel_futures=True)
        self._ahead.clear()
        for landmarker in self._landmarkers:
            landmarker.__exit__(kind, error, trace)

    @property
    def covered_eye(self) -> Side | None:
        """The eye that is taken as covered, see `posture.face.covered`."""
        return self._covered.side

    def look(self, picture: Picture, upcoming: Picture | None = None, later: Picture | None = None) -> FaceSeen | None:
        """See the face in the next frame, where it was before.

        Parameters
        ----------
        picture : Picture
        upcoming, later : Picture or None
            The frame after it and the one after that, if there are any: the looks at those begin, each when the landmarker whose turn
            it will be has nothing else to do.

        Returns
        -------
        FaceSeen or None
            None where there is no face, or nothing shaped like one.
        """
        if self.window is None:
            return None
        if self._ahead and self._ahead[0].time_s != picture.time_s:
            self._give_up_ahead()
        ahead = self._ahead.pop(0) if self._ahead else None
        if ahead is not None:
            self._turn = self._landmarkers.index(ahead.landmarker)
        if upcoming is not None and not self._ahead:
            self._begin_ahead(upcoming, self._landmarkers[1 - self._turn])
        found = self._look_now(picture, ahead)
        if later is not None and self._ahead:
            self._begin_ahead(later, self._landmarkers[self._turn])
        return found

    def _look_now(self, picture: Picture, ahead: _Ahead | None) -> FaceSeen | None:
        """The face in this frame, which may have been looked at ahead."""
        assert self.window is not None
        found = self._seen_ahead(ahead, picture)
        if found is None:
            self.window, expected = self._along(self.window, picture.time_s)
            found = self._settle(picture, self.window, expected)
        if found is not None and self._has_left_the_middle(found, self.window):
            turns = self._turns(found, self.window.quarter_turns)
            return self.place(picture, found.centre_px, found.size_px, turns, anew=False)
        if found is not None and self._covered.is_due(picture.time_s):
            found = self._looked_at_eyes(found, picture.time_s)
        return self._remember(found, picture.time_s)

    def _looked_at_eyes(self, found: FaceSeen, time_s: float) -> FaceSeen:
        """The same face after a further look at its eyes, with the landmarker that does not look ahead."""
        assert self.window is not None
        assert self.pixels is not None
        assert self._raw is not None
        points = self._ways.correct(self._raw, self._way)
        self._covered.look([self._landmarkers[self._turn]], self.window, self.pixels, points, time_s)
        return self._corrected(self._raw, found.looks, found.settled)

    def _begin_ahead(self, upcoming: Picture, landmarker: Landmarker) -> None:
        """Begin to look at a frame to come, where the face should be then, with the landmarker whose turn it will be."""
        assert self.window is not None
        window, expected = self._along(self.window, upcoming.time_s)
        if expected is None:
            return
        looking = self._threads.submit(_look_through, landmarker, window, upcoming)
        self._ahead.append(_Ahead(upcoming.time_s, window, landmarker, looking))

    def _seen_ahead(self, ahead: _Ahead | None, picture: Picture) -> FaceSeen | None:
        """The face as it was seen ahead, if that was this frame, and the face there is where it is expected by now."""
        if ahead is None:
            return None
        pixels, points = ahead.looking.result()
        _, expected = self._along(ahead.window, picture.time_s)
        if points is None or expected is None:
            return None
        seen = self._corrected(ahead.window.to_picture(points), 1, settled=True)
        if _moved(seen, expected) >= FAST:
            return None
        self.window, self.pixels = ahead.window, pixels
        return seen

    def place(
        self,
        picture: Picture,
        centre_px: NDArray[np.float64],
        size_px: float,
        quarter_turns: int = 0,
        *,
        anew: bool = True,
    ) -> FaceSeen | None:
        """Put the window around a face, and again if the first look shows it elsewhere or of another size.

        Parameters
        ----------
        picture : Picture
        centre_px : ndarray, shape (2,)
        size_px : float
        quarter_turns : int
            Of the window, see `Window`.
        anew : bool
            It may be another face than before: look both ways.

        Returns
        -------
        FaceSeen or None
        """
        found = None
        self._give_up_ahead()
        # It begins anew, perhaps on another face: nothing is expected, and no speed is known.
        self._last = None
        for _ in range(2):
            self.window = Window.around(centre_px, size_px, quarter_turns)
            self._placed_size_px = size_px
            for landmarker in self._landmarkers:
                landmarker.forget()
            found = self._settle_both_ways(picture, self.window) if anew else self._settle(picture, self.window, None)
            if found is None or np.linalg.norm(found.centre_px - centre_px) > SAME_PLACE * size_px:
                found = None
                break
            if not self._has_left_the_middle(found, self.window):
                break
            centre_px, size_px, quarter_turns = found.centre_px, found.size_px, self._turns(found, quarter_turns)
        return self._remember(found, picture.time_s)

    def _remember(self, found: FaceSeen | None, time_s: float) -> FaceSeen | None:
        """Keep what was seen, and its speed, for the next frame; None instead of what is not shaped like a face."""
        if found is not None and not is_face_shaped(found):
            found = None
        if found is not None and self._raw is not None:
            self._ways.learn(self._raw, self._way)
        since_s = time_s - self._last_s
        self._speed_px_s = np.zeros(2)
        if found is not None and self._last is not None and since_s > 0:
            self._speed_px_s = (found.centre_px - self._last.centre_px) / since_s
        self._last, self._last_s = found, time_s
        return found

    def _give_up_ahead(self) -> None:
        """Wait for looks that go on, and forget them: their windows are about to be others."""
        for ahead in self._ahead:
            ahead.looking.exception()
        self._ahead.clear()

    def _along(self, window: Window, time_s: float) -> tuple[Window, FaceSeen | None]:
        """Where the window and the face will be by then: a window that goes along with a moving face has it where it was.

        The landmarker's region is where the face was in the call before; a window that goes along keeps it right without
        further looks. A face that keeps still has a window that keeps still.
        """
        if self._last is None:
            return window, None
        ahead = self._speed_px_s * (time_s - self._last_s)
        if not GOES_FAST * self._last.size_px < float(np.linalg.norm(ahead)) < GOES_TOO_FAST * self._last.size_px:
            return window, self._last
        left, top = window.left_px + float(ahead[0]), window.top_px + float(ahead[1])
        return replace(window, left_px=left, top_px=top), replace(self._last, points_px=self._last.points_px + ahead)

    def _settle_both_ways(self, picture: Picture, window: Window) -> FaceSeen | None:
        """Settle with one landmarker and then with the other; the mean of both, or the one that finds rest.

        On what is no face the two ways see different things.
        """
        self._ways.forget()
        self._covered.forget()
        settled: dict[Way, tuple[NDArray[np.float64], FaceSeen]] = {}
        found: FaceSeen | None = None
        agree = True
        for _ in self._landmarkers:
            self._turn = 1 - self._turn
            seen = self._settle(picture, window, None)
            agree = agree and seen is not None and (found is None or _moved(seen, found) < AGREE)
            found = seen or found
            if seen is not None and seen.settled and self._raw is not None:
                settled[self._way] = self._raw, seen
        if found is None or not settled or not agree:
            return None if found is None else replace(found, settled=False)
        if len(settled) == len(self._landmarkers):
            # What is learned for the frames to come is of looks that are not turned, as those will be.
            self._ways.begin(settled[1][0], settled[-1][0])
        elif self._way not in settled:
            self._turn = 1 - self._turn
        self._raw = settled[self._way][0]
        points = np.mean([self._also_turned(window, way, *pair) for way, pair in settled.items()], axis=0)
        assert self.pixels is not None
        landmarkers = [self._landmarkers[BOTH_WAYS.index(way)] for way in settled]
        self._covered.begin(landmarkers, window, self.pixels, points, picture.time_s)
        points = self._covered.correct(points)
        return FaceSeen(points[:, :2], points[:, 2], found.looks, settled=True)

    def _also_turned(self, window: Window, way: Way, raw: NDArray[np.float64], seen: FaceSeen) -> NDArray[np.float64]:
        """The mean of the points (478, 3) settled on in one way and of those seen in the same window turned a little to both sides."""
        assert self.pixels is not None
        landmarker, every = self._landmarkers[BOTH_WAYS.index(way)], [raw]
        # Whoever sees in a mirror turns the other way first, so that a mirrored picture gives the mirrored answer.
        for turned_deg in (way * TURNED_DEG, -way * TURNED_DEG):
            points = landmarker.look(_turned(self.pixels, turned_deg))
            if points is not None:
                points[:, :2] = _turned_points(points[:, :2], -turned_deg, window.out_px)
                points = window.to_picture(points)
                if np.linalg.norm(points - raw, axis=1).mean() < AGREE * seen.size_px:
                    every.append(points)
            # Its region is where the face was in the last look.
            landmarker.look(self.pixels)
        return np.asarray(np.mean(every, axis=0))

    def _settle(self, picture: Picture, window: Window, expected: FaceSeen | None) -> FaceSeen | None:
        """Look at the window until a further look no longer moves the landmarks; once is enough for a face that kept still."""
        self.pixels = pixels = window.show(picture)
        landmarker = self._landmarkers[self._turn]
        before = expected
        for looks in range(1, MAX_LOOKS + 1):
            points = _look_at(landmarker, pixels)
            if points is None and before is not None:
                # A face may have left the region where it was: the landmarker looks for it anew in the same window.
                before = None
                continue
            if points is None:
                return None
            seen = self._corrected(window.to_picture(points), looks)
            if before is not None and _moved(seen, before) < (FAST if before is expected else SETTLED):
                return replace(seen, settled=True)
            before = seen
        return None if before is None else seen

    def _corrected(self, points: NDArray[np.float64], looks: int, settled: bool = False) -> FaceSeen:
        """What the landmarker whose turn it is has seen, points (478, 3), with what is known of the other's way and of the eyes."""
        self._raw = points
        points = self._covered.correct(self._ways.correct(points, self._way))
        return FaceSeen(points[:, :2], points[:, 2], looks, settled)

    @property
    def _way(self) -> Way:
        """The way in which the landmarker whose turn it is sees."""
        return BOTH_WAYS[self._turn]

    def _has_left_the_middle(self, face: FaceSeen, window: Window) -> bool:
        """Whether the window should be moved."""
        ratio = face.size_px / self._placed_size_px
        off = np.abs(face.centre_px - window.middle_px).max() / window.side_px
        turned = self._turns(face, window.quarter_turns) != window.quarter_turns
        return bool(turned or off > OFF_CENTRE or not 1 / SIZE_RATIO < ratio < SIZE_RATIO)

    @staticmethod
    def _turns(face: FaceSeen, now: int) -> int:
        """Quarter turns of the window that a face needs: those it has unless the face leans too far in it."""
        leans_deg = wrap_deg(face.slope_deg - 90.0 * now)
        return now if abs(leans_deg) < LEANS_DEG else round(face.slope_deg / 90.0) % 4


def _moved(seen: FaceSeen, before: FaceSeen) -> float:
    """How far the landmarks are from where they were, on average, in face sizes."""
    return float(np.linalg.norm(seen.points_px - before.points_px, axis=1).mean() / seen.size_px)


def _look_at(landmarker: Landmarker, pixels: NDArray[np.uint8]) -> NDArray[np.float64] | None:
    """Look at what a window shows; a landmarker without a region takes the surest face, and that may be a neighbour's."""
    return landmarker.look(pixels if landmarker.has_region else _alone(pixels))


def _look_through(
    landmarker: Landmarker, window: Window, picture: Picture
) -> tuple[NDArray[np.uint8], NDArray[np.float64] | None]:
    """What a window shows, and the landmarks in it; twice where the first look only finds the region."""
    pixels = window.show(picture)
    if not landmarker.has_region and _look_at(landmarker, pixels) is None:
        return pixels, None
    return pixels, landmarker.look(pixels)


def _turning(side_px: int, deg: float) -> NDArray[np.float64]:
    """How points move, shape (2, 3), as a square picture is turned counter-clockwise about its middle."""
    middle = (side_px - 1) / 2
    return np.asarray(cv2.getRotationMatrix2D((middle, middle), deg, 1.0), np.float64)


def _turned(pixels: NDArray[np.uint8], deg: float) -> NDArray[np.uint8]:
    """A square picture after that turn, its edges drawn out."""
    side_px = len(pixels)
    shown = cv2.warpAffine(pixels, _turning(side_px, deg), (side_px, side_px), borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(shown, np.uint8)


def _turned_points(points: NDArray[np.float64], deg: float, side_px: int) -> NDArray[np.float64]:
    """Points (n, 2) of a square picture after that turn."""
    turning = _turning(side_px, deg)
    return np.asarray(points @ turning[:, :2].T + turning[:, 2])


def _alone(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The middle of a window with everything around it in its mean colour."""
    margin = round(len(pixels) * (1 - ALONE_FACES / WINDOW_FACES) / 2)
    inside = pixels[margin:-margin, margin:-margin]
    shown = np.empty_like(pixels)
    shown[:] = inside.mean((0, 1)).astype(np.uint8)
    shown[margin:-margin, margin:-margin] = inside
    return shown
