"""What was erased is in no byte of any file; what cannot be erased is said."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from posture.errors import ChangedMeanwhileError, RecordsError
from posture.records.clips import clip_of
from posture.records.dates import PartialDate
from posture.records.erase import UNFINISHED, erase_clip, erase_person, finish_erasing
from posture.records.pictures import clean_picture
from posture.records.seen import Measured
from posture.records.store import Records, open_records
from posture.records.values import Consent, Event, Person, Visit
from tests.records.made import another, made_picture

CODE = "Thylacine-1936"


def keep_all(records: Records, measured: Measured) -> tuple[Person, list[bytes]]:
    """A person with something of everything, changed a few times; and what is found of it in the bytes of a file."""
    person = records.persons.add(Person(CODE, PartialDate("1987-11"), "left", "Doctor Wombat"))
    texts = [
        "Doctor Wombat",
        "Surgery of marsupials",
        "Question of numbat",
        "Examiner Bilby",
        "Estimate of quoll",
        "Mother Dingo",
    ]
    event = records.events.add(Event(person.id, "surgery", PartialDate("1991-07-13"), texts[1]))
    records.events.change(replace(event, text=f"{texts[1]} again"))
    visit = Visit(person.id, PartialDate("1992-08-14"), texts[2], texts[3], texts[4])
    records.visits.add(visit)
    digests = []
    pictures = []
    for number in range(8):
        new = another(measured, f"film {number}")
        pictures.append(clean_picture(made_picture((60 + number, 50))))
        clip, _ = records.clips.keep(
            clip_of(person.id, new, label=f"Label potoroo {number}", filmed_on=PartialDate(f"1993-09-1{number}"), filmed_by="Aunt Emu",
                    picture=pictures[-1]),
            new,
        )  # fmt: skip
        digests.append(clip.sha256)
        records.readings.read_anew(clip.id, replace(new.settings, roll_deg=1.25 + number))
        records.consents.add(Consent(person.id, clip.id, "Mother Dingo", PartialDate("1994-10-15"), frozenset({"care"})))
        person = records.persons.change(replace(person, suspected_by=f"Doctor Wombat {number}"))
    dates = ["1987-11", "1991-07-13", "1992-08-14", "1994-10-15", *(f"1993-09-1{number}" for number in range(8))]
    words = [CODE, CODE.casefold(), "potoroo", "Aunt Emu", *texts, *dates, *digests]
    return person, [word.encode() for word in words] + pictures


def found_in(folder: Path, needles: list[bytes]) -> set[bytes]:
    """Which of these are in the bytes of any file of a folder."""
    contents = [file.read_bytes() for file in folder.rglob("*") if file.is_file()]
    return {needle for needle in needles if any(needle in content for content in contents)}


@pytest.mark.parametrize("folder", ["here", "Dropbox"], ids=["write-ahead log", "rollback journal"])
def test_nothing_of_an_erased_person_is_in_any_byte(tmp_path: Path, measured: Measured, folder: str) -> None:
    path = tmp_path / folder / "records.sqlite"
    with open_records(path) as records:
        stays = records.persons.add(Person("Zebu", suspected_by="Doctor Okapi"))
        new = another(measured, "stays")
        clip, _ = records.clips.keep(clip_of(stays.id, new, label="Label okapi"), new)
        person, needles = keep_all(records, measured)
        # The search finds what is there: all of it, in the file or its log.
        plain = [needle for needle in needles if len(needle) < 200]
        assert found_in(path.parent, plain) == set(plain)
        erased = erase_person(records, person.id, f" {CODE.upper()} ")
        assert (erased.clips, erased.left) == (8, None)
        assert "backups and exports" in erased.limits
        assert "local law on children's records" in erased.limits
        # While the page is still open, and after it.
        assert found_in(path.parent, needles) == set()
        with pytest.raises(ChangedMeanwhileError, match="changed meanwhile"):
            records.persons.change(person)
    assert found_in(path.parent, needles) == set()
    with open_records(path) as records:
        assert [line.person for line in records.persons.lines()] == [stays]
        assert records.readings.read_anew(clip.id).is_current
    assert found_in(path.parent, [b"Label okapi", b"Doctor Okapi"]) == {b"Label okapi", b"Doctor Okapi"}


def test_another_code_erases_nothing(records: Records, measured: Measured) -> None:
    person, _ = keep_all(records, measured)
    with pytest.raises(RecordsError, match="another came, and nothing was erased"):
        erase_person(records, person.id, "Thylacine")
    assert records.persons.get(person.id) == person
    assert len(records.clips.of_person(person.id)) == 8


def test_one_clip_is_erased_with_all_that_is_of_it(records: Records, path: Path, measured: Measured) -> None:
    person, _ = keep_all(records, measured)
    clip = records.clips.of_person(person.id)[3]
    assert erase_clip(records, clip.id, CODE).left is None
    assert len(records.clips.of_person(person.id)) == 7
    assert len(records.consents.of_person(person.id)) == 7
    for table, count in (("tracks", 7), ("readings", 14), ("pictures", 7)):
        assert records.database.rows(f"SELECT count(*) FROM {table}")[0][0] == count
    assert found_in(path.parent, [clip.sha256.encode(), b"potoroo 3"]) == set()
    assert found_in(path.parent, [b"potoroo 4"]) == {b"potoroo 4"}


def test_page_that_still_reads_delays_the_end_and_it_is_said(path: Path, measured: Measured) -> None:
    with open_records(path) as records:
        person, needles = keep_all(records, measured)
        with open_records(path) as other:
            with other.database.one_moment():
                assert len(other.persons.lines()) == 1
                erased = erase_person(records, person.id, CODE, wait_s=0.1)
                assert erased.left == UNFINISHED
                assert found_in(path.parent, needles)
                assert records.persons.lines() == []
                with open_records(path, wait_s=0.1) as third:
                    assert UNFINISHED in third.warnings
            # The other page has read: the next to open finishes.
            with open_records(path) as third:
                assert third.warnings == ()
            assert found_in(path.parent, needles) == set()
        assert finish_erasing(records.database) is None


def test_copies_before_upgrades_go_with_it(records: Records, path: Path, measured: Measured) -> None:
    person, needles = keep_all(records, measured)
    records.database.copy_to(path.with_name("records-before-version-1.sqlite"))
    erased = erase_person(records, person.id, CODE)
    assert (erased.copies, erased.left) == (1, None)
    assert found_in(path.parent, needles) == set()


def test_temporary_files_of_erasing_stay_in_the_private_folder(
    records: Records, measured: Measured, monkeypatch: pytest.MonkeyPatch
) -> None:
    import os

    person, _ = keep_all(records, measured)
    seen = []
    run = records.database.run

    def watched(statement: str, *values: object) -> Any:
        if statement == "VACUUM":
            seen.append((os.environ.get("SQLITE_TMPDIR"), records.database.rows("PRAGMA temp_store")[0][0]))
        return run(statement, *values)  # type: ignore[arg-type]

    monkeypatch.delenv("SQLITE_TMPDIR", raising=False)
    monkeypatch.setattr(records.database, "run", watched)
    erase_person(records, person.id, CODE)
    assert seen == [(str(records.database.path.parent), 1)]
    assert "SQLITE_TMPDIR" not in os.environ
    assert records.database.rows("PRAGMA temp_store")[0][0] == 2
