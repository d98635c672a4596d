"""Movements asked of a child: how they are written, and what is read of movements whose size is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from posture.errors import SpanError
from posture.geometry.angles import FACING, posture_angles
from posture.signal.asked import BEYOND_DEG, Asked, AskedReach, asked_from, reach_of, reaches_of, say_asked
from posture.signal.clean import clean_track
from posture.signal.habitual import ASKED_REST_S, find_habitual_posture
from posture.signal.interval import Interval
from posture.signal.reading import ReadSettings, ReadTrack, read_track, upright_from
from tests.conftest import track_of

RATE_HZ = 15.0
MADE = list[tuple[float, float, float]]


def movement(
    deg: float, *, move_s: float = 0.7, hold_s: float = 2.0, rest_s: float = 1.0, rate_hz: float = RATE_HZ
) -> tuple[np.ndarray, np.ndarray]:
    """Times and sizes of one movement: straight, there, held, back, straight."""
    ramp = 0.5 - 0.5 * np.cos(np.linspace(0, np.pi, round(move_s * rate_hz) + 2)[1:-1])
    rest, hold = np.zeros(round(rest_s * rate_hz)), np.ones(round(hold_s * rate_hz))
    size = deg * np.concatenate([rest, ramp, hold, ramp[::-1], rest])
    return np.arange(len(size)) / rate_hz, size


def read_of(time_s: np.ndarray, tilt: object = 0.0, turn: object = 0.0, mirrored: str = "no", **more: object) -> ReadTrack:
    track = track_of(time_s, tilt, turn, **more)  # type: ignore[arg-type]
    return clean_track(read_track(track, ReadSettings(mirrored, upright_from(0.0, 0.0))))  # type: ignore[arg-type]


def asked_whole(movement: str, time_s: np.ndarray) -> Asked:
    return Asked(movement, 0.0, float(time_s[-1]))  # type: ignore[arg-type]


def with_trunk(read: ReadTrack, tilt_deg: np.ndarray | float, sd_deg: float = 2.6) -> ReadTrack:
    tilt = np.broadcast_to(np.asarray(tilt_deg, float), len(read.time_s))
    return replace(read, trunk=replace(read.trunk, tilt_deg=tilt, sd_deg=sd_deg))


# --- As people write it. ---


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("", []),
        ("turn-right=3-9", [Asked("turn right", 3, 9)]),
        ("turn-right 3-9", [Asked("turn right", 3, 9)]),
        ("Tilt Left: 0:12-0:18.5", [Asked("tilt left", 12, 18.5)]),
        ("tilt_left=12-18, turn-right=3-9,", [Asked("turn right", 3, 9), Asked("tilt left", 12, 18)]),
        ("turn-right=3-9,turn-left=9-12", [Asked("turn right", 3, 9), Asked("turn left", 9, 12)]),
    ],
)
def test_asked_is_read_and_written(text: str, asked: list[Asked]) -> None:
    assert list(asked_from(text)) == asked
    assert asked_from(say_asked(asked)) == tuple(asked)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("turn=3-9", "'turn=3-9' came. Write turn or tilt"),
        ("chin-up=3-9", "'chin-up=3-9' came"),
        ("turn-right", "'turn-right' came"),
        ("turn-right=9-3", "from the earlier to the later"),
        ("turn-right=a-b", "Expected times"),
        ("turn-right=3-9,tilt-left=8-12", "overlap"),
    ],
)
def test_what_cannot_be_read_is_said(text: str, said: str) -> None:
    with pytest.raises(SpanError, match=said):
        asked_from(text)


# --- Known movements. ---


@pytest.mark.parametrize("deg", [8.0, 20.0, 35.0, 44.0])
@pytest.mark.parametrize("way", ["turn right", "turn left", "tilt right", "tilt left"])
def test_a_known_movement_is_reached(way: str, deg: float) -> None:
    time_s, size = movement(deg)
    asked = asked_whole(way, time_s)
    angles = {"turn" if asked.is_turn else "tilt": asked.sign * size}
    reach = reach_of(read_of(time_s, **angles), asked)
    assert reach.reached is not None
    assert reach.reached.value == pytest.approx(deg, abs=0.2)
    assert reach.reached.low < deg < reach.reached.high
    assert reach.reference == ("line of sight" if asked.is_turn else "gravity")
    assert not reach.beyond_camera
    assert 1.9 <= reach.held_s <= 2.6
    assert reach.found_share == 1
    assert reach.trunk_tilt is None


def test_the_other_way_is_negative() -> None:
    time_s, size = movement(20.0, rest_s=0.0, move_s=0.1)
    reach = reach_of(read_of(time_s, size), asked_whole("tilt left", time_s))
    assert reach.reached is not None
    assert reach.reached.value < 0


def test_a_single_picture_is_no_reach() -> None:
    time_s, size = movement(20.0)
    size[40] = 31.0
    reach = reach_of(read_of(time_s, size), asked_whole("tilt right", time_s))
    assert reach.reached is not None
    assert reach.reached.value == pytest.approx(20.0, abs=1.0)


def test_a_turn_is_against_the_camera_whatever_the_target() -> None:
    time_s, size = movement(20.0)
    track = track_of(time_s, 0.0, size, place_cm=(25.0, 0.0, 60.0))
    read = clean_track(read_track(track, ReadSettings("no", upright_from(0.0, 0.0), target_cm=(40.0, 0.0, 0.0))))
    reach = reach_of(read, asked_whole("turn right", time_s))
    assert reach.reached is not None
    assert reach.reached.value == pytest.approx(20.0, abs=0.3)


def test_held_counts_only_what_is_near_the_farthest_and_together() -> None:
    time_s, size = movement(20.0, hold_s=4.0)
    held = size == 20.0
    at = np.flatnonzero(held)
    size[at[:15]] = 14.0
    size[at[30:36]] = 10.0
    reach = reach_of(read_of(time_s, size), asked_whole("tilt right", time_s))
    assert reach.held_s == pytest.approx((len(at) - 36) / RATE_HZ, abs=0.4)


# --- Beyond the camera. ---


@pytest.mark.parametrize(("deg", "beyond"), [(44.0, False), (46.0, True), (60.0, True)])
def test_a_turn_out_of_sight_is_at_least_45(deg: float, beyond: bool) -> None:
    time_s, size = movement(deg)
    reach = reach_of(read_of(time_s, 0.0, size), asked_whole("turn right", time_s))
    assert reach.reached is not None
    assert reach.beyond_camera is beyond
    assert reach.reached.value == pytest.approx(min(deg, BEYOND_DEG), abs=0.1)
    assert reach.reached.low <= reach.reached.value


def lost(size: np.ndarray, over_deg: float) -> np.ndarray:
    return size > over_deg


@pytest.mark.parametrize("way", ["turn right", "tilt right"])
def test_a_face_that_is_lost_near_the_end_makes_it_at_least(way: str) -> None:
    time_s, size = movement(40.0, move_s=2.0)
    angles = {way.split()[0]: size}
    reach = reach_of(read_of(time_s, missing=lost(size, 30.0), **angles), asked_whole(way, time_s))
    assert reach.reached is not None
    assert reach.beyond_camera
    assert 20 < reach.reached.value <= 30
    assert reach.found_share < 0.8


def test_a_face_that_is_lost_and_does_not_come_back_makes_it_at_least() -> None:
    time_s, size = movement(40.0, move_s=2.0)
    asked = Asked("turn right", 0.0, 4.0)
    assert reach_of(read_of(time_s, 0.0, size, missing=lost(size, 30.0)), asked).beyond_camera


def test_a_face_that_is_lost_elsewhere_or_for_a_moment_does_not() -> None:
    time_s, size = movement(30.0, rest_s=2.0)
    asked = asked_whole("turn right", time_s)
    elsewhere = (time_s > 0.5) & (time_s < 1.2)
    moment = (time_s > 3.5) & (time_s < 3.65)
    for missing in (elsewhere, moment):
        reach = reach_of(read_of(time_s, 0.0, size, missing=missing), asked)
        assert missing.any()
        assert not reach.beyond_camera


@pytest.mark.parametrize("missing_share", [1.0, 0.99])
def test_a_face_that_is_not_seen_gives_nothing(missing_share: float) -> None:
    time_s, size = movement(30.0)
    missing = np.arange(len(time_s)) < missing_share * len(time_s)
    reach = reach_of(read_of(time_s, 0.0, size, missing=missing), asked_whole("turn right", time_s))
    assert reach.reached is None
    assert reach.held_s == 0


def test_a_time_outside_of_the_clip_gives_nothing() -> None:
    time_s, size = movement(30.0)
    reach = reach_of(read_of(time_s, 0.0, size), Asked("turn right", 100.0, 105.0))
    assert (reach.reached, reach.found_share) == (None, 0.0)


# --- Against the trunk. ---


def test_a_tilt_is_against_the_shoulder_line_where_that_is_seen() -> None:
    time_s, size = movement(30.0)
    read = with_trunk(read_of(time_s, -size), -0.2 * size)
    reach = reach_of(read, asked_whole("tilt left", time_s))
    assert reach.reference == "shoulder line"
    assert reach.reached is not None
    assert reach.trunk_tilt is not None
    assert reach.reached.value == pytest.approx(24.0, abs=0.3)
    assert reach.trunk_tilt.value == pytest.approx(6.0, abs=0.3)
    assert reach.trunk_tilt.low < 6.0 < reach.trunk_tilt.high


def test_shoulders_that_were_not_seen_at_the_end_are_not_used() -> None:
    time_s, size = movement(30.0)
    reach = reach_of(with_trunk(read_of(time_s, size), np.where(size > 20, np.nan, 0.0)), asked_whole("tilt right", time_s))
    assert reach.reference == "gravity"
    assert reach.trunk_tilt is None


def test_the_roll_of_the_camera_drops_out_on_the_shoulder_line() -> None:
    time_s, size = movement(30.0)
    halves = []
    for roll_sd in (0.1, 6.0):
        track = track_of(time_s, size)
        read = clean_track(read_track(track, ReadSettings("no", upright_from(0.0, 0.0, roll_sd, 0.1))))
        for one in (read, with_trunk(read, 0.0)):
            reached = reach_of(one, asked_whole("tilt right", time_s)).reached
            assert reached is not None
            halves.append(reached.high - reached.value)
    sharp, sharp_trunk, blurred, blurred_trunk = halves
    assert blurred > sharp + 8
    assert blurred_trunk == pytest.approx(sharp_trunk, abs=0.2)
    assert sharp_trunk > sharp


# --- Sides. ---


def angles_of(reaches: tuple[AskedReach, ...]) -> list[tuple[float, ...]]:
    return [tuple(vars(reach.reached).values()) for reach in reaches if isinstance(reach.reached, Interval)]


@pytest.mark.parametrize("mirrored", ["no", "yes", "unknown"])
def test_a_clip_and_its_mirror_image_give_the_same(mirrored: str) -> None:
    time_s, size = movement(25.0)
    times = np.concatenate([time_s, time_s[-1] + 0.2 + time_s])
    tilt = np.concatenate([size, -0.8 * size])
    end = float(time_s[-1])
    asked = [Asked("tilt right", 0.0, end), Asked("tilt left", end + 0.1, 2 * end + 1)]
    reaches = [reaches_of(read_of(times, sign * tilt, mirrored=how), asked) for sign, how in ((1, "no"), (-1, mirrored))]
    if mirrored == "no":
        assert angles_of(reaches[1])[0][0] < 5
    else:
        assert np.allclose(angles_of(reaches[0]), angles_of(reaches[1]), atol=1e-6)
        assert angles_of(reaches[1])[0][0] == pytest.approx(25.0, abs=0.3)


def test_a_lean_and_a_reach_add_up_to_the_tilt_against_gravity() -> None:
    time_s, size = movement(27.0, hold_s=4.0)
    read = read_of(time_s, size)
    # The shoulder line follows the head late, as one that was seen.
    late = with_trunk(read, 0.25 * np.interp(time_s - 0.2, time_s, size))
    reach = reach_of(late, asked_whole("tilt right", time_s))
    assert (reach.reference, reach.held_s) == ("shoulder line", pytest.approx(4.0, abs=0.5))
    assert reach.reached is not None
    assert reach.trunk_tilt is not None
    assert reach.reached.value + reach.trunk_tilt.value == pytest.approx(27.0, abs=0.3)


def test_a_shoulder_line_that_is_mostly_missing_is_not_used() -> None:
    time_s, size = movement(27.0, hold_s=4.0)
    read = read_of(time_s, size)
    trunk = np.where((np.arange(len(time_s)) % 4 == 0) | (time_s < 2.2), 0.25 * size, np.nan)
    reach = reach_of(with_trunk(read, trunk), asked_whole("tilt right", time_s))
    assert reach.reference == "gravity"
    assert reach.reached is not None
    assert reach.reached.value == pytest.approx(27.0, abs=0.3)
    assert reach.held_s == pytest.approx(4.0, abs=0.5)


def test_what_was_asked_is_no_habit() -> None:
    pieces = [movement(0.0, hold_s=8.0), movement(30.0, hold_s=8.0)]
    size = np.concatenate([piece[1] for piece in pieces])
    time_s = np.arange(len(size)) / RATE_HZ
    begin = float(time_s[len(pieces[0][0])])
    settings = ReadSettings("no", upright_from(0.0, 0.0))
    track = track_of(time_s, size + 0.3 * np.sin(time_s))
    habits = [
        find_habitual_posture(read_track(track, one))
        for one in (settings, replace(settings, asked=((begin, float(time_s[-1])),)))
    ]
    assert habits[0].share_tilt_right > 0.3
    assert habits[1].share_tilt_right == 0


def test_what_is_held_between_movements_is_no_habit() -> None:
    # Six seconds straight, three tilted, over and over: enough steady time for a number, were it left to itself.
    pieces = [part for _ in range(5) for part in (np.zeros(int(6 * RATE_HZ)), np.full(int(3 * RATE_HZ), 30.0))]
    size = np.concatenate([*pieces, np.zeros(int(40 * RATE_HZ))])
    time_s = np.arange(len(size)) / RATE_HZ
    asked = tuple((6.0 + 9.0 * k, 9.0 + 9.0 * k) for k in range(5))
    track = track_of(time_s, size + 0.3 * np.sin(3 * time_s))
    settings = ReadSettings("no", upright_from(0.0, 0.0), asked=asked)
    found = find_habitual_posture(read_track(track, settings))
    assert found.spells
    assert min(time_s[spell.first] for spell in found.spells) >= asked[-1][1] + ASKED_REST_S
    assert found.steady_s > 20
    short = find_habitual_posture(read_track(track_of(time_s[: int(45 * RATE_HZ)], size[: int(45 * RATE_HZ)]), settings))
    assert (short.postures, short.spells) == ((), ())


# --- Coverage. ---


def test_intervals_cover_noise_and_a_rolled_camera() -> None:
    rng = np.random.default_rng(7)
    inside = 0
    for _ in range(40):
        deg = float(rng.uniform(8, 42))
        roll, pitch = rng.normal(0, (1.0, 3.0))
        time_s, size = movement(deg, rate_hz=10.0)
        track = track_of(time_s, size + rng.normal(0, 0.5, len(size)), rng.normal(0, 0.5, len(size)))
        camera = _camera(roll, pitch)
        seen = replace(track, rotation=FACING @ camera @ FACING @ track.rotation, place_cm=track.place_cm @ camera.T)
        read = clean_track(read_track(seen, ReadSettings("no", upright_from(0.0, 0.0))))
        reached = reach_of(read, asked_whole("tilt right", time_s)).reached
        assert reached is not None
        inside += reached.low <= deg <= reached.high
    assert inside >= 36
    assert np.isfinite(posture_angles(track.rotation)).all()


def _camera(roll_deg: float, pitch_deg: float) -> np.ndarray:
    from posture.geometry.angles import camera_matrix

    return camera_matrix(roll_deg, pitch_deg)
