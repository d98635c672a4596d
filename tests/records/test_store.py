"""Persons, what happened to them, and clips: kept, found, changed, and never lost by two pages at once."""

from __future__ import annotations

import stat
import sys
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from posture import folders
from posture.clinic.findings import Findings
from posture.errors import AlreadyKeptError, ChangedMeanwhileError, RecordsError
from posture.measure import Settings
from posture.records.clips import clip_of
from posture.records.dates import PartialDate
from posture.records.pictures import clean_picture
from posture.records.seen import Measured
from posture.records.store import Records, open_records, records_path
from posture.records.values import Clip, Consent, Event, Person, Reading, Visit
from posture.signal.asked import Asked
from posture.summary.record import Conditions
from tests.records.made import another, fill, made_measured, made_picture, sha256_of

DAY = PartialDate("2024-03-05")


@pytest.mark.skipif(sys.platform == "win32", reason="files have no such modes on Windows")
def test_file_and_folder_are_private(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("XDG_DATA_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    with open_records() as records:
        fill(records)
        path = records_path()
        assert path.is_relative_to(folders.data_folder())
        for folder in (path.parent, path.parent.parent):
            assert stat.S_IMODE(folder.stat().st_mode) == 0o700
        assert {stat.S_IMODE(file.stat().st_mode) for file in path.parent.iterdir()} == {0o600}
        assert len(list(path.parent.iterdir())) > 1
    assert [file.name for file in path.parent.iterdir()] == ["records.sqlite"]


def test_settings_of_the_connection(records: Records) -> None:
    found = {name: records.database.rows(f"PRAGMA {name}")[0][0] for name in ("synchronous", "foreign_keys", "secure_delete")}
    assert found == {"synchronous": 2, "foreign_keys": 1, "secure_delete": 1}
    assert records.database.rows("PRAGMA journal_mode")[0][0] == "wal"
    assert records.database.rows("PRAGMA busy_timeout")[0][0] > 1000
    assert records.warnings == ()


def test_person_is_kept_found_and_changed(records: Records, path: Path) -> None:
    person = records.persons.add(Person("Quagga-17", PartialDate("2018-04"), "right", "referring doctor"))
    changed = records.persons.change(replace(person, suspected="left"))
    assert (changed.suspected, changed.version, changed.id) == ("left", 2, person.id)
    with open_records(path) as other:
        assert other.persons.get(person.id) == changed == other.persons.find(" quagga-17 ")
        assert other.persons.find("quagga") is None
    with pytest.raises(RecordsError, match="'Quagga-17' is taken"):
        records.persons.add(Person("QUAGGA-17"))
    with pytest.raises(RecordsError, match="none of this number any more"):
        records.persons.get(99)


def test_list_shows_the_last_clip_and_its_tilt(records: Records, measured: Measured) -> None:
    person = fill(records, measured=measured)
    photo = another(made_measured(tilt_deg=5.0), "unsided")
    records.persons.add(Person("Aardvark"))
    unsided = made_measured("unsided", mirrored="unknown")
    other = records.persons.add(Person("zebu 100%_"))
    records.clips.keep(clip_of(other.id, unsided), unsided)
    aardvark, quagga, zebu = records.persons.lines()
    assert [line.person.code for line in (aardvark, quagga, zebu)] == ["Aardvark", "Quagga-17", "zebu 100%_"]
    assert (aardvark.clips, aardvark.last_on, aardvark.last_tilt_deg) == (0, None, None)
    assert (quagga.clips, quagga.last_on, quagga.last_visit_on) == (2, DAY, DAY)
    assert quagga.person == records.persons.get(person.id)
    reading = records.readings.current(records.clips.of_person(person.id)[1].id)
    assert reading.summary.habitual is not None
    assert reading.summary.habitual.tilt_deg is not None
    assert quagga.last_tilt_deg is not None
    assert quagga.last_tilt_deg.value == reading.summary.habitual.tilt_deg.value
    assert not quagga.last_is_moment
    # No side is known: no tilt is said.
    assert (zebu.clips, zebu.last_tilt_deg) == (1, None)
    assert photo.summary.sided


@pytest.mark.parametrize(("search", "found"), [("AGGA", 1), ("%", 1), ("_", 1), ("", 3), ("nobody", 0), ("' OR 1=1 --", 0)])
def test_search_by_code_takes_every_letter_as_it_is(records: Records, search: str, found: int) -> None:
    for code in ("Quagga-17", "zebu 100%_", "K7"):
        records.persons.add(Person(code))
    assert len(records.persons.lines(search)) == found


@pytest.mark.parametrize("kind", ["person", "event", "visit", "consent", "clip"])
def test_change_to_what_was_changed_meanwhile_is_refused(records: Records, path: Path, kind: str) -> None:
    person = fill(records)
    with open_records(path) as other:
        parts: dict[str, Callable[[], tuple[Any, Any, Any]]] = {
            "person": lambda: (records.persons.get(person.id), records.persons, other.persons),
            "event": lambda: (records.events.of_person(person.id)[0], records.events, other.events),
            "visit": lambda: (records.visits.of_person(person.id)[0], records.visits, other.visits),
            "consent": lambda: (records.consents.of_person(person.id)[0], records.consents, other.consents),
            "clip": lambda: (records.clips.of_person(person.id)[0], records.clips, other.clips),
        }
        what, first, second = parts[kind]()
        field, value = {
            "person": ("suspected_by", "mine"),
            "event": ("text", "mine"),
            "visit": ("question", "mine"),
            "consent": ("by_whom", "mine"),
            "clip": ("label", "mine"),
        }[kind]
        mine = first.change(replace(what, **{field: value}))
        with pytest.raises(ChangedMeanwhileError, match="changed meanwhile, and nothing was overwritten"):
            second.change(replace(what, **{field: "theirs"}))
        assert second.get(what.id) == mine
        assert getattr(mine, field) == "mine"


def test_two_pages_that_change_the_same_person_lose_no_update(path: Path) -> None:
    with open_records(path) as records:
        person = records.persons.add(Person("K7", suspected_by="0"))
    errors: list[BaseException] = []

    def count() -> None:
        try:
            with open_records(path) as mine:
                done = 0
                while done < 25:
                    read = mine.persons.get(person.id)
                    try:
                        mine.persons.change(replace(read, suspected_by=str(int(read.suspected_by) + 1)))
                        done += 1
                    except ChangedMeanwhileError:
                        continue
        except BaseException as error:
            errors.append(error)

    pages = [threading.Thread(target=count) for _ in range(3)]
    for page in pages:
        page.start()
    for page in pages:
        page.join()
    assert errors == []
    with open_records(path) as records:
        assert records.persons.get(person.id).suspected_by == "75"
        assert records.persons.get(person.id).version == 76


def test_pages_that_open_new_records_at_once_agree(path: Path) -> None:
    errors: list[BaseException] = []
    start = threading.Barrier(6)

    def page(number: int) -> None:
        try:
            start.wait()
            with open_records(path) as mine:
                mine.persons.add(Person(f"K{number}"))
        except BaseException as error:
            errors.append(error)

    pages = [threading.Thread(target=page, args=(number,)) for number in range(6)]
    for one in pages:
        one.start()
    for one in pages:
        one.join()
    assert errors == []
    with open_records(path) as records:
        assert [line.person.code for line in records.persons.lines()] == [f"K{number}" for number in range(6)]


def test_course_is_kept_in_order_and_removed(records: Records, person: Person) -> None:
    late = records.events.add(Event(person.id, "surgery", DAY, "in words"))
    early = records.events.add(Event(person.id, "patching", PartialDate("2021", about=True)))
    assert records.events.of_person(person.id) == [early, late]
    records.events.remove(early)
    assert records.events.of_person(person.id) == [late]
    with pytest.raises(ChangedMeanwhileError, match="changed meanwhile"):
        records.events.remove(early)
    with pytest.raises(RecordsError, match="Expected a person"):
        records.events.add(replace(late, person_id=99))


def test_findings_come_back_with_what_was_asked_and_what_was_not(records: Records, person: Person) -> None:
    findings = Findings(red_flags=[], asleep="goes", trauma=False)
    visit = records.visits.add(Visit(person.id, DAY, findings=findings))
    again = records.visits.get(visit.id).findings
    assert again == findings
    assert again.model_fields_set == {"red_flags", "asleep", "trauma"}


def test_consent_of_a_clip_decides_for_it(records: Records, kept: tuple[Clip, Reading], person: Person) -> None:
    clip = kept[0]
    allow = records.consents.allow
    assert not allow(person.id, clip.id, "audit")
    general = records.consents.add(Consent(person.id, None, "mother", DAY, frozenset({"care", "audit"})))
    assert allow(person.id, clip.id, "audit")
    assert not allow(person.id, clip.id, "teaching")
    own = records.consents.add(Consent(person.id, clip.id, "mother", DAY, frozenset({"teaching"})))
    assert allow(person.id, clip.id, "teaching")
    assert not allow(person.id, clip.id, "audit")
    assert allow(person.id, None, "audit")
    records.consents.change(replace(own, withdrawn_on=DAY))
    assert not allow(person.id, clip.id, "teaching")
    assert not allow(person.id, clip.id, "audit")
    records.consents.change(replace(general, withdrawn_on=DAY))
    assert not allow(person.id, None, "audit")
    with pytest.raises(RecordsError, match="a clip of this person"):
        records.consents.add(Consent(person.id, 99, "mother", DAY, frozenset({"care"})))


def test_clip_is_kept_whole(records: Records, person: Person, measured: Measured) -> None:
    picture = clean_picture(made_picture())
    clip, reading = records.clips.keep(clip_of(person.id, measured, filmed_by="father", picture=picture), measured)
    assert (clip.kind, clip.filmed_on, clip.filmed_on_source, clip.label) == ("film", DAY, "the file", "label a")
    assert clip.sha256 == measured.summary.clip.sha256
    assert records.clips.picture(clip.id) == picture
    assert records.clips.of_person(person.id) == [clip]
    assert records.readings.of_clip(clip.id) == [reading] == [records.readings.current(clip.id)]
    assert records.readings.current_of_person(person.id) == {clip.id: reading}
    assert reading.summary == measured.summary
    assert reading.settings == measured.settings
    assert abs((reading.made_on - datetime.now(UTC)).total_seconds()) < 60
    assert np.array_equal(records.readings.track(reading.track_id).time_s, measured.track.time_s)
    records.clips.set_picture(clip.id, None)
    assert records.clips.picture(clip.id) is None


def test_same_file_again_is_told_and_replaces_nothing(records: Records, kept: tuple[Clip, Reading], measured: Measured) -> None:
    clip = kept[0]
    assert records.clips.where_kept(clip.sha256, clip.person_id) == ("here", clip.id)
    with pytest.raises(AlreadyKeptError, match="for this person already, and was not replaced") as caught:
        records.clips.keep(clip_of(clip.person_id, measured, label="other"), measured)
    assert caught.value.clip_id == clip.id
    assert records.clips.of_person(clip.person_id) == [clip]
    second = records.readings.add(clip.id, measured)
    first_again, second_again = records.readings.of_clip(clip.id)
    assert second_again == second
    assert first_again == replace(kept[1], is_current=False)
    assert second.track_id != first_again.track_id
    with pytest.raises(RecordsError, match="measurement of the same file"):
        records.readings.add(clip.id, another(measured, "other"))


def test_file_of_another_person_is_told_without_that_person(
    records: Records, kept: tuple[Clip, Reading], measured: Measured
) -> None:
    other = records.persons.add(Person("Zebu"))
    assert records.clips.where_kept(kept[0].sha256, other.id) == ("elsewhere", None)
    with pytest.raises(AlreadyKeptError, match="kept under another code") as caught:
        records.clips.keep(clip_of(other.id, measured), measured)
    assert caught.value.clip_id is None
    assert "Quagga" not in str(caught.value)
    clip, _ = records.clips.keep(clip_of(other.id, measured), measured, is_of_both=True)
    assert records.clips.of_person(other.id) == [clip]
    assert records.clips.where_kept(sha256_of("new"), other.id) == ("no", None)


def test_nothing_is_kept_when_a_part_cannot_be(
    records: Records, person: Person, measured: Measured, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> str:
        raise RuntimeError("in the middle")

    monkeypatch.setattr("posture.records.readings.settings_json", fail)
    with pytest.raises(RuntimeError, match="in the middle"):
        records.clips.keep(clip_of(person.id, measured), measured)
    for table in ("clips", "tracks", "readings", "pictures"):
        assert records.database.rows(f"SELECT * FROM {table}") == []


def test_film_before_birth_is_refused(records: Records, measured: Measured) -> None:
    person = records.persons.add(Person("K8", PartialDate("2024-04")))
    with pytest.raises(RecordsError, match="the day of filming lies after birth"):
        records.clips.keep(clip_of(person.id, measured), measured)
    clip, _ = records.clips.keep(clip_of(person.id, measured, filmed_on=None), measured)
    with pytest.raises(RecordsError, match="after birth"):
        records.clips.change(replace(clip, filmed_on=PartialDate("2019")))


def test_date_of_a_file_that_is_none_is_left_open(measured: Measured) -> None:
    conditions = measured.summary.conditions.model_copy(update={"filmed_on": "last summer"})
    undated = replace(measured, summary=measured.summary.model_copy(update={"conditions": conditions}))
    assert clip_of(1, undated).filmed_on is None


def test_kept_track_read_anew_gives_the_same(records: Records, kept: tuple[Clip, Reading], measured: Measured) -> None:
    anew = records.readings.read_anew(kept[0].id)
    assert anew.is_current
    assert anew.track_id == kept[1].track_id
    assert anew.settings == measured.settings
    assert anew.summary.habitual is not None
    assert anew.summary.model_dump(exclude={"habitual"}) == measured.summary.model_dump(exclude={"habitual"})
    for name in ("tilt_deg", "turn_deg", "chin_deg"):
        then, now = (getattr(summary.habitual, name) for summary in (measured.summary, anew.summary))
        # The track was kept in 32 bits.
        assert (now.value, now.low, now.high) == pytest.approx((then.value, then.low, then.high), abs=0.02)


def test_other_settings_make_another_reading_and_both_stay(records: Records, kept: tuple[Clip, Reading]) -> None:
    clip, first = kept
    settings = replace(first.settings, mirrored="yes", roll_deg=2.0)
    anew = records.readings.read_anew(clip.id, settings, Conditions(target="camera", filmed_on="2024-03-05"))
    assert records.readings.of_clip(clip.id) == [replace(first, is_current=False), anew]
    assert (anew.settings, anew.summary.clip.mirrored) == (settings, "yes")
    assert anew.summary.conditions.target == "camera"
    tilts = [reading.summary.habitual.tilt_deg.value for reading in (first, anew)]  # type: ignore[union-attr]
    assert tilts[0] < -5 < 5 < tilts[1]
    assert records.readings.make_current(first).is_current
    assert records.readings.current(clip.id) == first


def test_what_was_asked_is_kept_with_the_reading(records: Records, kept: tuple[Clip, Reading]) -> None:
    clip, first = kept
    assert first.examination is None
    anew = records.readings.read_anew(clip.id, replace(first.settings, asked=(Asked("tilt left", 0.0, 2.5),)))
    assert anew.examination is not None
    (tilt,) = anew.examination.asked
    assert tilt.reached_deg is not None
    assert tilt.reached_deg.value == pytest.approx(12, abs=1)
    assert records.readings.current(clip.id) == anew


def test_another_person_of_the_clip_cannot_be_read(records: Records, kept: tuple[Clip, Reading]) -> None:
    with pytest.raises(RecordsError, match=r"person 2 came. Measure the clip anew"):
        records.readings.read_anew(kept[0].id, replace(kept[1].settings, person=2))
    assert len(records.readings.of_clip(kept[0].id)) == 1


def test_clip_without_a_face_is_kept_and_read_anew(records: Records, person: Person, measured: Measured) -> None:
    from posture.measure import read_clip
    from posture.records.seen import seen_again

    seen = replace(seen_again(measured.seen, measured.track), persons=(), sha256=sha256_of("nobody"))
    nobody = Measured.of(read_clip(seen, Settings(mirrored="no")), Settings(mirrored="no"))
    clip, reading = records.clips.keep(clip_of(person.id, nobody), nobody)
    assert reading.summary.habitual is None
    assert records.readings.read_anew(clip.id).summary == nobody.summary


def test_ids_of_what_was_erased_are_not_given_anew(records: Records, person: Person) -> None:
    records.database.run("DELETE FROM persons")
    assert records.persons.add(Person("new")).id > person.id


def test_kept_settings_of_a_later_version_are_told(records: Records, kept: tuple[Clip, Reading]) -> None:
    records.database.run("UPDATE readings SET settings = '{\"mood\": 1}'")
    with pytest.raises(RecordsError, match="what this version of the program keeps"):
        records.readings.of_clip(kept[0].id)
