"""Peak memory against length: ``python -m tests.proof.memory``.

Writes a 720p clip of the drawn child of 1 minute and one of 10 minutes at 15 frames a second, measures each in a process of its
own and prints the peak of its resident memory.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

RATE_HZ = 15
DRAWN = 45
"""Different pictures that the clip goes to and fro between: what is decoded is what counts here, not the drawing."""


def write_clip(path: Path, minutes: float) -> None:
    """A 720p clip of the drawn child swaying to and fro."""
    import av

    from posture.samples import render_child

    pictures = [
        render_child(tilt, tilt / 2, 0, width_px=1280, height_px=720, focal_px=1150.0) for tilt in np.linspace(-12, 12, DRAWN)
    ]
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=RATE_HZ)
        stream.width, stream.height, stream.pix_fmt = 1280, 720, "yuv420p"
        stream.options = {"crf": "30", "preset": "ultrafast"}
        for i in range(round(minutes * 60 * RATE_HZ)):
            at = i % (2 * DRAWN - 2)
            picture = pictures[at if at < DRAWN else 2 * DRAWN - 2 - at]
            container.mux(stream.encode(av.VideoFrame.from_ndarray(np.ascontiguousarray(picture), format="rgb24")))
        container.mux(stream.encode())


def peak_mb(path: Path, folder: Path) -> float:
    """Peak resident memory of measuring a clip, MB."""
    code = (
        "import resource, sys; from posture.cli import main\n"
        "try: main(sys.argv[1:])\n"
        "except SystemExit as end: assert not end.code, end.code\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    )
    command = [sys.executable, "-c", code, "measure", str(path), "--out", str(folder)]
    done = subprocess.run(command, check=True, capture_output=True, text=True, env=os.environ | {"PYTHONPATH": "."})
    return float(done.stdout.splitlines()[-1])


def main() -> None:
    """Print the peaks and their difference."""
    argparse.ArgumentParser(description=__doc__).parse_args()
    with tempfile.TemporaryDirectory() as folder:
        peaks = []
        for minutes in (1, 10):
            clip = Path(folder) / f"{minutes}.mp4"
            write_clip(clip, minutes)
            peaks.append(peak_mb(clip, Path(folder)))
            print(f"{minutes} minutes of 720p: peak {peaks[-1]:.0f} MB", flush=True)
        print(f"10 minutes against 1: {peaks[1] - peaks[0]:+.0f} MB")


if __name__ == "__main__":
    main()
