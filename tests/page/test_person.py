"""A child's page: the answer first, every section, changes of others meanwhile, erasing; in the library's test frame."""

from __future__ import annotations

import html
import io
import re
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader

from posture.clinic.findings import Findings
from posture.clinic.sentences import CHANGES
from posture.page import before_after, person
from posture.page.before_after import since_surgery, split_by_surgery
from posture.page.kept import age_months, opened, read_child
from posture.page.take import exported, notes_of
from posture.records.clips import clip_of
from posture.records.dates import PartialDate
from posture.records.exchange import export_records
from posture.records.table import export_table
from posture.records.values import Consent, Event, Person, Visit
from posture.report.paper import paper_bytes
from tests.page.invented import HOSTILE, add_child, seen_text, to_child, to_page
from tests.records.made import made_measured

SECTIONS = ("Over the years", "Before and after", "Report", "Events", "Visits", "Consent", "Old films", "Data")
SIDES = re.compile(r"\b(right|left)\b", re.IGNORECASE)


@pytest.fixture(autouse=True)
def _private(private):
    """Every test has its records in a folder of its own."""


def read(number: int):
    with opened() as records:
        return read_child(records, number)


def test_answer_stands_first(open_page, private):
    page = to_child(open_page(), add_child())
    assert not page.exception
    text = seen_text(page)
    assert "From 14 to 2 degrees to the child&#x27;s left shoulder" in text
    assert "a real change" in text
    assert "Tilt to the left in 5 of 5 films from age 1 year 3 months on." in text
    assert text.index("From 14 to 2") < text.index("k-figure") < text.index("5 September 2023")
    assert text.count('class="k-row"') == 9


def test_visits_after_surgery_are_suggested_with_their_source(open_page):
    text = seen_text(to_child(open_page(), add_child()))
    assert "Filming again is suggested now: 24 months or more after surgery [90]." in text
    assert "3 to 6 months" not in text


def test_every_section_is_drawn(open_page, private):
    child = add_child()
    page = to_child(open_page(), child)
    for section in SECTIONS:
        page.segmented_control(key=f"section-{child.id}").set_value(section).run()
        assert not page.exception, section
        assert not page.error, section
        assert "Screening aid" in seen_text(page)


def test_child_of_unsettled_sides_names_none(open_page, private):
    with opened() as records:
        child = records.persons.add(Person("K-1", PartialDate("2019-03"), "right", "doctor"))
        for number in range(2):
            measured = made_measured(f"open {number}", -12.0, f"202{number}-05-01", "unknown", covered_eye="right")
            records.clips.keep(clip_of(child.id, measured, label=""), measured)
        records.events.add(Event(child.id, "surgery", PartialDate("2020-09-01")))
    page = to_child(open_page(), child)
    for section in ("Over the years", "Before and after"):
        page.segmented_control(key=f"section-{child.id}").set_value(section).run()
        text = re.sub(r'class="[^"]*"', "", seen_text(page))
        assert "side not settled" in text or section != "Over the years"
        assert SIDES.findall(text) == [], SIDES.sub("<<\\1>>", text)[-3000:]


def test_clips_are_split_by_surgery_for_certain():
    child = read(add_child().id)
    before, after = split_by_surgery(child)
    assert [len(before), len(after)] == [6, 2]
    change = since_surgery(child)
    assert change is not None
    assert change.tilt_deg.real is True


def test_own_recordings_before_surgery_and_urgency_reach_the_comparison(monkeypatch):
    told = {}
    real = before_after.compare

    def listen(before, after, own, events, *, is_urgent):
        told.update(own=own, is_urgent=is_urgent)
        return real(before, after, own, events, is_urgent=is_urgent)

    monkeypatch.setattr(before_after, "compare", listen)
    child = add_child()
    since_surgery(read(child.id))
    assert (len(told["own"]), told["is_urgent"]) == (6, False)
    with opened() as records:
        records.visits.add(Visit(child.id, PartialDate("2024-05-01"), findings=Findings(red_flags=["vomiting"])))
    since_surgery(read(child.id))
    assert told["is_urgent"] is True


def test_red_flags_of_the_last_visit_stand_above_all(open_page):
    child = add_child()
    with opened() as records:
        records.visits.add(Visit(child.id, PartialDate("2024-05-01"), findings=Findings(red_flags=["vomiting"])))
    text = seen_text(to_child(open_page(), child))
    assert "p-urgent" in text
    assert text.index("p-urgent") < text.index("k-cards")


def test_two_clips_are_compared_as_chosen(open_page):
    child = add_child()
    page = to_child(open_page(), child, "Before and after")
    assert "Compared are the last two that are alike" in seen_text(page)
    clips = read(child.id).clips
    page.selectbox(key=f"before-{child.id}").set_value(clips[1].id).run()
    page.selectbox(key=f"after-{child.id}").set_value(clips[1].id).run()
    assert "Choose two clips that are not the same" in seen_text(page)
    page.selectbox(key=f"after-{child.id}").set_value(clips[6].id).run()
    assert not page.exception
    assert CHANGES["real"].text in html.unescape(seen_text(page)) or CHANGES["not real"].text in html.unescape(seen_text(page))


def test_event_is_added_and_reaches_the_figure(open_page):
    child = add_child()
    page = to_child(open_page(), child, "Events")
    name = f"event-new-{child.id}-0"
    page.selectbox(key=f"{name}-kind").set_value("patching")
    page.text_input(key=f"{name}-on").set_value("about 2021")
    page.text_input(key=f"{name}-text").set_value("two hours a day")
    page.button(key=f"{name}-keep").click().run()
    assert [e.value for e in page.success] == ["Kept."]
    assert [(e.kind, str(e.on)) for e in read(child.id).events[:1]] == [("patching", "about 2021")]
    assert page.text_input(key=f"event-new-{child.id}-1-text").value == ""


@pytest.mark.parametrize("typed", ["", "soon", "2090-01-01", "2001-01-01"])
def test_event_with_an_impossible_date_is_told_and_its_words_stay(open_page, typed):
    child = add_child()
    page = to_child(open_page(), child, "Events")
    name = f"event-new-{child.id}-0"
    page.text_input(key=f"{name}-on").set_value(typed)
    page.text_input(key=f"{name}-text").set_value("in words")
    page.button(key=f"{name}-keep").click().run()
    assert "Expected" in page.error[0].value
    assert page.text_input(key=f"{name}-text").value == "in words"
    assert len(read(child.id).events) == 2


def test_what_another_page_changed_is_not_overwritten(open_page):
    child = add_child()
    event = read(child.id).events[-1]
    page = to_child(open_page(), child, "Events")
    with opened() as records:
        records.events.change(replace(event, text="both inferior obliques"))
    page.text_input(key=f"event-{event.id}-0-text").set_value("something else")
    page.button(key=f"event-{event.id}-0-keep").click().run()
    assert "changed meanwhile, and nothing was overwritten" in page.error[0].value
    assert read(child.id).events[-1].text == "both inferior obliques"
    assert page.text_input(key=f"event-{event.id}-1-text").value == "both inferior obliques"
    page.text_input(key=f"event-{event.id}-1-text").set_value("the third wording")
    page.button(key=f"event-{event.id}-1-keep").click().run()
    assert read(child.id).events[-1].text == "the third wording"


def test_known_of_a_child_is_not_overwritten_either(open_page):
    child = add_child()
    page = to_child(open_page(), child, "Data")
    with opened() as records:
        records.persons.change(replace(records.persons.get(child.id), suspected_by="somebody else"))
    page.text_input(key=f"person-{child.id}-0-by").set_value("me")
    page.button(key=f"person-{child.id}-0-keep").click().run()
    assert "changed meanwhile" in page.error[0].value
    assert read(child.id).person.suspected_by == "somebody else"
    assert page.text_input(key=f"person-{child.id}-1-by").value == "somebody else"


def test_child_that_was_erased_meanwhile_is_told(open_page):
    child = add_child()
    page = to_child(open_page(), child)
    from posture.records.erase import erase_person

    with opened() as records:
        erase_person(records, child.id, child.code)
    page.run()
    assert "none of this number any more" in page.error[0].value
    page.button(key="back").click().run()
    assert not page.exception


def test_visit_and_consent_are_entered_and_withdrawn(open_page):
    child = add_child()
    page = to_child(open_page(), child, "Visits")
    name = f"visit-new-{child.id}-0"
    page.text_input(key=f"{name}-on").set_value("2024-05-01")
    page.text_area(key=f"{name}-question").set_value("Is it stable?")
    page.button(key=f"{name}-keep").click().run()
    assert read(child.id).visits[-1].question == "Is it stable?"
    page.segmented_control(key=f"section-{child.id}").set_value("Consent").run()
    name = f"consent-new-{child.id}-0"
    page.text_input(key=f"{name}-who").set_value("father")
    page.multiselect(key=f"{name}-scopes").set_value(["teaching"])
    page.button(key=f"{name}-keep").click().run()
    consent = read(child.id).consents[-1]
    assert (consent.by_whom, consent.scopes) == ("father", {"teaching"})
    page.button(key=f"consent-{consent.id}-0-keep").click().run()
    assert read(child.id).consents[-1].withdrawn_on is not None
    assert "It allows nothing any more" in seen_text(page)


def test_clip_gets_a_date_and_a_side_later(open_page):
    child = add_child()
    page = to_child(open_page(), child)
    clip = next(one for one in read(child.id).clips if one.filmed_on is None)
    page.selectbox(key=f"clip-{child.id}").set_value(clip.id).run()
    page.text_input(key=f"clip-{clip.id}-0-on").set_value("2019-11")
    page.button(key=f"clip-{clip.id}-0-keep").click().run()
    assert not page.error
    reading = read(child.id).readings[clip.id]
    page.selectbox(key=f"mirrored-{clip.id}-{reading.id}").set_value("yes").run()
    page.button(key=f"anew-{clip.id}").click().run()
    found = read(child.id)
    summary = found.summaries[clip.id]
    assert (summary.sided, summary.conditions.filmed_on, summary.conditions.age_months) == (True, "2019-11", 8)
    assert summary.habitual.tilt_deg.value == pytest.approx(11, abs=1.5)
    with opened() as records:
        assert len(records.readings.of_clip(clip.id)) == 2


def test_one_clip_is_erased_after_the_code_was_typed(open_page):
    child = add_child()
    page = to_child(open_page(), child)
    clip = read(child.id).clips[-1]
    page.selectbox(key=f"clip-{child.id}").set_value(clip.id).run()
    assert page.button(key=f"erase-clip-{clip.id}").disabled
    page.text_input(key=f"erase-clip-{clip.id}-code").set_value("K-9999").run()
    page.button(key=f"erase-clip-{clip.id}").click().run()
    assert "nothing was erased" in page.error[0].value
    page.text_input(key=f"erase-clip-{clip.id}-code").set_value("k-0412").run()
    page.button(key=f"erase-clip-{clip.id}").click().run()
    assert clip.id not in [one.id for one in read(child.id).clips]


def test_child_is_erased_after_asking_twice_and_its_limits_are_said(open_page, private: Path):
    child = add_child("Quagga-0412")
    page = to_child(open_page(), child, "Data")
    key = f"erase-{child.id}-0"
    page.toggle(key=f"{key}-asked").set_value(True).run()
    assert "Not erased are: backups and exports" in seen_text(page)
    assert page.button(key=f"{key}-erase").disabled
    page.text_input(key=f"{key}-code").set_value("Quagga-0413").run()
    assert page.button(key=f"{key}-erase").disabled
    page.text_input(key=f"{key}-code").set_value("quagga-0412").run()
    page.button(key=f"{key}-erase").click().run()
    assert "Erased, with 9 clips" in page.success[0].value
    for file in (private / "records").iterdir():
        assert b"uagga-0412" not in file.read_bytes(), file


def test_report_holds_the_change_and_the_hint_and_no_file_name():
    child = read(add_child().id)
    notes = notes_of(child, [child.clips[-1]])
    text = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(paper_bytes(notes))).pages)
    flat = " ".join(text.split())
    assert "Code: K-0412" in flat
    assert "Since when, and did the operation help?" in flat
    assert "from 14 degrees to the child's left shoulder to 2 degrees" in flat
    assert notes.hint is not None
    assert notes.flags_asked
    assert ".mp4" not in flat


def test_report_without_findings_says_that_red_flags_were_not_asked(open_page):
    with opened() as records:
        child = records.persons.add(Person("K-2"))
        measured = made_measured("one", -12.0, "2024-05-01")
        records.clips.keep(clip_of(child.id, measured), measured)
    page = to_child(open_page(), child, "Report")
    assert "red flags stand as not asked" in seen_text(page)
    assert "Red flags were not asked" in page.code[0].value


def test_exports_hold_one_child_only(private: Path):
    child = add_child()
    add_child("K-0500")
    whole = exported(lambda records, path: export_records(records, path, [child.id]))
    rows = exported(lambda records, path: export_table(records, path, [child.id]))
    assert b"K-0412" in whole
    assert b"K-0500" not in whole
    assert rows.count(b"K-0412") == 9
    assert not list(private.glob("work-*/export-*"))


def test_hostile_text_is_text_everywhere(open_page):
    with opened() as records:
        child = records.persons.add(Person("![x](http://e.example/x) $x$ =cmd"[:40], None, "left", HOSTILE))
        for number in range(2):
            measured = made_measured(
                f"h {number}", -12.0, f"202{number}-05-01", correction=HOSTILE, drops=HOSTILE, examiner=HOSTILE
            )
            known = {"filmed_by": HOSTILE, "filmed_on_source": HOSTILE, "label": HOSTILE}
            records.clips.keep(clip_of(child.id, measured, **known), measured)
        records.events.add(Event(child.id, "surgery", PartialDate("2020-09-01"), HOSTILE))
        records.visits.add(Visit(child.id, PartialDate("2021-05-01"), HOSTILE, HOSTILE, HOSTILE))
        records.consents.add(Consent(child.id, None, HOSTILE, PartialDate("2021-05-01"), frozenset({"care"})))
    page = to_child(open_page(), child)
    for section in SECTIONS:
        page.segmented_control(key=f"section-{child.id}").set_value(section).run()
        assert not page.exception, section
        # What goes through the reader of markdown holds no sign of it that is not escaped.
        marked = [*page.expander, *page.button]
        labels = [str(e.label) for e in marked] + [
            str(e.value) for kind in (page.markdown, page.error, page.success) for e in kind
        ]
        for label in labels:
            assert not re.search(r"(?<!\\)!\[|(?<!\\)\$|(?<!\\)<img|https?:", label), (section, label)
        for element in page.html:
            assert "<img src=http" not in element.proto.body
    kept_rows = exported(lambda records, path: export_table(records, path, [child.id])).decode()
    assert not re.search(r"(^|,)=", kept_rows, re.MULTILINE)


def test_ages_are_those_of_birth_and_film():
    born = PartialDate("2019-03")
    ages = [age_months(born, PartialDate.parse(on)) for on in ("2019-03", "2020-03-15", "2018-01", "about 2022")]
    assert ages == [0, 12, None, 40]
    assert age_months(None, PartialDate("2020")) is None


def test_cards_say_that_a_side_is_not_settled(open_page):
    with opened() as records:
        child = records.persons.add(Person("K-3"))
        measured = made_measured("x", -12.0, "2024-05-01", "unknown")
        records.clips.keep(clip_of(child.id, measured), measured)
    found = read(child.id)
    cards = "".join(person.cards_of(found, person.course_of(found.dated), None))
    assert "The side of no clip is settled" in cards
    assert SIDES.findall(cards) == []
    assert to_page(open_page(), "Children").button(key=f"open-{child.id}").label == r"Open K\-3"
