"""The slope of tilt on trunk lean: known slopes come back, errors of reading are allowed for, and too little gives a reason."""

from dataclasses import replace

import numpy as np
import pytest

from posture.signal.explore_trunk import (
    HEAD_SHARES,
    LEAN_SDS_DEG,
    MIN_LEAN_SD_DEG,
    MIN_SPELLS,
    READ_SHARE,
    TrunkSlope,
    explore_trunk,
    find_slope,
)
from posture.signal.habitual import HabitualPosture, find_habitual_posture
from posture.signal.interval import Interval
from posture.signal.reading import ReadSettings, read_track
from posture.signal.track import HeadTrack
from tests.proof.explorations import read_of, simulate_play


def play(slope: float, seed: int = 8, **how: float) -> HeadTrack:
    return simulate_play(slope, np.random.default_rng(seed), **how)  # type: ignore[arg-type]


@pytest.mark.parametrize("slope", [-0.3, 0.0, 0.5, 1.0])
def test_known_slope_comes_back(slope: float) -> None:
    found = explore_trunk(read_of(play(slope, spells=30, lean_sd_deg=10.0, noisy=False)))
    assert found.refused is None
    assert found.slope is not None
    # The shoulder line was read without error here, and one is taken out all the same: less than a tenth of the slope.
    assert found.slope.value == pytest.approx(slope, abs=0.1)
    assert found.slope.low <= slope <= found.slope.high
    assert len(found.lean_deg) == len(found.tilt_deg) == 30


def test_errors_of_reading_are_made_up_for() -> None:
    """The ordinary slope is drawn towards 0 by an error in the lean; this one is not."""
    rng = np.random.default_rng(12)
    lean = rng.normal(0, 4, 4000)
    tilt = lean + rng.normal(0, 1, 4000)
    read = READ_SHARE * lean + HEAD_SHARES[1] * tilt + rng.normal(0, LEAN_SDS_DEG[1], 4000)
    plain = np.polyfit((read - HEAD_SHARES[1] * tilt) / READ_SHARE, tilt, 1)[0]
    found = find_slope(read[:400], tilt[:400])
    assert plain < 0.87
    assert found is not None
    assert found.value == pytest.approx(1.0, abs=0.08)
    assert found.low < 1.0 < found.high


def test_mirror_image_has_the_same_slope() -> None:
    track = play(0.8, spells=20, lean_sd_deg=8.0)
    upright = read_of(track).read.settings.upright
    as_filmed, mirrored = (
        explore_trunk(find_habitual_posture(read_track(track, ReadSettings(m, upright)))).slope for m in ("no", "yes")
    )
    assert as_filmed is not None
    assert mirrored is not None
    assert vars(mirrored) == pytest.approx(vars(as_filmed), abs=1e-6)


def test_roll_of_a_camera_that_stands_still_moves_nothing() -> None:
    rng = np.random.default_rng(3)
    read, tilt = rng.normal(0, 6, 20), rng.normal(0, 3, 20)
    level, rolled = find_slope(read, tilt), find_slope(read + 7, tilt + 7)
    assert level is not None
    assert rolled is not None
    assert vars(rolled) == pytest.approx(vars(level), abs=1e-9)


def test_too_few_spells_are_refused() -> None:
    found = explore_trunk(read_of(play(1.0, spells=MIN_SPELLS - 1, lean_sd_deg=10.0)))
    assert found.slope is None
    assert (
        found.refused
        == f"The shoulders are known in {MIN_SPELLS - 1} steady spells; {MIN_SPELLS} are needed. Film them too, and for longer."
    )


def test_shoulders_that_were_not_seen_are_refused() -> None:
    track = play(1.0, lean_sd_deg=10.0)
    found = explore_trunk(read_of(replace(track, arm_raised=np.full(len(track.time_s), np.nan))))
    assert found.slope is None
    assert found.lean_sd_deg is None
    assert "known in 0 steady spells" in (found.refused or "")


def test_trunk_that_hardly_leans_is_refused() -> None:
    found = explore_trunk(read_of(play(1.0, lean_sd_deg=1.0)))
    assert found.slope is None
    assert found.lean_sd_deg is not None
    assert found.lean_sd_deg < MIN_LEAN_SD_DEG
    assert "trunk hardly leaned" in (found.refused or "")


def test_camera_that_moves_is_refused() -> None:
    """Head and trunk tilt together when the camera rolls, which is no leaning."""
    track = play(0.0, lean_sd_deg=10.0)
    n = len(track.time_s)
    sway = 4 * np.sin(track.time_s / 5)
    known = np.full(n, 0.5)
    shaken = replace(
        track, camera_roll_deg=sway, camera_pitch_deg=np.zeros(n), camera_roll_sd_deg=known, camera_pitch_sd_deg=known
    )
    found = explore_trunk(read_of(shaken))
    assert found.slope is None
    assert "camera moved" in (found.refused or "")


def test_lean_that_is_no_more_than_its_error_has_no_slope() -> None:
    rng = np.random.default_rng(2)
    assert find_slope(rng.normal(0, 1.0, 20), rng.normal(0, 3, 20)) is None


@pytest.mark.parametrize(
    ("low", "high", "expected"), [(-0.2, 0.4, "gravity"), (0.6, 1.3, "body"), (0.3, 0.8, None), (-0.1, 1.2, None)]
)
def test_word_is_given_only_where_the_interval_is_clear(low: float, high: float, expected: str | None) -> None:
    found = TrunkSlope(Interval((low + high) / 2, low, high), np.zeros(0), np.zeros(0), 5.0, None)
    assert found.goes_with == expected


def test_no_slope_has_no_word() -> None:
    assert TrunkSlope(None, np.zeros(0), np.zeros(0), None, "why").goes_with is None


def test_times_in_which_the_head_was_set_count_for_nothing() -> None:
    track = play(1.0, spells=20, lean_sd_deg=10.0)
    half = float(track.time_s[-1]) / 2
    found: HabitualPosture = read_of(track, ((0.0, half),))
    assert len(explore_trunk(found).lean_deg) == pytest.approx(10, abs=1)
