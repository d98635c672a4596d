"""Marking plumb lines: what goes to the browser, what comes back, the words, and one drag in a real browser."""

from __future__ import annotations

import base64
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import urlsplit

import cv2
import numpy as np
import pytest

from posture.face.stills import Still
from posture.geometry.fit import Camera
from posture.geometry.plumb import Stand
from posture.page import mark
from posture.page.mark import Line, Marked, judge, read_lines, sent, words
from posture.samples.room import project
from tests.page.conftest import ROOT

CAMERA = Camera(1280, 720, 1000.0)

DOOR = Line("plumb", (0.5, 0.2, 0.52, 0.8))
SILL = Line("level", (0.3, 0.5, 0.7, 0.48))

ROLL_DEG, PITCH_DEG = 6.0, 10.0

APP = f"""
import json
import streamlit as st
from posture.geometry.fit import Camera
from posture.page.mark import draw_marking
from tests.page.test_mark import made_still

still = made_still({ROLL_DEG}, {PITCH_DEG})
key = st.radio("clip", ["first", "second"])
marked = draw_marking(still, Camera(1280, 720, 1000.0), key)
said = marked and [marked.stand.roll_deg, marked.stand.pitch_deg, len(marked.plumb_px), len(marked.level_px)]
st.html('<pre id="said">' + json.dumps(said) + "</pre>")
"""

EDGES_M = (-0.9, 0.05, 0.9)
"""Where the plumb edges of the picture are: beside the middle of a wall two metres away."""


def edge_px(x_m: float, roll_deg: float, pitch_deg: float) -> np.ndarray:
    """The upper and the lower end of a plumb edge, (2, 2)."""
    ends = np.array([[x_m, -0.2, 2.0], [x_m, 0.6, 2.0]])
    return project(ends, CAMERA.width_px, CAMERA.height_px, CAMERA.focal_px, roll_deg, pitch_deg)[0]


def made_still(roll_deg: float, pitch_deg: float) -> Still:
    """A wall with three plumb edges."""
    picture = np.full((CAMERA.height_px, CAMERA.width_px, 3), 190, np.uint8)
    for x_m in EDGES_M:
        upper, lower = (tuple(int(v) for v in np.rint(end * 16)) for end in edge_px(x_m, roll_deg, pitch_deg))
        cv2.line(picture, upper, lower, (60, 80, 110), 5, cv2.LINE_AA, 4)
    return Still(0.0, cv2.imencode(".jpg", picture)[1].tobytes(), 1.0, {}, {})


def found(roll: float, pitch: float, roll_sd: float, pitch_sd: float, n_plumb: int = 1) -> Marked:
    """Marked lines that came to this."""
    four = (0.0, 0.0, 0.0, 300.0)
    return Marked((four,) * n_plumb, () if n_plumb else (four,), Stand(roll, pitch, roll_sd, pitch_sd))


def test_lines_come_back_as_they_were_drawn():
    given = json.loads(json.dumps([{"kind": line.kind, "at": line.at} for line in (DOOR, SILL)]))
    assert read_lines(given) == (DOOR, SILL)


@pytest.mark.parametrize(
    "value",
    [
        pytest.param(None, id="nothing"),
        pytest.param("plumb", id="text"),
        pytest.param({"kind": "plumb", "at": [0, 0, 1, 1]}, id="no-list"),
        pytest.param([[0, 0, 1, 1]], id="no-kind"),
        pytest.param([{"kind": "slanted", "at": [0, 0, 1, 1]}], id="unknown-kind"),
        pytest.param([{"kind": ["plumb"], "at": [0, 0, 1, 1]}], id="kind-is-a-list"),
        pytest.param([{"kind": "plumb"}], id="no-ends"),
        pytest.param([{"kind": "plumb", "at": [0, 0, 1]}], id="three"),
        pytest.param([{"kind": "plumb", "at": [0, 0, 1, "1"]}], id="text-for-a-number"),
        pytest.param([{"kind": "plumb", "at": [0, 0, 1, None]}], id="gap"),
        pytest.param([{"kind": "plumb", "at": [0, 0, 1, float("nan")]}], id="nan"),
        pytest.param([{"kind": "plumb", "at": [0, 0, 1, 1.5]}], id="outside"),
        pytest.param([{"kind": "level", "at": [0, 0, 1, 0]}] * 2, id="two-level"),
        pytest.param([{"kind": "plumb", "at": [0, 0, 0, 1]}] * 3, id="three-plumb"),
        pytest.param([{"kind": "plumb", "at": [0, 0, 0, 1]}, 7], id="one-good-one-bad"),
    ],
)
def test_anything_else_counts_as_no_line(value: object):
    assert read_lines(value) == ()


def test_shares_become_pixels_of_the_film():
    marked, trouble = judge([Line("plumb", (0.5, 0.0, 0.5, 1.0)), SILL], CAMERA)
    assert trouble is None
    assert marked is not None
    assert marked.plumb_px == ((639.5, -0.5, 639.5, 719.5),)
    assert marked.level_px[0] == pytest.approx((383.5, 359.5, 895.5, 345.1))


def test_lines_that_say_nothing_come_with_the_reason():
    assert judge([], CAMERA) == (None, None)
    marked, trouble = judge([Line("plumb", (0.5, 0.5, 0.5, 0.52))], CAMERA)
    assert marked is None
    assert "at least 10 %" in str(trouble)


def test_the_browser_gets_the_picture_itself_and_the_lines():
    still = made_still(0, 0)
    marked, _ = judge([DOOR], CAMERA)
    data = json.loads(json.dumps(sent(still, CAMERA, "clip", [DOOR], marked), allow_nan=False))
    kind, _, picture = data["picture"].partition(",")
    assert kind == "data:image/jpeg;base64"
    assert base64.b64decode(picture) == still.jpeg
    assert (data["key"], data["width"], data["height"], data["focal"]) == ("clip", 1280, 720, 1000 / 1280)
    assert read_lines(data["lines"]) == (DOOR,)
    assert data["stand"] == {"roll_deg": marked.stand.roll_deg, "pitch_deg": marked.stand.pitch_deg}
    assert sent(still, CAMERA, "clip", [], None)["stand"] is None


@pytest.mark.parametrize(
    ("marked", "text"),
    [
        pytest.param(
            found(-4.2, 9.8, 0.6, 2.4, 2),
            "The camera was rolled by 4 degrees and looked down by 10 (known to about 1 and 5 degrees).",
            id="both",
        ),
        pytest.param(
            found(0.3, -3.0, 0.7, 2.0, 2),
            "The camera was not rolled and looked up by 3 (known to about 1 and 4 degrees).",
            id="up",
        ),
        pytest.param(
            found(2.0, 0.1, 0.2, 8.0),
            "The camera was rolled by 2 degrees (known to about 1 degree). How far it looked up or down this line does not tell."
            " A second plumb line, far from the first, would, and the roll would be known better.",
            id="one-line",
        ),
        pytest.param(
            found(7.0, 0.0, 5.0, 8.0, 0),
            "The camera was rolled by 7 degrees (known to about 10 degrees). How far it looked up or down this line does not tell."
            " Two plumb lines far apart would, and the roll would be known better."
            " A plumb line, or a level one at the height of the camera, would say it more exactly.",
            id="level-alone",
        ),
    ],
)
def test_words_say_what_the_lines_came_to(marked: Marked, text: str):
    assert " ".join(words(marked)) == text


def test_both_sides_allow_the_same_number_of_lines_and_nothing_is_fetched():
    script, look = ((ROOT / "posture" / "page" / name).read_text(encoding="utf-8") for name in ("mark.js", "mark.css"))
    (allowed,) = re.findall(r"const MOST = \{ plumb: (\d), level: (\d) \};", script)
    assert tuple(int(n) for n in allowed) == (mark.MOST["plumb"], mark.MOST["level"])
    addresses = re.findall(r"\w+://[^\"'\s)]+", script + look + mark._HTML)
    assert addresses == ["http://www.w3.org/2000/svg"], "only the name of a vocabulary, which no browser asks for"
    assert "@import" not in look


def test_the_page_says_what_lines_of_the_session_came_to_and_gives_them_to_no_other_clip():
    from streamlit.testing.v1 import AppTest

    page = AppTest.from_string(APP, default_timeout=60)
    page.session_state["marking-lines-first"] = (DOOR,)
    page.run()
    assert not page.exception
    assert _said(page) == [pytest.approx(3.39, abs=0.1), pytest.approx(0, abs=0.1), 1, 0]
    page.radio[0].set_value("second").run()
    assert _said(page) is None
    page.radio[0].set_value("first").run()
    assert _said(page)[2:] == [1, 0]


def test_the_page_warns_of_lines_that_cannot_be_used():
    from streamlit.testing.v1 import AppTest

    page = AppTest.from_string(APP, default_timeout=60)
    page.session_state["marking-lines-first"] = (Line("plumb", (0.1, 0.5, 0.9, 0.5)),)
    page.run()
    assert "at most 60 degrees" in page.warning[0].value
    assert _said(page) is None


def _said(page) -> list[float] | None:
    """What the script was given."""
    (text,) = (m for e in page.get("html") for m in re.findall(r'<pre id="said">(.*)</pre>', e.proto.body))
    return json.loads(text)


# ---- In a real browser

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")

FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--window-size=1280,1000",
)  # fmt: skip

PATIENCE_S = 60

PART = "[...document.querySelectorAll('*')].map(e => e.shadowRoot).find(s => s?.querySelector('.m-root'))"
BOX = f"const b = {PART}?.querySelector('.m-lines').getBoundingClientRect(); return b && [b.left, b.top, b.width, b.height]"
LOADED = f"return [...({PART}?.querySelectorAll('img') ?? [])].filter(i => i.naturalWidth == 1280).length"
TURNED = f"return {PART}.querySelector('.m-turn').style.transform"
LOUPE = f"return !{PART}.querySelector('.m-loupe').hidden"
LINES = f"return {PART}.querySelectorAll('.m-lines .m-over').length"
FOCUSED = f"return {PART}.activeElement?.getAttribute('aria-label')"
SAID = "return JSON.parse(document.getElementById('said')?.innerText ?? 'null')"


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[object]:
    """The script in headless Chromium."""
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    (tmp_path / "app.py").write_text(APP, encoding="utf-8")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in (*FLAGS, f"--user-data-dir={tmp_path / 'profile'}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL"})
    command = [
        sys.executable, "-m", "streamlit", "run", "app.py", "--server.port", str(port), "--server.address", "127.0.0.1",
        "--server.headless", "true", "--browser.gatherUsageStats", "false", "--server.fileWatcherType", "none",
    ]  # fmt: skip
    with (tmp_path / "server.log").open("wb") as log:
        server = subprocess.Popen(command, cwd=tmp_path, env=os.environ | {"PYTHONPATH": str(ROOT)}, stdout=log, stderr=log)
        driver = None
        try:
            driver = webdriver.Chrome(options, webdriver.ChromeService(DRIVER))
            driver.get("about:blank")
            driver.get_log("performance")
            _wait(lambda: _answers(port), "the server's answer")
            driver.get(f"http://127.0.0.1:{port}")
            _wait(lambda: driver.execute_script(LOADED) == 2, "the two pictures")
            yield driver
        finally:
            if driver is not None:
                driver.quit()
            server.terminate()
            server.wait(30)


@pytest.mark.slow
@pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="needs chromium and chromedriver on the path")
def test_lines_are_dragged_along_the_edges_of_a_wall(browser):
    # While the pointer is down the picture is straightened and the loupe is there, and Python hears of nothing.
    _drag(browser, EDGES_M[1], release=False)
    lean_deg = np.degrees(np.arctan2(*np.diff(edge_px(EDGES_M[1], ROLL_DEG, PITCH_DEG), axis=0)[0]))
    (turned,) = re.findall(r"^rotate\((-?[\d.]+)deg\)$", browser.execute_script(TURNED))
    assert float(turned) == pytest.approx(lean_deg, abs=0.5)
    assert browser.execute_script(LOUPE)
    time.sleep(1)
    assert browser.execute_script(SAID) is None

    _release(browser)
    said = _wait(lambda: browser.execute_script(SAID), "the roll of one line")
    assert said[0] == pytest.approx(ROLL_DEG, abs=1.0)
    assert said[2:] == [1, 0]
    assert not browser.execute_script(LOUPE)
    assert "this line does not tell" in _text(browser)

    # Two lines far apart give the pitch too: the first one is taken back by its key, as two are the most.
    _press(browser, "DELETE")
    _wait(lambda: browser.execute_script(SAID) is None, "the line to be gone")
    _drag(browser, EDGES_M[0])
    _wait(lambda: browser.execute_script(SAID), "the first of two lines")
    _drag(browser, EDGES_M[2])
    said = _wait(lambda: (s := browser.execute_script(SAID)) and s[2] == 2 and s, "the second line")
    assert said[0] == pytest.approx(ROLL_DEG, abs=1.0)
    assert said[1] == pytest.approx(PITCH_DEG, abs=2.5)
    assert "looked down by" in _text(browser)
    _wait(lambda: browser.execute_script(TURNED).startswith("matrix3d("), "the picture to be levelled")

    # A third is too many.
    _drag(browser, EDGES_M[1])
    assert browser.execute_script(LINES) == 2

    # Another clip has no lines, and the first one gets its own back.
    _choose(browser, "second")
    _wait(lambda: browser.execute_script(LINES) == 0, "the other clip without lines")
    _wait(lambda: browser.execute_script(SAID) is None, "the other clip without a result")
    _choose(browser, "first")
    _wait(lambda: browser.execute_script(LINES) == 2, "the lines of the first clip")
    again = _wait(lambda: browser.execute_script(SAID), "the result of the first clip")
    assert again[0] == pytest.approx(said[0], abs=1e-6)

    # By keys alone: a line is put in, which says nothing yet, and its upper end is moved to the right.
    browser.execute_script(f"{PART}.querySelector('.m-clear').click()")
    _wait(lambda: browser.execute_script(SAID) is None, "no line")
    browser.execute_script(f"{PART}.querySelector('.m-add-plumb').click()")
    assert browser.execute_script(LINES) == 1
    assert browser.execute_script(FOCUSED) == "Plumb line 1, upper end"
    time.sleep(1)
    assert browser.execute_script(SAID) is None
    for _ in range(20):
        _press(browser, "ARROW_RIGHT")
    said = _wait(lambda: browser.execute_script(SAID), "the roll of the line moved by keys")
    assert said[0] < -4
    assert browser.execute_script(FOCUSED) == "Plumb line 1, upper end"

    asked = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    urls = [m["params"]["request"]["url"] for m in asked if m["method"] == "Network.requestWillBeSent"]
    assert len(urls) > 5
    assert [u for u in urls if urlsplit(u).scheme not in ("data", "blob") and urlsplit(u).hostname != "127.0.0.1"] == []


def _drag(browser, x_m: float, release: bool = True) -> None:
    """Draw along an edge of the wall."""
    from selenium.webdriver.common.actions.action_builder import ActionBuilder

    left, top, width, height = browser.execute_script(BOX)
    shares = edge_px(x_m, ROLL_DEG, PITCH_DEG) / [CAMERA.width_px, CAMERA.height_px]
    upper, lower = shares * [width, height] + [left, top]
    actions = ActionBuilder(browser, duration=60)
    actions.pointer_action.move_to_location(*(round(v) for v in upper)).pointer_down()
    for part in (0.4, 0.8, 1.0):
        actions.pointer_action.move_to_location(*(round(v) for v in upper + part * (lower - upper)))
    if release:
        actions.pointer_action.pointer_up()
    actions.perform()


def _release(browser) -> None:
    """Let go."""
    from selenium.webdriver.common.actions.action_builder import ActionBuilder

    actions = ActionBuilder(browser)
    actions.pointer_action.pointer_up()
    actions.perform()


def _press(browser, name: str) -> None:
    """Press a key; without a focused end it goes to the first one."""
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    browser.execute_script(f"const s = {PART}; if (!s.activeElement?.matches('.m-end')) s.querySelector('.m-end').focus()")
    ActionChains(browser).send_keys(getattr(Keys, name)).perform()


def _choose(browser, clip: str) -> None:
    """Choose the other clip."""
    (label,) = (e for e in browser.find_elements("css selector", "[data-testid=stRadio] label") if e.text.strip() == clip)
    label.click()


def _text(browser) -> str:
    """All text of the page."""
    return str(browser.execute_script("return document.body.innerText"))


def _answers(port: int) -> bool:
    """Whether something listens."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def _wait(value: Callable[[], object], what: str) -> object:
    """Wait for something and give it, or fail with its name."""
    end_s = time.monotonic() + PATIENCE_S
    while not (found := value()):
        assert time.monotonic() < end_s, f"waited {PATIENCE_S} s for {what}"
        time.sleep(0.2)
    return found
