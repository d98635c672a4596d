"""A rendered clip and its mirror image, and reading again, in a reduced version; ``python -m tests.proof.sides`` and ``.rereading``."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posture.measure import Measurement, Settings, measure_clip, read_clip
from posture.see import SeenClip
from posture.summary.record import Conditions
from tests.proof import rereading
from tests.proof.material import HEADS_MISSING, heads_present
from tests.proof.sides import (
    HOLDS,
    TOLERANCE,
    Difference,
    as_mirrored,
    compare,
    csv_of,
    document_of,
    draw_pictures,
    table,
    write_pair,
)

needs_heads = pytest.mark.skipif(not heads_present(), reason=HEADS_MISSING)

CAMERA = Conditions(target="camera")


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Measurement, SeenClip, Path]:
    """A clip of seven short holds, read as not mirrored; its mirror image as it was seen, and where that is."""
    paths = write_pair(tmp_path_factory.mktemp("pair"), list(draw_pictures("adult_b", HOLDS, 1.5)))
    plain = measure_clip(paths[0], Settings(mirrored="no"), CAMERA)
    return plain, measure_clip(paths[1], Settings(), CAMERA).seen, paths[1]


@pytest.mark.slow
@needs_heads
@pytest.mark.parametrize("from_scene", [False, True])
def test_mirrored_film_comes_to_the_same_summary(pair: tuple[Measurement, SeenClip, Path], from_scene: bool) -> None:
    plain, mirrored, _ = pair
    ours = read_clip(plain.seen, Settings(mirrored="no", from_scene=from_scene), CAMERA)
    theirs = read_clip(mirrored, Settings(mirrored="yes", from_scene=from_scene), CAMERA)
    assert ours.summary.habitual is not None
    assert ours.summary.habitual.turn_deg.value < -5
    assert ours.summary.clip.upright == ("scene" if from_scene else "as-filmed")
    differences = list(compare(as_mirrored(document_of(ours)), document_of(theirs)))
    assert len(differences) > 80
    out = [d for d in differences if not d.is_equal]
    assert out == [], table(differences)


@pytest.mark.slow
@needs_heads
def test_settled_later_is_as_having_known_it(pair: tuple[Measurement, SeenClip, Path]) -> None:
    """Also where the clip itself is opened and looked at again."""
    _, unknown, path = pair
    known = measure_clip(path, Settings(mirrored="yes"), CAMERA)
    settled = read_clip(unknown, Settings(mirrored="yes"), CAMERA)
    assert document_of(settled) == document_of(known)
    assert csv_of(settled) == csv_of(known)
    assert document_of(settled) != document_of(read_clip(unknown, Settings(mirrored="no"), CAMERA))


def test_comparison_tells_what_differs_and_of_what_kind() -> None:
    first = {"habitual": {"tilt_deg": {"value": -14.0, "low": -20.0}, "share_tilt_left": 0.9}, "checks": [{"text": "Of 30 s."}]}
    second = {
        "habitual": {"tilt_deg": {"value": -13.0, "low": -20.1}, "share_tilt_left": 0.9},
        "checks": [{"text": "Of 33 s."}],
    }
    found = {d.field: (d.kind, d.is_equal) for d in compare(first, second)}
    assert found["habitual.tilt_deg.value"] == ("angle", False)
    assert found["habitual.tilt_deg.low"] == ("end", True)
    assert found["habitual.share_tilt_left"] == ("share", True)
    assert found["checks.0.text"] == ("number in text", False)
    assert not next(compare({"text": "tilt to the left"}, {"text": "tilt to the right"})).is_equal
    assert not next(compare({"moment": None}, {"moment": 1.0})).is_equal
    assert not next(compare({"a": 1.0, "b": 2.0}, {"a": 1.0})).is_equal


def test_table_names_the_largest_difference_of_a_kind() -> None:
    rows = [Difference("a.value", "angle", 0.1, (1.0, 1.1)), Difference("b.value", "angle", 9.0, (1.0, 10.0))]
    lines = table(rows).splitlines()
    assert lines[1].split() == ["angle", "2", "4.550", "9.000", f"{TOLERANCE['angle']:.2f}", "1", "b.value"]
    assert lines[3].endswith("b.value: 1.0 and 10.0  OUT")


def test_every_change_is_really_one() -> None:
    """Of a minute: each thing that is settled anew moves the summary, and takes its part of the time of ten."""
    seen = rereading.long_clip(60.0)
    documents = {name: document_of(read_clip(seen, settings)) for name, settings in rereading.CHANGES.items()}
    known = document_of(read_clip(seen, Settings(mirrored="no")))
    for name, document in documents.items():
        measured = {key: value for key, value in document.items() if key != "made_with"}
        assert measured != {key: value for key, value in known.items() if key != "made_with"}, name
    taken = rereading.time_reading(seen, rereading.CHANGES["mirroring"], 3)
    assert 0 < taken.processor_s <= taken.longest_processor_s
    # No more than a tenth of three times what is wanted for ten minutes, and what does not grow with the length.
    assert taken.processor_s < 0.3 * rereading.WANTED_S + 0.15


def test_made_up_clip_has_what_it_is_to_have() -> None:
    seen = rereading.long_clip(60.0)
    assert len(seen.time_s) == 900
    track = seen.persons[0].track
    assert np.isfinite(track.camera_roll_deg).sum() == pytest.approx(900 / 8, abs=1)
    assert np.isfinite(track.shoulders_px[:, 0, 0]).sum() == pytest.approx(900 / 8, abs=1)
    assert 0.9 < track.face_found.mean() < 1
    found = read_clip(seen, Settings(mirrored="no")).found
    assert found.tilt_on_trunk is not None
    assert found.lines is not None
    assert found.read.scene is not None
    assert len(found.spells) > 15


def test_profile_adds_up() -> None:
    costs = rereading.profile_reading(rereading.long_clip(20.0), Settings(mirrored="no"))
    assert sum(cost.own_share for cost in costs) == pytest.approx(1.0, abs=0.01)
    assert costs == sorted(costs, key=lambda cost: -cost.own_share)
    own = rereading.ours(costs, 5)
    assert len(own) == 5
    assert all(0 < cost.whole_share < 1 for cost in own)
    assert not any(cost.name.endswith(" read_clip") for cost in own)


def test_slow_changes_are_marked() -> None:
    quick = rereading.Taken(0.2, 0.3, 0.2, 0.25)
    lines = rereading.table({"mirroring": quick, "lens": replace(quick, processor_s=0.7)})
    assert "OVER" not in lines[1]
    assert lines[2].endswith("OVER")
