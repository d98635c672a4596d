"""The recording on disk: appended, marked, cut off, left behind, taken up, erased."""

from __future__ import annotations

import json
import os
import signal
import stat
import subprocess
import sys
import time
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from posture.errors import OutputError
from posture.filming import pieces
from posture.filming.marks import Mark
from posture.filming.pieces import begin_recording, left_behind, recordings_folder, take_up
from posture.measure import Settings, measure_clip
from tests.filming.conftest import FILM_S, ROOT

posix = pytest.mark.skipif(sys.platform == "win32", reason="modes and signals of other systems")


def _nobody(attendant: str) -> bool:
    """As if every window were closed."""
    return False


def test_pieces_are_appended_once_and_in_order(private: Path):
    recording = begin_recording("me")
    assert recording.append(0, b"abc") == 1
    assert recording.append(0, b"abc") == 1
    assert recording.append(2, b"ghi") == 1
    assert recording.append(1, b"def") == 2
    assert recording.path.read_bytes() == b"abcdef"
    assert recording.n_bytes == 6
    recording.close()
    assert recording.path.parent.parent == private / "recordings"


@posix
def test_nobody_else_may_read_it(private: Path):
    recording = begin_recording("me")
    recording.append(0, b"abc")
    recording.note([Mark("play", 0, 1)], [], 1.0)
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in recording.folder.iterdir()}
    assert modes["film.webm"] == modes["marks.json"] == 0o600
    assert stat.S_IMODE(recording.folder.stat().st_mode) == 0o700
    assert stat.S_IMODE(recordings_folder().stat().st_mode) == 0o700


def test_every_piece_is_in_the_file_at_once_and_forced_to_disk_every_few_seconds(private: Path, monkeypatch):
    forced = []
    real = os.fsync
    monkeypatch.setattr(os, "fsync", lambda number: (forced.append(number), real(number))[1])
    now = [100.0]
    monkeypatch.setattr(pieces.time, "monotonic", lambda: now[0])
    recording = begin_recording("me")
    for number in range(6):
        recording.append(number, b"x" * 10)
        assert recording.path.stat().st_size == 10 * (number + 1)
        now[0] += 1.0
    assert len(forced) == 3
    recording.note([], [], 6.0)
    recording.close()
    assert len(forced) >= 5


def test_a_disk_that_is_full_leaves_whole_pieces_only(private: Path, monkeypatch):
    recording = begin_recording("me")
    recording.append(0, b"abc")

    class Full:
        def __init__(self, file):
            self._file = file

        def write(self, data):
            self._file.write(data[:1])
            self._file.flush()
            raise OSError(28, "No space left on device")

        def close(self):
            self._file.close()

    file = recording._file
    recording._file = Full(file)
    with pytest.raises(OutputError, match="Free some space: what was recorded so far is kept"):
        recording.append(1, b"def")
    assert recording.path.read_bytes() == b"abc"
    recording._file = file
    assert recording.append(1, b"def") == 2
    assert recording.path.read_bytes() == b"abcdef"


def test_no_recording_begins_without_space(private: Path, monkeypatch):
    monkeypatch.setattr(pieces, "LEAST_FREE_BYTES", 10**18)
    with pytest.raises(OutputError, match="GB free for a recording"):
        begin_recording("me")
    assert list(recordings_folder().iterdir()) == []


def test_a_recording_without_end_is_stopped(private: Path, monkeypatch):
    monkeypatch.setattr(pieces, "LARGEST_BYTES", 5)
    recording = begin_recording("me")
    recording.append(0, b"abc")
    with pytest.raises(OutputError, match="under 4 GB"):
        recording.append(1, b"def")
    assert recording.path.read_bytes() == b"abc"


def test_only_what_nobody_attends_to_is_left_behind(private: Path):
    recording = begin_recording("me")
    recording.append(0, b"abc")
    recording.note([Mark("play", 0, 2.5)], ["0:02: something"], 2.5)
    assert left_behind(lambda attendant: attendant == "me") == []
    (left,) = left_behind(lambda attendant: attendant == "you")
    assert (left.length_s, left.n_bytes, left.days, left.is_old) == (2.5, 3, 0, False)
    again = take_up(left, "you")
    assert again is recording
    assert left_behind(lambda attendant: attendant == "you") == []
    again.erase()
    assert left_behind(_nobody) == []
    assert list(recordings_folder().iterdir()) == []


def test_what_was_forgotten_for_days_is_told(private: Path):
    recording = begin_recording("me")
    recording.begun = datetime.now().astimezone() - timedelta(days=9, hours=1)
    recording.append(0, b"abc")
    recording.note([], [], 1.0)
    (left,) = left_behind(_nobody)
    assert left.days == 9
    assert left.is_old


def test_an_empty_folder_is_removed_once_it_is_not_just_beginning(private: Path):
    recording = begin_recording("me")
    assert left_behind(_nobody) == []
    assert recording.folder.exists()
    old_s = time.time() - 3600
    os.utime(recording.folder, (old_s, old_s))
    assert left_behind(_nobody) == []
    assert not recording.folder.exists()


@posix
def test_a_killed_process_leaves_its_recording_to_the_next_one(private: Path):
    program = (
        "import sys, time\n"
        "from posture.filming import pieces\n"
        "from posture.filming.marks import Mark\n"
        "pieces.LEAST_FREE_BYTES = 0\n"
        "recording = pieces.begin_recording('me')\n"
        "recording.append(0, b'abc')\n"
        "recording.note([Mark('far', 0, 3)], [], 3.0)\n"
        "print(recording.folder, flush=True)\n"
        "time.sleep(60)\n"
    )
    env = os.environ | {"PYTHONPATH": str(ROOT)}
    with subprocess.Popen([sys.executable, "-c", program], env=env, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None
        folder = Path(other.stdout.readline().strip())
        assert left_behind() == [], "another process records it"
        other.send_signal(signal.SIGKILL)
        other.wait()
    (left,) = left_behind()
    assert left.folder == folder
    recording = take_up(left, "me")
    assert recording.marks == (Mark("far", 0, 3),)
    assert recording.length_s == 3.0
    assert recording.path.read_bytes() == b"abc"
    assert left_behind(lambda attendant: True) == []
    recording.erase()
    with pytest.raises(OutputError, match="it is gone, or another page has it"):
        take_up(left)


@pytest.mark.parametrize("text", ["", "{", '{"schema": "posture.marks/1"}', '{"begun": 3, "length_s": [], "notes": 4}'])
def test_a_film_whose_marks_are_damaged_can_be_taken_up(private: Path, text: str):
    folder = recordings_folder() / "2026-01-02-0304-abc"
    folder.mkdir()
    (folder / "film.webm").write_bytes(b"abc")
    (folder / "marks.json").write_text(text)
    (left,) = left_behind()
    assert left.length_s is None
    recording = take_up(left)
    assert recording.marks == ()
    assert recording.path.read_bytes() == b"abc"


def test_marks_are_written_whole_beside_the_film(private: Path):
    recording = begin_recording("me")
    recording.append(0, b"abc")
    recording.note([Mark("play", 0, 2)], ["0:01: the computer slept"], 4.0)
    written = json.loads((recording.folder / "marks.json").read_text())
    assert written["notes"] == ["0:01: the computer slept"]
    assert written["length_s"] == 4.0
    assert written["marks"] == [{"step": "play", "start_s": 0, "end_s": 2, "before_s": 0.0}]


@pytest.mark.slow
@pytest.mark.parametrize("share", [1.0, 0.97, 0.71])
def test_a_film_that_was_cut_off_anywhere_measures(private: Path, webm: bytes, share: float):
    recording = begin_recording("me")
    cut = webm[: int(len(webm) * share)]
    for number, start in enumerate(range(0, len(cut), 50_000)):
        recording.append(number, cut[start : start + 50_000])
    # No close: its process is killed here.
    measured = measure_clip(recording.path, Settings(mirrored="no", roll_deg=0.0, pitch_deg=0.0, focal_px=769.0, every_s=0.2))
    clip = measured.summary.clip
    assert clip.duration_s == pytest.approx(FILM_S * share, abs=1.5)
    assert clip.faces_found_share > 0.95
    truth = np.genfromtxt(ROOT / "sample_videos" / "steady-left-tilt.truth.csv", delimiter=",", names=True)
    read = measured.found.read
    expected = np.interp(read.time_s, truth["time_s"], truth["tilt_deg"])
    assert np.nanmedian(np.abs(read.angles_deg[:, 0] - expected)) < 1
