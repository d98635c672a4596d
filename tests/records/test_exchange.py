"""Records out and in again: equal, whole, and over nothing."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from posture.errors import OutputError, RecordsError
from posture.records import exchange
from posture.records.clips import clip_of
from posture.records.dates import PartialDate
from posture.records.exchange import Imported, export_records, import_records
from posture.records.form_of import person_form
from posture.records.schema import SCHEMAS, shipped_schema
from posture.records.seen import Measured
from posture.records.store import Records, open_records
from posture.records.table import export_table, safe_cell
from posture.records.values import Event, Person
from posture.summary.schema import schema_text
from tests.records.made import another, fill, made_measured

HOSTILE = '=cmd|"/c calc"!A1 ![x](http://example.invalid/a) <b>$\\alpha$</b>'


@pytest.fixture
def exported(records: Records, tmp_path: Path, measured: Measured) -> Path:
    fill(records, measured=measured)
    fill(records, "Zebu", another(measured, "zebu"))
    records.events.add(Event(records.persons.add(Person("empty")).id, "other", PartialDate("2020"), HOSTILE))
    path = tmp_path / "out" / "everything.json"
    assert export_records(records, path) == 3
    return path


def changed(exported: Path, change: Callable[[dict[str, Any]], object]) -> Path:
    document = json.loads(exported.read_text(encoding="utf-8"))
    change(document)
    path = exported.with_name("changed.json")
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def test_import_into_new_records_gives_equal_ones(records: Records, exported: Path, tmp_path: Path) -> None:
    with open_records(tmp_path / "new" / "r.sqlite") as new:
        assert import_records(new, exported) == Imported(("empty", "Quagga-17", "Zebu"), (), ())
        assert [replace(line, person=replace(line.person, id=0)) for line in new.persons.lines()] == [
            replace(line, person=replace(line.person, id=0)) for line in records.persons.lines()
        ]
        for line in records.persons.lines():
            there = new.persons.find(line.person.code)
            assert there is not None
            assert person_form(new, there.id) == person_form(records, line.person.id)
        again = tmp_path / "again.json"
        export_records(new, again)
        first, second = (json.loads(path.read_text(encoding="utf-8")) for path in (exported, again))
        assert second["persons"] == first["persons"]
        # And they work: a track that went through the file is read anew.
        quagga = new.persons.find("Quagga-17")
        assert quagga is not None
        assert new.readings.read_anew(new.clips.of_person(quagga.id)[0].id).summary.habitual is not None


def test_export_follows_the_schema_that_ships(exported: Path) -> None:
    document = json.loads(exported.read_text(encoding="utf-8"))
    jsonschema.validate(document, json.loads(shipped_schema("records-1.schema.json")))
    assert document["schema"] == "posture.records/1"
    assert document["persons"][1]["visits"][0]["findings"].keys() == {"onset", "red_flags", "hypertropia_pd"}


def test_schema_ships_as_the_code_has_it() -> None:
    for name, of in SCHEMAS.items():
        assert shipped_schema(name) == schema_text(*of), "run python -m posture.records.schema"


def test_one_person_is_exported_alone(records: Records, exported: Path, tmp_path: Path) -> None:
    zebu = records.persons.find("zebu")
    assert zebu is not None
    assert export_records(records, tmp_path / "one.json", [zebu.id]) == 1
    text = (tmp_path / "one.json").read_text(encoding="utf-8")
    assert [person["code"] for person in json.loads(text)["persons"]] == ["Zebu"]
    assert "Quagga" not in text


def test_export_of_nobody_is_whole(records: Records, tmp_path: Path) -> None:
    assert export_records(records, tmp_path / "none.json") == 0
    assert import_records(records, tmp_path / "none.json") == Imported((), (), ())


def test_nothing_is_written_over(records: Records, exported: Path, tmp_path: Path) -> None:
    before = exported.read_bytes()
    for export in (export_records, export_table):
        with pytest.raises(OutputError, match=r"'everything.json' is there and was left"):
            export(records, exported)
    assert exported.read_bytes() == before
    assert list(exported.parent.iterdir()) == [exported]


def test_import_of_what_is_there_changes_nothing(records: Records, exported: Path) -> None:
    before = [person_form(records, line.person.id) for line in records.persons.lines()]
    assert import_records(records, exported) == Imported((), ("empty", "Quagga-17", "Zebu"), ())
    assert [person_form(records, line.person.id) for line in records.persons.lines()] == before


def test_code_with_another_content_is_never_overwritten(records: Records, exported: Path) -> None:
    zebu = records.persons.find("Zebu")
    assert zebu is not None
    mine = records.persons.change(replace(zebu, suspected="left"))

    def more(document: dict[str, Any]) -> None:
        document["persons"].insert(0, {**document["persons"][0], "code": "new"})

    path = changed(exported, more)
    with pytest.raises(RecordsError, match="Zebu is there already with another content, and nothing was imported"):
        import_records(records, path)
    assert records.persons.find("new") is None
    assert import_records(records, path, leave_others=True) == Imported(("new",), ("empty", "Quagga-17"), ("Zebu",))
    assert records.persons.get(mine.id) == mine


@pytest.mark.parametrize(
    ("change", "words"),
    [
        pytest.param(lambda d: d.update(schema="posture.records/2"), "at 'schema'", id="later version"),
        pytest.param(lambda d: d.update(mood=1), "at 'mood'", id="unknown key"),
        pytest.param(lambda d: d["persons"][1].pop("code"), r"at 'persons.1.code'", id="no code"),
        pytest.param(lambda d: d["persons"][1].update(code=" "), "a code of letters", id="empty code"),
        pytest.param(lambda d: d["persons"].append(d["persons"][1]), None, id="twice the same"),
        pytest.param(
            lambda d: d["persons"][1]["clips"][0].update(sha256="f" * 64), "of its file|clip that is there", id="other file"
        ),
        pytest.param(lambda d: d["persons"][1]["clips"].append(d["persons"][1]["clips"][0]), "kept twice", id="clip twice"),
        pytest.param(
            lambda d: d["persons"][1]["clips"][0]["readings"][0].update(is_current=False), "exactly one", id="none current"
        ),
        pytest.param(lambda d: d["persons"][1]["clips"][0]["readings"][0].update(track=7), "has a track", id="no track"),
        pytest.param(
            lambda d: d["persons"][1]["clips"][0]["readings"][0].update(made_on="2024-99-01T00:00:00Z"), "2024-99", id="time"
        ),
        pytest.param(
            lambda d: d["persons"][1]["clips"][0]["tracks"][0].update(track="AAAA"), "Expected a kept track", id="track"
        ),
        pytest.param(lambda d: d["persons"][1]["clips"][0]["tracks"][0].update(track="AAA"), "base64", id="base64"),
        pytest.param(lambda d: d["persons"][1]["clips"][0].update(picture="AAAA"), "a picture as JPEG", id="picture"),
        pytest.param(lambda d: d["persons"][1]["clips"][0].update(filmed_on="2999-01-01"), "lies in the past", id="future"),
        pytest.param(lambda d: d["persons"][1]["events"][0].update(on="2001"), "lies after birth", id="before birth"),
        pytest.param(lambda d: d["persons"][1]["events"][0].update(text="x" * 5000), "4000 characters", id="long"),
        pytest.param(lambda d: d["persons"][1]["consents"][0].update(clip="f" * 64), "clip that is there", id="consent"),
        pytest.param(
            lambda d: d["persons"][1]["visits"][0].update(findings={"cover": {"left_eye": {"summary": "/etc/passwd"}}}),
            "the name of a file came",
            id="path",
        ),
        pytest.param(
            lambda d: d["persons"][1]["clips"][0]["readings"][0]["settings"].update(focal_px=float("inf")),
            "no JSON",
            id="infinity",
        ),
    ],
)
def test_damaged_export_is_one_line_and_nothing_is_imported(
    exported: Path, tmp_path: Path, change: Callable[[dict[str, Any]], object], words: str | None
) -> None:
    path = changed(exported, change)
    with open_records(tmp_path / "new" / "r.sqlite") as new:
        if words is None:
            assert import_records(new, path).same == ("Quagga-17",)
            return
        with pytest.raises(RecordsError, match=words) as caught:
            import_records(new, path)
        assert "\n" not in str(caught.value)
        assert new.persons.lines() == []


def test_number_that_overflows_is_one_line(exported: Path, tmp_path: Path) -> None:
    text = exported.read_text(encoding="utf-8")
    assert '"focal_px": 1000.0' in text
    path = exported.with_name("changed.json")
    path.write_text(text.replace('"focal_px": 1000.0', '"focal_px": 1e999'), encoding="utf-8")
    with open_records(tmp_path / "new" / "r.sqlite") as new:
        with pytest.raises(RecordsError, match="Expected"):
            import_records(new, path)
        assert new.persons.lines() == []


@pytest.mark.parametrize("content", [b"", b"[" * 100_000, b"\xff\xfe", b"null", b'{"schema": "posture.summary/1"}'])
def test_what_is_no_export_is_one_line(records: Records, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "x.json").write_bytes(content)
    with pytest.raises(RecordsError, match=r"Expected exported records in 'x.json'"):
        import_records(records, tmp_path / "x.json")


def test_sizes_are_bounded_both_ways(records: Records, exported: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(exchange, "MOST_BYTES", 100_000)
    with pytest.raises(RecordsError, match=r"or less of exported records; 'everything.json' is larger"):
        import_records(records, exported)
    with pytest.raises(RecordsError, match="Export fewer persons at a time"):
        export_records(records, tmp_path / "new.json")
    assert not (tmp_path / "new.json").exists()
    assert not list(tmp_path.glob(".writing-*"))


def test_table_has_a_row_for_every_reading(records: Records, exported: Path, tmp_path: Path) -> None:
    unsided = made_measured("unsided", mirrored="unknown")
    records.clips.keep(clip_of(records.persons.add(Person("=1+1")).id, unsided, label="@SUM(A1)", filmed_by="-5"), unsided)
    path = tmp_path / "table.csv"
    assert export_table(records, path) == 7
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 7
    assert rows[0]["code"] == "'=1+1"
    assert (rows[0]["label"], rows[0]["filmed_by"]) == ("'@SUM(A1)", "-5")
    # Without a side, no side: sizes only.
    assert rows[0]["sided"] == "0"
    assert float(rows[0]["tilt_size_deg"]) == pytest.approx(12, abs=4)
    for name in ("tilt_deg", "turn_deg", "share_tilt_right", "share_tilt_left"):
        assert rows[0][name] == ""
    quagga = [row for row in rows if row["code"] == "Quagga-17"]
    assert [row["is_current"] for row in quagga] == ["1", "0", "1"]
    assert quagga[0]["filmed_on"] == "2019"
    assert quagga[0]["filmed_on_is_about"] == "1"
    tilt = float(quagga[1]["tilt_deg"])
    assert float(quagga[1]["tilt_low_deg"]) < tilt < float(quagga[1]["tilt_high_deg"])
    assert tilt == pytest.approx(-12, abs=4)


@given(st.text(alphabet=st.sampled_from("=+-@\t\r\n 019.eA'\"")))
def test_no_text_is_taken_for_a_formula(text: str) -> None:
    cell = safe_cell(text)
    assert cell in (text, f"'{text}")
    if cell.startswith(("=", "+", "-", "@", "\t", "\r")):
        float(cell)


def test_cells_of_other_kinds() -> None:
    assert [safe_cell(value) for value in (None, True, -3.25, 0, "")] == ["", "1", "-3.25", "0", ""]
