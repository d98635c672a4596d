"""From which size on a face's two lines can be told apart, on rendered heads: ``python -m tests.proof.face_lines``.

A spell is one head of one size that wanders a little about a posture drawn within 40 degrees of tilt, 25 of turn and 20 of chin; its
reading is the median over its pictures, as that of a habitual posture is. The rendered heads are about symmetric, so on them the
difference between both lines should be 0. Others are made asymmetric by a known angle: the whole face leans against its eye line,
or one eye lies lower with its orbit. A head as it is has a difference of its own, a mean over all of its pictures; it is printed, and
it is not taken off. Rendered heads have no real lens, light or hair over the eyes, so these errors are a lower bound.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from posture.face.model import load_canonical_face
from posture.face.seen import FaceSeen
from posture.geometry.angles import line_of_sight, posture_matrix
from posture.geometry.face_lines import face_lines
from posture.geometry.pose import Camera, angles_against_camera, estimate_pose, project
from tests.proof.material import Rgb, in_processes, load_heads, see_face
from tests.proof.occluders import NOISE
from tests.proof.places import find_places, load_head

Array = NDArray[np.float64]
Kind = Literal["as it is", "midline leans", "one eye lower"]
KINDS: tuple[Kind, ...] = get_args(Kind)

WIDTH_PX, HEIGHT_PX, FOCAL_PX = 480, 480, 700.0
OFF_CENTRE = 0.2
"""Farthest from the centre, in shares of width and height; the whole head stays in the picture."""

BANDS_PX = ((40.0, 60.0), (60.0, 100.0), (100.0, 190.0))
"""Heights from forehead to chin; within a band every height is as likely."""

RANGE_DEG = np.array([40.0, 25.0, 20.0])
"""Tilt, turn and chin of any picture are within this."""

WANDER_DEG = np.array([3.0, 4.0, 3.0])
"""How far the pictures of one spell scatter about its posture."""

LARGEST_LEAN_DEG = 8.0
BOUND_DEG = 2.0
"""Above this difference both lines are given."""

PLATEAU_M, FOOT_M = 0.019, 0.037
"""An orbit is lowered whole within the first distance of its eye, at an adult's size, and not at all from the second on: neither
the other eye nor the midline is."""

SEED, SPELLS, PICTURES = 77, 3, 6
CAMERA = Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX)


@dataclass(frozen=True)
class Spell:
    """One head, one size, one posture held.

    Attributes
    ----------
    name, kind : str
    band_px : tuple of float
    true_deg : ndarray, shape (2,)
        Slopes of the eye line and of the mid-face line in the head.
    posture_deg : ndarray, shape (n, 3)
        True tilt, turn and chin of each picture.
    read_deg : ndarray, shape (n, 2)
        Eye line and mid-face line against the fitted rotation.
    tilt_error_deg : ndarray, shape (n,)
        Of the fitted rotation.
    """

    name: str
    kind: Kind
    band_px: tuple[float, float]
    true_deg: Array
    posture_deg: Array
    read_deg: Array
    tilt_error_deg: Array

    @property
    def true_difference_deg(self) -> float:
        """Mid-face line less eye line."""
        return float(self.true_deg[1] - self.true_deg[0])

    @property
    def difference_deg(self) -> Array:
        """The same as read, of each picture, shape (n,)."""
        return self.read_deg[:, 1] - self.read_deg[:, 0]

    @property
    def tilt_along_error_deg(self) -> Array:
        """Errors of the medians of tilt along the eye line and along the mid-face line, shape (2,)."""
        return np.median(self.read_deg + self.tilt_error_deg[:, None], axis=0) - self.true_deg

    @property
    def middle_deg(self) -> float:
        """Its median."""
        return float(np.median(self.difference_deg))

    @property
    def error_deg(self) -> float:
        """Of the median."""
        return self.middle_deg - self.true_difference_deg


def lean_midline(head: Any, name: str, angle_deg: float) -> tuple[Any, Array]:
    """A head whose face is sheared sideways in its frontal plane about the eyes, and the true slopes (2,) of both lines."""
    eyes = find_places(name).points_m
    height = float(eyes["right_eye"][1] + eyes["left_eye"][1]) / 2 + head.pivot[1]
    slope = np.tan(np.radians(angle_deg))

    def moved(part: Any) -> Any:
        """The sheared part."""
        vertices = part.vertices.copy()
        vertices[:, 0] -= slope * (vertices[:, 1] - height) * part.head_weight
        return replace(part, vertices=vertices)

    return replace(head, parts=[moved(part) for part in head.parts]), np.array([0.0, angle_deg])


def lower_eye(head: Any, name: str, angle_deg: float) -> tuple[Any, Array]:
    """A head one of whose eyes lies lower with its orbit, and the true slopes (2,) of both lines; positive lowers the right eye."""
    places = find_places(name)
    right, left = places.points_m["right_eye"], places.points_m["left_eye"]
    eye = (right if angle_deg > 0 else left) + head.pivot
    drop_m = np.tan(np.radians(abs(angle_deg))) * abs(left[0] - right[0])

    def moved(part: Any) -> Any:
        """The part, lowered about the eye."""
        vertices = part.vertices.copy()
        away = np.hypot(vertices[:, 0] - eye[0], vertices[:, 1] - eye[1]) / places.scale
        share = np.clip((FOOT_M - away) / (FOOT_M - PLATEAU_M), 0.0, 1.0)
        vertices[:, 1] -= drop_m * share**2 * (3 - 2 * share) * part.head_weight
        return replace(part, vertices=vertices)

    return replace(head, parts=[moved(part) for part in head.parts]), np.array([angle_deg, 0.0])


def shape_head(name: str, kind: Kind, angle_deg: float) -> tuple[Any, Array]:
    """A rendered head made asymmetric, and the true slopes (2,) of its eye line and mid-face line."""
    head = load_head(name)
    if kind == "midline leans":
        return lean_midline(head, name, angle_deg)
    if kind == "one eye lower":
        return lower_eye(head, name, angle_deg)
    return head, np.zeros(2)


def put_at(name: str, face_px: float, off: Array, truth_deg: Array) -> tuple[Array, Array]:
    """Rotation (3, 3) and place (3,) in metres of a head with this height in the picture and these angles against the line of sight.

    Parameters
    ----------
    name : str
    face_px : float
        Forehead to chin, of the neutral head.
    off : ndarray, shape (2,)
        From the centre, in shares of width and height.
    truth_deg : ndarray, shape (3,)
        Tilt, turn, chin.
    """
    places = find_places(name)
    distance = FOCAL_PX * places.face_height_m / face_px + places.points_m["nose_bridge"][2]
    place = np.array([off[0] * WIDTH_PX / FOCAL_PX, off[1] * HEIGHT_PX / FOCAL_PX, 1.0]) * distance
    azimuth, elevation = line_of_sight(place)
    return posture_matrix(truth_deg[0], truth_deg[1] + azimuth, truth_deg[2] + elevation), place


def draw_noisy(
    head: Any, rotation: Array, place_m: Array, background: Array, rng: np.random.Generator, blur_px: float = 0.0
) -> Rgb:
    """One picture of a head, with the noise of a camera, and its blur where wanted."""
    heads = load_heads()
    camera = heads.Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX)
    return np.asarray(heads.degrade(heads.render(head, rotation, camera, tuple(place_m), background), rng, NOISE, blur_px))


def see_head(picture: Rgb, name: str, rotation: Array, place_m: Array, face_px: float) -> FaceSeen | None:
    """The face of the head in a picture; None where none was found, or something that is not it."""
    face = see_face(picture)
    middle = np.mean([find_places(name).points_m[key] for key in ("right_eye", "left_eye", "mouth")], axis=0)
    centre = project(middle[None], rotation, place_m, CAMERA)[0]
    return face if face is not None and np.linalg.norm(face.centre_px - centre) < face_px / 2 else None


def watch_head(name: str, band_px: tuple[float, float], spells: int, pictures: int) -> list[Spell]:
    """All spells of one head in one band: as many of each kind as told, of so many pictures each."""
    background = load_heads().room((WIDTH_PX, HEIGHT_PX), seed=2)
    rng = np.random.default_rng([SEED, *name.encode(), round(band_px[0])])
    found = []
    for kind in KINDS:
        for _ in range(spells if kind == KINDS[0] else max(spells - 1, 1)):
            head, true_deg = shape_head(name, kind, float(rng.uniform(-LARGEST_LEAN_DEG, LARGEST_LEAN_DEG)))
            face_px, off = float(rng.uniform(*band_px)), rng.uniform(-OFF_CENTRE, OFF_CENTRE, 2)
            held = rng.uniform(-1, 1, 3) * (RANGE_DEG - WANDER_DEG)
            postures, readings, errors = [], [], []
            for _ in range(pictures):
                truth = np.clip(rng.normal(held, WANDER_DEG), -RANGE_DEG, RANGE_DEG)
                rotation, place = put_at(name, face_px, off, truth)
                picture = draw_noisy(head, rotation, place, background, rng)
                face = see_head(picture, name, rotation, place, face_px)
                if face is None:
                    continue
                pose = estimate_pose(face.points_px, face.depth_px, CAMERA, load_canonical_face())
                lines = face_lines(face.points_px, pose.rotation, pose.place_cm, CAMERA, load_canonical_face())
                postures.append(truth)
                readings.append((lines.eye_deg, lines.midface_deg))
                errors.append(angles_against_camera(pose)[0] - truth[0])
            if readings:
                found.append(Spell(name, kind, band_px, true_deg, np.array(postures), np.array(readings), np.array(errors)))
    return found


def spread(error_deg: Array) -> str:
    """Mean, standard deviation and 95th percentile of the size, as text."""
    return f"mean {error_deg.mean():+.2f}, sd {error_deg.std():.2f}, 95 % within {np.percentile(np.abs(error_deg), 95):.2f}"


def seen_share(spells: Sequence[Spell]) -> float:
    """How much of a true difference is seen: the slope of the median that is read against the truth."""
    true = np.array([spell.true_difference_deg for spell in spells])
    return float(np.array([spell.middle_deg for spell in spells]) @ true / (true @ true))


def given_shares(spells: Sequence[Spell]) -> str:
    """How often both lines would be given, by the size of the true difference, as text."""
    parts = []
    for low, high in ((0.0, 0.0), (0.0, 2.0), (2.0, 4.0), (4.0, 6.0), (6.0, LARGEST_LEAN_DEG)):
        chosen = [
            spell
            for spell in spells
            if low <= abs(spell.true_difference_deg) <= high and (spell.true_difference_deg or not high)
        ]
        given = sum(abs(spell.middle_deg) > BOUND_DEG for spell in chosen)
        parts.append(f"{low:.0f}{f'-{high:.0f}' if high else ''}: {given} of {len(chosen)}")
    return ", ".join(parts)


def print_symmetric(spells: Sequence[Spell]) -> None:
    """Both lines and their difference on heads as they are, where each should be 0."""
    print("Heads as they are, degrees")
    for band in BANDS_PX:
        own = [spell for spell in spells if spell.kind == KINDS[0] and spell.band_px == band]
        every, tilt = np.concatenate([s.read_deg for s in own]), np.concatenate([s.tilt_error_deg for s in own])
        print(f"   {band[0]:.0f}-{band[1]:.0f} px, {len(every)} pictures, {len(own)} spells")
        print(f"      eye line              {spread(every[:, 0])}")
        print(f"      mid-face line         {spread(every[:, 1])}")
        print(f"      difference            {spread(every[:, 1] - every[:, 0])}")
        print(f"      difference, spells    {spread(np.array([s.error_deg for s in own]))}")
        for label, value in (("pose", tilt), ("eye line", tilt + every[:, 0]), ("mid-face line", tilt + every[:, 1])):
            print(f"      tilt by {label:14}{spread(value)}")
    print("   by head, mean of all pictures; and how the difference goes with turn, degrees for each degree")
    for name in sorted({spell.name for spell in spells}):
        own = [spell for spell in spells if spell.kind == KINDS[0] and spell.name == name]
        difference = np.concatenate([spell.difference_deg for spell in own])
        turn = np.concatenate([spell.posture_deg[:, 1] for spell in own])
        print(f"      {name}: {difference.mean():+.2f}, with turn {np.polyfit(turn, difference, 1)[0]:+.3f}")


def print_asymmetric(spells: Sequence[Spell]) -> None:
    """The true difference found again on heads made asymmetric, and from when on both lines would be given."""
    print("Heads made asymmetric, degrees: median of a spell against the truth")
    for kind in KINDS[1:]:
        for band in BANDS_PX:
            own = [spell for spell in spells if spell.kind == kind and spell.band_px == band]
            error = np.array([spell.error_deg for spell in own])
            share = seen_share(own)
            print(f"   {kind}, {band[0]:.0f}-{band[1]:.0f} px ({len(own)} spells): {spread(error)}; {share:.2f} of it seen")
    print(f"A difference read above {BOUND_DEG:.0f} degrees, by true difference")
    for band in BANDS_PX:
        own = [spell for spell in spells if spell.band_px == band]
        plain, made = (np.array([s.error_deg for s in own if (s.kind == KINDS[0]) is k]) for k in (True, False))
        share = seen_share([spell for spell in own if spell.kind != KINDS[0]])
        stretched = np.array([s.middle_deg / share - s.true_difference_deg for s in own])
        print(f"   {band[0]:.0f}-{band[1]:.0f} px: {given_shares(own)}")
        print(
            f"      root mean square error {rms(plain):.2f} as it is, {rms(made):.2f} made asymmetric; {rms(stretched):.2f} of all if"
            f" what is read were divided by the share seen, {share:.2f}"
        )
        for label, kinds in (("as it is", KINDS[:1]), ("made asymmetric", KINDS[1:])):
            along = np.array([s.tilt_along_error_deg for s in own if s.kind in kinds])
            print(
                f"      tilt, {label}: along the eye line {rms(along[:, 0]):.2f}, along the mid-face line {rms(along[:, 1]):.2f}"
            )


def rms(error_deg: Array) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(error_deg**2)))


def watch_all(names: Sequence[str], spells: int, pictures: int, workers: int) -> Iterator[list[Spell]]:
    """The spells of all heads in all bands."""
    jobs = [(name, band, spells, pictures) for name in names for band in BANDS_PX]
    return in_processes(watch_head, jobs, workers)


def main(argv: Sequence[str] | None = None) -> None:
    """Draw, read and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--spells", type=int, default=SPELLS, help="spells of each head and band as it is; one less of others")
    parser.add_argument("--pictures", type=int, default=PICTURES, help="pictures of a spell")
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args(argv)
    spells = list(chain.from_iterable(watch_all(load_heads().names(), options.spells, options.pictures, options.workers)))
    print_symmetric(spells)
    print_asymmetric(spells)


if __name__ == "__main__":
    main()
