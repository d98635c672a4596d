"""Keeping a measured clip with a child, and old films of a family, with a measurer that sees invented persons at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from posture.errors import ClipError, RecordsError
from posture.page import shoebox
from posture.page.kept import opened
from posture.records.clips import Clips
from posture.records.values import Person
from tests.page.conftest import made_person
from tests.page.invented import seen_text, to_child, to_page
from tests.page.test_page import upload


def find(kind, part: str):
    """The one element whose key begins with that of keeping and ends so."""
    (found,) = [one for one in kind if (one.key or "").startswith("keep|") and (one.key or "").endswith(part)]
    return found


def run(page, code: str):
    """Run with a code typed; a new one has to be typed each time, as the frame's own box can only choose."""
    box = find(page.selectbox, "-code")
    if code not in box.options:
        box.options.append(code)
    box.set_value(code)
    page.run()
    assert not page.exception
    return page


def keep_with(page, code: str, **answers: str):
    """Choose a code, answer, press."""
    run(page, code)
    for name, value in answers.items():
        find(page.text_input, f"-{name}").set_value(value)
    find(page.button, "-keep").click()
    return run(page, code)


def clips_of(code: str):
    with opened() as records:
        person = records.persons.find(code)
        return [] if person is None else records.clips.of_person(person.id)


def measured_page(open_page, tilt_deg: int = 14, mirrored: str = "no", rest: bytes = b"clip"):
    page = open_page()
    page.radio(key="mirrored").set_value(mirrored).run()
    return upload(page, tilt_deg, rest=rest)


def test_nothing_is_kept_unless_it_is_asked_for(open_page, measurer, private: Path):
    measured_page(open_page)
    assert not (private / "records").exists()


def test_clip_is_kept_with_a_new_code(open_page, measurer, private):
    page = measured_page(open_page)
    run(page, "K-0412")
    assert "It must not be a name" in seen_text(page)
    find(page.number_input, "-year").set_value(2019)
    find(page.selectbox, "-month").set_value("March")
    run(page, "K-0412")
    keep_with(page, "K-0412", on="about 2023", filmed="mother")
    assert "Kept with K" in page.success[0].value
    (clip,) = clips_of("k-0412")
    assert (str(clip.filmed_on), clip.filmed_by, clip.posed, clip.kind) == ("about 2023", "mother", False, "film")
    with opened() as records:
        assert str(records.persons.find("K-0412").born) == "2019-03"
        assert records.clips.picture(clip.id) is None
        reading = records.readings.current(clip.id)
        assert reading.summary.habitual.tilt_deg.value == pytest.approx(14, abs=0.6)
        assert records.readings.track(reading.track_id).face_found.all()
    assert "example" not in clip.label


def test_picture_is_kept_only_where_it_is_ticked(open_page, measurer, private):
    page = measured_page(open_page)
    run(page, "K-1")
    assert find(page.checkbox, "-picture").value is False
    find(page.checkbox, "-picture").set_value(True)
    run(page, "K-1")
    keep_with(page, "K-1")
    with opened() as records:
        assert records.clips.picture(clips_of("K-1")[0].id)[:2] == b"\xff\xd8"


def test_clip_without_a_side_is_kept_and_listed_as_such(open_page, measurer, private):
    page = measured_page(open_page, mirrored="unknown")
    run(page, "K-1")
    assert "The side is not settled" in seen_text(page)
    keep_with(page, "K-1")
    page = to_page(open_page(), "Children")
    assert "No tilt with a settled side yet" in seen_text(page)
    page.button(key="open-1").click().run()
    assert "side not settled" in seen_text(page)


def test_same_file_again_replaces_nothing_and_can_be_a_second_reading(open_page, measurer, private):
    keep_with(measured_page(open_page), "K-1")
    page = keep_with(measured_page(open_page, mirrored="unknown"), "K-1")
    assert "kept for this person already, and was not replaced" in page.warning[0].value
    assert not page.success
    (clip,) = clips_of("K-1")
    with opened() as records:
        assert len(records.readings.of_clip(clip.id)) == 1
    find(page.checkbox, "-second").set_value(True)
    keep_with(page, "K-1")
    assert page.success
    with opened() as records:
        assert [reading.is_current for reading in records.readings.of_clip(clip.id)] == [False, True]


def test_same_file_under_another_code_is_told_without_naming_it(open_page, measurer, private):
    keep_with(measured_page(open_page), "Quagga-1")
    page = keep_with(measured_page(open_page), "K-2")
    assert "kept under another code" in page.warning[0].value
    assert "Quagga" not in page.warning[0].value
    assert clips_of("K-2") == []
    with opened() as records:
        assert records.persons.find("K-2") is None  # The new code was not made either.
    find(page.checkbox, "-both").set_value(True)
    keep_with(page, "K-2")
    assert len(clips_of("K-2")) == 1


def test_what_was_not_written_is_not_said_to_be_kept(open_page, measurer, private, monkeypatch):
    page = measured_page(open_page)

    def full(*_, **__):
        raise RecordsError("Expected room on the disk; it is full.")

    monkeypatch.setattr(Clips, "keep", full)
    keep_with(page, "K-1")
    assert "it is full" in page.error[0].value
    assert not page.success
    with opened() as records:
        assert records.persons.lines() == []


@pytest.mark.parametrize("typed", ["yesterday", "2090-01-01"])
def test_date_that_cannot_be_is_told(open_page, measurer, private, typed):
    page = keep_with(measured_page(open_page), "K-1", on=typed)
    assert "Expected" in page.error[0].value
    assert clips_of("K-1") == []


def test_clip_is_still_offered_on_the_page_of_a_child(open_page, measurer, private):
    with opened() as records:
        child = records.persons.add(Person("K-7"))
    page = measured_page(open_page)
    to_child(page, child)
    assert "The clip that was measured last is not kept yet" in seen_text(page)
    find(page.button, "-keep").click().run()
    assert not page.exception
    assert len(clips_of("K-7")) == 1


class Box:
    """The page of a child at its old films, with what stands in for the measurer there."""

    def __init__(self, open_page, measurer, monkeypatch) -> None:
        monkeypatch.setattr(shoebox, "measure_in_child", measurer)
        with opened() as records:
            self.child = records.persons.add(Person("K-0412"))
        self.page = to_child(open_page(), self.child, "Old films")

    def measure(self, *films: bytes):
        files = [(f"anna {number}.mp4", film, "video/mp4") for number, film in enumerate(films)]
        self.page.file_uploader(key=f"box-files-{self.child.id}-0").set_value(files).run()
        self.page.button(key="box-measure").click().run()
        assert not self.page.exception
        return self.page

    def key(self, number: int, name: str) -> str:
        return f"box-{self.child.id}-1-{number}-{name}"


@pytest.fixture
def box(open_page, measurer, private, monkeypatch) -> Box:
    return Box(open_page, measurer, monkeypatch)


def test_old_films_are_kept_only_where_they_are_ticked(box, measurer, private):
    page = box.measure(b"\x0ea", b"\x0cb", b"\x0cb")
    assert len(measurer.calls) == 3
    assert not any(path.exists() for path in measurer.calls)
    assert "The same file stands here already" in seen_text(page)
    assert clips_of("K-0412") == []
    assert page.button(key="box-keep").disabled
    page.text_input(key=box.key(1, "on")).set_value("about 2019").run()
    page.selectbox(key=box.key(1, "mirrored-unknown")).set_value("yes").run()
    page.checkbox(key=box.key(1, "is")).set_value(True).run()
    page.button(key="box-keep").click().run()
    assert not page.exception
    (clip,) = clips_of("K-0412")
    assert (str(clip.filmed_on), clip.filmed_by, clip.label) == ("about 2019", "family", "")
    with opened() as records:
        # It was mirrored: what was seen to the right is to the left.
        assert records.readings.current(clip.id).summary.habitual.tilt_deg.value == pytest.approx(-14, abs=0.6)
    assert b"anna" not in b"".join(file.read_bytes() for file in private.rglob("*") if file.is_file())
    assert "The side is not settled" in seen_text(page)  # The other film stands there still.


def test_a_film_that_cannot_be_read_stops_none_of_the_others(box, measurer):
    real, calls = measurer.__call__, []

    def second_fails(job, show):
        calls.append(job)
        if len(calls) == 1:
            raise ClipError("Expected a film; 'this file' is a text file.")
        return real(job, show)

    shoebox.measure_in_child = second_fails  # Put back by the fixture's monkeypatch.
    page = box.measure(b"\x0ea", b"\x0cb")
    assert "is a text file" in seen_text(page)
    assert [c.key for c in page.checkbox if (c.key or "").endswith("-is")] == [box.key(2, "is")]


def test_who_is_the_child_is_asked_where_there_are_several(box, measurer):
    measurer.others = [made_person(2, 8.0)]
    page = box.measure(b"\x0ea")
    assert "Say first which of the faces is the child" in seen_text(page)
    assert page.checkbox(key=box.key(1, "is")).disabled
    page.segmented_control(key=box.key(1, "who")).set_value(2).run()
    page.selectbox(key=box.key(1, "mirrored-unknown")).set_value("no").run()
    page.checkbox(key=box.key(1, "is")).set_value(True).run()
    page.button(key="box-keep").click().run()
    (clip,) = clips_of("K-0412")
    with opened() as records:
        summary = records.readings.current(clip.id).summary
    assert summary.clip.person == 2
    assert summary.habitual.tilt_deg.value == pytest.approx(8, abs=0.6)
