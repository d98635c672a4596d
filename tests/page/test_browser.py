"""The page as people meet it: started by the command, in a real browser, with real measurements."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import urlsplit

import av
import numpy as np
import pytest
from PIL import Image

from tests.page.conftest import ROOT
from tests.test_cli import SAMPLES, bad_files, write_bomb, write_video

webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="needs chromium and chromedriver on the path"),
]

FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--window-size=1280,1000",
)  # fmt: skip

PATIENCE_S = 120

COUNT_FIGURES = "return [...document.images].filter(i => i.src.includes('svg') && i.naturalWidth > 0 && i.width > 400 && i.height > 100).length"
AT_REST = "[data-testid=stApp][data-test-script-state=notRunning]"
OUTCOME_TOP_PX = "return document.getElementById('outcome').getBoundingClientRect().top"
COUNT_PORTRAITS = "return [...document.images].filter(i => i.src.startsWith('data:') && i.naturalWidth == 96).length"
TOPS_PX = "return [...document.querySelectorAll('.p-person')].map(e => Math.round(e.getBoundingClientRect().top))"


linux = pytest.mark.skipif(sys.platform != "linux", reason="looks at processes through /proc")


class Address(str):
    """Where the page is, with the number of its process."""

    pid: int


@pytest.fixture
def address(tmp_path: Path) -> Iterator[Address]:
    """The page, started as a user starts it, with its files in the test's folder."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    env = os.environ | {
        "PYTHONPATH": str(ROOT),
        "XDG_DATA_HOME": str(tmp_path / "data"),
        "LOCALAPPDATA": str(tmp_path / "data"),
    }
    command = [sys.executable, "-m", "posture.cli", "page", "--port", str(port)]
    with (tmp_path / "server.log").open("wb") as log:
        # From another folder, so that the settings are those of the command and not of a file beside app.py.
        server = subprocess.Popen(command, cwd=tmp_path, env=env, stdout=log, stderr=log)
        try:
            _wait(lambda: _answers(port), "the server's answer")
            place = Address(f"http://127.0.0.1:{port}")
            place.pid = server.pid
            yield place
        finally:
            server.terminate()
            server.wait(30)
    assert not list((tmp_path / "data").glob("posture/work-*")), "the folder of the uploads outlived the page"


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[object]:
    """Headless Chromium that logs every request."""
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in (*FLAGS, f"--user-data-dir={tmp_path / 'profile'}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL"})
    options.add_experimental_option("prefs", {"download.default_directory": str(tmp_path / "taken")})
    driver = webdriver.Chrome(options, webdriver.ChromeService(DRIVER))
    try:
        # The browser's own first tab asks for things of its own; it is left, and what it asked for taken out of the log.
        driver.get("about:blank")
        driver.get_log("performance")
        yield driver
    finally:
        driver.quit()


def test_page_measures_a_clip_and_asks_nobody_else(address: Address, browser, tmp_path: Path):
    clip = cut_sample("steady-left-tilt", tmp_path, 20)
    browser.get(address)
    _wait(lambda: "Choose a clip" in _text(browser), "the first view")
    _choose(browser, clip)
    _click(browser, "button", "Measure")
    _wait(lambda: "How far to trust this" in _text(browser), "the result")
    assert "The head is tilted by" in _text(browser)
    assert "Which side cannot be said" in _text(browser)
    _wait(lambda: browser.execute_script(COUNT_FIGURES) == 3, "the three figures")
    _wait(lambda: browser.execute_script(OUTCOME_TOP_PX) < 200, "the result to come into view")
    _click(browser, "label", "Not mirrored")
    _wait(lambda: "to the child's left shoulder" in _text(browser), "the side")
    browser.save_screenshot(str(tmp_path / "result.png"))
    assert (tmp_path / "result.png").stat().st_size > 20_000
    _click(browser, "button", "Report for the notes")
    _wait(lambda: (tmp_path / "taken" / "clip.html").exists(), "the report")
    assert "<svg" in (tmp_path / "taken" / "clip.html").read_text(encoding="utf-8")
    asked = _addresses(browser)
    assert any(url.startswith(address) for url in asked)
    assert [url for url in asked if not _is_own(url)] == []


def test_page_asks_which_of_two_persons_is_the_child(address: Address, browser, tmp_path: Path):
    clip = _write_two_children(tmp_path)
    browser.get(address)
    _wait(lambda: "Choose a clip" in _text(browser), "the first view")
    _choose(browser, clip)
    _click(browser, "button", "Measure")
    _wait(lambda: "2 faces" in _text(browser), "both faces while it is measured")
    _wait(lambda: "Who is the child?" in _text(browser), "the question")
    _wait(lambda: browser.execute_script(COUNT_PORTRAITS) == 2, "two portraits")
    _wait(lambda: browser.execute_script(OUTCOME_TOP_PX) < 200, "the question to come into view")
    first = _said(browser)
    (record,) = (tmp_path / "data").glob("posture/results/*/clip.summary.json")
    assert json.loads(record.read_text())["clip"]["person"] == 1
    _click(browser, "button", "Choose person 2")
    _wait(lambda: "Result of person 2" in _text(browser) and _said(browser) != first, "the result of the other")
    _wait(lambda: json.loads(record.read_text())["clip"]["person"] == 2, "the record of the other")
    assert len(set(browser.execute_script(TOPS_PX))) == 1
    browser.save_screenshot(str(tmp_path / "persons.png"))
    assert (tmp_path / "persons.png").stat().st_size > 20_000
    for width_px, rows in ((390, 1), (320, 2)):
        browser.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride", {"width": width_px, "height": 800, "deviceScaleFactor": 2, "mobile": True}
        )
        _wait(lambda rows=rows: len(set(browser.execute_script(TOPS_PX))) == rows, f"{rows} rows on a phone")
        assert browser.execute_script("return document.documentElement.scrollWidth") <= width_px
    if sys.platform == "linux":
        # The landmark library's native code is in the child's memory only.
        assert "mediapipe" not in Path(f"/proc/{address.pid}/maps").read_text()
    assert [url for url in _addresses(browser) if not _is_own(url)] == []


@linux
def test_page_outlives_a_crash_of_native_code(address: Address, browser, tmp_path: Path):
    clip = cut_sample("steady-left-tilt", tmp_path, 20)
    browser.get(address)
    _wait(lambda: "Choose a clip" in _text(browser), "the first view")
    _choose(browser, clip)
    _click(browser, "button", "Measure")
    _wait(lambda: "Measuring:" in _text(browser), "the measurement to begin")
    (child,) = _measuring(address.pid)
    os.kill(child, signal.SIGSEGV)
    _wait(lambda: "crashed on it (signal SEGV)" in _text(browser), "a line about the crash")
    assert "'this file'" in _text(browser)
    _click(browser, "button", "Measure")
    _wait(lambda: "The head is tilted by" in _text(browser), "the result at the second try")
    assert "crashed" not in _text(browser)


def test_page_stops_when_asked(address: Address, browser, tmp_path: Path):
    clip = cut_sample("steady-left-tilt", tmp_path, 30)
    browser.get(address)
    _wait(lambda: "Choose a clip" in _text(browser), "the first view")
    _choose(browser, clip)
    _click(browser, "button", "Measure")
    _wait(lambda: "Measuring:" in _text(browser), "the measurement to begin")
    assert list((tmp_path / "data").glob("posture/work-*/upload-*"))
    if sys.platform == "linux":
        assert len(_measuring(address.pid)) == 1
    _click(browser, "button", "Stop")
    if sys.platform == "linux":
        _wait(lambda: not _measuring(address.pid), "the child process to end", patience_s=5)
    _wait(lambda: "Measuring:" not in _text(browser) and "Stop" not in _text(browser), "the measurement to end")
    assert "How far to trust this" not in _text(browser)
    # The script that was stopped removes the upload as it ends, which may be a moment after the page has changed.
    _wait(lambda: not list((tmp_path / "data").glob("posture/work-*/upload-*")), "the upload to be removed")


def test_page_survives_bad_files(address: Address, browser, tmp_path: Path):
    files = bad_files(tmp_path)
    (tmp_path / "list.mp4").write_bytes(files.pop("playlist").read_bytes())
    hostile = tmp_path / "hostile.mp4"
    hostile.write_text("![x](http://example.org/x.png) $x$\n" * 50)
    hill = np.full((240, 320, 3), 200, np.uint8)
    hill[150:] = 90
    Image.fromarray(hill).save(tmp_path / "a%d.png")
    still = write_video(tmp_path / "one.mp4", [hill])
    lines = {
        files["empty"]: "is empty",
        files["text"]: "is a text file",
        files["script"]: "is a text file",
        tmp_path / "list.mp4": "is a text file",
        files["cut"]: "cut off",
        files["sound"]: "no moving pictures",
        write_bomb(tmp_path / "bomb.mp4"): "8192",
        hostile: "is a text file",
        tmp_path / "a%d.png": "No habitual posture can be given",
        still: "No habitual posture can be given",
    }
    browser.get(address)
    _wait(lambda: "Choose a clip" in _text(browser), "the first view")
    for path, line in lines.items():
        _choose(browser, path)
        _wait(lambda line=line: line not in _text(browser), "the line about the file before to go")
        _click(browser, "button", "Measure")
        _wait(lambda line=line: line in _text(browser), f"a line about {path.name}")
        assert "Traceback" not in _text(browser)
        assert "Choose a clip" in _text(browser)
    assert [url for url in _addresses(browser) if not _is_own(url)] == []


def cut_sample(name: str, folder: Path, length_s: float) -> Path:
    """The beginning of a sample clip as it is shipped, packet by packet."""
    path = folder / f"{name}.mp4"
    with av.open(str(SAMPLES / path.name)) as source, av.open(str(path), "w") as target:
        video = source.streams.video[0]
        stream = target.add_stream_from_template(video)
        for packet in source.demux(video):
            if packet.pts is not None and packet.dts is not None and packet.pts * packet.time_base < length_s:
                packet.stream = stream
                target.mux(packet)
    return path


def _write_two_children(folder: Path) -> Path:
    """A film of two drawn children side by side, one of them upright and one tilted."""
    halves = []
    for name in ("steady-left-tilt", "straight-and-lively"):
        with av.open(str(cut_sample(name, folder, 20))) as container:
            halves.append([frame.to_ndarray(format="rgb24") for frame in container.decode(video=0)])
    rate = round(len(halves[0]) / 20)
    return write_video(folder / "two.mp4", [np.hstack(pair) for pair in zip(*halves, strict=True)], rate)


def _measuring(page_pid: int) -> list[int]:
    """The processes that measure for a page: children of the one from which they are forked, that run, not ended ones."""
    parents = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            state, parent = stat.read_text().rpartition(")")[2].split()[:2]
            if state != "Z":
                parents[int(stat.parent.name)] = int(parent)
    return [pid for pid, parent in parents.items() if parents.get(parent) == page_pid]


def _said(browser) -> str:
    """The sentences of the result."""
    return str(browser.execute_script("return document.querySelector('.p-said')?.innerText"))


def _choose(browser, path: Path) -> None:
    """Give the page a file, in the place of one that is there."""
    for remove in browser.find_elements("css selector", "[data-testid=stFileChip] button"):
        remove.click()
        _wait(lambda: not browser.find_elements("css selector", "[data-testid=stFileChip]"), "the other file to go")
        _wait(lambda: "Best: three minutes" in _text(browser), "the page without the other file")
    _wait(lambda: browser.find_elements("css selector", "input[type=file]"), "the uploader")
    # A run of the script that begins drops the answer to the browser's question where to send a file, and no file arrives: a
    # window of 0.2 s on a busy computer, in which no person has chosen one.
    _wait(lambda: browser.find_elements("css selector", AT_REST), "the page to be drawn")
    browser.find_element("css selector", "input[type=file]").send_keys(str(path))
    _wait(lambda: path.name in _text(browser), "the file's name in the uploader")


def _click(browser, kind: str, text: str) -> None:
    """Press the button, or choose the answer, of this text once it can be pressed."""

    def press() -> bool:
        from selenium.common.exceptions import WebDriverException

        try:
            for element in browser.find_elements("tag name", kind):
                if element.text.strip() == text and element.is_enabled():
                    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)
                    element.click()
                    return True
        except WebDriverException:
            return False  # Drawn anew meanwhile.
        return False

    _wait(press, f"'{text}' to press")


def _text(browser) -> str:
    """All text in the window."""
    return str(browser.execute_script("return document.body.innerText"))


def _addresses(browser) -> list[str]:
    """Everything that was requested."""
    messages = (json.loads(entry["message"])["message"] for entry in browser.get_log("performance"))
    return [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]


def _is_own(url: str) -> bool:
    """Whether a request stays on this computer."""
    return urlsplit(url).scheme in ("data", "blob", "chrome") or urlsplit(url).hostname in ("127.0.0.1", "localhost")


def _answers(port: int) -> bool:
    """Whether something listens."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def _wait(is_so: Callable[[], object], what: str, patience_s: float = PATIENCE_S) -> None:
    """Wait for something, or fail with its name."""
    end_s = time.monotonic() + patience_s
    while not is_so():
        assert time.monotonic() < end_s, f"waited {patience_s} s for {what}"
        time.sleep(0.2)
