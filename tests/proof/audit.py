"""An audit of many clips, some bad and one that crashes its process: killed in the middle and resumed, it must end the same.

    python -m tests.proof.audit [--clips 60] [--workers 2]

Short clips are cut from a sample clip; beside them lie six files that no measurement can come of and one on which the child's
process is made to crash. The audit runs undisturbed, then in another folder until half of it is done, is killed with SIGKILL and
resumed. Tables, results.csv and every file must be equal, and no process may stay behind.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

import av
import numpy as np

from posture.batch.child import Job, measure_job
from posture.batch.children import get_ready
from posture.batch.clips import in_order, measure_clips
from posture.batch.table import results_table, write_results_csv
from posture.measure import Measurement, Settings

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_videos" / "straight-and-lively.mp4"

CRASHES = "crashes"
"""Stem of the clip on which the child crashes."""

CLIP_FRAMES = (90, 150)
"""Shortest and longest clip, in frames of the sample: 3 to 5 s."""

WIDTH_PX, HEIGHT_PX = 640, 360

KILL_SHARE = 0.5
"""Of the clips that are done when the audit is killed."""


@dataclass(frozen=True)
class Run:
    """What came of a run: its table, its exit status, and how long it took."""

    table: str
    status: int
    seconds: float


def crash_on_one(job: Job, on_frame: Any) -> Measurement:
    """Measure a clip, but end this process as a fault in native code would on the one that is named for it."""
    if job.path.stem == CRASHES:
        os.kill(os.getpid(), signal.SIGSEGV)
    return measure_job(job, on_frame)


def write_clips(folder: Path, n: int) -> list[Path]:
    """Cut n clips out of the sample, all different; write the bad ones between them."""
    folder.mkdir()
    lengths = np.random.default_rng(0).integers(*CLIP_FRAMES, size=n, endpoint=True)
    good: list[Path] = []
    while len(good) < n:
        # The sample is read again from its beginning, with the next lengths, until there are enough.
        with av.open(str(SAMPLE)) as film:
            frames = film.decode(video=0)
            while len(good) < n:
                part = list(islice(frames, int(lengths[len(good)])))
                if len(part) < CLIP_FRAMES[0]:
                    break
                good.append(_write_clip(folder / f"clip-{len(good):02d}.mp4", part, film.streams.video[0].average_rate))
    clips = list(good)
    crashing = folder / f"{CRASHES}.mp4"
    shutil.copy(good[0], crashing)
    for k, path in enumerate([*write_bad_files(folder, good[0]), crashing]):
        clips.insert(min(len(clips), 3 + k * (n // 7 + 1)), path)
    return clips


def write_bad_files(folder: Path, good: Path) -> list[Path]:
    """Six files that no measurement can come of."""
    data = good.read_bytes()
    contents = {
        "cut-off.mp4": data[: len(data) // 2],
        "text.mp4": b"Filmed on Monday, with the left eye covered.\n",
        "nothing.mp4": b"",
        "noise.mp4": np.random.default_rng(1).bytes(20_000),
        "half-a-photograph.jpg": b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00",
    }
    for name, content in contents.items():
        (folder / name).write_bytes(content)
    sound = folder / "sound.mp4"
    with av.open(str(sound), "w") as container:
        stream = container.add_stream("aac", rate=44100)
        for _ in range(40):
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
            frame.rate = 44100
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return [*(folder / name for name in contents), sound]


def run_audit(clips: list[Path], out: Path, workers: int, resume: bool) -> int:
    """The audit itself, in this process; prints the table and returns how many clips were taken from before."""
    from tests.proof.audit import crash_on_one as work  # Under a name by which a child finds it, also when this is the program.

    get_ready()
    jobs = [Job(clip, Settings(mirrored="no")) for clip in clips]
    outcomes = list(in_order(measure_clips(jobs, out, workers=workers, resume=resume, work=work)))
    write_results_csv(out, outcomes)
    print(results_table(outcomes))
    return sum(outcome.skipped for outcome in outcomes)


def prove(folder: Path, n: int, workers: int) -> list[str]:
    """Run the audit twice, killed and resumed the second time; returns what differs."""
    began_s = time.monotonic()
    clips = write_clips(folder / "clips", n)
    print(f"clips: {len(clips)}, of which cut from the sample: {n}; written in {time.monotonic() - began_s:.0f} s")
    whole, cut = folder / "whole", folder / "cut"

    undisturbed = _run(clips, whole, workers)
    print(f"undisturbed, {workers} at a time: {undisturbed.seconds:.0f} s, status {undisturbed.status}")
    print(f"  {undisturbed.table.splitlines()[-1]}")

    done, left_s = _kill_in_the_middle(clips, cut, workers)
    print(f"killed with {done} summaries on disk; the last process was gone after {left_s:.2f} s")
    strays = [path.name for path in cut.iterdir() if path.name.startswith(".writing-")]
    resumed = _run(clips, cut, workers, "--resume")
    print(f"resumed: {resumed.seconds:.0f} s, status {resumed.status}")

    differ = []
    if not undisturbed.table or undisturbed.status or resumed.status:
        differ.append("a run failed")
    if undisturbed.table != resumed.table:
        differ.append("the tables")
    first, second = (_files(path, strays) for path in (whole, cut))
    differ += [name for name in sorted(first.keys() | second.keys()) if first.get(name) != second.get(name)]
    rows = undisturbed.table.splitlines()[1:]
    crashed = [row for row in rows if row.startswith(CRASHES) and "signal SEGV" in row]
    if len(crashed) != 1 or len(first) != 2 * n + 1:
        differ.append(f"rows of the crash: {len(crashed)}, files: {len(first)}")
    print(f"row of the crash: {' '.join(' '.join(crashed).split())}")
    print(f"files compared: {len(first)}; half written and left behind by the kill: {len(strays)}")
    print(f"different: {', '.join(differ) or 'nothing'}")
    return differ


def _write_clip(path: Path, frames: list[av.VideoFrame], rate: Any) -> Path:
    """Encode frames, smaller, as a film of its own."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=rate, options={"preset": "ultrafast", "crf": "20"})
        stream.width, stream.height, stream.pix_fmt = WIDTH_PX, HEIGHT_PX, "yuv420p"
        for frame in frames:
            small = frame.reformat(WIDTH_PX, HEIGHT_PX, "yuv420p")
            small.pts = None
            container.mux(stream.encode(small))
        container.mux(stream.encode())
    return path


def _command(clips: list[Path], out: Path, workers: int) -> list[str]:
    """The command that runs the audit in a process of its own."""
    here = [sys.executable, "-m", "tests.proof.audit", "--out", str(out), "--workers", str(workers)]
    return [*here, *(f"--clip={clip}" for clip in clips)]


def _run(clips: list[Path], out: Path, workers: int, *more: str) -> Run:
    """Run the audit to its end."""
    began_s = time.monotonic()
    done = subprocess.run([*_command(clips, out, workers), *more], cwd=ROOT, stdout=subprocess.PIPE, text=True, check=False)
    return Run(done.stdout, done.returncode, time.monotonic() - began_s)


def _kill_in_the_middle(clips: list[Path], out: Path, workers: int) -> tuple[int, float]:
    """Kill the audit when half of it is done; returns the summaries on disk and how long any process stayed."""
    with subprocess.Popen(
        _command(clips, out, workers), cwd=ROOT, stdout=subprocess.DEVNULL, start_new_session=True
    ) as program:
        while len(list(out.glob("*.summary.json"))) < KILL_SHARE * len(clips):
            if program.poll() is not None:
                raise RuntimeError("Expected the audit to be at work; it ended before half of it was done.")
            time.sleep(0.01)
        program.kill()
        program.wait()
        began_s = time.monotonic()
        while _alive(program.pid):
            if time.monotonic() - began_s > 60:
                raise RuntimeError("Expected the children to end with the audit; some stayed for a minute.")
            time.sleep(0.01)
    return len(list(out.glob("*.summary.json"))), time.monotonic() - began_s


def _alive(session: int) -> int:
    """How many processes of a session there are."""
    n = 0
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError, IndexError):
            state, _, _, own = (folder / "stat").read_text().rpartition(") ")[2].split()[:4]
            n += int(own) == session and state != "Z"
    return n


def _files(folder: Path, without: list[str]) -> dict[str, bytes]:
    """The files of a folder and what they hold."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.name not in without}


def main() -> int:
    """Prove, or be the audit that the proof runs."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--clips", type=int, default=60)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--clip", type=Path, action="append", help=argparse.SUPPRESS)
    parser.add_argument("--out", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--resume", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.out is not None:
        skipped = run_audit(asked.clip, asked.out, asked.workers, asked.resume)
        print(f"  taken from before: {skipped}", file=sys.stderr)
        return 0
    with tempfile.TemporaryDirectory(prefix="posture-audit-") as folder:
        return 1 if prove(Path(folder), asked.clips, asked.workers) else 0


if __name__ == "__main__":
    sys.exit(main())
