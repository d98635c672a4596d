"""Write the sample clips and, beside each, its truth."""

from __future__ import annotations

import csv
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path

import av
import numpy as np

from posture.errors import OutputError
from posture.geometry.angles import FACING, posture_matrix
from posture.samples.draw import ChildPainter
from posture.samples.eyes import Gaze
from posture.samples.head import FACE_OVAL, child_face
from posture.samples.motion import Flags, Motion
from posture.samples.place import CM
from posture.samples.plan import (
    FOCAL_PX,
    HEIGHT_PX,
    RATE_HZ,
    SAMPLE_NAMES,
    WIDTH_PX,
    sample_child,
    sample_covered_eye,
    sample_motion,
)
from posture.samples.raster import Picture
from posture.samples.room import project

TRUTH_COLUMNS = (
    "time_s", "tilt_deg", "turn_deg", "chin_deg", "turn_camera_deg", "chin_camera_deg", "face_visible", "steady",
)  # fmt: skip
"""Of the CSV beside each clip; angles are empty where the face is not visible."""

_CRF = "20"
"""Quality of the H.264 picture: 0 best, 51 worst. All clips together stay below five megabytes."""

_DRAWING_THREADS = 2
"""Drawing spends most of its time outside Python, so that a second thread gains about a half."""

_MAX_TURN_DEG = 75.0
"""A face turned further counts as not visible."""


def write_samples(
    folder: Path,
    names: Iterable[str] = SAMPLE_NAMES,
    on_progress: Callable[[str, float], None] | None = None,
    *,
    longest_s: float | None = None,
) -> list[Path]:
    """Write sample clips ``<name>.mp4`` and their truth ``<name>.truth.csv``, each whole or not at all.

    Parameters
    ----------
    folder : Path
        Made if it is missing. Samples of the same name in it are replaced.
    names : iterable of str
        Of `SAMPLE_NAMES`.
    on_progress : callable, optional
        Called with the name and the share of this clip that is done, 0 to 1.
    longest_s : float, optional
        Only this much of the beginning of each clip.

    Returns
    -------
    list of Path
        The clips, in the order of ``names``.

    Raises
    ------
    ValueError
        If there is no sample of some name; nothing is written then.
    OutputError
        If the folder cannot be written to.
    """
    motions = {name: sample_motion(name, longest_s) for name in names}
    clips = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, motion in motions.items():
            clip, truth = folder / f"{name}.mp4", folder / f"{name}.truth.csv"
            _write_whole(truth, partial(write_truth, motion=motion))
            _write_whole(clip, partial(_write_clip, name=name, motion=motion, on_progress=on_progress))
            clips.append(clip)
    except OSError as error:
        raise OutputError(
            f"Expected to write the samples to '{folder}'; it failed ({error.strerror or error}). Free some space or choose"
            " another folder."
        ) from error
    return clips


def sample_painter(name: str) -> ChildPainter:
    """Make the painter of a sample: its child, with a patch where an eye is covered, through the camera of all samples.

    Parameters
    ----------
    name : str

    Returns
    -------
    ChildPainter

    Raises
    ------
    ValueError
        If there is no sample of this name.
    """
    return ChildPainter(sample_child(name), WIDTH_PX, HEIGHT_PX, FOCAL_PX, covered_eye=sample_covered_eye(name))


def write_truth(path: Path, motion: Motion) -> None:
    """Write the truth of a clip as CSV with the columns `TRUTH_COLUMNS`.

    Parameters
    ----------
    path : Path
    motion : Motion

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    visible = face_visible(motion)
    angles = np.stack([motion.tilt_deg, motion.turn_deg, motion.chin_deg, motion.turn_camera_deg, motion.chin_camera_deg], 1)
    with path.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(TRUTH_COLUMNS)
        for time_s, row, seen, steady in zip(motion.time_s, angles, visible, motion.steady, strict=True):
            values = [f"{value:.3f}" for value in row] if seen else [""] * len(row)
            rows.writerow([f"{time_s:.4f}", *values, int(seen), int(seen and steady)])


def face_visible(motion: Motion) -> Flags:
    """Tell in which frames the whole face is in the picture and turned less than 75 degrees from the camera's axis.

    Parameters
    ----------
    motion : Motion

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    rotation = posture_matrix(motion.tilt_deg, motion.turn_camera_deg, motion.chin_camera_deg)
    rim = child_face()[list(FACE_OVAL)] * CM
    points = motion.place_m[:, None, :] + rim @ np.swapaxes(FACING @ rotation, -1, -2)
    place, _ = project(points.reshape(-1, 3), WIDTH_PX, HEIGHT_PX, FOCAL_PX)
    inside = ((place >= 0) & (place <= [WIDTH_PX, HEIGHT_PX])).all(1).reshape(len(points), -1).all(1)
    visible: Flags = motion.present & inside & (np.abs(motion.turn_camera_deg) < _MAX_TURN_DEG)
    return visible


def draw_frame(painter: ChildPainter, motion: Motion, index: int) -> Picture:
    """Draw one frame of a sample; the room without the child where it is not there.

    Parameters
    ----------
    painter : ChildPainter
        From `sample_painter`.
    motion : Motion
    index : int
        Of the frame, which seeds its noise too.

    Returns
    -------
    ndarray of uint8, shape (HEIGHT_PX, WIDTH_PX, 3)
        RGB.
    """
    if not motion.present[index]:
        return painter.empty(noise_seed=index)
    x, y, z = (float(value) for value in motion.place_m[index])
    gaze = Gaze(float(motion.gaze_right[index]), float(motion.gaze_up[index]), float(motion.lids_closed[index]))
    tilt, turn, chin = (float(a[index]) for a in (motion.tilt_deg, motion.turn_camera_deg, motion.chin_camera_deg))
    return painter.draw(tilt, turn, chin, (x, y, z), gaze=gaze, noise_seed=index)


def _write_whole(path: Path, write: Callable[[Path], None]) -> None:
    """Write a file under another name and put it in place when it is whole."""
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.part{path.suffix}")
    try:
        write(unfinished)
        with unfinished.open("rb") as file:
            os.fsync(file.fileno())
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)


def _write_clip(path: Path, name: str, motion: Motion, on_progress: Callable[[str, float], None] | None) -> None:
    """Draw and encode every frame of a sample."""
    painter = sample_painter(name)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=round(RATE_HZ))
        stream.width, stream.height, stream.pix_fmt = WIDTH_PX, HEIGHT_PX, "yuv420p"
        # One thread, so that the file is the same on every machine with the same encoder.
        stream.thread_count = 1
        stream.options = {"crf": _CRF, "preset": "veryfast"}
        for index, picture in enumerate(_pictures(painter, motion)):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
            if on_progress is not None:
                on_progress(name, (index + 1) / len(motion.time_s))
        container.mux(stream.encode(None))


def _pictures(painter: ChildPainter, motion: Motion) -> Iterator[Picture]:
    """All frames in their order, drawn a few ahead while the caller encodes."""
    with ThreadPoolExecutor(_DRAWING_THREADS) as pool:
        ahead: deque[Future[Picture]] = deque()
        for index in range(len(motion.time_s)):
            ahead.append(pool.submit(draw_frame, painter, motion, index))
            if len(ahead) > 2 * _DRAWING_THREADS:
                yield ahead.popleft().result()
        while ahead:
            yield ahead.popleft().result()
