"""Known holds are found with their times."""

import itertools
from collections.abc import Callable

import numpy as np
import pytest

from posture.signal.clean import clean_track
from posture.signal.reading import ReadTrack
from posture.signal.steady import MAX_DRIFT_DEG, Spell, angular_speed_deg_s, find_spells, frame_seconds, steady_mask

MakeRead = Callable[..., ReadTrack]
Held = Callable[..., tuple[np.ndarray, np.ndarray]]


@pytest.mark.parametrize("rate_hz", [10.0, 15.0, 30.0])
def test_known_holds_are_found(make_read: MakeRead, make_held: Held, rate_hz: float) -> None:
    postures = [(0.0, 0.0, 0.0), (-14.0, 5.0, 0.0), (-14.0, -15.0, 5.0), (6.0, -15.0, 5.0)]
    # Whole frames at each of the rates; a hold begins with its first frame and ends with its last.
    time_s, angles = make_held(postures, hold_s=2.4, move_s=0.6, rate_hz=rate_hz)
    angles = angles + np.random.default_rng(21).normal(0, 0.2, angles.shape)
    read = clean_track(make_read(time_s, *angles.T))
    spells = find_spells(read)
    assert len(spells) == 4
    for k, spell in enumerate(spells):
        assert time_s[spell.first] == pytest.approx(3.0 * k, abs=0.2)
        assert time_s[spell.last] == pytest.approx(3.0 * k + 2.4 - 1 / rate_hz, abs=0.2)
        assert spell.seconds == pytest.approx(2.4, abs=0.35)
        middle = np.median(read.angles_deg[spell.first : spell.last + 1], axis=0)
        assert middle == pytest.approx(postures[k], abs=0.3)


def test_pause_shorter_than_a_spell_is_none(make_read: MakeRead, make_held: Held) -> None:
    time_s, angles = make_held([(0, 0, 0), (0, 20, 0), (0, 0, 0)], hold_s=0.4, move_s=0.4, rate_hz=30.0)
    assert find_spells(clean_track(make_read(time_s, *angles.T))) == []


def test_slow_turning_is_cut_into_short_holds(make_read: MakeRead) -> None:
    time_s = np.arange(0, 10, 1 / 15)
    read = make_read(time_s, turn_deg=3 * time_s)
    spells = find_spells(read)
    assert len(spells) >= 6
    for spell in spells:
        assert np.ptp(read.angles_deg[spell.first : spell.last + 1, 1]) <= MAX_DRIFT_DEG + 1e-6


def test_steady_turning_has_its_speed(make_read: MakeRead) -> None:
    time_s = np.cumsum(np.random.default_rng(22).uniform(0.5, 1.5, 150) / 15)
    assert angular_speed_deg_s(make_read(time_s, turn_deg=20 * time_s)) == pytest.approx(np.full(150, 20.0))


def test_spells_end_where_the_face_is_lost(make_read: MakeRead) -> None:
    time_s = np.arange(90) / 15
    missing = (np.arange(90) >= 40) & (np.arange(90) < 50)
    spells = find_spells(clean_track(make_read(time_s, 5.0, missing=missing)))
    assert [(s.first, s.last) for s in spells] == [(0, 39), (50, 89)]


def test_frames_stand_for_half_the_way_to_their_neighbours() -> None:
    assert frame_seconds(np.array([0.0, 0.1, 0.3, 0.4])) == pytest.approx([0.1, 0.15, 0.15, 0.1])
    assert frame_seconds(np.array([0.0, 5.0])).max() <= 0.5
    assert frame_seconds(np.zeros(1)).tolist() == [0.0]
    assert frame_seconds(np.zeros(0)).tolist() == []


def test_spells_do_not_overlap_and_their_mask_counts_them(make_read: MakeRead, make_held: Held) -> None:
    time_s, angles = make_held([(0, 0, 0), (10, 0, 0)] * 4)
    spells = find_spells(clean_track(make_read(time_s, *angles.T)))
    assert all(a.last < b.first for a, b in itertools.pairwise(spells))
    assert steady_mask(len(time_s), spells).sum() == sum(s.last - s.first + 1 for s in spells)
    assert steady_mask(5, [Spell(1, 2, 0.1)]).tolist() == [False, True, True, False, False]


@pytest.mark.parametrize("n", [0, 1, 2])
def test_short_tracks_have_no_spell(make_read: MakeRead, n: int) -> None:
    assert find_spells(make_read(np.arange(n) / 15)) == []
