"""Find the face in a frame and follow it: search over tiles, then a window that stays still around the face."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from posture.face.landmarker import LibraryLandmarker

WINDOW_FACES = 2.2
"""Side of the window in face sizes: the detector needs the face at an eighth of the picture or more, the mesh some margin."""

WINDOW_PX = 384
"""A window is looked at in this size: a face is then about 175 px, of which the library makes its own 256 px input."""

TILE_PX = 256
"""Tiles of the search are looked at in this size; the library's detector works at 128 px."""

TILE_SHARES = (1.0, 0.65, 0.433)
"""Sides of the search tiles against the shorter side of the picture; the smallest finds faces of a nineteenth of it."""

TILE_OVERLAP = 0.4
"""Neighbouring tiles share at least this part, so that a face of that size is whole in one of them."""

OFF_CENTRE = 0.18
"""The window moves when the face's centre is farther than this share of its side from the middle."""

SIZE_RATIO = 1.35
"""The window moves when the face has grown or shrunk by this factor since it was placed."""

SETTLED = 0.006
"""Landmarks have settled when a further look moves them by less than this share of the face, on average."""

MAX_LOOKS = 5
"""Looks at one frame at most; four are enough for nearly all."""

FAST = 0.05
"""A face that moved by more than this share of its size since the frame before is looked at again."""

SEARCH_EVERY_S = 0.5
"""While no face is seen, the whole picture is searched at most this often."""

CENSUS_EVERY_S = 5.0
"""The picture is searched for further faces this often."""


class Picture(Protocol):
    """What following needs of a frame."""

    time_s: float
    width_px: int
    height_px: int

    def region_rgb(self, left_px: float, top_px: float, side_px: float, out_px: int) -> NDArray[np.uint8]:
        """Pixels of a square window, shape (out_px, out_px, 3), RGB."""


@dataclass(frozen=True)
class FaceSeen:
    """The landmarks of one face in one frame.

    Attributes
    ----------
    points_px : ndarray, shape (478, 2)
        In the upright picture, pixel centres at whole numbers.
    depth_px : ndarray, shape (478,)
        The library's own relative depth, growing away from the camera.
    looks : int
        How often this frame was looked at.
    settled : bool
        Whether the last look still moved the landmarks by less than `SETTLED`.
    """

    points_px: NDArray[np.float64]
    depth_px: NDArray[np.float64]
    looks: int
    settled: bool

    @property
    def centre_px(self) -> NDArray[np.float64]:
        """Middle of the box around the face, shape (2,)."""
        return (self.points_px[:468].min(0) + self.points_px[:468].max(0)) / 2

    @property
    def size_px(self) -> float:
        """Longer side of the box around the face."""
        return float((self.points_px[:468].max(0) - self.points_px[:468].min(0)).max())


@dataclass
class _Window:
    """A square of the upright picture and the mapping of what is seen in it."""

    left_px: float
    top_px: float
    side_px: float
    out_px: int

    def show(self, picture: Picture) -> NDArray[np.uint8]:
        """The pixels of the window."""
        return picture.region_rgb(self.left_px, self.top_px, self.side_px, self.out_px)

    def to_picture(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (n, 3) of the window, in pixels of the picture."""
        scale = self.side_px / self.out_px
        corner = np.array([self.left_px, self.top_px])
        return np.concatenate([(points[:, :2] + 0.5) * scale - 0.5 + corner, points[:, 2:] * scale], 1)


class FaceFollower:
    """Follows the largest face from frame to frame. Use it inside ``with``; give it the frames in order.

    Attributes
    ----------
    most_faces : int
        The largest number of faces that a search found in one frame.
    """

    def __init__(self) -> None:
        self._finder = LibraryLandmarker(settling=False, max_faces=3)
        self._settler = LibraryLandmarker(settling=True)
        self._window: _Window | None = None
        self._placed_size_px = 0.0
        self._last: FaceSeen | None = None
        self._next_search_s = -np.inf
        self._next_census_s = -np.inf
        self.most_faces = 0

    def __enter__(self) -> Self:
        self._finder.__enter__()
        self._settler.__enter__()
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._settler.__exit__(kind, error, trace)
        self._finder.__exit__(kind, error, trace)

    def look(self, picture: Picture) -> FaceSeen | None:
        """Find the followed face in the next frame.

        Parameters
        ----------
        picture : Picture
            The frame; later than the one before.

        Returns
        -------
        FaceSeen or None
            None where no face was found.
        """
        found: FaceSeen | None = None
        if self._window is not None:
            found = self._settle(picture, self._window)
            if found is not None and self._has_left_the_middle(found):
                found = self._place_and_settle(picture, found.centre_px, found.size_px)
        if picture.time_s >= self._next_census_s or (found is None and picture.time_s >= self._next_search_s):
            self._next_search_s = picture.time_s + SEARCH_EVERY_S
            self._next_census_s = picture.time_s + CENSUS_EVERY_S
            faces = self._search(picture)
            self.most_faces = max(self.most_faces, len(faces))
            for centre_px, size_px in faces:
                if found is None:
                    found = self._place_and_settle(picture, centre_px, size_px)
        if found is None:
            self._window = None
        else:
            self.most_faces = max(self.most_faces, 1)
        self._last = found
        return found

    def _search(self, picture: Picture) -> list[tuple[NDArray[np.float64], float]]:
        """Faces as (centre (2,), size) in pixels, the largest first; smaller tiles only where larger ones showed none."""
        for share in TILE_SHARES:
            side = share * min(picture.width_px, picture.height_px)
            faces: list[tuple[NDArray[np.float64], float]] = []
            for top in _tile_starts(picture.height_px, side):
                for left in _tile_starts(picture.width_px, side):
                    window = _Window(left, top, side, TILE_PX)
                    for points in self._finder.look(window.show(picture)):
                        seen = _face(window.to_picture(points), 1)
                        _add_if_new(faces, seen.centre_px, seen.size_px)
            faces = [face for face in faces if self._is_confirmed(picture, *face)]
            if faces:
                return sorted(faces, key=lambda face: -face[1])
        return []

    def _is_confirmed(self, picture: Picture, centre_px: NDArray[np.float64], size_px: float) -> bool:
        """Whether a second look, at a window of its own, finds the face again: chance finds in a tile do not last."""
        window = _window_around(centre_px, size_px)
        for points in self._finder.look(window.show(picture)):
            seen = _face(window.to_picture(points), 1)
            if np.linalg.norm(seen.centre_px - centre_px) < 0.5 * size_px:
                return True
        return False

    def _place_and_settle(self, picture: Picture, centre_px: NDArray[np.float64], size_px: float) -> FaceSeen | None:
        """Put the window around a face, and again if the first look shows it elsewhere or of another size."""
        found = None
        for _ in range(2):
            self._window = _window_around(centre_px, size_px)
            self._placed_size_px = size_px
            self._settler.forget()
            self._last = None
            found = self._settle(picture, self._window)
            if found is None or not self._has_left_the_middle(found):
                return found
            centre_px, size_px = found.centre_px, found.size_px
        return found

    def _settle(self, picture: Picture, window: _Window) -> FaceSeen | None:
        """Look at the window until a further look no longer moves the landmarks; once is enough for a face that kept still."""
        pixels = window.show(picture)
        before = self._last
        for looks in range(1, MAX_LOOKS + 1):
            faces = self._settler.look(pixels)
            if not faces:
                return None
            seen = _face(window.to_picture(faces[0]), looks)
            if before is not None:
                moved = np.linalg.norm(seen.points_px - before.points_px, axis=1).mean() / seen.size_px
                if moved < (FAST if before is self._last else SETTLED):
                    return FaceSeen(seen.points_px, seen.depth_px, looks, settled=True)
            before = seen
        return seen

    def _has_left_the_middle(self, face: FaceSeen) -> bool:
        """Whether the window should be moved."""
        window = self._window
        assert window is not None
        middle = np.array([window.left_px, window.top_px]) + window.side_px / 2
        ratio = face.size_px / self._placed_size_px
        off = np.abs(face.centre_px - middle).max() / window.side_px
        return bool(off > OFF_CENTRE or not 1 / SIZE_RATIO < ratio < SIZE_RATIO)


def _window_around(centre_px: NDArray[np.float64], size_px: float) -> _Window:
    """The window for a face of that place and size."""
    side = WINDOW_FACES * size_px
    return _Window(float(centre_px[0] - side / 2), float(centre_px[1] - side / 2), side, WINDOW_PX)


def _face(points: NDArray[np.float64], looks: int) -> FaceSeen:
    """A FaceSeen, not known to be settled, from points (478, 3)."""
    return FaceSeen(points[:, :2], points[:, 2], looks, settled=False)


def _tile_starts(length_px: float, side_px: float) -> Sequence[float]:
    """Where tiles begin along one side of the picture, evenly, with at least `TILE_OVERLAP` in common."""
    if side_px >= length_px:
        return [(length_px - side_px) / 2]
    steps = int(np.ceil((length_px - side_px) / (side_px * (1 - TILE_OVERLAP))))
    return [float(v) for v in np.linspace(0, length_px - side_px, steps + 1)]


def _add_if_new(faces: list[tuple[NDArray[np.float64], float]], centre_px: NDArray[np.float64], size_px: float) -> None:
    """Add a face unless it is one already there, seen in an overlapping tile."""
    for known_centre, known_size in faces:
        if np.linalg.norm(known_centre - centre_px) < 0.5 * max(known_size, size_px):
            return
    faces.append((centre_px, size_px))
