"""How long the pages of a large clinic take: 2,000 persons and 20,000 clips, opened through the library's test frame.

``python -m tests.proof.page_speed [PERSONS] [CLIPS]`` fills a file of records and prints the time of what a user does; that of the
browser, which draws what is sent, is not in it.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from streamlit.testing.v1 import AppTest

from posture.page.kept import opened, place, use_records
from tests.page.conftest import ROOT
from tests.page.invented import add_child, fill_many, to_page

TIMES = 7


def middle_ms(do: Callable[[], object]) -> float:
    """Milliseconds on the clock: the middle of some times."""
    took = []
    for _ in range(TIMES):
        start = time.perf_counter()
        do()
        took.append(1000 * (time.perf_counter() - start))
    return statistics.median(took)


def first_ms(do: Callable[[], object]) -> float:
    """Milliseconds of one time, with all that is drawn for the first time."""
    start = time.perf_counter()
    do()
    return 1000 * (time.perf_counter() - start)


def measure(code: str) -> dict[str, float]:
    """Milliseconds of what a user does on the pages."""
    page: Any = AppTest.from_file(str(ROOT / "app.py"), default_timeout=120).run()
    with opened() as records:
        person = records.persons.find(code)
    assert person is not None

    def search(text: str) -> None:
        page.text_input(key="children-search").set_value(text).run()

    def into() -> None:
        page.button(key=f"open-{person.id}").click().run()

    def out() -> None:
        page.button(key="back").click().run()

    found = {"the list, at first": first_ms(lambda: to_page(page, "Children")), "the list again": middle_ms(page.run)}
    found["search by code"] = first_ms(lambda: search(code))
    found["open a child of nine clips, at first"] = first_ms(into)
    found["the child again"] = middle_ms(page.run)
    for section in ("Before and after", "Report"):
        choose = page.segmented_control(key=f"section-{person.id}").set_value(section).run
        found[f"{section.lower()}, at first"] = first_ms(choose)
    found["back to the list"] = first_ms(out)
    found["the first page again"] = first_ms(lambda: to_page(page, "New clip"))
    assert not page.exception
    return found


def main() -> None:
    """Fill and measure."""
    persons, clips = (int(sys.argv[at]) if len(sys.argv) > at else known for at, known in ((1, 2_000), (2, 20_000)))
    with tempfile.TemporaryDirectory() as folder:
        use_records(Path(folder) / "records.sqlite")
        start = time.perf_counter()
        with opened() as records:
            fill_many(records, persons - 1, clips)
        add_child()
        size_mb = place().stat().st_size / 1e6
        print(f"{persons} persons, {clips} clips, {size_mb:.0f} MB, filled in {time.perf_counter() - start:.0f} s")
        for what, took_ms in measure("K-0412").items():
            print(f"{what}: {took_ms:.0f} ms")


if __name__ == "__main__":
    main()
