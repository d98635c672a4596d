"""What the proof programs work on: rendered heads, real clips, a photograph; and the real path from a picture to a pose."""

from __future__ import annotations

import contextlib
import importlib.util
import os
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import starmap
from multiprocessing import get_context
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from posture.clip.frame import Frame, Upright
from posture.clip.planes import ArrayPicture
from posture.face.faces import FacesFollower
from posture.face.model import load_canonical_face
from posture.face.seen import FaceSeen
from posture.geometry.pose import Camera, Pose, estimate_pose

SHARED = Path(__file__).resolve().parents[3] / "shared"
"""Test material beside the project; it is no part of it, so whoever needs it skips where it is absent."""

HEADS = SHARED / "heads"
CLIPS = SHARED / "clips"
HEADS_MISSING = f"the rendered heads are not here ({HEADS.parent.name}/{HEADS.name} beside the project)"
CLIPS_MISSING = f"the real clips are not here ({CLIPS.parent.name}/{CLIPS.name} beside the project)"

Rgb = NDArray[np.uint8]
T = TypeVar("T")


def heads_present() -> bool:
    """Whether the rendered heads and the compiler that draws them are here."""
    return (HEADS / "heads.py").is_file() and importlib.util.find_spec("numba") is not None


def clips_present() -> bool:
    """Whether the real clips are here."""
    return CLIPS.is_dir() and any(CLIPS.glob("*.mkv"))


def load_heads() -> ModuleType:
    """The module that renders heads, imported from beside the project without writing anything there.

    Raises
    ------
    FileNotFoundError
        If it is not there.
    """
    if not heads_present():
        raise FileNotFoundError(f"Expected rendered heads; {HEADS_MISSING}.")
    name = "shared_heads"
    if name in sys.modules:
        return sys.modules[name]
    # The compiler would keep its cache beside the source.
    os.environ.setdefault("NUMBA_CACHE_DIR", str(Path(tempfile.gettempdir()) / "posture-proof-cache"))
    spec = importlib.util.spec_from_file_location(name, HEADS / "heads.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    wrote_bytecode, sys.dont_write_bytecode = sys.dont_write_bytecode, True
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    except BaseException:
        del sys.modules[name]
        raise
    finally:
        sys.dont_write_bytecode = wrote_bytecode
    return module


def in_processes(work: Callable[..., T], jobs: Sequence[tuple[Any, ...]], workers: int) -> Iterator[T]:
    """What comes of each job, a tuple of arguments, in order; with more than one worker in processes of their own."""
    if workers == 1:
        yield from starmap(work, jobs)
        return
    # A process started anew: forking after the landmarker's threads have begun may stop for ever.
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        yield from pool.map(work, *zip(*jobs, strict=True))


def load_astronaut() -> Rgb:
    """The photograph of an astronaut (NASA, public domain) that ships with scikit-image, shape (512, 512, 3)."""
    from skimage import data

    return np.ascontiguousarray(data.astronaut()[..., :3])


def frame_of(rgb: Rgb, time_s: float = 0.0) -> Frame:
    """A picture (h, w, 3) as a frame of a clip."""
    return Frame(time_s, ArrayPicture(np.ascontiguousarray(rgb)), Upright(rgb.shape[1], rgb.shape[0]))


def see_face(rgb: Rgb) -> FaceSeen | None:
    """The largest face of one picture, found and settled as in a clip that begins with it; None where there is none."""
    with FacesFollower() as follower:
        return next(iter(follower.look(frame_of(rgb))), None)


def measure_picture(rgb: Rgb, focal_px: float) -> Pose | None:
    """The pose of the face in one picture, on the path that clips take; None where no face was found."""
    seen = see_face(rgb)
    return None if seen is None else pose_of(seen, rgb, focal_px)


def pose_of(seen: FaceSeen, rgb: Rgb, focal_px: float) -> Pose:
    """The pose of a face that was seen in a picture."""
    camera = Camera(rgb.shape[1], rgb.shape[0], focal_px)
    return estimate_pose(seen.points_px, seen.depth_px, camera, load_canonical_face())


def draw_once(path: Path, frames: Iterable[Rgb], rate_hz: float, truth: list[dict[str, object]] | None = None) -> Path:
    """Write a film, with its truth beside it as ``<name>.truth.csv``, unless it is there already.

    Parameters
    ----------
    path : Path
    frames : iterable of ndarray of uint8, shape (h, w, 3)
        Drawn as they are asked for.
    rate_hz : float
    truth : list of dict, optional
        A row for every frame, or more; it may be filled while the frames are drawn.

    Returns
    -------
    Path
        The same.
    """
    truth_path = None if truth is None else path.with_suffix(".truth.csv")
    if path.is_file() and (truth_path is None or truth_path.is_file()):
        return path
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_suffix(".part.mp4")
    load_heads().write_clip(draft, frames, rate_hz, truth, truth_path)
    return draft.replace(path)


def read_pictures(path: Path) -> Iterator[Rgb]:
    """The pictures of a film in order, decoded by the library alone."""
    import av

    with contextlib.closing(av.open(str(path))) as container:
        for frame in container.decode(video=0):
            yield np.asarray(frame.to_ndarray(format="rgb24"), np.uint8)
