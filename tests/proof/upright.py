"""How well the camera's roll and pitch are read off the scene: ``python -m tests.proof.upright``.

Four backdrops: the plain room that comes with the rendered heads, and rooms drawn here in space, seen at any heading, with receding
walls, doors, windows, shelves with leaning books, crooked pictures, bricks, curtains, floor boards, a ladder and a sloping roof; as
furnished, cluttered, or nearly bare. One rendered person stands before each. Then cameras that sway in the hand, pictures that have
to be refused, and photographs turned in their plane by known angles. Pictures are of 1280x720 with noise.

Rooms drawn here have lines as straight as a lens without distortion shows them, so that errors are a lower bound of those in homes.
``--seed`` is 30000 for the figures that are reported. Constants were chosen on seeds from 300 to 600; those from 9000 and from 20000
were reported once each, and what failed there (leaning ladders) made the rules for few things and for rival stands stricter.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.face.faces import FacesFollower
from posture.face.lines import straight_lines
from posture.face.model import load_canonical_face
from posture.face.seen import FaceSeen
from posture.geometry.angles import FACING, camera_matrix, posture_angles, posture_matrix, to_level
from posture.geometry.fit import Camera
from posture.geometry.plumb import Stand, stand_from_lines
from posture.geometry.pose import estimate_pose
from posture.signal.reading import ReadSettings, read_track
from posture.signal.track import HeadTrack
from posture.signal.upright import SceneStand, smooth_stand
from tests.proof.material import Rgb, frame_of, load_heads
from tests.proof.places import find_places, load_head

WIDTH_PX, HEIGHT_PX, FOCAL_PX = 1280, 720, 1000.0
CAMERA = Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX)
MOST_ROLL_DEG, MOST_PITCH_DEG = 15.0, 20.0
NOISE = 5.0

SEED = 30000
"""Never used while constants were chosen."""

BACKDROPS = ("plain", "furnished", "cluttered", "bare")
LOOKED_HZ, FRAMES_HZ, SWAY_S = 4.0, 12.0, 5.0

Array = NDArray[np.float64]
Colour = tuple[float, float, float]
Sheet = tuple[Array, Colour]
"""Corners (k, 3) in metres in the level frame, and RGB."""


class Wall:
    """One wall of a room: things are put on it by their places along it and above the floor."""

    def __init__(self, sheets: list[Sheet], corner_m: Sequence[float], along: Sequence[float], length_m: float) -> None:
        self._sheets, self._corner, self._along, self.length_m = sheets, np.array(corner_m), np.array(along), length_m

    def put(self, points: Sequence[tuple[float, float]], colour: Colour) -> None:
        """A sheet with corners (along, above the floor) in metres."""
        p = np.array(points)
        self._sheets.append((self._corner + p[:, :1] * self._along - p[:, 1:] * [0.0, 1.0, 0.0], colour))

    def box(self, left: float, low: float, wide: float, high: float, colour: Colour, lean_deg: float = 0.0) -> None:
        """A rectangle, leaning about its lower left corner."""
        c, s = np.cos(np.radians(lean_deg)), np.sin(np.radians(lean_deg))
        corners = ((0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high))
        self.put([(left + c * x - s * y, low + s * x + c * y) for x, y in corners], colour)


def _shade(rng: np.random.Generator, low: int = 40, high: int = 225) -> Colour:
    """Some colour."""
    red, green, blue = rng.integers(low, high, 3)
    return float(red), float(green), float(blue)


def _door(wall: Wall, rng: np.random.Generator, at: float) -> None:
    wall.box(at - 0.07, 0, 0.94, 2.07, _shade(rng, 60, 120), rng.normal(0, 0.2))
    wall.box(at, 0, 0.80, 2.0, _shade(rng, 120, 220), rng.normal(0, 0.2))


def _window(wall: Wall, rng: np.random.Generator, at: float) -> None:
    lean = rng.normal(0, 0.2)
    wall.box(at, 0.9, 1.2, 1.2, (245, 245, 245), lean)
    for k in range(2):
        wall.box(at + 0.06 + 0.56 * k, 0.96, 0.5, 1.08, (175, 200, 222), lean)


def _shelf(wall: Wall, rng: np.random.Generator, at: float) -> None:
    lean = rng.normal(0, 0.5)
    wall.box(at, 0, 1.0, 1.9, _shade(rng, 60, 130), lean)
    for level in np.arange(0.1, 1.7, 0.36):
        wall.box(at + 0.03, level, 0.94, 0.33, _shade(rng, 20, 70), lean)
        x = at + 0.05
        while x < at + 0.85:
            thick = rng.uniform(0.02, 0.06)
            if rng.random() < 0.7:
                wall.box(x, level, thick, rng.uniform(0.18, 0.3), _shade(rng), -rng.uniform(4, 16) * (rng.random() < 0.25))
            x += thick + 0.004


def _picture(wall: Wall, rng: np.random.Generator, at: float) -> None:
    lean = rng.normal(0, 1.5)
    wall.box(at, 1.2, 0.5, 0.65, _shade(rng, 20, 90), lean)
    wall.box(at + 0.04, 1.24, 0.42, 0.57, _shade(rng, 120, 220), lean)


def _bricks(wall: Wall, rng: np.random.Generator, at: float) -> None:
    wall.box(at, 0, 1.3, 2.3, (190, 185, 175))
    for row in range(28):
        for x in np.arange(0.12 * (row % 2) - 0.12, 1.3, 0.25):
            left, right = max(x, 0.0), min(x + 0.235, 1.3)
            if right - left > 0.02:
                wall.box(at + left, 0.08 * row + 0.01, right - left, 0.066, (150 + 30 * rng.random(), 85, 65))


def _curtain(wall: Wall, rng: np.random.Generator, at: float) -> None:
    base = np.array(_shade(rng, 90, 190))
    for k in range(14):
        shade = base * rng.uniform(0.75, 1.2)
        wall.box(at + 0.07 * k, 0.05, 0.08, 2.2, (float(shade[0]), float(shade[1]), float(shade[2])), rng.normal(0, 1.5))


def _ladder(wall: Wall, rng: np.random.Generator, at: float) -> None:
    lean = rng.choice([-1, 1]) * rng.uniform(9, 25)
    at += 0.6
    for k in range(2):
        wall.box(at + 0.4 * k, 0, 0.05, 2.1, (205, 170, 110), lean)
    for step in np.arange(0.3, 2.0, 0.3):
        shift = -step * np.tan(np.radians(lean))
        wall.box(at + shift, step, 0.42, 0.03, (205, 170, 110))


def _roof(wall: Wall, rng: np.random.Generator, at: float) -> None:
    low, run = rng.uniform(1.0, 1.6), rng.uniform(0.8, 1.4)
    wall.put([(at, 2.6), (at, low), (at + run, 2.6)], _shade(rng, 90, 140))


_THINGS: tuple[tuple[Callable[[Wall, np.random.Generator, float], None], float], ...] = (
    (_door, 1.0),
    (_window, 1.3),
    (_shelf, 1.1),
    (_picture, 0.7),
    (_bricks, 1.4),
    (_curtain, 1.1),
    (_ladder, 1.5),
    (_roof, 1.4),
)
"""What may stand along a wall, and how long it is."""

_PLAIN_THINGS = (0, 1, 2, 3)


def draw_room(rng: np.random.Generator, kind: str) -> list[Sheet]:
    """A room around a camera at its origin: furnished, cluttered (bricks, curtains, slanted things) or bare."""
    up = rng.uniform(1.0, 1.5)
    left, right, far, near = -rng.uniform(1.2, 2.4), rng.uniform(1.2, 2.4), rng.uniform(2.4, 4.2), -1.0
    sheets: list[Sheet] = []
    tone = np.array(_shade(rng, 150, 215))
    floor = [(left, up, near), (right, up, near), (right, up, far), (left, up, far)]
    sheets.append((np.array(floor), _shade(rng, 90, 140)))
    if rng.random() < 0.5:
        for k, x in enumerate(np.arange(left, right - 0.15, 0.15)):
            board = [(x, up, near), (x + 0.14, up, near), (x + 0.14, up, far), (x, up, far)]
            sheets.append((np.array(board), (130.0 + 12 * (k % 3), 95.0 + 9 * (k % 2), 60.0)))
    sheets.append((np.array([(x, up - 2.6, z) for x, _, z in floor]), (232, 232, 228)))
    walls = (
        Wall(sheets, (left, up, far), (1, 0, 0), right - left),
        Wall(sheets, (left, up, near), (0, 0, 1), far - near),
        Wall(sheets, (right, up, near), (0, 0, 1), far - near),
    )
    for wall, light in zip(walls, (1.0, 0.92, 0.85), strict=True):
        paint = tone * light
        wall.box(0, 0, wall.length_m, 2.6, (float(paint[0]), float(paint[1]), float(paint[2])))
    for wall in walls:
        wall.box(0, 0, wall.length_m, 0.08, (226, 224, 218))
        at = rng.uniform(0.0, 0.5) + (0 if wall is walls[0] else 1.2)
        while True:
            thing, length = _THINGS[rng.choice(_PLAIN_THINGS) if kind != "cluttered" else rng.integers(len(_THINGS))]
            if at + length > wall.length_m or (kind == "bare" and wall is not walls[0]):
                break
            thing(wall, rng, at)
            if kind == "bare":
                break
            at += length + rng.uniform(0.05, 0.8)
    turned = camera_heading(rng.uniform(-35, 35) if kind != "bare" else rng.uniform(-15, 15))
    return [(points @ turned.T, colour) for points, colour in sheets]


def camera_heading(heading_deg: float) -> Array:
    """Rotation (3, 3) of a level scene about the plumb line."""
    c, s = np.cos(np.radians(heading_deg)), np.sin(np.radians(heading_deg))
    return np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])


def show(sheets: Sequence[Sheet], roll_deg: float, pitch_deg: float) -> Rgb:
    """The picture of sheets, painted in their order, as a camera at the origin sees it."""
    fine = 2
    canvas = np.full((HEIGHT_PX * fine, WIDTH_PX * fine, 3), 128, np.uint8)
    turn = camera_matrix(roll_deg, pitch_deg)
    for points, colour in sheets:
        seen = _before_camera(points @ turn.T)
        if len(seen) < 3:
            continue
        px = (seen[:, :2] / seen[:, 2:] * FOCAL_PX + CAMERA.middle_px + 0.5) * fine - 0.5
        fixed = np.rint(np.clip(px, -1e5, 1e5) * 16).astype(np.int32)
        cv2.fillPoly(canvas, [fixed], tuple(float(v) for v in colour), cv2.LINE_AA, 4)
    return np.asarray(cv2.resize(canvas, (WIDTH_PX, HEIGHT_PX), interpolation=cv2.INTER_AREA), np.uint8)


def _before_camera(points: Array, near_m: float = 0.1) -> Array:
    """The part of a polygon (k, 3) that lies before the camera."""
    kept = []
    for a, b in zip(points, np.roll(points, -1, 0), strict=True):
        if a[2] > near_m:
            kept.append(a)
        if (a[2] > near_m) != (b[2] > near_m):
            kept.append(a + (b - a) * (near_m - a[2]) / (b[2] - a[2]))
    return np.array(kept).reshape(-1, 3)


@dataclass(frozen=True)
class Case:
    """A scene with a person, ready to be seen by any camera."""

    backdrop: str
    seed: int
    sheets: list[Sheet]
    head: str
    posture_deg: Array
    place_m: Array

    def picture(self, roll_deg: float, pitch_deg: float, noise_seed: int = 0) -> Rgb:
        """As a camera with this roll and pitch sees it."""
        heads = load_heads()
        camera = heads.Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX, roll_deg, pitch_deg)
        if self.backdrop == "plain":
            scene = {"background": heads.room((WIDTH_PX, HEIGHT_PX), self.seed)}
        else:
            scene = {"under": show(self.sheets, roll_deg, pitch_deg)}
        frame = heads.render(load_head(self.head), posture_matrix(*self.posture_deg), camera, self.place_m, **scene)
        return np.asarray(heads.degrade(frame, np.random.default_rng((self.seed, noise_seed)), NOISE))


def make_case(backdrop: str, seed: int, pitch_deg: float, turned: bool) -> Case:
    """A scene with a person who is in the picture of a camera pitched so."""
    rng = np.random.default_rng((seed, BACKDROPS.index(backdrop)))
    sheets = [] if backdrop == "plain" else draw_room(rng, backdrop)
    names = load_heads().names()
    away = rng.uniform(0.9, 1.7)
    azimuth, below = np.radians(rng.uniform(-14, 14)), np.radians(pitch_deg + rng.uniform(-4, 6))
    place = away * np.array([np.sin(azimuth) * np.cos(below), np.sin(below), np.cos(azimuth) * np.cos(below)])
    turn = rng.choice([-1, 1]) * rng.uniform(15, 25) if turned else rng.uniform(-8, 8)
    # The chin follows the camera a little, so that the face is in reach of the landmarks.
    posture = np.array([rng.uniform(-12, 12), turn, 0.5 * pitch_deg + rng.uniform(-5, 5)])
    return Case(backdrop, seed, sheets, names[int(rng.integers(len(names)))], posture, place)


def look_at(rgb: Rgb, camera: Camera = CAMERA) -> tuple[Stand | None, FaceSeen | None]:
    """What one picture says of its camera, and the face in it."""
    with FacesFollower() as follower:
        faces = follower.look(frame_of(rgb))
    return stand_from_lines(straight_lines(frame_of(rgb), faces), camera), next(iter(faces), None)


@dataclass(frozen=True)
class Row:
    """What one picture gave; errors are read minus true."""

    backdrop: str
    stand: Stand | None
    roll_error_deg: float = np.nan
    pitch_error_deg: float = np.nan
    pitch_error_wrong_focal_deg: float = np.nan
    tilt_error_deg: float = np.nan
    tilt_error_as_filmed_deg: float = np.nan
    tilt_error_true_stand_deg: float = np.nan
    turned: bool = False
    true_deg: tuple[float, float] = (np.nan, np.nan)


def measure(backdrop: str, seed: int, turned: bool) -> Row:
    """Draw and read one picture."""
    rng = np.random.default_rng((seed, 77))
    roll, pitch = rng.uniform([-MOST_ROLL_DEG, -MOST_PITCH_DEG], [MOST_ROLL_DEG, MOST_PITCH_DEG])
    case = make_case(backdrop, seed, pitch, turned)
    rgb = case.picture(roll, pitch)
    stand, face = look_at(rgb)
    if stand is None:
        return Row(backdrop, None, turned=turned, true_deg=(roll, pitch))
    faces = [] if face is None else [face]
    longer_lens = Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX * 1.15)
    wrong = stand_from_lines(straight_lines(frame_of(rgb), faces), longer_lens)
    tilt = np.full(3, np.nan)
    if face is not None:
        pose = estimate_pose(face.points_px, face.depth_px, CAMERA, load_canonical_face())
        for k, (r, p) in enumerate(((stand.roll_deg, stand.pitch_deg), (0.0, 0.0), (roll, pitch))):
            level = to_level(pose.rotation, pose.place_cm, r, p)[0]
            tilt[k] = float(posture_angles(level)[0]) - case.posture_deg[0]
    return Row(
        backdrop,
        stand,
        stand.roll_deg - roll,
        stand.pitch_deg - pitch,
        np.nan if wrong is None else wrong.pitch_deg - pitch,
        float(tilt[0]),
        float(tilt[1]),
        float(tilt[2]),
        turned,
        (roll, pitch),
    )


def sway(time_s: Array, rng: np.random.Generator, middle_deg: float, spread_deg: float) -> Array:
    """How a hand lets a camera roll or pitch: slow waves about a middle."""
    waves = sum(
        a * np.sin(2 * np.pi * f * time_s + rng.uniform(0, 2 * np.pi))
        for a, f in zip((1, 0.6, 0.3), (0.2, 0.45, 0.9), strict=True)
    )
    return np.asarray(middle_deg + spread_deg * np.asarray(waves) / 0.86)


def sway_clip(backdrop: str, seed: int, spread_deg: float) -> tuple[SceneStand | None, Array, Array]:
    """What a clip from a swaying hand gives (0: from a stand), and the true roll and pitch (n,) of its frames."""
    rng = np.random.default_rng((seed, 5))
    time = np.arange(0, SWAY_S, 1 / FRAMES_HZ)
    roll = sway(time, rng, rng.uniform(-8, 8), spread_deg)
    pitch = sway(time, rng, rng.uniform(-10, 10), spread_deg)
    case = make_case(backdrop, seed, float(pitch.mean()), False)
    read = np.full((4, len(time)), np.nan)
    with FacesFollower() as follower:
        for k in range(0, len(time), round(FRAMES_HZ / LOOKED_HZ)):
            frame = frame_of(case.picture(roll[k], pitch[k], k), time[k])
            stand = stand_from_lines(straight_lines(frame, follower.look(frame)), CAMERA)
            if stand is not None:
                read[:, k] = stand.roll_deg, stand.pitch_deg, stand.roll_sd_deg, stand.pitch_sd_deg
    return smooth_stand(time, *read), roll, pitch


def blank_wall(rng: np.random.Generator) -> Rgb:
    """Paint with a shadow over it, and noise."""
    slope = np.linspace(-25, 25, WIDTH_PX)[None, :, None] * rng.uniform(-1, 1) + np.linspace(-20, 20, HEIGHT_PX)[:, None, None]
    return np.asarray(np.clip(170 + slope + rng.normal(0, NOISE, (HEIGHT_PX, WIDTH_PX, 3)), 0, 255), np.uint8)


def slanted_forest(rng: np.random.Generator) -> Rgb:
    """Sticks of all slopes on a blank wall."""
    rgb = blank_wall(rng)
    for _ in range(45):
        angle, half = rng.uniform(0, np.pi), rng.uniform(60, 260)
        middle = rng.uniform([0, 0], [WIDTH_PX, HEIGHT_PX])
        way = half * np.array([np.cos(angle), np.sin(angle)])
        ends = [tuple(int(v) for v in np.rint((middle + s * way) * 16)) for s in (-1, 1)]
        cv2.line(rgb, ends[0], ends[1], _shade(rng, 30, 140), int(rng.integers(3, 12)), cv2.LINE_AA, 4)
    return rgb


def two_bundles(rng: np.random.Generator) -> Rgb:
    """Two sets of parallel slats across each other, as a trellis: neither is plumb more than the other."""
    rgb = blank_wall(rng)
    for slope_deg in (20.0, -20.0):
        way = 900 * np.array([np.sin(np.radians(slope_deg)), np.cos(np.radians(slope_deg))])
        for x in np.arange(-200, WIDTH_PX + 200, 130):
            middle = np.array([x, HEIGHT_PX / 2])
            ends = [tuple(int(v) for v in np.rint((middle + s * way) * 16)) for s in (-1, 1)]
            cv2.line(rgb, ends[0], ends[1], (90, 70, 50), 9, cv2.LINE_AA, 4)
    return rgb


def face_fills(rng: np.random.Generator) -> Rgb:
    """A face as high as the picture, and what is left of a room beside it."""
    heads = load_heads()
    names = heads.names()
    name = names[int(rng.integers(len(names)))]
    places = find_places(name)
    rotation = posture_matrix(rng.uniform(-10, 10), rng.uniform(-10, 10), 0.0)
    away = FOCAL_PX * places.face_height_m / (0.95 * HEIGHT_PX)
    middle = FACING @ rotation @ (places.points_m["nose_bridge"] + places.points_m["mouth"]) / 2
    room = heads.room((WIDTH_PX, HEIGHT_PX), int(rng.integers(10000)))
    camera = heads.Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX)
    frame = heads.render(load_head(name), rotation, camera, np.array([0, 0, away]) - middle, background=room)
    return np.asarray(heads.degrade(frame, rng, NOISE))


NEGATIVE: dict[str, Callable[[np.random.Generator], Rgb]] = {
    "blank wall": blank_wall,
    "forest of slanted lines": slanted_forest,
    "trellis": two_bundles,
    "face fills the picture": face_fills,
}


def load_photographs() -> dict[str, Rgb]:
    """Photographs with straight things in them that ship inside scikit-image, RGB."""
    from skimage import data

    left, right, _ = data.stereo_motorcycle()
    found = {"camera": data.camera(), "brick": data.brick(), "rocket": data.rocket(), "motorcycle": left}
    found |= {"motorcycle right": right, "astronaut": data.astronaut(), "coffee": data.coffee(), "clock": data.clock()}
    return {k: np.ascontiguousarray(np.dstack([v] * 3) if v.ndim == 2 else v[..., :3]) for k, v in found.items()}


def turned_photograph(rgb: Rgb, turned_deg: float) -> Rgb:
    """A photograph turned counter-clockwise in its plane, cropped in the middle to what every turn up to 15 degrees leaves."""
    height, width = rgb.shape[:2]
    matrix = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), turned_deg, 1.0)
    whole = cv2.warpAffine(rgb, matrix, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    a = np.radians(15.0)
    keep = 1 / (np.cos(a) + np.sin(a) * max(width / height, height / width))
    w, h = round(width * keep), round(height * keep)
    left, top = (width - w) // 2, (height - h) // 2
    return np.ascontiguousarray(whole[top : top + h, left : left + w])


def photograph_rolls(rgb: Rgb, turns_deg: Sequence[float]) -> tuple[Stand | None, list[float]]:
    """The stand of the unturned photograph, and by how much the change of roll is wrong in each turned one (NaN: refused)."""

    def stand_of(turned_deg: float) -> Stand | None:
        cropped = turned_photograph(rgb, turned_deg)
        height, width = cropped.shape[:2]
        return look_at(cropped, Camera(width, height, 1.1 * max(rgb.shape[:2])))[0]

    first = stand_of(0.0)
    found = [stand_of(t) for t in turns_deg]
    return first, [
        np.nan if s is None or first is None else s.roll_deg - first.roll_deg - t for s, t in zip(found, turns_deg, strict=True)
    ]


def summary_line(name: str, rows: Sequence[Row]) -> str:
    """Share accepted, errors of roll and pitch, and how many truths are inside the interval."""
    found = [row for row in rows if row.stand is not None]
    if not found:
        return f"{name:<12}{len(rows):>5}  none accepted"
    roll, pitch = (np.array([getattr(row, f"{k}_error_deg") for row in found]) for k in ("roll", "pitch"))
    sd = np.array([[row.stand.roll_sd_deg, row.stand.pitch_sd_deg] for row in found if row.stand is not None])
    inside = [float((np.abs(error) <= 1.96 * s).mean()) for error, s in zip((roll, pitch), sd.T, strict=True)]
    return (
        f"{name:<12}{len(rows):>5}{100 * len(found) / len(rows):>9.1f}"
        f"{np.abs(roll).mean():>8.2f}{np.abs(roll).max():>7.2f}{np.median(sd[:, 0]):>6.2f}{100 * inside[0]:>8.1f}"
        f"{np.abs(pitch).mean():>10.2f}{np.abs(pitch).max():>7.2f}{np.median(sd[:, 1]):>6.2f}{100 * inside[1]:>8.1f}"
    )


def tilt_line(rows: Sequence[Row]) -> str:
    """How far tilt of turned heads is out after levelling with the scene, as filmed, and with the true stand."""
    turned = [row for row in rows if row.turned and np.isfinite(row.tilt_error_deg)]
    if not turned:
        return "tilt of turned heads: none seen"
    names = ("tilt_error_deg", "tilt_error_as_filmed_deg", "tilt_error_true_stand_deg")
    scene, filmed, true = (np.abs([getattr(row, name) for row in turned]).mean() for name in names)
    return f"tilt of {len(turned)} heads turned 15-25: by the scene {scene:.2f}, as filmed {filmed:.2f}, by the true stand {true:.2f}"


def as_filmed_line(rows: Sequence[Row]) -> str:
    """How many cameras lie inside the interval of a clip read as filmed, where the scene says something and where not."""
    inside: dict[bool, list[bool]] = {True: [], False: []}
    for row in rows:
        upright = read_track(one_frame(row.stand), ReadSettings()).upright
        half = np.array([upright.roll_sd_deg, upright.pitch_sd_deg]) * 1.96
        inside[row.stand is not None].append(bool((np.abs(row.true_deg) <= half).all()))
    shares = [f"{100 * np.mean(values):.0f} % of {len(values)}" if values else "none" for values in inside.values()]
    return f"read as filmed, roll and pitch inside: {shares[0]} with a stand from the scene, {shares[1]} without"


def one_frame(stand: Stand | None) -> HeadTrack:
    """The track of a photograph without a face, with what its scene says."""
    none = np.full(1, np.nan)
    roll, pitch, roll_sd, pitch_sd = (np.array([v]) for v in vars(stand).values()) if stand else (none,) * 4
    return HeadTrack(
        np.zeros(1), np.full((1, 3, 3), np.nan), np.full((1, 3), np.nan), none, none, WIDTH_PX, HEIGHT_PX, FOCAL_PX,
        camera_roll_deg=roll, camera_pitch_deg=pitch, camera_roll_sd_deg=roll_sd, camera_pitch_sd_deg=pitch_sd,
    )  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--per-backdrop", type=int, default=30)
    parser.add_argument("--clips", type=int, default=2, help="of each backdrop but the bare one")
    parser.add_argument("--seed", type=int, default=SEED)
    chosen = parser.parse_args(arguments)
    print(f"backdrop        n accepted    roll    max    sd  inside     pitch    max    sd  inside   (seed {chosen.seed})")
    everything = []
    for backdrop in BACKDROPS:
        rows = [measure(backdrop, chosen.seed + k, turned=k % 2 == 0) for k in range(chosen.per_backdrop)]
        everything += rows
        print(summary_line(backdrop, rows), flush=True)
    print(summary_line("all", everything))
    print(tilt_line(everything))
    print(as_filmed_line(everything))
    wrong = np.array([row.pitch_error_wrong_focal_deg - row.pitch_error_deg for row in everything])
    print(f"focal length 15 % too long: pitch moves by {np.nanmean(np.abs(wrong)):.2f}, at most {np.nanmax(np.abs(wrong)):.2f}")
    for backdrop in BACKDROPS[:3]:
        for k in range(chosen.clips):
            print(sway_line(backdrop, chosen.seed + k, 0.0 if k == 1 else 2.5), flush=True)
    for name, draw in NEGATIVE.items():
        pictures = [draw(np.random.default_rng((chosen.seed, k))) for k in range(10)]
        print(f"{name}: {sum(look_at(rgb)[0] is None for rgb in pictures)} of {len(pictures)} refused", flush=True)
    for name, rgb in load_photographs().items():
        first, errors = photograph_rolls(rgb, (-12.0, -7.0, -3.0, 4.0, 8.0, 13.0))
        said = "refused" if first is None else f"roll {first.roll_deg:.1f}, pitch {first.pitch_deg:.1f}; change of roll out by"
        print(f"photograph {name}: {said} " + " ".join(f"{e:.2f}" for e in errors), flush=True)


def sway_line(backdrop: str, seed: int, spread_deg: float) -> str:
    """One clip from a hand (or, with no spread, from a stand)."""
    stand, roll, pitch = sway_clip(backdrop, seed, spread_deg)
    what = f"clip {backdrop} {seed}, sway {np.ptp(roll) / 2:.1f} and {np.ptp(pitch) / 2:.1f} about the middle:"
    if stand is None:
        return f"{what} refused"
    errors = [np.abs(stand.roll_deg - roll), np.abs(stand.pitch_deg - pitch)]
    inside = [
        100 * float((e <= 1.96 * sd).mean()) for e, sd in zip(errors, (stand.roll_sd_deg, stand.pitch_sd_deg), strict=True)
    ]
    return (
        f"{what} {'still' if stand.still else 'sways'}, roll {errors[0].mean():.2f} max {errors[0].max():.2f} inside {inside[0]:.0f} %,"
        f" pitch {errors[1].mean():.2f} max {errors[1].max():.2f} inside {inside[1]:.0f} %"
    )


if __name__ == "__main__":
    main()
