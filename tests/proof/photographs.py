"""Pictures without a known posture, turned, mirrored and shrunk by a known amount: ``python -m tests.proof.photographs``.

Turning a picture in its plane about its centre is a camera roll, positive when the whole picture turns counter-clockwise as you
look at it; with the roll taken out again (`posture.geometry.angles.to_level`) tilt, turn and chin must be those of the picture as
it was. A mirrored picture, read as mirrored, must give the same angles too. This tells the sign and the scale of every angle's
share in such a turn and how steady the landmarks are on real skin; it does not tell that the posture itself is right.
A picture shrunk until the face is so many pixels high and kept as JPEG must give the same angles as well: read after it was
enlarged again, so that only detail is gone, and read small, on a canvas of the size it had, so that the face must be found too.
The library's own facial transformation matrix on the same pictures is a third opinion on the signs.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.face.model import load_model_bytes
from posture.geometry.angles import mirror, posture_angles, to_level
from posture.geometry.lens import DEFAULT_VIEW_SHARE
from tests.proof.material import CLIPS, CLIPS_MISSING, Rgb, clips_present, load_astronaut, read_pictures, see_face
from tests.proof.readings import Change, Look, angles, is_another, look, look_plainly, mean_size
from tests.proof.shrunk import print_shrunk

STEPS_DEG = tuple(float(a) for a in range(-45, 46, 5) if a)
CLIP_STEPS_DEG = tuple(float(a) for a in range(-45, 46, 15) if a)
PLAINLY_STEPS_DEG = (-30.0, 30.0)
FRAMES_A_CLIP = 6

Array = NDArray[np.float64]


def turned(picture: Rgb, angle_deg: float) -> Rgb:
    """The picture turned counter-clockwise about its centre, on a square that holds it at any angle; 0 only adds the square."""
    height, width = picture.shape[:2]
    # Even steps on both sides, so that the picture that is not turned is a plain copy.
    side = int(np.ceil(np.hypot(width, height)))
    side += (side - width) % 2
    matrix = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), angle_deg, 1.0)
    matrix[:, 2] += [(side - width) / 2, (side - height) / 2]
    return np.asarray(cv2.warpAffine(picture, matrix, (side, side), flags=cv2.INTER_CUBIC, borderValue=(128, 128, 128)))


def compare(picture: Rgb, steps_deg: Sequence[float], read: Look = look) -> list[Change]:
    """Turn a picture by each step, mirror it, and read what is left after taking that out.

    Parameters
    ----------
    picture : ndarray of uint8, shape (h, w, 3)
    steps_deg : sequence of float
    read : callable
        Reads one picture.

    Returns
    -------
    list of Change
        One for each step and one for the mirrored picture; empty where the picture itself shows no face.
    """
    focal_px = DEFAULT_VIEW_SHARE * max(picture.shape[:2])
    upright = turned(picture, 0.0)
    before = read(upright, focal_px)
    if before is None:
        return []
    reference = angles(before.pose.rotation, before.pose.place_cm)
    middle = (np.array(upright.shape[1::-1]) - 1) / 2
    changes = []
    kinds: list[float | str] = [*steps_deg, "mirrored"]
    for what in kinds:
        if isinstance(what, str):
            after = read(np.ascontiguousarray(upright[:, ::-1]), focal_px)
            expected = middle + (before.centre_px - middle) * [-1, 1]
        else:
            after = read(turned(picture, what), focal_px)
            c, s = np.cos(np.radians(what)), np.sin(np.radians(what))
            expected = middle + np.array([[c, s], [-s, c]]) @ (before.centre_px - middle)
        if after is None or is_another(after, expected, before.size_px):
            changes.append(Change(what, False, np.full(3, np.nan)))
            continue
        undone = mirror if isinstance(what, str) else to_level
        roll = () if isinstance(what, str) else (what,)
        changes.append(Change(what, True, angles(*undone(after.pose.rotation, after.pose.place_cm, *roll)) - reference))
    return changes


def library_angles(picture: Rgb) -> Array | None:
    """Tilt, turn and chin against the camera's axis from the library's own transformation matrix, shape (3,)."""
    import mediapipe
    from mediapipe.tasks import python as tasks
    from mediapipe.tasks.python import vision

    options = vision.FaceLandmarkerOptions(
        base_options=tasks.BaseOptions(model_asset_buffer=load_model_bytes()), output_facial_transformation_matrixes=True
    )
    with vision.FaceLandmarker.create_from_options(options) as task:
        found = task.detect(mediapipe.Image(image_format=mediapipe.ImageFormat.SRGB, data=np.ascontiguousarray(picture)))
    if not found.facial_transformation_matrixes:
        return None
    # Its axes are x right, y up, z towards the camera: the person-facing basis.
    return np.array(posture_angles(np.asarray(found.facial_transformation_matrixes[0])[:3, :3]))


def around_face(picture: Rgb) -> Rgb | None:
    """The square of the picture about its largest face, as one person's picture; None where no face was found."""
    face = see_face(picture)
    if face is None:
        return None
    low = np.clip(np.rint(face.centre_px - 1.2 * face.size_px), 0, None).astype(int)
    high = np.rint(face.centre_px + 1.2 * face.size_px).astype(int)
    return np.ascontiguousarray(picture[low[1] : high[1], low[0] : high[0]])


def against_library(picture: Rgb) -> tuple[Array, Array] | None:
    """Our angles against the camera's axis and the library's, in a cut about the face; None where one of them found none."""
    cut = around_face(picture)
    if cut is None:
        return None
    ours, theirs = look(cut, DEFAULT_VIEW_SHARE * max(cut.shape[:2])), library_angles(cut)
    return None if ours is None or theirs is None else (np.array(posture_angles(ours.pose.rotation)), theirs)


def clip_pictures(path: Path, count: int) -> list[Rgb]:
    """Some pictures of a clip, evenly spread."""
    pictures = list(read_pictures(path))
    return [pictures[i] for i in np.linspace(0, len(pictures) - 1, count + 2).round().astype(int)[1:-1]]


def clip_paths() -> list[Path]:
    """The real clips."""
    return sorted([*CLIPS.glob("*.mkv"), *CLIPS.glob("*.gif")])


def mean_sizes(changes: Sequence[Change], mirrored: bool) -> tuple[Array, int, int]:
    """Mean size of the differences (3,) of the turned or of the mirrored pictures, how many, and how many were not found."""
    return mean_size([c for c in changes if isinstance(c.what, str) == mirrored])


def main(argv: Sequence[str] | None = None) -> None:
    """Print the tables."""
    argparse.ArgumentParser(description=__doc__.splitlines()[0]).parse_args(argv)
    astronaut = load_astronaut()
    print("Photograph of an astronaut (public domain): what is left of a turn of the picture, and of mirroring, degrees")
    print(f"{'turned by':>10}{'tilt':>8}{'turn':>8}{'chin':>8}")
    for change in compare(astronaut, STEPS_DEG):
        what = change.what if isinstance(change.what, str) else f"{change.what:+g}"
        print(f"{what:>10}" + "".join(f"{v:+8.2f}" for v in change.difference_deg))
    named = [("astronaut", [astronaut])]
    if clips_present():
        print(
            f"\nReal clips, {FRAMES_A_CLIP} pictures each, turned by {', '.join(f'{a:+g}' for a in CLIP_STEPS_DEG)}: mean size"
        )
        print(
            f"{'clip':<46}{'turned: tilt':>13}{'turn':>6}{'chin':>6}{'n':>4}{'lost':>5}{'mirrored: tilt':>16}{'turn':>6}{'chin':>6}{'n':>4}"
        )
        every: list[Change] = []
        plainly: list[Change] = []
        for path in clip_paths():
            pictures = clip_pictures(path, FRAMES_A_CLIP)
            named.append((path.name, pictures))
            changes = [change for picture in pictures for change in compare(picture, CLIP_STEPS_DEG)]
            every += changes
            plainly += [change for picture in pictures for change in compare(picture, PLAINLY_STEPS_DEG, look_plainly)]
            print(_row(path.name, changes), flush=True)
        print(_row("all", every))
        print(_row("all, read plainly, turned by 30", plainly))
        for step in CLIP_STEPS_DEG:
            print(_row(f"  turned by {step:+g}", [c for c in every if c.what == step], both=False))
    else:
        print(f"\nReal clips left out: {CLIPS_MISSING}.")
    print_shrunk(named)
    print("\nOur angles less those of the library's own matrix, against the camera's axis, in a cut about the face, degrees")
    print(
        f"{'picture':<46}{'tilt':>7}{'turn':>7}{'chin':>7}{'sd tilt':>9}{'turn':>6}{'chin':>6}{'n':>4}   same sign (both over 5)"
    )
    for name, pictures in named:
        pairs = [pair for pair in map(against_library, pictures) if pair is not None]
        if pairs:
            ours, theirs = (np.array([pair[k] for pair in pairs]) for k in (0, 1))
            clear = (np.abs(ours) > 5) & (np.abs(theirs) > 5)
            same = " ".join(f"{int((clear & (ours * theirs > 0))[:, k].sum())}/{int(clear[:, k].sum())}" for k in range(3))
            mean, sd = (ours - theirs).mean(0), (ours - theirs).std(0)
            text = "".join(f"{v:+7.1f}" for v in mean) + f"{sd[0]:9.1f}" + "".join(f"{v:6.1f}" for v in sd[1:])
            print(f"{name:<46}{text}{len(pairs):4d}   {same}", flush=True)


def _row(name: str, changes: Sequence[Change], both: bool = True) -> str:
    """One line of the table of clips."""
    mean, n, lost = mean_sizes(changes, mirrored=False)
    text = f"{name:<46}{mean[0]:13.2f}{mean[1]:6.2f}{mean[2]:6.2f}{n:4d}{lost:5d}"
    if not both:
        return text
    mean, n, _ = mean_sizes(changes, mirrored=True)
    return f"{text}{mean[0]:16.2f}{mean[1]:6.2f}{mean[2]:6.2f}{n:4d}"


if __name__ == "__main__":
    main()
