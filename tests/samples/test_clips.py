"""The sample clips and their truth."""

from __future__ import annotations

import csv
from pathlib import Path

import av
import numpy as np
import pytest

from posture.conventions import wrap_deg
from posture.errors import OutputError
from posture.geometry.angles import line_of_sight, posture_angles, posture_matrix
from posture.samples import SAMPLE_NAMES, sample_info, write_samples
from posture.samples.plan import sample_child, sample_motion
from posture.samples.write import TRUTH_COLUMNS, face_visible, write_truth


def _read(path: Path) -> list[dict[str, str]]:
    """Rows of a truth file."""
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_write_short_sample(tmp_path):
    seen: list[tuple[str, float]] = []
    folder = tmp_path / "new" / "folder"
    clips = write_samples(folder, ["two-postures"], lambda name, share: seen.append((name, share)), longest_s=1.2)
    assert clips == [folder / "two-postures.mp4"]
    assert sorted(p.name for p in folder.iterdir()) == ["two-postures.mp4", "two-postures.truth.csv"]
    with av.open(str(clips[0])) as container:
        stream = container.streams.video[0]
        assert (stream.width, stream.height, stream.codec_context.name) == (854, 480, "h264")
        assert stream.codec_context.pix_fmt == "yuv420p"
        frames = [(frame.time, frame.to_ndarray(format="rgb24")) for frame in container.decode(stream)]
    rows = _read(folder / "two-postures.truth.csv")
    assert len(frames) == len(rows) == 18
    assert [t for t, _ in frames] == pytest.approx([float(row["time_s"]) for row in rows], abs=1e-3)
    # The face stands where the truth's child stands: skin in the middle, not wall.
    assert np.abs(frames[0][1][200, 427].astype(int) - sample_child("two-postures").skin).max() < 70
    assert len(seen) == 18
    assert seen[-1] == ("two-postures", 1.0)
    assert [share for _, share in seen] == sorted(share for _, share in seen)


@pytest.mark.parametrize("name", SAMPLE_NAMES)
def test_truth_agrees_with_what_is_drawn(tmp_path, name):
    motion = sample_motion(name)
    path = tmp_path / "truth.csv"
    write_truth(path, motion)
    rows = _read(path)
    assert list(rows[0]) == list(TRUTH_COLUMNS)
    assert len(rows) == round(sample_info(name).duration_s * 15)
    rotation = posture_matrix(motion.tilt_deg, motion.turn_camera_deg, motion.chin_camera_deg)
    tilt, turn, chin = posture_angles(rotation)
    across, upwards = line_of_sight(motion.place_m)
    drawn = np.stack([tilt, wrap_deg(turn - across), wrap_deg(chin - upwards), turn, chin], 1)
    visible = face_visible(motion)
    for row, values, seen in zip(rows, drawn, visible, strict=True):
        written = [row[name] for name in TRUTH_COLUMNS[1:6]]
        assert row["face_visible"] == str(int(seen))
        if seen:
            assert [float(text) for text in written] == pytest.approx(values.tolist(), abs=2e-3)
        else:
            assert written == [""] * 5
            assert row["steady"] == "0"


def test_truth_is_the_same_every_time():
    from posture.samples import plan

    first = sample_motion("steady-left-tilt")
    plan._motion.cache_clear()
    again = sample_motion("steady-left-tilt")
    assert first is not again
    for field in first.__dataclass_fields__:
        assert np.array_equal(getattr(first, field), getattr(again, field))
    short = sample_motion("steady-left-tilt", 3.0)
    assert len(short.time_s) == 45
    assert np.array_equal(short.tilt_deg, first.tilt_deg[:45])


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        ("steady-left-tilt", [(-14.0, -8.0, -6.0)]),
        ("straight-and-lively", [(0.0, 0.0, -1.5)]),
        ("right-tilt-left-turn", [(12.0, -15.0, -1.0)]),
        ("two-postures", [(-10.0, -14.0, -2.0), (9.0, 15.0, -2.0)]),
        ("too-short", []),
    ],
)
def test_sample_info_tells_the_postures(name, wanted):
    info = sample_info(name)
    assert len(info.postures) == len(wanted)
    for posture, (tilt, turn, chin) in zip(info.postures, wanted, strict=True):
        assert (posture.tilt_deg, posture.turn_deg, posture.chin_deg) == pytest.approx((tilt, turn, chin), abs=1.0)
    assert (info.habitual is not None) == (len(wanted) == 1)
    if wanted:
        assert sum(posture.share for posture in info.postures) == pytest.approx(1.0)
        assert info.steady_s > 25.0
    else:
        assert info.steady_s < 5.0
    assert info.focal_px == pytest.approx(0.9 * info.width_px, rel=0.01)
    assert info.mirrored == "no"


def test_lively_child_moves_more_than_the_steady_one():
    moved = {name: float(np.mean(~sample_motion(name).steady)) for name in ("steady-left-tilt", "straight-and-lively")}
    assert moved["straight-and-lively"] > 1.2 * moved["steady-left-tilt"]
    lively = sample_motion("straight-and-lively")
    assert lively.chin_deg.min() < -18
    assert np.abs(lively.turn_deg).max() > 20


def test_too_short_begins_and_ends_with_an_empty_room():
    motion = sample_motion("too-short")
    visible = face_visible(motion)
    assert not visible[0]
    assert not visible[-1]
    assert 3.5 < visible.sum() / 15.0 < 7.0
    assert not motion.present[0]


def test_unknown_sample():
    with pytest.raises(ValueError, match=r"got 'nobody'. Use one of: steady-left-tilt"):
        sample_info("nobody")


def test_unknown_sample_writes_nothing(tmp_path):
    with pytest.raises(ValueError, match="got 'nobody'"):
        write_samples(tmp_path / "x", ["too-short", "nobody"])
    assert not (tmp_path / "x").exists()


def test_folder_that_is_a_file(tmp_path):
    blocker = tmp_path / "file"
    blocker.write_text("x")
    with pytest.raises(OutputError, match="Expected to write the samples"):
        write_samples(blocker / "inside", ["too-short"], longest_s=0.2)


def test_failure_leaves_no_half_clip(tmp_path):
    def stop(name: str, share: float) -> None:
        raise RuntimeError(name)

    with pytest.raises(RuntimeError, match="too-short"):
        write_samples(tmp_path, ["too-short"], stop, longest_s=0.4)
    assert [p.name for p in tmp_path.iterdir()] == ["too-short.truth.csv"]
