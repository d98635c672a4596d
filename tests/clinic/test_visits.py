"""Visits after surgery by the times of published series: [89], [90] and [92] of DEVELOPERS.md; [15] for a masked second side."""

from datetime import date

import pytest

from posture.clinic.dates import Event
from posture.clinic.visits import visit_sentences, visits_after

SURGERY = Event("2024-01-10", "surgery", "inferior oblique weakened")


def states(today: date, *filmed: str | None, events: tuple[Event, ...] = (SURGERY,)) -> list[str]:
    return [visit.state for visit in visits_after(events, filmed, today)]


@pytest.mark.parametrize(
    ("today", "filmed", "expected"),
    [
        (date(2024, 2, 1), (), ["to come", "to come", "to come"]),
        (date(2024, 5, 1), (), ["due", "to come", "to come"]),
        (date(2024, 5, 1), ("2024-04-20",), ["done", "to come", "to come"]),
        (date(2024, 12, 1), ("2024-04-20",), ["done", "due", "to come"]),
        (date(2026, 11, 1), ("2024-12-01",), ["missed", "done", "due"]),
        (date(2026, 11, 1), ("2026-10-01", None), ["missed", "missed", "done"]),
    ],
)
def test_a_visit_is_done_due_to_come_or_missed(today: date, filmed: tuple[str | None, ...], expected: list[str]) -> None:
    assert states(today, *filmed) == expected


@pytest.mark.parametrize("filmed", ["2024", "about 2024-05", "2024-07", "no date"])
def test_a_film_that_may_lie_outside_does_not_count(filmed: str) -> None:
    assert states(date(2024, 5, 20), filmed)[0] == "due"


@pytest.mark.parametrize("events", [(), (Event("2024-01-10", "glasses", ""),), (Event("2024", "surgery", ""),)])
def test_without_a_dated_surgery_nothing_is_suggested(events: tuple[Event, ...]) -> None:
    assert states(date(2024, 5, 1), events=events) == []
    assert visit_sentences(visits_after(events, [], date(2024, 5, 1))) == []


def test_the_last_surgery_counts() -> None:
    again = Event("2025-06-01", "surgery", "")
    assert states(date(2025, 10, 1), events=(again, SURGERY)) == ["due", "to come", "to come"]


def test_it_is_suggested_with_its_source_and_what_is_done_is_not() -> None:
    said = visit_sentences(visits_after([SURGERY], ["2024-04-20"], date(2024, 12, 1)))
    assert said[0] == "Filming again is suggested now: 8 to 15 months after surgery [92]."
    assert said[1] == "Next time suggested: from 9 January 2026, 24 months or more after surgery [90]."
    assert "[15]" in said[2]
    assert not any("3 to 6" in line for line in said)
    assert visit_sentences(visits_after([SURGERY], ["2024-04-20", "2024-12-01", "2026-02-01"], date(2026, 3, 1))) == []
