"""Rooms without a person, in which no habitual posture may be reported: ``python -m tests.proof.empty_rooms [NAME ...]``.

A poster, a framed photograph or a doll has a face, and a steady one; so has, now and then, a pattern. Each clip shows such things for
a minute, from a camera that stands or is held in the hand. A habitual posture reported for any of them is a failure; a moment is
listed. The rooms and dolls are drawn, the pictures are photographs that ship with scikit-image: real rooms hold other things.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.geometry.angles import line_of_sight, posture_matrix
from posture.measure import Settings, measure_clip, read_clip
from posture.samples.child import CHILDREN
from posture.samples.draw import render_child
from posture.samples.room import room_picture
from tests.proof.material import Rgb, draw_once, load_astronaut, load_heads

SECONDS, RATE_HZ = 60.0, 10.0
LARGE, MIDDLE, SMALL = (1280, 720), (640, 360), (320, 240)
MARGIN = 1.25
"""The still that a clip is cut from is larger by this, so that a camera held in the hand has where to go."""

NOISE, FLICKER = 4.0, 0.015
"""Grey levels of the sensor's noise; share by which the light flickers."""

SHAKE_SHARE, ROLL_DEG, PAN_SHARE, ZOOM = 0.004, 1.0, 0.04, 0.08
"""Of a hand: quick shake in shares of the width, roll, slow wandering in shares of the width, slow zoom."""

SEED = 2026
"""Chosen before any figure was seen."""

Size = tuple[int, int]
Array = NDArray[np.float64]


@dataclass(frozen=True)
class EmptyRoom:
    """One clip without a person.

    Attributes
    ----------
    still : callable
        From a size in pixels to the picture of all that keeps still.
    size : tuple of int
        Of the clip.
    held : bool
        Whether the camera is held in a hand.
    moving : callable or None
        From a frame and its time to the frame with what moves in the room.
    pan : float
        How often larger than usual the slow wandering of the hand is.
    """

    still: Callable[[Size], Rgb]
    size: Size
    held: bool = False
    moving: Callable[[Rgb, float], Rgb] | None = None
    pan: float = 1.0


def drawn_room(size: Size, seed: int = 1) -> Rgb:
    """A plain room with door, shelf and window."""
    return np.asarray(load_heads().room(size, seed), np.uint8)


def sample_room(size: Size, child: str = "blue") -> Rgb:
    """The room of the samples without its child."""
    return room_picture(CHILDREN[child], *size, 0.9 * size[0]).copy()


def packaged_picture(name: str) -> Rgb:
    """A picture that ships with scikit-image, as colours; nothing is fetched."""
    from skimage import data

    picture = np.asarray(load_astronaut() if name == "astronaut" else getattr(data, name)())
    return np.ascontiguousarray(np.repeat(picture[..., None], 3, -1) if picture.ndim == 2 else picture[..., :3]).astype(
        np.uint8
    )


def drawn_child(child: str = "yellow", tilt_deg: float = -14.0) -> Rgb:
    """The samples' child, drawn as on a poster."""
    return render_child(tilt_deg, -6, -4, child=CHILDREN[child], width_px=640, height_px=480, focal_px=900)


def hang(
    wall: Rgb, picture: Rgb, centre: tuple[float, float], height: float, crooked_deg: float = 0.0, frame: float = 0.0
) -> Rgb:
    """Hang a picture on a wall.

    Parameters
    ----------
    wall, picture : ndarray of uint8, shape (h, w, 3)
    centre : tuple of float
        In shares of the wall's width and height.
    height : float
        In shares of the wall's height.
    crooked_deg : float
        Counter-clockwise as you look at it.
    frame : float
        Width of a wooden frame in shares of the picture's height.

    Returns
    -------
    ndarray of uint8
    """
    if frame:
        edge = round(frame * picture.shape[0])
        bordered = cv2.copyMakeBorder(picture, edge, edge, edge, edge, cv2.BORDER_CONSTANT, value=(96, 66, 40))
        picture = np.asarray(bordered, np.uint8)
    h, w = picture.shape[:2]
    scale = height * wall.shape[0] / h
    small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    h, w = small.shape[:2]
    matrix = cv2.getRotationMatrix2D((w / 2, h / 2), crooked_deg, 1.0)
    matrix[:, 2] += [centre[0] * wall.shape[1] - w / 2, centre[1] * wall.shape[0] - h / 2]
    shape = (wall.shape[1], wall.shape[0])
    hung = cv2.warpAffine(small, matrix, shape, flags=cv2.INTER_LINEAR)
    share = cv2.warpAffine(np.ones((h, w), np.float32), matrix, shape, flags=cv2.INTER_LINEAR)[..., None]
    return np.clip(wall * (1 - share) + hung * share, 0, 255).astype(np.uint8)


def seat_dolls(wall: Rgb, dolls: Sequence[tuple[str, float, float, float, float]]) -> Rgb:
    """Set motionless dolls before a wall: head, tilt (degrees), x and y (shares of half the width and height) and distance (m)."""
    heads = load_heads()
    h, w = wall.shape[:2]
    camera = heads.Camera(w, h, 0.8 * w)
    for head, tilt_deg, x, y, z in dolls:
        place = np.array([x * w / 2, y * h / 2, camera.focal_px]) / camera.focal_px * z
        azimuth, elevation = line_of_sight(place)
        rotation = posture_matrix(tilt_deg, azimuth + 5, elevation)
        wall = heads.render(heads.load(head), rotation, camera, place, under=wall, supersample=2)
    return wall


def posters(size: Size, *hung: tuple[str, tuple[float, float], float, float, float], room: str = "") -> Rgb:
    """A room with pictures: name, centre, height, crookedness, frame of each; ``child`` is the drawn one."""
    wall = sample_room(size, room) if room else drawn_room(size)
    for name, centre, height, crooked_deg, frame in hung:
        wall = hang(wall, drawn_child() if name == "child" else packaged_picture(name), centre, height, crooked_deg, frame)
    return wall


def dolls(size: Size, *seated: tuple[str, float, float, float, float], room: str = "") -> Rgb:
    """A room with dolls; see `seat_dolls`."""
    return seat_dolls(sample_room(size, room) if room else drawn_room(size, 4), seated)


def blow_curtain(frame: Rgb, time_s: float, left: float = 0.55, right: float = 0.95) -> Rgb:
    """A striped curtain that moves in the wind, over a part of the width."""
    h, w = frame.shape[:2]
    a, b = round(left * w), round(right * w)
    x = (np.arange(a, b) / w)[None, :] + 0.012 * np.sin(1.1 * time_s + 5 * np.arange(h) / h)[:, None] * (np.arange(h) / h)[
        :, None
    ]
    folds = 150 + 55 * np.sin(70 * x + 0.8 * np.sin(0.7 * time_s)) + 18 * np.sin(190 * x - 0.5 * time_s)
    out = frame.copy()
    # Its free edge swings to and fro, so that what is behind is covered and uncovered.
    edge = round((b - a) * (0.35 + 0.25 * np.sin(0.45 * time_s)))
    out[:, a + edge : b] = np.clip(folds[:, edge:, None] * np.array([0.95, 0.75, 0.6]), 0, 255).astype(np.uint8)
    return out


def roll_ball(frame: Rgb, time_s: float) -> Rgb:
    """A red ball with a white band that rolls to and fro."""
    h, w = frame.shape[:2]
    x, y, radius = w * (0.5 + 0.35 * np.sin(0.8 * time_s)), 0.82 * h, h // 14
    out = cv2.circle(frame.copy(), (round(x), round(y)), radius, (200, 40, 40), -1, cv2.LINE_AA)
    spin = np.degrees(x / radius)
    return np.asarray(
        cv2.ellipse(out, (round(x), round(y)), (radius, radius // 3), spin, 0, 360, (240, 240, 240), 3, cv2.LINE_AA)
    )


_WALL = ("astronaut", (0.42, 0.42), 0.55, 0.0, 0.0)
ROOMS: dict[str, EmptyRoom] = {
    "bare_stand": EmptyRoom(drawn_room, MIDDLE),
    "bare_hand": EmptyRoom(partial(drawn_room, seed=3), LARGE, held=True),
    "sample_stand": EmptyRoom(sample_room, SMALL),
    "sample_hand": EmptyRoom(partial(sample_room, child="yellow"), MIDDLE, held=True),
    "poster_stand": EmptyRoom(lambda size: posters(size, _WALL), MIDDLE),
    "poster_hand": EmptyRoom(lambda size: posters(size, _WALL), LARGE, held=True),
    "poster_crooked_hand": EmptyRoom(
        lambda size: posters(size, ("astronaut", (0.4, 0.45), 0.8, 12.0, 0.05), room="blue"), SMALL, held=True
    ),
    "poster_far_hand": EmptyRoom(lambda size: posters(size, ("astronaut", (0.5, 0.4), 0.28, -9.0, 0.0)), LARGE, held=True),
    "poster_pan": EmptyRoom(lambda size: posters(size, ("astronaut", (0.5, 0.45), 0.6, 7.0, 0.04)), MIDDLE, held=True, pan=3.0),
    "child_poster_stand": EmptyRoom(lambda size: posters(size, ("child", (0.45, 0.45), 0.7, 0.0, 0.03)), SMALL),
    "child_poster_hand": EmptyRoom(lambda size: posters(size, ("child", (0.45, 0.45), 0.7, 0.0, 0.03)), MIDDLE, held=True),
    "two_posters_hand": EmptyRoom(
        lambda size: posters(size, ("astronaut", (0.3, 0.4), 0.5, 0.0, 0.0), ("child", (0.65, 0.5), 0.5, 5.0, 0.05)),
        MIDDLE,
        held=True,
    ),
    "doll_stand": EmptyRoom(lambda size: dolls(size, ("baby_a", 15.0, -0.1, 0.1, 0.8)), LARGE),
    "doll_hand": EmptyRoom(lambda size: dolls(size, ("child_a", -13.0, 0.1, 0.0, 1.2), room="blue"), MIDDLE, held=True),
    "dolls_hand": EmptyRoom(
        lambda size: dolls(
            size, ("scan_a", 8.0, -0.4, 0.0, 1.3), ("child_b", 12.0, 0.1, 0.1, 1.2), ("baby_a", -10.0, 0.5, 0.2, 1.0)
        ),
        SMALL,
        held=True,
    ),
    "things_hand": EmptyRoom(
        lambda size: posters(
            size,
            ("chelsea", (0.25, 0.3), 0.4, 0.0, 0.05),
            ("coffee", (0.65, 0.3), 0.4, 4.0, 0.05),
            ("rocket", (0.3, 0.75), 0.35, 0.0, 0.0),
            ("camera", (0.7, 0.75), 0.4, -3.0, 0.0),
        ),
        MIDDLE,
        held=True,
    ),
    "patterns_hand": EmptyRoom(
        lambda size: posters(
            size,
            ("brick", (0.2, 0.5), 1.0, 0.0, 0.0),
            ("gravel", (0.6, 0.3), 0.6, 0.0, 0.0),
            ("page", (0.6, 0.75), 0.4, 3.0, 0.0),
            ("coins", (0.88, 0.5), 0.5, 0.0, 0.0),
            ("moon", (0.85, 0.85), 0.4, 0.0, 0.0),
        ),
        MIDDLE,
        held=True,
    ),
    "curtain_stand": EmptyRoom(sample_room, MIDDLE, moving=blow_curtain),
    "curtain_poster_stand": EmptyRoom(
        lambda size: posters(size, ("astronaut", (0.68, 0.45), 0.6, 8.0, 0.0)), MIDDLE, moving=blow_curtain
    ),
    "ball_poster_stand": EmptyRoom(lambda size: posters(size, _WALL, room="yellow"), SMALL, moving=roll_ball),
}


def make_clip(name: str, folder: Path, seconds: float = SECONDS, size: Size | None = None) -> Path:
    """Draw a clip without a person unless it is in the folder already.

    Parameters
    ----------
    name : str
        One of `ROOMS`.
    folder : Path
    seconds : float
    size : tuple of int, optional
        Another size than the room's own.

    Returns
    -------
    Path
    """
    width_px, height_px = size or ROOMS[name].size
    path = folder / f"{name}-{width_px}-{seconds:.0f}s.mp4"
    return draw_once(path, _pictures(name, seconds, (width_px, height_px)), RATE_HZ)


def _pictures(name: str, seconds: float, size: Size) -> Iterator[Rgb]:
    """The frames of a room: camera, what moves, light, noise."""
    room = ROOMS[name]
    rng = np.random.default_rng([SEED, *name.encode()])
    n = round(seconds * RATE_HZ)
    larger = (round(MARGIN * size[0]), round(MARGIN * size[1]))
    still = room.still(larger)
    path = _hand(n, rng, room.pan) if room.held else np.zeros((n, 4))
    noise = rng.normal(0, NOISE, (size[1], size[0] + 64, 3)).round().astype(np.int16)
    for i, (x, y, roll_deg, zoom) in enumerate(path):
        matrix = cv2.getRotationMatrix2D((larger[0] / 2, larger[1] / 2), roll_deg, 1.0 + zoom)
        matrix[:, 2] += [size[0] * (0.5 + x) - larger[0] / 2, size[1] / 2 + size[0] * y - larger[1] / 2]
        cut = cv2.warpAffine(still, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        frame = np.asarray(cut, np.uint8)
        if room.moving is not None:
            frame = room.moving(frame, i / RATE_HZ)
        light = 1 + FLICKER * (np.sin(0.9 * i) + 0.3 * rng.normal())
        left, flip = int(rng.integers(64)), 1 - 2 * int(rng.integers(2))
        shown = noise[::flip, left : left + size[0]]
        yield np.asarray(cv2.add(cv2.convertScaleAbs(frame, alpha=light), shown, dtype=cv2.CV_8U), np.uint8)


def _hand(n: int, rng: np.random.Generator, pan: float) -> Array:
    """Where a hand holds the camera, shape (n, 4): x, y in shares of the width, roll in degrees, zoom."""
    time_s = np.arange(n) / RATE_HZ
    columns = []
    for quick, slow in (
        (SHAKE_SHARE, pan * PAN_SHARE),
        (SHAKE_SHARE, pan * PAN_SHARE / 3),
        (0.3 * ROLL_DEG, ROLL_DEG),
        (0, ZOOM),
    ):
        shake = cv2.GaussianBlur(rng.normal(size=(n, 1)), (1, 9), 0.01, sigmaY=1.2)[:, 0]
        waves = sum(np.sin(2 * np.pi * rng.uniform(0.03, 0.25) * time_s + rng.uniform(0, 6.3)) for _ in range(3)) / 2
        columns.append(quick * shake / shake.std() + slow * waves)
    return np.stack(columns, 1)


@dataclass(frozen=True)
class RoomResult:
    """What the program made of a room without a person.

    Attributes
    ----------
    with_face : float
        Share of frames in which a face was seen.
    persons, still : int
        Persons, and those taken for pictures or dolls.
    failing : tuple of str
        Checks that failed for the first of them.
    posture : bool
        Whether a habitual posture, or two, were reported of any of them: never right here.
    moment : bool
        Whether the posture of a moment was.
    """

    with_face: float
    persons: int
    still: int
    failing: tuple[str, ...]
    posture: bool
    moment: bool


def measure_room(clip: Path) -> RoomResult:
    """Measure a clip without a person as a clinic would: sides settled, all else as it is; every person there is asked for."""
    with_face: list[bool] = []
    first = measure_clip(clip, Settings(mirrored="no"), on_frame=lambda frame, faces, done: with_face.append(bool(faces)))
    persons = first.seen.persons
    others = [read_clip(first.seen, Settings(mirrored="no", person=n)) for n in range(2, len(persons) + 1)]
    summaries = [measured.summary for measured in (first, *others)]
    return RoomResult(
        with_face=float(np.mean(with_face)),
        persons=sum(not person.is_still for person in persons),
        still=sum(person.is_still for person in persons),
        failing=tuple(check.name for check in first.summary.checks if check.level == "fail"),
        posture=any(s.habitual is not None or bool(s.postures) for s in summaries),
        moment=any(s.moment is not None for s in summaries),
    )


def main(argv: Sequence[str] | None = None) -> None:
    """Draw what is missing, measure, print the table; ends with 1 if a habitual posture was reported anywhere."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"rooms (default all): {', '.join(ROOMS)}")
    parser.add_argument(
        "--clips", type=Path, default=Path(tempfile.gettempdir()) / "posture-proof-rooms", help="where clips are kept"
    )
    parser.add_argument("--seconds", type=float, default=SECONDS, help=f"length of each clip (default {SECONDS:.0f})")
    args = parser.parse_args(argv)
    print(f"Rooms without a person, {args.seconds:.0f} s each, seed {SEED}")
    print(f"{'room':22}{'with face':>10}{'persons':>8}{'still':>6}  {'habitual':9}{'moment':7}failing checks")
    wrong = []
    for name in args.names or ROOMS:
        found = measure_room(make_clip(name, args.clips, args.seconds))
        wrong += [name] * found.posture
        said = (
            f"{'REPORTED' if found.posture else 'none':9}{'yes' if found.moment else 'no':7}{', '.join(found.failing) or '-'}"
        )
        print(f"{name:22}{found.with_face:10.1%}{found.persons:8d}{found.still:6d}  {said}", flush=True)
    print(f"A habitual posture in {len(wrong)} of {len(args.names or ROOMS)} rooms{': ' + ', '.join(wrong) if wrong else ''}")
    if wrong:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
