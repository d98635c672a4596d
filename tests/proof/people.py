"""Several people in one clip, kept apart: ``python -m tests.proof.people [--clips DIR] [--sheets DIR] [NAME ...]``.

Rendered people walk past each other, touch, leave and come back; what they really did is written beside each clip, row by row. The
program's persons are then laid against them: a face belongs to the true person whose face centre is nearest, within half a face.
A *swap* is a row in which a person of the program shows another true person than in most of its rows. Rows count where at least
`IN_SIGHT` of the face is visible and it is turned within `TURNED_DEG`. With ``--sheets`` the real clips are drawn as contact sheets
with every face outlined, to be looked at: there is no truth for them. Rendered people have no real hair, light or clothes, so these
figures are a lower bound of the confusion on people.
"""

from __future__ import annotations

import argparse
import csv
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.spatial.transform import Rotation

from posture.clip.frame import Frame
from posture.face.seen import N_MESH, FaceSeen
from posture.geometry.angles import line_of_sight, posture_angles, posture_matrix
from posture.see import see_clip
from posture.signal.track import HeadTrack
from tests.proof.material import CLIPS, Rgb, draw_once, load_heads

WIDTH_PX, HEIGHT_PX, FOCAL_PX = 1280, 720, 1000.0
RATE_HZ = 15.0
NOISE = 3.0
SEED = 2026
"""Chosen before any figure was seen."""

IN_SIGHT, TURNED_DEG = 0.8, 45.0
"""Rows are judged where this share of the face is visible and it is turned by less."""

HIDDEN = 0.3
"""A face of which less is visible is neither missed nor anybody's."""

SHEET_EVERY_S, SHEET_WIDTH_PX, SHEET_COLUMNS = 0.5, 240, 8
SHEET_COLOURS = ((255, 90, 90), (90, 255, 90), (110, 160, 255), (255, 220, 60), (255, 100, 255), (60, 230, 230))

WANDER_DEG = (2.0, 3.5, 2.5)
"""Spread of tilt, turn and chin about what a person usually holds."""

Array = NDArray[np.float64]
Keys = list[tuple[float, float, float, float]]
"""Where a person is: time (s), x, y, z of the head (m, level frame) at the times that matter; smooth moves between."""


@dataclass(frozen=True)
class Actor:
    """One person of a scene.

    Attributes
    ----------
    name, head : str
        Name in the truth, and the rendered head.
    keys : Keys
    posture_deg : tuple of float
        Tilt, turn and chin against the line of sight, about which the person wanders.
    lean : list of tuple
        Time (s) and tilt (degrees) that comes on top, at the times that matter.
    bend : list of tuple
        Time (s) and chin that comes on top.
    """

    name: str
    head: str
    keys: Keys
    posture_deg: tuple[float, float, float]
    lean: tuple[tuple[float, float], ...] = ((0, 0), (1, 0))
    bend: tuple[tuple[float, float], ...] = ((0, 0), (1, 0))


def _crossing(start_s: float, near: float, z: float, y: float = 0.0) -> Keys:
    """Over to the other side, slowly past the middle, and back again 9 s later; `near` is the x of the start."""
    keys = []
    for t, side in ((start_s, 1), (start_s + 9, -1)):
        for after, share in ((0, 1.0), (1.8, 0.15), (3.0, -0.15), (4.8, -1.0)):
            keys.append((t + after, side * share * near, y, z))
    return keys


def _crossing_pair(
    heads: tuple[str, str], z: tuple[float, float], tilt_deg: tuple[float, float], y: tuple[float, float] = (0, 0)
) -> tuple[Actor, ...]:
    """Two people who walk past each other, the first in front."""
    return (
        Actor("front", heads[0], _crossing(4, -0.42 * z[0], z[0], y[0]), (tilt_deg[0], 4, -3)),
        Actor("behind", heads[1], _crossing(4, 0.42 * z[1], z[1], y[1]), (tilt_deg[1], -4, 2)),
    )


SCENES: dict[str, tuple[float, tuple[Actor, ...]]] = {
    "cross_opposite": (21, _crossing_pair(("adult_b", "adult_f"), (1.4, 1.8), (12, -12))),
    "cross_same": (21, _crossing_pair(("adult_d", "adult_b"), (1.45, 1.6), (12, 9))),
    "cross_twins": (21, _crossing_pair(("adult_f", "adult_f"), (1.3, 1.9), (11, 7))),
    "lean_together": (
        18,
        (
            Actor(
                "mother",
                "adult_a",
                [(5, -0.38, 0.0, 1.25), (7, -0.08, 0.0, 1.25), (11, -0.08, 0.0, 1.25), (13, -0.38, 0.0, 1.25)],
                (-4, 0, 0),
                lean=((5, 0), (7, -9), (11, -9), (13, 0)),
            ),
            Actor(
                "child",
                "child_a",
                [(5, 0.36, 0.03, 1.2), (7, 0.065, 0.03, 1.2), (11, 0.065, 0.03, 1.2), (13, 0.36, 0.03, 1.2)],
                (9, -6, -4),
                lean=((5, 0), (7, 5), (11, 5), (13, 0)),
            ),
        ),
    ),
    "leave_return": (
        25,
        (
            # Off at the left, out of sight for 4 s, back from the right.
            Actor(
                "child",
                "child_b",
                [(4, -0.4, 0.1, 1.2), (6, -1.1, 0.1, 1.2), (6.01, 1.1, 0.1, 1.2), (7.2, 1.1, 0.1, 1.2), (9.2, 0.45, 0.1, 1.2)],
                (-13, -6, -6),
            ),
            Actor(
                "adult",
                "adult_e",
                [(14, 0.05, -0.05, 1.5), (16.5, -1.5, -0.05, 1.5), (19.5, -1.5, -0.05, 1.5), (21.5, -0.2, -0.05, 1.5)],
                (3, 3, 0),
            ),
        ),
    ),
    "lap": (
        20,
        (
            Actor("child", "child_a", [(0, 0.0, 0.10, 0.95), (10, 0.03, 0.11, 0.95), (20, -0.02, 0.1, 0.95)], (12, 5, -6)),
            Actor(
                "adult",
                "adult_d",
                [
                    (5, 0, -0.17, 1.1),
                    (7, 0.13, 0.0, 1.1),
                    (10, 0.13, 0.0, 1.1),
                    (12, 0, -0.17, 1.1),
                    (14, 0, -0.17, 1.1),
                    (16, -0.02, -0.09, 1.1),
                    (18, 0, -0.17, 1.1),
                ],
                (-3, 0, -5),
                lean=((5, 0), (7, 14), (10, 14), (12, 0)),
                bend=((5, 0), (7, -14), (10, -14), (12, 0), (14, 0), (16, -15), (18, 0)),
            ),
        ),
    ),
    "far": (
        22,
        (
            Actor(
                "child",
                "child_a",
                [
                    (1, -1.0, 0.1, 3.0),
                    (5, 0.5, 0.1, 3.0),
                    (8, 1.2, 0.1, 3.0),
                    (12, -0.3, 0.1, 3.0),
                    (15, -0.3, 0.1, 3.0),
                    (20, 0.9, 0.1, 3.0),
                ],
                (11, 4, -4),
            ),
            Actor("adult", "adult_c", _crossing(4, 0.7, 1.2), (-5, 5, 0)),
        ),
    ),
    "three": (
        22,
        (
            Actor("sitter", "adult_e", [(0, 0.5, 0, 1.6), (22, 0.5, 0, 1.6)], (-8, 4, 0)),
            Actor(
                "child",
                "child_b",
                [
                    (3, -0.5, 0.1, 1.2),
                    (6, -0.1, 0.08, 1.2),
                    (9, -0.3, 0.1, 1.2),
                    (12, 0.2, 0.05, 1.2),
                    (14, 0.62, 0.0, 1.2),
                    (18, -0.2, 0.1, 1.2),
                ],
                (13, -5, -5),
            ),
            Actor(
                "walker",
                "adult_b",
                [(4, -1.0, -0.05, 2.0), (9, 0.1, -0.05, 2.0), (13, 1.15, -0.05, 2.0), (19, 0.1, -0.05, 2.0)],
                (2, 0, 0),
            ),
        ),
    ),
}
"""Seconds and people of every scene."""


@dataclass(frozen=True)
class Truth:
    """What one person of a clip really did, frame by frame.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
    angles_deg : ndarray, shape (n, 3)
        Tilt, turn and chin against the line of sight.
    visible : ndarray, shape (n,)
        Share of the face that is in the picture and not hidden by somebody nearer.
    box_px : ndarray, shape (n, 4)
        Left, top, right, bottom of the face.
    """

    time_s: Array
    angles_deg: Array
    visible: Array
    box_px: Array


def make_clip(name: str, folder: Path, width_px: int = WIDTH_PX, rate_hz: float = RATE_HZ) -> Path:
    """Draw a scene unless it is in the folder already; its truth stands beside it as ``<name>.truth.csv``.

    Parameters
    ----------
    name : str
        One of `SCENES`.
    folder : Path
    width_px : int
        Of pictures of 16 by 9.
    rate_hz : float

    Returns
    -------
    Path
        The clip.
    """
    rows: list[dict[str, object]] = []
    return draw_once(folder / f"{name}.mp4", _pictures(name, width_px, rate_hz, rows), rate_hz, rows)


def read_truth(clip: Path) -> dict[str, Truth]:
    """The truth beside a clip, person by person."""
    with clip.with_suffix(".truth.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    found = {}
    for name in dict.fromkeys(row["person"] for row in rows):
        mine = [row for row in rows if row["person"] == name]
        table = np.array([[float(value) for key, value in row.items() if key != "person"] for row in mine])
        found[name] = Truth(table[:, 0], table[:, 1:4], table[:, 4], table[:, 5:9])
    return found


def _pictures(name: str, width_px: int, rate_hz: float, rows: list[dict[str, object]]) -> Iterator[Rgb]:
    """The pictures of a scene; the rows of truth are added as they are drawn."""
    heads = load_heads()
    seconds, actors = SCENES[name]
    camera = heads.Camera(width_px, width_px * HEIGHT_PX // WIDTH_PX, FOCAL_PX * width_px / WIDTH_PX)
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    rng = np.random.default_rng([SEED, *name.encode()])
    room = heads.room((camera.width, camera.height), seed=len(name))
    noise = rng.normal(0, NOISE, (camera.height, camera.width + 64, 3)).astype(np.float32)
    cast = [
        (actor, _lower_arms(heads.load(actor.head)), _places(actor, time_s), _postures(actor, time_s, heads, rng))
        for actor in actors
    ]
    faces = [_face_points(head) for _, head, _, _ in cast]
    for i, t in enumerate(time_s):
        picture = np.clip(room, 0, 255).astype(np.uint8)
        masks: dict[int, NDArray[np.bool_]] = {}
        placed: dict[int, Array] = {}
        # Who is farther is drawn first.
        for k in sorted(range(len(cast)), key=lambda k: -cast[k][2][i, 2]):
            _, head, place, posture = cast[k]
            azimuth, elevation = line_of_sight(place[i])
            rotation = posture_matrix(posture[i, 0], posture[i, 1] + azimuth, posture[i, 2] + elevation)
            before = picture
            picture = heads.render(head, rotation, camera, place[i], supersample=1, under=before)
            mine = (picture != before).any(-1)
            masks = {other: mask & ~mine for other, mask in masks.items()} | {k: mine}
            placed[k] = _project(faces[k], rotation, place[i], camera)
        for k, (actor, _, _, posture) in enumerate(cast):
            rows.append(_row(t, actor.name, posture[i], _visible_share(placed[k], masks[k]), placed[k]))
        left, flip = int(rng.integers(64)), 1 - 2 * int(rng.integers(2))
        yield np.clip(picture + noise[::flip, left : left + camera.width], 0, 255).astype(np.uint8)


def _row(time_s: float, name: str, posture: Array, visible: float, points: Array) -> dict[str, object]:
    """One row of truth."""
    tilt, turn, chin = (round(float(v), 3) for v in posture)
    left, top, right, bottom = (round(float(v), 1) for v in (*points.min(0), *points.max(0)))
    row: dict[str, object] = {
        "time_s": round(float(time_s), 4),
        "person": name,
        "tilt_deg": tilt,
        "turn_deg": turn,
        "chin_deg": chin,
    }
    return row | {"visible": round(visible, 3), "left_px": left, "top_px": top, "right_px": right, "bottom_px": bottom}


def _places(actor: Actor, time_s: Array) -> Array:
    """Where the head is at every time, shape (n, 3), still before the first key and after the last."""
    keys = np.array(actor.keys)
    return np.asarray(PchipInterpolator(keys[:, 0], keys[:, 1:])(np.clip(time_s, keys[0, 0], keys[-1, 0])))


def _postures(actor: Actor, time_s: Array, heads: ModuleType, rng: np.random.Generator) -> Array:
    """Tilt, turn and chin at every time, shape (n, 3): what the person holds, leaning, bending and wandering about it."""
    rate_hz = 1 / (time_s[1] - time_s[0])
    angles = np.stack(
        [a + heads.wander(len(time_s), rate_hz, rng, s) for a, s in zip(actor.posture_deg, WANDER_DEG, strict=True)], 1
    )
    for column, keys in ((0, np.array(actor.lean)), (2, np.array(actor.bend))):
        angles[:, column] += PchipInterpolator(keys[:, 0], keys[:, 1])(np.clip(time_s, keys[0, 0], keys[-1, 0]))
    return angles


def _lower_arms(head: Any) -> Any:
    """The head with the arms of its trunk hanging: some come with arms spread, which would cover the people beside them."""
    for part in head.parts:
        rel = part.vertices - head.pivot
        x = np.abs(rel[:, 0])
        if x.max() < 0.6:
            continue
        side = np.sign(rel[:, 0])
        shoulder = np.stack([side * 0.17, np.full(len(x), -0.15), np.full(len(x), -0.03)], 1)
        angle = np.radians(-80) * np.clip((x - 0.17) / 0.08, 0, 1) * side * (part.head_weight < 0.5)
        turn = Rotation.from_euler("z", angle[:, None]).as_matrix()
        part.vertices = np.einsum("nij,nj->ni", turn, rel - shoulder) + shoulder + head.pivot
        part.normals = np.einsum("nij,nj->ni", turn, part.normals)
    return head


def _face_points(head: Any) -> Array:
    """Points (n, 3) of the front of the face, from the eyebrows' upper edge to the chin, relative to the pivot (m)."""
    points = np.concatenate([p.vertices[p.head_weight > 0.9] for p in head.parts]) - head.pivot
    normals = np.concatenate([p.normals[p.head_weight > 0.9] for p in head.parts])
    middle = points[np.abs(points[:, 0]) < 0.02]
    nose = middle[middle[:, 2].argmax()]
    level = points[np.abs(points[:, 1] - nose[1]) < 0.01]
    width = 2 * np.percentile(np.abs(level[:, 0]), 90)
    chosen = (normals[:, 2] > 0.2) & (np.abs(points[:, 0]) < 0.45 * width) & (points[:, 2] > nose[2] - 0.6 * width)
    chosen &= (points[:, 1] > nose[1] - 0.5 * width) & (points[:, 1] < nose[1] + 0.65 * width)
    points = points[chosen][points[chosen][:, 2].argsort()[::-1]]
    # One point in every 4 mm: meshes are denser about eyes and mouth, and shares are to be of the face's area.
    _, first = np.unique(np.round(points[:, :2] / 0.004), axis=0, return_index=True)
    return points[first]


def _project(points: Array, rotation: Array, place_m: Array, camera: Any) -> Array:
    """Points of the head (n, 3) on the picture, shape (n, 2)."""
    seen = points @ rotation.T * [1, -1, -1] + place_m
    return seen[:, :2] / seen[:, 2:] * camera.focal_px + [camera.width / 2 - 0.5, camera.height / 2 - 0.5]


def _visible_share(points_px: Array, mask: NDArray[np.bool_]) -> float:
    """Share of the points that fall on the person's own visible pixels."""
    x, y = np.round(points_px).astype(int).T
    inside = (x >= 0) & (y >= 0) & (x < mask.shape[1]) & (y < mask.shape[0])
    return float(mask[y[inside], x[inside]].sum() / len(points_px))


@dataclass(frozen=True)
class PersonResult:
    """How one true person was followed.

    Attributes
    ----------
    name : str
    rows : int
        In sight.
    found : float
        Share of those in which some person of the program is at this face.
    by_one : float
        Share in which it is the one that shows this face most.
    swaps : int
        Rows of this face that a person of the program took who mostly shows another.
    parts : int
        Persons of the program who mostly show this one.
    number : int or None
        Of the one that shows this face most.
    tilt_error_deg : float
        Mean size of the error of tilt in rows in sight.
    habit_off_deg : float
        Median tilt of the person `number` less the true median, both over all rows that the program gives it: what swaps falsify.
    """

    name: str
    rows: int
    found: float
    by_one: float
    swaps: int
    parts: int
    number: int | None
    tilt_error_deg: float
    habit_off_deg: float


@dataclass(frozen=True)
class ClipResult:
    """How one clip went.

    Attributes
    ----------
    persons : tuple of PersonResult
    strays : int
        Rows in which a person of the program is where no true face is.
    loose : int
        Faces seen that are in no person's track: left out for a bad fit, near a meeting, or seen too briefly.
    still : int
        Persons taken for pictures or dolls; nobody here is one.
    """

    persons: tuple[PersonResult, ...]
    strays: int
    loose: int
    still: int


def judge_clip(clip: Path, width_px: int = WIDTH_PX) -> ClipResult:
    """Lay the program's persons against the truth beside a clip.

    Parameters
    ----------
    clip : Path
        From `make_clip`.
    width_px : int
        With which it was drawn.

    Returns
    -------
    ClipResult
    """
    truths = read_truth(clip)
    seen: list[int] = []
    focal_px = FOCAL_PX * width_px / WIDTH_PX
    found = see_clip(clip, focal_px, on_frame=lambda frame, faces, done: seen.append(len(faces)))
    tracks = [person.track for person in found.persons]
    owners = [_owners(track, truths) for track in tracks]
    names = list(truths)
    # (persons of the program, true persons): rows in which the one is at the face of the other.
    rows = np.array([[(owner == k).sum() for k in range(len(names))] for owner in owners]).reshape(len(tracks), len(names))
    mostly = rows.argmax(1) if len(tracks) else np.zeros(0, int)
    persons = tuple(_judge_person(k, name, truths[name], tracks, owners, rows, mostly) for k, name in enumerate(names))
    strays = sum(int((owner == _NOBODY).sum()) for owner in owners)
    loose = sum(seen) - sum(int(track.face_found.sum()) for track in tracks)
    return ClipResult(persons, strays, loose, sum(person.is_still for person in found.persons))


_NOBODY, _HIDDEN, _NO_FACE = -1, -2, -3


def _owners(track: HeadTrack, truths: dict[str, Truth]) -> NDArray[np.int64]:
    """Whose face the track shows in every row: a true person's number, or no true face, or one that is hidden, or no face."""
    owners = np.full(len(track.time_s), _NO_FACE)
    centre = track.place_cm[:, :2] / track.place_cm[:, 2:] * track.focal_px + [
        track.width_px / 2 - 0.5,
        track.height_px / 2 - 0.5,
    ]
    for i in np.flatnonzero(track.face_found):
        owners[i], nearest = _NOBODY, np.inf
        for k, truth in enumerate(truths.values()):
            row = _row_at(truth, track.time_s[i])
            left, top, right, bottom = truth.box_px[row]
            away = np.hypot(centre[i, 0] - (left + right) / 2, centre[i, 1] - (top + bottom) / 2) / (bottom - top)
            if away > 0.5:
                continue
            if truth.visible[row] < HIDDEN:
                owners[i] = _HIDDEN if owners[i] == _NOBODY else owners[i]
            elif away < nearest:
                owners[i], nearest = k, away
    return owners


def _row_at(truth: Truth, time_s: float) -> int:
    """The truth's row at a time of the clip."""
    return int(np.abs(truth.time_s - time_s).argmin())


def _judge_person(
    k: int,
    name: str,
    truth: Truth,
    tracks: list[HeadTrack],
    owners: list[NDArray[np.int64]],
    rows: NDArray[np.int64],
    mostly: NDArray[np.int64],
) -> PersonResult:
    """One true person against all of the program's."""
    sight = (truth.visible >= IN_SIGHT) & (np.abs(truth.angles_deg[:, 1]) < TURNED_DEG)
    number = int(rows[:, k].argmax()) if rows.size and rows[:, k].any() else None
    n_found = n_one = n_rows = 0
    errors: list[float] = []
    for i, t in enumerate(tracks[0].time_s if tracks else truth.time_s[sight]):
        row = _row_at(truth, float(t))
        if not sight[row]:
            continue
        n_rows += 1
        at = [n for n, owner in enumerate(owners) if owner[i] == k]
        n_found += bool(at)
        n_one += number in at
        errors += [abs(_tilt_deg(tracks[n])[i] - truth.angles_deg[row, 0]) for n in at[:1]]
    swaps = sum(int(rows[n, k]) for n in range(len(tracks)) if mostly[n] != k)
    parts = sum(bool(rows[n, k]) for n in range(len(tracks)) if mostly[n] == k)
    off = np.nan
    if number is not None:
        shown = np.flatnonzero(tracks[number].face_found)
        truly = [truth.angles_deg[_row_at(truth, float(tracks[number].time_s[i])), 0] for i in shown]
        off = float(np.median(_tilt_deg(tracks[number])[shown]) - np.median(truly))
    error = float(np.mean(errors)) if errors else np.nan
    share = max(n_rows, 1)
    return PersonResult(
        name, n_rows, n_found / share, n_one / share, swaps, parts, None if number is None else number + 1, error, off
    )


def _tilt_deg(track: HeadTrack) -> Array:
    """Tilt in every row; these cameras are level and their pictures not mirrored."""
    return posture_angles(track.rotation)[0]


def draw_sheet(clip: Path, path: Path) -> int:
    """Draw a clip as a contact sheet: a picture every half second, every face outlined with the number of its person.

    Parameters
    ----------
    clip : Path
    path : Path
        PNG that is written.

    Returns
    -------
    int
        Persons that were kept apart.
    """
    kept: list[tuple[float, Rgb, list[tuple[int, Array]]]] = []

    def keep(frame: Frame, faces: list[FaceSeen], done: float | None) -> None:
        """Every half second a small picture with its faces."""
        if not kept or frame.time_s >= kept[-1][0] + SHEET_EVERY_S - 0.01:
            scale = SHEET_WIDTH_PX / frame.width_px
            picture = np.asarray(cv2.resize(frame.rgb(), None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)
            kept.append((frame.time_s, picture, [(face.stretch, face.points_px[:N_MESH] * scale) for face in faces]))

    found = see_clip(clip, on_frame=keep)
    numbers = {stretch: n for n, person in enumerate(found.persons, 1) for stretch in person.stretches}
    for time_s, picture, faces in kept:
        for stretch, points in faces:
            _outline(picture, points, numbers.get(stretch))
        cv2.putText(picture, f"{time_s:.1f} s", (4, 12), cv2.FONT_HERSHEY_PLAIN, 0.9, (255, 255, 255), 1)
    empty = np.zeros_like(kept[0][1])
    pictures = [picture for _, picture, _ in kept] + [empty] * (-len(kept) % SHEET_COLUMNS)
    lines = [np.hstack(pictures[i : i + SHEET_COLUMNS]) for i in range(0, len(pictures), SHEET_COLUMNS)]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(cv2.imencode(".png", np.vstack(lines)[..., ::-1])[1].tobytes())
    return len(found.persons)


def _outline(picture: Rgb, points: Array, number: int | None) -> None:
    """Draw a face's hull and the number of its person into a picture; white and ``?`` where it is nobody's."""
    colour = (255, 255, 255) if number is None else SHEET_COLOURS[(number - 1) % len(SHEET_COLOURS)]
    hull = cv2.convexHull(points.astype(np.float32)).round().astype(np.int32)
    cv2.polylines(picture, [hull], True, colour, 1, cv2.LINE_AA)
    x, y = hull[:, 0].max(0)
    label = "?" if number is None else str(number)
    cv2.putText(picture, label, (int(x), int(y)), cv2.FONT_HERSHEY_PLAIN, 1.3, colour, 2, cv2.LINE_AA)


def main(argv: Sequence[str] | None = None) -> None:
    """Draw what is missing, judge, print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"scenes (default all): {', '.join(SCENES)}")
    parser.add_argument(
        "--clips", type=Path, default=Path(tempfile.gettempdir()) / "posture-proof-people", help="where clips are kept"
    )
    parser.add_argument("--sheets", type=Path, help="also draw the real clips as contact sheets into this folder")
    args = parser.parse_args(argv)
    print(f"Rendered people, seed {SEED}; rows in sight; degrees")
    print(
        f"{'clip':15}{'person':8}{'rows':>5}{'found':>7}{'by one':>7}{'swaps':>6}{'parts':>6}{'no':>4}{'tilt error':>11}{'habit off':>10}"
    )
    for name in args.names or SCENES:
        result = judge_clip(make_clip(name, args.clips))
        for p in result.persons:
            shares = f"{p.rows:5d}{p.found:7.1%}{p.by_one:7.1%}{p.swaps:6d}{p.parts:6d}"
            print(f"{name:15}{p.name:8}{shares}{p.number or '-':>4}{p.tilt_error_deg:11.2f}{p.habit_off_deg:10.2f}")
        print(f"{'':15}strays {result.strays}, loose faces {result.loose}, taken for pictures {result.still}", flush=True)
    for clip in sorted((*CLIPS.glob("*.mkv"), *CLIPS.glob("*.gif"))) if args.sheets else ():
        print(f"{clip.name}: {draw_sheet(clip, args.sheets / f'{clip.stem}.png')} persons", flush=True)


if __name__ == "__main__":
    main()
