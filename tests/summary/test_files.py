"""Results are written whole or not at all, and never over those of another clip."""

import csv
import errno
import io
import json
import math
import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posture.errors import OutputError, PostureError
from posture.geometry.trunk import REASONS, Trunk
from posture.measure import Measurement
from posture.signal.habitual import HabitualPosture, find_habitual_posture
from posture.signal.reading import read_track
from posture.signal.upright import SceneStand
from posture.summary.files import (
    PICTURE_COLUMNS,
    TRACK_COLUMNS,
    result_paths,
    sweep_unfinished,
    track_csv,
    write_results,
    write_whole,
)

Measure = Callable[..., Measurement]


def rows(measurement: Measurement) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(track_csv(measurement.track, measurement.found, measurement.facts.person))))


def test_both_files_are_written(measure: Measure, tmp_path: Path) -> None:
    measurement = measure("no")
    track, summary = measurement.save(tmp_path / "new" / "folder", "clip")
    assert [p.name for p in (track, summary)] == ["clip.track.csv", "clip.summary.json"]
    assert sorted(p.name for p in track.parent.iterdir()) == ["clip.summary.json", "clip.track.csv"]
    assert json.loads(summary.read_text(encoding="utf-8"))["clip"]["sha256"] == "a" * 64
    assert track.read_text(encoding="utf-8") == track_csv(measurement.track, measurement.found, measurement.facts.person)


def test_same_clip_replaces_its_own_result(measure: Measure, tmp_path: Path) -> None:
    measure("no").save(tmp_path, "clip")
    _, summary = measure("yes").save(tmp_path, "clip")
    assert len(list(tmp_path.iterdir())) == 2
    assert json.loads(summary.read_text(encoding="utf-8"))["clip"]["mirrored"] == "yes"


def test_second_clip_of_the_same_stem_gets_a_suffix(measure: Measure, tmp_path: Path) -> None:
    _, first = measure("no").save(tmp_path, "clip")
    before = first.read_bytes()
    track, second = measure("no", sha256="b" * 64).save(tmp_path, "clip")
    assert (track.name, second.name) == ("clip-bbbbbbbb.track.csv", "clip-bbbbbbbb.summary.json")
    assert first.read_bytes() == before
    assert measure("no", sha256="b" * 64).save(tmp_path, "clip") == (track, second)


@pytest.mark.parametrize("content", ["", "not JSON", "[]", '{"clip": 3}', '{"clip": {"sha256": 7}}'])
def test_foreign_file_is_never_overwritten(measure: Measure, tmp_path: Path, content: str) -> None:
    taken = [tmp_path / f"clip{suffix}.summary.json" for suffix in ("", "-aaaaaaaa")]
    taken[0].write_text(content, encoding="utf-8")
    _, summary = measure("no").save(tmp_path, "clip")
    assert summary.name == "clip-aaaaaaaa.summary.json"
    assert taken[0].read_text(encoding="utf-8") == content
    taken[1].write_text(content, encoding="utf-8")
    with pytest.raises(OutputError, match="holds something else and is kept"):
        measure("no").save(tmp_path, "clip")
    assert [path.read_text(encoding="utf-8") for path in taken] == [content, content]


@pytest.mark.parametrize("step", ["write", "fsync", "replace"])
@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EROFS, errno.EIO])
def test_failed_write_leaves_nothing_and_keeps_the_old(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str, code: int
) -> None:
    path = tmp_path / "a.json"
    write_whole(path, "old\n")

    def fail(*_: object, **__: object) -> None:
        raise OSError(code, os.strerror(code))

    if step == "write":
        monkeypatch.setattr("posture.summary.files.tempfile.NamedTemporaryFile", fail)
    elif step == "fsync":
        monkeypatch.setattr("posture.summary.files.os.fsync", fail)
    else:
        monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(OutputError, match=rf"Expected to write 'a.json'.*{os.strerror(code)}.*--out") as caught:
        write_whole(path, "new\n")
    assert isinstance(caught.value, PostureError)
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]
    assert path.read_text(encoding="utf-8") == "old\n"


def test_interrupted_write_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("posture.summary.files.os.fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "a.json", "new\n")
    assert list(tmp_path.iterdir()) == []


def test_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file", encoding="utf-8")
    with pytest.raises(OutputError, match="choose another folder with --out"):
        write_whole(tmp_path / "out" / "a.json", "new\n")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="permissions do not bind the superuser")
def test_read_only_folder_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "locked"
    folder.mkdir(mode=0o500)
    with pytest.raises(OutputError, match="Permission denied"):
        write_whole(folder / "a.json", "new\n")
    assert list(folder.iterdir()) == []


def test_summary_is_written_last(measure: Measure, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    measurement, written = measure("no"), []
    monkeypatch.setattr("posture.summary.files.write_whole", lambda path, text: written.append(path.name))
    write_results(tmp_path, "clip", measurement.summary, "track")
    assert written == ["clip.track.csv", "clip.summary.json"]


def test_free_name_is_taken_as_it_is(tmp_path: Path) -> None:
    assert result_paths(tmp_path, "a.b c", "c" * 64) == (tmp_path / "a.b c.track.csv", tmp_path / "a.b c.summary.json")


def test_track_has_a_row_for_every_frame(measure: Measure) -> None:
    measurement = measure("no")
    table = rows(measurement)
    assert tuple(table[0]) == TRACK_COLUMNS
    assert len(table) == len(measurement.track.time_s)
    assert float(table[0]["tilt_deg"]) == pytest.approx(-14, abs=0.2)
    assert float(table[0]["turn_deg"]) == pytest.approx(-12, abs=0.2)
    assert {row["face_found"] for row in table} == {"1"}
    assert {row["steady"] for row in table} == {"0", "1"}
    assert {row["trunk_tilt_deg"] for row in table} == {""}


def test_track_of_unknown_mirroring_hides_sides_and_keeps_the_pictures_own(measure: Measure) -> None:
    table = rows(measure("unknown"))
    assert tuple(table[0]) == (*TRACK_COLUMNS, *PICTURE_COLUMNS)
    assert {row[name] for row in table for name in ("tilt_deg", "turn_deg", "turn_camera_deg")} == {""}
    assert float(table[0]["tilt_picture_deg"]) == pytest.approx(-14, abs=0.2)
    assert float(table[0]["chin_deg"]) == pytest.approx(-8, abs=0.2)


def test_track_without_a_face_is_empty_where_there_is_no_value(measure: Measure) -> None:
    for row in rows(measure("no", "no face")):
        assert (row["face_found"], row["tilt_deg"], row["person"], row["quality"]) == ("0", "", "", "")
        assert math.isfinite(float(row["time_s"]))
        assert "nan" not in "".join(row.values())


@pytest.mark.parametrize("person", [1, 3])
def test_track_names_the_person_where_a_face_was_found(measure: Measure, person: int) -> None:
    measurement = measure("no")
    rotation, place = measurement.track.rotation.copy(), measurement.track.place_cm.copy()
    rotation[10:20], place[10:20] = math.nan, math.nan
    track = replace(measurement.track, rotation=rotation, place_cm=place)
    table = list(csv.DictReader(io.StringIO(track_csv(track, measurement.found, person))))
    assert {row["person"] for row in table[:10]} == {str(person)}
    assert {row["person"] for row in table[10:20]} == {""}
    nobody = list(csv.DictReader(io.StringIO(track_csv(track, measurement.found, None))))
    assert {row["person"] for row in nobody} == {""}


def test_what_a_killed_program_left_is_swept_and_nothing_else(tmp_path: Path) -> None:
    old, new, result = tmp_path / ".writing-a", tmp_path / ".writing-b", tmp_path / "a.summary.json"
    for path in (old, new, result):
        path.write_text("x", encoding="utf-8")
    for path in (old, result):
        os.utime(path, (1.0, 1.0))
    sweep_unfinished(tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == [".writing-b", "a.summary.json"]
    sweep_unfinished(tmp_path / "absent")


def rows_of(made: Measurement, found: HabitualPosture) -> list[dict[str, str]]:
    """The rows of a track whose reading came to something else."""
    return list(csv.DictReader(io.StringIO(track_csv(made.track, found, made.facts.person))))


@pytest.mark.parametrize("mirrored", ["no", "yes", "unknown"])
def test_track_has_the_shoulder_line_where_sides_are_known(measure: Measure, mirrored: str) -> None:
    made = measure(mirrored)
    lean = np.linspace(-9.0, 5.0, len(made.track.time_s))
    lean[30:40] = np.nan
    seen = replace(made.found, read=replace(made.found.read, trunk=Trunk(lean, lean, dict.fromkeys(REASONS, 0.0), 2.4)))
    table = rows_of(made, seen)
    cells = [row["trunk_tilt_deg"] for row in table]
    if mirrored == "unknown":
        assert set(cells) == {""}
        # Nor under any other name.
        assert "-9.000" not in {row[name] for row in table[:1] for name in row}
    else:
        assert set(cells[30:40]) == {""}
        assert [float(c) for c in cells if c] == pytest.approx(lean[~np.isnan(lean)], abs=6e-4)


@pytest.mark.parametrize("mirrored", ["no", "unknown"])
def test_track_has_what_the_scene_says_of_the_camera_also_as_filmed(measure: Measure, mirrored: str) -> None:
    made = measure(mirrored)
    n = len(made.track.time_s)
    scene = SceneStand(np.linspace(-4.0, 6.0, n), np.linspace(11.0, 13.0, n), 0.4, 0.9, False)
    table = rows_of(made, replace(made.found, read=replace(made.found.read, scene=scene)))
    assert [float(row["camera_roll_deg"]) for row in table] == pytest.approx(scene.roll_deg, abs=6e-4)
    assert [float(row["camera_pitch_deg"]) for row in table] == pytest.approx(scene.pitch_deg, abs=6e-4)


def test_track_without_a_scene_has_no_camera(measure: Measure) -> None:
    table = rows(measure("no"))
    assert {row[name] for row in table for name in ("camera_roll_deg", "camera_pitch_deg")} == {""}


def test_what_an_examiner_set_is_not_steady_in_the_track(measure: Measure) -> None:
    """And the chin of every row is counted from there."""
    made = measure("no")
    settings = replace(made.found.read.settings, head_set=((0.5, 2.5),))
    found = find_habitual_posture(read_track(made.track, settings))
    plain, table = rows(made), rows_of(made, found)
    inside = [0.5 <= float(row["time_s"]) <= 2.5 for row in plain]
    assert {row["steady"] for row, within in zip(table, inside, strict=True) if within} == {"0"}
    assert "1" in {row["steady"] for row, within in zip(plain, inside, strict=True) if within}
    assert "1" in {row["steady"] for row in table}
    (moved,) = {round(float(a["chin_deg"]) - float(b["chin_deg"]), 2) for a, b in zip(plain, table, strict=True)}
    assert moved == pytest.approx(-8.0, abs=0.1)
    assert [row["tilt_deg"] for row in table] == [row["tilt_deg"] for row in plain]
    assert [row["chin_camera_deg"] for row in table] == [row["chin_camera_deg"] for row in plain]
