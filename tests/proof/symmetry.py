"""How well two measures of a face's symmetry can be read from its landmarks: ``python -m tests.proof.symmetry``.

Facial angle is the angle between the line through the outer corners of the eyes and that through the corners of the mouth; relative
facial size is the distance from outer corner of the eye to corner of the mouth on the right over that on the left. Both are read in the
head's own frontal plane, straightened by the fitted pose, from pictures turned and lifted by less than `MOST_ASIDE_DEG`, and the reading
of a face is the median over its pictures.

The rendered heads are about symmetric. Each is drawn as it is, and made uneven by known amounts: one half of the face shrunk towards the
mid-plane and the eye line, the mouth sloped with the jaw, or the mouth shifted with the jaw. Printed is how much of a true difference is
seen, how faces differ that have the same true value, and what is left of that with a gain learned on the other heads; beside it, what
published groups of patients differ by. Rendered heads have no real lens, no smile and no light from one side that is not the same for
all, so these errors are a lower bound.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posture.face.model import load_canonical_face
from posture.geometry.face_lines import FaceSymmetry, face_symmetry, symmetry_of_corners
from posture.geometry.pose import estimate_pose
from posture.signal.face_symmetry import (
    ANGLE_SD_DEG,
    ANGLE_SHARE,
    ANGLE_SHARE_SD,
    MOST_ASIDE_DEG,
    SIZE_SD_LOG,
    SIZE_SHARE,
    SIZE_SHARE_SD,
)
from posture.signal.interval import Z95
from tests.proof.face_lines import CAMERA, draw_noisy, put_at, see_head
from tests.proof.material import in_processes, load_heads
from tests.proof.places import Places, find_places, load_head

Array = NDArray[np.float64]
Move = Callable[[Array], Array]
"""From points of the head (n, 3), metres from its pivot, to where they are in the uneven one."""

MOST_TILT_DEG = 25.0
FACE_PX = (60.0, 190.0)
"""Forehead to chin; every height is as likely."""

OFF_CENTRE = 0.15
SIZES = (1.04, 1.08, 1.12)
ANGLES_DEG = (2.0, 4.0, 6.0)
SHIFT_SIZES = (1.04, 1.08)
SHRUNK, SLOPED, SHIFTED, AS_IT_IS = "half shrunk", "mouth sloped", "mouth shifted", "as it is"
MADE_UNEVEN = (SHRUNK, SLOPED, SHIFTED)

SEAM_M = 0.012
"""Half width, at an adult's size, of the seam between the shrunk half and the other; corners of the mouth lie outside of it."""

PICTURES, SEED = 6, 95

TILT_ANGLE_DEG, TILT_SIZE = 1.78, 1.027
PALSY_ANGLE_DEG, PALSY_SIZE = 1.11, 1.003
"""Published mean facial angles and relative facial sizes of 33 people with a pure head tilt and of 58 with a congenital superior oblique
palsy, references [82] and [2] of DEVELOPERS.md. Those of the controls were lower and are not printed."""


@dataclass(frozen=True)
class Uneven:
    """One way of making a head uneven: its kind, the mover, and what both measures (2,) truly become on an even face."""

    kind: str
    move: Move
    true: Array


@dataclass(frozen=True)
class Face:
    """What one head, uneven in one way, came to.

    Attributes
    ----------
    name, kind : str
    true : ndarray, shape (2,)
        Facial angle in degrees, and the logarithm of the relative facial size: right over left and left over right are as far from 0.
    read : ndarray, shape (n, 2)
        The same from each picture.
    aside_deg : ndarray, shape (n, 2)
        True turn and chin of each picture.
    """

    name: str
    kind: str
    true: Array
    read: Array
    aside_deg: Array

    @property
    def middle(self) -> Array:
        """Medians over the pictures, shape (2,)."""
        return np.asarray(np.median(self.read, axis=0))


def measures(seen: FaceSymmetry) -> Array:
    """Facial angle and log of the relative facial size, shape (2,)."""
    return np.array([seen.angle_deg, np.log(seen.relative_size)])


def even_corners(places: Places) -> Array:
    """The four corners of a head as those of an even face: each pair made mirror images, shape (4, 3)."""
    pairs = []
    for kind in ("canthus", "mouth_corner"):
        right, left = (places.points_m[f"{side}_{kind}"] for side in ("right", "left"))
        middle = (right * [-1, 1, 1] + left) / 2
        pairs += [middle * [-1, 1, 1], middle]
    return np.array(pairs)


def shrink_half(places: Places, size: float) -> Move:
    """Shrinks the person's right half towards mid-plane and eye line, so that the left is so many times as large; the left below 1."""
    eyes_y, seam = float(even_corners(places)[0, 1]), SEAM_M * places.scale
    side = -1.0 if size > 1 else 1.0
    less = 1 - min(size, 1 / size)

    def move(points: Array) -> Array:
        share = _step((side * points[:, 0] + seam) / (2 * seam)) * less
        moved = points.copy()
        moved[:, 0] -= share * points[:, 0]
        moved[:, 1] -= share * (points[:, 1] - eyes_y)
        return moved

    return move


def slope_mouth(places: Places, angle_deg: float) -> Move:
    """Slopes all from the mouth downwards, + as tilt, less and less up to the eye line."""
    slope = np.tan(np.radians(angle_deg))

    def move(points: Array) -> Array:
        moved = points.copy()
        moved[:, 1] += slope * points[:, 0] * _below_eyes(places, points)
        return moved

    return move


def shift_mouth(places: Places, shift_m: float) -> Move:
    """Shifts all from the mouth downwards to the person's right, less and less up to the eye line."""

    def move(points: Array) -> Array:
        moved = points.copy()
        moved[:, 0] -= shift_m * _below_eyes(places, points)
        return moved

    return move


def all_ways(name: str) -> list[Uneven]:
    """Every way in which one head is drawn, each to both sides."""
    places = find_places(name)
    even = even_corners(places)
    moves: list[tuple[str, Move]] = [(AS_IT_IS, lambda points: points)]
    moves += [(SHRUNK, shrink_half(places, size**side)) for size in SIZES for side in (1, -1)]
    moves += [(SLOPED, slope_mouth(places, angle * side)) for angle in ANGLES_DEG for side in (1, -1)]
    # A shift changes both distances by their slope: as much up on one side as down on the other.
    across, along = even[1, 0] - even[3, 0], even[1, 1] - even[3, 1]
    for size in SHIFT_SIZES:
        shift_m = float(np.log(size) * (across**2 + along**2) / (2 * across))
        moves += [(SHIFTED, shift_mouth(places, shift_m * side)) for side in (1, -1)]
    return [Uneven(kind, move, measures(symmetry_of_corners(move(even)[:, :2]))) for kind, move in moves]


def make_uneven(head: Any, move: Move) -> Any:
    """A rendered head with its points moved, as far as they go with the head."""

    def moved(part: Any) -> Any:
        points = part.vertices - head.pivot
        return replace(part, vertices=part.vertices + (move(points) - points) * part.head_weight[:, None])

    return replace(head, parts=[moved(part) for part in head.parts])


def _step(share: Array) -> Array:
    """Smoothly from 0 to 1."""
    share = np.clip(share, 0.0, 1.0)
    return np.asarray(share**2 * (3 - 2 * share))


def _below_eyes(places: Places, points: Array) -> Array:
    """0 at the eye line and above, 1 at the mouth and below."""
    even = even_corners(places)
    return _step((even[0, 1] - points[:, 1]) / (even[0, 1] - even[2, 1]))


def watch_head(name: str, pictures: int) -> list[Face]:
    """One head in all ways, with so many pictures each; the same postures for each way."""
    canonical = load_canonical_face()
    background = load_heads().room((CAMERA.width_px, CAMERA.height_px), seed=2)
    found = []
    for way in all_ways(name):
        rng = np.random.default_rng([SEED, *name.encode()])
        head = make_uneven(load_head(name), way.move)
        readings, aside = [], []
        for _ in range(pictures):
            face_px, off = float(rng.uniform(*FACE_PX)), rng.uniform(-OFF_CENTRE, OFF_CENTRE, 2)
            truth = rng.uniform(-1, 1, 3) * [MOST_TILT_DEG, MOST_ASIDE_DEG, MOST_ASIDE_DEG]
            rotation, place = put_at(name, face_px, off, truth)
            face = see_head(draw_noisy(head, rotation, place, background, rng), name, rotation, place, face_px)
            if face is not None:
                pose = estimate_pose(face.points_px, face.depth_px, CAMERA, canonical)
                readings.append(measures(face_symmetry(face.points_px, pose.rotation, pose.place_cm, CAMERA, canonical)))
                aside.append(truth[1:])
        if readings:
            found.append(Face(name, way.kind, way.true, np.array(readings), np.array(aside)))
    return found


def share_seen(faces: Sequence[Face], measure: int) -> float:
    """How much of the true values of one measure is seen: the slope of the medians on them."""
    true, read = (np.array([getattr(face, name)[measure] for face in faces]) for name in ("true", "middle"))
    return float(read @ true / (true @ true))


def errors(faces: Sequence[Face], measure: int) -> Array:
    """What is left when what is read is divided by the share seen on all other heads, shape (n,)."""
    left = []
    for face in faces:
        others = [other for other in faces if other.name != face.name and other.kind != AS_IT_IS]
        left.append(face.middle[measure] / share_seen(others, measure) - face.true[measure])
    return np.array(left)


def interval_of(face: Face) -> tuple[Array, Array]:
    """Value and half width of the 95 % interval that the package would give, both (2,), the sampling part left out."""
    value = face.middle / [ANGLE_SHARE, SIZE_SHARE]
    return value, half_widths(value)


def half_widths(value: Array) -> Array:
    """Of the 95 % intervals about such values of both measures, (2,), the sampling part left out."""
    return np.asarray(Z95 * np.hypot([ANGLE_SD_DEG, SIZE_SD_LOG], np.array([ANGLE_SHARE_SD, SIZE_SHARE_SD]) * value))


MEASURES = (("facial angle", "degrees"), ("log of relative facial size", ""))


def print_as_they_are(faces: Sequence[Face]) -> None:
    """Heads that are about even, and what goes with turn and chin."""
    own = [face for face in faces if face.kind == AS_IT_IS]
    print("Heads as they are: median of each, which should be about 0")
    for face in own:
        print(f"   {face.name}: facial angle {face.middle[0]:+.2f}, relative facial size {np.exp(face.middle[1]):.3f}")
    for k, (label, unit) in enumerate(MEASURES):
        middle = np.array([face.middle[k] for face in own])
        print(f"   {label}: mean {middle.mean():+.3f}, between heads sd {middle.std(ddof=1):.3f} {unit}")
    for k, (label, unit) in enumerate(MEASURES):
        off = np.concatenate([face.read[:, k] - face.read[:, k].mean() for face in faces])
        aside = np.concatenate([face.aside_deg - face.aside_deg.mean(0) for face in faces])
        slopes = np.linalg.lstsq(aside, off, rcond=None)[0]
        print(
            f"   {label}: sd of single pictures {off.std():.3f} {unit}, with each degree of turn {slopes[0]:+.4f}, of chin {slopes[1]:+.4f}"
        )


def print_uneven(faces: Sequence[Face]) -> None:
    """How much is seen, by kind and head, and what is left on heads left out."""
    print("Heads made uneven: share of the true value that is seen, by kind; and by head, lowest to highest")
    for kind in MADE_UNEVEN:
        some = [face for face in faces if face.kind == kind]
        for k, (label, _) in enumerate(MEASURES):
            if max(abs(face.true[k]) for face in some) < 1e-6:
                print(
                    f"   {kind:14} {label:28} truly 0; read as {rms(np.array([face.middle[k] for face in some])):.3f} root mean square"
                )
                continue
            shares = sorted(share_seen([face for face in some if face.name == name], k) for name in {f.name for f in some})
            print(f"   {kind:14} {label:28} {share_seen(some, k):.2f} ({shares[0]:.2f} to {shares[-1]:.2f})")
    print(
        "What is left with a share learned on the other heads: root mean square, all; those uneven by half of the largest and less"
    )
    for k, (label, unit) in enumerate(MEASURES):
        left = errors(faces, k)
        small = np.array([abs(face.true[k]) <= max(abs(other.true[k]) for other in faces) / 2 for face in faces])
        learned = share_seen([face for face in faces if face.kind != AS_IT_IS], k)
        print(f"   {label:28} {rms(left):.3f}; {rms(left[small]):.3f} {unit} (share {learned:.2f})")


def print_use(faces: Sequence[Face]) -> None:
    """How often the intervals hold the truth, and what they could tell of published people."""
    given = [interval_of(face) for face in faces]
    for k, (label, _) in enumerate(MEASURES):
        held = np.mean([abs(value[k] - face.true[k]) <= half[k] for face, (value, half) in zip(faces, given, strict=True)])
        own = [(value[k], half[k]) for face, (value, half) in zip(faces, given, strict=True) if face.kind == AS_IT_IS]
        called = sum(abs(value) > half for value, half in own)
        print(
            f"{label}: {100 * held:.0f} % of {len(faces)} intervals hold the truth; {called} of {len(own)} even heads called uneven"
        )
    for label, angle, size in (
        ("head tilt alone", TILT_ANGLE_DEG, TILT_SIZE),
        ("superior oblique palsy", PALSY_ANGLE_DEG, PALSY_SIZE),
    ):
        halves = half_widths(np.array([angle, np.log(size)]))
        print(
            f"One person like the mean of the published group, {label}: facial angle {angle} +- {halves[0]:.1f}, relative facial size"
            f" {size} between {size * np.exp(-halves[1]):.3f} and {size * np.exp(halves[1]):.3f}"
        )
    print(
        f"Least facial angle that is told from an even face: {least(ANGLE_SD_DEG, ANGLE_SHARE_SD):.1f} degrees; relative facial size {np.exp(least(SIZE_SD_LOG, SIZE_SHARE_SD)):.3f}"
    )


def least(sd: float, share_sd: float) -> float:
    """The smallest value whose interval excludes 0, the sampling part left out."""
    return float(Z95 * sd / np.sqrt(1 - (Z95 * share_sd) ** 2))


def rms(values: Array) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(values**2)))


def main(argv: Sequence[str] | None = None) -> None:
    """Draw, read and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("heads", nargs="*", help="names of heads (default all)")
    parser.add_argument("--pictures", type=int, default=PICTURES, help="of each head in each way")
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args(argv)
    jobs = [(name, options.pictures) for name in options.heads or load_heads().names()]
    faces = list(chain.from_iterable(in_processes(watch_head, jobs, options.workers)))
    print_as_they_are(faces)
    print_uneven(faces)
    print_use(faces)


if __name__ == "__main__":
    main()
