"""The sample clips and their truth."""

from __future__ import annotations

import csv
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from posture.clinic.neck import Reached, range_of
from posture.clinic.tilt_pair import TiltHeld, head_tilt_pair
from posture.conventions import wrap_deg
from posture.errors import OutputError
from posture.geometry.angles import line_of_sight, posture_angles, posture_matrix
from posture.samples import SAMPLE_NAMES, sample_info, write_samples
from posture.samples.draw import ChildPainter
from posture.samples.plan import sample_child, sample_covered_eye, sample_motion
from posture.samples.write import TRUTH_COLUMNS, draw_frame, face_visible, sample_painter, write_truth
from posture.summary.record import Conditions


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
        ("left-tilt-right-eye-covered", [(-3.0, -2.0, -4.0)]),
        ("left-tilt-left-eye-covered", [(-3.0, -3.0, -4.0)]),
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
        assert info.steady_s > (25.0 if info.conditions["covered_eye"] == "none" else 20.0)
    else:
        assert info.steady_s < 5.0
    assert info.focal_px == pytest.approx(0.9 * info.width_px, rel=0.01)
    assert info.mirrored == "no"


def test_samples_of_a_habit_and_of_an_examination():
    assert (
        *("steady-left-tilt", "straight-and-lively", "right-tilt-left-turn", "two-postures", "too-short"),
        *("left-tilt-right-eye-covered", "left-tilt-left-eye-covered", "neck-turns", "neck-tilts", "head-tilt-test"),
    ) == SAMPLE_NAMES
    of_examination = [name for name in SAMPLE_NAMES if sample_info(name).asked or sample_covered_eye(name)]
    assert tuple(of_examination) == SAMPLE_NAMES[5:]


@pytest.mark.parametrize("side", ["right", "left"])
def test_tilt_falls_under_cover_of_either_eye(side):
    opened, covered = sample_info("steady-left-tilt"), sample_info(f"left-tilt-{side}-eye-covered")
    assert opened.habitual is not None
    assert covered.habitual is not None
    # By more than half, and not to the other side.
    assert opened.habitual.tilt_deg < 2.0 * covered.habitual.tilt_deg < 0
    assert sample_covered_eye(covered.name) == covered.conditions["covered_eye"] == side
    assert covered.conditions["covered_minutes"] == 30
    assert sample_covered_eye(opened.name) is None
    assert opened.conditions["covered_eye"] == "none"
    # Nothing else differs, or the three clips could not be compared.
    differing = {name for name in covered.conditions if covered.conditions[name] != opened.conditions.get(name)}
    assert differing == {"covered_eye", "covered_minutes"}


@pytest.mark.parametrize("name", SAMPLE_NAMES)
def test_conditions_fit_the_summary(name):
    conditions = Conditions.model_validate(dict(sample_info(name).conditions))
    assert conditions.age_months is not None
    assert conditions.position == "sitting"


TURNED = [("turn right", 40.0), ("turn left", 27.0)] * 2
TILTED = [("tilt right", 33.0), ("tilt left", 45.0)] * 2


@pytest.mark.parametrize(
    ("name", "wanted", "held_s"),
    [
        ("neck-turns", TURNED, 2.0),
        ("neck-tilts", TILTED, 2.0),
        ("head-tilt-test", [("tilt right", 27.0), ("tilt left", 26.0)], 6.0),
    ],
)
def test_truth_shows_the_movement_that_was_asked_for(tmp_path, name, wanted, held_s):
    info = sample_info(name)
    path = tmp_path / "truth.csv"
    write_truth(path, sample_motion(name))
    rows = _read(path)
    assert [spell.movement for spell in info.asked] == [movement for movement, _ in wanted]
    assert info.postures == ()
    before_s = 0.0
    for (movement, start_s, end_s), (_, degrees) in zip(info.asked, wanted, strict=True):
        spell = [row for row in rows if start_s <= float(row["time_s"]) < end_s]
        assert all(row["face_visible"] == "1" for row in spell)
        held = [row for row in spell if row["steady"] == "1"]
        assert len(held) / 15.0 == pytest.approx(held_s, abs=0.1)
        kind, side = movement.split()
        sign = 1.0 if side == "right" else -1.0
        other = "turn" if kind == "tilt" else "tilt"
        assert sign * np.median([float(row[f"{kind}_deg"]) for row in held]) == pytest.approx(degrees, abs=2.0)
        assert abs(np.median([float(row[f"{other}_deg"]) for row in held])) < 3.0
        # It begins at rest and straight; what came before is straight again.
        assert abs(float(spell[0][f"{kind}_deg"])) < 3.0
        between = [row for row in rows if before_s + 1.1 < float(row["time_s"]) < start_s]
        assert max(abs(float(row[f"{kind}_deg"])) for row in between) < 3.0
        before_s = end_s
    assert info.duration_s - before_s > 2.0


def test_head_tilts_of_the_test_reach_far_enough_and_alike():
    motion, info = sample_motion("head-tilt-test"), sample_info("head-tilt-test")
    right, left = (
        float(np.median(motion.tilt_deg[(motion.time_s >= start_s) & (motion.time_s < end_s) & motion.steady]))
        for _, start_s, end_s in info.asked
    )
    pair = head_tilt_pair(TiltHeld(right, trunk_tilt_deg=0.0), TiltHeld(left, trunk_tilt_deg=0.0), position="sitting")
    assert pair.accepted, pair.reasons


def test_neck_goes_less_far_where_a_tight_left_muscle_holds_it():
    """Less far to the right in tilt and to the left in turn, each by more than counts as a difference."""
    reached = {}
    for name in ("neck-turns", "neck-tilts"):
        motion = sample_motion(name)
        for movement, start_s, end_s in sample_info(name).asked:
            angle = motion.turn_deg if "turn" in movement else motion.tilt_deg
            held = motion.steady & (motion.time_s >= start_s) & (motion.time_s < end_s)
            reached.setdefault(movement, []).append(abs(float(np.median(angle[held]))))
    ends = [Reached(float(np.mean(reached[end]))) for end in ("tilt right", "tilt left", "turn right", "turn left")]
    found = range_of(*ends, passive=False, age_months=52)
    assert found is not None
    assert found.tight == "left"
    assert found.directions == ("tilt", "turn")


def test_write_all_samples(tmp_path):
    clips = write_samples(tmp_path, longest_s=0.2)
    assert [clip.name for clip in clips] == [f"{name}.mp4" for name in SAMPLE_NAMES]
    assert {p.name for p in tmp_path.iterdir()} == {f"{name}{end}" for name in SAMPLE_NAMES for end in (".mp4", ".truth.csv")}
    assert all(len(_read(clip.with_suffix(".truth.csv"))) == 3 for clip in clips)


@pytest.mark.parametrize("name", SAMPLE_NAMES)
def test_clips_of_this_folder_are_those_that_are_drawn(name, tmp_path):
    folder = Path(__file__).resolve().parents[2] / "sample_videos"
    write_truth(tmp_path / "truth.csv", sample_motion(name))
    assert (folder / f"{name}.truth.csv").read_bytes() == (tmp_path / "truth.csv").read_bytes()
    with av.open(str(folder / f"{name}.mp4")) as container:
        kept = next(container.decode(video=0)).to_ndarray(format="rgb24")
    motion = sample_motion(name)
    drawn = draw_frame(sample_painter(name), motion, 0)
    # The encoder takes away a little, most at bright edges; another child, or a patch, is far more in some place.
    assert cv2.blur(cv2.absdiff(kept, drawn), (9, 9)).max() < 40
    if sample_covered_eye(name):
        without = draw_frame(ChildPainter(sample_child(name), 854, 480, sample_info(name).focal_px), motion, 0)
        assert cv2.blur(cv2.absdiff(kept, without), (9, 9)).max() > 60


def test_clips_of_this_folder_are_small():
    folder = Path(__file__).resolve().parents[2] / "sample_videos"
    assert sum(p.stat().st_size for p in folder.glob("*.mp4")) < 5e6


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
