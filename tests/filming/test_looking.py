"""Whether a face is in view, looked at by a process of its own."""

from __future__ import annotations

import io
import time
from collections.abc import Iterator

import av
import pytest
from PIL import Image

from posture.filming import looking
from posture.filming.looking import FaceInView, FaceWatcher, say_faces
from tests.filming.conftest import ROOT


@pytest.fixture
def watcher() -> Iterator[FaceWatcher]:
    made = FaceWatcher()
    yield made
    made.close()


def _jpeg(picture: Image.Image) -> bytes:
    made = io.BytesIO()
    picture.save(made, "JPEG", quality=70)
    return made.getvalue()


def _looked(watcher: FaceWatcher, jpeg: bytes) -> tuple[FaceInView, ...]:
    watcher.faces = None
    watcher.offer(jpeg)
    end_s = time.monotonic() + 90
    while watcher.faces is None:
        assert time.monotonic() < end_s, "waited for an answer"
        time.sleep(0.05)
    return watcher.faces


@pytest.mark.parametrize(
    ("faces", "words"),
    [
        (None, ""),
        ((), "No face is in view"),
        ([FaceInView(0.3, 0.5, 0.4)], "large enough and well inside"),
        ([FaceInView(0.1, 0.5, 0.4)], "small: bring the camera nearer"),
        ([FaceInView(0.3, 0.05, 0.4)], "at the edge"),
        ([FaceInView(0.3, 0.5, 0.95)], "at the edge"),
        ([FaceInView(0.3, 0.5, 0.4), FaceInView(0.2, 0.8, 0.4)], "2 faces are in view"),
    ],
)
def test_say_faces(faces, words):
    assert words in say_faces(faces)


@pytest.mark.slow
def test_watcher_sees_a_face_and_its_absence(watcher: FaceWatcher):
    with av.open(str(ROOT / "sample_videos" / "steady-left-tilt.mp4")) as film:
        picture = next(film.decode(video=0)).to_image().resize((480, 270))
    (face,) = _looked(watcher, _jpeg(picture))
    assert face.height == pytest.approx(0.3, abs=0.1)
    assert (face.x, face.y) == pytest.approx((0.51, 0.4), abs=0.05)
    assert _looked(watcher, _jpeg(Image.new("RGB", (480, 270), (90, 120, 90)))) == ()
    assert _looked(watcher, b"no picture at all") == ()


def test_a_picture_that_would_fill_the_pipe_is_left(watcher: FaceWatcher):
    watcher.offer(b"x" * (looking.LARGEST_BYTES + 1))
    assert not watcher._is_busy
    assert watcher.faces is None


@pytest.mark.slow
def test_watcher_begins_anew_after_its_process_ended(watcher: FaceWatcher):
    green = _jpeg(Image.new("RGB", (480, 270), (90, 120, 90)))
    assert _looked(watcher, green) == ()
    assert watcher._process is not None
    watcher._process.kill()
    watcher._process.wait()
    assert _looked(watcher, green) == ()
