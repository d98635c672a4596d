"""Dates that are known to the day, the month, the year, or only about."""

from __future__ import annotations

from datetime import date

import pytest

from posture.clinic.dates import least_months_between, parse_when, say_age, when_if_clear, when_of
from posture.errors import DateError


@pytest.mark.parametrize(
    ("text", "first", "last", "said"),
    [
        ("2021-03-12", date(2021, 3, 12), date(2021, 3, 12), "12 March 2021"),
        ("2021-03-12T23:59:59+02:00", date(2021, 3, 12), date(2021, 3, 12), "12 March 2021"),
        (" 2020-02 ", date(2020, 2, 1), date(2020, 2, 29), "February 2020"),
        ("2019", date(2019, 1, 1), date(2019, 12, 31), "2019"),
        ("about 2019", date(2018, 1, 1), date(2020, 12, 30), "about 2019"),
        ("About  2019-05", date(2019, 1, 29), date(2019, 8, 31), "about May 2019"),
    ],
)
def test_a_date_lies_in_what_is_known_of_it(text: str, first: date, last: date, said: str) -> None:
    when = parse_when(text)
    assert (when.first, when.last, when.say()) == (first, last, said)


@pytest.mark.parametrize("text", ["", "spring", "2021-13", "2021-00", "2021-02-30", "12.3.2021", "21-03-12", "about", "0000"])
def test_what_is_no_date_is_an_error(text: str) -> None:
    with pytest.raises(DateError, match="Expected a date as 2021-03-12, 2021-03, 2021 or 'about 2021'"):
        parse_when(text)
    assert when_if_clear(text) is None


@pytest.mark.parametrize("text", [None, "", "  "])
def test_a_missing_date_is_not_known(text: str | None) -> None:
    assert when_of(text) is None


@pytest.mark.parametrize(
    ("a", "b", "before", "months"),
    [
        ("2019-01-15", "2020-01-15", True, 12),
        ("2019-01-15", "2020-01-14", True, 11),
        ("2019", "2020", True, 0),
        ("2018", "2020", True, 12),
        ("about 2019", "2020-06-01", False, 0),
        ("about 2019", "2022-06-01", True, 17),
        ("2020", "2019", False, 0),
    ],
)
def test_order_and_distance_are_only_what_is_certain(a: str, b: str, before: bool, months: int) -> None:
    first, second = parse_when(a), parse_when(b)
    assert first.is_before(second) is before
    assert least_months_between(first, second) == months


@pytest.mark.parametrize(
    ("months", "said"), [(0, "0 months"), (1, "1 month"), (12, "1 year"), (27, "2 years 3 months"), (13, "1 year 1 month")]
)
def test_ages_are_said_in_years_and_months(months: int, said: str) -> None:
    assert say_age(months) == said
