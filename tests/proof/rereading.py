"""How long reading a kept track again takes, for each thing that may be settled: ``python -m tests.proof.rereading``.

A made-up clip of ten minutes at 15 frames a second with two persons: each holds postures for a few seconds with movements between, the
scene and the shoulders were looked at every half second, the lines of the face in every frame. No picture is involved. Every change of the
settings is read by `posture.measure.read_clip` five times; given are the median by the clock on the wall and that of the processor's
time of this process, which tells what the clock would show on a machine with nothing else to do. Wanted is less than 0.5 s.
"""

from __future__ import annotations

import argparse
import cProfile
import pstats
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posture.measure import Measurement, Settings, read_clip
from posture.see import SeenClip, SeenPerson
from posture.signal.chin_zero import ChinZero
from tests.proof.sides import HOLDS, hold, made_up_clip, made_up_track

Array = NDArray[np.float64]

SECONDS, RATE_HZ = 600.0, 15.0
WANTED_S = 0.5
TIMES = 5
MISSING_SHARE = 0.03

CHANGES: dict[str, Settings] = {
    "nothing settled": Settings(),
    "mirroring": Settings(mirrored="yes"),
    "upright marked": Settings(mirrored="no", roll_deg=3.0, pitch_deg=6.0, roll_sd_deg=0.5, pitch_sd_deg=1.5),
    "upright from the scene": Settings(mirrored="no", from_scene=True),
    "lens": Settings(mirrored="no", view_deg=70.0),
    "lens and scene": Settings(mirrored="no", view_deg=70.0, from_scene=True),
    "target": Settings(mirrored="no", target_cm=(0.0, 12.0, 5.0)),
    "marks on target": Settings(mirrored="no", on_target=tuple((60.0 * k + 5, 60.0 * k + 25) for k in range(9))),
    "head set": Settings(mirrored="no", head_set=((30.0, 33.0), (200.0, 203.0), (400.0, 403.0))),
    "chin zero": Settings(mirrored="no", chin_zero=ChinZero(-4.0, 2.6, 3)),
    "another person": Settings(mirrored="no", person=2),
}
"""What is settled anew, by name."""


@dataclass(frozen=True)
class Taken:
    """How long one change took, seconds: on the wall and of the processor, the median and the longest."""

    wall_s: float
    longest_wall_s: float
    processor_s: float
    longest_processor_s: float


def long_clip(seconds: float = SECONDS, rate_hz: float = RATE_HZ, seed: int = 11) -> SeenClip:
    """A clip of two persons with the scene, shoulders and lines of the face; a few frames without a face."""
    persons = []
    for k, sign in enumerate((1.0, -1.0)):
        rng = np.random.default_rng((seed, k))
        n = round(seconds * rate_hz)
        rounds = int(np.ceil(seconds / (1.9 * len(HOLDS)))) + 1
        holds = [tuple(sign * np.array(p) + rng.normal(0, 1.5, 3)) for p in HOLDS * rounds]
        time_s, angles = (values[:n] for values in hold(holds, 2.0, 0.5, rate_hz))
        angles = angles + rng.normal(0, 0.25, angles.shape)
        track = made_up_track(time_s, angles, (3.0, 5.0), 4.0 * sign, (0.5, -1.5), (9.0 * sign, 4.0, 62.0))
        gone = rng.random(n) < MISSING_SHARE
        seen: dict[str, Any] = {
            name: np.array(getattr(track, name)) for name in ("rotation", "place_cm", "face_height_px", "quality")
        }
        for values in seen.values():
            values[gone] = np.nan
        persons.append(SeenPerson(replace(track, **seen), None, (k + 1,), 1 - MISSING_SHARE, False))
    return replace(made_up_clip(persons[0].track), persons=tuple(persons))


def time_reading(seen: SeenClip, settings: Settings, times: int = TIMES) -> Taken:
    """Read a clip a few times."""
    taken = []
    for _ in range(times):
        wall, processor = time.perf_counter(), time.process_time()
        read_clip(seen, settings)
        taken.append((time.perf_counter() - wall, time.process_time() - processor))
    (wall_s, processor_s), (longest_s, longest_processor_s) = np.median(taken, 0), np.max(taken, 0)
    return Taken(float(wall_s), float(longest_s), float(processor_s), float(longest_processor_s))


@dataclass(frozen=True)
class Cost:
    """A function and what it cost: its own time and that with all it called, as shares of the whole; how often it ran."""

    name: str
    own_share: float
    whole_share: float
    calls: int


def profile_reading(seen: SeenClip, settings: Settings) -> list[Cost]:
    """What each function cost in one reading, the one with the most own time first; the profiler makes small ones seem costlier."""
    profile = cProfile.Profile()
    profile.runcall(read_clip, seen, settings)
    stats = pstats.Stats(profile)
    total = float(stats.total_tt)  # type: ignore[attr-defined]
    found = []
    for (file, line, name), (_, calls, own, whole, _) in stats.stats.items():  # type: ignore[attr-defined]
        where = file.rsplit("/posture/", 1)[-1] if "/posture/" in file else file.rsplit("/", 1)[-1]
        found.append(Cost(f"{where}:{line} {name}" if line else name, own / total, whole / total, calls))
    return sorted(found, key=lambda cost: -cost.own_share)


def ours(costs: Sequence[Cost], count: int) -> list[Cost]:
    """The functions of the package that cost most with all that they call, those left out that only pass on to others."""
    passing = ("read_clip", "find_habitual_posture", "clean_track", "read_track", "build_summary")
    inside = [c for c in costs if c.name.startswith(("signal/", "geometry/", "summary/")) and c.name.split()[-1] not in passing]
    return sorted(inside, key=lambda cost: -cost.whole_share)[:count]


def table(taken: dict[str, Taken]) -> list[str]:
    """One line for each change."""
    lines = [
        f"{'settled anew':<24}{'wall':>8}{'longest':>9}{'processor':>11}{'longest':>9}   seconds; wanted under {WANTED_S:g}"
    ]
    for name, t in taken.items():
        late = "" if t.processor_s < WANTED_S else "  OVER"
        lines.append(
            f"{name:<24}{t.wall_s:>8.2f}{t.longest_wall_s:>9.2f}{t.processor_s:>11.2f}{t.longest_processor_s:>9.2f}{late}"
        )
    return lines


def main(arguments: Sequence[str] | None = None) -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=SECONDS)
    parser.add_argument("--times", type=int, default=TIMES)
    parser.add_argument("--costs", type=int, default=10, help="functions listed of each profile")
    chosen = parser.parse_args(arguments)
    seen = long_clip(chosen.seconds)
    first: Measurement = read_clip(seen, Settings(mirrored="no"))
    print(f"{len(seen.time_s)} frames, {len(first.found.spells)} spells, two persons; median of {chosen.times}")
    print(
        "\n".join(table({name: time_reading(seen, settings, chosen.times) for name, settings in CHANGES.items()})), flush=True
    )
    for name in ("mirroring", "lens and scene"):
        costs = profile_reading(seen, CHANGES[name])
        print(f"\nwhere the time goes ({name}): own time, with what it calls, calls")
        for cost in costs[: chosen.costs]:
            print(f"{100 * cost.own_share:>6.1f} %{100 * cost.whole_share:>7.1f} %{cost.calls:>8}  {cost.name}")
        print("the package's own functions, with what they call:")
        for cost in ours(costs, chosen.costs):
            print(f"{'':>8}{100 * cost.whole_share:>7.1f} %{cost.calls:>8}  {cost.name}")


if __name__ == "__main__":
    main()
