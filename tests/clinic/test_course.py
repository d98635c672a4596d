"""A course of films and pictures: since when, growing, changing side; what counts; the mirrored answers."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from posture.clinic.course import Course, Dated, course_of
from posture.clinic.dates import Event, parse_when
from posture.clinic.growth import certainly_ordered
from posture.clinic.sentences import COURSES
from posture.clinic.urgency import NECK_FLAGS
from posture.errors import DateError
from posture.summary.record import Interval, MomentRecord, Summary
from tests.clinic.made import clip
from tests.clinic.mirror import mirror_summary, swap

NUMBERS = iter(range(1, 10**6))
SIDE = re.compile(r"\b(right|left)\b", re.IGNORECASE)


def unlike_any(summary: Summary) -> Summary:
    """The same as a file of its own."""
    return summary.model_copy(update={"clip": summary.clip.model_copy(update={"sha256": f"{next(NUMBERS):064x}"})})


def film(tilt: float | None, on: str | None, age: int | None = None, posed: bool = False, **values: Any) -> Dated:
    return Dated(unlike_any(clip(tilt, **({"target": "play"} | values))), on, age, "film", posed)


def photograph(tilt: float, on: str | None, age: int | None = None, posed: bool = False, sided: bool = True) -> Dated:
    made = unlike_any(clip(tilt, nothing=True, sided=sided))
    angle = Interval(value=tilt, low=tilt - 2, high=tilt + 2)
    moment = MomentRecord(time_s=0.0, tilt_deg=angle if sided else None, turn_deg=None, chin_deg=angle)
    return Dated(made.model_copy(update={"moment": moment}), on, age, "photograph", posed)


def words(course: Course) -> str:
    return "\n".join([*course.sentences, *course.cautions])


def reasons(course: Course) -> list[tuple[str, ...]]:
    """Why each item does not count, in the order in which they were given."""
    return [entry.why_not for entry in sorted(course.entries, key=lambda entry: entry.number)]


STEADY = [
    film(-9.0, "2018-03-12", 27),
    film(-10.0, "2018-09", 33),
    film(-1.0, "2019-05-02", 41),
    film(-9.5, "2021-06-01", 66),
    film(-8.0, "2021-07-01", 67),
]
GROWING = [film(-3.0 - 2.4 * year, f"{2017 + year}-04-01", 12 + 12 * year) for year in range(6)]


# --- Long-standing: the rule, each part of it by itself. ---


def test_a_tilt_to_one_side_for_years_is_long_standing_and_excludes_nothing() -> None:
    course = course_of(STEADY)
    assert (course.status, course.side, course.flag) == ("long-standing", -1, None)
    assert course.sentences[0] == "Tilt to the left in 4 of 5 films from age 2 years 3 months on."
    assert "Not so in: film of 2 May 2019" in course.sentences[1]
    # The longest delay of a tumour's tilt was 52 weeks [54].
    assert course.cautions[0] == COURSES["long-standing, limits"].text
    assert "52 weeks" in course.cautions[0]
    assert "[54]" in COURSES["long-standing, limits"].source
    assert "excludes nothing" in course.cautions[0]


@pytest.mark.parametrize(
    ("items", "status", "missing"),
    [
        pytest.param([film(-9.0, "2018-01-01"), film(-9.0, "2018-07-01"), film(-9.0, "2019-01-02")], "long-standing", "", id="enough"),
        pytest.param([film(-9.0, "2018-01-01"), film(-9.0, "2019-07-01")], "since at least", "2 of 3 occasions", id="two"),
        pytest.param(
            [film(-9.0, "2018-01-01"), film(-9.0, "2018-07-01"), film(-9.0, "2018-12-30")],
            "since at least", "11 of 12 months", id="short",
        ),
        pytest.param(
            [film(-9.0, "2018-01-01"), film(-9.0, "2018-01-01"), film(-9.0, "2020-01-02")],
            "since at least", "2 of 3 occasions", id="two films of one day",
        ),
        pytest.param(
            [film(-9.0, "2018"), film(-9.0, "about 2018"), film(-9.0, "2019")],
            "since at least", "0 of 12 months for certain", id="years that may be days apart",
        ),
        pytest.param(
            [film(-6.0, "2018-01-01", half=3.0), film(-7.0, "2019-01-01", half=3.0), film(-13.0, "2020-01-01", half=6.0)],
            "since at least", "it may be growing", id="may grow",
        ),
        pytest.param([film(-3.0, "2018-01-01"), film(-2.0, "2019-02-01")], "not enough", "no tilt of 5 degrees", id="no tilt"),
        pytest.param([film(-9.0, "2018-01-01")] + [film(0.0, f"{y}-01-01") for y in range(2019, 2022)], "not enough", "half", id="once"),
    ],
)  # fmt: skip
def test_each_part_of_the_rule_is_needed(items: list[Dated], status: str, missing: str) -> None:
    course = course_of(items)
    assert course.status == status
    assert missing in words(course)


@pytest.mark.parametrize(
    ("item", "reason"),
    [
        (film(-9.0, None, 40), "not dated"),
        (film(-9.0, "2019-01-01", posed=True), "posed"),
        (photograph(-9.0, "2019-01-01", posed=True), "posed"),
        (film(-9.0, "2019-01-01", sided=False), "side not settled"),
        (photograph(-9.0, "2019-01-01", sided=False), "side not settled"),
        (film(-9.0, "2019-01-01", covered_eye="right"), "an eye covered"),
        (film(-9.0, "2019-01-01", drops="atropine"), "under drops"),
        (film(-9.0, "2019-01-01", 3), "under 4 months old"),
        (film(-9.0, "2019-01-01", position="lying"), "gravity no zero in this position"),
        (film(-9.0, "2019-01-01", two=True), "two separate postures"),
        (film(-9.0, "2019-01-01", nothing=True), "no face measured"),
    ],
)
def test_what_does_not_count_is_listed_with_the_reason(item: Dated, reason: str) -> None:
    two = [film(-9.0, "2018-01-01"), film(-9.0, "2020-01-01")]
    course = course_of([*two, item])
    assert course.status == "since at least", "two alone are not enough"
    assert reasons(course) == [(), (), (reason,)]
    assert reason in words(course)
    assert len(course.entries) == 3
    third = film(-9.0, "2019-01-01")
    assert course_of([*two, third]).status == "long-standing"


def test_unposed_photographs_count_towards_the_side() -> None:
    course = course_of([photograph(-9.0, f"{year}-05") for year in (2018, 2019, 2020)])
    assert course.status == "long-standing"
    assert course.growth is None
    assert course.sentences[0] == "Tilt to the left in 3 of 3 photographs from May 2018 on."
    assert COURSES["scans"].text in course.cautions
    assert COURSES["moments"].text in course.cautions


def test_the_same_file_again_counts_once() -> None:
    first = film(-9.0, "2018-01-01")
    assert reasons(course_of([first, first])) == [(), ("the same file again",)]


def test_what_was_filmed_after_an_operation_does_not_count() -> None:
    surgery = Event("2019-03", "surgery", "tuck")
    items = [film(-9.0, "2018-01-01"), film(-9.0, "2019-03-20"), film(-1.0, "2020-01-01"), film(-9.0, "about 2018")]
    course = course_of(items, [surgery, Event("2017", "glasses", "new")])
    assert [bool(why) for why in reasons(course)] == [False, True, True, True]


# --- Growing. ---


def test_a_tilt_that_grows_over_years_is_growing_and_urgent() -> None:
    course = course_of(GROWING)
    assert (course.status, course.flag) == ("growing", "worsening_tilt")
    assert course.growth is not None
    assert course.growth.degrees.value == pytest.approx(12.0, abs=0.01)
    assert "grew by 12 degrees" in words(course)
    assert "from 1 April 2017 to 1 April 2022" in words(course)
    assert course.cautions[0] == COURSES["growing, urgent"].text
    assert "within two weeks" in course.cautions[0]
    assert course.flag in NECK_FLAGS


@pytest.mark.parametrize(("step_deg", "grows"), [(0.9, False), (1.1, True)])
def test_growth_is_more_than_five_degrees(step_deg: float, grows: bool) -> None:
    items = [film(-8.0 - step_deg * year, f"{2017 + year}-04-01", half=0.3) for year in range(6)]
    assert (course_of(items).status == "growing") is grows


def test_an_old_tilt_that_worsens_late_is_growing() -> None:
    items = [film(-8.0, f"{2010 + year}-04-01") for year in range(10)] + [film(-16.0, "2020-04-01")]
    assert course_of(items).status == "growing"


def test_a_tilt_that_falls_is_not_growing() -> None:
    items = [replace(item, filmed_on=f"{2022 - k}-04-01", age_months=None) for k, item in enumerate(GROWING[1:])]
    assert course_of(items).flag is None


@pytest.mark.parametrize("dates", [("about 2019", "2019-06-01", "2020-01-01"), ("2019", "2019-06-01", "2019-07-01")])
def test_an_order_that_is_not_certain_is_not_used_to_say_that_it_grew(dates: tuple[str, ...]) -> None:
    tilts = (-6.0, -15.0, -15.0)
    course = course_of([film(t, d, half=0.5) for t, d in zip(tilts, dates, strict=True)])
    assert course.flag is None
    assert course.growth is None or course.growth.degrees.value < 1.0
    assert COURSES["order not certain"].text in course.cautions


def test_the_most_precise_dates_are_kept_in_order() -> None:
    whens = [parse_when(text) for text in ("2021-05-01", "2020", "2020-03-01", "about 2021", "2018")]
    assert certainly_ordered(whens) == [4, 2, 0]


def test_unlike_conditions_are_marked_and_not_used_for_growth() -> None:
    alike = [film(-8.0, f"{2017 + year}-04-01", correction="glasses", position="sitting") for year in range(4)]
    other = film(-18.0, "2021-04-01", correction="none", position="standing")
    course = course_of([*alike, other])
    assert course.flag is None
    assert course.entries[-1].unlike == ("position: standing", "correction: none")
    assert "Filmed under other conditions than most: film of 1 April 2021 (position: standing, correction: none)" in words(
        course
    )


@pytest.mark.parametrize("wider", [0.5, 2.0, 6.0])
@pytest.mark.parametrize("step_deg", [0.0, 0.8, 1.3, 2.0])
def test_widening_never_makes_it_grow_or_long_standing(step_deg: float, wider: float) -> None:
    def course(half: float) -> Course:
        return course_of([film(-7.0 - step_deg * year, f"{2017 + year}-04-01", half=half) for year in range(5)])

    narrow, wide = course(0.5), course(0.5 + wider)
    assert not (wide.flag and not narrow.flag)
    assert not (wide.status == "long-standing" and narrow.status != "long-standing")


# --- Changing side. ---


def test_a_mirrored_film_among_growing_ones_is_named_and_growth_is_still_seen() -> None:
    wrong = film(8.0, "2020-07-01", 51)
    course = course_of([*GROWING, wrong])
    assert (course.status, course.side, course.flag) == ("changing side", -1, "worsening_tilt")
    assert "Not so in: film of 1 July 2020 (8 degrees to the child's right shoulder" in words(course)
    assert "Settle the mirroring of each" in words(course)
    unsettled = course_of([*GROWING, film(8.0, "2020-07-01", 51, sided=False)])
    assert unsettled.status == "growing"
    assert unsettled.growth == course_of(GROWING).growth or unsettled.growth is not None


def test_a_mirrored_film_alone_does_not_look_like_growth() -> None:
    course = course_of([film(9.0, "2017-01-01"), film(-9.0, "2018-01-01"), film(-9.0, "2019-01-01"), film(-9.0, "2020-01-01")])
    assert (course.status, course.flag) == ("changing side", None)


# --- Words. ---


def test_no_side_is_named_where_none_is_settled() -> None:
    items = [film(-9.0, f"{year}-01-01", sided=False) for year in (2018, 2019, 2020)]
    course = course_of([*items, photograph(-9.0, "2021", sided=False)])
    assert (course.status, course.side) == ("not enough", 0)
    assert not SIDE.search(words(course))
    assert [entry.size is not None for entry in course.entries] == [True, True, True, False]
    assert all(entry.tilt is None for entry in course.entries)


def test_what_came_before_the_tilt_is_said_apart() -> None:
    course = course_of([film(0.0, "2015-01-01"), photograph(1.0, "2016-01-01"), *STEADY])
    assert course.sentences[1] == "Before that no clear tilt to that side in 1 film and 1 photograph."
    assert course.since is not None
    assert course.since.item is STEADY[0]


def test_infants_are_taken_on_the_shoulder_line() -> None:
    course = course_of([film(-2.0, "2018-01-01", 6, trunk=-11.0), film(-9.0, "2019-01-01", 18), film(-9.0, "2020-01-01", 30)])
    assert [entry.tilt.value for entry in course.entries if entry.tilt] == [-11.0, -9.0, -9.0]
    assert course.entries[0].unlike == ("measured against: the shoulder line",)


def test_the_age_of_the_summary_stands_in_for_a_missing_one() -> None:
    assert "from age 3 years on" in course_of([film(-9.0, "2018-01-01", age_months=36)]).sentences[0]


def test_the_order_in_which_items_come_does_not_matter() -> None:
    items = [*STEADY, *GROWING, film(-9.0, None), film(5.5, "2022-01-01")]
    there, back = course_of(items), course_of(items[::-1])
    assert set(there.sentences) == set(back.sentences)
    assert there.status == back.status


@pytest.mark.parametrize(
    "items",
    [
        STEADY,
        GROWING,
        [*GROWING, film(8.0, "2020-07-01", 51)],
        [film(-9.0, "2018"), photograph(7.0, "2019"), film(2.0, "about 2020")],
    ],
)
def test_the_mirrored_child_gets_the_mirrored_answer(items: list[Dated]) -> None:
    there = course_of(items)
    back = course_of([replace(item, summary=mirror_summary(item.summary)) for item in items])
    assert (there.status, there.side, there.flag) == (back.status, -back.side, back.flag)
    assert there.growth == back.growth or (there.growth and back.growth and there.growth.degrees == back.growth.degrees)
    # An interval across zero reads from left to right in both.
    plain = [re.sub(r"between \d+ (left|right) and \d+ (left|right)", "", swap(text)) for text in there.sentences]
    assert plain == [re.sub(r"between \d+ (left|right) and \d+ (left|right)", "", text) for text in back.sentences]


def test_nothing_at_all_is_said_plainly() -> None:
    course = course_of([])
    assert (course.status, course.entries, course.cautions) == ("not enough", (), ())
    assert course.sentences == (COURSES["nothing counts"].text,)


def test_a_date_that_cannot_be_read_is_an_error() -> None:
    with pytest.raises(DateError, match="'last spring' came"):
        course_of([film(-9.0, "last spring")])
