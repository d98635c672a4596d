"""What is not known about an angle: the landmarks' part by size and quality, and that it reaches the intervals."""

import json
from collections.abc import Callable
from dataclasses import replace
from importlib import resources

import numpy as np
import pytest

from posture.signal.habitual import find_habitual_posture
from posture.signal.reading import ReadTrack
from posture.signal.uncertainty import CHIN_ZERO_SD_DEG, TABLE_NAME, angle_sds_deg, landmark_sds_deg

MakeRead = Callable[..., ReadTrack]
Held = Callable[..., tuple[np.ndarray, np.ndarray]]

NAMES = ("tilt_deg", "turn_deg", "chin_deg")
TABLE = json.loads((resources.files("posture.signal") / TABLE_NAME).read_text(encoding="utf-8"))
EDGES_PX = np.array([*TABLE["face_height_px"], TABLE["largest_px"]], float)
MIDDLES_PX = np.sqrt(EDGES_PX[:-1] * EDGES_PX[1:])
QUALITIES = np.array(TABLE["quality"], float)


def cell(height: int, quality: int) -> list[float]:
    """What the shipped file says in one band of height and of quality."""
    return [TABLE[name][height][quality] for name in NAMES]


@pytest.mark.parametrize("name", NAMES)
def test_shipped_table_is_whole(name: str) -> None:
    values = TABLE[name]
    assert len(values) == len(TABLE["face_height_px"])
    assert {len(line) for line in values} == {len(TABLE["quality"])}
    numbers = [v for line in values for v in line]
    assert all(isinstance(v, int | float) and np.isfinite(v) and v > 0 for v in numbers), numbers
    assert max(numbers) < 30


def test_bands_of_the_shipped_table_are_in_order() -> None:
    assert np.diff(EDGES_PX).min() > 0
    assert EDGES_PX[0] > 0
    assert QUALITIES[0] == 0
    assert np.diff(QUALITIES).min() > 0
    assert QUALITIES[-1] < 1


@pytest.mark.parametrize("quality", [0.01, 0.5, 1.0])
def test_smaller_face_is_less_sure(quality: float) -> None:
    sds = np.array([landmark_sds_deg(height, quality) for height in (25.0, 40.0, 60.0, 100.0, 150.0)])
    assert np.diff(sds, axis=0).max() <= 0
    assert sds[0].sum() > sds[-1].sum()


@pytest.mark.parametrize("height_px", [30.0, 60.0, 150.0])
def test_worse_face_is_less_sure(height_px: float) -> None:
    sds = np.array([landmark_sds_deg(height_px, quality) for quality in np.linspace(0, 1, 21)])
    assert np.diff(sds, axis=0).max() <= 0
    assert sds[0].sum() > sds[-1].sum()


@pytest.mark.parametrize("column", range(len(QUALITIES)))
def test_middle_of_a_band_has_what_the_table_says(column: int) -> None:
    for row, height_px in enumerate(MIDDLES_PX):
        # At its lower edge and just below the next one.
        upper = QUALITIES[column + 1] - 1e-6 if column + 1 < len(QUALITIES) else 1.0
        for quality in (QUALITIES[column], upper):
            assert landmark_sds_deg(float(height_px), float(quality)) == pytest.approx(cell(row, column))


@pytest.mark.parametrize("row", range(len(MIDDLES_PX) - 1))
def test_between_bands_it_is_interpolated(row: int) -> None:
    """Evenly in ratios of height: half-way lies their geometric mean."""
    between = float(np.sqrt(MIDDLES_PX[row] * MIDDLES_PX[row + 1]))
    expected = (np.array(cell(row, 0)) + cell(row + 1, 0)) / 2
    assert landmark_sds_deg(between, 0.0) == pytest.approx(expected)


def test_beyond_the_ends_it_stays() -> None:
    for quality in (0.0, 1.0):
        smallest, largest = (landmark_sds_deg(float(at), quality) for at in (MIDDLES_PX[0], MIDDLES_PX[-1]))
        assert landmark_sds_deg(8.0, quality).tolist() == smallest.tolist()
        assert landmark_sds_deg(900.0, quality).tolist() == largest.tolist()


def seen_as(read: ReadTrack, height_px: np.ndarray | float, quality: np.ndarray | float) -> ReadTrack:
    """The same reading, its faces of other heights and qualities; NaN where there is none."""
    n = len(read.time_s)
    height, worth = (np.where(read.face_found, np.broadcast_to(v, n), np.nan) for v in (height_px, quality))
    return replace(read, face_height_px=height, quality=worth)


@pytest.fixture
def read(make_read: MakeRead) -> ReadTrack:
    """Nine frames, the last without a face."""
    return make_read(np.arange(9) / 15, -12.0, 8.0, 3.0, missing=np.arange(9) == 8)


def test_landmarks_count_by_the_median_height_and_quality(read: ReadTrack) -> None:
    """Of the frames given, where a face was seen: neither the mean, nor the frame asked for, nor the rest."""
    height = np.array([30.0, 30.0, 30.0, 180.0, 180.0, 180.0, 180.0, 180.0, 1.0])
    quality = np.array([0.9, 0.9, 0.9, 0.05, 0.05, 0.05, 0.05, 0.05, 1.0])
    mixed, at = seen_as(read, height, quality), 4
    small, large = seen_as(read, 30.0, 0.9), seen_as(read, 180.0, 0.05)
    for frames, like in (([0, 1, 2, 4], small), ([2, 3, 4], large), ([0, 1, 3, 8], small), ([4], large), ([7, 8, 0, 6], large)):
        index = np.array(frames)
        assert angle_sds_deg(mixed, at, index) == pytest.approx(angle_sds_deg(like, at, index)), frames
    assert angle_sds_deg(small, at, np.array([4])) != pytest.approx(angle_sds_deg(large, at, np.array([4])))


def test_other_parts_do_not_depend_on_the_landmarks(read: ReadTrack) -> None:
    frames = np.arange(8)
    rest = []
    for height_px, quality in ((28.0, 0.1), (70.0, 0.5), (160.0, 0.95)):
        sds = angle_sds_deg(seen_as(read, height_px, quality), 3, frames)
        rest.append(sds**2 - landmark_sds_deg(height_px, quality) ** 2)
    assert rest[1] == pytest.approx(rest[0])
    assert rest[2] == pytest.approx(rest[0])
    assert rest[0].min() > 0
    assert rest[0][2] >= CHIN_ZERO_SD_DEG**2


def half_widths(read: ReadTrack) -> list[float]:
    """Of the habitual tilt, turn and chin."""
    (held,) = find_habitual_posture(read).postures
    return [(a.interval.high - a.interval.low) / 2 for a in (held.tilt, held.turn, held.chin)]


def test_habitual_posture_of_a_small_face_is_less_sure(make_read: MakeRead, make_held: Held) -> None:
    time_s, angles = make_held([(-14.0, -12.0, -8.0), (-12.0, -9.0, -6.0), (-16.0, -14.0, -9.0)] * 4)
    read = make_read(time_s, *angles.T)
    small, large = (half_widths(seen_as(read, height_px, 0.8)) for height_px in (30.0, 150.0))
    assert all(a > b for a, b in zip(small, large, strict=True)), (small, large)
    # And of a face seen badly.
    bad, good = (half_widths(seen_as(read, 60.0, quality)) for quality in (0.02, 1.0))
    assert all(a >= b for a, b in zip(bad, good, strict=True))
    assert sum(bad) > sum(good)


def test_moment_of_a_small_face_is_less_sure(make_read: MakeRead) -> None:
    read = make_read(np.zeros(1), -14.0, -12.0, -8.0)
    widths = []
    for height_px in (30.0, 150.0):
        moment = find_habitual_posture(seen_as(read, height_px, 0.8)).moment
        assert moment is not None
        widths.append([a.high - a.low for a in (moment.tilt, moment.turn, moment.chin)])
    assert all(a > b for a, b in zip(*widths, strict=True)), widths
