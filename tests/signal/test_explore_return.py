"""Set straight and let go: known returns come back, and too few, too slow or none give a reason."""

import numpy as np
import pytest

from posture.signal.explore import explore
from posture.signal.explore_return import MIN_RETURN_DEG, LetGo, after_release, explore_return
from posture.signal.habitual import find_habitual_posture
from posture.signal.reading import ReadSettings, read_track
from posture.signal.spans import Span
from posture.signal.track import HeadTrack
from tests.proof.explorations import HELD_S, read_of, simulate_releases


def releases(half_s: list[float], end_deg: list[float], watch_s: float = 20.0, noisy: bool = False) -> LetGo:
    rng = np.random.default_rng(6)
    return explore_return(read_of(*simulate_releases(np.array(half_s), np.array(end_deg), rng, watch_s, noisy=noisy)))


def test_known_returns_come_back() -> None:
    halves, ends = [1.0, 1.5, 2.2], [-12.0, -15.0, -13.0]
    found = releases(halves, ends)
    assert [one.half_s for one in found.returns] == pytest.approx(halves, abs=0.1)
    assert [one.end_deg for one in found.returns] == pytest.approx(ends, abs=0.1)
    assert [one.set_deg for one in found.returns] == pytest.approx([0, 0, 0], abs=0.1)
    assert [one.watched_s for one in found.returns] == pytest.approx([20, 20, 20], abs=0.1)
    assert found.refused is None
    assert found.half_refused is None
    assert found.end is not None
    assert found.half is not None
    assert found.end.value == pytest.approx(np.mean(ends), abs=0.1)
    assert found.half.value == pytest.approx(np.exp(np.mean(np.log(halves))), abs=0.1)
    assert found.end.low < min(ends)
    assert found.half.low < found.half.value < found.half.high


def test_wandering_head_is_timed_where_it_stays_beyond_half_way() -> None:
    found = releases([1.5] * 6, [-14.0] * 6, noisy=True)
    assert found.half is not None
    assert found.half.value == pytest.approx(1.5, rel=0.2)


def test_return_to_the_other_side_is_timed_alike() -> None:
    one, other = releases([1.5] * 3, [-14.0] * 3), releases([1.5] * 3, [14.0] * 3)
    assert one.half is not None
    assert other.half is not None
    assert one.half.value == pytest.approx(other.half.value, abs=0.02)


@pytest.mark.parametrize(("n", "how_often"), [(1, "once"), (2, "twice")])
def test_too_few_releases_are_refused(n: int, how_often: str) -> None:
    found = releases([1.0] * n, [-14.0] * n)
    assert (found.end, found.half) == (None, None)
    assert len(found.returns) == n
    assert f"{how_often}; 3 times are needed" in (found.refused or "")


def test_release_that_cannot_be_watched_does_not_count() -> None:
    found = releases([1.0] * 4, [-14.0] * 4, watch_s=6.0)
    assert found.returns == ()
    assert "never; 3 times are needed" in (found.refused or "")


def test_head_that_stays_straight_has_an_end_and_no_time() -> None:
    found = releases([1.0, 1.0, 1.0, 1.0], [-14.0, -13.0, MIN_RETURN_DEG / 2, -14.0])
    assert found.end is not None
    assert found.half is None
    assert "In 1 of 4 releases" in (found.half_refused or "")
    assert [one.returned for one in found.returns] == [True, True, False, True]
    assert found.returns[2].half_s is None


def test_slow_return_is_refused() -> None:
    found = releases([7.0] * 3, [-20.0] * 3)
    assert found.end is not None
    assert found.half is None
    assert "more than about 4 s" in (found.half_refused or "")


def test_moment_of_half_way_that_was_not_seen_has_no_time() -> None:
    track, spans = simulate_releases(np.full(3, 1.5), np.full(3, -14.0), np.random.default_rng(1), noisy=False)
    found = explore_return(read_of(hidden(track, spans, 0.5, 2.5), spans))
    assert [one.half_s for one in found.returns] == [None] * 3
    assert found.end is not None
    assert "half way was seen never" in (found.half_refused or "")


def test_release_seen_too_little_does_not_count() -> None:
    track, spans = simulate_releases(np.full(3, 1.5), np.full(3, -14.0), np.random.default_rng(1), noisy=False)
    assert explore_return(read_of(hidden(track, spans, 8.0, 19.0), spans)).returns == ()


def hidden(track: HeadTrack, spans: tuple[Span, ...], first_s: float, last_s: float) -> HeadTrack:
    """The same with no face in that time after each release."""
    arrays = {name: np.array(getattr(track, name)) for name in ("rotation", "place_cm", "face_height_px", "quality")}
    for _, at in spans:
        gone = (track.time_s > at + first_s) & (track.time_s < at + last_s)
        for array in arrays.values():
            array[gone] = np.nan
    return HeadTrack(track.time_s, **arrays, width_px=1280, height_px=720, focal_px=1000.0)


def test_mirrored_picture_returns_to_the_other_side() -> None:
    track, spans = simulate_releases(np.full(3, 1.5), np.full(3, -14.0), np.random.default_rng(1), noisy=False)
    one, other = (
        explore_return(find_habitual_posture(read_track(track, ReadSettings(m, head_set=spans)))) for m in ("no", "yes")
    )
    assert one.end is not None
    assert other.end is not None
    assert other.end.value == pytest.approx(-one.end.value, abs=1e-6)
    assert [r.half_s for r in other.returns] == pytest.approx([r.half_s for r in one.returns], abs=1e-6)


def test_course_after_a_release_begins_as_set_and_ends_at_the_end() -> None:
    track, spans = simulate_releases(np.full(3, 1.5), np.full(3, -14.0), np.random.default_rng(1), noisy=False)
    found = read_of(track, spans)
    one = explore_return(found).returns[1]
    since, tilt = after_release(found.cleaned, one)
    assert since[0] == pytest.approx(-1, abs=0.1)
    assert since[-1] == pytest.approx(20, abs=0.1)
    assert tilt[0] == pytest.approx(0, abs=0.1)
    assert one.at_s == pytest.approx(2 * HELD_S + 20)


def test_nothing_is_explored_of_a_photograph() -> None:
    track, _ = simulate_releases(np.array([1.0]), np.array([-14.0]), np.random.default_rng(1))
    first = slice(0, 1)
    picture = HeadTrack(
        track.time_s[first], track.rotation[first], track.place_cm[first], np.full(1, 140.0), np.full(1, 0.8), 1280, 720, 1000.0
    )
    assert explore(read_of(picture)) is None


def test_head_that_was_never_set_has_no_return() -> None:
    track, spans = simulate_releases(np.full(3, 1.5), np.full(3, -14.0), np.random.default_rng(1))
    without, marked = explore(read_of(track)), explore(read_of(track, spans))
    assert without is not None
    assert marked is not None
    assert without.let_go is None
    assert marked.let_go is not None
    assert marked.let_go.end is not None
