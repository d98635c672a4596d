"""The shoulder line against known leans: ``python -m tests.proof.trunk [--pictures N] [--seed N] [HEAD ...]``.

Rendered people lean their trunk by -15 to 15 degrees while the head is held in any posture, before cameras that are rolled and pitched
by up to 10 degrees; some turn the trunk, some raise an arm, some sit beside or before another. Each picture is read as a clip of one
frame, so nothing is smoothed. In films the same people lean about, and bodies are searched for in every look or carried on. What is
learned is learned on all heads but one and tried on that one.

The bodies are changed before they are drawn: adults stand with their arms straight out, so those are lowered; and the skin over the
shoulders of the children and the baby follows the head by up to half, so that a head alone would lean their shoulders, which no
truth stands for: there it is held still. Rendered people have no clothes that slip and no muscles: a lower bound of the error.
"""

from __future__ import annotations

import argparse
import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from types import ModuleType
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from posture.face.faces import FacesFollower
from posture.face.model import load_canonical_face
from posture.face.seen import FaceSeen
from posture.face.shoulders import LibraryShoulders, Shoulders, ShouldersSeen
from posture.face.two_ways import BOTH_WAYS, Way
from posture.geometry import trunk as reading
from posture.geometry.angles import line_of_sight, posture_angles, posture_matrix
from posture.geometry.pose import Camera, Pose, estimate_pose
from tests.proof.material import Rgb, frame_of, load_heads, see_face

What = Literal["plain", "turned", "arm"]
Array = NDArray[np.float64]

LOOK_S, FILM_LOOKS = 0.4, 40
"""Time between the looks of a film, and how many there are."""

WIDTH_PX, HEIGHT_PX, NOISE = 960, 720, 3.0
SEED = 2026
"""Chosen before any figure was seen."""

JOINTS_M = {"adult": (0.17, -0.13), "child": (0.14, -0.14), "baby": (0.10, -0.12), "scan": (0.17, -0.13)}
"""Where the arms turn in the shoulders, sideways and up from the neck's pivot."""

LOWERED_DEG = {"adult": (50.0, 78.0), "child": (5.0, 35.0), "baby": (0.0, 20.0), "scan": (0.0, 0.0)}
"""How far the arms are lowered from where the model holds them, to hang beside the trunk or a little away."""

AS_MODELLED_DEG = {"adult": 0.0, "child": 45.0, "baby": 45.0}
"""How far below the horizontal the model holds its arms."""

LEARNED_ON = ("adult", "child")
"""Kinds of heads that is learned on: a bust without arms and a baby are only tried."""


@dataclass(frozen=True)
class Person:
    """How one rendered person is held."""

    name: str
    trunk_deg: float
    posture_deg: tuple[float, float, float]
    trunk_turn_deg: float
    place_m: tuple[float, float, float]

    @property
    def kind(self) -> str:
        """adult, child, baby or scan."""
        return self.name.split("_")[0]


@dataclass(frozen=True)
class Row:
    """One person in one picture: the truth and what was seen."""

    person: Person
    what: What
    camera: Camera
    roll_deg: float
    pitch_deg: float
    joints_px: Array
    pose: Pose | None
    seen: ShouldersSeen | None


def pose_body(head: Any, trunk_turn_deg: float = 0.0, arms_lowered_deg: tuple[float, float] = (0.0, 0.0)) -> Any:
    """The person with the trunk turned, + to the right, and the right and the left arm lowered by so much, or raised."""
    across, up = JOINTS_M[head.name.split("_")[0]]
    parts = []
    for part in head.parts:
        place, normals = part.vertices - head.pivot, part.normals.copy()
        beyond = _ramp(np.abs(place[:, 0]), 0.05, 0.08) * (place[:, 1] < -0.04)
        weight = part.head_weight * (1 - beyond)
        for side, lowered in zip((-1, 1), arms_lowered_deg, strict=True):
            share = np.where(weight < 0.5, _ramp(place[:, 0] * side, across - 0.04, across + 0.04), 0.0)
            arm = share > 0
            if arm.any():
                turn = Rotation.from_euler("z", (-side * lowered * share[arm])[:, None], degrees=True)
                joint = np.array([side * across, up, 0.0])
                place[arm], normals[arm] = turn.apply(place[arm] - joint) + joint, turn.apply(normals[arm])
        turned = Rotation.from_euler("y", -trunk_turn_deg, degrees=True).as_matrix().T
        own = weight[:, None]
        place, normals = (own * a + (1 - own) * (a @ turned) for a in (place, normals))
        parts.append(dataclasses.replace(part, vertices=place + head.pivot, normals=normals, head_weight=weight))
    return dataclasses.replace(head, parts=parts)


def draw_people(heads: ModuleType, rng: np.random.Generator, name: str, what: What) -> tuple[Rgb, list[Person], Any]:
    """One picture of one person, the person and the camera."""
    camera = heads.Camera(WIDTH_PX, HEIGHT_PX, rng.uniform(700, 1100), rng.uniform(-10, 10), rng.uniform(-10, 10))
    distance = rng.uniform(0.7, 2.0) * (0.75 if name.startswith("baby") else 1.0)
    place = camera.rotation().T @ (distance * np.array([rng.uniform(-0.22, 0.22), rng.uniform(-0.22, 0.0), 1.0]))
    turn = rng.choice([-1, 1]) * rng.uniform(20, 45) if what == "turned" else rng.uniform(-5, 5)
    head = (rng.uniform(-20, 20), rng.uniform(-20, 20), rng.uniform(-12, 12))
    person = Person(name, rng.uniform(-15, 15), head, turn, tuple(place))
    room = heads.room((WIDTH_PX, HEIGHT_PX), int(rng.integers(1000)))
    return heads.degrade(_draw(heads, rng, person, what, camera, room), rng, NOISE), [person], camera


def draw_pair(heads: ModuleType, rng: np.random.Generator, names: tuple[str, str]) -> tuple[Rgb, list[Person], Any]:
    """One picture of two people, the second a little behind, their shoulders touching or overlapping."""
    camera = heads.Camera(WIDTH_PX, HEIGHT_PX, 900.0, rng.uniform(-5, 5), rng.uniform(-5, 5))
    apart, side = rng.uniform(0.26, 0.45), rng.choice([-1, 1])
    picture = heads.room((WIDTH_PX, HEIGHT_PX), int(rng.integers(1000)))
    people: list[Person] = []
    # The one behind is drawn first.
    for name, x, y, z in (
        (names[1], side * apart / 2, rng.uniform(-0.12, 0.05), 1.45),
        (names[0], -side * apart / 2, 0.0, 1.2),
    ):
        lean, posture = rng.uniform(-12, 12), tuple(rng.uniform(-12, 12, 3))
        person = Person(name, lean, posture, 0.0, (x, y - 0.1, z))
        picture = _draw(heads, rng, person, "plain", camera, picture if not people else None, picture if people else None)
        people.append(person)
    return heads.degrade(picture, rng, NOISE), people, camera


def draw_film(heads: ModuleType, rng: np.random.Generator, name: str, looks: int) -> tuple[list[Rgb], list[Person], Any]:
    """Pictures `LOOK_S` apart of one person who leans, turns and shifts about, the person in each, and the camera."""
    camera = heads.Camera(WIDTH_PX, HEIGHT_PX, rng.uniform(700, 1100), rng.uniform(-6, 6), rng.uniform(-6, 6))
    distance = rng.uniform(0.8, 1.8) * (0.75 if name.startswith("baby") else 1.0)
    middle = np.array([rng.uniform(-0.15, 0.15), rng.uniform(-0.2, 0.0), 1.0])
    habit = np.array([rng.uniform(-8, 8), 0, 0, 0, 0, 0, 0])
    wander = np.stack([heads.wander(looks, 1 / LOOK_S, rng, s) for s in (5, 6, 9, 5, 3, 0.03, 0.015)], 1) + habit
    arms = rng.uniform(*LOWERED_DEG[name.split("_")[0]], 2)
    room = heads.room((WIDTH_PX, HEIGHT_PX), int(rng.integers(1000)))
    pictures, people = [], []
    for lean, tilt, turn, chin, trunk_turn, right, up in wander:
        place = camera.rotation().T @ (distance * (middle + np.array([right, up, 0.0])))
        person = Person(name, float(lean), (tilt, turn, chin), float(trunk_turn), tuple(place))
        body = pose_body(heads.load(name), trunk_turn, tuple(arms))
        rotation = posture_matrix(tilt, turn, chin)
        drawn = heads.render(body, rotation, camera, person.place_m, room, person.trunk_deg, supersample=1)
        pictures.append(heads.degrade(drawn, rng, NOISE))
        people.append(person)
    return pictures, people, camera


def read_film(
    pictures: Sequence[Rgb],
    faces: Sequence[FaceSeen | None],
    people: Sequence[Person],
    camera: Any,
    shoulders: Shoulders,
    stretch: int | None,
) -> Array:
    """Error of the tilt in every look (n,) of a film looked at in turns as it is and mirrored.

    With a number of a stretch the body may be carried from look to look; with None every look is searched for.
    """
    known, face = Camera(WIDTH_PX, HEIGHT_PX, camera.focal_px), load_canonical_face()
    poses = [None if seen is None else estimate_pose(seen.points_px, seen.depth_px, known, face) for seen in faces]
    looks: list[ShouldersSeen | None] = []
    for k, (rgb, seen) in enumerate(zip(pictures, faces, strict=True)):
        ways: tuple[Way, ...] = BOTH_WAYS if k == 0 else (BOTH_WAYS[k % 2],)
        # A stretch of its own in each look is nobody's whose body is carried.
        number = -1 - k if stretch is None else stretch
        frame = frame_of(rgb, k * LOOK_S)
        looks.append(None if seen is None else shoulders.look(frame, dataclasses.replace(seen, stretch=number), ways))
    times_s = [k * LOOK_S for k in range(len(pictures))]
    trunk = _read(times_s, looks, poses, known, camera.roll_deg, camera.pitch_deg)
    return np.asarray(trunk.tilt_deg - [person.trunk_deg for person in people])


def look_at(rgb: Rgb, people: Sequence[Person], camera: Any, what: What, shoulders: Shoulders) -> Iterator[Row]:
    """What is seen of each person in a picture; a face is that of the nearest true one."""
    known = Camera(WIDTH_PX, HEIGHT_PX, camera.focal_px)
    frame = frame_of(rgb)
    with FacesFollower() as follower:
        faces = list(follower.look(frame))
    for person in people:
        joints = _joints_px(person, camera)
        place = camera.rotation() @ person.place_m
        middle = place[:2] / place[2] * camera.focal_px + known.middle_px
        near = [f for f in faces if np.hypot(*(f.centre_px - middle)) < 1.2 * f.size_px]
        face = min(near, key=lambda f: float(np.hypot(*(f.centre_px - middle))), default=None)
        pose = seen = None
        if face is not None:
            pose = estimate_pose(face.points_px, face.depth_px, known, load_canonical_face())
            seen = shoulders.look(frame, face)
        yield Row(person, what, known, camera.roll_deg, camera.pitch_deg, joints, pose, seen)


def read_row(row: Row) -> reading.Trunk:
    """The reading of one picture, its camera known."""
    return _read([0.0], [row.seen], [row.pose], row.camera, row.roll_deg, row.pitch_deg)


def _read(
    times_s: Sequence[float],
    looks: Sequence[ShouldersSeen | None],
    poses: Sequence[Pose | None],
    camera: Camera,
    roll_deg: float,
    pitch_deg: float,
) -> reading.Trunk:
    """The reading of looks at a person, the camera known."""
    return reading.read_trunk(
        times_s,
        [np.full((2, 2), np.nan) if look is None else look.points_px for look in looks],
        [np.nan if look is None else look.turn_deg for look in looks],
        [0.0 if look is None else float(look.arm_raised) for look in looks],
        [np.full((3, 3), np.nan) if pose is None else pose.rotation for pose in poses],
        [np.full(3, np.nan) if pose is None else pose.place_cm for pose in poses],
        camera,
        roll_deg,
        pitch_deg,
    )


def errors_deg(rows: Sequence[Row]) -> tuple[Array, Array]:
    """Error of the tilt and stated standard deviation, (n,) each, NaN where refused."""
    read = [read_row(row) for row in rows]
    lean = np.array([row.person.trunk_deg for row in rows])
    return np.array([trunk.tilt_deg[0] for trunk in read]) - lean, np.array([trunk.sd_deg for trunk in read])


def main(arguments: Sequence[str] | None = None) -> None:
    """Draw, look, read and print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("heads", nargs="*")
    parser.add_argument("--pictures", type=int, default=12, help="plain pictures of each head")
    parser.add_argument("--seed", type=int, default=SEED)
    asked = parser.parse_args(arguments)
    heads = load_heads()
    names = asked.heads or heads.names()
    with LibraryShoulders() as shoulders:
        rows = collect(heads, names, asked.pictures, asked.seed, shoulders)
        print(table(rows))
        print(learned(rows))
        print(pairs(heads, asked.pictures, asked.seed, shoulders))
    print(films(heads, names, FILM_LOOKS, asked.seed))


def collect(heads: ModuleType, names: Sequence[str], pictures: int, seed: int, shoulders: Shoulders) -> list[Row]:
    """Rows of plain pictures, half as many with the trunk turned, and a third with an arm raised."""
    rows: list[Row] = []
    for number, name in enumerate(names):
        rng = np.random.default_rng([seed, number])
        counts: dict[What, int] = {"plain": pictures, "turned": pictures // 2, "arm": pictures // 3}
        if name.partition("_")[0] not in AS_MODELLED_DEG:
            counts["arm"] = 0
        for what in (what for what, count in counts.items() for _ in range(count)):
            rgb, people, camera = draw_people(heads, rng, name, what)
            rows += look_at(rgb, people, camera, what, shoulders)
    return rows


def table(rows: Sequence[Row]) -> str:
    """Errors and refusals by kind of head and what the person does."""
    lines = ["rendered people       n   error: mean size, mean, slope on lean   within 1.96 sd    refused"]
    for what in ("plain", "turned", "arm"):
        for kind in ("adult", "child", "baby", "scan"):
            some = [row for row in rows if row.what == what and row.person.kind == kind]
            if not some:
                continue
            error, sd = errors_deg(some)
            kept = np.isfinite(error)
            why = {name: np.mean([read_row(row).refused[name] for row in some]) for name in reading.REASONS}
            reasons = ", ".join(f"{name} {100 * share:.0f} %" for name, share in why.items() if share)
            text = f"{what:7s} {kind:6s} {len(some):9d}"
            if kept.sum() > 2:
                lean = np.array([row.person.trunk_deg for row in some])[kept]
                slope = 1 + np.polyfit(lean, error[kept], 1)[0]
                inside = (np.abs(error) < 1.96 * sd)[kept].mean()
                text += f" {np.abs(error[kept]).mean():12.2f} {error[kept].mean():6.2f} {slope:6.2f}"
                text += f" {100 * inside:22.0f} % of {kept.sum():3d}"
            lines.append(f"{text}   {100 * (1 - kept.mean()):3.0f} %: {reasons or 'none'}")
    return "\n".join(lines)


def learned(rows: Sequence[Row]) -> str:
    """The corrections learned on all heads but one, and their errors on that one."""
    plain = [row for row in rows if row.what == "plain" and row.pose is not None and row.seen is not None]
    teachers = [row for row in plain if row.person.kind in LEARNED_ON]
    lines = [
        "lean stretched by what was learned on the other heads: head left out, factor, mean size of error without and with it"
    ]
    for name in dict.fromkeys(row.person.name for row in plain):
        mine, others = ([r for r in s if (r.person.name == name) == same] for s, same in ((plain, True), (teachers, False)))
        (lean, read), (true, seen) = _leans(mine), _leans(others)
        factor = float(true @ seen / (seen @ seen)) if seen.size else np.nan
        if read.size:
            sizes = [np.abs(read * by - lean).mean() for by in (1.0, factor)]
            lines.append(f"  {name:9s} {factor:5.2f} {sizes[0]:6.2f} {sizes[1]:6.2f}")
    both = [r for r in rows if r.what != "arm" and r.pose and r.seen and r.person.kind in LEARNED_ON]
    names = np.array([row.person.name for row in both])
    shown, true = np.array([_turns(row) for row in both]).T
    guess = np.zeros(len(true))
    for name in set(names):
        out = names == name
        guess[out] = shown[out] * (true[~out] @ shown[~out]) / (shown[~out] @ shown[~out])
    share, off = true @ shown / (shown @ shown), np.sqrt(np.mean((guess - true) ** 2))
    lines.append(
        f"turn of the trunk: share {share:.2f}; heads left out: off by {off:.1f}, the turns themselves by {true.std():.1f} degrees"
    )
    for low, high in ((0, 10), (10, 20), (20, 30), (30, 60)):
        some = (np.abs(true) >= low) & (np.abs(true) < high)
        if some.any():
            share = (np.abs(guess[some]) > reading.MOST_TURN_DEG).mean()
            lines.append(f"  truly {low} to {high}: {100 * share:.0f} % of {some.sum()} refused")
    widths = {}
    for kind in ("adult", "child", "baby", "scan"):
        width = [w for w in (_width_cm(row) for row in plain if row.person.kind == kind) if np.isfinite(w)]
        if width:
            widths[kind] = " ".join(f"{v:.0f}" for v in np.percentile(width, [0, 10, 50, 90, 100]))
    lines.append(f"shoulder width, cm of a canonical head (least, tenth, middle, ninth, most): {widths}")
    return "\n".join(lines)


def pairs(heads: ModuleType, pictures: int, seed: int, shoulders: Shoulders) -> str:
    """Whether each of two people gets the own shoulders: their middle within a third of the true width of the true middle."""
    own = other = none = 0
    rng = np.random.default_rng([seed, 99])
    all_errors = []
    for names in (("child_a", "adult_d"), ("adult_b", "adult_f"), ("child_b", "adult_e")):
        for _ in range(pictures // 2):
            rgb, people, camera = draw_pair(heads, rng, names)
            for row in look_at(rgb, people, camera, "plain", shoulders):
                if row.seen is None:
                    none += 1
                elif is_own(row):
                    own += 1
                    all_errors += errors_deg([row])[0].tolist()
                else:
                    other += 1
    size = np.nanmean(np.abs(all_errors)) if all_errors else np.nan
    return f"two people, shoulders touching or overlapping: own {own}, another's {other}, not seen {none}; mean size of error {size:.2f}"


def films(heads: ModuleType, names: Sequence[str], looks: int, seed: int) -> str:
    """Mean size of the error in a film of each head, searched for in every look and carried on."""
    lines = ["films of the same people, mean size of error and share refused: searched for in every look; carried on"]
    errors: dict[str, list[list[Array]]] = {}
    for number, name in enumerate(names):
        pictures, people, camera = draw_film(heads, np.random.default_rng([seed, 50 + number]), name, looks)
        faces = [see_face(rgb) for rgb in pictures]
        both = []
        for stretch in (None, 1):
            with LibraryShoulders() as shoulders:
                both.append(read_film(pictures, faces, people, camera, shoulders, stretch))
        lines.append(f"  {name:9s} {'; '.join(map(_said, both))}")
        errors.setdefault(name.split("_")[0], []).append(both)
    for kind, every in errors.items():
        lines.append(f"  all of {kind:6s} {'; '.join(_said(np.concatenate(way)) for way in zip(*every, strict=True))}")
    return "\n".join(lines)


def _said(error: Array) -> str:
    """Mean size of errors, and the share of them that is NaN."""
    kept = np.isfinite(error)
    size = f"{np.abs(error[kept]).mean():.2f}" if kept.any() else "none"
    return f"{size}, {100 * (1 - kept.mean()):.0f} %"


def is_own(row: Row) -> bool:
    """Whether the shoulders that were seen are the person's."""
    assert row.seen is not None
    away = np.hypot(*(row.seen.points_px.mean(0) - row.joints_px.mean(0)))
    return bool(away < np.hypot(*(row.joints_px[1] - row.joints_px[0])) / 3)


def _draw(
    heads: ModuleType, rng: np.random.Generator, person: Person, what: What, camera: Any, room: Any, under: Any = None
) -> Rgb:
    """One person into a picture."""
    right, left = rng.uniform(*LOWERED_DEG[person.kind], 2)
    if what == "arm":
        right = -(AS_MODELLED_DEG[person.kind] + rng.uniform(0, 50))
    body = pose_body(heads.load(person.name), person.trunk_turn_deg, (right, left))
    rotation = posture_matrix(*person.posture_deg)
    return heads.render(body, rotation, camera, person.place_m, room, person.trunk_deg, supersample=1, under=under)


def _joints_px(person: Person, camera: Any) -> Array:
    """Where the picture shows the joints of the right and the left arm, (2, 2)."""
    across, up = JOINTS_M[person.kind]
    joints = np.array([[-across, up, 0.0], [across, up, 0.0]])
    lean = Rotation.from_euler("z", person.trunk_deg, degrees=True) * Rotation.from_euler(
        "y", -person.trunk_turn_deg, degrees=True
    )
    place = (lean.apply(joints) * [1, -1, -1] + person.place_m) @ camera.rotation().T
    return np.asarray(place[:, :2] / place[:, 2:] * camera.focal_px + [(WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2])


def _leans(rows: Sequence[Row]) -> tuple[Array, Array]:
    """True leans and those that were read, of the rows that were not refused."""
    error, _ = errors_deg(rows)
    kept, lean = np.isfinite(error), np.array([row.person.trunk_deg for row in rows])
    return lean[kept], (lean + error)[kept]


def _turns(row: Row) -> tuple[float, float]:
    """The model's turn without what follows the head, and the trunk's true one, against the line of sight."""
    assert row.pose is not None
    assert row.seen is not None
    sight = float(line_of_sight(row.pose.place_cm)[0])
    head = float(posture_angles(row.pose.rotation)[1])
    return row.seen.turn_deg - reading.HEAD_FOLLOW * (head - sight), row.person.trunk_turn_deg - sight


def _width_cm(row: Row) -> float:
    """The shoulders' width as the reading takes it."""
    assert row.pose is not None
    assert row.seen is not None
    away = np.hypot(*(row.seen.points_px[1] - row.seen.points_px[0])) / row.camera.focal_px
    return float(away * row.pose.place_cm[2])


def _ramp(value: Array, low: float, high: float) -> Array:
    """0 below, 1 above, smooth between."""
    share = np.clip((value - low) / (high - low), 0, 1)
    return np.asarray(share * share * (3 - 2 * share))


if __name__ == "__main__":
    main()
