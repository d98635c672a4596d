"""The live guide: how long a tilt is held, what is said, who is let in, and the process that looks."""

from __future__ import annotations

import http.client
import io
import json
import re
import threading
import time
from collections.abc import Iterator
from importlib.resources import files
from urllib.parse import urlsplit

import numpy as np
import pytest
from PIL import Image

from posture.clinic.urgency import NECK_SCREEN
from posture.filming import guide, guide_server
from posture.filming.guide import Hold, TiltGuide, answer_for, may_guide, say_beyond, say_tilt
from posture.filming.guide_server import LARGEST_BYTES, GuideServer, TiltReader
from posture.page import guide as page_guide
from posture.samples import render_child

PAGE = "http://127.0.0.1:8501"

URGES = re.compile(
    r"\b(more|further|farther|again|keep|good|great|well|almost|nearly|yet|still|try|aim|target|goal|reach\w*|until|enough|only|"
    r"perfect|done|go on|hold)\b|!",
    re.IGNORECASE,
)
"""What would urge or praise."""


def _jpeg(tilt_deg: float | None) -> bytes:
    rgb = np.full((270, 480, 3), (90, 120, 90), np.uint8)
    if tilt_deg is not None:
        rgb = np.array(render_child(tilt_deg, 0, 0, width_px=480, height_px=270, focal_px=431.0))
    made = io.BytesIO()
    Image.fromarray(rgb).save(made, "JPEG", quality=70)
    return made.getvalue()


# ---- How long it is held


@pytest.mark.parametrize(
    ("tilts_deg", "held_s"),
    [
        ([17.0] * 11, 1.0),
        ([0.0] * 5 + [17.0] * 6, 0.5),
        ([17.0, 19.9, 17.0, 14.1, 17.0], 0.4),
        ([17.0, 20.1, 17.0], 0.0),
        ([0.0, 1.0, 2.0, 3.0, 4.0, 5.0], 0.3),
        ([-17.0, 17.0], 0.0),
        ([17.0, None, None, 17.0], 0.3),
        ([17.0, 17.0, None], 0.0),
    ],
    ids=["steady", "came to it", "within three", "beyond three", "creeps", "other side", "unseen for a moment", "unseen now"],
)
def test_hold_is_the_time_within_three_degrees_of_now(tilts_deg, held_s):
    hold = Hold()
    for i, tilt_deg in enumerate(tilts_deg):
        last_s = hold.add(0.1 * i, tilt_deg)
    assert last_s == pytest.approx(held_s)


@pytest.mark.parametrize("next_s", [1.51, 30.0, 0.2], ids=["just too late", "late", "earlier"])
def test_hold_begins_anew_after_a_value_grew_old(next_s):
    hold = Hold()
    assert [hold.add(t, 17.0) for t in (0.0, 0.5, 1.0)][-1] == pytest.approx(1.0)
    assert hold.add(next_s, 17.0) == 0.0
    assert hold.add(next_s + 0.4, 17.0) == pytest.approx(0.4)


def test_hold_remembers_no_longer_than_it_must():
    hold = Hold()
    for i in range(3000):
        hold.add(0.1 * i, 17.0)
    assert len(hold._seen) <= guide.LONGEST_S / 0.1 + 2


# ---- What is said


@pytest.mark.parametrize(
    ("tilt_deg", "words"),
    [
        (17.2, "17 degrees to the child's right shoulder"),
        (-1.0, "1 degree to the child's left shoulder"),
        (0.3, "upright"),
        (41.0, "41 degrees to the child's right shoulder"),
        (None, "No face is seen."),
        (float("nan"), "No face is seen."),
    ],
)
def test_say_tilt(tilt_deg, words):
    assert say_tilt(tilt_deg) == words


@pytest.mark.parametrize("tilt_deg", [None, *np.arange(-60, 60.1, 0.5)])
def test_no_answer_urges_or_names_a_tilt_but_the_one_that_is_there(tilt_deg):
    answer = answer_for(tilt_deg, 4.2)
    said = f"{answer['say']} {answer['beyond']}"
    assert not URGES.search(said)
    here = set() if tilt_deg is None else {round(abs(tilt_deg))}
    assert {int(n) for n in re.findall(r"\d+", said)} <= here | {30}
    assert bool(answer["beyond"]) == (tilt_deg is not None and abs(tilt_deg) > 30)
    json.dumps(answer, allow_nan=False)


def test_nothing_that_the_page_says_urges_or_names_a_larger_tilt():
    script = files("posture.page").joinpath("guide.js").read_text(encoding="utf-8")
    code = re.sub(r"//[^\n]*|<svg.*?</svg>", "", script, flags=re.DOTALL)
    texts = re.findall(r'= "([A-Z][^"]*\.)"', code) + re.findall(r"`(held[^`]*)`", code)
    texts += [guide.LEVEL, guide.NOT_SEEN, guide.BEYOND, page_guide.LABEL, page_guide.CLOSED]
    assert len(texts) >= 8
    for text in texts:
        assert not URGES.search(text), text
        assert all(int(n) <= 30 for n in re.findall(r"\d+", text)), text
    assert say_beyond(30.0) == ""
    assert say_beyond(-30.1) == guide.BEYOND


@pytest.mark.parametrize("line", NECK_SCREEN)
@pytest.mark.parametrize("answer", [True, None])
def test_guide_is_closed_until_every_line_is_answered_no(line, answer):
    every_no = dict.fromkeys(NECK_SCREEN, False)
    assert may_guide(every_no)
    assert not may_guide(every_no | {line: answer})
    assert not may_guide({other: False for other in NECK_SCREEN if other != line})


# ---- Who is let in


@pytest.fixture
def server() -> Iterator[GuideServer]:
    """A server that reads a tilt out of the first byte; 0 is no face."""
    made = GuideServer("word", lambda jpeg, time_s: float(jpeg[0]) or None)
    thread = threading.Thread(target=made.serve_forever, daemon=True)
    thread.start()
    yield made
    made.shutdown()
    made.server_close()


def _ask(port: int, path: str = "/word?at=1.0", body: bytes = b"\x11", method: str = "POST", **headers: str):
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    link.request(method, path, body, {"Origin": PAGE} | headers)
    answer = link.getresponse()
    text = answer.read()
    link.close()
    return answer.status, dict(answer.getheaders()), json.loads(text) if text else None


def test_a_picture_is_answered_with_its_tilt(server: GuideServer):
    status, headers, answer = _ask(server.port)
    assert (status, headers["Access-Control-Allow-Origin"]) == (200, PAGE)
    assert answer == {"tilt_deg": 17.0, "say": "17 degrees to the child's right shoulder", "beyond": "", "held_s": 0.0}
    assert _ask(server.port, "/word?at=1.4")[2]["held_s"] == 0.4
    assert _ask(server.port, "/word?at=1.5", b"\0")[2] == {
        "tilt_deg": None,
        "say": "No face is seen.",
        "beyond": "",
        "held_s": 0.0,
    }
    assert _ask(server.port, body=b"")[::2] == (204, None)


def test_the_browser_may_ask_first(server: GuideServer):
    status, headers, _ = _ask(server.port, body=b"", method="OPTIONS")
    assert status == 204
    assert headers["Access-Control-Allow-Methods"] == "POST"
    assert headers["Access-Control-Allow-Headers"] == "Content-Type"


@pytest.mark.parametrize(
    ("path", "headers"),
    [
        ("/other?at=1", {}),
        ("/?at=1", {}),
        ("/wor?at=1", {}),
        ("/word?at=1", {"Origin": "https://elsewhere.example"}),
        ("/word?at=1", {"Origin": "http://127.0.0.1.elsewhere.example"}),
        ("/word?at=1", {"Origin": "null"}),
        ("/word?at=1", {"Host": "elsewhere.example"}),
    ],
)
@pytest.mark.parametrize("method", ["POST", "OPTIONS"])
def test_nobody_else_is_let_in(server: GuideServer, path, headers, method):
    status, told, answer = _ask(server.port, path, b"\x11", method, **headers)
    assert status == 403
    assert "Access-Control-Allow-Origin" not in told
    assert answer is None


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/word?at=nan", b"\x11"),
        ("/word?at=soon", b"\x11"),
        ("/word?at=1", b"\x11" * (LARGEST_BYTES + 1)),
    ],
    ids=["no time", "words for a time", "too large"],
)
def test_what_is_no_picture_is_refused(server: GuideServer, path, body):
    try:
        status, _, answer = _ask(server.port, path, body)
    except (BrokenPipeError, ConnectionResetError):  # Refused before all of it was sent.
        return
    assert (status, answer) == (400, None)


def test_it_listens_on_this_computer_only(server: GuideServer):
    assert server.server_address[0] == "127.0.0.1"


# ---- What it sees


@pytest.mark.slow
def test_reader_follows_a_head_and_tells_when_there_is_none():
    with TiltReader() as reader:
        read = [reader.read(_jpeg(tilt_deg), 0.1 * i) for i, tilt_deg in enumerate(range(-33, 34, 3))]
        assert read == pytest.approx(list(range(-33, 34, 3)), abs=1.5)
        assert reader.read(_jpeg(None), 5.0) is None
        assert reader.read(b"no picture", 5.1) is None
        assert reader.read(_jpeg(-17.0), 5.2) == pytest.approx(-17, abs=1.5)


@pytest.mark.slow
def test_guide_begins_answers_and_ends():
    made = TiltGuide()
    assert made.address is None
    made.begin()
    process = made._process
    assert process is not None
    try:
        end_s = time.monotonic() + 120
        while made.address is None:
            assert time.monotonic() < end_s, "waited for the process"
            time.sleep(0.1)
        place = urlsplit(made.address)
        made.begin()
        assert made._process is process, "it runs already"
        assert place.port is not None
        status, _, answer = _ask(place.port, f"{place.path}?at=0.0", _jpeg(-17.0))
        assert status == 200
        assert answer["tilt_deg"] == pytest.approx(-17, abs=1.5)
        assert place.path.strip("/") not in " ".join(map(str, process.args))
        assert process.stdin is not None
        process.stdin.close()  # As when the page's own process is gone.
        assert process.wait(30) == 0
        assert made.address is None
    finally:
        made.close()
    assert process.poll() is not None


def test_guide_that_nobody_asks_ends(monkeypatch: pytest.MonkeyPatch, server: GuideServer):
    ended: list[int] = []

    def end(code: int) -> None:
        ended.append(code)
        raise SystemExit

    monkeypatch.setattr(guide_server.os, "_exit", end)
    server.asked_s -= guide_server.IDLE_S
    with pytest.raises(SystemExit):
        guide_server._end_when_idle(server)
    assert ended == [0]
