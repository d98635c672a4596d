"""The live guide on the page: closed before the neck screen, and in a real browser with a drawn child before the camera."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import streamlit as st

from posture.clinic.urgency import NECK_SCREEN
from posture.filming.guide import TiltGuide
from posture.page import guide
from posture.samples import render_child
from tests.page.test_browser import CHROMIUM, DRIVER, _addresses, _is_own, linux
from tests.proof.browsers import browser_with, inside, open_guide, page_in, press, text_of, until, write_camera

in_browser = pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="needs chromium and chromedriver on the path")

TILT_DEG, SHOWN_S, AWAY_S = 17.0, 6, 3
"""The child is before the camera for a while and then away, again and again."""

RATE_HZ = 30


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the page does with the guide's process, which is not begun."""
    told: list[str] = []
    monkeypatch.setattr(TiltGuide, "begin", lambda self: told.append("begin"))
    monkeypatch.setattr(TiltGuide, "close", lambda self: told.append("close"))
    return told


def test_guide_is_off_and_closed_before_the_neck_screen(open_page: Callable[[], object], begun: list[str]):
    at = open_page()
    at.segmented_control(key="way").set_value("film").run()
    assert not [box for box in at.checkbox if box.key == guide.KEY], "no guide where nothing is asked for"
    at.radio(key="film_mode").set_value("steps").run()
    assert not at.exception
    assert at.checkbox(key=guide.KEY).disabled
    lines = list(NECK_SCREEN)
    for line in lines[:-1]:
        at.radio(key=f"film_neck_{line}").set_value("No")
    assert at.run().checkbox(key=guide.KEY).disabled
    at.radio(key=f"film_neck_{lines[-1]}").set_value("No").run()
    assert not at.checkbox(key=guide.KEY).disabled
    assert at.checkbox(key=guide.KEY).value is False
    assert "begin" not in begun
    at.checkbox(key=guide.KEY).set_value(True).run()
    assert begun[-1] == "begin"
    at.radio(key=f"film_neck_{lines[0]}").set_value("Yes").run()
    assert at.checkbox(key=guide.KEY).disabled
    assert begun[-1] == "close", "a yes ends a guide that was asked for before"


def test_guide_is_shown_in_the_steps_that_tilt_the_head_only(begun: list[str], monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(st, "session_state", {})
    assert guide.guide_data(wanted=False) is None
    data = guide.guide_data(wanted=True)
    assert data is not None
    assert data["address"] is None
    assert data["steps"] == ("tilt-right", "tilt-left")
    assert "taken as level" in data["level"]
    assert data["old_s"] == 0.5
    assert begun == ["close", "begin"]


@pytest.fixture(scope="module")
def camera(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A child that tilts its head to its right shoulder, and a wall."""
    path = tmp_path_factory.mktemp("camera") / "child.mjpeg"
    child = np.array(render_child(TILT_DEG, 0, 0, width_px=1280, height_px=720, focal_px=1150.0))
    wall = np.full_like(child, (150, 160, 150))
    write_camera(path, [child] * (SHOWN_S * RATE_HZ) + [wall] * (AWAY_S * RATE_HZ))
    return path


@pytest.fixture
def browser(tmp_path: Path, camera: Path) -> Iterator[object]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with page_in(tmp_path, port) as (address, _), browser_with(tmp_path, camera, logs=True) as driver:
        open_guide(driver, address)
        yield driver


def _told(browser) -> dict[str, str]:
    """What stands in the places of the guide, and how its drawing is turned, at one moment: half a second later it may be too old."""
    words = "Object.fromEntries(['say', 'figure', 'held', 'how'].map(n => [n, h.querySelector('.g-' + n).innerText]))"
    turned = "h.querySelector('.g-head').getAttribute('transform')"
    return dict(inside(browser, f"return {{ ...{words}, turned: {turned} }}"))


def _told_when(browser, is_so: Callable[[dict[str, str]], bool], what: str) -> dict[str, str]:
    """The same as soon as something is so."""
    told: dict[str, str] = {}

    def look() -> bool:
        told.update(_told(browser))
        return is_so(told)

    until(look, what)
    return told


def _processes() -> list[int]:
    """Of guides that run below this test."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            words = (folder / "cmdline").read_bytes().split(b"\0")
            if b"posture.filming.guide_server" in words and _is_below(int(folder.name), os.getpid()):
                found.append(int(folder.name))
    return found


def _is_below(pid: int, ancestor: int) -> bool:
    """Whether one process came from another."""
    while pid > 1:
        if pid == ancestor:
            return True
        pid = int(Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[1])
    return False


@pytest.mark.slow
@linux
@in_browser
def test_tilt_is_shown_held_taken_away_and_filmed_beside(browser, tmp_path: Path):
    right = f"{TILT_DEG:.0f} degrees to the child's right shoulder"
    told = _told_when(browser, lambda t: t["say"] == right and t["held"][:8] in ("held 2 s", "held 3 s"), "a tilt that is held")
    inside(browser, "h.querySelector('.g-guide').scrollIntoView({ block: 'center' })")
    browser.save_screenshot(str(tmp_path / "ready.png"))
    assert told["figure"] == "17°"
    assert told["how"] == "The camera is taken as level."
    # The head leans to the left as one looks at the child: counter-clockwise, which is negative in a drawing.
    assert float(told["turned"][7:].split()[0]) == pytest.approx(-TILT_DEG, abs=1)
    told = _told_when(browser, lambda t: t["say"] == "No face is seen.", "the wall")
    assert (told["figure"], told["held"]) == ("–", "")
    told = _told_when(browser, lambda t: t["say"] == right, "the child again")
    assert told["held"] in [f"held {n} s, within 3 degrees" for n in range(3)], "a hold is not carried over"

    press(browser, "f-start")
    until(lambda: inside(browser, "return h.querySelector('.f-child').open"), "the dark screen")
    assert inside(browser, "return h.querySelector('.g-guide').hidden"), "not while a head posture is filmed that is a habit"
    step = "[...h.querySelector('.f-jump').options].findIndex(o => o.text.includes('Tilt to the right'))"
    inside(browser, f"const s = h.querySelector('.f-jump'); s.value = {step}; s.dispatchEvent(new Event('change'))")
    press(browser, "f-main")
    until(lambda: _told(browser)["say"] == right, "the tilt while it is filmed")
    browser.save_screenshot(str(tmp_path / "filming.png"))
    until(lambda: "Next:" in inside(browser, "return h.querySelector('.f-title').innerText"), "the step to end by itself")
    assert inside(browser, "return h.querySelector('.g-guide').hidden")
    films = tmp_path / "data" / "posture" / "recordings"
    until(lambda: [film for film in films.glob("*/film.webm") if film.stat().st_size > 10_000], "the pieces on disk")
    assert inside(browser, "return h.querySelector('.f-say').innerText") == ""
    press(browser, "f-stop")
    until(lambda: "Recorded:" in text_of(browser), "the recording")
    assert "Tilt to the right shoulder: " in text_of(browser)
    until(lambda: _processes() == [], "the guide's process to end")
    asked = _addresses(browser)
    assert [url for url in asked if not _is_own(url)] == []
    assert sum("?at=" in url for url in asked) > 20


@pytest.mark.slow
@linux
@in_browser
def test_a_guide_that_answers_no_more_shows_no_old_tilt(browser):
    right = f"{TILT_DEG:.0f} degrees to the child's right shoulder"
    until(lambda: _told(browser)["say"] == right, "a tilt")
    (process,) = _processes()
    os.kill(process, signal.SIGSTOP)
    try:
        time.sleep(1.5)
        told = _told(browser)
        assert (told["say"], told["figure"], told["held"]) == ("The tilt is not known just now.", "–", "")
    finally:
        os.kill(process, signal.SIGKILL)
    until(lambda: _told(browser)["say"] == right, "another process in its place")
    assert _processes() != [process]
