"""People who hardly move, none of whom may be taken for a picture or a doll: ``python -m tests.proof.still_people [NAME ...]``.

Rendered heads whose place and posture wander by less than a child's before a film: the other side of `tests.proof.empty_rooms`. The
stillest wanders by a millimetre and a half and four tenths of a degree.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from posture.geometry.angles import line_of_sight, posture_matrix
from posture.measure import Settings, measure_clip
from tests.proof.material import Rgb, draw_once, load_heads

RATE_HZ, SECONDS = 10.0, 30.0
SIZE, FOCAL_PX = (640, 480), 1000.0
HABIT_DEG = (10.0, -5.0, -3.0)
NOISE = 4.0
SLOWEST_HZ, QUICKEST_HZ, WAVES = 0.05, 0.5, 5
SEED = 2026
"""Chosen before any figure was seen."""


@dataclass(frozen=True)
class StillPerson:
    """Who sits there, how far away, and by how much place and angles wander (standard deviations)."""

    head: str
    distance_m: float
    wander_mm: float
    wander_deg: float


PEOPLE = {
    "near": StillPerson("child_a", 1.0, 3.0, 0.8),
    "far": StillPerson("child_a", 2.2, 3.0, 0.8),
    "adult": StillPerson("adult_a", 1.0, 2.0, 0.5),
    "baby": StillPerson("baby_a", 1.0, 2.0, 0.5),
    "stillest": StillPerson("child_b", 1.5, 1.5, 0.4),
}


def make_clip(name: str, folder: Path, seconds: float = SECONDS) -> Path:
    """Draw the film of one of `PEOPLE` unless it is in the folder already."""
    return draw_once(folder / f"{name}-{seconds:.0f}s.mp4", _pictures(name, seconds), RATE_HZ)


def _pictures(name: str, seconds: float) -> Iterator[Rgb]:
    """Its frames."""
    person, heads = PEOPLE[name], load_heads()
    rng = np.random.default_rng([SEED, *name.encode()])
    head, room, camera = heads.load(person.head), heads.room(SIZE, 3), heads.Camera(*SIZE, FOCAL_PX)
    n = round(seconds * RATE_HZ)
    place = np.array([0.0, 0.0, person.distance_m]) + 0.001 * person.wander_mm * _waves(n, rng)
    azimuth, elevation = line_of_sight(place)
    tilt, turn, chin = (np.array(HABIT_DEG) + person.wander_deg * _waves(n, rng)).T
    for k in range(n):
        rotation = posture_matrix(tilt[k], turn[k] + azimuth[k], chin[k] + elevation[k])
        drawn = heads.render(head, rotation, camera, place[k], under=room, supersample=1)
        yield np.asarray(heads.degrade(drawn, rng, NOISE), np.uint8)


def _waves(n: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Three courses (n, 3) of standard deviation about 1."""
    time_s = np.arange(n)[:, None, None] / RATE_HZ
    often, begin = rng.uniform(SLOWEST_HZ, QUICKEST_HZ, (3, WAVES)), rng.uniform(0, 2 * np.pi, (3, WAVES))
    return np.asarray(np.sqrt(2 / WAVES) * np.sin(2 * np.pi * often * time_s + begin).sum(2))


def is_taken_for_a_thing(clip: Path) -> list[bool]:
    """The judgement on everybody in a film."""
    return [person.is_still for person in measure_clip(clip, Settings(mirrored="no", roll_deg=0)).seen.persons]


def main(argv: Sequence[str] | None = None) -> None:
    """Draw what is missing, judge, print; ends with 1 if anybody was taken for a thing, or not found once."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"people (default all): {', '.join(PEOPLE)}")
    parser.add_argument(
        "--clips", type=Path, default=Path(tempfile.gettempdir()) / "posture-proof-still", help="where clips are kept"
    )
    args = parser.parse_args(argv)
    wrong = []
    for name in args.names or PEOPLE:
        found = is_taken_for_a_thing(make_clip(name, args.clips))
        person = PEOPLE[name]
        wrong += [name] * (found != [False])
        said = "not found" if not found else "a thing" if found[0] else "a person"
        text = f"{person.head} at {person.distance_m:g} m, {person.wander_mm:g} mm, {person.wander_deg:g} degrees"
        print(f"{name:10}{text:48}{said}", flush=True)
    if wrong:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
