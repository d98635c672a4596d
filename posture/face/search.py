"""Find faces in a whole picture: the detector over overlapping tiles, large ones first, a bounded number a frame."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from types import TracebackType
from typing import Self

import numpy as np

from posture.conventions import wrap_deg
from posture.face.landmarker import Find, LibraryFinder
from posture.face.seen import FaceSeen, Picture, Window

TILE_PX = 128
"""The detector works at this size."""

TILE_SHARES = (1.0, 0.47, 0.25)
"""Sides of the tiles against the shorter side of the picture. The detector finds faces from 0.13 of a tile up, so these find
faces from a thirtieth of the picture: 24 px of 720."""

TILE_OVERLAP = 0.28
"""Neighbouring tiles share this part at least: the largest face that larger tiles may have missed is whole in one of them."""

SWEEPS_A_ROUND = 3
"""The small tiles, which are the most, are shared out over that many sweeps."""

LEAST_TILE_PX = 120.0
"""Smaller tiles would hold faces of under 16 px, of which no angle can be read."""

CONFIRM_SCORE = 0.55
"""Least score of a find in a window of its own, upright."""

SURE_SCORE, LEANS_LITTLE_DEG = 0.88, 35.0
"""A face that scores more and leans less is upright: hanging ones that were taken for upright scored 0.83 at most."""

SAME_WAY_DEG = 40.0
"""Looks whose slopes differ by less agree on which way up the face is."""

UPRIGHT_WORTH = 0.2
"""What is more often so needs less to be believed, in scores."""

SAME_FACE = 0.5
"""Two finds whose centres are nearer than this share of the larger are one face."""


class FaceSearch:
    """Looks for faces anywhere in the picture. Use it inside ``with``."""

    def __init__(self) -> None:
        self._finder = LibraryFinder()
        self._waiting: list[Window] = []
        self._sweeps = 0

    def __enter__(self) -> Self:
        self._finder.__enter__()
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._finder.__exit__(kind, error, trace)

    def sweep(self, picture: Picture, thorough: bool) -> list[Find]:
        """Look at the whole picture, from coarse to fine.

        Parameters
        ----------
        picture : Picture
        thorough : bool
            Look at all tiles. Otherwise the first sweep looks at the small ones only where the large ones showed nothing, and
            later sweeps look at the large ones and at every third of the small ones.

        Returns
        -------
        list of Find
            In pixels of the picture, the largest first, each face once.
        """
        tiles = list(_tiles(picture))
        least = 1.01 * TILE_SHARES[-1] * min(picture.width_px, picture.height_px)
        small = [tile for tile in tiles if tile.side_px < least]
        large = tiles[: len(tiles) - len(small)]
        self._waiting = []
        self._sweeps += 1
        if thorough:
            return self._look(picture, tiles)
        if self._sweeps > 1:
            return self._look(picture, [*large, *small[self._sweeps % SWEEPS_A_ROUND :: SWEEPS_A_ROUND]])
        finds = self._look(picture, large)
        self._waiting = small
        return finds or self._look(picture, small)

    def glance(self, picture: Picture, tiles: int) -> list[Find]:
        """Look at the next few tiles of a round over the whole picture, so that a search costs little in every frame.

        Parameters
        ----------
        picture : Picture
        tiles : int
            How many.

        Returns
        -------
        list of Find
            As from `sweep`.
        """
        if not self._waiting:
            self._waiting = list(_tiles(picture))
        now, self._waiting = self._waiting[:tiles], self._waiting[tiles:]
        return self._look(picture, now)

    def confirm(self, picture: Picture, find: Find) -> int | None:
        """Look at a find again in a window of its own, turned four ways: chance finds of a tile do not last.

        Parameters
        ----------
        picture : Picture
        find : Find

        Returns
        -------
        int or None
            Quarter turns of the window that bring the face upright; None where the face is not found again.
        """
        seen = self._turned(picture, find)
        surest = max(seen, key=lambda f: f.score, default=None)
        if surest is None or surest.score < CONFIRM_SCORE:
            return None
        if _is_surely_upright(surest):
            return 0
        # Once more, as the place is better known by now. One look alone may take a face for its opposite; several seldom agree on it.
        seen = self._turned(picture, surest) or seen

        def agreeing(way: Find) -> float:
            scores = sum(f.score for f in seen if abs(wrap_deg(f.slope_deg - way.slope_deg)) < SAME_WAY_DEG)
            return scores + (UPRIGHT_WORTH if abs(way.slope_deg) < 90 - SAME_WAY_DEG / 2 else 0.0)

        return round(max(seen, key=lambda f: (agreeing(f), f.score)).slope_deg / 90) % 4

    def _turned(self, picture: Picture, find: Find) -> list[Find]:
        """What is found of a face in a window of its own turned four ways, as it is in the picture."""
        window = Window.around(find.centre_px, find.size_px, 0, TILE_PX)
        seen: list[Find] = []
        for turns in range(4):
            turned = replace(window, quarter_turns=turns)
            others = [_in_picture(other, turned) for other in self._finder.find(turned.show(picture))]
            seen += [other for other in others if np.linalg.norm(other.centre_px - find.centre_px) < SAME_FACE * find.size_px]
            if turns == 0 and seen and _is_surely_upright(seen[0]):
                break
        return seen

    def _look(self, picture: Picture, windows: Sequence[Window]) -> list[Find]:
        """The finds of some windows, each face once: the surest of those that overlap."""
        finds = [_in_picture(find, window) for window in windows for find in self._finder.find(window.show(picture))]
        kept: list[Find] = []
        for find in sorted(finds, key=lambda f: -f.score):
            if not any(is_near(find, other) for other in kept):
                kept.append(find)
        return sorted(kept, key=lambda f: -f.size_px)


def is_near(one: FaceSeen | Find, other: FaceSeen | Find, share: float = SAME_FACE) -> bool:
    """Whether two centres are nearer than a share of the larger face; with the usual share they are one face."""
    return bool(np.linalg.norm(one.centre_px - other.centre_px) < share * max(one.size_px, other.size_px))


def _is_surely_upright(find: Find) -> bool:
    """Whether a find needs no other ways of turning the window to be believed."""
    return find.score > SURE_SCORE and abs(find.slope_deg) < LEANS_LITTLE_DEG


def _in_picture(find: Find, window: Window) -> Find:
    """A find of a window as it is in the picture."""
    return Find(
        window.to_picture(find.centre_px[None])[0],
        find.size_px * window.side_px / window.out_px,
        find.score,
        float(wrap_deg(find.slope_deg + 90.0 * window.quarter_turns)),
    )


def _tiles(picture: Picture) -> Iterator[Window]:
    """The tiles of a whole round, the large ones first."""
    shorter = min(picture.width_px, picture.height_px)
    for share in TILE_SHARES:
        side = share * shorter
        if share < 1 and side < LEAST_TILE_PX:
            return
        for top in _tile_starts(picture.height_px, side):
            for left in _tile_starts(picture.width_px, side):
                yield Window(left, top, side, TILE_PX)


def _tile_starts(length_px: float, side_px: float) -> Sequence[float]:
    """Where tiles begin along one side of the picture, evenly."""
    if side_px >= length_px:
        return [(length_px - side_px) / 2]
    steps = int(np.ceil((length_px - side_px) / (side_px * (1 - TILE_OVERLAP))))
    return [float(v) for v in np.linspace(0, length_px - side_px, steps + 1)]
