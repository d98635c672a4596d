"""People who pass each other stay apart; and what judges it can tell when they do not."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from posture.geometry.angles import line_of_sight, posture_matrix
from posture.signal.track import HeadTrack
from tests.proof import people
from tests.proof.material import HEADS_MISSING, heads_present

WIDTH_PX, RATE_HZ = 640, 10.0
needs_heads = pytest.mark.skipif(not heads_present(), reason=HEADS_MISSING)

LEAST_FOUND = 0.9
MOST_HABIT_OFF_DEG = 1.5


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where clips are drawn once for all tests here."""
    return tmp_path_factory.mktemp("people")


@pytest.mark.slow
@needs_heads
@pytest.mark.parametrize("name", ["cross_opposite", "cross_same"])
def test_two_who_pass_each_other_are_not_exchanged(name: str, folder: Path) -> None:
    result = people.judge_clip(people.make_clip(name, folder, WIDTH_PX, RATE_HZ), WIDTH_PX)
    assert [person.name for person in result.persons] == ["front", "behind"]
    assert result.strays == 0
    assert result.still == 0
    for person in result.persons:
        assert person.rows > 100
        assert person.swaps == 0, person
        assert person.parts == 1, person
        assert person.by_one >= LEAST_FOUND, person
        assert abs(person.habit_off_deg) < MOST_HABIT_OFF_DEG, person
    assert len({person.number for person in result.persons}) == 2


@pytest.mark.slow
@needs_heads
def test_truth_knows_who_is_hidden_and_for_how_long(folder: Path) -> None:
    truth = people.read_truth(people.make_clip("cross_opposite", folder, WIDTH_PX, RATE_HZ))
    assert truth["front"].visible.min() > 0.97
    hidden = truth["behind"].visible < 0.5
    assert truth["behind"].visible.min() < 0.1
    # Passed twice, each time for about half a second.
    starts = np.flatnonzero(np.diff(hidden.astype(int)) == 1)
    assert len(starts) == 2
    assert 0.3 < hidden.sum() / RATE_HZ / 2 < 0.9
    left, _, right, _ = truth["front"].box_px.T
    assert (right - left).min() > 40
    assert np.median(truth["front"].angles_deg[:, 0]) == pytest.approx(12, abs=3)
    assert np.median(truth["behind"].angles_deg[:, 0]) == pytest.approx(-12, abs=3)


TIME_S = np.arange(100) / 10
TILTS = {"left": 10.0, "right": -8.0}
AT_PX = {"left": 300.0, "right": 900.0}


def _truth(name: str) -> people.Truth:
    """Somebody who keeps still for ten seconds."""
    x = AT_PX[name]
    box = np.tile([x - 50, 300.0, x + 50, 420.0], (len(TIME_S), 1))
    return people.Truth(TIME_S, np.tile([TILTS[name], 0, 0], (len(TIME_S), 1)), np.ones(len(TIME_S)), box)


def _track(names: list[str], missing: slice = slice(0, 0)) -> HeadTrack:
    """What a program would keep that shows these people, one after the other, for equal times."""
    shown = np.repeat(names, len(TIME_S) // len(names))
    x_px = np.array([AT_PX[name] for name in shown])
    place = np.stack([(x_px - 639.5) / 1000, np.full(len(x_px), 0.0005), np.ones(len(x_px))], 1) * 100
    rotation = posture_matrix([TILTS[name] for name in shown], line_of_sight(place)[0], 0.0)
    height = np.full(len(x_px), 120.0)
    quality = np.full(len(x_px), 0.8)
    for array in (place, rotation, height, quality):
        array[missing] = np.nan
    return HeadTrack(TIME_S, rotation, place, height, quality, 1280, 720, 1000.0)


@dataclasses.dataclass(frozen=True)
class _Person:
    track: HeadTrack
    is_still: bool = False


@dataclasses.dataclass(frozen=True)
class _Seen:
    persons: tuple[_Person, ...]


def _judge(monkeypatch: pytest.MonkeyPatch, *tracks: HeadTrack) -> people.ClipResult:
    """The judgement of a program that kept these tracks."""
    monkeypatch.setattr(people, "see_clip", lambda *given, **named: _Seen(tuple(_Person(track) for track in tracks)))
    monkeypatch.setattr(people, "read_truth", lambda clip: {name: _truth(name) for name in TILTS})
    return people.judge_clip(Path("none.mp4"))


def test_people_kept_apart_are_judged_so(monkeypatch: pytest.MonkeyPatch) -> None:
    result = _judge(monkeypatch, _track(["right"]), _track(["left"], slice(0, 25)))
    left, right = result.persons
    assert (left.number, right.number) == (2, 1)
    assert (left.rows, left.found, left.by_one, left.swaps, left.parts) == (100, 0.75, 0.75, 0, 1)
    assert (right.found, right.swaps, right.parts) == (1.0, 0, 1)
    assert left.tilt_error_deg == pytest.approx(0, abs=1e-6)
    assert right.habit_off_deg == pytest.approx(0, abs=1e-6)


def test_people_exchanged_are_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    result = _judge(monkeypatch, _track(["left"] * 3 + ["right"] * 2), _track(["right"] * 3 + ["left"] * 2))
    for person in result.persons:
        assert person.found == 1
        assert person.by_one == pytest.approx(0.6)
        assert person.swaps == 40


def test_a_person_in_pieces_and_one_never_seen_are_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    result = _judge(monkeypatch, _track(["left"], slice(50, 100)), _track(["left"], slice(0, 50)))
    left, right = result.persons
    assert (left.parts, left.found, left.by_one, left.swaps) == (2, 1.0, 0.5, 0)
    assert (right.number, right.found, right.parts) == (None, 0.0, 0)
    assert np.isnan(right.tilt_error_deg)


def test_a_face_where_nobody_is_counts_as_stray(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(AT_PX, "nobody", 600.0)
    monkeypatch.setitem(TILTS, "nobody", 0.0)
    stray = _track(["left"] * 3 + ["nobody"] * 2)
    del TILTS["nobody"]
    assert _judge(monkeypatch, stray).strays == 40


def test_no_person_at_all_is_judged_without_a_number(monkeypatch: pytest.MonkeyPatch) -> None:
    result = _judge(monkeypatch)
    assert [(p.rows, p.found, p.number) for p in result.persons] == [(100, 0.0, None)] * 2
