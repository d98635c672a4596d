"""The page and headless Chromium with a film in the place of its camera, for the proofs that film."""

from __future__ import annotations

import contextlib
import io
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from posture.clinic.urgency import NECK_SCREEN
from posture.page.guide import LABEL as GUIDE_LABEL
from tests.page.conftest import ROOT
from tests.page.test_browser import CHROMIUM, DRIVER, FLAGS, _answers, webdriver

JPEG_QUALITY = 92

PATIENCE_S = 180.0
"""For what the page does; machines of a build service are slow."""

SCREEN = "Before the neck is moved: the neck screen"

GUIDE_WORDS = GUIDE_LABEL.partition(" while")[0]

NO = "//label[normalize-space(.)='No']"

RECORDER = (
    "const h = [...document.querySelectorAll('*')].map(e => e.shadowRoot).filter(Boolean).find(r => r.querySelector('.f-root'));"
    "if (!h) return null;"
)
"""Begins a script: finds the recorder as h."""


def write_camera(path: Path, pictures: Sequence[NDArray[np.uint8]], times: int = 1) -> None:
    """Write pictures (h, w, 3, RGB) as Chromium's fake camera plays them, each so many times in succession, 30 a second."""
    with path.open("wb") as file:
        for picture in pictures:
            jpeg = io.BytesIO()
            Image.fromarray(picture).save(jpeg, "JPEG", quality=JPEG_QUALITY)
            file.write(times * jpeg.getvalue())


@contextlib.contextmanager
def page_in(folder: Path, port: int) -> Iterator[tuple[str, int]]:
    """The page with its files in a folder: its address and its process."""
    env = os.environ | {"PYTHONPATH": str(ROOT), "XDG_DATA_HOME": str(folder / "data")}
    command = [sys.executable, "-m", "posture.cli", "page", "--port", str(port)]
    with (folder / "server.log").open("wb") as log:
        server = subprocess.Popen(command, cwd=folder, env=env, stdout=log, stderr=log)
        try:
            until(lambda: _answers(port), "the page's answer")
            yield f"http://127.0.0.1:{port}", server.pid
        finally:
            server.send_signal(signal.SIGTERM)
            server.wait(30)


@contextlib.contextmanager
def browser_with(folder: Path, camera: Path, *, logs: bool = False) -> Iterator[Any]:
    """Headless Chromium whose camera plays a file; with a log of every request when told so."""
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    camera_flags = (
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={camera}",
    )
    for flag in (*FLAGS, f"--user-data-dir={folder / 'profile'}", *camera_flags):
        options.add_argument(flag)
    if logs:
        options.set_capability("goog:loggingPrefs", {"performance": "ALL"})
    driver = webdriver.Chrome(options, webdriver.ChromeService(DRIVER))
    try:
        if logs:
            # The browser's own first tab asks for things of its own; it is left, and what it asked for taken out of the log.
            driver.get("about:blank")
            driver.get_log("performance")
        yield driver
    finally:
        driver.quit()


def until(is_so: Callable[[], object], what: str, patience_s: float = PATIENCE_S) -> None:
    """Wait for something, or say what did not come."""
    end_s = time.monotonic() + patience_s
    while True:
        with contextlib.suppress(Exception):
            if is_so():
                return
        if time.monotonic() > end_s:
            raise TimeoutError(f"Waited {patience_s:.0f} s for {what}.")
        time.sleep(0.2)


def click(browser: Any, kind: str, text: str) -> None:
    """Click an element of the page by its kind and words that it holds, once it is there."""

    def is_clicked() -> bool:
        found = browser.find_elements("xpath", f"//{kind}[contains(normalize-space(.), '{text}')]")
        if found:
            browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", found[0])
            found[0].click()
        return bool(found)

    until(is_clicked, f"'{text}' to press")


def press(browser: Any, name: str) -> None:
    """Press a button of the recorder once it is shown."""
    script = f"const b = h.querySelector('.{name}'); if (!b.getClientRects().length) return false; b.click(); return true"
    until(lambda: inside(browser, script), f"{name} to press")


def inside(browser: Any, script: str) -> Any:
    """What a script gives that finds the recorder as h."""
    return browser.execute_script(RECORDER + script)


def text_of(browser: Any) -> str:
    """All that stands on the page."""
    return str(browser.execute_script("return document.body.innerText"))


def open_guide(browser: Any, address: str) -> None:
    """Go to the examination, answer every line of the neck screen with no, ask for the live guide and turn the camera on."""
    browser.get(address)
    until(lambda: "Choose a clip" in text_of(browser), "the first view")
    click(browser, "*[self::label or self::button]", "Film now")
    click(browser, "label", "An examination, step by step")
    click(browser, "summary", SCREEN)
    until(lambda: len(browser.find_elements("xpath", NO)) == len(NECK_SCREEN), "the lines of the neck screen")
    for number in range(len(NECK_SCREEN)):
        until(partial(_answer_no, browser, number), "an answer to the neck screen")
    # An apostrophe would end the words of the path.
    box = f"//label[contains(., '{GUIDE_WORDS}')]"
    until(lambda: browser.find_elements("xpath", f"{box}//input[not(@disabled)]"), "the guide to open")
    browser.find_element("xpath", box).click()
    press(browser, "f-on")
    until(lambda: "shoulder" in inside(browser, "return h.querySelector('.g-say').innerText"), "a tilt")


def _answer_no(browser: Any, number: int) -> bool:
    """Answer a line of the neck screen with no; whether it is answered."""
    browser.find_elements("xpath", NO)[number].click()
    time.sleep(0.3)
    return len(browser.execute_script("return [...document.querySelectorAll('input[type=radio]:checked')]")) > number + 1
