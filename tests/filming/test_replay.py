"""The face-free replay: what is drawn is what was measured, and the file says nothing else."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from posture.batch import children
from posture.cli import main
from posture.errors import OutputError, ReplayError
from posture.filming.replay import film_bytes, write_film
from posture.geometry.angles import posture_matrix
from posture.geometry.lens import lens_of
from posture.measure import Measurement, Settings, read_clip
from posture.report.replay import RATE_HZ, Replay, replay_of
from posture.report.replay_words import NOT_SEEN, SIZE_PX, Said, replay_words
from posture.see import SeenClip, SeenPerson
from posture.signal.track import HeadTrack
from posture.summary.record import Conditions

FRONT_VIEW = (slice(60, 236), slice(50, 330))
"""Rows and columns of the picture in which the head is seen from the front, without shoulders and words."""


def measured(
    tilt_deg: np.ndarray, mirrored: str = "no", gone: slice = slice(0, 0), rate_hz: float = RATE_HZ, position: str | None = None
) -> Measurement:
    """A head that tilts so, the face straight ahead."""
    n = len(tilt_deg)
    rotation, place = posture_matrix(tilt_deg, 0.0, 0.0), np.tile([0.0, 0.0, 60.0], (n, 1))
    rotation[gone], place[gone] = np.nan, np.nan
    track = HeadTrack(np.arange(n) / rate_hz, rotation, place, np.full(n, 150.0), np.ones(n), 640, 480, 576.0)
    persons = (SeenPerson(track, None, (1,), 1.0, False),)
    seen = SeenClip("video", 64 * "a", 640, 480, track.time_s, persons, None, None, None, lens_of(640), None, ())
    settings = Settings(mirrored=mirrored, roll_deg=0.0, pitch_deg=0.0)  # type: ignore[arg-type]
    return read_clip(seen, settings, Conditions(position=position), "child-of-the-label")  # type: ignore[arg-type]


def decoded(data: bytes) -> list[np.ndarray]:
    """The pictures of a film."""
    with av.open(io.BytesIO(data)) as container:
        return [frame.to_ndarray(format="rgb24") for frame in container.decode(video=0)]


def eye_line_deg(picture: np.ndarray) -> float | None:
    """Slope of the line through the two drawn eyes, + when the end at the near edge is lower; None where there are no eyes."""
    dark = (picture[FRONT_VIEW].max(2) < 90).astype(np.uint8)
    # Outlines, brows and mouth are thin: only the eyes are still large after this.
    n, _, sizes, middles = cv2.connectedComponentsWithStats(cv2.erode(dark, np.ones((3, 3), np.uint8)))
    eyes = [middles[k] for k in range(1, n) if sizes[k, cv2.CC_STAT_AREA] >= 35]
    if len(eyes) != 2:
        return None
    (x1, y1), (x2, y2) = sorted(eyes, key=lambda middle: middle[0])
    return float(np.degrees(np.arctan2(y1 - y2, x2 - x1)))


@pytest.mark.parametrize(("mirrored", "sign"), [("no", 1), ("yes", -1)])
def test_replay_draws_the_tilt_that_was_measured(mirrored, sign):
    tilt = np.linspace(-28, 28, 6 * RATE_HZ + 1)
    result = measured(tilt, mirrored)
    pictures = decoded(film_bytes(replay_of(result.summary, result.found).pictures(), RATE_HZ))
    assert len(pictures) == len(tilt)
    assert pictures[0].shape == (SIZE_PX[1], SIZE_PX[0], 3)
    drawn = [eye_line_deg(picture) for picture in pictures]
    assert None not in drawn
    assert np.array(drawn, float) == pytest.approx(sign * tilt, abs=1.2)
    assert float(np.sqrt(np.mean((np.array(drawn, float) - sign * tilt) ** 2))) < 0.5


def test_replay_draws_no_head_where_no_face_was_seen():
    result = measured(np.full(4 * RATE_HZ, 10.0), gone=slice(15, 45))
    pictures = list(replay_of(result.summary, result.found).pictures())
    seen = [eye_line_deg(picture) is not None for picture in pictures]
    assert seen == [k < 15 or k >= 45 for k in range(len(pictures))]
    assert replay_words(Said(2))[1] == ("Tilt", NOT_SEEN)


def test_replay_has_the_length_of_the_clip_whatever_its_rate():
    result = measured(np.full(100, 10.0), rate_hz=12.5)
    assert len(replay_of(result.summary, result.found).time_s) == int(99 / 12.5 * RATE_HZ) + 1
    part = replay_of(result.summary, result.found, (2.0, 5.0))
    assert (part.time_s[0], part.time_s[-1]) == (2.0, 5.0)


def test_replay_says_angles_without_a_sign():
    assert replay_words(Said(75, -14, 8, -9)) == [
        ("Time", "1:15"), ("Tilt", "14 degrees to the child's left shoulder"), ("Face", "8 degrees to the child's right"),
        ("Chin", "down by 9 degrees"),
    ]  # fmt: skip
    assert replay_words(Said(0, 0, 0, 0))[1:] == [("Tilt", "upright"), ("Face", "straight ahead"), ("Chin", "level")]


def test_replay_draws_the_shoulder_line_where_it_is_known():
    time_s = np.arange(30) / RATE_HZ
    replay = Replay(time_s, np.zeros((30, 3)), np.full(30, 12.0), is_target_known=True)
    shoulders = next(iter(replay.pictures()))[225:320, 80:300].astype(int)
    rows, columns = np.nonzero(shoulders[..., 2] > shoulders[..., 0] + 60)
    slope, _ = np.polyfit(columns, -rows, 1)
    # The child's right shoulder, at the near edge, is the lower one.
    assert np.degrees(np.arctan(slope)) == pytest.approx(12, abs=1)
    without = next(iter(replace(replay, trunk_deg=np.full(30, np.nan)).pictures()))[225:320, 80:300].astype(int)
    assert not (without[..., 2] > without[..., 0] + 60).any()


def test_replay_strip_runs_with_the_film():
    result = measured(np.r_[np.full(150, 0.0), np.full(150, 25.0)])
    pictures = list(replay_of(result.summary, result.found).pictures())
    now = 70 + round(0.75 * 716)

    def height_of_line(picture: np.ndarray, x: int) -> float:
        column = picture[354:424, x].astype(int)
        return float(np.nonzero(column[:, 2] > column[:, 0] + 60)[0].mean())

    # A little before now, away from the mark; the child's right is up.
    early, late = (height_of_line(pictures[k], now - 6) for k in (100, 299))
    assert late < early - 15


def test_replay_refuses_to_draw_a_side_that_is_not_known():
    result = measured(np.full(60, 10.0), "unknown")
    with pytest.raises(ReplayError, match="whether the picture is mirrored") as refused:
        replay_of(result.summary, result.found)
    assert "left" not in str(refused.value)
    assert "right" not in str(refused.value)


@pytest.mark.parametrize(
    ("tilt", "more", "words"),
    [
        (np.full(60, 10.0), {"position": "lying"}, "gravity is no zero"),
        (np.full(5, 10.0), {}, "a second or more"),
        (np.full(60, 10.0), {"gone": slice(0, 60)}, "a film of a face"),
    ],
    ids=["lying", "too short", "no face"],
)
def test_replay_refuses(tilt, more, words):
    result = measured(tilt, **more)
    with pytest.raises(ReplayError, match=words):
        replay_of(result.summary, result.found)


def test_replay_refuses_a_part_outside_the_clip():
    result = measured(np.full(60, 10.0))
    with pytest.raises(ReplayError, match="another part"):
        replay_of(result.summary, result.found, (100.0, 120.0))


def test_film_says_nothing_but_its_pictures():
    result = measured(np.full(60, 10.0))
    data = film_bytes(replay_of(result.summary, result.found).pictures(), RATE_HZ)
    with av.open(io.BytesIO(data)) as container:
        assert [(stream.type, stream.codec_context.name) for stream in container.streams] == [("video", "h264")]
        assert set(container.metadata) <= {"major_brand", "minor_version", "compatible_brands"}
        assert set(container.streams.video[0].metadata) <= {"language", "handler_name"}
        assert container.streams.video[0].average_rate == RATE_HZ
        assert container.duration / 1e6 == pytest.approx(4.0, abs=0.01)
    for word in (b"child-of-the-label", b"Lavf", b"Lavc", b"x264", b"posture"):
        assert word not in data
    # Times of making: seconds since 1904 in the heads of the film, its track and its medium.
    for box in (b"mvhd", b"tkhd", b"mdhd"):
        at = data.index(box) + 8
        assert data[at : at + 8] == bytes(8)


def test_film_refuses_nothing_and_pictures_of_other_sizes(tmp_path):
    with pytest.raises(OutputError, match="none came"):
        film_bytes([], RATE_HZ)
    sizes = [np.zeros((40, 60, 3), np.uint8), np.zeros((40, 62, 3), np.uint8)]
    with pytest.raises(OutputError, match="62 x 40 came at picture 2"):
        write_film(tmp_path / "film.mp4", sizes, RATE_HZ)
    with pytest.raises(OutputError, match="one even size; 61 x 40"):
        film_bytes([np.zeros((40, 61, 3), np.uint8)], RATE_HZ)
    assert not list(tmp_path.iterdir())


@pytest.fixture
def answered(monkeypatch: pytest.MonkeyPatch) -> list[Settings]:
    """Measuring, answered with a made-up head; the settings that were asked for."""
    asked: list[Settings] = []

    def instead(job, *_, **__) -> Measurement:
        asked.append(job.settings)
        return measured(np.full(60, -12.0), job.settings.mirrored)

    monkeypatch.setattr(children, "measure_in_child", instead)
    return asked


def test_replay_command_writes_the_film(tmp_path: Path, answered):
    clip, out = tmp_path / "Maria.mov", tmp_path / "replay.mp4"
    clip.write_bytes(b"film")
    done = CliRunner().invoke(
        main, ["replay", str(clip), "--out", str(out), "--mirrored", "no", "--upright", "3", "--part", "0:01-0:03"]
    )
    assert done.exit_code == 0, done.output
    assert answered == [Settings(mirrored="no", roll_deg=3.0)]
    pictures = decoded(out.read_bytes())
    assert len(pictures) == 2 * RATE_HZ + 1
    assert eye_line_deg(pictures[5]) == pytest.approx(-12, abs=1.2)
    assert b"Maria" not in out.read_bytes()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "Missing option '--mirrored'"),
        (("--mirrored", "unknown"), "'unknown' is not one of"),
        (("--mirrored", "no", "--part", "0-1,2-3"), "Expected one part"),
    ],
)
def test_replay_command_refuses(tmp_path, answered, arguments, words):
    clip = tmp_path / "clip.mov"
    clip.write_bytes(b"film")
    done = CliRunner().invoke(main, ["replay", str(clip), "--out", str(tmp_path / "a.mp4"), *arguments])
    assert done.exit_code == 2
    assert words in done.output
    assert not answered
    assert [path.name for path in tmp_path.iterdir()] == ["clip.mov"]
