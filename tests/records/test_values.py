"""What can be kept, and what is refused before it is."""

import io
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from PIL import Image

from posture.clinic.findings import Cover, CoveredEye, Findings
from posture.errors import RecordsError
from posture.records.dates import PartialDate, check_possible
from posture.records.pictures import LONGEST_PX, check_picture, clean_picture
from posture.records.texts import code_key, tidy_code
from posture.records.values import Clip, Consent, Event, Person, Visit
from tests.records.made import made_picture, sha256_of

DAY = PartialDate("2024-03-05")


@pytest.mark.parametrize(
    ("typed", "stored", "first", "last"),
    [
        pytest.param("2019", "2019", date(2019, 1, 1), date(2019, 12, 31), id="year"),
        pytest.param("2020-02", "2020-02", date(2020, 2, 1), date(2020, 2, 29), id="month of a leap year"),
        pytest.param("2020-02-03", "2020-02-03", date(2020, 2, 3), date(2020, 2, 3), id="day"),
        pytest.param(" About  2019 ", "2019~", date(2019, 1, 1), date(2019, 12, 31), id="about"),
        pytest.param("about 2020-12", "2020-12~", date(2020, 12, 1), date(2020, 12, 31), id="about a month"),
    ],
)
def test_date_as_far_as_it_is_known(typed: str, stored: str, first: date, last: date) -> None:
    known = PartialDate.parse(typed)
    assert (known.earliest, known.latest, known.stored) == (first, last, stored)
    assert PartialDate.parse(stored) == known == PartialDate.parse(str(known))


@pytest.mark.parametrize(
    "typed", ["", "19", "2019-13", "2019-02-29", "2019-1", "03.05.2019", "1066", "２０１９", "about", "2019~~"]
)
def test_date_refused(typed: str) -> None:
    with pytest.raises(RecordsError, match="Expected a date such as"):
        PartialDate.parse(typed)


def test_date_in_the_future_or_before_birth_is_refused() -> None:
    born = PartialDate("2018-04")
    tomorrow = PartialDate((datetime.now(UTC).date() + timedelta(days=3)).isoformat())
    with pytest.raises(RecordsError, match="the surgery lies in the past"):
        check_possible(tomorrow, None, "the surgery")
    with pytest.raises(RecordsError, match=r"after birth \(2018-04\); 2018-03-31 came"):
        check_possible(PartialDate("2018-03-31"), born, "the surgery")
    for fine in (None, PartialDate("2018"), PartialDate("2018-04-01"), PartialDate("2017", about=True)):
        check_possible(fine, born, "the surgery")


@pytest.mark.parametrize("code", ["", " K7", "K7 ", "K  7", "K\n7", "K\u00007", "\ud800", "x" * 41, "e\u0301"])
def test_code_refused(code: str) -> None:
    with pytest.raises(RecordsError, match=r"Expected (a code|plain text|40 characters)"):
        Person(code)


def test_codes_that_look_the_same_are_the_same() -> None:
    assert tidy_code("  K  é ") == "K é"
    assert code_key("STRASSE É") == code_key(" strasse  é") == code_key("Straße é")


@pytest.mark.parametrize(
    ("make", "words"),
    [
        pytest.param(lambda: Person("K", PartialDate("2018-04-05")), "Leave the day out", id="day of birth"),
        pytest.param(lambda: Person("K", PartialDate("2018")), "month and year", id="year of birth"),
        pytest.param(lambda: Person("K", suspected="links"), "one of right, left, both, unknown", id="side"),
        pytest.param(lambda: Person("K", suspected_by="x" * 201), "200 characters or fewer", id="long"),
        pytest.param(lambda: Event(1, "operation", DAY), "one of surgery", id="event"),
        pytest.param(lambda: Event(1, "other", DAY, "a\x1b[2Jb"), "cannot be shown", id="escape sequence"),
        pytest.param(lambda: Consent(1, None, "mother", DAY, frozenset()), "one of them is missing", id="no scope"),
        pytest.param(lambda: Consent(1, None, "m", DAY, frozenset({"all"})), "one of care", id="scope"),
        pytest.param(
            lambda: Consent(1, None, "m", DAY, frozenset({"care"}), PartialDate("2023")), "withdrawn after", id="order"
        ),
        pytest.param(lambda: Clip(1, "ab", "film"), "64 hexadecimal", id="sha256"),
        pytest.param(lambda: Clip(1, sha256_of("a"), "film", picture=b"GIF89a"), "JPEG or PNG", id="picture"),
    ],
)
def test_value_refused(make: Callable[[], object], words: str) -> None:
    with pytest.raises(RecordsError, match=words):
        make()


def test_findings_that_name_a_file_are_refused() -> None:
    findings = Findings(cover=Cover(left_eye=CoveredEye(summary="surname.summary.json", minutes=30.0)))
    with pytest.raises(RecordsError, match="the name of a file came"):
        Visit(1, DAY, findings=findings)


def test_notes_may_have_lines_and_names_may_not() -> None:
    assert Event(1, "other", DAY, "one\ntwo").text == "one\ntwo"
    with pytest.raises(RecordsError, match="who suspects it"):
        Person("K", suspected_by="one\ntwo")


def test_kept_picture_has_nothing_in_it_but_pixels() -> None:
    exif = Image.Exif()
    exif[0x010F], exif[0x0112], exif[0x013B] = "Camera of Surname", 6, "Surname"
    given = made_picture((3000, 1000), exif=exif, comment=b"Surname")
    with pytest.raises(RecordsError, match="Clean it first"):
        check_picture(given)
    clean = clean_picture(given)
    check_picture(clean)
    assert b"Surname" in given
    assert b"Surname" not in clean
    with Image.open(io.BytesIO(clean)) as image:
        # It lay on its side.
        assert image.size == (round(LONGEST_PX / 3), LONGEST_PX)


@pytest.mark.parametrize("given", [b"", b"\xff\xd8\xff", made_picture()[:300], made_picture(kind="GIF")])
def test_what_is_no_picture_is_refused(given: bytes) -> None:
    with pytest.raises(RecordsError, match="Expected a picture"):
        clean_picture(given)


def test_picture_of_too_many_pixels_is_refused_before_it_is_read() -> None:
    bomb = made_picture((9000, 9000), "PNG")
    with pytest.raises(RecordsError, match="9000 x 9000"):
        clean_picture(bomb)


def test_changing_a_value_is_checked_as_well() -> None:
    with pytest.raises(RecordsError, match="Expected a code"):
        replace(Person("K7"), code=" ")
