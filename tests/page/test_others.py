"""Other clips of the same child: what is listed, what is taken only when ticked, and files that hold something else."""

from __future__ import annotations

import html
import json
import re
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from posture.clinic.examination import AskedRecord, Examination, ReachedDeg
from posture.errors import RecordError
from posture.page.others import MOST, Others, mark_of, remember, say_document
from posture.page.record_files import LARGEST_BYTES, MOST_LETTERS, read_document
from posture.page.style import NO_BREAK, no_markup
from posture.summary.record import Summary
from tests.clinic.made import clip

SIDE = re.compile(r"\b(right|left)\b", re.IGNORECASE)

KEY = "clip-1"


def made(number: int, tilt: float = -14.0, label: str | None = None, **more: Any) -> Summary:
    """A summary of a clip of its own."""
    found = clip(tilt, **more)
    return found.model_copy(update={"clip": found.clip.model_copy(update={"sha256": f"{number:064x}", "label": label})})


def asked(number: int = 9, sided: bool = True) -> Examination:
    ways = ("turn right", "turn left") if sided else ("turn one side", "turn other side")
    reached = ReachedDeg(value=60.0, low=55.0, high=65.0)
    records = [
        AskedRecord(
            movement=way, start_s=3.0 * k, end_s=3.0 * k + 2, reached_deg=reached, reference="line of sight", beyond_camera=False,
            held_s=1.0, trunk_tilt_deg=None, found_share=1.0,
        )
        for k, way in enumerate(ways)
    ]  # fmt: skip
    return Examination(sided=sided, sha256=f"{number:064x}", passive=False, trunk_known=False, asked=records)


SHOWN = made(0)


def begin(measured: tuple[Summary, ...] = (), key: str = KEY, shown: Summary = SHOWN) -> AppTest:
    """The questions alone; what was ticked is in the session."""

    # Its text is run by itself: it can name nothing of this file, in its types neither.
    def script(key, shown, measured):  # type: ignore[no-untyped-def]
        import streamlit as st

        from posture.page.others import ask_others

        key = st.session_state.get("other key", key)
        if not st.session_state.get("folded"):
            st.session_state["found"] = ask_others(key, shown, measured)

    page = AppTest.from_function(script, kwargs={"key": key, "shown": shown, "measured": measured}, default_timeout=30).run()
    assert not page.exception
    return page


def found(page: AppTest) -> Others:
    return page.session_state["found"]


def labels(page: AppTest) -> list[str]:
    """The lines to tick, as they are read."""
    return [html.unescape(re.sub(r"\\(.)", r"\1", box.label)).replace(NO_BREAK, "") for box in page.checkbox]


def give(page: AppTest, *files: tuple[str, str | bytes]) -> AppTest:
    data = [(name, text.encode() if isinstance(text, str) else text, "application/json") for name, text in files]
    page.file_uploader[0].set_value(data).run()
    assert not page.exception
    return page


def changed(summary: Summary, *path: str, to: Any) -> str:
    """The text of a summary with one value changed."""
    document = json.loads(summary.to_json())
    place = document
    for name in path[:-1]:
        place = place[name]
    place[path[-1]] = to
    return json.dumps(document)


# --- Measured earlier.


def test_nothing_is_taken_before_it_is_ticked():
    page = begin((made(1, covered_eye="right"), made(2)))
    assert len(page.checkbox) == 2
    assert found(page) == Others()
    page.checkbox[0].set_value(True).run()
    assert [mark_of(one) for one in found(page).summaries] == [mark_of(made(1))]
    page.checkbox[0].set_value(False).run()
    assert found(page) == Others()


def test_the_clip_that_is_shown_is_not_among_the_others():
    assert not begin((SHOWN,)).checkbox


def test_ticks_stay_while_the_section_is_folded_and_go_with_the_clip():
    page = begin((made(1),))
    page.checkbox[0].set_value(True).run()
    page.session_state["folded"] = True
    page.run()
    assert not page.checkbox
    page.session_state["folded"] = False
    page.run()
    assert page.checkbox[0].value
    page.session_state["other key"] = "clip-2"
    page.run()
    assert not page.checkbox[0].value
    assert found(page) == Others()


def test_remember_keeps_the_newest_reading_of_each_clip_and_no_more_than_most():
    kept: tuple[Summary, ...] = ()
    for number in range(MOST + 3):
        kept = remember(kept, made(number))
    assert [mark_of(one) for one in kept] == [mark_of(made(number)) for number in range(3, MOST + 3)]
    again = made(5, tilt=3.0)
    kept = remember(kept, again)
    assert len(kept) == MOST
    assert kept[-1] == again
    # Somebody else in the same clip was meant: who was not is not kept.
    other = made(5).model_copy(update={"clip": made(5).clip.model_copy(update={"person": 2})})
    kept = remember(kept, other)
    assert kept[-1] == other
    assert again not in kept


# --- In a line.


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({}, "both eyes open; target camera; tilt 14 degrees to the child's left shoulder"),
        (
            {"covered_eye": "right", "covered_minutes": 30.0},
            "right eye covered for 30 min; target camera; tilt 14 degrees to the child's left shoulder",
        ),
        (
            {"target": "near picture", "target_distance_m": 0.35, "correction": "glasses", "attention": "idle", "drops": "atropine",
             "position": "lap", "filmed_on": "2026-01-02", "age_months": 40},
            "both eyes open; target near picture at 0.35 m; correction glasses; attention idle; drops atropine; lap;"
            " filmed 2026-01-02; age 40 months; tilt 14 degrees to the child's left shoulder",
        ),
        ({"nothing": True}, "both eyes open; target camera; no habitual tilt"),
        ({"label": "K-17"}, "both eyes open; target camera; tilt 14 degrees to the child's left shoulder; code K-17"),
    ],
)  # fmt: skip
def test_clip_is_said_by_its_conditions(more: dict[str, Any], words: str):
    assert say_document(made(1, **more), SHOWN) == words


def test_another_code_is_said():
    assert say_document(made(1, label="A"), made(0, label="B")).endswith("code A, another code than the clip shown")
    assert say_document(made(1, label="A"), made(0, label="A")).endswith("code A")


def test_no_side_in_a_line_while_one_of_the_two_has_none():
    sideless = made(0, sided=False)
    assert SIDE.search(say_document(made(1, covered_eye="right"), SHOWN))
    for document, shown in (
        (made(1, covered_eye="right", covered_minutes=30.0), sideless),
        (made(1, covered_eye="left", sided=False), SHOWN),
        (asked(), sideless),
        (asked(sided=False), SHOWN),
    ):
        assert not SIDE.search(say_document(document, shown))
    assert say_document(made(1, covered_eye="right", covered_minutes=30.0), sideless).startswith("one eye covered for 30 min")


# --- From files.


def test_files_are_listed_by_conditions_and_their_names_are_gone():
    page = begin()
    give(page, ("Anna Doe left.summary.json", made(1, covered_eye="left").to_json()), ("b.examination.json", asked().to_json()))
    assert [label.split(";")[0] for label in labels(page)] == [
        "From a file: left eye covered",
        "From a file: movements that were asked (turn right, turn left)",
    ]
    assert not page.error
    assert not page.file_uploader[0].value
    assert "Doe" not in str(page.session_state["others-files"])
    for k in range(2):
        page.checkbox[k].set_value(True).run()
    assert (len(found(page).summaries), len(found(page).examinations)) == (1, 1)


def test_a_clip_is_listed_once_and_as_it_was_measured_here():
    page = give(begin((made(1),)), ("a.json", made(1, tilt=3.0).to_json()), ("b.json", made(2).to_json()))
    assert [label.split(":")[0] for label in labels(page)] == ["Measured here", "From a file"]
    give(page, ("c.json", made(2, tilt=5.0).to_json()))
    assert len(page.checkbox) == 2
    assert "tilt 5 degrees" in labels(page)[1]


def test_no_more_files_than_most_are_kept():
    page = begin()
    give(page, *[(f"{n}.json", made(n + 1).to_json()) for n in range(MOST + 4)])
    assert len(page.checkbox) == MOST


GOOD = made(1)

BAD = {
    "no json": "the child's name is {",
    "empty": "",
    "another json": '{"schema": "posture.hint/1"}',
    "a list": "[1, 2]",
    "deep": "[" * 100_000,
    "unknown key": changed(GOOD, "surprise", to=1),
    "not a number": GOOD.to_json().replace("-14.0", "NaN"),
    "infinite": GOOD.to_json().replace("-14.0", "1e999"),
    "binary": b"\xff\xfe\x00\x01",
    "newer": changed(GOOD, "schema", to="posture.summary/2"),
    "examination without its keys": '{"schema": "posture.examination/1"}',
}


@pytest.mark.parametrize("data", BAD.values(), ids=BAD)
def test_what_is_no_record_is_refused(data: str | bytes):
    with pytest.raises(RecordError, match="Expected the summary of a clip, or what was asked in one"):
        read_document(data.encode() if isinstance(data, str) else data)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("habitual", "tilt_deg", "value"), 20.0),
        (("habitual", "turn_deg", "low"), 50.0),
        (("habitual", "chin_deg", "high"), 1e300),
        (("clip", "camera_roll_deg", "low"), -4000.0),
        (("made_with", "settings"), {"value": "x", "low": "a", "high": "b"}),
    ],
)
def test_angles_that_no_head_has_are_refused(path: tuple[str, ...], value: Any):
    with pytest.raises(RecordError, match="Expected angles of a head"):
        read_document(changed(GOOD, *path, to=value).encode())


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("clip", "label"), "x" * (MOST_LETTERS + 1)),
        (("conditions", "correction"), "glasses\u202eon"),
        (("conditions", "drops"), "a\nb"),
    ],
)
def test_texts_that_are_none_are_refused(path: tuple[str, ...], value: str):
    with pytest.raises(RecordError, match="Expected texts of up to"):
        read_document(changed(GOOD, *path, to=value).encode())


def test_large_file_is_refused():
    with pytest.raises(RecordError, match="under 1000 kB; a larger file came"):
        read_document(b" " * (LARGEST_BYTES + 1))


@pytest.mark.parametrize("document", [GOOD, asked(), asked(sided=False), made(3, sided=False), made(4, two=True)])
def test_good_records_are_read_as_they_were_written(document: Summary | Examination):
    assert read_document(document.to_json().encode()) == document


def test_wrong_files_give_a_line_each_and_the_good_one_is_taken():
    page = give(begin(), ("Anna.json", "no"), ("b.json", GOOD.to_json()), ("c.json", SHOWN.to_json()))
    assert len(page.checkbox) == 1
    said = [re.sub(r"\\(.)", r"\1", error.value) for error in page.error]
    assert [line.split(": ")[0] for line in said] == ["File 1 of 3", "File 3 of 3"]
    assert "the file is neither" in said[0]
    assert "the one that is shown" in said[1]
    assert not any("Anna" in line for line in said)
    give(page, ("d.json", made(2).to_json()))
    assert not page.error
    assert len(page.checkbox) == 2


HOSTILE = "![x](http://example.org/x.png) <img src=x onerror=alert(1)> $x$ :red[y]"


def test_hostile_texts_of_a_file_are_shown_as_texts():
    document = made(1, label=HOSTILE[:60], correction=HOSTILE, attention="<b>idle</b>")
    page = give(begin(), ("a.json", document.to_json()))
    (box,) = page.checkbox
    assert not re.search(r"(?<!\\)[\[\]!<>$*_`:]", box.label)
    assert "![x](http://example.org" in labels(page)[0]
    # The browser would make a link of an address, escaped or not.
    assert not re.search(r"https?\\?:", box.label)


@pytest.mark.parametrize("address", ["http://e.org/x", "HTTPS://e.org", "www.e.org", "a@e.org", "mailto:a@e.org"])
def test_no_address_is_left_for_the_browser_to_link(address: str):
    shown = re.sub(r"\\(.)", r"\1", no_markup(address))
    assert shown.replace(NO_BREAK, "") == address
    assert not re.search(r"https?:|www\.|@\w", shown, re.IGNORECASE)


def test_hostile_texts_of_a_file_are_texts_in_the_hint():
    def script(summaries):  # type: ignore[no-untyped-def]
        from posture.clinic.findings import Findings
        from posture.page.hint import draw_hint
        from posture.page.others import Others

        draw_hint(summaries[0], "right", Findings(red_flags=[]), Others(tuple(summaries[1:])))

    clips = [made(0, correction=HOSTILE, attention="idle"), made(1, -4.0, correction="none", attention="looking hard")]
    page = AppTest.from_function(script, kwargs={"summaries": clips}, default_timeout=30).run()
    assert not page.exception
    source = "\n".join(str(block.proto.body) for block in page.get("html"))
    assert "&lt;img src=x onerror" in source
    assert "<img src=x" not in source


# --- On the page.


def on_page(page: AppTest) -> str:
    return "\n".join(str(h.proto.body) for h in page.get("html"))


def measure(page: AppTest, name: str, data: bytes) -> AppTest:
    page.file_uploader(key="clip_file").set_value((name, data, "video/mp4")).run()
    page.button(key="measure").click().run()
    assert not page.exception
    return page


def test_a_clip_measured_earlier_is_offered_and_counts_once_ticked(open_page, measurer):
    page = open_page()
    page.radio(key="mirrored").set_value("no").run()
    page.selectbox(key="covered_eye").set_value("right").run()
    page.number_input(key="covered_minutes").set_value(30.0).run()
    measure(page, "Anna.mp4", b"\x02covered")
    measure(page, "Anna2.mp4", b"\x0eopen")
    page.radio(key="mirrored").set_value("no").run()
    page.toggle[0].set_value(True).run()
    (box,) = [one for one in page.checkbox if str(one.key).startswith("others-")]
    assert "right eye covered for 30 min" in box.label
    assert "Anna" not in box.label
    assert "What changes the tilt" not in on_page(page)
    box.set_value(True).run()
    assert "What changes the tilt" in on_page(page)
    assert len(measurer.calls) == 2


def test_minutes_are_asked_only_where_an_eye_was_covered_and_go_with_the_clip(open_page, measurer):
    page = open_page()
    assert not [one for one in page.number_input if one.key == "covered_minutes"]
    page.selectbox(key="covered_eye").set_value("left").run()
    page.number_input(key="covered_minutes").set_value(20.0).run()
    page.number_input(key="target_distance_m").set_value(4.0).run()
    page.selectbox(key="attention").set_value("idle").run()
    measure(page, "a.mp4", b"\x0eclip")
    conditions = page.session_state["posture"].shown.measured.summary.conditions
    assert (conditions.covered_eye, conditions.covered_minutes) == ("left", 20.0)
    assert (conditions.target_distance_m, conditions.attention) == (4.0, "idle")
    page.file_uploader(key="clip_file").set_value(("b.mp4", b"\x08other", "video/mp4")).run()
    assert page.selectbox(key="covered_eye").value == "not stated"
    assert page.number_input(key="target_distance_m").value is None
    page.selectbox(key="covered_eye").set_value("left").run()
    assert page.number_input(key="covered_minutes").value is None
