"""The small picture of a frame with the faces outlined."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from posture import preview
from posture.clip.frame import Frame, Upright
from posture.clip.planes import ArrayPicture
from posture.face.seen import FaceSeen
from posture.geometry.angles import camera_matrix
from posture.geometry.fit import Camera
from posture.preview import outlined_jpeg, straightened


def frame(width_px: int = 1280, height_px: int = 720) -> Frame:
    grey = np.full((height_px, width_px, 3), 90, np.uint8)
    return Frame(75.0, ArrayPicture(grey), Upright(width_px, height_px))


def face(centre_px: tuple[float, float], size_px: float) -> FaceSeen:
    angle = np.linspace(0, 2 * np.pi, 478)
    points = np.array(centre_px) + size_px / 2 * np.stack([np.cos(angle), np.sin(angle)], 1)
    return FaceSeen(points, np.zeros(478), 1, True)


def yellow(jpeg: bytes) -> np.ndarray:
    """(row, column) of the pixels of outlines."""
    with Image.open(io.BytesIO(jpeg)) as picture:
        rgb = np.asarray(picture.convert("RGB")).astype(int)
    return np.argwhere((rgb[..., 0] > 180) & (rgb[..., 2] < 90))


@pytest.mark.parametrize(("width_px", "shown_px"), [(1280, 480), (320, 320)], ids=["shrunk", "small stays"])
def test_outlined_jpeg_is_small(width_px: int, shown_px: int) -> None:
    with Image.open(io.BytesIO(outlined_jpeg(frame(width_px), []))) as picture:
        assert picture.size[0] == shown_px


def test_outlined_jpeg_outlines_the_face_where_it_is() -> None:
    marked = yellow(outlined_jpeg(frame(), [face((960, 360), 300)]))
    np.testing.assert_allclose(marked.mean(0), [135, 360], atol=3)
    np.testing.assert_allclose(np.ptp(marked, axis=0), [112, 112], atol=6)


def test_outlined_jpeg_outlines_every_face() -> None:
    marked = yellow(outlined_jpeg(frame(), [face((320, 360), 150), face((960, 360), 150)]))
    across = marked[:, 1]
    assert len(yellow(outlined_jpeg(frame(), []))) == 0
    assert ((across > 85) & (across < 155)).any()
    assert ((across > 325) & (across < 395)).any()
    assert not ((across > 160) & (across < 320)).any()


@pytest.mark.parametrize(("roll", "pitch"), [(0.0, 0.0), (8.0, 0.0), (-5.0, 15.0), (12.0, -18.0)])
def test_a_door_frame_stands_plumb_once_straightened(monkeypatch: pytest.MonkeyPatch, roll: float, pitch: float) -> None:
    """A wall with plumb stripes, drawn as a rolled and pitched camera sees it."""
    camera = Camera(1280, 720, 1100.0)
    picture = np.full((720, 1280, 3), 200, np.uint8)
    for x in (-1.2, -0.4, 0.5, 1.3):
        ends = np.array([[x, -3.0, 3.0], [x, 3.0, 3.0]]) @ camera_matrix(roll, pitch).T @ camera.matrix.T
        first, second = (tuple(int(v) for v in end[:2] / end[2]) for end in ends)
        cv2.line(picture, first, second, (20, 20, 20), 9, cv2.LINE_AA)
    monkeypatch.setattr(preview, "PLUMB_LINES", 0)
    level = straightened(picture, camera, roll, pitch)
    assert level.shape == (270, 480, 3)
    # Each stripe is in the same columns higher up and lower down; as filmed, five degrees of roll would part them by ten pixels.
    darkness = np.clip(190.0 - level[[80, 190], :, 0], 0, None)
    for first, last in ((0, 130), (130, 250), (250, 370), (370, 480)):
        there = darkness[:, first:last]
        assert (there.sum(1) > 300).all()
        upper, lower = there @ np.arange(first, last) / there.sum(1)
        assert abs(upper - lower) < 1.0
