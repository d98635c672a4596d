"""Files of earlier versions are brought up to date after a copy; those of later ones are refused unharmed."""

from __future__ import annotations

import re
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from posture.errors import RecordsError
from posture.records import upgrade
from posture.records.dates import PartialDate
from posture.records.store import open_records
from posture.records.upgrade import APPLICATION_ID, bring_up_to_date, copies_before_upgrades, migrations
from posture.records.values import Person
from tests.records.made import fill

FILES = Path(__file__).parent / "files"

STEPS = ("CREATE TABLE a (x);\n-- a remark; with a semicolon\nINSERT INTO a VALUES ('one;');", "ALTER TABLE a ADD COLUMN y;")


def test_a_file_of_every_version_is_kept() -> None:
    assert {path.name for path in FILES.glob("*.sqlite")} == {f"records-{n}.sqlite" for n in range(1, len(migrations()) + 1)}


@pytest.mark.parametrize("number", range(1, len(migrations()) + 1))
def test_file_of_every_version_opens_with_all_that_is_in_it(path: Path, number: int) -> None:
    path.parent.mkdir()
    shutil.copy(FILES / f"records-{number}.sqlite", path)
    with open_records(path) as records:
        (line,) = records.persons.lines()
        assert line.person.code == "Quagga-17"
        assert (line.person.born, line.person.suspected) == (PartialDate("2018-04"), "right")
        assert line.last_tilt_deg is not None
        assert line.last_tilt_deg.value == pytest.approx(-12, abs=4)
        assert [event.kind for event in records.events.of_person(line.person.id)] == ["glasses", "surgery"]
        (visit,) = records.visits.of_person(line.person.id)
        assert visit.findings.hypertropia_pd is not None
        assert visit.findings.hypertropia_pd.tilt_right == 14
        assert visit.findings.red_flags == []
        about, day = records.clips.of_person(line.person.id)
        assert (about.filmed_on, about.posed) == (PartialDate("2019", about=True), True)
        assert records.clips.picture(day.id) is not None
        readings = records.readings.of_clip(day.id)
        assert [reading.is_current for reading in readings] == [False, True]
        assert readings[0].examination is None
        assert readings[1].examination is not None
        assert [asked.movement for asked in readings[1].examination.asked] == ["tilt left"]
        assert np.isfinite(records.readings.track(readings[0].track_id).quality).mean() > 0.9
        assert records.consents.allow(line.person.id, about.id, "letter")
        assert not records.consents.allow(line.person.id, day.id, "teaching")
        # What was seen years ago can be read by the program of today.
        anew = records.readings.read_anew(day.id, readings[0].settings)
        assert anew.summary.habitual is not None
        assert anew.summary.habitual.tilt_deg is not None
        assert anew.summary.habitual.tilt_deg.value == pytest.approx(-12, abs=4)
        assert records.database.rows("PRAGMA integrity_check")[0][0] == "ok"


def test_schema_of_an_old_file_brought_up_to_date_is_that_of_a_new_one(path: Path, tmp_path: Path) -> None:
    shutil.copy(FILES / "records-1.sqlite", tmp_path / "old.sqlite")
    question = "SELECT name, sql FROM sqlite_schema ORDER BY name"
    with open_records(path) as new, open_records(tmp_path / "old.sqlite") as old:
        assert [tuple(row) for row in new.database.rows(question)] == [tuple(row) for row in old.database.rows(question)]


def test_copy_of_this_version_has_the_schema_of_the_package(path: Path) -> None:
    """A migration that was shipped is never changed: files of that version are out there."""
    question = "SELECT name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite%' ORDER BY name"
    with open_records(path) as new, closing(sqlite3.connect(FILES / f"records-{len(migrations())}.sqlite")) as kept:
        assert [tuple(row) for row in new.database.rows(question)] == kept.execute(question).fetchall()


def at_version(path: Path, steps: tuple[str, ...]) -> sqlite3.Connection:
    connection = sqlite3.connect(path, isolation_level=None)
    assert bring_up_to_date(connection, path, steps) is None
    return connection


def test_older_file_is_upgraded_after_a_copy(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    with closing(at_version(path, STEPS[:1])) as connection:
        copy = bring_up_to_date(connection, path, STEPS)
        assert copy == tmp_path / "r-before-version-2.sqlite"
        assert connection.execute("SELECT x, y FROM a").fetchall() == [("one;", None)]
        assert connection.execute("PRAGMA user_version").fetchone() == (2,)
        assert connection.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
        assert bring_up_to_date(connection, path, STEPS) is None
    with closing(sqlite3.connect(copy)) as before:
        assert before.execute("SELECT * FROM a").fetchall() == [("one;",)]
        assert before.execute("PRAGMA user_version").fetchone() == (1,)
    assert copies_before_upgrades(path) == [copy]


def test_copy_before_an_upgrade_replaces_no_other(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    taken = tmp_path / "r-before-version-2.sqlite"
    taken.write_text("of another day")
    with closing(at_version(path, STEPS[:1])) as connection:
        assert bring_up_to_date(connection, path, STEPS) == tmp_path / "r-before-version-2-1.sqlite"
    assert taken.read_text() == "of another day"


def test_upgrade_that_fails_leaves_the_file_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    with closing(at_version(path, STEPS[:1])) as connection:
        with pytest.raises(sqlite3.OperationalError, match="nowhere"):
            bring_up_to_date(connection, path, (STEPS[0], STEPS[1] + "\nINSERT INTO nowhere VALUES (1);"))
        assert connection.execute("SELECT * FROM a").fetchall() == [("one;",)]
        assert connection.execute("PRAGMA user_version").fetchone() == (1,)


def test_upgrade_that_leaves_a_reference_to_nowhere_is_undone(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    step = "CREATE TABLE b (a INTEGER REFERENCES c (id));\nCREATE TABLE c (id INTEGER PRIMARY KEY);\nINSERT INTO b VALUES (7);"
    with closing(at_version(path, STEPS[:1])) as connection:
        with pytest.raises(RecordsError, match="a reference leads nowhere"):
            bring_up_to_date(connection, path, (STEPS[0], step))
        assert connection.execute("SELECT name FROM sqlite_schema").fetchall() == [("a",)]


@pytest.mark.parametrize("where", ["header", "log"])
def test_file_of_a_later_version_is_refused_unharmed(path: Path, where: str) -> None:
    with open_records(path) as records:
        fill(records)
    log = path.with_name(f"{path.name}-wal")
    later = sqlite3.connect(path, isolation_level=None)
    with closing(later):
        later.execute("PRAGMA journal_mode = " + ("DELETE" if where == "header" else "WAL"))
        later.execute(f"PRAGMA user_version = {len(migrations()) + 1}")
        before = {file: file.read_bytes() for file in (path, log) if file.exists()}
        assert (log in before) == (where == "log")
        words = f"version {len(migrations()) + 1} came and was left as it is. Use the later version"
        with pytest.raises(RecordsError, match=re.escape(words)):
            open_records(path)
        assert {file: file.read_bytes() for file in (path, log) if file.exists()} == before
    assert copies_before_upgrades(path) == []


def test_older_file_of_records_is_upgraded_on_opening(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_records(path) as records:
        records.persons.add(Person("K7"))
    later = (*migrations(), "ALTER TABLE persons ADD COLUMN shoe_size REAL;")
    monkeypatch.setattr(upgrade, "migrations", lambda: later)
    with open_records(path) as records:
        assert [line.person.code for line in records.persons.lines()] == ["K7"]
        assert records.database.rows("SELECT shoe_size FROM persons")[0][0] is None
    (copy,) = copies_before_upgrades(path)
    monkeypatch.undo()
    with pytest.raises(RecordsError, match="Use the later version"):
        open_records(path)
    with open_records(copy) as records:
        assert [line.person.code for line in records.persons.lines()] == ["K7"]
