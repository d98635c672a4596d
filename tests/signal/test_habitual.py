"""What comes of holds that are known: medians, shares, one or two postures or a moment; target, shoulders, face lines."""

from collections.abc import Callable
from dataclasses import fields, replace

import numpy as np
import pytest

from posture.geometry.angles import FACING, camera_matrix, posture_angles
from posture.geometry.trunk import HEAD_FOLLOW
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


HOLD_S, MOVE_S = 3.0, 0.5


def span_of(first: int, last: int | None = None) -> tuple[float, float]:
    """Times of one or several of the holds that `make_held` puts one after the other, moves left out."""
    step_s = HOLD_S + 8 / 15  # Eight frames of moving.
    return first * step_s, (first if last is None else last) * step_s + HOLD_S


AWAY, LOOKING = [(-10.0, 2.0, -6.0), (-12.0, 3.0, -5.0), (-11.0, 1.0, -7.0)], (-13.0, 6.0, -2.0)
"""Three holds with the eyes elsewhere, and the one after them on the target; far too alike for two postures."""
LOOKS = tuple(span_of(k) for k in (3, 7, 11))


def read_with(
    make_track: Callable[..., HeadTrack], time_s: np.ndarray, angles: np.ndarray, **settings: object
) -> HabitualPosture:
    """What comes of a track read as not mirrored, with further settings."""
    read_settings = ReadSettings(**({"mirrored": "no"} | settings))  # type: ignore[arg-type]
    return find_habitual_posture(read_track(make_track(time_s, *angles.T), read_settings))


def medians(found: HabitualPosture) -> list[float]:
    """Habitual tilt, turn and chin."""
    (one,) = found.postures
    return [angle.interval.value for angle in (one.tilt, one.turn, one.chin)]


@pytest.fixture
def film(make_held: Held) -> tuple[np.ndarray, np.ndarray]:
    """Twelve holds of three seconds, every fourth of them on the target."""
    return make_held([*AWAY, LOOKING] * 3, hold_s=HOLD_S, move_s=MOVE_S)


def test_span_of_a_hold_is_where_it_is(film: tuple[np.ndarray, np.ndarray]) -> None:
    time_s, angles = film
    for first, last in LOOKS:
        inside = angles[(time_s > first) & (time_s < last - 0.1)]
        assert inside == pytest.approx(np.tile(LOOKING, (len(inside), 1)))
        assert len(inside) > 40


def test_without_marks_there_is_no_time_on_the_target(make_track: Callable[..., HeadTrack], film) -> None:
    found = read_with(make_track, *film)
    assert found.target_s is None
    assert found.from_target is False


def test_turn_and_chin_are_of_the_target_and_tilt_is_of_all(make_track: Callable[..., HeadTrack], film) -> None:
    plain, marked = (read_with(make_track, *film, on_target=spans) for spans in (None, LOOKS))
    assert marked.from_target is True
    assert marked.target_s == pytest.approx(9.0, abs=0.9)
    assert marked.steady_s == pytest.approx(plain.steady_s)
    assert marked.spells == plain.spells
    tilt, turn, chin = medians(marked)
    assert [turn, chin] == pytest.approx(LOOKING[1:], abs=0.1)
    # Tilt is what it was, to the last digit, with its interval and its middle half.
    assert marked.postures[0].tilt == plain.postures[0].tilt
    assert tilt == pytest.approx(-11.0, abs=1.1)
    assert medians(plain)[1:] == pytest.approx([2.5, -5.5], abs=0.7)
    assert marked.postures[0].share == pytest.approx(1)
    for angle in (marked.postures[0].turn, marked.postures[0].chin):
        assert angle.middle_half[0] <= angle.interval.value <= angle.middle_half[1]
        assert angle.interval.low < angle.interval.value < angle.interval.high
    # Shares and reach are of all the time, too.
    assert (marked.share_tilt_left, marked.reach) == (plain.share_tilt_left, plain.reach)


@pytest.mark.parametrize(
    ("spans", "target_s"),
    [
        pytest.param((), 0.0, id="marks with nothing inside"),
        pytest.param(((200.0, 300.0),), 0.0, id="marks after the end"),
        pytest.param((span_of(3),), 3.0, id="one spell of three seconds"),
        pytest.param(tuple((first, first + 2.0) for first, _ in LOOKS[:2]), 4.0, id="two spells, too short"),
    ],
)
def test_too_little_on_the_target_is_told_and_changes_nothing(
    make_track: Callable[..., HeadTrack], film, spans: tuple[tuple[float, float], ...], target_s: float
) -> None:
    plain, marked = (read_with(make_track, *film, on_target=marks) for marks in (None, spans))
    assert marked.from_target is False
    assert marked.target_s == pytest.approx(target_s, abs=0.25)
    assert marked.postures == plain.postures


def test_one_long_spell_on_the_target_is_too_few(make_track: Callable[..., HeadTrack], make_held: Held) -> None:
    time_s, angles = make_held([*AWAY, LOOKING, *AWAY], hold_s=10.0)
    at = time_s[(angles == LOOKING).all(1)]
    found = read_with(make_track, time_s, angles, on_target=((at[0], at[-1]),))
    assert found.target_s is not None
    assert found.target_s > 9
    assert found.from_target is False
    # Cut into two marks it is still one spell.
    halves = ((at[0], at[0] + 4.5), (at[0] + 5.0, at[-1]))
    assert read_with(make_track, time_s, angles, on_target=halves).from_target is False


def test_two_postures_take_nothing_from_the_target(make_track: Callable[..., HeadTrack], make_held: Held) -> None:
    time_s, angles = make_held([(15.0, 4.0, 0.0), (-6.0, 0.0, 0.0)] * 6, hold_s=HOLD_S)
    plain, marked = (read_with(make_track, time_s, angles, on_target=spans) for spans in (None, ((0.0, 30.0),)))
    assert len(marked.postures) == 2
    assert marked.from_target is False
    assert marked.target_s is not None
    assert marked.target_s > 20
    assert marked.postures == plain.postures


def test_what_an_examiner_set_is_not_held(make_track: Callable[..., HeadTrack], make_held: Held) -> None:
    """Twelve seconds straight at the end would be a quarter of the time, and would draw tilt, turn and every share."""
    time_s, angles = make_held(HOLDS * 3, hold_s=HOLD_S)
    n = len(time_s)
    longer_s = np.concatenate([time_s, np.arange(n, n + 180) / 15])
    with_setting = np.concatenate([angles, np.tile([[0.0, 0.0, 4.0]], (180, 1))])
    set_at = (longer_s[n], longer_s[-1])
    alone = read_with(make_track, time_s, angles)
    marked = read_with(make_track, longer_s, with_setting, head_set=(set_at,))
    forgotten = read_with(make_track, longer_s, with_setting)
    assert all(longer_s[s.last] < set_at[0] or longer_s[s.first] > set_at[1] for s in marked.spells)
    assert forgotten.steady_s > marked.steady_s + 9
    assert marked.steady_s == pytest.approx(alone.steady_s, abs=0.3)
    assert marked.share_tilt_left > forgotten.share_tilt_left + 0.15
    # The same head, and its chin is counted from where the examiner had it.
    before, after = medians(alone), medians(marked)
    assert after[:2] == pytest.approx(before[:2], abs=0.2)
    assert marked.read.chin_zero is not None
    assert marked.read.chin_zero.value_deg == pytest.approx(4.0)
    assert after[2] == pytest.approx(before[2] - 4.0, abs=0.2)


def test_chin_zero_of_several_settings_is_surer(make_track: Callable[..., HeadTrack], make_held: Held) -> None:
    """One setting is as good as none was, 4.5 degrees; three are better by the root of 3."""
    time_s, angles = make_held([*HOLDS[:3], (0.0, 0.0, 4.0)] * 3, hold_s=HOLD_S)
    settings = tuple(span_of(k) for k in (3, 7, 11))
    once, thrice = (read_with(make_track, time_s, angles, head_set=spans) for spans in (settings[:1], settings))
    zeros = [found.read.chin_zero for found in (once, thrice)]
    assert [zero and (zero.settings, zero.sd_deg) for zero in zeros] == [
        (1, pytest.approx(4.5)), (3, pytest.approx(4.5 / 3**0.5))
    ]  # fmt: skip
    halves = [f.postures[0].chin.interval.high - medians(f)[2] for f in (once, thrice)]
    assert halves[0] - halves[1] > 1.5


CAMERA_MIDDLE_PX = np.array([(1280 - 1) / 2, (720 - 1) / 2])


def sitting(
    track: HeadTrack,
    lean_deg: float = 0.0,
    shift_cm: float = 0.0,
    half_width_cm: float = 16.0,
    arm: float = 0.0,
    roll_deg: float = 0.0,
    pitch_deg: float = 0.0,
) -> HeadTrack:
    """The head of a track in the level frame with shoulders 18 cm under it, filmed by a camera that stands so.

    Shoulders face the camera; their middle lies shift_cm to the person's left of the head. Looked at in every seventh frame.
    """
    n = len(track.time_s)
    along = np.array([np.cos(np.radians(lean_deg)), np.sin(np.radians(lean_deg)), 0.0])
    # The person's right shoulder is to the left in the picture; a lean to the right has it lower, and y is down.
    ends = [track.place_cm + [shift_cm, 18.0, 0.0] + side * half_width_cm * along * [1, -1, 1] for side in (-1, 1)]
    to_camera = camera_matrix(roll_deg, pitch_deg)
    seen = np.stack(ends, 1) @ to_camera.T
    points = seen[..., :2] / seen[..., 2:] * track.focal_px + CAMERA_MIDDLE_PX
    raised, depth = np.full(n, arm), HEAD_FOLLOW * posture_angles(track.rotation)[1]
    unlooked = np.arange(n) % 7 != 0
    for array in (points, raised, depth):
        array[unlooked] = np.nan
    return replace(
        track,
        rotation=FACING @ to_camera @ FACING @ track.rotation,
        place_cm=track.place_cm @ to_camera.T,
        shoulders_px=points,
        shoulders_turn_deg=depth,
        arm_raised=raised,
    )


Leaning = Callable[..., HeadTrack]


@pytest.fixture
def leaning(make_track: Callable[..., HeadTrack], make_held: Held) -> Leaning:
    """Somebody with the head held about 12 to the left, above shoulders; turned by as much as asked."""

    def make(turn_deg: float = 0.0, tilt_deg: float = -12.0, **how: float) -> HeadTrack:
        time_s, angles = make_held(
            [(tilt_deg + a, turn_deg + b, 0.0) for a, b in ((0, 0), (2, 1), (-2, -1), (1, 0))] * 3, hold_s=HOLD_S
        )
        return sitting(make_track(time_s, *angles.T, place_cm=(0.0, -9.0, 80.0)), **how)

    return make


def found_of(track: HeadTrack, mirrored: str = "no", *stated: float | None) -> HabitualPosture:
    """What a track comes to, the camera as filmed or as stated."""
    return find_habitual_posture(read_track(track, ReadSettings(mirrored, upright_from(*stated))))  # type: ignore[arg-type]


@pytest.mark.parametrize("lean_deg", [-8.0, 0.0, 6.0])
def test_tilt_on_the_shoulder_line_is_tilt_less_lean(leaning: Leaning, lean_deg: float) -> None:
    found = found_of(leaning(lean_deg=lean_deg))
    against = found.tilt_on_trunk
    assert against is not None
    assert np.nanmedian(found.read.trunk.tilt_deg) == pytest.approx(lean_deg, abs=0.15)
    assert against.value == pytest.approx(medians(found)[0] - lean_deg, abs=0.15)
    assert against.low < against.value < against.high
    # The published part of the shoulders alone is 2.4 degrees or more.
    assert against.high - against.value >= 1.96 * 2.4 - 0.02


@pytest.mark.parametrize("roll_deg", [-9.0, 7.0])
def test_roll_of_the_camera_cancels_out_on_the_shoulder_line(leaning: Leaning, roll_deg: float) -> None:
    level, rolled = found_of(leaning(lean_deg=-5.0)), found_of(leaning(lean_deg=-5.0, roll_deg=roll_deg))
    assert level.tilt_on_trunk is not None
    assert rolled.tilt_on_trunk is not None
    assert medians(rolled)[0] - medians(level)[0] == pytest.approx(roll_deg, abs=0.1)
    assert rolled.tilt_on_trunk.value == pytest.approx(level.tilt_on_trunk.value, abs=0.1)
    # So that knowing it makes tilt surer and this no surer.
    stated, unstated = (found_of(leaning(lean_deg=-5.0), "no", known, 0.0) for known in (0.0, None))
    assert stated.tilt_on_trunk is not None
    assert unstated.tilt_on_trunk is not None
    halves = [
        [f.postures[0].tilt.interval.high - medians(f)[0], f.tilt_on_trunk.high - f.tilt_on_trunk.value]
        for f in (stated, unstated)
    ]  # type: ignore[union-attr]
    assert halves[0][0] < halves[1][0] - 1
    assert halves[0][1] == pytest.approx(halves[1][1])


@pytest.mark.parametrize("pitch_deg", [-12.0, 12.0])
def test_pitch_that_is_not_known_stays_in_the_tilt_of_a_turned_head(leaning: Leaning, pitch_deg: float) -> None:
    """Shoulders that face the camera keep their line while the tilt of a turned head changes by 6: the interval holds it."""
    true = found_of(leaning(30.0)).tilt_on_trunk
    pitched = found_of(leaning(30.0, pitch_deg=pitch_deg))
    against = pitched.tilt_on_trunk
    assert true is not None
    assert against is not None
    assert abs(against.value - true.value) > 4
    assert against.low < true.value < against.high
    known = found_of(leaning(30.0, pitch_deg=pitch_deg), "no", 0.0, pitch_deg).tilt_on_trunk
    assert known is not None
    assert known.value == pytest.approx(true.value, abs=0.5)
    assert known.high - known.low < against.high - against.low - 2


def test_mirrored_picture_negates_what_is_read_of_the_shoulders(leaning: Leaning) -> None:
    no, yes, unknown = (found_of(leaning(lean_deg=-5.0, shift_cm=4.0), m) for m in ("no", "yes", "unknown"))
    for a, b, same in (
        (no.tilt_on_trunk, yes.tilt_on_trunk, unknown.tilt_on_trunk),
        (no.head_shift, yes.head_shift, unknown.head_shift),
    ):
        assert a is not None
        assert b is not None
        assert same is not None
        # A weighted median takes the lower of two middle values, which a mirror image exchanges.
        assert b.value == pytest.approx(-a.value, abs=0.3)
        assert [b.high, b.low] == pytest.approx([-a.low, -a.high], abs=0.3)
        assert same.value == pytest.approx(a.value)
    assert yes.read.trunk.tilt_deg == pytest.approx(-no.read.trunk.tilt_deg, nan_ok=True)


@pytest.mark.parametrize(
    ("how", "reason"),
    [({"arm": 1.0}, "arm raised"), ({"half_width_cm": 9.0}, "proportions")],
    ids=["an arm raised", "shoulders of a baby"],
)
def test_shoulders_that_are_refused_give_nothing_and_say_why(leaning: Leaning, how: dict[str, float], reason: str) -> None:
    found = found_of(leaning(**how))
    assert len(found.postures) == 1
    assert found.tilt_on_trunk is None
    assert found.head_shift is None
    assert found.read.trunk.refused[reason] == 1.0
    # The tilt itself needs no shoulders.
    assert medians(found)[0] == pytest.approx(-12.0, abs=1.1)


def test_shoulders_seen_in_too_few_spells_give_nothing(leaning: Leaning) -> None:
    whole = leaning()
    early = whole.time_s < span_of(2)[1]
    for name in ("shoulders_px", "shoulders_turn_deg", "arm_raised"):
        array = getattr(whole, name).copy()
        array[~early] = np.nan
        whole = replace(whole, **{name: array})
    found = found_of(whole)
    assert np.isfinite(found.read.trunk.tilt_deg).sum() > 60
    assert found.tilt_on_trunk is None
    assert found.head_shift is None


@pytest.mark.parametrize("shift_cm", [-5.0, 0.0, 4.0])
def test_head_shift_is_a_share_of_the_shoulder_width(leaning: Leaning, shift_cm: float) -> None:
    """Shoulders 32 cm wide whose middle is 4 cm to the person's left leave an upright head shifted 4 / 32 to the right."""
    shift = found_of(leaning(tilt_deg=0.0, shift_cm=shift_cm)).head_shift
    assert shift is not None
    assert shift.value == pytest.approx(shift_cm / 32.0, abs=0.012)
    assert shift.high - shift.value >= 1.96 * 0.05 - 1e-3
    assert shift.value - shift.low >= 1.96 * 0.05 - 1e-3


LEVEL_HOLDS = [(-14.0, 2.0, 0.0), (-10.0, 4.0, 0.0), (-18.0, 0.0, 0.0), (-13.0, 3.0, 0.0)]


@pytest.fixture
def uneven(make_track: Callable[..., HeadTrack], make_held: Held) -> Callable[[float, float], HeadTrack]:
    """A level chin, so that the slope of a line in the face is a tilt, degree by degree."""

    def make(eye_deg: float, midface_deg: float) -> HeadTrack:
        time_s, angles = make_held(LEVEL_HOLDS * 3, hold_s=HOLD_S)
        track = make_track(time_s, *angles.T)
        return replace(track, eye_line_deg=np.full(len(time_s), eye_deg), midface_line_deg=np.full(len(time_s), midface_deg))

    return make


@pytest.mark.parametrize(("eye_deg", "midface_deg"), [(1.0, 5.0), (-2.0, -3.0), (0.0, 0.0), (2.0, -4.0)])
def test_two_lines_of_a_face_have_a_tilt_each(uneven: Callable[..., HeadTrack], eye_deg: float, midface_deg: float) -> None:
    found = found_of(uneven(eye_deg, midface_deg))
    lines, tilt = found.lines, found.postures[0].tilt.interval
    assert lines is not None
    assert lines.eyes.value == pytest.approx(tilt.value + eye_deg, abs=0.02)
    assert lines.midface.value == pytest.approx(tilt.value + midface_deg, abs=0.02)
    assert lines.difference.value == pytest.approx(midface_deg - eye_deg)
    # In quadrature on top of what the tilt itself is not known by; the difference has its own alone.
    squares = [(line.high - line.value) ** 2 for line in (lines.eyes, lines.midface, tilt)]
    assert squares[0] - squares[2] == pytest.approx((1.959964 * 1.0) ** 2, abs=0.05)
    assert squares[1] - squares[2] == pytest.approx((1.959964 * 1.6) ** 2, abs=0.05)
    assert lines.difference.high - lines.difference.value == pytest.approx(1.959964 * 2.1)


def test_lines_of_a_mirrored_picture_are_negated(uneven: Callable[..., HeadTrack]) -> None:
    no, yes = (found_of(uneven(1.0, 5.0), mirrored).lines for mirrored in ("no", "yes"))
    assert no is not None
    assert yes is not None
    for a, b in ((no.eyes, yes.eyes), (no.midface, yes.midface), (no.difference, yes.difference)):
        assert b.value == pytest.approx(-a.value, abs=0.3)
        assert b.high - b.low == pytest.approx(a.high - a.low, abs=0.3)


def test_lines_not_looked_at_are_not_given(uneven: Callable[..., HeadTrack]) -> None:
    assert found_of(uneven(1.0, np.nan)).lines is None


def test_two_postures_have_no_trunk_no_shift_and_no_lines(make_track: Callable[..., HeadTrack], make_held: Held) -> None:
    time_s, angles = make_held([(15.0, 4.0, 0.0), (-6.0, 0.0, 0.0)] * 6, hold_s=HOLD_S)
    track = sitting(make_track(time_s, *angles.T, place_cm=(0.0, -9.0, 80.0)))
    n = len(time_s)
    found = found_of(replace(track, eye_line_deg=np.zeros(n), midface_line_deg=np.full(n, 5.0)))
    assert len(found.postures) == 2
    assert np.isfinite(found.read.trunk.tilt_deg).any()
    assert (found.tilt_on_trunk, found.head_shift, found.lines) == (None, None, None)


def test_moment_has_no_trunk_and_no_lines(leaning: Leaning) -> None:
    whole = leaning()
    few = whole.time_s <= span_of(1)[1]
    cut = {f.name: getattr(whole, f.name)[few] for f in fields(whole) if isinstance(getattr(whole, f.name), np.ndarray)}
    found = found_of(replace(whole, **cut))
    assert found.moment is not None
    assert (found.tilt_on_trunk, found.head_shift, found.lines) == (None, None, None)
