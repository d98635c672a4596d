"""How long the records of a large clinic take: 2,000 persons and 20,000 clips.

``python -m tests.proof.records_speed [PERSONS] [CLIPS] [FOLDER]`` fills a file of records and prints the time of what a page does.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from posture.records.clips import clip_of
from posture.records.dates import PartialDate
from posture.records.erase import erase_person
from posture.records.store import Records, open_records
from posture.records.values import Event, Person, Visit
from tests.records.made import another, made_measured

TIMES = 15


def fill(records: Records, persons: int, clips: int) -> list[Person]:
    """Persons with clips of about half a minute each, in few large transactions."""
    measured = made_measured()
    kept: list[Person] = []
    for first in range(0, persons, 100):
        with records.database.writing():
            for number in range(first, min(first + 100, persons)):
                person = records.persons.add(Person(f"K{number:05d}", PartialDate("2015-04"), "left", "referring doctor"))
                records.visits.add(Visit(person.id, PartialDate("2024-01-02"), "since when?"))
                records.events.add(Event(person.id, "surgery", PartialDate("2023-06"), "in words"))
                for clip in range(clips // persons):
                    new = another(measured, f"{number} {clip}")
                    on = PartialDate(f"{2016 + clip % 9}-0{1 + clip % 9}")
                    records.clips.keep(clip_of(person.id, new, filmed_on=on), new)
                kept.append(person)
    return kept


def measure(path: Path, persons: list[Person]) -> dict[str, tuple[float, float]]:
    """Milliseconds of what a page does, on the clock and of the processor: the middle of some times, each in a file just opened."""
    measured = made_measured()
    middle = persons[len(persons) // 2]
    counter = iter(range(10_000))

    def open_and(do: Callable[[Records], object]) -> tuple[float, float]:
        took, worked = [], []
        for _ in range(TIMES):
            start, start_work = time.perf_counter(), time.process_time()
            with open_records(path) as records:
                do(records)
            took.append(1000 * (time.perf_counter() - start))
            worked.append(1000 * (time.process_time() - start_work))
        return statistics.median(took), statistics.median(worked)

    def open_person(records: Records) -> None:
        records.persons.get(middle.id)
        for part in (records.events, records.visits, records.consents):
            part.of_person(middle.id)
        records.clips.of_person(middle.id)
        records.readings.current_of_person(middle.id)

    def keep(records: Records) -> None:
        new = another(measured, f"new {next(counter)}")
        records.clips.keep(clip_of(middle.id, new), new)

    def read(records: Records) -> None:
        reading = records.readings.current(records.clips.of_person(middle.id)[0].id)
        records.readings.track(reading.track_id)

    return {
        "open the file": open_and(lambda records: None),
        "list of all persons": open_and(lambda records: records.persons.lines()),
        "search by code": open_and(lambda records: records.persons.lines("k0123")),
        "open a person": open_and(open_person),
        "keep a clip": open_and(keep),
        "a track out of the file": open_and(read),
    }


def main() -> None:
    """Fill, measure, erase."""
    persons, clips = (int(sys.argv[at]) if len(sys.argv) > at else known for at, known in ((1, 2_000), (2, 20_000)))
    with tempfile.TemporaryDirectory(dir=sys.argv[3] if len(sys.argv) > 3 else None) as folder:
        path = Path(folder) / "records" / "records.sqlite"
        with open_records(path) as records:
            start = time.perf_counter()
            kept = fill(records, persons, clips)
            print(f"filled with {persons} persons and {clips} clips in {time.perf_counter() - start:.0f} s")
        size_mb = path.stat().st_size / 1e6
        for what, (took_ms, worked_ms) in measure(path, kept).items():
            print(f"{what}: {took_ms:.0f} ms, of these the processor worked {worked_ms:.0f}")
        with open_records(path) as records:
            start = time.perf_counter()
            erased = erase_person(records, kept[0].id, kept[0].code)
            print(f"erase a person out of {size_mb:.0f} MB: {time.perf_counter() - start:.1f} s ({erased.left or 'all gone'})")


if __name__ == "__main__":
    main()
