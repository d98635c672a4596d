"""Filming without a browser: prompts, countdowns, marks, and what goes wrong, with a made-up camera and clock."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import av
import numpy as np
import pytest
from click.testing import CliRunner

from posture.cli import main
from posture.errors import CameraError, OutputError
from posture.filming.camera import FileCamera, FilmWriter, LocalCamera
from posture.filming.marks import marks_from
from posture.filming.session import Session
from posture.filming.steps import STEPS
from tests.filming.conftest import ROOT

STEP_S = 0.1


class Clock:
    """Time that goes on with every picture."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


class MadeCamera:
    """Gives a picture every tenth of a second; a script says what happens when."""

    def __init__(self, clock: Clock, unplugged_at_s: float = 1e9, sleeps_at_s: float = 1e9, grows_at_s: float = 1e9) -> None:
        self.clock, self.closed = clock, False
        self.unplugged_at_s, self.sleeps_at_s, self.grows_at_s = unplugged_at_s, sleeps_at_s, grows_at_s

    def read(self):
        self.clock.now_s += STEP_S
        at_s = self.clock.now_s - 1000
        if at_s > self.sleeps_at_s:
            self.clock.now_s += 90
            self.sleeps_at_s = 1e9
        if at_s > self.unplugged_at_s:
            return None
        return np.full((49 if at_s < self.grows_at_s else 97, 65, 3), int(at_s * 10) % 256, np.uint8)

    def close(self):
        self.closed = True


class Typist:
    """Types lines at given times."""

    def __init__(self, clock: Clock, *lines: tuple[float, str]) -> None:
        self.clock, self.lines = clock, list(lines)

    def __call__(self):
        if self.lines and self.clock.now_s - 1000 >= self.lines[0][0]:
            return self.lines.pop(0)[1]
        return None


def _film(tmp_path: Path, steps, *lines, limit_s=1800.0, **happens):
    clock, told = Clock(), []
    with FilmWriter(tmp_path / "clip.mkv", clock) as writer:
        session = Session(MadeCamera(clock, **happens), writer, Typist(clock, *lines), told.append, limit_s=limit_s, now=clock)
        filmed = session.film([STEPS[key] for key in steps])
    return filmed, told, _times_s(tmp_path / "clip.mkv")


def _times_s(path: Path) -> np.ndarray:
    with av.open(str(path)) as film:
        return np.array([frame.time for frame in film.decode(video=0)])


def test_one_clip_until_the_time_is_full(tmp_path: Path):
    filmed, _told, times_s = _film(tmp_path, [], limit_s=5.0)
    assert filmed.length_s == pytest.approx(5, abs=0.2)
    assert times_s[-1] == pytest.approx(5, abs=0.2)
    assert np.diff(times_s) == pytest.approx(STEP_S, abs=0.002)
    assert filmed.marks == []
    assert filmed.notes == []


def test_steps_leave_marks_in_the_time_of_the_film_and_pauses_do_not_count(tmp_path: Path):
    # Begin play at 3 s, done at 13 s; wait until 30 s; begin head-set, which ends by itself; skip far.
    lines = [(3, ""), (13, ""), (30, ""), (40, "s")]
    filmed, told, times_s = _film(tmp_path, ["play", "head-set", "far"], *lines)
    assert [mark.step for mark in filmed.marks] == ["play", "head-set"]
    play, head_set = filmed.marks
    assert (play.start_s, play.end_s) == pytest.approx((0, 10), abs=0.3)
    assert (head_set.start_s, head_set.end_s) == pytest.approx((play.end_s, play.end_s + 5), abs=0.3)
    assert len(times_s) == pytest.approx(150, abs=4)
    assert np.diff(times_s).max() < 0.3
    assert any(line.startswith("Next: Free play.") for line in told)


def test_a_cover_counts_down_and_can_be_cut_short(tmp_path: Path):
    filmed, _, times_s = _film(tmp_path, ["cover-right"], (1, ""), (61, ""), (81, ""))
    (mark,) = filmed.marks
    assert mark.before_s == pytest.approx(60, abs=0.5)
    assert mark.end_s - mark.start_s == pytest.approx(20, abs=0.5)
    assert times_s[-1] == pytest.approx(20, abs=0.5)


def test_a_cover_is_filmed_by_itself_after_27_minutes(tmp_path: Path):
    filmed, _, _ = _film(tmp_path, ["cover-left"], (1, ""))
    (mark,) = filmed.marks
    assert mark.before_s == pytest.approx(27 * 60, abs=1)
    assert mark.end_s - mark.start_s == pytest.approx(180, abs=1)


def test_what_was_skipped_while_it_was_filmed_has_no_mark(tmp_path: Path):
    filmed, _, _ = _film(tmp_path, ["play", "far"], (1, ""), (5, "s"), (6, ""), (9, ""))
    assert [mark.step for mark in filmed.marks] == ["far"]
    assert filmed.marks[0].start_s == pytest.approx(4, abs=0.3)


@pytest.mark.parametrize(
    ("happens", "lines", "words"),
    [
        ({"unplugged_at_s": 8}, [(1, "")], "it was unplugged or taken away"),
        ({"grows_at_s": 8}, [(1, "")], "pictures of one size; they changed to 65 x 97"),
        ({}, [(1, ""), (8, "q")], None),
    ],
    ids=["unplugged", "another size", "ended"],
)
def test_what_breaks_off_keeps_what_was_filmed(tmp_path: Path, happens, lines, words):
    filmed, told, times_s = _film(tmp_path, ["play", "far"], *lines, **happens)
    (mark,) = filmed.marks
    assert mark.end_s - mark.start_s == pytest.approx(7, abs=0.4)
    assert times_s[-1] == pytest.approx(7, abs=0.4)
    assert bool(filmed.notes) == (words is not None)
    if words:
        assert words in filmed.notes[0]
        assert any(words in line for line in told)


def test_sleep_of_the_computer_is_told(tmp_path: Path):
    filmed, _told, _ = _film(tmp_path, ["play"], (1, ""), (140, ""), sleeps_at_s=10)
    assert "No picture came for 90 s: the computer slept" in filmed.notes[0]
    assert len(filmed.marks) == 1


def test_a_film_is_never_written_over(tmp_path: Path):
    (tmp_path / "clip.mkv").write_bytes(b"kept")
    with pytest.raises(OutputError, match="is there already"):
        FilmWriter(tmp_path / "clip.mkv")
    assert (tmp_path / "clip.mkv").read_bytes() == b"kept"


def test_no_camera_says_what_to_do():
    with pytest.raises(CameraError, match="none could be opened"):
        LocalCamera(63)


def test_a_file_in_the_place_of_a_camera_begins_again(tmp_path: Path):
    _film(tmp_path, [], limit_s=1.0)
    camera = FileCamera(tmp_path / "clip.mkv", rate_hz=0)
    assert all(camera.read() is not None for _ in range(35))
    camera.close()
    with pytest.raises(CameraError, match="cannot be opened"):
        FileCamera(tmp_path / "none.mkv")


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["--steps", "dance"], 2, "Expected a step of the examination"),
        (["--size", "big"], 2, "Expected --size such as 1280x720"),
        (["--minutes", "31"], 2, "31"),
        (["--camera", "63"], 1, "Expected a camera with number 63"),
    ],
)
def test_film_command_refuses(tmp_path: Path, arguments, status, words):
    ran = CliRunner().invoke(main, ["film", "--out", str(tmp_path / "clip.mkv"), *arguments])
    assert ran.exit_code == status
    assert words in ran.output
    assert not (tmp_path / "clip.mkv").exists()


def test_film_command_lists_the_steps():
    ran = CliRunner().invoke(main, ["film", "--list"])
    assert ran.exit_code == 0
    assert all(key in ran.output for key in STEPS)


@pytest.mark.parametrize(
    ("answers", "words"), [("n\nn\ny\nn\nn\nn\n", "Do not move the neck"), ("n\n\nn\nn\nn\nn\n", "not answered in full")]
)
def test_film_command_asks_the_neck_screen_first(tmp_path: Path, answers, words):
    ran = CliRunner().invoke(
        main, ["film", "--out", str(tmp_path / "clip.mkv"), "--steps", "tilt-right,tilt-left"], input=answers
    )
    assert ran.exit_code == 2
    assert words in ran.output
    assert "none is left" in ran.output


@pytest.mark.slow
def test_film_command_films_two_steps_that_measure_would_read(tmp_path: Path):
    out = tmp_path / "clip.mkv"
    sample = ROOT / "sample_videos" / "steady-left-tilt.mp4"
    command = [
        sys.executable,
        "-m",
        "posture.cli",
        "film",
        "--out",
        str(out),
        "--steps",
        "play,open",
        "--from-file",
        str(sample),
    ]
    env = os.environ | {"PYTHONPATH": str(ROOT)}
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=env, bufsize=1) as film:
        assert film.stdin is not None
        assert film.stdout is not None

        def wait_for(words: str) -> None:
            for line in film.stdout:
                if words in line:
                    return
            raise AssertionError(f"waited for {words}")

        wait_for("Enter: begin")
        film.stdin.write("\n")
        wait_for("Filming: Free play")
        time.sleep(3)
        film.stdin.write("\n")
        wait_for("Enter: begin")
        film.stdin.write("\n")
        wait_for("Enter: film now")
        film.stdin.write("\n")
        wait_for("Filming: Both eyes open again")
        time.sleep(2)
        film.stdin.write("q\n")
        assert f"posture measure {out} --marks {tmp_path / 'clip.marks.json'} --out" in film.stdout.read()
        assert film.wait(30) == 0
    text = (tmp_path / "clip.marks.json").read_text()
    marks = marks_from(text)
    assert [mark.step for mark in marks] == ["play", "open"]
    times_s = _times_s(out)
    assert times_s[-1] == pytest.approx(marks[-1].end_s, abs=0.5)
    assert json.loads(text)["length_s"] == pytest.approx(times_s[-1], abs=0.5)
    # Whatever happens to the end of the file, its beginning can be read.
    (tmp_path / "cut.mkv").write_bytes(out.read_bytes()[: out.stat().st_size * 2 // 3])
    assert _times_s_of_cut(tmp_path / "cut.mkv") > 0.4 * times_s[-1]


def _times_s_of_cut(path: Path) -> float:
    last_s = 0.0
    with av.open(str(path)) as film:
        try:
            for frame in film.decode(video=0):
                last_s = frame.time
        except av.FFmpegError:
            pass
    return last_s
