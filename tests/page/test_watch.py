"""What is shown while a clip is measured."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from posture.clip.frame import Frame, Upright
from posture.clip.planes import ArrayPicture
from posture.face.follow import FaceSeen
from posture.page import watch


class Place:
    """Stands in for a placeholder of the page."""

    def __init__(self) -> None:
        self.texts: list[str] = []
        self.pictures: list[bytes] = []

    def progress(self, share: float, text: str) -> None:
        assert 0 <= share <= 1
        self.texts.append(text)

    def image(self, picture: bytes, width: int) -> None:
        self.pictures.append(picture)


def frame(width_px: int = 1280, height_px: int = 720, time_s: float = 75.0) -> Frame:
    grey = np.full((height_px, width_px, 3), 90, np.uint8)
    return Frame(time_s, ArrayPicture(grey), Upright(width_px, height_px))


def face(centre_px: tuple[float, float], size_px: float) -> FaceSeen:
    angle = np.linspace(0, 2 * np.pi, 478)
    points = np.array(centre_px) + size_px / 2 * np.stack([np.cos(angle), np.sin(angle)], 1)
    return FaceSeen(points, np.zeros(478), 1, True)


def opened(jpeg: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(jpeg)) as picture:
        return np.asarray(picture.convert("RGB")).astype(int)


@pytest.mark.parametrize(("width_px", "shown_px"), [(1280, 480), (320, 320)], ids=["shrunk", "small stays"])
def test_outlined_jpeg_is_small(width_px, shown_px):
    assert opened(watch.outlined_jpeg(frame(width_px), None)).shape[1] == shown_px


def test_outlined_jpeg_outlines_the_face_where_it_is():
    marked = opened(watch.outlined_jpeg(frame(), face((960, 360), 300)))
    yellow = np.argwhere((marked[..., 0] > 180) & (marked[..., 2] < 90))
    np.testing.assert_allclose(yellow.mean(0), [135, 360], atol=3)
    np.testing.assert_allclose(np.ptp(yellow, axis=0), [112, 112], atol=6)


def test_watch_shows_at_most_two_pictures_a_second(monkeypatch):
    now = [0.0]
    monkeypatch.setattr(watch.time, "monotonic", lambda: now[0])
    bar, picture = Place(), Place()
    shown = watch.Watch(bar, picture)
    for step in range(100):
        now[0] = step / 20
        shown.show(frame(64, 48), None, step / 100)
    assert len(picture.pictures) == 10
    assert bar.texts[0] == "Measuring: 0% of the clip, no face at this moment"


def test_watch_says_the_time_where_the_share_is_not_known():
    bar = Place()
    watch.Watch(bar, Place()).show(frame(64, 48), None, None)
    assert bar.texts == ["Measuring: 1 min 15 s of the clip, no face at this moment"]
