"""Speed beside the bare loop: ``python -m tests.proof.speed CLIP [--runs N]``.

The bare loop decodes every frame, converts it whole and gives it to the library's landmarker. Ours finds, follows, fits and keeps
the track of the same frames. The two take turns in one run, each in a process of its own, so that a machine whose speed drifts
slows both. Loading the libraries is not counted, on either side.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path


def bare_loop(path: Path) -> int:
    """Decode, convert, landmark every frame; returns how many."""
    import av
    import mediapipe as mp
    from mediapipe.tasks import python as tasks
    from mediapipe.tasks.python import vision

    from posture.face.model import load_model_bytes

    options = vision.FaceLandmarkerOptions(
        base_options=tasks.BaseOptions(model_asset_buffer=load_model_bytes()), running_mode=vision.RunningMode.VIDEO
    )
    n = 0
    with av.open(str(path)) as container, vision.FaceLandmarker.create_from_options(options) as landmarker:
        container.streams.video[0].thread_type = "AUTO"
        for frame in container.decode(video=0):
            image = mp.Image(image_format=mp.ImageFormat.SRGB, data=frame.to_ndarray(format="rgb24"))
            landmarker.detect_for_video(image, n * 33)
            n += 1
    return n


def ours(path: Path) -> int:
    """Measure every frame; returns how many."""
    from posture.measure import Settings, measure_clip

    return len(measure_clip(path, Settings(every_s=0)).track.time_s)


def main() -> None:
    """Print frames a second of both, and their ratio run by run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("clip", type=Path)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--only", choices=["bare", "ours"], help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.only:
        work = {"bare": bare_loop, "ours": ours}[arguments.only]
        for module in ("av", "mediapipe.tasks.python.vision", "posture.measure"):
            importlib.import_module(module)
        started = time.perf_counter()
        frames = work(arguments.clip)
        print(json.dumps({"frames": frames, "seconds": time.perf_counter() - started}))
        return
    rates: dict[str, list[float]] = {"bare": [], "ours": []}
    for run in range(arguments.runs):
        counted = {}
        for which in ("bare", "ours") if run % 2 == 0 else ("ours", "bare"):
            command = [sys.executable, "-m", "tests.proof.speed", str(arguments.clip), "--only", which]
            done = subprocess.run(command, check=True, capture_output=True, text=True, env=os.environ | {"PYTHONPATH": "."})
            said = json.loads(done.stdout.splitlines()[-1])
            counted[which] = said["frames"]
            rates[which].append(said["frames"] / said["seconds"])
        assert counted["bare"] == counted["ours"], f"Expected the same frames; {counted} came."
        print(f"run {run + 1}: bare {rates['bare'][-1]:.1f}, ours {rates['ours'][-1]:.1f} frames a second")
    ratio = [o / b for o, b in zip(rates["ours"], rates["bare"], strict=True)]
    print(f"median: bare {statistics.median(rates['bare']):.1f}, ours {statistics.median(rates['ours']):.1f} frames a second")
    print(f"ours / bare: median {statistics.median(ratio):.2f}, from {min(ratio):.2f} to {max(ratio):.2f}")


if __name__ == "__main__":
    main()
