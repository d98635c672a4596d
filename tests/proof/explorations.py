"""How often the intervals of the two explorations hold the truth: ``python -m tests.proof.explorations [--runs N]``.

Whole tracks are simulated, read, cleaned and cut into spells as those of clips are.

Play: spells of 2.5 s, in which the trunk leans by a standard deviation of `LEAN_SD_DEG` or as told, and the head is tilted by the slope
times the lean and by something of its own; both resemble the spell before. The shoulder line is read as a share of the lean, a share of
the tilt, an error that lasts through a spell, and a scatter of each look.

Let go: the head is held straight for 3 s and let go; it returns exponentially to a tilt of its own, and wanders about it. The camera is
rolled by as much as its stated uncertainty.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posture.geometry.angles import posture_matrix
from posture.geometry.trunk import HEAD_FOLLOW
from posture.signal.explore_return import LetGo, explore_return
from posture.signal.explore_trunk import READ_SHARE, READ_SHARE_SD, TrunkSlope, explore_trunk
from posture.signal.habitual import HabitualPosture, find_habitual_posture
from posture.signal.interval import Interval
from posture.signal.reading import ReadSettings, read_track, upright_from
from posture.signal.spans import Span
from posture.signal.track import HeadTrack

Array = NDArray[np.float64]

RATE_HZ, RUNS, SEED = 12.0, 200, 2027
WIDTH_PX, HEIGHT_PX, FOCAL_PX = 1280, 720, 1000.0
HOLD_S, MOVE_S = 2.5, 0.5
HELD_S = 3.0

SLOPES = (0.0, 0.5, 1.0)
LEAN_SD_DEG, OWN_SD_DEG, RESEMBLANCE = 6.0, 3.0, 0.3
ERROR_SDS_DEG = (1.0, 1.6, 2.2)
LOOK_SD_DEG, HEAD_SHARE, HEAD_SHARE_SD = 1.5, 0.05, 0.03
SHOULDERS_CM, BELOW_CM, AWAY_CM = 16.0, 18.0, 80.0

HALVES_S = (0.7, 1.5, 3.0)
HALF_SD_LOG, END_DEG, END_SD_DEG = 0.35, -14.0, 2.5
WANDER_SD_DEG, WANDER_S, NOISE_DEG = 1.0, 2.0, 0.3
CAMERA_SD_DEG = 1.0


@dataclass(frozen=True)
class Coverage:
    """What came of many simulated clips.

    Attributes
    ----------
    given, runs : int
        Intervals that were given, and clips.
    held : float
        Share of those given that hold the truth.
    middle, half : float
        Mean of the values, and median half width.
    plain : float
        Mean of the values without any correction.
    """

    given: int
    runs: int
    held: float
    middle: float
    half: float
    plain: float


def follow(n: int, rng: np.random.Generator, resemblance: float = RESEMBLANCE) -> Array:
    """n values of standard deviation 1, each drawn towards the one before."""
    values = rng.normal(size=n)
    for k in range(1, n):
        values[k] = resemblance * values[k - 1] + np.sqrt(1 - resemblance**2) * values[k]
    return values


def simulate_play(
    slope: float,
    rng: np.random.Generator,
    spells: int = 20,
    lean_sd_deg: float = LEAN_SD_DEG,
    error_sd_deg: float = ERROR_SDS_DEG[1],
    noisy: bool = True,
) -> HeadTrack:
    """Play with a known slope of tilt on lean.

    Parameters
    ----------
    slope : float
    rng : Generator
    spells : int
    lean_sd_deg, error_sd_deg : float
        Of the trunk between spells, and of what is misread of it in each.
    noisy : bool
        Else the shoulder line is read without error, and the head has nothing of its own.

    Returns
    -------
    HeadTrack
    """
    lean = lean_sd_deg * follow(spells, rng)
    tilt = -8.0 + slope * lean + (OWN_SD_DEG * follow(spells, rng) if noisy else 0.0)
    share = rng.normal(READ_SHARE, READ_SHARE_SD) if noisy else READ_SHARE
    head_share = rng.normal(HEAD_SHARE, HEAD_SHARE_SD) if noisy else HEAD_SHARE
    read = share * lean + head_share * tilt + (error_sd_deg * rng.normal(size=spells) if noisy else 0.0)
    frames = round(HOLD_S * RATE_HZ)
    # A look aside between spells, so that each is one.
    turn = np.concatenate([np.r_[np.zeros(frames), 15 * np.sin(np.linspace(0, np.pi, round(MOVE_S * RATE_HZ)))]] * spells)
    each = len(turn) // spells
    tilt_deg, lean_deg = np.repeat(tilt, each), np.repeat(read, each)
    time_s = np.arange(len(turn)) / RATE_HZ
    lean_deg = lean_deg + (LOOK_SD_DEG * rng.normal(size=len(turn)) if noisy else 0.0)
    return _track(time_s, tilt_deg + NOISE_DEG * rng.normal(size=len(turn)), turn, lean_deg)


def simulate_releases(
    half_s: Array, end_deg: Array, rng: np.random.Generator, watch_s: float = 20.0, noisy: bool = True
) -> tuple[HeadTrack, tuple[Span, ...]]:
    """A head set straight and let go, once for each time to half and each end; and the spans in which it was set.

    Parameters
    ----------
    half_s, end_deg : ndarray, shape (n,)
    rng : Generator
    watch_s : float
        From a release to the next setting.
    noisy : bool
        Else nothing wanders.

    Returns
    -------
    track : HeadTrack
    spans : tuple of Span
    """
    each = round((HELD_S + watch_s) * RATE_HZ)
    time_s = np.arange(each * len(half_s)) / RATE_HZ
    since = np.tile(np.arange(each) / RATE_HZ - HELD_S, len(half_s))
    way = 1 - 0.5 ** (np.maximum(since, 0) / np.repeat(half_s, each))
    tilt = np.repeat(end_deg, each) * way
    if noisy:
        wander = WANDER_SD_DEG * follow(len(tilt), rng, float(np.exp(-1 / (RATE_HZ * WANDER_S))))
        tilt = tilt + wander * way + NOISE_DEG * rng.normal(size=len(tilt))
    starts = np.arange(len(half_s)) * each / RATE_HZ
    return _track(time_s, tilt, np.zeros(len(tilt))), tuple((float(s), float(s) + HELD_S) for s in starts)


def read_of(track: HeadTrack, head_set: tuple[Span, ...] = ()) -> HabitualPosture:
    """What a simulated track comes to, the camera stated as level."""
    upright = upright_from(0.0, 0.0, CAMERA_SD_DEG, CAMERA_SD_DEG)
    return find_habitual_posture(read_track(track, ReadSettings("no", upright, head_set=head_set)))


def slope_coverage(slope: float, runs: int, **how: float) -> Coverage:
    """Simulate many clips of play."""
    rng = np.random.default_rng([SEED, round(100 * slope), *(round(10 * v) for v in how.values())])

    def one() -> tuple[TrunkSlope, float]:
        found = explore_trunk(read_of(simulate_play(slope, rng, **how)))  # type: ignore[arg-type]
        plain = np.polyfit(READ_SHARE * found.lean_deg, found.tilt_deg, 1)[0] if len(found.lean_deg) > 1 else np.nan
        return found, float(plain)

    clips = [one() for _ in range(runs)]
    return _cover([c[0].slope for c in clips], slope, [c[1] for c in clips])


def return_coverage(half_s: float, repeats: int, runs: int) -> tuple[Coverage, Coverage]:
    """Simulate many clips of releases: coverage of the end and of the time to half."""
    rng = np.random.default_rng([SEED, round(100 * half_s), repeats])

    def one() -> LetGo:
        halves = half_s * np.exp(HALF_SD_LOG * rng.normal(size=repeats))
        ends = END_DEG + END_SD_DEG * rng.normal(size=repeats) + CAMERA_SD_DEG * rng.normal()
        track, spans = simulate_releases(halves, ends, rng)
        return explore_return(read_of(track, spans))

    clips = [one() for _ in range(runs)]
    return _cover([c.end for c in clips], END_DEG), _cover([c.half for c in clips], half_s)


def _cover(intervals: Sequence[Interval | None], truth: float, plain: Sequence[float] = ()) -> Coverage:
    """Count those that hold the truth."""
    given = [i for i in intervals if i is not None]
    plains = float(np.nanmean(plain)) if len(plain) else np.nan
    if not given:
        return Coverage(0, len(intervals), np.nan, np.nan, np.nan, plains)
    return Coverage(
        len(given),
        len(intervals),
        float(np.mean([i.low <= truth <= i.high for i in given])),
        float(np.mean([i.value for i in given])),
        float(np.median([(i.high - i.low) / 2 for i in given])),
        plains,
    )


def _track(time_s: Array, tilt_deg: Array, turn_deg: Array, lean_deg: Array | None = None) -> HeadTrack:
    """A head in the middle of the picture, with shoulders that lean as told where wanted."""
    n = len(time_s)
    rotation = posture_matrix(tilt_deg, turn_deg, np.zeros(n))
    place = np.tile([0.0, 0.0, AWAY_CM], (n, 1))
    below: dict[str, Array] = {}
    if lean_deg is not None:
        lean = np.radians(lean_deg)
        # The person's right shoulder is at the left of the picture, and lower in a lean to the right.
        across = SHOULDERS_CM * np.stack([np.cos(lean), -np.sin(lean)], 1)
        middle = np.array([0.0, BELOW_CM])
        points = FOCAL_PX / AWAY_CM * np.stack([middle - across, middle + across], 1) + [
            (WIDTH_PX - 1) / 2,
            (HEIGHT_PX - 1) / 2,
        ]
        below = {"shoulders_px": points, "shoulders_turn_deg": HEAD_FOLLOW * turn_deg, "arm_raised": np.zeros(n)}
        unlooked = np.arange(n) % round(0.4 * RATE_HZ) != 0
        for array in below.values():
            array[unlooked] = np.nan
    height, quality = np.full(n, 140.0), np.full(n, 0.8)
    return HeadTrack(time_s, rotation, place, height, quality, WIDTH_PX, HEIGHT_PX, FOCAL_PX, **below)  # type: ignore[arg-type]


def say(label: str, found: Coverage, unit: str) -> str:
    """One line of the table."""
    plain = "" if np.isnan(found.plain) else f", uncorrected {found.plain:5.2f}"
    return (
        f"   {label:52} given {found.given:3} of {found.runs}, holds the truth {100 * found.held:5.1f} %, mean {found.middle:6.2f}{unit},"
        f" half width {found.half:5.2f}{unit}{plain}"
    )


def main(argv: Sequence[str] | None = None) -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--runs", type=int, default=RUNS, help=f"clips simulated for each line (default {RUNS})")
    runs = parser.parse_args(argv).runs
    print("Slope of tilt on trunk lean, 20 spells")
    films: tuple[tuple[str, float, dict[str, float]], ...] = (
        *((f"slope {s}, error {e} degrees", s, {"error_sd_deg": e}) for s in SLOPES for e in ERROR_SDS_DEG),
        ("slope 1.0, 12 spells", 1.0, {"spells": 12}),
        ("slope 1.0, 40 spells", 1.0, {"spells": 40}),
        ("slope 1.0, a trunk that leans by 4 degrees", 1.0, {"lean_sd_deg": 4.0}),
        ("slope 1.0, a trunk that leans by 1.5 degrees", 1.0, {"lean_sd_deg": 1.5}),
    )
    for label, slope, how in films:
        print(say(label, slope_coverage(slope, runs, **how), ""), flush=True)
    print("Let go, to a mean of -14 degrees")
    for half_s in HALVES_S:
        for repeats in (3, 6):
            end, half = return_coverage(half_s, repeats, runs)
            print(say(f"half of the way in {half_s} s, {repeats} releases: end", end, " deg"))
            print(say("   time to half", half, " s"), flush=True)


if __name__ == "__main__":
    main()
