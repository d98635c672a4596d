"""One eye of real people painted over as by a patch: ``python -m tests.proof.covered_eyes``.

The posture of a picture is not known, but a patch does not change it: what tilt, turn and chin against the line of sight change by is
what the patch does to the reading. Each picture is read with either eye under a white, a skin-coloured and a dark patch, as the
program reads it and without what it takes off for a covered eye (`posture.face.covered`). A painted patch is flat and casts no shadow.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, get_args
from unittest.mock import patch

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.conventions import SIDES, Side, other_side
from posture.face import covered
from posture.face.follow import FollowedFace
from posture.face.seen import EYES, FaceSeen
from posture.geometry.lens import DEFAULT_VIEW_SHARE
from posture.geometry.pose import angles_against_camera
from tests.proof.material import CLIPS_MISSING, Rgb, clips_present, frame_of, load_astronaut, pose_of, see_face
from tests.proof.photographs import clip_paths, clip_pictures

Array = NDArray[np.float64]

Colour = Literal["white", "skin", "dark"]
RGB: dict[Colour, tuple[int, int, int]] = {"white": (235, 230, 222), "skin": (222, 184, 150), "dark": (35, 35, 40)}

FRAMES_A_CLIP = 8
SEED = 2026


@dataclass(frozen=True)
class Patched:
    """One picture with one eye painted over.

    Attributes
    ----------
    colour : str
    side : {'right', 'left'}
        The person's own eye.
    found : {'right', 'left'} or None
        Which one was taken as covered.
    as_seen_deg, corrected_deg : ndarray, shape (3,)
        What tilt, turn and chin changed by, without and with what is taken off.
    """

    colour: Colour
    side: Side
    found: Side | None
    as_seen_deg: Array
    corrected_deg: Array


def paint_patch(picture: Rgb, face: FaceSeen, side: Side, colour: Colour, rng: np.random.Generator) -> Rgb:
    """Paint an oval patch over an eye, lit as the face around it is."""
    outer, inner = face.points_px[list(EYES[side])]
    wide = float(np.linalg.norm(outer - inner))
    middle = (outer + inner) / 2 + rng.normal(0, 0.05, 2) * wide
    half = wide * rng.uniform(0.95, 1.25) * np.array([1.0, rng.uniform(0.7, 0.85)])
    slope_deg = float(np.degrees(np.arctan2(*(inner - outer)[::-1])))
    mask = np.zeros(picture.shape[:2], np.float32)
    cv2.ellipse(mask, (tuple(map(float, middle)), tuple(map(float, 2 * half)), slope_deg), 1.0, -1, cv2.LINE_AA)
    mask = np.asarray(cv2.GaussianBlur(mask, (0, 0), max(0.03 * wide, 0.5)))
    light = np.asarray(cv2.GaussianBlur(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY).astype(np.float32), (0, 0), wide))
    row, column = (int(np.clip(v, 0, n - 1)) for v, n in zip(middle[::-1], light.shape, strict=True))
    lit = np.clip(light / max(float(light[row, column]), 1.0), 0.6, 1.4)[..., None]
    cloth = np.array(RGB[colour]) * lit + rng.normal(0, 3, picture.shape)
    return np.clip(picture * (1 - mask[..., None]) + cloth * mask[..., None], 0, 255).astype(np.uint8)


def cover(
    picture: Rgb, follower: FollowedFace, rng: np.random.Generator, colours: Sequence[Colour] = get_args(Colour)
) -> Iterator[Patched]:
    """Read one picture with either eye under patches of these colours; nothing where the picture shows no face."""
    face = see_face(picture)
    if face is None:
        return
    plain, _ = _read(picture, face, follower)
    for colour in colours:
        for side in SIDES:
            patched = paint_patch(picture, face, side, colour, rng)
            corrected, found = _read(patched, face, follower)
            with patch.object(covered, "UNLIKE", -1.0):
                as_seen, _ = _read(patched, face, follower)
            if plain is not None and corrected is not None and as_seen is not None:
                yield Patched(colour, side, found, as_seen - plain, corrected - plain)


def pictures(frames_a_clip: int) -> list[tuple[str, Rgb]]:
    """The photograph, and pictures of the real clips where these are."""
    named = [("astronaut", load_astronaut())]
    for path in clip_paths() if clips_present() else []:
        named += [(path.name, picture) for picture in clip_pictures(path, frames_a_clip)]
    return named


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    argparse.ArgumentParser(description=__doc__.splitlines()[0]).parse_args(argv)
    if not clips_present():
        print(f"Real clips left out: {CLIPS_MISSING}.")
    rng = np.random.default_rng(SEED)
    with FollowedFace() as follower:
        every = [(name, p) for name, picture in pictures(FRAMES_A_CLIP) for p in cover(picture, follower, rng)]
    print("Mean size of what a painted patch changes, degrees: tilt / turn / chin")
    print(f"{'':<46}{'n':>5}{'found, %':>10}{'other eye':>11}{'as seen':>20}{'with what is taken off':>25}")
    for colour in get_args(Colour):
        _print_row(f"{colour} patch", [p for _, p in every if p.colour == colour])
    for name in dict.fromkeys(name for name, _ in every):
        _print_row(name, [p for n, p in every if n == name])
    _print_row("all", [p for _, p in every])


def _read(picture: Rgb, face: FaceSeen, follower: FollowedFace) -> tuple[Array | None, Side | None]:
    """Tilt, turn and chin of the face there, and the eye that is taken as covered."""
    seen = follower.place(frame_of(picture), face.centre_px, face.size_px)
    if seen is None:
        return None, None
    pose = pose_of(seen, picture, DEFAULT_VIEW_SHARE * max(picture.shape[:2]))
    return np.array(angles_against_camera(pose)), follower.covered_eye


def _print_row(name: str, chosen: Sequence[Patched]) -> None:
    """One line of the table."""
    share = [100 * float(np.mean([p.found == which(p.side) for p in chosen])) for which in (str, other_side)]
    means = [np.abs([getattr(p, what) for p in chosen]).mean(0) for what in ("as_seen_deg", "corrected_deg")]
    text = "".join("  " + f"{' / '.join(f'{v:.2f}' for v in mean):>18}" for mean in means)
    print(f"{name:<46}{len(chosen):5d}{share[0]:10.0f}{share[1]:11.0f}{text}", flush=True)


if __name__ == "__main__":
    main()
