"""The list of children, new codes, and this computer's corner, in the library's test frame."""

from __future__ import annotations

import html
from pathlib import Path

import pytest

from posture.page import kept, look
from posture.page.children import AT_ONCE, row_html
from posture.page.kept import in_order, opened
from posture.records.dates import PartialDate
from posture.records.store import open_records
from posture.records.values import Person, PersonLine
from posture.summary.record import Interval
from tests.page.invented import HOSTILE, add_child, fill_many, seen_text, to_page


def line(
    number: int, last: str | None = None, visit: str | None = None, tilt: float | None = None, clips: int = 1
) -> PersonLine:
    dates = [None if on is None else PartialDate.parse(on) for on in (last, visit)]
    interval = None if tilt is None else Interval(value=tilt, low=tilt - 2, high=tilt + 2)
    return PersonLine(Person(f"K{number}", id=number), clips, *dates, interval, False)


def test_looking_makes_no_file(open_page, private: Path):
    page = open_page()
    for name in ("Children", "This computer", "New clip"):
        to_page(page, name)
        assert not page.exception
    assert not (private / "records").exists()
    assert page.button(key="measure").disabled


def test_new_code_is_kept_and_opened(open_page, private: Path):
    page = to_page(open_page(), "Children")
    page.text_input(key="new-0-code").set_value("  K-0412 ")
    page.selectbox(key="new-0-month").set_value("March")
    page.number_input(key="new-0-year").set_value(2019)
    page.selectbox(key="new-0-suspected").set_value("right")
    page.button(key="new-0-make").click().run()
    assert not page.exception
    with opened() as records:
        (kept_line,) = records.persons.lines()
    assert (kept_line.person.code, str(kept_line.person.born), kept_line.person.suspected) == ("K-0412", "2019-03", "right")
    assert "No clip is kept for this child yet" in seen_text(page)
    assert "must not be a name" in seen_text(to_page(open_page(), "Children"))


@pytest.mark.parametrize(
    ("code", "month", "year", "says"),
    [
        ("", None, None, "Expected a code"),
        ("k-0412", None, None, "is taken"),
        ("K-2", "March", None, "month and year of birth"),
    ],
)
def test_new_code_that_cannot_be_is_told(open_page, private, code, month, year, says):
    add_child("K-0412")
    page = to_page(open_page(), "Children")
    page.text_input(key="new-0-code").set_value(code)
    page.selectbox(key="new-0-month").set_value(month)
    page.button(key="new-0-make").click().run()
    assert says in page.error[0].value.replace("\\", "")
    with opened() as records:
        assert len(records.persons.lines()) == 1


def test_list_turns_and_searches(open_page, private):
    with opened() as records:
        fill_many(records, AT_ONCE + 7, AT_ONCE + 7)
    page = to_page(open_page(), "Children")

    def shown() -> int:
        return sum((button.key or "").startswith("open-") for button in page.button)

    assert shown() == AT_ONCE
    assert f"1 to {AT_ONCE} of {AT_ONCE + 7} children" in seen_text(page)
    page.button(key="turn-Older ones").click().run()
    assert shown() == 7
    page.text_input(key="children-search").set_value("n00003").run()
    assert shown() == 1
    assert "N00003" in seen_text(page)
    page.text_input(key="children-search").set_value("nobody").run()
    assert shown() == 0
    assert "No code holds this text" in seen_text(page)


def test_order_is_newest_first():
    lines = [line(1, "2020-05"), line(2, None), line(3, "2019", "2024-01-02"), line(4, "2023-12"), line(5, "2021")]
    assert [one.person.id for one in in_order(lines)] == [2, 3, 4, 5, 1]
    assert [one.person.id for one in in_order(lines, recent=(1, 4))] == [1, 4, 2, 3, 5]


def test_row_names_no_side_without_one():
    row = row_html(line(1, "2020-05"))
    assert "right" not in row
    assert "left" not in row
    assert "No tilt with a settled side yet" in row
    assert "12 degrees to the child&#x27;s left shoulder" in row_html(line(1, "2020-05", tilt=-12.0))


def test_head_leans_to_the_shoulder_that_the_words_name():
    url = look.head_html(Interval(value=-14, low=-16, high=-12)).split("base64,")[1].split('"')[0]
    import base64

    # The child's left is at the right of the drawing: turned clockwise, which is positive in the drawing's own sense.
    assert "rotate(14 23 40)" in base64.b64decode(url).decode()
    assert "img" not in look.head_html(None)


def test_hostile_code_is_shown_as_text(open_page, private):
    code = HOSTILE[:40].strip()
    with opened() as records:
        records.persons.add(Person(code, None, "right", HOSTILE))
    page = to_page(open_page(), "Children")
    assert html.escape(code) in seen_text(page)
    label = next(button.label for button in page.button if button.label.startswith("Open"))
    assert "![" not in label
    assert "http:" not in label
    page.button(key="open-1").click().run()
    assert not page.exception
    sent = seen_text(page)
    assert html.escape(HOSTILE) in sent
    assert "<img src=http" not in sent


def test_corner_makes_a_backup_and_says_where_it_is(open_page, private, tmp_path: Path):
    add_child()
    page = to_page(open_page(), "This computer")
    page.text_input(key="backup-folder").set_value(str(tmp_path))
    page.text_input(key="backup-pass").set_value("four plain little words")
    page.text_input(key="backup-again").set_value("four plain little word")
    page.button[0].click().run()
    assert "not the same" in page.error[0].value
    assert not list(tmp_path.glob("*.backup.zip"))
    page.text_input(key="backup-again").set_value("four plain little words")
    page.button[0].click().run()
    (made,) = tmp_path.glob("*.backup.zip")
    assert made.name in page.success[0].value.replace("\\", "").replace("\u2060", "")
    from posture.records.backup import restore_backup

    restore_backup(made, "four plain little words", tmp_path / "back.sqlite")
    with open_records(tmp_path / "back.sqlite") as records:
        assert [one.person.code for one in records.persons.lines()] == ["K-0412"]


@pytest.mark.parametrize("folder", ["\\\\host\\share", "//host/share", "http://host/x", "nowhere at all"])
def test_corner_refuses_places_that_are_no_folder_here(open_page, private, folder):
    add_child()
    page = to_page(open_page(), "This computer")
    page.text_input(key="backup-folder").set_value(folder)
    page.text_input(key="backup-pass").set_value("four plain little words")
    page.text_input(key="backup-again").set_value("four plain little words")
    page.button[0].click().run()
    assert "Expected a folder" in page.error[0].value


def test_records_can_lie_elsewhere(tmp_path: Path):
    kept.use_records(tmp_path / "other.sqlite")
    try:
        assert not kept.is_there()
        add_child()
        assert (tmp_path / "other.sqlite").exists()
    finally:
        kept.use_records(None)
