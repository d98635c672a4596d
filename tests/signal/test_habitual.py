"""What comes of holds that are known: medians, shares, one or two postures, or only a moment."""

from collections.abc import Callable

import numpy as np
import pytest

from posture.signal.habitual import MIN_SPELLS, HabitualPosture, find_habitual_posture
from posture.signal.reading import ReadSettings, ReadTrack, read_track, upright_from
from posture.signal.track import HeadTrack

MakeRead = Callable[..., ReadTrack]
Held = Callable[..., tuple[np.ndarray, np.ndarray]]

HOLDS = [(-14.0, -12.0, -8.0), (-10.0, -9.0, -6.0), (-18.0, -14.0, -9.0), (-13.0, -11.0, -7.0)]


@pytest.fixture
def found(make_read: MakeRead, make_held: Held) -> HabitualPosture:
    """Twelve holds of three seconds, about a tilt of 13.5 to the left."""
    time_s, angles = make_held(HOLDS * 3, hold_s=3.0)
    return find_habitual_posture(make_read(time_s, *(angles + np.random.default_rng(31).normal(0, 0.1, angles.shape)).T))


def test_habitual_posture_is_the_median_of_known_holds(found: HabitualPosture) -> None:
    assert len(found.postures) == 1
    assert found.moment is None
    one = found.postures[0]
    values = [angle.interval.value for angle in (one.tilt, one.turn, one.chin)]
    # Between the two middle ones of four holds of equal length.
    assert np.all(np.array(values) >= np.array([-14.3, -12.3, -8.3]))
    assert np.all(np.array(values) <= np.array([-12.7, -10.7, -6.7]))
    assert found.steady_s == pytest.approx(36, rel=0.1)
    assert one.share == pytest.approx(1)
    for angle in (one.tilt, one.turn, one.chin):
        assert angle.interval.low < angle.interval.value < angle.interval.high
        assert angle.middle_half[0] <= angle.interval.value <= angle.middle_half[1]


def test_longer_holds_count_for_more(make_read: MakeRead, make_held: Held) -> None:
    pieces, start = [], 0.0
    for k in range(5):
        for tilt, hold_s in ((6.0, 5.0), (0.0, 1.0), (-3.0, 1.0)):
            time_s, angles = make_held([(tilt, 3.0 * (k % 2), 0.0)], hold_s=hold_s)
            pieces.append((time_s + start, angles))
            start += hold_s + 0.5
    time_s, angles = (np.concatenate([piece[k] for piece in pieces]) for k in (0, 1))
    found = find_habitual_posture(make_read(time_s, *angles.T))
    assert found.postures[0].tilt.interval.value == pytest.approx(6.0, abs=0.05)


def test_shares_of_steady_time(make_read: MakeRead, make_held: Held) -> None:
    tilts = [10.0, 7.0, 2.0, -2.0, -7.0, 3.0, 0.0, 12.0, 6.0, 1.0]
    time_s, angles = make_held([(t, 0.0, 0.0) for t in tilts], hold_s=3.0)
    found = find_habitual_posture(make_read(time_s, *angles.T))
    assert found.share_tilt_right == pytest.approx(0.4, abs=0.03)
    assert found.share_tilt_left == pytest.approx(0.1, abs=0.03)


def test_two_postures_are_never_averaged(make_read: MakeRead, make_held: Held) -> None:
    time_s, angles = make_held([(15.0, 4.0, 0.0), (-6.0, 0.0, 0.0)] * 6, hold_s=3.0)
    found = find_habitual_posture(make_read(time_s, *angles.T))
    assert [p.tilt.interval.value for p in found.postures] == pytest.approx([15.0, -6.0], abs=0.3)
    assert [p.share for p in found.postures] == pytest.approx([0.5, 0.5], abs=0.02)


def test_reach_is_how_far_the_head_was_seen_to_go(make_read: MakeRead, make_held: Held) -> None:
    time_s, angles = make_held([(0, 30, 0), (0, 0, 0), (-20, 0, 0), (0, 0, 0)] * 2)
    reach = find_habitual_posture(make_read(time_s, *angles.T)).reach
    assert reach is not None
    assert (reach.turn_right_deg, reach.tilt_left_deg) == (pytest.approx(30, abs=0.1), pytest.approx(20, abs=0.1))
    assert (reach.turn_left_deg, reach.tilt_right_deg) == (pytest.approx(0, abs=0.1), pytest.approx(0, abs=0.1))


def test_too_few_spells_give_a_moment(make_read: MakeRead, make_held: Held) -> None:
    time_s, angles = make_held(HOLDS[: MIN_SPELLS - 1], hold_s=10.0)
    found = find_habitual_posture(make_read(time_s, *angles.T))
    assert found.postures == ()
    assert found.moment is not None
    assert found.moment.tilt.value in (pytest.approx(-14, abs=0.2), pytest.approx(-10, abs=0.2), pytest.approx(-18, abs=0.2))


def test_too_little_time_gives_a_moment(make_read: MakeRead, make_held: Held) -> None:
    time_s, angles = make_held(HOLDS, hold_s=1.0)
    found = find_habitual_posture(make_read(time_s, *angles.T))
    assert len(found.spells) == MIN_SPELLS
    assert 0 < found.steady_s < 5
    assert found.postures == ()
    assert found.moment is not None


def test_photograph_is_a_moment(make_read: MakeRead) -> None:
    found = find_habitual_posture(make_read(np.zeros(1), -14.0, -12.0, -8.0))
    assert found.postures == ()
    assert found.spells == ()
    assert found.moment is not None
    assert found.moment.time_s == 0
    read = [found.moment.tilt.value, found.moment.turn.value, found.moment.chin.value]
    assert read == pytest.approx([-14.0, -12.0, -8.0])
    assert found.moment.tilt.low < -14 < found.moment.tilt.high


def test_track_without_a_face_gives_nothing(make_read: MakeRead) -> None:
    found = find_habitual_posture(make_read(np.arange(90) / 15, missing=np.ones(90, bool)))
    assert (found.postures, found.moment, found.reach, found.rhythm) == ((), None, None, None)
    assert found.steady_s == 0
    assert (found.share_tilt_right, found.share_tilt_left) == (0, 0)


def test_unknown_camera_widens_the_interval_and_a_turned_head_more(
    make_track: Callable[..., HeadTrack], make_held: Held
) -> None:
    def half(turn_deg: float, *stated: float) -> float:
        time_s, angles = make_held([(-10.0, turn_deg + v, 0.0) for v in (0, 2, 4, 1, 3, 5)], hold_s=3.0)
        read = read_track(make_track(time_s, *angles.T), ReadSettings("no", upright_from(*stated)))
        interval = find_habitual_posture(read).postures[0].tilt.interval
        return interval.high - interval.value

    assert half(0.0, 0.0, 0.0) < half(0.0)
    assert half(0.0) < half(30.0)
    # Unknown roll of 2.5 degrees and landmarks of 0.8, one standard deviation each, are the least there is.
    assert half(0.0) >= 1.96 * np.hypot(2.5, 0.8) - 0.02


def test_mirrored_reading_swaps_everything(make_track: Callable[..., HeadTrack], make_held: Held) -> None:
    time_s, angles = make_held(HOLDS * 3)
    track = make_track(time_s, *angles.T)
    no, yes = (find_habitual_posture(read_track(track, ReadSettings(m))) for m in ("no", "yes"))
    a, b = no.postures[0], yes.postures[0]
    assert b.tilt.interval.value == pytest.approx(-a.tilt.interval.value, abs=0.3)
    assert b.chin.interval.value == pytest.approx(a.chin.interval.value)
    assert (yes.share_tilt_right, yes.share_tilt_left) == (no.share_tilt_left, no.share_tilt_right)
    assert yes.reach is not None
    assert no.reach is not None
    assert yes.reach.tilt_right_deg == pytest.approx(no.reach.tilt_left_deg, abs=0.01)


def test_same_track_gives_the_same_result(make_read: MakeRead, make_held: Held) -> None:
    time_s, angles = make_held(HOLDS * 3)
    read = make_read(time_s, *angles.T)
    first, second = find_habitual_posture(read), find_habitual_posture(read)
    assert first.postures == second.postures
    assert (first.spells, first.reach, first.steady_s) == (second.spells, second.reach, second.steady_s)
