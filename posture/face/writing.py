"""Finds regions that look like writing, so that the eye can see which way round it reads.

A letter is a patch of one shade and of one width of stroke, with hollows; writing is a row of at least three of them, of like height,
shade and stroke. Nothing is read: a person looks at what is found. Letters that touch, such as joined handwriting, are not found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

Region = tuple[float, float, float, float]

AT_MOST = 6
"""So many are looked at in one glance; more would be noise."""

LETTER_PX = (7, 28)
"""Least and greatest height of a letter at one size of the picture: a lower one cannot be read, a higher one is found in a smaller
picture."""

SHRUNK = (1, 2, 4, 8)
"""The picture is looked at in these fractions of its size, so that letters from 7 to about 220 pixels fit."""

AROUND_PX = 13
"""Side of the square whose mean is the shade around a stroke: wider than the strokes of the highest letter at one size, and no
wider, because the edge of the sign they stand on would come into it."""

LEAST_CONTRAST = 7.0
"""Grey levels from the mean around: above the noise of a film after the small blur."""

CONTRAST_SHARE = 0.8
"""Of the local spread, by which a stroke stands out: with less, blurred letters grow together."""

MOST_PATCHES = 3000
"""At one size and shade; leaves and gravel have more, and the look has to end in time."""

STEEPEST_DEG = 36.0
"""From one letter to the next: 30 degrees of the writing, and what letters with tails add."""

LEAST_LETTERS = 3

MOST_ROWS = 10
"""Looked at closely at one size and shade, the straightest first, so that the look ends in time."""

LEAST_SCORE = 0.9
"""A row that scores lower is not shown; see `_score`. Fewer than 1 in 20 of the learned rows that are no writing score higher."""

SQUARE = 0.92
"""A patch that fills more of the rectangle around it, hollows inside counted as filled, is one; where half of a row are such it is
books on a shelf or panes, not letters."""

NARROW = 0.35
"""Width for height: a row whose middle letter is narrower is a row of edges."""

LETTER_ASPECT = 0.75
"""Mean width of a letter for its height."""

WEIGHTS = (-5.2, 1.6, -4.1, -2.8, -4.2, 2.4, -1.5, -5.6)
"""Of `_score`: constant, letters, crookedness, spread of heights, solidity, contrast, spread of shades, width for height."""

WITHIN = 0.7
"""A row lies in another with this share of its area."""

LIKE = 1.6
"""Rows of one piece of writing differ by less in the height of their letters."""

MARGIN = (1.2, 0.5)
"""Beside and above a region, in heights of a letter: a letter at an end of a row may have been missed."""


@dataclass(frozen=True)
class _Patches:
    """Patches of one shade that may be letters, n of them.

    Boxes (n, 4) are left, top, width, height, strokes (n,) their width, all in pixels; each has its number (n,) in labels (h, w).
    """

    box: NDArray[np.float64]
    grey: NDArray[np.float64]
    stroke: NDArray[np.float64]
    label: NDArray[np.int64]
    labels: NDArray[np.int32]


@dataclass(frozen=True)
class _Row:
    """A row of letters: left, top, right, bottom and height of a letter in the whole picture; a higher score is likelier."""

    box: NDArray[np.float64]
    letter_px: float
    score: float


def find_writing(rgb: NDArray[np.uint8], boxes: Sequence[ArrayLike] = ()) -> list[Region]:
    """Find regions that look like writing.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        An upright picture. The time it takes grows with its size.
    boxes : sequence of array_like, shape (4,)
        Left, top, right, bottom (pixels) of faces to leave out: brows, lashes and teeth stand in rows too.

    Returns
    -------
    list of tuple of float
        Left, top, right, bottom in pixels, at most `AT_MOST`, the likeliest first. Each shows one row, with at most two rows
        above and below it.

    Raises
    ------
    ValueError
        If the picture has another shape or kind.
    """
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
        raise ValueError(f"Expected a picture of uint8 with shape (h, w, 3); it is {rgb.dtype} with shape {rgb.shape}.")
    height, width = rgb.shape[:2]
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    faces = np.array([np.asarray(box, float) for box in boxes]).reshape(-1, 4)
    rows: list[_Row] = []
    for shrunk in SHRUNK:
        if min(height, width) // shrunk < 2 * LETTER_PX[0]:
            break
        small = grey if shrunk == 1 else cv2.resize(grey, None, fx=1 / shrunk, fy=1 / shrunk, interpolation=cv2.INTER_AREA)
        rows += _rows_of_one_size(np.asarray(small, np.uint8), shrunk, faces)
    return _regions([row for row in rows if row.score >= LEAST_SCORE], width, height)


def _rows_of_one_size(grey: NDArray[np.uint8], shrunk: int, faces: NDArray[np.float64]) -> list[_Row]:
    """Rows of letters in the picture shrunk so far, darker and lighter ones; places in pixels of the whole picture."""
    soft = cv2.GaussianBlur(grey, (3, 3), 0).astype(np.float32)
    mean = cv2.blur(soft, (AROUND_PX, AROUND_PX))
    spread = cv2.sqrt(np.maximum(cv2.blur(soft * soft, (AROUND_PX, AROUND_PX)) - mean * mean, 0))
    limit = np.maximum(CONTRAST_SHARE * spread, LEAST_CONTRAST)
    out = soft - mean
    rows = []
    for mask in (out < -limit, out > limit):
        patches = _find_patches(mask.astype(np.uint8), grey, faces / shrunk)
        chains = sorted(_chains(patches), key=lambda chain: _crookedness(patches, chain) - 0.05 * len(chain))
        rows += [_row(patches, chain, grey, shrunk) for chain in chains[:MOST_ROWS]]
    return rows


def _find_patches(mask: NDArray[np.uint8], grey: NDArray[np.uint8], faces: NDArray[np.float64]) -> _Patches:
    """Patches whose size and stroke may be those of a letter, outside of the faces."""
    n, labels, stats, centres = cv2.connectedComponentsWithStats(mask, connectivity=8, ltype=cv2.CV_32S)
    w, h, area = (stats[:, k].astype(float) for k in (cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT, cv2.CC_STAT_AREA))
    fits = (h >= LETTER_PX[0]) & (h <= LETTER_PX[1]) & (w <= 1.8 * h) & (w >= 0.12 * h) & (area >= 0.12 * w * h)
    fits[0] = False
    for left, top, right, bottom in faces:
        x, y = centres.T
        fits &= ~((x > left) & (x < right) & (y > top) & (y < bottom))
    label = np.flatnonzero(fits)
    if len(label) > MOST_PATCHES:
        label = label[np.argsort(-area[label], kind="stable")[:MOST_PATCHES]]
    box = stats[label, :4].astype(float)
    # Along the middle line of a stroke the distance to its edge is half its width.
    far = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    ridge = np.flatnonzero((far > 0) & (far >= cv2.dilate(far, np.ones((3, 3), np.uint8))))
    of = np.asarray(labels).ravel()[ridge]
    count = np.maximum(np.bincount(of, minlength=n), 1)
    half = np.bincount(of, far.ravel()[ridge], minlength=n) / count
    shade = np.bincount(of, grey.ravel()[ridge], minlength=n) / count
    return _Patches(box, shade[label], 2 * half[label], label, np.asarray(labels, np.int32))


def _chains(patches: _Patches) -> list[list[int]]:
    """Rows of patches each of which is the nearest like one on the right of the one before, and the other way round."""
    n = len(patches.label)
    if n < LEAST_LETTERS:
        return []
    left, top, w, h = patches.box.T
    x, y = left + w / 2, top + h / 2
    near = min(12, n)
    _, neighbours = cKDTree(np.stack([x, y], 1)).query(np.stack([x, y], 1), near)
    i, j = np.repeat(np.arange(n), near - 1), np.asarray(neighbours)[:, 1:].ravel()
    dx, dy = x[j] - x[i], y[j] - y[i]
    tall, low = np.maximum(h[i], h[j]), np.minimum(h[i], h[j])
    gap = dx - (w[i] + w[j]) / 2
    thick = np.maximum(patches.stroke[i], patches.stroke[j])
    thin = np.minimum(patches.stroke[i], patches.stroke[j])
    like = (
        (dx > 0) & (np.abs(dy) <= np.tan(np.radians(STEEPEST_DEG)) * dx) & (gap < 1.0 * tall) & (gap > -0.35 * low)
        & (tall < 1.9 * low) & (thick < 1.8 * thin) & (np.abs(patches.grey[i] - patches.grey[j]) < 40)
    )  # fmt: skip
    i, j, far = i[like], j[like], np.hypot(dx, dy)[like]
    order = np.argsort(far, kind="stable")
    right, back = np.full(n, -1), np.full(n, -1)
    # The last to be written is the nearest.
    right[i[order[::-1]]] = j[order[::-1]]
    back[j[order[::-1]]] = i[order[::-1]]
    mutual = np.array([right[k] >= 0 and back[right[k]] == k for k in range(n)])
    has_before = np.zeros(n, bool)
    has_before[right[mutual]] = True
    chains = []
    for start in np.flatnonzero(mutual & ~has_before):
        chain = [int(start)]
        while mutual[chain[-1]]:
            chain.append(int(right[chain[-1]]))
        if len(chain) >= LEAST_LETTERS:
            chains.append(chain)
    return chains


def _crookedness(patches: _Patches, chain: list[int]) -> float:
    """How far the middles of the letters are from a straight line, in heights of a letter."""
    left, top, w, h = patches.box[chain].T
    x, y = left + w / 2, top + h / 2
    x, y = x - x.mean(), y - y.mean()
    rest = y - (x @ y) / (x @ x) * x
    return float(np.sqrt(np.mean(rest**2)) / np.median(h))


def _row(patches: _Patches, chain: list[int], grey: NDArray[np.uint8], shrunk: int) -> _Row:
    """A chain as a row, in pixels of the whole picture, with how likely it is writing."""
    left, top, w, h = patches.box[chain].T
    x0, y0, x1, y1 = int(left.min()), int(top.min()), int((left + w).max()), int((top + h).max())
    # Two pixels more, for the paper around the letters.
    x0, y0 = max(x0 - 2, 0), max(y0 - 2, 0)
    part = (slice(y0, y1 + 2), slice(x0, x1 + 2))
    ink = np.isin(patches.labels[part], patches.label[chain]).astype(np.uint8)
    square = np.ones((3, 3), np.uint8)
    # Next to the ink its edge is blurred, so the paper begins a pixel farther out.
    paper = cv2.dilate(ink, square, iterations=2) > cv2.dilate(ink, square)
    shades = grey[part]
    contrast = abs(float(np.median(shades[ink > 0])) - float(np.median(shades[paper]))) if paper.any() else 0.0
    solidity, squareness = np.transpose([_solidity_and_squareness(patches, k) for k in chain])
    score = _score(
        len(chain), _crookedness(patches, chain), float(np.std(h) / np.median(h)), float(solidity.mean()), contrast,
        float(np.std(patches.grey[chain])), float(np.mean(w / h)),
    )  # fmt: skip
    if np.mean(squareness > SQUARE) >= 0.5 or np.median(w / h) < NARROW:
        score = -np.inf
    box = np.array([left.min(), top.min(), (left + w).max(), (top + h).max()]) * shrunk
    return _Row(box, float(np.median(h)) * shrunk, score)


def _solidity_and_squareness(patches: _Patches, k: int) -> tuple[float, float]:
    """How much of its convex outline a patch fills, and how much its outer edge fills of the turned rectangle around it."""
    left, top, w, h = patches.box[k].astype(int)
    piece = (patches.labels[top : top + h, left : left + w] == patches.label[k]).astype(np.uint8)
    edges, _ = cv2.findContours(piece, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    edge = max(edges, key=len)
    (_, sides, _) = cv2.minAreaRect(edge)
    square = _whole_area(edge) / ((sides[0] + 1) * (sides[1] + 1))
    return float(cv2.countNonZero(piece) / _whole_area(cv2.convexHull(edge))), float(square)


def _whole_area(outline: NDArray[np.int32]) -> float:
    """Pixels within an outline that goes through the middles of pixels, those that it goes through counted in."""
    return float(cv2.contourArea(outline) + 0.5 * cv2.arcLength(outline, True) + 1)


def _score(
    letters: int, crookedness: float, height_spread: float, solidity: float, contrast: float, shade_spread: float, aspect: float
) -> float:
    """How much likelier a row is writing than not: a logistic regression on drawn words and on what is not writing.

    The weights were learned on rows found in rendered rooms and photographs with and without drawn words, each side counted alike.
    """
    facts = (
        1.0, np.sqrt(min(letters, 8)), crookedness, height_spread, solidity, np.log1p(contrast), np.log(shade_spread + 0.5),
        abs(aspect - LETTER_ASPECT),
    )  # fmt: skip
    return float(np.dot(WEIGHTS, facts))


def _regions(rows: list[_Row], width_px: int, height_px: int) -> list[Region]:
    """The best row of each piece of writing with the rows that touch it, at most `AT_MOST` of them, a margin around each."""
    if not rows:
        return []
    rows = sorted(rows, key=lambda row: -row.score)
    box = np.array([row.box for row in rows])
    letter = np.array([row.letter_px for row in rows])
    grown = box + 0.7 * letter[:, None] * [-1, -1, 1, 1]
    low = np.maximum(grown[:, None, :2], grown[None, :, :2])
    high = np.minimum(grown[:, None, 2:], grown[None, :, 2:])
    touch = np.asarray((low < high).all(-1))
    _, piece = connected_components(touch, directed=False)
    area = np.prod(box[:, 2:] - box[:, :2], axis=1)
    inner_low, inner_high = np.maximum(box[:, None, :2], box[None, :, :2]), np.minimum(box[:, None, 2:], box[None, :, 2:])
    within = np.prod(np.maximum(inner_high - inner_low, 0), axis=-1) / area[:, None]
    found = []
    for best in sorted(np.unique(piece, return_index=True)[1])[:AT_MOST]:
        # What lies in and between the letters makes rows of its own; the letters are the highest row there.
        whole = int(np.argmax(np.where(within[best] > WITHIN, letter, 0)))
        like = (letter < LIKE * letter[whole]) & (letter > letter[whole] / LIKE)
        # The rows that touch it and the rows that touch those: the best row of three may be the first or the last.
        shown = touch[touch[whole] & like].any(0) & like
        margin = letter[whole] * np.array(MARGIN)
        left, top = box[shown, :2].min(0) - margin
        right, bottom = box[shown, 2:].max(0) + margin
        found.append((max(float(left), 0.0), max(float(top), 0.0), min(float(right), width_px), min(float(bottom), height_px)))
    return found
