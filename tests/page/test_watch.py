"""What is shown while a clip is measured."""

from __future__ import annotations

import multiprocessing
import time
from pathlib import Path

import pytest

from posture.batch.child import Job, Progress
from posture.batch.children import measure_in_child
from posture.measure import Settings
from posture.page import watch
from tests.page.works import hang


class Place:
    """Stands in for a placeholder of the page; as the page does, it ends a script that was stopped where it draws."""

    def __init__(self, stop_after: int | None = None) -> None:
        self.stop_after = stop_after
        self.texts: list[str] = []
        self.pictures: list[bytes] = []

    def progress(self, share: float, text: str) -> None:
        assert 0 <= share <= 1
        self.texts.append(text)
        if len(self.texts) == self.stop_after:
            raise KeyboardInterrupt

    def image(self, picture: bytes, width: int) -> None:
        self.pictures.append(picture)


@pytest.mark.parametrize(
    ("progress", "said"),
    [
        (Progress(), "Opening the clip"),
        (Progress(0.25, 20.0, 0), "Measuring: 25% of the clip, no face at this moment"),
        (Progress(0.25, 20.0, 1), "Measuring: 25% of the clip, face found"),
        (Progress(1.0, 20.0, 2), "Measuring: 100% of the clip, 2 faces"),
        (Progress(None, 75.0, 1), "Measuring: 1 min 15 s of the clip, face found"),
    ],
)
def test_show_says_how_far_it_is(progress: Progress, said: str):
    bar = Place()
    watch.Watch(bar, Place()).show(progress)
    assert bar.texts == [said]


def test_show_draws_the_bar_always_and_a_picture_when_there_is_one():
    bar, picture = Place(), Place()
    shown = watch.Watch(bar, picture)
    for jpeg in (b"one", None, None, b"two", None):
        shown.show(Progress(0.5, 10.0, 1, jpeg))
    assert len(bar.texts) == 5
    assert picture.pictures == [b"one", b"two"]


def test_draw_sample_is_shown_at_most_twice_a_second(monkeypatch: pytest.MonkeyPatch):
    now = [0.0]
    monkeypatch.setattr(watch.time, "monotonic", lambda: now[0])
    bar = Place()
    shown = watch.Watch(bar, Place())
    for step in range(100):
        now[0] = step / 20
        shown.draw_sample("a", step / 100)
    assert len(bar.texts) == 10


def test_a_stop_while_drawing_ends_the_child_at_once(tmp_path: Path):
    clip = tmp_path / "clip.mp4"
    clip.write_bytes(b"x")
    began_s = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        measure_in_child(Job(clip, Settings()), watch.Watch(Place(stop_after=8), Place()).show, work=hang)
    assert time.monotonic() - began_s < 20
    assert not multiprocessing.active_children()
