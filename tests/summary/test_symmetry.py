"""What the record says of how even the face is, and when it says why not."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from posture.conventions import Mirrored
from posture.measure import Measurement
from posture.signal.face_symmetry import ANGLE_SHARE, SIZE_SHARE
from posture.signal.habitual import HabitualPosture, find_habitual_posture
from posture.signal.reading import ReadSettings, read_track
from posture.summary.build import build_summary
from posture.summary.checks import ClipFacts, is_uneven
from posture.summary.record import Conditions, Interval, Summary, Symmetry
from tests.summary.conftest import FACTS

Make = Callable[..., Summary]


@pytest.fixture
def summarise(make_track: Callable[..., Any], measure: Callable[..., Measurement]) -> Make:
    """The record of twenty seconds of a face turned by so much, whose right side is larger and whose mouth is sloped to the left."""

    def make(
        mirrored: Mirrored = "no",
        turn_deg: float = 2.0,
        angle_deg: float = -4.0,
        size: float = 1.06,
        looked: bool = True,
        **facts: Any,
    ) -> Summary:
        time_s = np.arange(0, 20, 1 / 15)
        track = make_track(time_s, 8.0 + 6 * (time_s % 4 > 3.5), turn_deg, 0.0)
        if looked:
            track = replace(
                track,
                facial_angle_deg=np.full(len(time_s), ANGLE_SHARE * angle_deg),
                relative_facial_size=np.full(len(time_s), np.exp(SIZE_SHARE * np.log(size))),
            )
        found: HabitualPosture = find_habitual_posture(read_track(track, ReadSettings(mirrored)))
        clip: ClipFacts = replace(FACTS, **facts)
        return build_summary(clip, found, Conditions(), measure().summary.made_with)

    return make


def check_of(summary: Summary) -> list[tuple[str, str]]:
    """Level and text of the check of symmetry."""
    return [(check.level, check.text) for check in summary.checks if check.name == "symmetry"]


def test_symmetry_is_that_of_the_face(summarise: Make) -> None:
    summary = summarise()
    assert summary.symmetry is not None
    angle, size = summary.symmetry.facial_angle_deg, summary.symmetry.relative_facial_size
    assert angle.value == pytest.approx(-4.0, abs=0.01)
    assert size.value == pytest.approx(1.06, abs=0.001)
    assert angle.low < angle.value < angle.high
    assert size.low < size.value < size.high
    assert check_of(summary) == []


def test_mirrored_picture_names_the_other_side(summarise: Make) -> None:
    symmetry = summarise("yes").symmetry
    assert symmetry is not None
    assert symmetry.facial_angle_deg.value == pytest.approx(4.0, abs=0.01)
    assert symmetry.relative_facial_size.value == pytest.approx(1 / 1.06, abs=0.001)


def test_unknown_mirroring_gives_none_and_no_reason_of_its_own(summarise: Make) -> None:
    for turn_deg in (2.0, 25.0):
        summary = summarise("unknown", turn_deg)
        assert summary.symmetry is None
        assert check_of(summary) == []


def test_face_that_is_turned_away_gives_none_and_says_why(summarise: Make) -> None:
    summary = summarise(turn_deg=14.0)
    assert summary.symmetry is None
    ((level, text),) = check_of(summary)
    assert level == "pass"
    assert text == (
        "The face looked about at the camera, within 10 degrees, for 0 s (needs 5 s in 4 pieces): how even it is, is not given."
    )


@pytest.mark.parametrize(
    "facts", [{"is_still": True, "still_faces": 1}, {"kind": "photograph", "duration_s": None}], ids=["a doll", "a photograph"]
)
def test_what_cannot_be_measured_so_has_no_check(summarise: Make, facts: dict[str, Any]) -> None:
    assert check_of(summarise(turn_deg=14.0, **facts)) == []


def test_doll_has_no_symmetry(summarise: Make) -> None:
    assert summarise(is_still=True, still_faces=1).symmetry is None


def test_track_of_an_earlier_version_has_neither_symmetry_nor_check(summarise: Make) -> None:
    summary = summarise(looked=False)
    assert summary.symmetry is None
    assert check_of(summary) == []


def interval(low: float, high: float) -> Interval:
    return Interval(value=(low + high) / 2, low=low, high=high)


@pytest.mark.parametrize(
    ("angle", "size", "expected"),
    [
        ((-1.0, 1.5), (0.97, 1.04), False),
        ((0.4, 3.0), (0.97, 1.04), True),
        ((-3.0, -0.2), (0.97, 1.04), True),
        ((-1.0, 1.5), (1.01, 1.09), True),
        ((-1.0, 1.5), (0.91, 0.98), True),
        ((0.0, 1.5), (1.0, 1.04), False),
    ],
)
def test_face_is_uneven_where_an_interval_excludes_an_even_one(
    angle: tuple[float, float], size: tuple[float, float], expected: bool
) -> None:
    symmetry = Symmetry(facial_angle_deg=interval(*angle), relative_facial_size=interval(*size))
    assert is_uneven(symmetry) is expected
