"""Speed beside the bare loop, with the numbers checked against the truth: ``python -m tests.proof.speed [--runs N]``.

The bare loop decodes every frame, converts it whole and gives it to the library's landmarker. Ours finds, follows, fits and keeps
the track of the same frames. The two take turns, each in a process of its own, so that a machine whose speed drifts slows both.
Loading the libraries is not counted, on either side. The clips are rendered heads that wander, at exactly known posture: 1080p at
30 frames a second with a face of 260 px, which the bare loop finds, and of 150 px, which it never does, so that it has next to nothing
to do there; and 720p with one of 45 px. A minute of each is measured: finding the face and its first look take half a second of it. At last several
clips of 20 s are measured with two workers, each in a child process, beside the same number of times that one clip took alone.
"""

from __future__ import annotations

import argparse
import csv
import importlib
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

CLIPS_FOLDER = Path(tempfile.gettempdir()) / "posture-proof-speed"
SEED = 2026
MANY = 6
"""Clips measured with workers."""

REPEATED = 3
"""The clips that are measured show the drawn ones so many times, a minute."""


@dataclass(frozen=True)
class SpeedClip:
    """A clip to be drawn: its picture, the face in it, and how long it is."""

    name: str
    size: tuple[int, int]
    face_px: float
    seconds: float
    rate_hz: float = 30.0


NEAR = SpeedClip("near", (1920, 1080), 260.0, 20.0)
LARGE = SpeedClip("large", (1920, 1080), 150.0, 20.0)
SMALL = SpeedClip("small", (1280, 720), 45.0, 20.0)


def draw_clip(clip: SpeedClip, folder: Path = CLIPS_FOLDER) -> Path:
    """Draw a clip with its truth beside it, unless it is there already."""
    from tests.proof.material import draw_once, load_heads, see_face

    path = folder / f"{clip.name}.mp4"
    if path.exists():
        return path
    heads = load_heads()
    head, rng = heads.load("child_a"), np.random.default_rng(SEED)
    camera = heads.Camera(*clip.size, focal_px=0.9 * max(clip.size))
    room = heads.room(clip.size, seed=2)
    n = round(clip.seconds * clip.rate_hz)
    habit, spread = np.array([-8.0, -6.0, -2.0]), (3.0, 8.0, 5.0)
    wander = np.stack([heads.wander(n, clip.rate_hz, rng, spread[k]) for k in range(3)], 1)
    angles = habit + wander - wander.mean(0)

    def picture(posture: np.ndarray, place: np.ndarray) -> np.ndarray:
        azimuth, elevation = heads.line_of_sight(place)
        rotation = heads.posture_matrix(posture[0], posture[1] + azimuth, posture[2] + elevation)
        return np.asarray(heads.render(head, rotation, camera, tuple(place), room, supersample=1))

    first = see_face(picture(np.zeros(3), np.array([0, 0, 1.0])))
    assert first is not None
    distance = first.size_px / clip.face_px
    places = np.stack([0.1 * np.sin(np.arange(n) / 50), 0.03 * np.cos(np.arange(n) / 70), np.ones(n)], 1) * distance
    frames = (heads.degrade(picture(a, p), rng, 2.0) for a, p in zip(angles, places, strict=True))
    truth: list[dict[str, object]] = [
        {"time_s": k / clip.rate_hz, "tilt_deg": a[0], "turn_deg": a[1]} for k, a in enumerate(angles)
    ]
    return draw_once(path, frames, clip.rate_hz, truth)


def repeat_clip(path: Path) -> Path:
    """The same clip `REPEATED` times over, packet by packet, with its truth."""
    import av

    longer = path.with_name(f"{path.stem}-longer.mp4")
    if longer.exists():
        return longer
    with path.with_suffix(".truth.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    length_s = float(rows[-1]["time_s"]) + float(rows[1]["time_s"])
    with longer.with_suffix(".truth.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        for k in range(REPEATED):
            writer.writerows(row | {"time_s": str(float(row["time_s"]) + k * length_s)} for row in rows)
    part = longer.with_suffix(".part.mp4")
    with av.open(str(part), "w") as target:
        stream = None
        for k in range(REPEATED):
            with av.open(str(path)) as source:
                video = source.streams.video[0]
                stream = stream or target.add_stream_from_template(video)
                for packet in source.demux(video):
                    if packet.pts is None or packet.dts is None:
                        continue
                    shift = round(k * length_s / packet.time_base)
                    packet.pts, packet.dts = packet.pts + shift, packet.dts + shift
                    packet.stream = stream
                    target.mux(packet)
    part.rename(longer)
    return longer


def bare_loop(path: Path) -> dict[str, float]:
    """Decode, convert, landmark every frame."""
    import av
    import mediapipe as mp
    from mediapipe.tasks import python as tasks
    from mediapipe.tasks.python import vision

    from posture.face.model import load_model_bytes

    options = vision.FaceLandmarkerOptions(
        base_options=tasks.BaseOptions(model_asset_buffer=load_model_bytes()), running_mode=vision.RunningMode.VIDEO
    )
    n = faces = 0
    with av.open(str(path)) as container, vision.FaceLandmarker.create_from_options(options) as landmarker:
        container.streams.video[0].thread_type = "AUTO"
        for frame in container.decode(video=0):
            image = mp.Image(image_format=mp.ImageFormat.SRGB, data=frame.to_ndarray(format="rgb24"))
            faces += bool(landmarker.detect_for_video(image, n * 33).face_landmarks)
            n += 1
    return {"frames": n, "found": faces / n}


def ours(path: Path, every_s: float | None = None) -> dict[str, float]:
    """Measure, and compare tilt and turn with the truth frame by frame."""
    from posture.clip import DEFAULT_EVERY_S
    from posture.measure import Settings, measure_clip

    measured = measure_clip(path, Settings(mirrored="no", roll_deg=0, every_s=DEFAULT_EVERY_S if every_s is None else every_s))
    with path.with_suffix(".truth.csv").open(encoding="utf-8") as file:
        rows = [(float(row["time_s"]), float(row["tilt_deg"]), float(row["turn_deg"])) for row in csv.DictReader(file)]
    truth = np.array(rows)
    read = measured.found.read
    angles = read.angles_deg
    true = np.stack([np.interp(read.time_s, truth[:, 0], truth[:, k]) for k in (1, 2)], 1)
    error = np.nanmean(np.abs(angles[:, :2] - true), axis=0)
    return {
        "frames": len(read.time_s),
        "found": float(read.face_found.mean()),
        "tilt_error_deg": float(error[0]),
        "turn_error_deg": float(error[1]),
    }


def timed(which: str, path: Path) -> dict[str, float]:
    """What one of the ways gave and the seconds that it took, in a process of its own."""
    command = [sys.executable, "-m", "tests.proof.speed", "--only", which, "--clip", str(path)]
    done = subprocess.run(
        command, check=True, capture_output=True, text=True, env=os.environ | {"PYTHONPATH": ".", "OPENBLAS_NUM_THREADS": "1"}
    )
    said: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return said


def many(path: Path, workers: int) -> float:
    """Seconds for `MANY` copies of a clip in child processes."""
    from posture.batch.child import Job
    from posture.batch.clips import measure_clips
    from posture.measure import Settings

    with tempfile.TemporaryDirectory() as folder:
        jobs = [Job(path, Settings(mirrored="no"), None, f"copy {k}") for k in range(MANY)]
        started = time.perf_counter()
        outcomes = list(measure_clips(jobs, Path(folder), workers=workers))
        seconds = time.perf_counter() - started
    assert all(outcome.error is None for outcome in outcomes)
    return seconds


def main() -> None:
    """Print frames a second of both, their ratio run by run, and how many times faster than the film plays."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--only", choices=["bare", "every", "default"], help=argparse.SUPPRESS)
    parser.add_argument("--clip", type=Path, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.only:
        for module in ("av", "mediapipe.tasks.python.vision", "posture.measure", "posture.clip.video", "posture.clip.reader"):
            importlib.import_module(module)
        if arguments.only != "bare":
            # As in the child processes in which the program measures.
            importlib.import_module("cv2").setNumThreads(1)
        work = {"bare": bare_loop, "every": lambda path: ours(path, 0.0), "default": ours}[arguments.only]
        started = time.perf_counter()
        said = work(arguments.clip)
        print(json.dumps(said | {"seconds": time.perf_counter() - started}))
        return
    short = draw_clip(LARGE)
    near, large, small = (repeat_clip(draw_clip(clip)) for clip in (NEAR, LARGE, SMALL))
    for clip, path in ((NEAR, near), (LARGE, large)):
        ratios = []
        for run in range(arguments.runs):
            said = {which: timed(which, path) for which in (("bare", "every") if run % 2 == 0 else ("every", "bare"))}
            assert said["bare"]["frames"] == said["every"]["frames"], f"Expected the same frames; {said} came."
            rate = {which: s["frames"] / s["seconds"] for which, s in said.items()}
            ratios.append(rate["every"] / rate["bare"])
            errors = f"tilt off by {said['every']['tilt_error_deg']:.2f}, turn by {said['every']['turn_error_deg']:.2f} degrees"
            found = f"found {100 * said['every']['found']:.1f} % against {100 * said['bare']['found']:.1f} %"
            print(
                f"run {run + 1}: bare {rate['bare']:.1f}, ours {rate['every']:.1f} frames a second; {found}; {errors}",
                flush=True,
            )
        middle, low, high = statistics.median(ratios), min(ratios), max(ratios)
        print(
            f"1080p, face of {clip.face_px:.0f} px, every frame, ours / bare: {middle:.2f} ({low:.2f} to {high:.2f})",
            flush=True,
        )
    for clip, path in ((NEAR, near), (LARGE, large), (SMALL, small)):
        said_default = [timed("default", path) for _ in range(arguments.runs)]
        faster = [REPEATED * clip.seconds / s["seconds"] for s in said_default]
        print(
            f"{clip.size[1]}p, face of {clip.face_px:.0f} px, default rate: {statistics.median(faster):.1f} times as fast as it plays"
            f" ({min(faster):.1f} to {max(faster):.1f}), found {100 * said_default[0]['found']:.1f} %, tilt off by"
            f" {said_default[0]['tilt_error_deg']:.2f} degrees",
            flush=True,
        )
    alone = [timed("default", short)["seconds"] for _ in range(arguments.runs)]
    one = statistics.median(alone)
    for workers in (1, 2):
        seconds = statistics.median(many(short, workers) for _ in range(min(arguments.runs, 3)))
        share = seconds / (MANY * one)
        print(
            f"{MANY} clips, workers {workers}: {seconds:.1f} s, {share:.2f} of {MANY} times one alone ({one:.1f} s)", flush=True
        )


if __name__ == "__main__":
    main()
