"""Choosing the child among the persons of a clip."""

from __future__ import annotations

import base64
import csv
import io
import json
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from posture.page import asked, family, persons
from tests.page.conftest import made_clip, made_person, made_portrait
from tests.page.test_page import upload, words

QUESTION = persons.QUESTION


def two(measurer, **changes) -> None:
    """Beside the first person one whose head is held 8 degrees to the right."""
    measurer.others = [made_person(2, 8.0, **changes)]


def folded(page) -> list[str]:
    """What is folded away of the persons, not of the filming and of what is settled by eye."""
    others = ("More about", "Upright", "Side", "Which side", asked.TITLE, family.HOME, family.REPLAY)
    return [e.label for e in page.expander if not e.label.startswith(others)]


def buttons(page) -> dict[str, bool]:
    """Labels of the buttons of persons, and whether they can be pressed."""
    return {b.label: not b.disabled for b in page.button if "erson" in b.label or "Shown" in b.label}


def record(private: Path) -> dict:
    (path,) = private.glob("results/*/*.json")
    return json.loads(path.read_text())


def numbers(private: Path) -> set[str]:
    """What stands in the column of the person."""
    (path,) = private.glob("results/*/*.csv")
    with path.open() as file:
        return {row["person"] for row in csv.DictReader(file)}


def test_choosing_another_person_changes_all_and_measures_nothing(open_page, measurer, private):
    two(measurer, seen_share=0.64)
    page = upload(open_page(), 14)
    shown = words(page)
    assert QUESTION in shown
    assert "Result of person 1" in shown
    assert "64 % of the time" in shown
    assert "The head is tilted by 14 degrees" in shown
    assert buttons(page) == {"✓ Shown below": False, "Choose person 2": True}
    assert (record(private)["clip"]["person"], numbers(private)) == (1, {"1"})
    page.button(key="person-2").click().run()
    shown = words(page)
    assert "Result of person 2" in shown
    assert "The head is tilted by 8 degrees" in shown
    assert "by 14 degrees" not in shown
    assert buttons(page) == {"Choose person 1": True, "✓ Shown below": False}
    assert (record(private)["clip"]["person"], numbers(private)) == (2, {"2"})
    assert record(private)["unsided"]["tilt_size_deg"]["value"] == pytest.approx(8, abs=0.6)
    page.button(key="person-1").click().run()
    assert "The head is tilted by 14 degrees" in words(page)
    assert len(measurer.calls) == 1


def test_chosen_person_stays_when_an_answer_changes(open_page, measurer):
    two(measurer)
    page = upload(open_page(), 14)
    page.button(key="person-2").click().run()
    page.radio(key="mirrored").set_value("no").run()
    assert "8 degrees to the child&#x27;s right shoulder" in words(page)


def test_chosen_person_goes_with_the_clip(open_page, measurer):
    two(measurer)
    page = upload(open_page(), 14)
    page.button(key="person-2").click().run()
    page.file_uploader(key="clip_file").set_value(("b.mp4", b"\x0bother", "video/mp4")).run()
    assert not page.session_state["posture"].seen
    assert QUESTION not in words(page)
    page.button(key="measure").click().run()
    assert "Result of person 1" in words(page)
    assert "The head is tilted by 11 degrees" in words(page)


def test_one_person_is_not_asked_about(open_page, measurer):
    page = upload(open_page(), 14)
    assert QUESTION not in words(page)
    assert buttons(page) == {}
    assert "Person 1" not in words(page)
    assert folded(page) == []


def test_still_face_beside_others_is_labelled(open_page, measurer):
    measurer.others = [made_person(2, 8.0), made_person(3, 0.0, is_still=True)]
    page = upload(open_page(), 14)
    cards = [e.proto.body for e in page.html if "p-person" in e.proto.body and "<style>" not in e.proto.body]
    assert [persons.DID_NOT_MOVE in card for card in cards] == [False, False, True]
    page.button(key="person-3").click().run()
    assert "The face never moved against the scene" in words(page)


def test_still_face_beside_one_person_is_folded_away_and_nothing_is_asked(open_page, measurer):
    two(measurer, is_still=True)
    page = upload(open_page(), 14)
    shown = words(page)
    assert QUESTION not in shown
    assert "Result of person" not in shown
    assert folded(page) == ["A face that did not move was left aside"]
    assert persons.DID_NOT_MOVE in shown
    page.button(key="person-2").click().run()
    assert "Result of person 2" in words(page)
    assert "No habitual posture can be given" in words(page)


def test_many_persons_are_asked_about_and_the_last_folded(open_page, measurer):
    measurer.others = [made_person(n, float(n)) for n in range(2, 13)]
    page = upload(open_page(), 14)
    assert len(buttons(page)) == 12
    assert folded(page) == ["2 more"]
    page.button(key="person-11").click().run()
    assert "Result of person 11" in words(page)


def test_no_portrait_is_in_any_file(open_page, measurer, private, tmp_path):
    two(measurer)
    page = upload(open_page(), 14)
    page.button(key="person-2").click().run()
    urls = re.findall(r'src="(data:image/[^"]*)"', "".join(e.proto.body for e in page.html))
    assert len(urls) == 2
    parts = [made_portrait(n).tobytes()[:24] for n in (1, 2)]
    parts += [base64.b64decode(url.split(",")[1])[-200:-100] for url in urls]
    parts += [url[200:300].encode() for url in urls]
    report = page.session_state["posture"].shown
    from posture.report import render_html

    html = render_html(report.measured.summary, report.measured.found, title_code=None).encode()
    files = [p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()]
    assert len(files) >= 3
    assert not [part for part in parts for data in [*files, html] if part in data]
    assert b"data:image" not in html


@pytest.mark.parametrize(
    ("still", "asked"),
    [([False], False), ([True], False), ([False, False], True), ([False, True], False), ([True, True], True)],
)
def test_asks_who(still: list[bool], asked: bool):
    seen = made_clip([made_person(n, 5.0, is_still=is_still) for n, is_still in enumerate(still, 1)])
    assert persons.asks_who(seen) is asked


def test_portrait_url_holds_the_picture():
    ramp = np.tile(np.linspace(0, 255, 96).astype(np.uint8)[:, None], (96, 1, 3)).reshape(96, 96, 3)
    reddish = ramp // np.array([1, 2, 4], np.uint8)
    kind, data = persons.portrait_url(reddish).split(",")
    assert kind == "data:image/jpeg;base64"
    with Image.open(io.BytesIO(base64.b64decode(data))) as picture:
        np.testing.assert_allclose(np.asarray(picture.convert("RGB")).astype(int), reddish, atol=24)


@pytest.mark.parametrize(
    ("changes", "kind", "said", "unsaid"),
    [
        ({"portrait": None}, "video", "no picture", "<img"),
        ({"seen_share": 0.004}, "video", "under 1 % of the time", "0 %"),
        ({}, "photograph", "Person 2", "of the time"),
    ],
)
def test_person_html(changes: dict, kind: str, said: str, unsaid: str):
    html = persons._person_html(made_person(2, 5.0, **changes), 2, False, kind == "video")
    assert said in html
    assert unsaid not in html
