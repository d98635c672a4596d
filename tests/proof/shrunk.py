"""Pictures shrunk until a face is so many pixels high: what that costs the reading."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from posture.geometry.lens import DEFAULT_VIEW_SHARE
from tests.proof.material import Rgb
from tests.proof.readings import Change, Look, angles, is_another, look, look_plainly, mean_size

SHRUNK_PX = (80.0, 45.0, 30.0)
"""From good to the least that may still be read."""

JPEG_QUALITY = 80
"""As cameras and messengers keep pictures."""


def shrunk(picture: Rgb, share: float) -> Rgb:
    """The picture with its sides multiplied by a share below 1, through JPEG."""
    size = [max(1, round(share * side)) for side in picture.shape[1::-1]]
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    _, coded = cv2.imencode(".jpg", small[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    decoded = np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR), np.uint8)
    return np.ascontiguousarray(decoded[..., ::-1])


def on_canvas(small: Rgb, width_px: int, height_px: int) -> Rgb:
    """The picture in the middle of a grey one."""
    top, left = (height_px - small.shape[0]) // 2, (width_px - small.shape[1]) // 2
    canvas = np.full((height_px, width_px, 3), 128, np.uint8)
    canvas[top : top + small.shape[0], left : left + small.shape[1]] = small
    return canvas


def compare_shrunk(picture: Rgb, heights_px: Sequence[float] = SHRUNK_PX, read: Look = look) -> list[Change]:
    """Shrink a picture until its largest face has each height, and read it again, enlarged and small.

    Parameters
    ----------
    picture : ndarray of uint8, shape (h, w, 3)
    heights_px : sequence of float
        Those the face is not higher than anyway are left out.
    read : callable
        Reads each picture.

    Returns
    -------
    list of Change
        Two for each height; empty where the picture itself shows no face.
    """
    height, width = picture.shape[:2]
    focal_px = DEFAULT_VIEW_SHARE * max(width, height)
    before = read(picture, focal_px)
    if before is None:
        return []
    reference = angles(before.pose.rotation, before.pose.place_cm)
    middle = (np.array([width, height]) - 1) / 2
    changes = []
    for face_px in heights_px:
        share = face_px / before.pose.face_height_px
        if share >= 1:
            continue
        small = shrunk(picture, share)
        # Whole pixels: what the sides came to is what the lens shrinks by.
        share = small.shape[1] / width
        again = np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC), np.uint8)
        views = (("enlarged", again, 1.0), ("small", on_canvas(small, width, height), share))
        for kind, view, scale in views:
            what = f"{kind} {face_px:g}"
            after = read(view, focal_px * scale)
            expected = middle + (before.centre_px - middle) * scale
            if after is None or is_another(after, expected, before.size_px * scale):
                changes.append(Change(what, False, np.full(3, np.nan)))
            else:
                changes.append(Change(what, True, angles(after.pose.rotation, after.pose.place_cm) - reference))
    return changes


def print_shrunk(named: Sequence[tuple[str, Sequence[Rgb]]]) -> None:
    """The table of shrunk pictures, by our reading and by the plain one: all together, then one by one where there are several sources."""
    print(f"\nShrunk until the face is so high, JPEG of quality {JPEG_QUALITY}, then enlarged again or read small: mean size")
    print(f"{'picture':<46}{'px':>4}" + 2 * f"{'tilt':>10}{'turn':>6}{'chin':>6}{'n':>4}{'lost':>5}" + "   (enlarged, small)")
    for title, read in (("", look), ("plainly: ", look_plainly)):
        every = {name: [c for picture in pictures for c in compare_shrunk(picture, read=read)] for name, pictures in named}
        for name, chosen in [*every.items(), ("all", [c for some in every.values() for c in some])]:
            for face_px in SHRUNK_PX:
                text = f"{title + name:<46}{face_px:4.0f}"
                for kind in ("enlarged", "small"):
                    mean, n, lost = mean_size([c for c in chosen if c.what == f"{kind} {face_px:g}"])
                    text += f"{mean[0]:10.2f}{mean[1]:6.2f}{mean[2]:6.2f}{n:4d}{lost:5d}"
                print(text, flush=True)
