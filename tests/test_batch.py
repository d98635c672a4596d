"""Clips measured in processes of their own: crashes, hangs, order, names, resuming, and what is told of it."""

import contextlib
import csv
import ctypes
import dataclasses
import io
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pytest

from posture import __version__
from posture.batch.child import Job, Progress
from posture.batch.children import measure_in_child
from posture.batch.clips import Outcome, in_order, measure_clips
from posture.batch.earlier import EarlierResults
from posture.batch.table import COLUMNS, RESULTS_NAME, results_csv, results_table, write_results_csv
from posture.clip.frame import Frame, Upright
from posture.clip.planes import ArrayPicture
from posture.errors import ClipError, CrashError, FaultError, ModelError, OutputError, PostureError
from posture.face.model import MODEL_SHA256, POSE_MODEL_SHA256
from posture.geometry.devices import DEVICES
from posture.measure import Settings
from posture.signal.chin_zero import ChinZero
from posture.summary.files import write_results
from posture.summary.record import (
    Check,
    ClipRecord,
    Conditions,
    Habitual,
    HeldAngle,
    Interval,
    MadeWith,
    ReachRecord,
    Summary,
    Unsided,
)

ROOT = Path(__file__).parents[1]


def grey_at(time_s: float) -> Frame:
    """A small grey frame."""
    return Frame(time_s, ArrayPicture(np.full((48, 64, 3), 90, np.uint8)), Upright(64, 48))


def summary_of(job: Job, sha256: str, **changes: object) -> Summary:
    """A record of a clip of 640 x 480 in which nothing was found, as a job would give it."""
    flat = Interval(value=0, low=-5, high=5)
    lens = job.settings.lens(640, None)
    used = {
        "shoulder_model_sha256": POSE_MODEL_SHA256,
        "focal_px": round(lens.focal_px, 3),
        "focal_sd_share": round(lens.sd_share, 4),
    }
    values = {
        "sided": job.settings.mirrored != "unknown",
        "clip": ClipRecord(
            label=job.label,
            sha256=sha256,
            duration_s=2.0,
            width_px=640,
            height_px=480,
            frames_analysed=30,
            faces_found_share=0,
            mirrored=job.settings.mirrored,
            upright="as-filmed",
            camera_roll_deg=flat,
            camera_pitch_deg=flat,
            persons=0,
            person=None,
        ),
        "conditions": job.conditions or Conditions(),
        "habitual": None,
        "postures": [],
        "unsided": None,
        "moment": None,
        "rhythm": None,
        "symmetry": None,
        "checks": [Check(name="face", level="fail", text="No face was found. Film with the face turned to the camera.")],
        "made_with": MadeWith(
            posture=__version__,
            mediapipe=version("mediapipe"),
            model_sha256=MODEL_SHA256,
            settings=job.settings.stated() | used,
        ),
    }
    return Summary(**(values | changes))


class Made:
    """Stands in for a measurement."""

    def __init__(self, summary: Summary) -> None:
        self.summary = summary

    def save(self, folder: Path, stem: str) -> tuple[Path, Path]:
        return write_results(folder, stem, self.summary, "time_s\n")


def sha256_of(job: Job) -> str:
    import hashlib

    return hashlib.sha256(job.path.read_bytes()).hexdigest()


def do_as_the_file_says(job: Job, on_frame) -> Made:
    """The work of a child, written in the first word of the clip."""
    word, _, rest = job.path.read_text().partition(" ")
    if word == "signal":
        os.kill(os.getpid(), int(rest))
        time.sleep(30)
    elif word == "leave":
        os._exit(7)
    elif word == "hang":
        time.sleep(30)
    elif word == "slow":
        steps = int(rest or 20)
        for step in range(steps):
            time.sleep(0.1)
            on_frame(grey_at(step / 10), [], step / steps)
    elif word == "stuck":
        Path(rest.strip()).touch()
        # A call that keeps the interpreter locked, as native code that hangs may.
        ctypes.PyDLL(None).sleep(60)
    elif word == "read":
        on_frame(grey_at(float(rest)), [], 1.0)
        time.sleep(3)
    elif word == "fault":
        raise ZeroDivisionError("one by none")
    elif word == "refuse":
        raise ClipError("Expected a clip; a story came. Choose another.")
    elif word == "library":
        raise ImportError("libGL.so.1: cannot open shared object file: No such file or directory")
    elif word == "meet":
        mine, other = rest.split()
        (job.path.parent / mine).touch()
        deadline_s = time.monotonic() + 10
        while not (job.path.parent / other).exists():
            assert time.monotonic() < deadline_s
            time.sleep(0.02)
    return Made(summary_of(job, sha256_of(job)))


def jobs_of(folder: Path, **words: str) -> list[Job]:
    """A clip for each name, with what its child is to do."""
    jobs = []
    for name, word in words.items():
        path = folder / f"{name}.mp4"
        path.write_text(f"{word} ")
        jobs.append(Job(path, Settings(mirrored="no")))
    return jobs


def run_jobs(jobs: list[Job], out: Path, **named) -> list[Outcome]:
    """Measure and give the outcomes in order."""
    return list(in_order(measure_clips(jobs, out, work=do_as_the_file_says, **named)))


def wait_until(holds, limit_s: float) -> None:
    """Wait for something, not for ever."""
    deadline_s = time.monotonic() + limit_s
    while not holds():
        assert time.monotonic() < deadline_s
        time.sleep(0.02)


def processes_of(session: int) -> list[str]:
    """Command lines of the processes that a program started in a session of its own still has."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError, IndexError):
            after_name = (folder / "stat").read_text().rpartition(") ")[2].split()
            if int(after_name[3]) == session and after_name[0] != "Z":
                found.append((folder / "cmdline").read_text().replace("\0", " "))
    return found


@pytest.mark.parametrize(
    ("word", "error", "said"),
    [
        (f"signal {int(signal.SIGSEGV)}", CrashError, r"'b\.mp4'; .* crashed on it \(signal SEGV\).* copy it again"),
        (f"signal {int(signal.SIGKILL)}", CrashError, r"'b\.mp4'; .* \(signal KILL\), most often for want of memory"),
        ("leave", CrashError, r"'b\.mp4'; .* crashed on it \(status 7\)"),
        ("fault", FaultError, r"'b\.mp4'; a fault of this program .*ZeroDivisionError: one by none"),
        ("refuse", ClipError, "^Expected a clip; a story came. Choose another.$"),
    ],
)
def test_one_bad_clip_is_one_row(tmp_path: Path, word: str, error: type[PostureError], said: str) -> None:
    first, bad, last = run_jobs(jobs_of(tmp_path, a="well", b=word, c="well"), tmp_path / "out")
    assert type(bad.error) is error
    with pytest.raises(error, match=said):
        raise bad.error
    assert bad.summary is None
    assert first.summary is not None
    assert last.summary is not None
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "a.summary.json", "a.track.csv", "c.summary.json", "c.track.csv",
    ]  # fmt: skip
    if error is FaultError:
        assert "do_as_the_file_says" in bad.error.__notes__[0]


def test_a_hanging_clip_is_ended(tmp_path: Path) -> None:
    began_s = time.monotonic()
    first, hung, slow = run_jobs(jobs_of(tmp_path, a="well", b="hang", c="slow 45"), tmp_path / "out", stall_s=3.0)
    assert isinstance(hung.error, CrashError)
    assert "'b.mp4'; it made no progress for 3 s" in str(hung.error)
    assert 3 <= hung.seconds < 10
    assert time.monotonic() - began_s < 28
    assert first.error is None
    # Longer than the bound, but never still for so long.
    assert slow.seconds >= 4
    assert slow.error is None
    assert not multiprocessing.active_children()


def test_opening_a_large_file_may_take_longer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("posture.batch.children.READ_BYTES_PER_S", 0.5)
    jobs = jobs_of(tmp_path, a="meet me me")  # 12 bytes, for which 24 s are given.
    outcomes = run_jobs(jobs, tmp_path / "out", stall_s=-4.0)
    assert outcomes[0].error is None


def test_reading_a_long_clip_may_take_longer(tmp_path: Path) -> None:
    short, long = run_jobs(jobs_of(tmp_path, a="read 1", b="read 4000"), tmp_path / "out", stall_s=1.5)
    assert isinstance(short.error, CrashError)
    assert long.error is None


def test_a_missing_library_stops_all(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match=r"system library libGL; it is not installed.*apt-get install"):
        run_jobs(jobs_of(tmp_path, a="library", b="well"), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_workers_work_at_once_and_the_order_stays(tmp_path: Path) -> None:
    jobs = jobs_of(tmp_path, a="slow", b="meet one two", c="meet two one", d="well")
    told: dict[int, list[float | None]] = {}
    ended = []

    def note(outcomes):
        for outcome in outcomes:
            ended.append(outcome.number)
            yield outcome

    running = measure_clips(
        jobs,
        tmp_path / "out",
        workers=3,
        on_progress=lambda number, share: told.setdefault(number, []).append(share),
        work=do_as_the_file_says,
    )
    outcomes = list(in_order(note(running)))
    assert [o.number for o in outcomes] == [0, 1, 2, 3]
    assert all(o.error is None for o in outcomes)
    assert ended[-1] == 0
    assert sorted(told) == [0, 1, 2, 3]
    assert told[0][0] == 0
    assert max(told[0]) > 0.5


def test_one_worker_does_one_clip_at_a_time(tmp_path: Path) -> None:
    outcomes = run_jobs(jobs_of(tmp_path, b="meet one two", c="meet two one"), tmp_path / "out", stall_s=1.0)
    assert isinstance(outcomes[0].error, CrashError)
    assert outcomes[1].error is None


def test_closing_ends_the_children(tmp_path: Path) -> None:
    running = measure_clips(
        jobs_of(tmp_path, a="well", b="hang", c="hang"), tmp_path / "out", workers=3, work=do_as_the_file_says
    )
    with contextlib.closing(running):
        assert next(running).number == 0
        assert len(multiprocessing.active_children()) == 2
    assert not multiprocessing.active_children()


@pytest.mark.parametrize("workers", [1, 2])
def test_two_clips_of_the_same_stem(tmp_path: Path, workers: int) -> None:
    jobs = []
    for name, word in (("one", "slow"), ("two", "well"), ("three", "refuse")):
        (tmp_path / name).mkdir()
        jobs += jobs_of(tmp_path / name, clip=word)
    first, second, _ = run_jobs(jobs, tmp_path / "out", workers=workers)
    assert first.paths[1].name == "clip.summary.json"
    assert second.paths[1].name == f"clip-{sha256_of(jobs[1])[:8]}.summary.json"
    assert json.loads(first.paths[1].read_text())["clip"]["sha256"] == sha256_of(jobs[0])
    again = run_jobs([jobs[1], jobs[0]], tmp_path / "out", workers=workers)
    assert [o.paths for o in again] == [second.paths, first.paths]


def test_a_result_that_cannot_be_kept_is_one_row(tmp_path: Path) -> None:
    jobs = jobs_of(tmp_path, a="well", b="well b")
    out = tmp_path / "out"
    out.mkdir()
    for name in ("a", f"a-{sha256_of(jobs[0])[:8]}"):
        (out / f"{name}.summary.json").write_text("mine")
    first, second = run_jobs(jobs, out)
    assert isinstance(first.error, OutputError)
    assert second.error is None


def later(job: Job, **changes: object) -> Job:
    """The job with other settings, conditions or label."""
    own = {name: changes.pop(name) for name in ("conditions", "label") if name in changes}
    return dataclasses.replace(job, settings=dataclasses.replace(job.settings, **changes), **own)


def edited(path: Path, *keys: str, value: object) -> None:
    """A JSON file with one value changed."""
    whole = json.loads(path.read_text())
    inner = whole
    for key in keys[:-1]:
        inner = inner[key]
    inner[keys[-1]] = value
    path.write_text(json.dumps(whole))


SAME = {
    "nothing": lambda job, out: job,
    "another name on disk": lambda job, out: [(out / f"a{e}").rename(out / f"z{e}") for e in (".summary.json", ".track.csv")],
    "a date from the file": lambda job, out: [
        edited(out / "a.summary.json", "conditions", "filmed_on", value="2019-05-01"),
        edited(out / "a.summary.json", "conditions", "filmed_on_source", value="the container"),
    ],
    "another clip's summary beside it": lambda job, out: (out / "b.summary.json").write_text("no summary"),
}
OTHER = {
    # As many pixels, but known much better than where nothing was stated, so that the intervals are others.
    "the same focal length stated": lambda job, out: later(job, focal_px=576.0),
    "pitch": lambda job, out: later(job, pitch_deg=0.0),
    "how well the roll is known": lambda job, out: later(job, roll_sd_deg=0.5),
    "how well the pitch is known": lambda job, out: later(job, pitch_sd_deg=1.0),
    "upright from the scene": lambda job, out: later(job, from_scene=True),
    "the kind of camera": lambda job, out: later(job, device="phone"),
    "the camera stated as target": lambda job, out: later(job, target_cm=(0.0, 0.0, 0.0)),
    "a target": lambda job, out: later(job, target_cm=(-30.0, 10.0, 5.0)),
    "times on the target": lambda job, out: later(job, on_target=((10.0, 20.0),)),
    "no time on the target": lambda job, out: later(job, on_target=()),
    "times of the head set": lambda job, out: later(job, head_set=((1.0, 2.0),)),
    "a chin zero": lambda job, out: later(job, chin_zero=ChinZero(-5.0, 4.5, 1)),
    "the shoulder model": lambda job, out: edited(
        out / "a.summary.json", "made_with", "settings", "shoulder_model_sha256", value="0" * 64
    ),
    "mirroring": lambda job, out: later(job, mirrored="yes"),
    "roll": lambda job, out: later(job, roll_deg=3.0),
    "spacing": lambda job, out: later(job, every_s=0.0),
    "focal length": lambda job, out: later(job, focal_px=900.0),
    "angle of view": lambda job, out: later(job, view_deg=60.0),
    "label": lambda job, out: later(job, label="P8"),
    "conditions": lambda job, out: later(job, conditions=Conditions(target="camera")),
    "a date that was stated": lambda job, out: edited(out / "a.summary.json", "conditions", "filmed_on", value="2019-05-01"),
    "a focal length no longer stated": lambda job, out: edited(
        out / "a.summary.json", "made_with", "settings", "focal_px", value=900.0
    ),
    "the file": lambda job, out: job.path.write_text("well anew"),
    "this program": lambda job, out: edited(out / "a.summary.json", "made_with", "posture", value="0.0.1"),
    "the landmark library": lambda job, out: edited(out / "a.summary.json", "made_with", "mediapipe", value="0.0.1"),
    "the model": lambda job, out: edited(out / "a.summary.json", "made_with", "model_sha256", value="0" * 64),
    "the track is gone": lambda job, out: (out / "a.track.csv").unlink(),
    "the summary is damaged": lambda job, out: (out / "a.summary.json").write_text(
        (out / "a.summary.json").read_text().replace('"symmetry"', '"sympathy"')
    ),
}


@pytest.mark.parametrize(
    ("change", "skips"),
    [*((change, True) for change in SAME.values()), *((change, False) for change in OTHER.values())],
    ids=[*SAME, *OTHER],
)
def test_resume_skips_only_what_is_equal(tmp_path: Path, change, skips: bool) -> None:
    (job,) = jobs_of(tmp_path, a="well")
    job = later(job, label="P7")
    out = tmp_path / "out"
    Made(summary_of(job, sha256_of(job))).save(out, "a")
    changed = change(job, out)
    job = changed if isinstance(changed, Job) else job
    found = EarlierResults(out, [job]).find(job)
    assert (found is not None) == skips
    if found is not None:
        assert found.summary.clip.sha256 == sha256_of(job)
        assert all(path.is_file() for path in found.paths)


FULL = {
    "mirrored": "yes", "roll_deg": -3.0, "pitch_deg": 12.0, "roll_sd_deg": 0.7, "pitch_sd_deg": 2.0, "every_s": 0.1,
    "person": 2, "device": "laptop", "target_cm": (-30.0, 10.0, 5.0), "on_target": ((10.0, 20.5), (62.25, 65.0)),
    "head_set": ((1.0, 2.0),), "chin_zero": ChinZero(-5.125, 2.6, 3),
}  # fmt: skip
"""Settings of which none is as it is if nothing is said."""


@pytest.mark.parametrize("change", [None, *FULL, "from_scene"])
def test_resume_of_a_clip_with_many_settings(tmp_path: Path, change: str | None) -> None:
    """Taken when every one of them is equal, and measured again when any one of them is as if nothing had been said."""
    (job,) = jobs_of(tmp_path, a="well")
    job, out = later(job, **FULL), tmp_path / "out"
    Made(summary_of(job, sha256_of(job))).save(out, "a")
    usual = getattr(Settings(), change) if change else None
    other = later(job, **{change: True if change == "from_scene" else usual}) if change else job
    assert (EarlierResults(out, [other]).find(other) is None) == (change is not None)


@pytest.mark.parametrize("device", DEVICES)
def test_resume_takes_the_same_kind_of_camera(tmp_path: Path, device: str) -> None:
    (job,) = jobs_of(tmp_path, a="well")
    job, out = later(job, device=device), tmp_path / "out"
    Made(summary_of(job, sha256_of(job))).save(out, "a")
    assert EarlierResults(out, [job]).find(job) is not None
    others = [later(job, device=other) for other in DEVICES if other != device]
    assert [EarlierResults(out, [other]).find(other) for other in others] == [None] * len(others)


@pytest.mark.parametrize(
    ("mine", "other"),
    [
        ({"on_target": ((3723.255, 3800.0),)}, {"on_target": ((3723.259, 3800.0),)}),
        ({"head_set": ((3723.255, 3800.0),)}, {"head_set": ((3723.259, 3800.0),)}),
        ({"target_cm": (100.0001, 0.0, 0.0)}, {"target_cm": (100.0004, 0.0, 0.0)}),
        ({"chin_zero": ChinZero(-12.34561, 4.5, 1)}, {"chin_zero": ChinZero(-12.34564, 4.5, 1)}),
    ],
    ids=lambda value: next(iter(value)),
)
def test_resume_tells_settings_apart_to_the_last_digit(tmp_path: Path, mine: dict, other: dict) -> None:
    (job,) = jobs_of(tmp_path, a="well")
    job, out = later(job, **mine), tmp_path / "out"
    Made(summary_of(job, sha256_of(job))).save(out, "a")
    assert EarlierResults(out, [job]).find(job) is not None
    assert EarlierResults(out, [job]).find(later(job, **other)) is None


def test_resumed_results_are_those_of_an_undisturbed_run(tmp_path: Path) -> None:
    jobs = jobs_of(tmp_path, a="well", b="refuse", c="well c", d="well d")
    undisturbed = run_jobs(jobs, tmp_path / "whole")
    run_jobs(jobs[:2], tmp_path / "cut")
    resumed = run_jobs(jobs, tmp_path / "cut", resume=True)
    assert [o.skipped for o in resumed] == [True, False, False, False]
    assert results_table(resumed) == results_table(undisturbed)
    assert results_csv(resumed) == results_csv(undisturbed)
    again = run_jobs(jobs, tmp_path / "cut")
    assert not any(o.skipped for o in again)


def test_copies_of_a_clip_keep_a_result_each(tmp_path: Path) -> None:
    first, copy = jobs_of(tmp_path, a="well", b="well")
    out = tmp_path / "out"
    run_jobs([first], out)
    outcomes = run_jobs([first, copy], out, resume=True)
    assert [(o.skipped, o.paths[1].name) for o in outcomes] == [(True, "a.summary.json"), (False, "b.summary.json")]
    # A clip that was renamed is known by what it holds.
    assert run_jobs([copy], out, resume=True)[0].paths[1].name == "b.summary.json"
    (out / "b.summary.json").unlink()
    assert run_jobs([copy], out, resume=True)[0].paths[1].name == "a.summary.json"


def test_measure_in_child_tells_progress_and_raises(tmp_path: Path) -> None:
    told: list[Progress] = []
    slow, bad = jobs_of(tmp_path, a="slow", b="refuse")
    measured = measure_in_child(slow, told.append, work=do_as_the_file_says)
    assert measured.summary.clip.sha256 == sha256_of(slow)
    pictures = [p.jpeg for p in told if p.jpeg]
    assert 2 <= len(pictures) <= 5
    assert all(p.startswith(b"\xff\xd8") for p in pictures)
    assert max(p.share for p in told) > 0.5
    with pytest.raises(ClipError, match="a story came"):
        measure_in_child(bad, work=do_as_the_file_says)


def test_measure_in_child_can_be_stopped_while_nothing_is_new(tmp_path: Path) -> None:
    (job,) = jobs_of(tmp_path, a="hang")
    calls = []

    def stop(progress: Progress) -> None:
        calls.append(progress)
        if len(calls) == 4:
            raise InterruptedError

    with pytest.raises(InterruptedError):
        measure_in_child(job, stop, work=do_as_the_file_says)
    assert not multiprocessing.active_children()


UNGUARDED = """
import sys
from pathlib import Path
from posture.batch.child import Job
from posture.batch.children import measure_in_child
from posture.measure import Settings
print("begins")
print(len(measure_in_child(Job(Path("face.png"), Settings())).summary.clip.sha256))
print([name for name in ("mediapipe", "streamlit", "matplotlib") if name in sys.modules])
"""


def test_a_script_without_a_guard_is_not_run_again_in_the_child(tmp_path: Path, astronaut: np.ndarray) -> None:
    import cv2

    cv2.imwrite(str(tmp_path / "face.png"), astronaut[:, :, ::-1])
    (tmp_path / "script.py").write_text(UNGUARDED)
    done = subprocess.run(
        [sys.executable, "script.py"],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.stderr == ""
    assert done.stdout.split("\n") == ["begins", "64", "[]", ""]


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere a child that hangs in native code outlives a killed parent")
def test_a_child_stuck_in_native_code_ends_with_its_parent(tmp_path: Path) -> None:
    (tmp_path / "a.mp4").write_text(f"stuck {tmp_path / 'begun'}")
    code = (
        "from pathlib import Path; from posture.batch.child import Job; from posture.batch.children import measure_in_child;"
        "from posture.measure import Settings; from tests.test_batch import do_as_the_file_says;"
        f"measure_in_child(Job(Path({str(tmp_path / 'a.mp4')!r}), Settings()), work=do_as_the_file_says)"
    )
    with subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, start_new_session=True) as program:
        wait_until((tmp_path / "begun").exists, 60)
        assert len(processes_of(program.pid)) >= 3
        program.kill()
        program.wait()
        wait_until(lambda: not processes_of(program.pid), 10)


def test_started_anew_instead_of_forked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("posture.batch.children._context", lambda: multiprocessing.get_context("spawn"))
    crashed, slow = run_jobs(jobs_of(tmp_path, a=f"signal {int(signal.SIGSEGV)}", b="slow"), tmp_path / "out", workers=2)
    assert "signal SEGV" in str(crashed.error)
    assert slow.error is None


def test_the_process_that_forks_has_one_thread() -> None:
    code = (
        "import posture.batch.preload, sys, threading; print('mediapipe' in sys.modules, 'posture.measure' in sys.modules);"
        "print([line.split()[1] for line in open('/proc/self/status') if line.startswith('Threads')])"
    )
    if sys.platform != "linux":
        pytest.skip("nothing is forked here")
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.split("\n") == ["True True", "['1']", ""]


def angle(value: float, low: float, high: float) -> HeldAngle:
    return HeldAngle(value=value, low=low, high=high, middle_half=(value - 1, value + 1))


def outcome_of(name: str, label: str | None = None, mirrored: str = "no", **changes: object) -> Outcome:
    """An outcome with a summary."""
    job = Job(Path(f"/secret/place/{name}.mp4"), Settings(mirrored=mirrored), None, label)
    paths = Path(f"/out/{name}.track.csv"), Path(f"/out/{name}.summary.json")
    return Outcome(0, job, summary_of(job, "ab" * 32, **changes), None, 1.0, False, paths)


def held(**changes: object) -> Habitual:
    values = {
        "tilt_deg": angle(-14.1, -19.7, -8.4),
        "turn_deg": angle(6.2, 1.1, 11.0),
        "chin_deg": angle(-10, -20.4, 0.9),
        "turn_counts": False,
        "tilt_on_trunk_deg": None,
        "tilt_midface_deg": None,
        "head_shift": None,
        "steady_s": 34.6,
        "spells": 9,
        "share_tilt_right": 0,
        "share_tilt_left": 1,
        "share_neither": 0,
        "reach": ReachRecord(tilt_right_deg=0, tilt_left_deg=20, turn_right_deg=12, turn_left_deg=0),
    }
    return Habitual(**(values | changes))


def rows_of(outcomes: list[Outcome]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(results_csv(outcomes))))


def test_table_of_a_habitual_posture() -> None:
    outcome = outcome_of("C1", "P7", habitual=held(), checks=[])
    line = results_table([outcome]).splitlines()[1]
    assert line == (
        "C1    14 to the left shoulder (between 8 and 20)  6 to the right (between 1 and 11)  down by 10 (between 20 down and 1 up)"
        "  35 s"
    )
    (row,) = rows_of([outcome])
    assert tuple(row) == COLUMNS
    assert row["clip"] == "C1"
    assert row["label"] == "P7"
    assert row["sha256"] == "abababab"
    assert row["measured"] == "habitual"
    assert (row["tilt_deg"], row["tilt_low_deg"], row["tilt_high_deg"]) == ("-14.10", "-19.70", "-8.40")
    assert row["steady_s"] == "35"
    assert row["reason"] == row["turn_size_deg"] == ""


def test_table_names_no_side_while_mirroring_is_unknown() -> None:
    size = Interval(value=14.1, low=8.4, high=19.7)
    unsided = Unsided(tilt_size_deg=size, turn_size_deg=size, chin_deg=size, same_direction=True, share_tilted=1)
    checks = [
        Check(name="steady time", level="warn", text="12 s of steady time in 5 spells: enough for a number."),
        Check(name="mirroring", level="warn", text="It is not known whether the picture is mirrored. Settle it."),
    ]
    outcome = outcome_of("C1", mirrored="unknown", unsided=unsided, checks=checks)
    line = results_table([outcome]).splitlines()[1]
    assert "14 (between 8 and 20)" in line
    assert "left" not in line
    assert "right" not in line
    assert line.endswith("12 s    It is not known whether the picture is mirrored.")
    (row,) = rows_of([outcome])
    assert row["tilt_deg"] == row["turn_deg"] == ""
    assert row["tilt_size_deg"] == "14.10"
    assert row["chin_deg"] == "14.10"
    assert row["steady_s"] == "12"


def test_table_of_what_was_not_measured() -> None:
    error = ClipError("Expected a video; '=bad\x1b[2J.mp4' is empty. Copy it again.")
    job = Job(Path("=bad\x1b[2J.mp4"), Settings())
    two = [Check(name="one posture", level="warn", text="Two separate postures were held, so no middle is named. Think.")]
    lying = outcome_of("-4", "@label", habitual=held(tilt_deg=None), checks=[
        Check(name="position", level="fail", text="Position 'lying': gravity is no zero for tilt, so none is given.")])  # fmt: skip
    outcomes = [Outcome(0, job, None, error, 1.0), outcome_of("two", checks=two), lying, outcome_of("none")]
    lines = results_table(outcomes).splitlines()
    assert lines[1].count("not measured") == 3
    assert lines[1].endswith("Expected a video; '=bad?[2J.mp4' is empty. Copy it again.")
    assert lines[2].endswith("Two separate postures were held, so no middle is named.")
    assert lines[3].startswith("-4            not measured  6 to the right")
    assert lines[4].endswith("No face was found.")
    assert lines[-1].startswith("4 clips: 1 with a habitual posture, 2 without one, 1 without a result.")
    rows = rows_of(outcomes)
    assert [row["clip"] for row in rows] == ["'=bad?[2J.mp4", "two", "'-4", "none"]
    assert [row["measured"] for row in rows] == ["no", "two postures", "habitual", "nothing"]
    assert rows[2]["label"] == "'@label"
    assert rows[2]["tilt_deg"] == ""
    assert "secret" not in results_csv(outcomes)


def test_results_csv_replaces_only_its_own_kind(tmp_path: Path) -> None:
    path = write_results_csv(tmp_path / "new", [outcome_of("C1")])
    first = path.read_text()
    write_results_csv(tmp_path / "new", [outcome_of("C1"), outcome_of("C2")])
    assert path.read_text().startswith(first)
    path.write_text("visit,result\n1,2\n")
    with pytest.raises(OutputError, match=f"'{RESULTS_NAME}' to be free; it holds something else and is kept"):
        write_results_csv(tmp_path / "new", [outcome_of("C1")])
    assert path.read_text() == "visit,result\n1,2\n"
