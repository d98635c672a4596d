"""Lenses: faces far from the middle of a wide picture, focal lengths that are wrong, and reading again: ``python -m tests.proof.lens``.

Rendered heads at known postures, plain, before a room, in pictures of 1280x720 whose focal length is known. Turn and chin are against the
line of sight, chin against the head's own neutral at the middle of the same view. A picture is looked at once; its landmarks are then
fitted with one focal length and with another.

1. Faces of the same height at the middle, half way and at the edge of a picture 60 and 90 degrees across.
2. A focal length believed that is 30 % too long or too short for the true one: by how much tilt, turn and chin change, and whether the
   change lies inside of 1.96 standard deviations that a reading with the usual uncertainty of a lens states: altogether, and for the lens
   alone.
3. A kept track read through another lens against the same landmarks fitted with that lens.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from posture.conventions import wrap_deg
from posture.face.model import load_canonical_face
from posture.face.seen import FaceSeen
from posture.geometry.angles import FACING, line_of_sight, posture_angles, posture_matrix
from posture.geometry.fit import Camera
from posture.geometry.lens import DEFAULT_SD_SHARE, Lens, lens_of, refit
from posture.geometry.pose import estimate_pose
from posture.see import face_quality
from posture.signal.interval import Z95
from posture.signal.reading import ReadSettings, ReadTrack, read_track
from posture.signal.track import HeadTrack
from posture.signal.uncertainty import angle_sds_deg
from tests.proof.material import Rgb, load_heads, see_face
from tests.proof.places import find_places, load_head

Array = NDArray[np.float64]

WIDTH_PX, HEIGHT_PX = 1280, 720
NAMES = ("tilt", "turn", "chin")
VIEWS_DEG = (60.0, 90.0)
PLACES = {"middle": 0.0, "half way": 0.45, "edge": 0.85}
"""Shares of the half width; at the edge the whole head stays in the picture."""

FACE_PX = 110.0
RANGE_DEG = (15.0, 20.0, 12.0)
"""Largest tilt, turn and chin."""

MARGIN_M = 0.13
"""From the middle of a face to the farthest side of a head."""

WRONG = {"too long": 1.3, "too short": 0.7}
"""What is believed, as a share of the truth."""

DISTANCES_M = (0.5, 0.8, 1.5)
"""Near and with a long lens a head fills the picture, and is as far from its middle as it can be."""

NEUTRAL_PX = (100.0, 140.0, 180.0)
SEED = 31000
SURE = 1e-9


@dataclass(frozen=True)
class Shot:
    """One face as it was seen, with what is true of it.

    Attributes
    ----------
    where : str
        Key of `PLACES`.
    distance_m : float
        Of the middle of the face along the camera's axis.
    focal_px : float
        The true one.
    truth_deg : ndarray, shape (3,)
        Tilt, and turn and chin against the line of sight.
    face : FaceSeen
    """

    where: str
    distance_m: float
    focal_px: float
    truth_deg: Array
    face: FaceSeen


def view_focal_px(view_deg: float) -> float:
    """The focal length with that angle of view across."""
    return lens_of(WIDTH_PX, view_deg=view_deg).focal_px


def draw(name: str, truth_deg: Array, focal_px: float, distance_m: float, at: tuple[float, float]) -> Rgb:
    """A picture of a head whose face has its middle at shares of half the width and half the height from the picture's middle.

    Turn and chin are held against the line from the camera to the middle of the face.
    """
    heads, places = load_heads(), find_places(name)
    px = np.array(at) * [WIDTH_PX / 2, HEIGHT_PX / 2]
    most = np.array([WIDTH_PX / 2, HEIGHT_PX / 2]) - MARGIN_M * focal_px / distance_m
    px = np.clip(px, -np.maximum(most, 0), np.maximum(most, 0))
    middle = np.array([*(px / focal_px), 1.0]) * distance_m
    azimuth, elevation = line_of_sight(middle)
    rotation = posture_matrix(truth_deg[0], truth_deg[1] + azimuth, truth_deg[2] + elevation)
    from_pivot = FACING @ rotation @ (places.points_m["nose_bridge"] + places.points_m["mouth"]) / 2
    camera = heads.Camera(WIDTH_PX, HEIGHT_PX, focal_px)
    room = heads.room((WIDTH_PX, HEIGHT_PX), 1)
    return np.asarray(heads.render(load_head(name), rotation, camera, middle - from_pivot, background=room), np.uint8)


def distance_for(name: str, face_px: float, focal_px: float) -> float:
    """How far away a face is that high."""
    return focal_px * find_places(name).face_height_m / face_px


def shoot(
    name: str, where: str, focal_px: float, distance_m: float, per_head: int, seed: int, up: float = 0.25
) -> Iterator[Shot]:
    """Look at one head in random postures on either side of the picture; the same postures at every place."""
    rng = np.random.default_rng([seed, *name.encode()])
    for k in range(per_head):
        truth = rng.uniform(-1, 1, 3) * RANGE_DEG
        at = PLACES[where] * (1 if k % 2 else -1), up * rng.uniform(-1, 1) * (PLACES[where] > 0)
        face = see_face(draw(name, truth, focal_px, distance_m, at))
        if face is not None:
            yield Shot(where, distance_m, focal_px, truth, face)


@lru_cache(maxsize=64)
def neutral_chin_deg(name: str, focal_px: float) -> float:
    """What the chin of a head reads when it is neutral, at the middle of a picture."""
    read = []
    for face_px in NEUTRAL_PX:
        face = see_face(draw(name, np.zeros(3), focal_px, distance_for(name, face_px, focal_px), (0.0, 0.0)))
        if face is None:
            raise RuntimeError(f"Expected a face in the neutral picture of '{name}'; none was found. Is the head damaged?")
        read.append(angles(Shot("middle", 1.0, focal_px, np.zeros(3), face), focal_px)[2])
    return float(np.mean(read))


def track_of(shot: Shot, focal_px: float, sd_share: float = 0.0) -> HeadTrack:
    """The face as a track of one frame, fitted with a focal length."""
    camera = Camera(WIDTH_PX, HEIGHT_PX, focal_px)
    pose = estimate_pose(shot.face.points_px, shot.face.depth_px, camera, load_canonical_face())
    one = np.ones(1)
    quality = max(face_quality(shot.face, pose), 0.01)
    pictured = WIDTH_PX, HEIGHT_PX, focal_px, sd_share
    return HeadTrack(np.zeros(1), pose.rotation[None], pose.place_cm[None], pose.face_height_px * one, quality * one, *pictured)


def read(shot: Shot, focal_px: float, sd_share: float = 0.0, lens: Lens | None = None) -> ReadTrack:
    """That track, read as it was filmed."""
    return read_track(track_of(shot, focal_px, sd_share), ReadSettings(mirrored="no", lens=lens))


def angles(shot: Shot, focal_px: float) -> Array:
    """Tilt, turn and chin (3,) with a focal length."""
    return read(shot, focal_px).angles_deg[0]


def errors(name: str, shots: Sequence[Shot]) -> Array:
    """Read with the true focal length less true, (n, 3); chin against the head's own neutral."""
    own = np.array([0.0, 0.0, neutral_chin_deg(name, shots[0].focal_px)])
    return wrap_deg(np.array([angles(shot, shot.focal_px) - shot.truth_deg - own for shot in shots]))


@dataclass(frozen=True)
class Wrong:
    """What a focal length that is wrong does to one face, degrees, each of shape (3,).

    Attributes
    ----------
    change_deg : ndarray
        Fitted with the wrong one less fitted with the true one.
    stated_deg, lens_deg : ndarray
        1.96 standard deviations of all that the reading with the wrong one says is not known, and of what its lens adds.
    reread_deg : ndarray
        The true track read through the wrong lens less fitted with it.
    refit_deg : ndarray
        The same by `posture.geometry.lens.refit`, which fits the canonical face anew and takes longer.
    off_axis_deg : float
        Of the face, across, with the true lens.
    """

    shot: Shot
    change_deg: Array
    stated_deg: Array
    lens_deg: Array
    reread_deg: Array
    refit_deg: Array
    off_axis_deg: float


def believe(shot: Shot, believed_px: float, sd_share: float = DEFAULT_SD_SHARE) -> Wrong:
    """Fit and read a face with a focal length that is not the true one."""
    wrong = read(shot, believed_px, sd_share)
    sure = replace(wrong, lens=Lens(believed_px, SURE, "nothing"))
    frames = np.zeros(1, np.int64)
    with_lens, without = (angle_sds_deg(r, 0, frames) for r in (wrong, sure))
    again = read(shot, shot.focal_px, 0.03, Lens(believed_px, sd_share, "what is usual for any camera"))
    return Wrong(
        shot,
        wrap_deg(wrong.angles_deg[0] - angles(shot, shot.focal_px)),
        Z95 * with_lens,
        Z95 * np.sqrt(np.maximum(with_lens**2 - without**2, 0.0)),
        wrap_deg(again.angles_deg[0] - wrong.angles_deg[0]),
        wrap_deg(_refitted(shot, believed_px) - wrong.angles_deg[0]),
        off_axis_deg(shot),
    )


def _refitted(shot: Shot, believed_px: float) -> Array:
    """Tilt, turn and chin (3,) of the true track, its face fitted anew with another focal length."""
    true = track_of(shot, shot.focal_px)
    rotation, place = refit(true.rotation[0], true.place_cm[0], shot.focal_px, believed_px)
    return np.array(posture_angles(rotation)) - [0.0, *line_of_sight(place)]


def off_axis_deg(shot: Shot) -> float:
    """How far a face is from the middle of its picture, across, as an angle."""
    return float(abs(np.degrees(np.arctan((shot.face.centre_px[0] - (WIDTH_PX - 1) / 2) / shot.focal_px))))


def places_table(names: Sequence[str], per_head: int, seed: int = SEED) -> list[str]:
    """The first part."""
    lines = [
        f"{'view':>6} {'place':<9}{'off axis':>9}{'n':>5}" + "".join(f"{n:>15}" for n in NAMES) + "   mean size / 95 % under"
    ]
    for view in VIEWS_DEG:
        focal = view_focal_px(view)
        for where in PLACES:
            found, off = [], []
            for name in names:
                shots = list(shoot(name, where, focal, distance_for(name, FACE_PX, focal), per_head, seed))
                if shots:
                    found.append(errors(name, shots))
                off += [off_axis_deg(shot) for shot in shots]
            size = np.abs(np.concatenate(found))
            cells = "".join(
                f"{f'{m:.2f} / {p:.2f}':>15}" for m, p in zip(size.mean(0), np.quantile(size, 0.95, 0), strict=True)
            )
            lines.append(f"{view:>6.0f} {where:<9}{np.mean(off):>9.1f}{len(size):>5}{cells}")
    return lines


def wrong_ones(names: Sequence[str], per_head: int, seed: int = SEED) -> Iterator[tuple[str, Wrong]]:
    """Every face of the second and third part; what is believed is what is taken where nothing is known."""
    believed = lens_of(WIDTH_PX)
    for how, share in WRONG.items():
        for distance in DISTANCES_M:
            for where in PLACES:
                for name in names:
                    for shot in shoot(name, where, believed.focal_px / share, distance, per_head, seed):
                        yield how, believe(shot, believed.focal_px, believed.sd_share)


def wrong_table(rows: Sequence[tuple[str, Wrong]]) -> list[str]:
    """The second part: by way, distance and place."""
    head = "".join(f"{n:>28}" for n in NAMES)
    lines = [
        f"{'believed':<10}{'m':>5} {'place':<9}{'off axis':>9}{'n':>4}{head}",
        f"{'':<38}" + f"{'change  inside  lens alone':>28}" * 3,
    ]
    groups: list[tuple[str, Callable[[str, Wrong], bool]]] = []
    for how in WRONG:
        for distance in DISTANCES_M:
            for where in PLACES:
                groups.append((f"{how:<10}{distance:>5.1f} {where:<9}", _of(how, distance, where)))
    groups += [(f"{how:<10}{'all':>5} {'all':<9}", _of(how, None, None)) for how in WRONG]
    groups += [(f"{'both':<10}{'all':>5} {where:<9}", _of(None, None, where)) for where in PLACES]
    groups.append((f"{'both':<10}{'all':>5} {'all':<9}", lambda how, row: True))
    for title, belongs in groups:
        chosen = [row for how, row in rows if belongs(how, row)]
        if not chosen:
            continue
        change, stated, lens = (np.array([getattr(row, f"{k}_deg") for row in chosen]) for k in ("change", "stated", "lens"))
        cells = "".join(
            f"{np.abs(change[:, k]).mean():>10.2f}{100 * (np.abs(change[:, k]) <= stated[:, k]).mean():>7.0f} %"
            f"{100 * (np.abs(change[:, k]) <= lens[:, k]).mean():>7.0f} %"
            for k in range(3)
        )
        lines.append(f"{title}{np.mean([row.off_axis_deg for row in chosen]):>9.1f}{len(chosen):>4}{cells}")
    stated, lens = (np.array([getattr(row, f"{k}_deg") for _, row in rows]) for k in ("stated", "lens"))
    for title, values in (("all that is stated", stated), ("of that the lens", lens)):
        said = ", ".join(f"{n} {np.median(values[:, k]):.2f} (largest {values[:, k].max():.2f})" for k, n in enumerate(NAMES))
        lines.append(f"1.96 standard deviations, {title}: {said}")
    return lines


def _of(how: str | None, distance: float | None, where: str | None) -> Callable[[str, Wrong], bool]:
    """Whether a row is of a way, a distance and a place; None is any."""
    return lambda h, row: how in (None, h) and distance in (None, row.shot.distance_m) and where in (None, row.shot.where)


def reread_table(rows: Sequence[tuple[str, Wrong]]) -> list[str]:
    """The third part."""
    head = "".join(f"{n:>15}" for n in NAMES)
    lines = [f"{'read again with a lens':<24}{'m':>5}{'n':>5}{head}   mean size / worst   (refit; left as it was: means)"]
    for how in WRONG:
        for distance in (*DISTANCES_M, None):
            chosen = [row for h, row in rows if h == how and distance in (None, row.shot.distance_m)]
            if not chosen:
                continue
            apart, anew, change = (np.abs([getattr(row, f"{k}_deg") for row in chosen]) for k in ("reread", "refit", "change"))
            cells = "".join(f"{f'{m:.2f} / {w:.2f}':>15}" for m, w in zip(apart.mean(0), apart.max(0), strict=True))
            was = "; ".join(", ".join(f"{m:.2f}" for m in values.mean(0)) for values in (anew, change))
            lines.append(f"30 % {how:<19}{distance or 'all':>5}{len(apart):>5}{cells}   ({was})")
    return lines


def main(arguments: Sequence[str] | None = None) -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--heads", nargs="+")
    parser.add_argument("--per-place", type=int, default=6, help="pictures of each head in each cell of the first part")
    parser.add_argument("--per-cell", type=int, default=2, help="the same of the second")
    parser.add_argument("--seed", type=int, default=SEED)
    chosen = parser.parse_args(arguments)
    names = chosen.heads or load_heads().names()
    print(f"Faces {FACE_PX:.0f} px high, focal length known; errors in degrees (seed {chosen.seed}, {len(names)} heads)")
    print("\n".join(places_table(names, chosen.per_place, chosen.seed)), flush=True)
    rows = list(wrong_ones(names, chosen.per_cell, chosen.seed))
    print(
        "\nA focal length believed that is 30 % wrong: mean change, share inside of all that is stated, and of the lens's own part"
    )
    print("\n".join(wrong_table(rows)))
    print("\nA kept track read through another lens, against the same landmarks fitted with it, degrees")
    print("\n".join(reread_table(rows)))


if __name__ == "__main__":
    main()
