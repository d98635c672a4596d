"""Filming on the page: pieces, the neck screen, and the whole way in a real browser with a film in the place of the camera."""

from __future__ import annotations

import base64
import io
import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import av
import numpy as np
import pytest

from posture.clinic.urgency import NECK_SCREEN
from posture.filming import pieces
from posture.filming.receive import Filming, take_pieces
from posture.page.film import Film
from tests.page.conftest import ROOT
from tests.page.test_browser import (
    CHROMIUM,
    DRIVER,
    FLAGS,
    PATIENCE_S,
    _addresses,
    _click,
    _is_own,
    _text,
    _wait,
    address,  # noqa: F401 - a fixture.
    webdriver,
)

STEADY = ROOT / "sample_videos" / "steady-left-tilt"

FILMED_S = 20.0
AGAIN_S = 5.0
"""So much of the sample is played, again and again."""

in_browser = pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="needs chromium and chromedriver on the path")

FIND = (
    "const h = [...document.querySelectorAll('*')].map(e => e.shadowRoot).filter(Boolean).find(r => r.querySelector('.f-root'));"
    "if (!h) return null;"
)


# ---- What the server does with a message


def _message(run: str = "a", first: int = 0, data: list[bytes] | None = None, **more: object) -> dict[str, object]:
    texts = [base64.b64encode(piece).decode() for piece in data or []]
    empty = {"marks": [], "notes": [], "length_s": 1.0, "last": False}
    return {"run": run, "first": first, "pieces": texts} | empty | more


@pytest.fixture
def state(private: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Filming]:
    monkeypatch.setattr(pieces, "LEAST_FREE_BYTES", 0)
    yield Filming()
    for recording in list(pieces._held.values()):
        recording.erase()


def test_messages_become_one_film_whatever_comes_twice(state: Filming):
    take_pieces(state, _message(data=[b"ab", b"cd"]), "me")
    take_pieces(state, _message(data=[b"ab", b"cd", b"ef"]), "me")
    take_pieces(state, _message(first=5, data=[b"zz"]), "me")
    assert state.recording is not None
    assert state.recording.next_number == 3
    mark = {"step": "far", "start_s": 0, "end_s": 3.5, "before_s": 0}
    take_pieces(state, _message(first=3, data=[b"gh"], marks=[mark], notes=["0:01: it slept"], length_s=3.5, last=True), "me")
    assert state.recording.path.read_bytes() == b"abcdefgh"
    assert state.ended
    assert state.trouble is None
    assert [m.step for m in state.recording.marks] == ["far"]
    assert state.recording.notes == ("0:01: it slept",)
    assert Film.of(state.recording).conditions["target"] == "far picture"


def test_the_last_message_ends_nothing_while_a_piece_is_missing(state: Filming):
    take_pieces(state, _message(data=[b"ab"]), "me")
    take_pieces(state, _message(first=2, data=[b"ef"], last=True), "me")
    assert not state.ended
    take_pieces(state, _message(first=1, data=[b"cd", b"ef"], last=True), "me")
    assert state.ended


def test_a_film_whose_beginning_is_elsewhere_is_not_begun(state: Filming):
    take_pieces(state, _message(run="b", first=7, data=[b"zz"]), "me")
    assert state.recording is None
    assert state.trouble is not None
    assert "lost its connection while it was filming" in state.trouble


@pytest.mark.parametrize("text", ["not base64!", 7, None, "A" * 5], ids=str)
def test_a_damaged_piece_stops_the_film_and_keeps_what_there_is(state: Filming, text):
    take_pieces(state, _message(data=[b"ab"]), "me")
    take_pieces(state, _message(first=1) | {"pieces": [text]}, "me")
    assert state.trouble is not None
    assert state.trouble.startswith("Expected a second of film from the browser")
    assert state.ended
    assert state.recording is not None
    assert state.recording.path.read_bytes() == b"ab"


def test_a_full_disk_stops_the_film_and_keeps_what_there_is(state: Filming, monkeypatch: pytest.MonkeyPatch):
    take_pieces(state, _message(data=[b"ab"]), "me")
    monkeypatch.setattr(pieces, "LARGEST_BYTES", 3)
    take_pieces(state, _message(first=1, data=[b"cd"]), "me")
    assert state.trouble is not None
    assert "what was recorded is kept" in state.trouble
    assert state.ended


def test_no_space_at_all_is_told_before_anything_is_filmed(state: Filming, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(pieces, "LEAST_FREE_BYTES", 10**18)
    take_pieces(state, _message(data=[b"ab"]), "me")
    assert state.recording is None
    assert state.trouble is not None
    assert "GB free for a recording" in state.trouble


# ---- Questions before it


def test_the_neck_screen_settles_which_steps_are_offered(open_page: Callable[[], object]):
    at = open_page()
    at.segmented_control(key="way").set_value("film").run()
    at.radio(key="film_mode").set_value("steps").run()
    assert not at.exception
    assert "not answered in full" in at.warning[0].value
    assert len(at.multiselect[0].value) == 10
    for line in NECK_SCREEN:
        at.radio(key=f"film_neck_{line}").set_value("No")
    at.run()
    assert not at.warning
    assert len(at.multiselect[0].value) == 14
    at.radio(key="film_neck_infection").set_value("Yes").run()
    assert "Do not move the neck" in at.warning[0].value
    assert "fever, sore throat" in at.warning[0].value
    assert not {"tilt", "turn", "head"} & {name.split("-")[0] for name in at.multiselect[0].value}


def test_the_first_view_tells_of_recordings_that_were_left_behind(
    open_page: Callable[[], object], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(pieces, "LEAST_FREE_BYTES", 0)
    recording = pieces.begin_recording("somebody who is gone")
    recording.append(0, b"abc")
    assert "A recording was neither measured nor erased: press Film now." in _html(open_page())
    recording.erase()
    assert "neither measured nor erased" not in _html(open_page())


def _html(at) -> str:
    return "".join(str(element.value) for element in at.get("html"))


# ---- In a browser


@pytest.fixture(scope="module")
def camera_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample as the browser's fake camera plays it: pictures one after the other, thirty a second."""
    path = tmp_path_factory.mktemp("camera") / "child.mjpeg"
    with av.open(f"{STEADY}.mp4") as sample, path.open("wb") as file:
        for frame in sample.decode(video=0):
            if frame.time is None or frame.time > FILMED_S:
                break
            picture = io.BytesIO()
            frame.to_image().save(picture, "JPEG", quality=92)
            file.write(2 * picture.getvalue())
    return path


@pytest.fixture
def open_browser(tmp_path: Path, camera_file: Path) -> Iterator[Callable[..., object]]:
    """Opens headless Chromium whose camera plays the sample; closes it after the test, or before when told so."""
    opened = []

    def open_one(*flags: str, has_camera: bool = True) -> object:
        options = webdriver.ChromeOptions()
        options.binary_location = CHROMIUM
        profile = f"--user-data-dir={tmp_path / f'profile-{len(opened)}'}"
        camera = (
            ["--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={camera_file}"] if has_camera else []
        )
        for flag in (*FLAGS, profile, *camera, *(flags or ("--use-fake-ui-for-media-stream",))):
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"performance": "ALL"})
        driver = webdriver.Chrome(options, webdriver.ChromeService(DRIVER))
        driver.get("about:blank")
        driver.get_log("performance")
        opened.append(driver)
        return driver

    yield open_one
    for driver in opened:
        driver.quit()


def _inside(browser, script: str):
    """What a script gives that finds the recorder as h."""
    return browser.execute_script(FIND + script)


def _press(browser, name: str) -> None:
    """Press a button of the recorder once it is shown."""
    script = f"const b = h.querySelector('.{name}'); if (!b.getClientRects().length) return false; b.click(); return true"
    _wait(lambda: _inside(browser, script), f"{name} to press")


def _said(browser, name: str) -> str:
    """What stands in a place of the recorder."""
    return str(_inside(browser, f"return h.querySelector('.{name}').innerText"))


def _turn_on(browser, address: str, mode: str = "") -> None:  # noqa: F811
    """Go to the page and turn the camera on."""
    browser.get(address)
    _wait(lambda: "Choose a clip" in _text(browser), "the first view")
    _click(browser, "label", "Film now") if browser.find_elements("xpath", "//label[.='Film now']") else _click(
        browser, "button", "Film now"
    )
    if mode:
        _click(browser, "label", mode)
        _wait(lambda: "Before the neck is moved" in _text(browser), "the neck screen")
    pressed_s = 0.0

    def answered() -> bool:
        """Whether the camera is on or an error is told; a button that was drawn anew just then is pressed again."""
        nonlocal pressed_s
        answer = "return !h.querySelector('.f-on').getClientRects().length || h.querySelector('.f-error').innerText !== ''"
        if _inside(browser, answer):
            return True
        if time.monotonic() - pressed_s > AGAIN_S:
            pressed_s = time.monotonic()
            _press(browser, "f-on")
        return False

    _wait(answered, "the camera to answer")


def _film_for(browser, seconds: float) -> None:
    """Wait until the film is so much longer than it is now."""
    clock = "const [m, s] = h.querySelector('.f-left').innerText.split(' ')[0].split(':'); return 60 * m + 1 * s"
    begun_s = _inside(browser, clock)
    _wait(lambda: _inside(browser, clock) <= begun_s - seconds, f"{seconds} s of film")


def _truth_deg(name: str) -> float:
    """The habitual value of the part of the sample that is played."""
    rows = np.genfromtxt(f"{STEADY}.truth.csv", delimiter=",", names=True)
    return float(np.median(rows[name][(rows["steady"] == 1) & (rows["time_s"] <= FILMED_S)]))


@pytest.mark.slow
@in_browser
def test_film_stop_measure(address, open_browser, tmp_path: Path):  # noqa: F811
    browser = open_browser()
    _turn_on(browser, address)
    _wait(lambda: "The light is good" in _said(browser, "f-light"), "a word on the light")
    _wait(lambda: "A face is in view, large enough" in _said(browser, "f-face"), "a word on the face")
    assert _inside(browser, "return getComputedStyle(h.querySelector('.f-preview')).transform") in (
        "none",
        "matrix(1, 0, 0, 1, 0, 0)",
    )
    assert not _inside(browser, "return h.querySelector('.f-preview').checkVisibility()"), "no picture unless it is asked for"
    _press(browser, "f-start")
    _film_for(browser, 2)
    dark = "const e = document.elementFromPoint(innerWidth / 2, innerHeight / 3); return h.host === e && getComputedStyle("
    assert _inside(browser, f"{dark}h.querySelector('.f-child')).backgroundColor") == "rgb(20, 25, 27)"
    assert not _inside(browser, "return [...h.querySelectorAll('video')].some(v => v.checkVisibility())")
    film = next((tmp_path / "data" / "posture" / "recordings").glob("*/film.webm"))
    size_bytes = film.stat().st_size
    _film_for(browser, 15)
    assert film.stat().st_size > size_bytes > 0, "pieces are on disk as they come"
    _press(browser, "f-stop")
    _wait(lambda: "Recorded:" in _text(browser), "the recording")
    _wait(lambda: "which is not mirrored" in _text(browser), "the side to be settled")
    assert "which is not mirrored" in _text(browser)
    _click(browser, "button", "Measure")
    _wait(lambda: "How far to trust this" in _text(browser), "the result")
    assert "to the child's left shoulder" in _text(browser)
    (record,) = (tmp_path / "data").glob("posture/results/*/*.summary.json")
    summary = json.loads(record.read_text())
    assert summary["sided"]
    assert summary["habitual"]["tilt_deg"]["value"] == pytest.approx(_truth_deg("tilt_deg"), abs=1)
    assert summary["conditions"]["target"] == "play"
    assert summary["conditions"]["filmed_on_source"] == "filmed by this program"
    assert "not mirrored" in summary["made_with"]["settings"]["mirrored_from"]
    _wait(lambda: "The film is erased; its result is saved." in _text(browser), "the film to be erased")
    assert list((tmp_path / "data" / "posture" / "recordings").iterdir()) == []
    assert [url for url in _addresses(browser) if not _is_own(url)] == []


@pytest.mark.slow
@in_browser
def test_an_examination_of_four_steps(address, open_browser, tmp_path: Path):  # noqa: F811
    browser = open_browser()
    _turn_on(browser, address, "An examination, step by step")
    _press(browser, "f-start")
    _wait(lambda: _said(browser, "f-title") == "Next: Free play", "the first prompt")
    for title, key, seconds in (
        ("Free play", 0, 20),
        ("Far picture", 1, 5),
        ("Head set straight", 3, None),
        ("Right eye covered", 6, 5),
    ):
        jump = f"const s = h.querySelector('.f-jump'); s.value = '{key}'; s.dispatchEvent(new Event('change'));"
        _inside(browser, jump)
        _wait(lambda title=title: _said(browser, "f-title") == f"Next: {title}", f"the prompt of {title}")
        _press(browser, "f-main")
        if title == "Right eye covered":
            _wait(lambda: "filming in 26:5" in _said(browser, "f-time"), "the countdown")
            _press(browser, "f-main")
        if seconds is None:
            _wait(lambda: _said(browser, "f-title").startswith("Next:"), "the step to end by itself")
        else:
            _film_for(browser, seconds)
            _press(browser, "f-main")
    _press(browser, "f-stop")
    _wait(lambda: "Recorded:" in _text(browser), "the recording")
    _click(browser, "button", "Measure")
    _wait(
        lambda: "Which step of the examination?" in _text(browser) and "How far to trust this" in _text(browser), "the result"
    )
    results = {p.name: json.loads(p.read_text()) for p in (tmp_path / "data").glob("posture/results/*/clip-*.summary.json")}
    play, far, cover = (results[f"clip-{name}.summary.json"] for name in ("play", "far", "cover-right"))
    assert play["habitual"]["tilt_deg"]["value"] == pytest.approx(_truth_deg("tilt_deg"), abs=1)
    assert far["conditions"]["target"] == "far picture"
    assert far["conditions"]["camera_height"] == "eye level"
    assert cover["conditions"]["covered_eye"] == "right"
    assert 0 < cover["conditions"]["covered_minutes"] < 1
    assert play["made_with"]["settings"]["chin_zero_settings"] == 1
    assert "The chin is read from the head as it was set straight, once." in _text(browser)
    seconds = [play["clip"]["duration_s"], far["clip"]["duration_s"], cover["clip"]["duration_s"]]
    assert seconds == pytest.approx([20, 5, 5], abs=2.5)
    assert [url for url in _addresses(browser) if not _is_own(url)] == []


@pytest.mark.slow
@in_browser
def test_a_tab_killed_while_it_films_is_offered_at_the_next_start(address, open_browser, tmp_path: Path):  # noqa: F811
    first = open_browser()
    _turn_on(first, address)
    _press(first, "f-start")
    _film_for(first, 7)
    first.quit()
    browser = open_browser()
    _turn_on(browser, address)
    _wait(lambda: "was neither measured nor erased" in _text(browser), "the offer")
    _click(browser, "button", "Measure it")
    _wait(lambda: "Recorded:" in _text(browser), "the recording")
    _click(browser, "button", "Measure")
    _wait(lambda: "How far to trust this" in _text(browser), "the result")
    (record,) = (tmp_path / "data").glob("posture/results/*/*.summary.json")
    summary = json.loads(record.read_text())
    assert summary["clip"]["duration_s"] > 4
    tilt = (summary["habitual"] or summary["moment"])["tilt_deg"]["value"]
    assert tilt == pytest.approx(_truth_deg("tilt_deg"), abs=4)
    _wait(lambda: not list((tmp_path / "data" / "posture" / "recordings").iterdir()), "nothing to be left behind")


@pytest.mark.slow
@in_browser
def test_what_can_go_wrong_is_a_line_that_says_what_to_do(address, open_browser):  # noqa: F811
    browser = open_browser("--deny-permission-prompts")
    _turn_on(browser, address)
    _wait(lambda: "allow the camera, then press Try again" in _said(browser, "f-error"), "a line about permission")
    browser.quit()
    browser = open_browser(has_camera=False)
    _turn_on(browser, address)
    _wait(lambda: "No camera was found. Plug one in" in _said(browser, "f-error"), "a line about no camera")
    browser.quit()
    browser = open_browser()
    busy = "const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices); window.isBusy = true;"
    busy += " navigator.mediaDevices.getUserMedia ="
    busy += " (w) => window.isBusy ? Promise.reject(new DOMException('', 'NotReadableError')) : real(w)"
    browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": busy})
    _turn_on(browser, address)
    _wait(lambda: "The camera is in use" in _said(browser, "f-error"), "a line about another program")
    browser.execute_script("window.isBusy = false")
    _press(browser, "f-again")
    _press(browser, "f-start")
    _film_for(browser, 3)
    browser.execute_script("const real = Date.now.bind(Date); Date.now = () => real() + 95000")
    _wait(lambda: "the computer slept" in _said(browser, "f-say"), "a line about sleep")
    _inside(
        browser,
        "const t = h.querySelector('.f-peek').srcObject.getVideoTracks()[0]; t.stop(); t.dispatchEvent(new Event('ended'))",
    )
    _wait(lambda: "Recorded:" in _text(browser), "what was recorded to be kept", PATIENCE_S)
    _wait(lambda: "The camera was unplugged" in _text(browser), "what happened to be told")
    assert "The camera was unplugged" in _text(browser)
