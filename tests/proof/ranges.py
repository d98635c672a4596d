"""How far a head was asked to go, against what is read: ``python -m tests.proof.ranges [--seed N] [--times N] [HEAD ...]``.

Rendered people turn and tilt the head to known ranges, one after the other, go back in between, lean the trunk along with a tilt, and
are filmed by a camera that is rolled and pitched by about as much as people misstate it. The film takes the whole way: file, pictures,
landmarks, reading, reach. A reach beyond the camera is right where the truth is no less. Rendered people have no hair over the eyes
and no muscles: a lower bound of the error.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from posture.geometry.angles import line_of_sight, posture_matrix
from posture.see import see_clip
from posture.signal.asked import MOVEMENTS, Asked, AskedReach, Movement, reaches_of
from posture.signal.clean import clean_track
from posture.signal.reading import ReadSettings, read_track, upright_from
from tests.proof.material import Rgb, load_heads
from tests.proof.trunk import AS_MODELLED_DEG, pose_body

RANGES_DEG = (8.0, 20.0, 35.0, 45.0, 60.0)
WIDTH_PX, HEIGHT_PX, FOCAL_PX, RATE_HZ, NOISE = 640, 480, 560.0, 10, 3.0
STRAIGHT_S, MOVE_S, HOLD_S = 0.5, 0.7, 1.0
ROLL_SD_DEG, PITCH_SD_DEG, SWAY_DEG = 1.0, 3.0, 0.4
MOST_LEAN_DEG, HANGING_DEG = 8.0, 65.0
SEED = 2027
"""Chosen before any figure was seen."""


@dataclass(frozen=True)
class Row:
    """One movement: what was true and what was read."""

    head: str
    asked_deg: float
    lean_deg: float
    reach: AskedReach

    @property
    def truth_deg(self) -> float:
        """Against what the reach is against."""
        return self.asked_deg - (self.lean_deg if self.reach.reference == "shoulder line" else 0.0)

    @property
    def is_inside(self) -> bool:
        """Whether the truth is where it is said to be."""
        reached = self.reach.reached
        assert reached is not None
        return reached.low <= self.truth_deg and (self.reach.beyond_camera or self.truth_deg <= reached.high)


def film_movements(name: str, seed: int, folder: Path, plan: Sequence[tuple[Movement, float]] | None = None) -> list[Row]:
    """One person does every movement to every range, or those of a plan; the film is written, seen and read."""
    heads = load_heads()
    rng = np.random.default_rng(seed)
    lowered = HANGING_DEG - AS_MODELLED_DEG.get(name.split("_")[0], 0.0)
    person = pose_body(heads.load(name), 0.0, (lowered, lowered))
    camera = heads.Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX, *rng.normal(0, (ROLL_SD_DEG, PITCH_SD_DEG)))
    plan = plan or [(movement, float(deg)) for movement in MOVEMENTS for deg in rng.permutation(RANGES_DEG)]
    leans = [float(rng.uniform(0, MOST_LEAN_DEG)) if movement.startswith("tilt") else 0.0 for movement, _ in plan]
    place = np.array([rng.uniform(-0.08, 0.08), -0.12, rng.uniform(0.85, 1.15)])
    asked, pictures = [], []
    for (movement, deg), lean in zip(plan, leans, strict=True):
        start_s = len(pictures) / RATE_HZ
        pictures += list(_pictures(heads, person, camera, place, Asked(movement, 0, 1), deg, lean, rng))
        asked.append(Asked(movement, start_s, (len(pictures) - 1) / RATE_HZ))
    path = folder / f"{name}.mp4"
    heads.write_clip(path, pictures, RATE_HZ)
    seen = see_clip(path, focal_px=FOCAL_PX, every_s=0.0)
    read = clean_track(read_track(seen.persons[0].track, ReadSettings("no", upright_from(0.0, 0.0))))
    found = zip(plan, leans, reaches_of(read, asked), strict=True)
    return [Row(name, deg, lean, reach) for (_, deg), lean, reach in found]


def _pictures(
    heads: Any, person: Any, camera: Any, place: np.ndarray, asked: Asked, deg: float, lean: float, rng: np.random.Generator
) -> Iterator[Rgb]:
    """From straight to the range, held, and back."""
    ramp = 0.5 - 0.5 * np.cos(np.linspace(0, np.pi, round(MOVE_S * RATE_HZ) + 2)[1:-1])
    rest, hold = np.zeros(round(STRAIGHT_S * RATE_HZ)), np.ones(round(HOLD_S * RATE_HZ))
    azimuth, elevation = line_of_sight(place)
    for share in np.concatenate([rest, ramp, hold, ramp[::-1], rest]):
        tilt, turn, chin = rng.normal(0, SWAY_DEG, 3)
        tilt, turn = (tilt, turn + asked.sign * share * deg) if asked.is_turn else (tilt + asked.sign * share * deg, turn)
        posture = posture_matrix(tilt, turn + azimuth, chin + elevation)
        rgb = heads.render(person, posture, camera, place, trunk_tilt_deg=asked.sign * share * lean, supersample=1)
        yield heads.degrade(rgb, rng, NOISE)


def table(rows: Sequence[Row]) -> str:
    """Error, half-width and coverage for every range, against every reference, as Markdown."""
    lines = [
        "| movement | true degrees | n | given | at least | mean error | rms | mean half-width | inside |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for reference in ("line of sight", "gravity", "shoulder line"):
        for deg in RANGES_DEG:
            some = [row for row in rows if row.reach.reference == reference and row.asked_deg == deg]
            if some:
                lines.append(f"| {_words(reference)} | {deg:.0f} | {_figures(some)} |")
    return "\n".join(lines)


def _words(reference: str) -> str:
    """The movement of a reference."""
    return (
        "turn" if reference == "line of sight" else f"tilt against {'gravity' if reference == 'gravity' else 'the shoulders'}"
    )


def _figures(rows: Sequence[Row]) -> str:
    """The cells of one line."""
    given = [row for row in rows if row.reach.reached is not None]
    whole = [row for row in given if not row.reach.beyond_camera]
    errors = np.array([row.reach.reached.value - row.truth_deg for row in whole if row.reach.reached])
    halves = [row.reach.reached.high - row.reach.reached.value for row in whole if row.reach.reached]
    inside = f"{sum(row.is_inside for row in given)} of {len(given)}"
    cells = f"{len(rows)} | {len(given)} | {len(given) - len(whole)}"
    if not len(errors):
        return f"{cells} | | | | {inside}"
    rms = float(np.sqrt(np.mean(errors**2)))
    return f"{cells} | {errors.mean():+.1f} | {rms:.1f} | {np.mean(halves):.1f} | {inside}"


def main(arguments: Sequence[str] | None = None) -> None:
    """Film, read and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("heads", nargs="*", default=["adult_b", "child_a"], metavar="HEAD")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--times", type=int, default=1, help="films of each head")
    options = parser.parse_args(arguments)
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as folder:
        for name in options.heads:
            for k in range(options.times):
                rows += film_movements(name, options.seed + k, Path(folder))
    print(
        f"Rendered heads ({', '.join(options.heads)}), films {WIDTH_PX}x{HEIGHT_PX} at {RATE_HZ} a second, seed {options.seed}."
    )
    print(table(rows))


if __name__ == "__main__":
    main()
