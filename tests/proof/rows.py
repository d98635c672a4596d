"""Pictures of rendered heads at known postures, measured: one row for every picture, kept as CSV."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, fields
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posture.conventions import wrap_deg
from posture.face.model import load_canonical_face
from posture.geometry.angles import angle_between_deg, line_of_sight, posture_matrix
from posture.geometry.pose import Camera, angles_against_camera, estimate_pose, project, rotation_from_depth
from posture.see import face_quality
from tests.proof.material import Rgb, load_heads, see_face
from tests.proof.occluders import CONDITIONS, Condition, draw_condition
from tests.proof.places import find_places

WIDTH_PX, HEIGHT_PX, FOCAL_PX = 1280, 720, 1000.0
BANDS_PX = ((25.0, 35.0), (35.0, 50.0), (50.0, 90.0), (90.0, 190.0))
"""Heights from forehead to chin; within a band every height is as likely."""

RANGE_DEG = 25.0
OFF_CENTRE = (0.35, 0.25)
"""Farthest from the centre, in shares of width and height; the whole head stays in the picture."""

NEUTRAL_FACES_PX = (100.0, 140.0, 180.0)
ELSEWHERE = 0.5
"""A face found farther than this share of its height from the true place is not the head: the head counts as not found."""

NAMES = ("tilt", "turn", "chin")
NOTHING = float("nan")
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Row:
    """One picture and what was read in it; NaN where no face was found.

    Attributes
    ----------
    head, condition : str
    off_centre : bool
    true_face_px : float
        Height that the neutral head would have there.
    true_tilt_deg, true_turn_deg, true_chin_deg : float
        Turn and chin against the line of sight.
    tilt_deg, turn_deg, chin_deg : float
        As measured; chin is not zeroed.
    tilt_error_deg, turn_error_deg, chin_error_deg : float
        Measured less true; chin against the head's own neutral.
    found : bool
    reprojection_share, face_height_px : float
        See `posture.geometry.pose.Pose`.
    looks : int
    settled : bool
    quality : float
        See `posture.see.face_quality`.
    depth_angle_deg : float
        Between the rotation that was read and the one of the landmarks' own depth.
    """

    head: str
    condition: str
    off_centre: bool
    true_face_px: float
    true_tilt_deg: float
    true_turn_deg: float
    true_chin_deg: float
    found: bool = False
    tilt_deg: float = NOTHING
    turn_deg: float = NOTHING
    chin_deg: float = NOTHING
    tilt_error_deg: float = NOTHING
    turn_error_deg: float = NOTHING
    chin_error_deg: float = NOTHING
    reprojection_share: float = NOTHING
    face_height_px: float = NOTHING
    looks: int = 0
    settled: bool = False
    quality: float = NOTHING
    depth_angle_deg: float = NOTHING

    @property
    def error_deg(self) -> tuple[float, float, float]:
        """Errors of tilt, turn and chin."""
        return self.tilt_error_deg, self.turn_error_deg, self.chin_error_deg

    @property
    def truth_deg(self) -> tuple[float, float, float]:
        """True tilt, turn and chin."""
        return self.true_tilt_deg, self.true_turn_deg, self.true_chin_deg


@dataclass(frozen=True)
class Shot:
    """A picture and what is true in it: posture (3,), height of the face and its place (2,) in pixels."""

    picture: Rgb
    truth_deg: Array
    face_px: float
    centre_px: Array
    off_centre: bool


def draw_shots(
    name: str, condition: Condition, band_px: tuple[float, float], per_head: int, seed: int, at_rest: bool = False
) -> Iterator[Shot]:
    """Draw one head in random postures, heights and places; the same ones whatever the condition.

    Parameters
    ----------
    name : str
    condition : str
        One of `tests.proof.occluders.CONDITIONS`.
    band_px : tuple of float
        Least and greatest height of the face.
    per_head : int
    seed : int
    at_rest : bool
        All neutral, at the centre.

    Yields
    ------
    Shot
    """
    heads = load_heads()
    room = heads.room((WIDTH_PX, HEIGHT_PX), seed=1)
    where = np.random.default_rng([seed, *name.encode(), round(band_px[0]), round(band_px[1])])
    how = np.random.default_rng([seed + 1, *name.encode(), round(band_px[0]), round(band_px[1]), CONDITIONS.index(condition)])
    places = find_places(name)
    middle_m = np.mean([places.points_m[key] for key in ("right_eye", "left_eye", "mouth", "chin")], axis=0)
    for k in range(per_head):
        truth = where.uniform(-RANGE_DEG, RANGE_DEG, 3) * (not at_rest)
        face_px = float(where.uniform(*band_px))
        off = where.uniform(-1, 1, 2) * OFF_CENTRE * (k % 2) * (not at_rest)
        # The axis goes through the pivot, the face is nearer than that by the length of the nose bridge.
        distance = FOCAL_PX * places.face_height_m / face_px + places.points_m["nose_bridge"][2]
        place = np.array([off[0] * WIDTH_PX / FOCAL_PX, off[1] * HEIGHT_PX / FOCAL_PX, 1.0]) * distance
        azimuth, elevation = line_of_sight(place)
        rotation = posture_matrix(truth[0], truth[1] + azimuth, truth[2] + elevation)
        camera = heads.Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX)
        picture = draw_condition(condition, name, rotation, camera, place, room, how)
        centre = project(middle_m[None], rotation, place, Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX))[0]
        yield Shot(picture, truth, face_px, centre, bool(k % 2) and not at_rest)


def draw_neutral(name: str, seed: int) -> list[Shot]:
    """Plain neutral pictures of a head at the centre, one of each height of `NEUTRAL_FACES_PX`."""
    return [
        shot for face_px in NEUTRAL_FACES_PX for shot in draw_shots(name, "plain", (face_px, face_px), 1, seed, at_rest=True)
    ]


@lru_cache(maxsize=64)
def neutral_deg(name: str, seed: int) -> tuple[float, float, float]:
    """Mean reading of plain neutral pictures of a head, one at each of `NEUTRAL_FACES_PX`.

    Raises
    ------
    RuntimeError
        If one of them shows no face.
    """
    readings = []
    for shot in draw_neutral(name, seed):
        row = measure_shot(name, "plain", shot, (0.0, 0.0, 0.0))
        if not row.found:
            raise RuntimeError(f"Expected a face in the neutral picture of '{name}'; none was found. Is the head damaged?")
        readings.append((row.tilt_deg, row.turn_deg, row.chin_deg))
    tilt, turn, chin = np.mean(readings, axis=0)
    return float(tilt), float(turn), float(chin)


def measure_shot(name: str, condition: Condition, shot: Shot, own_neutral_deg: Sequence[float]) -> Row:
    """Read one picture on the path that clips take.

    Parameters
    ----------
    name, condition : str
    shot : Shot
    own_neutral_deg : sequence of three float
        The chin of it is what the head reads when neutral.

    Returns
    -------
    Row
    """
    base: dict[str, Any] = {"head": name, "condition": condition, "off_centre": shot.off_centre}
    base |= {"true_face_px": round(shot.face_px, 2)}
    base |= {f"true_{angle}_deg": round(float(v), 4) for angle, v in zip(NAMES, shot.truth_deg, strict=True)}
    face = see_face(shot.picture)
    if face is None or np.linalg.norm(face.centre_px - shot.centre_px) > ELSEWHERE * shot.face_px:
        return Row(**base)
    camera, canonical = Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX), load_canonical_face()
    pose = estimate_pose(face.points_px, face.depth_px, camera, canonical)
    read = np.array(angles_against_camera(pose))
    error = wrap_deg(read - shot.truth_deg - [0.0, 0.0, own_neutral_deg[2]])
    by_depth = rotation_from_depth(face.points_px, face.depth_px, camera, canonical)
    base |= {f"{angle}_deg": round(float(v), 4) for angle, v in zip(NAMES, read, strict=True)}
    base |= {f"{angle}_error_deg": round(float(v), 4) for angle, v in zip(NAMES, error, strict=True)}
    return Row(
        **base,
        found=True,
        reprojection_share=round(pose.reprojection_share, 6),
        face_height_px=round(pose.face_height_px, 2),
        looks=face.looks,
        settled=bool(face.settled),
        quality=round(face_quality(face, pose), 4),
        depth_angle_deg=round(float(angle_between_deg(pose.rotation, by_depth)), 3),
    )


def measure_cell(name: str, condition: Condition, band_px: tuple[float, float], per_head: int, seed: int) -> list[Row]:
    """Draw and read one head under one condition at heights of one band."""
    own = neutral_deg(name, seed)
    return [measure_shot(name, condition, shot, own) for shot in draw_shots(name, condition, band_px, per_head, seed)]


def write_rows(path: Path, rows: Iterable[Row]) -> None:
    """Write rows as CSV, one for every picture; a file that is read meanwhile is always whole."""
    part = path.with_name(path.name + ".part")
    with part.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [field.name for field in fields(Row)])
        writer.writeheader()
        writer.writerows(asdict(row) for row in rows)
    part.replace(path)


def read_rows(path: Path) -> list[Row]:
    """Read rows that `write_rows` wrote."""
    with path.open(newline="", encoding="utf-8") as file:
        return [_row(line) for line in csv.DictReader(file)]


def _row(line: dict[str, str]) -> Row:
    """The row of one line of a CSV file."""
    values: dict[str, Any] = {field.name: _value(field.type, line[field.name]) for field in fields(Row)}
    return Row(**values)


def _value(kind: object, text: str) -> str | bool | int | float:
    """The value of one column; the kind is the word of its annotation."""
    if kind == "bool":
        return text == "True"
    return {"str": str, "int": int, "float": float}[str(kind)](text)
