"""What was asked of the child: the question, its answer before the posture, and the way into the hint."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from posture.clinic.examination import Examination
from posture.clinic.sentences import EXAMINATION
from posture.measure import Measurement, Settings, read_clip
from posture.page.asked import BESIDE, NO_POSTURE, say_ends, say_sample_asked, with_sample_asked
from posture.page.choose import SAMPLE_TITLES
from posture.page.more import EXPLORATIONS, SYMMETRY, more_figures
from posture.page.others import Others, remember, say_document
from posture.samples import SAMPLE_NAMES, sample_info
from posture.signal.asked import asked_from
from posture.signal.explore import explore
from posture.summary.record import Conditions, Interval, Symmetry
from tests.clinic.examinations import examination
from tests.page.conftest import made_clip, made_person
from tests.page.test_hint import show, source
from tests.page.test_others import made
from tests.page.test_page import SIDES, upload, words

ASKED = "tilt-right 0:02-0:05, tilt-left 0:07-0:10"


def read(settings: Settings, conditions: Conditions | None = None, tilt_deg: float = 14.0) -> Measurement:
    return read_clip(made_clip([made_person(1, tilt_deg)]), replace(settings, roll_deg=0.0, pitch_deg=0.0), conditions, None)


def shown(page: AppTest) -> Measurement:
    return page.session_state["posture"].shown.measured


def answered(page: AppTest, text: str, mirrored: str = "no") -> AppTest:
    """A clip of a minute, measured, with what was asked in it typed afterwards."""
    upload(page, 14)
    page.radio(key="mirrored").set_value(mirrored).run()
    page.text_input(key="asked").set_value(text).run()
    assert not page.exception
    return page


# --- The question. ---


def test_what_is_typed_is_read_at_once_without_a_new_measurement(open_page, measurer, private):
    page = answered(open_page(), ASKED)
    assert len(measurer.calls) == 1
    found = shown(page).examination
    assert found is not None
    assert [(one.movement, one.start_s, one.end_s) for one in found.asked] == [
        ("tilt right", 2.0, 5.0),
        ("tilt left", 7.0, 10.0),
    ]
    assert found.passive is False
    assert "Asked to tilt: 14° right, not done." in words(page)
    (kept,) = private.glob("results/*/clip.examination.json")
    assert json.loads(kept.read_text())["asked"][0]["movement"] == "tilt right"
    page.radio(key="asked_who").set_value("passive").run()
    assert shown(page).examination.passive is True
    page.text_input(key="asked").set_value("").run()
    assert shown(page).examination is None
    assert "Asked to tilt" not in words(page)
    assert not list(private.glob("results/*/clip.examination.json"))
    assert len(measurer.calls) == 1


@pytest.mark.parametrize("text", ["nod 0:02-0:05", "turn-right 0:05-0:02", "turn-right 0:02-0:05, turn-left 0:04-0:08"])
def test_what_cannot_be_read_is_said_and_counts_as_none(open_page, measurer, text: str):
    page = answered(open_page(), text)
    assert "Expected" in page.error[0].value
    assert shown(page).examination is None


def test_answers_go_with_the_clip(open_page, measurer):
    page = answered(open_page(), ASKED)
    page.radio(key="asked_who").set_value("passive").run()
    page.file_uploader(key="clip_file").set_value(("b.mp4", b"\x08other", "video/mp4")).run()
    assert page.text_input(key="asked").value == ""
    assert page.radio(key="asked_who").value == "active"


def test_no_side_while_mirroring_is_unknown(open_page, measurer):
    page = answered(open_page(), ASKED, "unknown")
    said = words(page)
    assert "Asked to tilt: " in said
    assert not SIDES.search(said), SIDES.search(said)
    assert not shown(page).examination.sided


def test_every_sample_has_a_title():
    assert tuple(SAMPLE_TITLES) == SAMPLE_NAMES


@pytest.mark.parametrize("name", SAMPLE_NAMES)
def test_a_sample_brings_what_was_asked_in_it(name: str):
    info = sample_info(name)
    settings = with_sample_asked(Settings(mirrored="no"), info)
    assert [(one.movement, one.start_s, one.end_s) for one in settings.asked] == [tuple(one) for one in info.asked]
    assert settings.passive is (name == "head-tilt-test")
    said = say_sample_asked(settings)
    assert bool(said) is bool(info.asked)
    assert not said or asked_from(said.split(": ", 1)[1].removesuffix(" (seconds).")) == settings.asked


def test_a_sample_is_measured_with_what_was_asked(open_page, measurer, monkeypatch):
    def drawn(folder: Path, names: Any, on_progress: Any) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{names[0]}.mp4").write_bytes(b"\x0e")

    monkeypatch.setattr("posture.page.choose.write_samples", drawn)
    page = open_page()
    page.segmented_control(key="way").set_value("sample").run()
    page.selectbox(key="sample").set_value("head-tilt-test").run()
    assert "moved by the examiner: tilt-right=2-9" in words(page)
    assert not [one for one in page.text_input if one.key == "asked"]
    page.button(key="measure").click().run()
    found = shown(page).examination
    assert found is not None
    assert found.passive
    assert shown(page).summary.conditions.age_months == 52
    assert any(isinstance(one, Examination) for one in page.session_state["posture"].earlier)


# --- The result. ---


def test_a_clip_of_movements_alone_says_why_it_has_no_posture(open_page, measurer):
    asked = ", ".join(f"turn-{side} {at}-{at + 5}" for at, side in zip(range(2, 58, 8), ["right", "left"] * 4, strict=False))
    page = answered(open_page(), asked)
    said = words(page)
    assert NO_POSTURE in said
    assert "The head is held" not in said
    assert "too little for a habitual posture" not in said
    assert "Tilt of the head" not in said
    assert "No habitual posture can be given" not in said
    labels = [button.label for button in page.get("download_button")]
    assert labels[-1] == "What was asked (JSON)"


def test_a_posture_beside_the_movements_is_shown_below_them(open_page, measurer):
    said = words(answered(open_page(), ASKED))
    assert said.index("Asked to tilt") < said.index(BESIDE) < said.index("The head is held 14 degrees")
    assert EXAMINATION["screen first"].text in said


def test_ends_in_a_line_are_the_farthest_of_each_side():
    film = examination({"turn right": 39.0, "turn left": "at least 45", "tilt left": 30.0})
    assert say_ends(film) == ["Asked to tilt: 30° left.", "Asked to turn: 39° right, at least 45° left."]
    unsided = examination({"turn one side": 39.0, "turn other side": 20.0}, sided=False)
    assert say_ends(unsided) == ["Asked to turn: 39° one side, 20° other side."]


# --- Folded away. ---


def test_symmetry_and_explorations_are_drawn_where_there_is_something():
    assert more_figures(read(Settings(mirrored="no"))) == {}
    measured = read(Settings(mirrored="no", head_set=((1.0, 3.0), (9.0, 11.0), (17.0, 19.0))))
    assert more_figures(measured).keys() == {"explorations"}
    even = Symmetry(
        facial_angle_deg=Interval(value=1.0, low=-0.5, high=2.5), relative_facial_size=Interval(value=1.0, low=0.97, high=1.03)
    )
    uneven = replace(measured, summary=measured.summary.model_copy(update={"symmetry": even}))
    assert more_figures(uneven).keys() == {"symmetry", "explorations"}
    assert all(svg.startswith("<svg") for svg in more_figures(uneven).values())


@pytest.mark.parametrize("position", ["lying", "held"])
def test_no_explorations_where_gravity_is_no_zero(position: str):
    measured = read(Settings(mirrored="no", head_set=((1.0, 3.0),)), Conditions.model_validate({"position": position}))
    assert explore(measured.found) is not None
    assert "explorations" not in more_figures(measured)


def test_explorations_are_folded_and_labelled(open_page, measurer):
    page = upload(open_page(), 14)
    page.radio(key="mirrored").set_value("no").run()
    assert not {EXPLORATIONS, SYMMETRY} & {one.label for one in page.expander}
    page.text_input(key="head_set").set_value("0:01-0:03, 0:09-0:11").run()
    (folded,) = [one for one in page.expander if one.label == EXPLORATIONS]
    assert not folded.proto.expanded
    assert "no part of the hint" in folded.label


# --- Into the hint. ---


def film_of(number: int, ends: dict[str, Any], **more: Any) -> Examination:
    return examination(ends, sha256=f"{number:064x}", **more)


def begin(measured: tuple[Any, ...]) -> AppTest:
    def script(shown, measured):  # type: ignore[no-untyped-def]
        import streamlit as st

        from posture.page.others import ask_others

        st.session_state["found"] = ask_others("clip", shown, measured)

    page = AppTest.from_function(script, kwargs={"shown": made(0), "measured": measured}, default_timeout=30).run()
    assert not page.exception
    return page


def test_a_tick_takes_the_clip_with_what_was_asked_in_it():
    film = film_of(1, {"turn right": 40.0, "turn left": 27.0})
    page = begin((made(1, nothing=True), film, made(2)))
    assert len(page.checkbox) == 2
    assert page.session_state["found"] == Others()
    page.checkbox[0].set_value(True).run()
    found = page.session_state["found"]
    assert (found.summaries, found.examinations) == ((made(1, nothing=True),), (film,))


def test_what_was_asked_in_the_clip_that_is_shown_needs_no_tick():
    film = film_of(0, {"turn right": 40.0})
    page = begin((made(0), film))
    assert not page.checkbox
    assert page.session_state["found"] == Others((), (film,))


def test_the_line_of_a_clip_says_what_was_asked_and_who_moved():
    film = film_of(1, {"tilt right": 27.0, "tilt left": 26.0}, passive=True)
    nothing = made(1, nothing=True)
    said = say_document(nothing, made(0), film)
    assert said.startswith("movements that were asked (tilt right, tilt left), moved by the examiner; both eyes open")
    assert "no habitual tilt" not in said
    assert "tilt 14 degrees" in say_document(made(1), made(0), film)
    assert not SIDES.search(say_document(nothing, made(0, sided=False), film))


def test_remember_keeps_what_was_asked_with_its_clip():
    film = film_of(1, {"turn right": 40.0})
    kept = remember((), made(1), film)
    assert kept == (made(1), film)
    # Read anew with nothing asked.
    assert remember(kept, made(1)) == (made(1),)
    for number in range(2, 14):
        kept = remember(kept, made(number), film_of(number, {"turn right": 40.0}))
    assert len(kept) == 24
    assert kept[:2] == (made(2), film_of(2, {"turn right": 40.0}))


def test_the_hint_shows_the_figures_and_whether_the_tilts_may_be_compared():
    film = film_of(1, {"tilt right": 27.0, "tilt left": 26.0}, passive=True, trunk=None)
    page = show(made(0), others=Others((made(1, nothing=True),), (film,)), neck_safe=True, red_flags=[])
    drawn = source(page)
    heading = drawn.index("What was asked, and what was reached")
    note = drawn.index("Filmed head-tilt test: 27 degrees to the right")
    assert heading < drawn.index('class="p-figure"') < note < drawn.index("Cautions")
    assert "the two may be compared" in drawn[note : note + 160]
    closed = source(show(made(0), others=Others((), (film,)), red_flags=[]))
    assert 'class="p-figure"' not in closed
    assert "Filmed head-tilt test" not in closed
    assert re.search(r"shown when the neck screen is answered", closed)
