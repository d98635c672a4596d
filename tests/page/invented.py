"""An invented child of nine clips over five years and an operation, and a way to the pages on children in the test frame."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from posture.clinic.findings import Findings, Hypertropia
from posture.measure import read_clip
from posture.page.kept import opened
from posture.records.clips import clip_of
from posture.records.dates import PartialDate
from posture.records.seen import Measured, seen_again
from posture.records.store import Records
from posture.records.values import Consent, Event, Person, Visit
from tests.records.made import another, made_measured

HOSTILE = "![x](http://evil.example/x.png) <img src=http://evil.example/y.png> $x$ =cmd"

CLIPS: tuple[tuple[str | None, float, str, dict[str, Any]], ...] = (
    ("2020-06", -9.0, "the family says", {"filmed_by": "mother", "kind": "film"}),
    ("2020-12-24", -8.0, "the file", {"filmed_by": "father", "kind": "photograph", "posed": True}),
    ("2021-08-02", -10.0, "the file", {"filmed_by": "mother"}),
    ("2022-05-11", -12.0, "the file", {"filmed_by": "clinic"}),
    ("2023-03-21", -13.0, "the file", {"filmed_by": "clinic"}),
    ("2023-09-05", -14.0, "the file", {"filmed_by": "clinic"}),
    ("2023-10-24", -3.0, "the file", {"filmed_by": "clinic"}),
    ("2024-03-19", -2.0, "the file", {"filmed_by": "clinic"}),
    (None, -11.0, "", {"filmed_by": "grandmother"}),
)
"""Date, tilt (+ to the right), how the date is known, and more; the last one's side is not settled."""


def fill_child(records: Records, code: str = "K-0412") -> Person:
    """Keep the child with all that a clinic enters."""
    person = records.persons.add(Person(code, PartialDate("2019-03"), "right", "referring doctor"))
    for number, (on, tilt, source, known) in enumerate(CLIPS):
        mirrored = "unknown" if on is None else "no"
        conditions = {"position": "sitting", "target": "play", "correction": "glasses" if number > 2 else "none"}
        measured = _level(made_measured(f"{code} {number}", tilt, None, mirrored, **conditions))
        date = None if on is None else PartialDate(on)
        clip = clip_of(person.id, measured, label="", filmed_on=date, filmed_on_source=source, **known)
        records.clips.keep(clip, measured)
    records.events.add(Event(person.id, "glasses", PartialDate("2022", about=True), "first glasses"))
    records.events.add(Event(person.id, "surgery", PartialDate("2023-09-12"), "inferior oblique weakened"))
    findings = Findings(onset="infancy", red_flags=[], hypertropia_pd=Hypertropia(primary=8.0, gaze_right=4.0, gaze_left=14.0))
    texts = ("Since when, and did the operation help?", "M. Zebu", "about 3 to the left")
    records.visits.add(Visit(person.id, PartialDate("2024-03-19"), *texts, findings))
    given = PartialDate("2022-05-11")
    records.consents.add(Consent(person.id, None, "mother", given, frozenset({"care", "audit"})))
    return person


def _level(measured: Measured) -> Measured:
    """The same, read as filmed by a camera that stood level."""
    settings = replace(measured.settings, roll_deg=0.0)
    seen = seen_again(measured.seen, measured.track)
    return Measured.of(read_clip(seen, settings, measured.summary.conditions, measured.summary.clip.label), settings)


def fill_many(records: Records, persons: int, clips: int) -> None:
    """Keep many children, the same few measurements under other files' marks, in few large transactions."""
    made = [made_measured(f"many {tilt}", tilt) for tilt in (-12.0, 4.0, 9.0)]
    for first in range(0, persons, 100):
        with records.database.writing():
            for number in range(first, min(first + 100, persons)):
                person = records.persons.add(Person(f"N{number:05d}", PartialDate("2015-04"), "left", "referring doctor"))
                for clip in range(clips // persons):
                    new = another(made[clip % 3], f"{number} {clip}")
                    on = PartialDate(f"{2016 + clip % 9}-{1 + clip % 9:02d}")
                    records.clips.keep(clip_of(person.id, new, filmed_on=on), new)


def add_child(code: str = "K-0412") -> Person:
    """Keep the child in the records that the page opens."""
    with opened() as records:
        return fill_child(records, code)


def to_page(page: Any, name: str) -> Any:
    """Go to another page by its name in the bar."""
    page._page_hash = next(h for h, one in page._registered_pages.items() if one["page_name"] == name)
    return page.run()


def to_child(page: Any, person: Person, section: str | None = None) -> Any:
    """Open a child from the list, and one of its sections."""
    to_page(page, "Children").button(key=f"open-{person.id}").click().run()
    if section is not None:
        page.segmented_control(key=f"section-{person.id}").set_value(section).run()
    return page


def seen_text(page: Any) -> str:
    """All that the page sends as HTML or markdown, without styles and pictures."""
    kinds = [*page.html, *page.error, *page.markdown, *page.caption, *page.warning, *page.success, *page.info, *page.code]
    text = "\n".join(str(e.value if hasattr(e, "value") else e.proto.body) for e in kinds)
    labels = "\n".join(str(e.label) for e in [*page.button, *page.expander])
    return re.sub(r"<style>.*?</style>|data:image[^\"]*", "", f"{text}\n{labels}", flags=re.DOTALL)
