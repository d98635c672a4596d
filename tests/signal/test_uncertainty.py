"""What is not known about an angle: every part alone against values worked out by hand, and that it reaches the intervals."""

import json
from collections.abc import Callable
from dataclasses import replace
from importlib import resources

import numpy as np
import pytest

from posture.geometry.lens import Lens
from posture.signal.chin_zero import ChinZero
from posture.signal.habitual import find_habitual_posture
from posture.signal.reading import ReadSettings, ReadTrack, Upright, read_track
from posture.signal.track import HeadTrack
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


EXACT_LENS = Lens(1000.0, 0.0, "a test")
SURE = {
    "mirrored": "no",
    "upright": Upright("marked", 0.0, 0.0, 0.0, 0.0),
    "lens": EXACT_LENS,
    "chin_zero": ChinZero(0.0, 0.0, 9),
}
"""Settings with which nothing is unknown but the landmarks."""

MakeTrack = Callable[..., HeadTrack]


def part_of(track: HeadTrack, **unsure: object) -> np.ndarray:
    """Standard deviations of the second of three frames, what the landmarks do taken out in quadrature."""
    read = read_track(track, ReadSettings(**(SURE | unsure)))  # type: ignore[arg-type]
    sds = angle_sds_deg(read, 1, np.arange(3))
    squares = sds**2 - landmark_sds_deg(140.0, 0.8) ** 2
    assert squares.min() > -1e-9
    return np.sqrt(np.maximum(squares, 0.0))


def facing(make_track: MakeTrack, tilt_deg: float, turn_deg: float, chin_deg: float, place_cm=(0.0, 0.0, 60.0)) -> HeadTrack:
    """Three frames; angles are the camera's own only before its middle."""
    return make_track(np.arange(3) / 15, tilt_deg, turn_deg, chin_deg, place_cm=place_cm)


@pytest.mark.parametrize("angles", [(0.0, 0.0, 0.0), (-14.0, 25.0, -8.0)], ids=["straight", "all at once"])
def test_where_all_is_known_the_landmarks_are_left(make_track: MakeTrack, angles: tuple[float, float, float]) -> None:
    assert part_of(facing(make_track, *angles)) == pytest.approx([0.0, 0.0, 0.0], abs=1e-5)


@pytest.mark.parametrize(
    ("turn_deg", "expected"),
    [(0.0, [2.5, 0.0, 0.0]), (30.0, [2.165, 0.024, 1.251]), (-30.0, [2.165, 0.024, 1.251])],
)
def test_roll_alone(make_track: MakeTrack, turn_deg: float, expected: list[float]) -> None:
    """A roll r turns the ear-to-ear axis (cos t, 0, sin t) to (cos r cos t, sin r cos t, sin t).

    Tilt is asin(sin r cos t), with r = 2.5 and t = 30 asin(0.04362 x 0.86603) = 2.165. Turn becomes
    atan(tan t / cos r) = 30.024. Chin is atan(tan r sin t) = atan(0.04366 x 0.5) = 1.251. Nothing changes about a
    line of sight along the axis.
    """
    unsure = Upright("marked", 0.0, 0.0, 2.5, 0.0)
    assert part_of(facing(make_track, 0.0, turn_deg, 0.0), upright=unsure) == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize(
    ("turn_deg", "expected"),
    [(0.0, [0.0, 0.0, 0.0]), (30.0, [3.990, 0.243, 1.061]), (-30.0, [3.990, 0.243, 1.061])],
)
def test_pitch_alone_falsifies_the_tilt_of_a_turned_head(make_track: MakeTrack, turn_deg: float, expected: list[float]) -> None:
    """A pitch p turns the ear-to-ear axis (cos t, 0, sin t) to (cos t, sin p sin t, cos p sin t).

    Tilt is asin(sin t sin p), with t = 30 and p = 8 asin(0.5 x 0.13917) = 3.990. Turn becomes atan(cos p tan t) = 29.757,
    less by 0.243. Chin is atan(tan p cos t) = atan(0.14054 x 0.86603) = 6.939 while the line of sight rises
    by 8: 1.061 between them.
    A head that faces the camera turns along with it: nothing.
    """
    unsure = Upright("marked", 0.0, 0.0, 0.0, 8.0)
    assert part_of(facing(make_track, 0.0, turn_deg, 0.0), upright=unsure) == pytest.approx(expected, abs=0.002)


def test_roll_can_be_left_out(make_track: MakeTrack) -> None:
    """Against the shoulder line it drops out, and the pitch of the test before stays."""
    both = Upright("marked", 0.0, 0.0, 2.5, 8.0)
    read = read_track(facing(make_track, 0.0, 30.0, 0.0), ReadSettings(**(SURE | {"upright": both})))  # type: ignore[arg-type]
    tilt_sds = [angle_sds_deg(read, 1, np.arange(3), with_roll=with_roll)[0] for with_roll in (True, False)]
    landmarks = landmark_sds_deg(140.0, 0.8)[0]
    assert tilt_sds == pytest.approx([np.hypot(landmarks, np.hypot(2.165, 3.990)), np.hypot(landmarks, 3.990)], abs=0.002)


def test_lens_alone_moves_a_target_beside_the_camera(make_track: MakeTrack) -> None:
    """With 0.82 of the focal length the same picture is seen from 60 cm, which the believed one puts at 60 / 0.82 = 73.2 cm.

    To the target, 30 cm beside, the turn is atan(30 / 60) = 26.565 or atan(30 / 73.17) = 22.294: 4.271. The perspective of the
    near face itself adds or takes away half a degree (rendered heads).
    """
    looking = facing(make_track, 0.0, 26.565, 0.0)
    vague = Lens(1000.0, 0.18, "a test")
    tilt, turn, chin = part_of(looking, target_cm=(-30.0, 0.0, 0.0), lens=vague)
    rest = part_of(looking, target_cm=(-30.0, 0.0, 0.0))
    assert np.sqrt(turn**2 - rest[1] ** 2) == pytest.approx(4.27, abs=0.7)
    assert max(tilt, chin) < 1.0


@pytest.mark.parametrize("place_cm", [(0.0, 0.0, 60.0), (25.0, 0.0, 60.0), (0.0, -20.0, 60.0)])
def test_lens_alone_does_little_to_who_looks_into_the_camera(
    make_track: MakeTrack, place_cm: tuple[float, float, float]
) -> None:
    """Head and line of sight turn together; what the fit makes of perspective is about 0.6 for a lens wrong by 30 %."""
    part = part_of(facing(make_track, 5.0, 0.0, 0.0, place_cm), lens=Lens(1000.0, 0.18, "a test"))
    assert part.max() < 1.0
    twice = part_of(facing(make_track, 5.0, 0.0, 0.0, place_cm), lens=Lens(1000.0, 0.05, "a test"))
    assert twice.sum() < part.sum()


@pytest.mark.parametrize(
    ("target_cm", "angles", "expected"),
    [
        pytest.param((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), [0.0, 0.0, 0.0], id="the camera"),
        pytest.param((-30.0, 0.0, 0.0), (0.0, 26.565, 0.0), [0.0, 3.066, 0.0], id="to the person's right"),
        pytest.param((30.0, 0.0, 0.0), (0.0, -26.565, 0.0), [0.0, 3.066, 0.0], id="to the person's left"),
        pytest.param((0.0, -30.0, 0.0), (0.0, 0.0, 26.565), [0.0, 0.0, 3.066], id="above"),
    ],
)
def test_target_alone(make_track: MakeTrack, target_cm, angles, expected: list[float]) -> None:
    """A face 15 % nearer or farther than it seems: atan(30 / 60) = 26.565 or atan(30 / 69) = 23.499, 3.066 between them."""
    part = part_of(facing(make_track, *angles), target_cm=target_cm)
    assert part == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize(
    ("target_cm", "expected"),
    [
        pytest.param((-30.0, 0.0, 0.0), [0.0, 26.565, 0.0], id="beside"),
        pytest.param((0.0, -30.0, 0.0), [0.0, 0.0, 3.066], id="above, which a mirror leaves there"),
        pytest.param((0.0, 0.0, 0.0), [0.0, 0.0, 0.0], id="the camera"),
    ],
)
def test_unknown_mirroring_alone(make_track: MakeTrack, target_cm, expected: list[float]) -> None:
    """On which side of the camera the target is, is not known: 26.565 degrees either way from the camera itself."""
    part = part_of(facing(make_track, 0.0, 0.0, 0.0), target_cm=target_cm, mirrored="unknown")
    assert part == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize(
    ("zero", "sd_deg"),
    [(None, 4.5), (ChinZero(0.0, 2.6, 3), 2.6), (ChinZero(-7.0, 4.5, 1), 4.5), (ChinZero(3.0, 6.1, 2), 6.1)],
    ids=["not set", "three times", "once", "twice, far apart"],
)
def test_chin_zero_alone(make_track: MakeTrack, zero: ChinZero | None, sd_deg: float) -> None:
    """The published 4.5 of a face never set, or in its place, better or worse, what the settings came to."""
    assert part_of(facing(make_track, -10.0, 12.0, -5.0), chin_zero=zero) == pytest.approx([0.0, 0.0, sd_deg], abs=1e-6)


def test_all_parts_are_added_in_quadrature(make_track: MakeTrack) -> None:
    track = facing(make_track, -14.0, 20.0, -6.0, (10.0, -5.0, 70.0))
    unsure = {
        "roll": {"upright": Upright("marked", 0.0, 0.0, 2.5, 0.0)},
        "pitch": {"upright": Upright("marked", 0.0, 0.0, 0.0, 8.0)},
        "lens": {"lens": Lens(1000.0, 0.18, "a test")},
        "zero": {"chin_zero": None},
    }
    parts = [part_of(track, **changes) for changes in unsure.values()]
    together = part_of(
        track, upright=Upright("marked", 0.0, 0.0, 2.5, 8.0), lens=Lens(1000.0, 0.18, "a test"), chin_zero=None
    )  # fmt: skip
    assert together == pytest.approx(np.sqrt(np.square(parts).sum(0)), abs=1e-4)
    assert all(part.max() > 0.1 for part in parts)
