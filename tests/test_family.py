"""A family's films: the list, the same child, what counts, resuming, and the command."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from posture.batch.child import Job
from posture.cli import main as commands
from posture.clinic.dates import parse_when
from posture.errors import ClipError, DateError, FamilyListError, ModelError
from posture.face.landmarker import LibraryLandmarker
from posture.family import measuring as measuring_module
from posture.family.alike import UNLIKE, Alike, FaceLooks, describe_face, how_alike, looks_of
from posture.family.children import Came, Looked, OnShare
from posture.family.course import family_course, family_lines
from posture.family.items import FamilyItem
from posture.family.keeping import ALIKE_NAME, Kept, pack_kept, read_kept, unpack_kept
from posture.family.listing import COLUMNS, Listed, files_in, read_list, write_list
from posture.family.measuring import measure_family
from posture.family.same_child import doubts_of
from posture.measure import read_clip
from posture.see import SeenPerson
from tests.proof.material import HEADS_MISSING, heads_present
from tests.proof.sides import hold, made_up_clip, made_up_track


@dataclass(frozen=True)
class Made:
    """A made-up film: its tilt, whose face is in it, its date, its kind, and how many persons moved in it."""

    tilt_deg: float
    face: int = 0
    on: str | None = None
    kind: str = "video"
    persons: int = 1


def looks(face: int, seed: int = 0) -> FaceLooks:
    """The looks of a made-up face, with a little noise for each picture of it."""
    picture = np.random.default_rng(face).normal(size=400) + 0.3 * np.random.default_rng([face, seed]).normal(size=400)
    picture = picture - picture.mean()
    shape = np.random.default_rng([7, face]).normal(size=(468, 3))
    return FaceLooks(picture / np.linalg.norm(picture), shape / np.sqrt(np.square(shape).sum(1).mean()))


class FakeMeasuring:
    """Measures made-up films; counts how many it was asked for."""

    def __init__(self, made: Mapping[str, Made]) -> None:
        self.made = made
        self.asked: list[str] = []

    def __call__(self, jobs: Sequence[Job], workers: int, on_progress: OnShare) -> Generator[Came, None, None]:
        """See `posture.family.children.Measuring`."""
        for k, job in enumerate(jobs):
            self.asked.append(job.path.name)
            on_progress(k, 1.0)
            one = self.made.get(job.path.name)
            if one is None:
                yield k, ClipError(f"Expected a film; '{job.path.name}' is none.")
                continue
            holds = [(one.tilt_deg + sway, 9.0 * sway, -2.0) for sway in (0.0, 0.8, -0.7, 0.4, -0.5, 0.1)]
            time_s, angles = hold(holds[:1] if one.kind == "photograph" else holds, 2.5, 0.5, 15.0)
            if one.kind == "photograph":
                time_s, angles = time_s[:1], angles[:1]
            seen = made_up_clip(made_up_track(time_s, angles, stand_deg=(0.0, 0.0)), one.kind)
            persons = tuple(seen.persons[0] for _ in range(one.persons))
            sha256 = hashlib.sha256(job.path.read_bytes()).hexdigest()
            source = "the container" if one.on else None
            seen = replace(seen, sha256=sha256, persons=persons, filmed_on=one.on, filmed_on_source=source)
            portrait = np.zeros((96, 96, 3), np.uint8)
            assert isinstance(seen.persons[0], SeenPerson)
            seen = replace(seen, persons=tuple(replace(p, portrait=portrait) for p in persons))
            looked = tuple(looks(one.face + 100 * p, k) for p in range(one.persons))
            yield k, Looked(read_clip(seen, job.settings), looked)


TIMELINE = {
    "a.mp4": Made(-6.0, on="2019-03-10"),
    "b.mp4": Made(-9.0, on="2020-06-13"),
    "c.mp4": Made(-12.0, on="2021-09-18"),
    "d.mp4": Made(14.0, on="2022-12-24"),
    "e.mp4": Made(-16.0, on="2024-03-30"),
    "nodate.mp4": Made(-10.0),
    "other.mp4": Made(12.0, face=1, on="2021-05-16"),
    "phone.heic": Made(-15.0, on="2023-02-11", kind="photograph"),
    "school.jpg": Made(0.0, on="2021-10-04", kind="photograph"),
}
"""Film d is mirrored."""


def write_files(folder: Path, names: Sequence[str]) -> list[Path]:
    """Files that differ, in the order of their names."""
    folder.mkdir(exist_ok=True)
    for name in names:
        (folder / name).write_bytes(f"film {name}".encode())
    return files_in(folder)


def settled(files: Sequence[Path], **of: Mapping[str, object]) -> list[Listed]:
    """All not mirrored and not posed but for what is said of one."""
    return [Listed(f, **({"mirrored": "no", "posed": False} | dict(of.get(f.stem, {})))) for f in files]  # type: ignore[arg-type]


@pytest.fixture
def timeline(tmp_path: Path) -> tuple[list[Path], Path, FakeMeasuring]:
    """Files, a folder for results, and what measures them."""
    return write_files(tmp_path / "films", list(TIMELINE)), tmp_path / "out", FakeMeasuring(TIMELINE)


SAID: dict[str, dict[str, object]] = {"d": {"mirrored": "unknown"}, "school": {"posed": True}}


def test_nothing_counts_before_sides_are_settled(timeline: tuple[list[Path], Path, FakeMeasuring]) -> None:
    files, out, measure = timeline
    family = family_course(measure_family([Listed(f) for f in files], out, born="2017-01", measuring=measure))
    assert family.course.counting == ()
    assert all("side not settled" in e.why_not for e in family.course.entries)
    text = " ".join(family_lines(family))
    assert "shoulder" not in text
    assert not any(word in text.lower().split() for word in ("left", "right"))


def test_timeline_grows_and_the_mirrored_and_the_other_child_are_stopped(
    timeline: tuple[list[Path], Path, FakeMeasuring],
) -> None:
    files, out, measure = timeline
    family = family_course(measure_family(settled(files, **SAID), out, born="2017-01", measuring=measure))
    assert family.course.status == "growing"
    assert family.course.side == -1
    why = {family.items[e.number].listed.path.name: e.why_not for e in family.course.entries}
    assert why["d.mp4"] == ("side not settled",)
    assert why["nodate.mp4"] == ("not dated",)
    assert why["school.jpg"] == ("posed",)
    assert why["phone.heic"] == ()
    assert [(o.item.listed.path.name, "may be another child" in o.reason) for o in family.left_out] == [("other.mp4", True)]
    text = "\n".join(family_lines(family))
    assert "Tilt to the left in 4 of 4 films and 1 of 1 photograph from age 2 years 1 month on" in text
    assert not any(name in text for name in TIMELINE)


def test_settled_and_confirmed_is_read_again_and_not_measured(timeline: tuple[list[Path], Path, FakeMeasuring]) -> None:
    files, out, measure = timeline
    first = measure_family(settled(files, **SAID), out, measuring=measure)
    assert len(measure.asked) == len(files)
    said = SAID | {"d": {"mirrored": "yes"}, "other": {"is_the_child": True}}
    items = measure_family(settled(files, **said), out, measuring=measure)
    assert len(measure.asked) == len(files)
    family = family_course(items)
    assert family.left_out == ()
    assert family.course.status == "changing side"
    assert len(family.course.counting) == 7
    for before, now in zip(first, items, strict=True):
        if before.listed == now.listed:
            assert (before.summary, before.doubt) == (now.summary, now.doubt)


def test_of_another_child_nothing_is_kept(timeline: tuple[list[Path], Path, FakeMeasuring]) -> None:
    files, out, measure = timeline
    items = measure_family(settled(files, **SAID), out, measuring=measure)
    other = next(item for item in items if item.listed.path.name == "other.mp4")
    assert len(list(out.glob(f"{other.stem}*"))) == 3
    items = measure_family(settled(files, **SAID, other={"is_the_child": False}), out, measuring=measure)
    assert list(out.glob(f"{other.stem}*")) == []
    assert other.stem not in (out / ALIKE_NAME).read_text()
    assert family_course(items).left_out[0].reason == "said not to be the child"


def test_results_hold_no_names_and_no_looks(timeline: tuple[list[Path], Path, FakeMeasuring]) -> None:
    files, out, measure = timeline
    measure_family(settled(files, **SAID), out, measuring=measure)
    everything = b"".join(path.name.encode() + path.read_bytes() for path in out.rglob("*") if path.is_file())
    assert not any(name.encode() in everything for name in TIMELINE)
    assert max(path.stat().st_size for path in out.glob("*.seen")) < 60_000


def test_new_person_is_measured_anew_and_alone(tmp_path: Path) -> None:
    files = write_files(tmp_path / "films", ["a.mp4", "b.mp4"])
    measure = FakeMeasuring({"a.mp4": Made(-8.0, on="2020-01-01"), "b.mp4": Made(-8.0, on="2021-01-01", persons=2)})
    family = family_course(measure_family(settled(files), tmp_path / "out", measuring=measure))
    assert [o.reason for o in family.left_out] == ["2 persons in it, and not said which is the child"]
    family = family_course(measure_family(settled(files, b={"person": 1}), tmp_path / "out", measuring=measure))
    assert family.left_out == ()
    assert measure.asked == ["a.mp4", "b.mp4"]
    family = family_course(measure_family(settled(files, b={"person": 2}), tmp_path / "out", measuring=measure))
    assert measure.asked == ["a.mp4", "b.mp4", "b.mp4"]
    assert "not compared" in family.left_out[-1].reason


def test_error_costs_one_item_and_a_missing_model_all(timeline: tuple[list[Path], Path, FakeMeasuring]) -> None:
    files, out, _ = timeline
    items = measure_family(settled(files), out, measuring=FakeMeasuring({k: v for k, v in TIMELINE.items() if k != "a.mp4"}))
    assert isinstance(items[0].error, ClipError)
    assert all(item.summary for item in items[1:])
    assert family_course(items).left_out[0].reason == "not measured"

    def broken(jobs: Sequence[Job], workers: int, on_progress: OnShare) -> Generator[Came, None, None]:
        yield 0, ModelError("Expected the model.")

    with pytest.raises(ModelError, match="Expected the model"):
        measure_family(settled(files), out, measuring=broken, again=True)


def test_exchanged_file_is_refused(tmp_path: Path) -> None:
    files = write_files(tmp_path / "films", ["a.mp4"])

    def exchanging(jobs: Sequence[Job], workers: int, on_progress: OnShare) -> Generator[Came, None, None]:
        jobs[0].path.write_bytes(b"another")
        yield from FakeMeasuring({"a.mp4": Made(-8.0)})(jobs, workers, on_progress)

    items = measure_family(settled(files), tmp_path / "out", measuring=exchanging)
    with pytest.raises(ClipError, match="changed meanwhile"):
        raise items[0].error or AssertionError


def test_dates_of_files_before_birth_are_left_out(tmp_path: Path) -> None:
    files = write_files(tmp_path / "films", ["a.mp4"])
    items = measure_family(
        settled(files), tmp_path / "out", born="2017-01", measuring=FakeMeasuring({"a.mp4": Made(-8, on="2001-01-01T10:00:00")})
    )
    assert items[0].filmed_on is None
    assert items[0].summary is not None
    assert items[0].summary.conditions.filmed_on is None
    assert "2001-01-01, cannot be" in items[0].note


def test_date_that_cannot_be_is_refused_before_anything_is_measured(tmp_path: Path) -> None:
    files = write_files(tmp_path / "films", ["a.mp4"])
    measure = FakeMeasuring({"a.mp4": Made(-8)})
    with pytest.raises(DateError, match="date after birth"):
        measure_family(settled(files, a={"filmed_on": "2016"}), tmp_path / "out", born="2017-01", measuring=measure)
    assert measure.asked == []


def test_list_stands_above_the_file(tmp_path: Path) -> None:
    files = write_files(tmp_path / "films", ["a.mp4", "b.mp4"])
    measure = FakeMeasuring({"a.mp4": Made(-8, on="2020-01-01"), "b.mp4": Made(-8, on="2020-01-01")})
    listed = settled(files, a={"filmed_on": "about 2019"}, b={"filmed_on": "2020-01-01"})
    items = measure_family(listed, tmp_path / "out", born="2018-06", measuring=measure)
    assert [(i.filmed_on, i.filmed_on_source) for i in items] == [
        ("about 2019", "the list"),
        ("2020-01-01", "the container"),
    ]
    assert [i.age_months for i in items] == [12, 18]


def pairs(distances: Mapping[str, float]) -> dict[frozenset[str], Alike]:
    """How alike pairs such as "ab" are."""
    return {frozenset(pair): Alike(distance, 0.0) for pair, distance in distances.items()}


FAR, NEAR = UNLIKE + 0.3, UNLIKE - 0.2


@pytest.mark.parametrize(
    ("items", "alike", "expected"),
    [
        ("a", {}, {"a": "nothing to compare"}),
        ("ab", {"ab": NEAR}, {"a": "alike", "b": "alike"}),
        ("ab", {"ab": FAR}, {"a": "may be another child", "b": "may be another child"}),
        ("abc", {"ab": NEAR, "ac": FAR, "bc": FAR}, {"a": "alike", "b": "alike", "c": "may be another child"}),
        ("abc", {"ab": NEAR}, {"a": "alike", "b": "alike", "c": "not compared"}),
        ("abc", {}, {"a": "not compared", "b": "not compared", "c": "not compared"}),
        (
            "abcd",
            {"ab": NEAR, "cd": NEAR, "ac": FAR, "ad": FAR, "bc": FAR, "bd": FAR},
            dict.fromkeys("abcd", "may be another child"),
        ),
    ],
)
def test_who_may_be_another(items: str, alike: Mapping[str, float], expected: Mapping[str, str]) -> None:
    doubts = doubts_of(list(items), pairs(alike))
    assert {item: doubt.verdict for item, doubt in doubts.items()} == expected
    assert all(doubt.must_confirm == (doubt.verdict in ("may be another child", "not compared")) for doubt in doubts.values())


def drawn_face(seed: int, light: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """A picture with a pattern, lit from one side, and the mean face's points in it."""
    from posture.face.model import load_canonical_face

    vertices = load_canonical_face().vertices_cm
    points = np.array(vertices) * [8.0, -8.0, -8.0] + [96.0, 96.0, 0.0]
    half = np.random.default_rng(seed).uniform(60, 180, (12, 6))
    pattern = np.kron(np.concatenate([half, half[:, ::-1]], 1), np.ones((16, 16)))
    shade = np.exp(light * np.linspace(-1, 1, 192))[None]
    return np.clip(np.repeat((pattern * shade)[..., None], 3, 2), 0, 255).astype(np.uint8), points


def test_light_and_mirroring_make_no_other_face() -> None:
    plain = describe_face(*drawn_face(1))
    lit = describe_face(*drawn_face(1, light=0.4))
    pixels, points = drawn_face(1)
    mirrored = describe_face(np.ascontiguousarray(pixels[:, ::-1]), points)
    other = describe_face(*drawn_face(2))
    assert how_alike(plain, plain).distance == pytest.approx(0.0, abs=1e-9)
    assert how_alike(plain, lit).picture < 0.15
    assert how_alike(plain, mirrored).picture < 0.05
    assert how_alike(plain, other).picture > 0.6
    assert how_alike(plain, other) == how_alike(other, plain)


def test_no_portrait_needs_no_landmarker() -> None:
    class Refusing(LibraryLandmarker):
        def _open(self) -> None:
            raise AssertionError("opened")

    assert looks_of([None, None], Refusing()) == [None, None]


def test_portrait_without_a_face_has_no_looks() -> None:
    assert looks_of([np.full((96, 96, 3), 120, np.uint8), None]) == [None, None]


def test_kept_comes_back_and_what_is_damaged_does_not(tmp_path: Path) -> None:
    files = write_files(tmp_path / "films", ["a.mp4"])
    measure_family(settled(files), tmp_path / "out", measuring=FakeMeasuring({"a.mp4": Made(-8)}))
    sha256 = hashlib.sha256(files[0].read_bytes()).hexdigest()
    (path,) = (tmp_path / "out").glob("*.seen")
    every_s = measuring_module.settings_of_listed(Listed(files[0])).every_s
    kept = read_kept(tmp_path / "out", sha256, 1, every_s)
    assert isinstance(kept, Kept)
    assert pack_kept(kept) == path.read_bytes()
    assert read_kept(tmp_path / "out", sha256, 2, every_s) is None
    assert read_kept(tmp_path / "out", sha256, 1, every_s + 1) is None
    packed = path.read_bytes()
    assert unpack_kept(packed[:-4]) is None
    assert unpack_kept(b"") is None
    assert unpack_kept(packed.replace(b"posture.family/1", b"posture.family/2")) is None


def list_of(folder: Path, text: str) -> Path:
    """A list with that text."""
    path = folder / "list.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_list_is_read_whatever_separates_it(tmp_path: Path, mark: str) -> None:
    files = write_files(tmp_path / "films", ["a.mp4", "b.mp4"])
    lines = [
        "file,filmed_on,about,posed,mirrored,person,is_the_child,filmed_by",
        "b.mp4,2019-05,yes,,No,2,YES,an aunt",
        ",,,,,,,",
    ]
    path = list_of(tmp_path, "\ufeff" + "\r\n".join(lines).replace(",", mark) + "\r\n")
    first, second = read_list(path, files)
    assert first == Listed(files[0])
    assert second == Listed(files[1], "about 2019-05", None, "no", 2, True, "an aunt")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "Expected the columns"),
        ("name\na.mp4\n", "Expected the columns"),
        ("file,mirorred\na.mp4,no\n", "mirorred"),
        ("file,file\na.mp4,a.mp4\n", "Expected the columns"),
        ("file\nc.mp4\n", "Line 2 .* name of a file in the folder; 'c.mp4'"),
        ("file\na.mp4\na.mp4\n", "Line 3 .* each file once"),
        ("file,mirrored\na.mp4,left\n", "Line 2 .* mirrored: .*'left'"),
        ("file,posed\na.mp4,perhaps\n", "posed: .*'perhaps'"),
        ("file,person\na.mp4,0\n", "person: a number from 1 on"),
        ("file,person\na.mp4,\u0662\n", "person: a number from 1 on"),
        ("file,filmed_on\na.mp4,12.3.2019\n", "Line 2 .* Expected a date"),
        ("file,filmed_on\na.mp4,2999\n", "date in the past"),
        ("file,filmed_on\na.mp4,2010-01\n", "date after birth"),
        ("file,posed\na.mp4,no,more\n", "2 cells; 3 came"),
    ],
)
def test_list_that_is_wrong_is_refused(tmp_path: Path, text: str, words: str) -> None:
    files = write_files(tmp_path / "films", ["a.mp4"])
    with pytest.raises(FamilyListError, match=words):
        read_list(list_of(tmp_path, text), files, parse_when("2017-01"))


def test_list_is_written_as_it_is_read_and_is_no_formula(tmp_path: Path) -> None:
    files = write_files(tmp_path / "films", ["=cmd.mp4", "a, b.mp4"])
    listed = [Listed(files[0], "about 2019", True, "yes", 3, False, "@home"), Listed(files[1])]
    path = tmp_path / "list.csv"
    write_list(
        path, listed, {files[1]: {"kind": "film", "filmed_on": "2020-01-01", "date_from": "the container", "persons": "1"}}
    )
    rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
    assert tuple(rows[0]) == COLUMNS
    assert not any(cell.startswith(("=", "@")) for row in rows for cell in row)
    first, second = read_list(path, files)
    assert first == listed[0]
    assert second == Listed(files[1], "2020-01-01")


def test_folder_without_films_is_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("none")
    with pytest.raises(ClipError, match="1 to 1000 films"):
        files_in(tmp_path)
    with pytest.raises(ClipError, match="network path"):
        files_in(Path("//host/share"))
    with pytest.raises(ClipError, match="cannot be read"):
        files_in(tmp_path / "absent")


def test_command_writes_list_course_and_figure(
    timeline: tuple[list[Path], Path, FakeMeasuring], monkeypatch: pytest.MonkeyPatch
) -> None:
    files, out, measure = timeline
    monkeypatch.setattr(measuring_module, "measure_in_children", measure)
    monkeypatch.setattr("posture.batch.children.get_ready", lambda: None)
    arguments = ["family", str(files[0].parent), "--out", str(out), "--born", "2017-01"]
    first = CliRunner().invoke(commands, arguments)
    assert first.exit_code == 0, first.output
    assert "may be another child" in first.output
    rows = {row["file"]: row for row in csv.DictReader(io.StringIO((out / "family.csv").read_text(encoding="utf-8")))}
    assert rows.keys() == TIMELINE.keys()
    assert rows["a.mp4"]["filmed_on"] == "2019-03-10"
    assert rows["a.mp4"]["mirrored"] == ""
    assert [name for name, row in rows.items() if row["face"]] == ["other.mp4"]
    assert (out / "course.png").read_bytes().startswith(b"\x89PNG")
    assert "<svg" in (out / "course.svg").read_text(encoding="utf-8")
    with (out / "family.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS)
        writer.writeheader()
        writer.writerows(row | {"mirrored": "yes" if name == "d.mp4" else "no"} for name, row in rows.items())
    written = (out / "family.csv").read_bytes()
    second = CliRunner().invoke(commands, arguments)
    assert second.exit_code == 0, second.output
    assert len(measure.asked) == len(files)
    assert "The tilt grew by" in second.output
    assert (out / "family.csv").read_bytes() == written
    text = (out / "course.txt").read_text(encoding="utf-8")
    assert not any(name in text for name in TIMELINE)


def test_command_refuses_a_wrong_birth_and_its_own_folder(tmp_path: Path) -> None:
    write_files(tmp_path / "films", ["a.mp4"])
    films = str(tmp_path / "films")
    wrong = CliRunner().invoke(commands, ["family", films, "--out", str(tmp_path / "out"), "--born", "May 2017"])
    assert wrong.exit_code == 2
    assert "Expected a date" in wrong.output
    same = CliRunner().invoke(commands, ["family", films, "--out", films])
    assert same.exit_code == 2
    assert "another folder" in same.output


@pytest.mark.skipif(not heads_present(), reason=HEADS_MISSING)
def test_rendered_faces_are_told_apart_in_other_light_and_posture() -> None:
    from tests.proof.family_faces import draw_portraits

    portraits = draw_portraits(("adult_a", "child_b"), 2)
    ours = [face for face in looks_of([portrait for _, portrait in portraits]) if face is not None]
    assert len(ours) == 4
    distance = np.array([[how_alike(one, other).distance for other in ours] for one in ours])
    names = np.array([name for name, _ in portraits])
    is_same = names[:, None] == names[None]
    assert distance[~is_same].min() > UNLIKE
    assert distance[is_same].max() < distance[~is_same].min()


def test_item_without_a_summary_is_no_dated_one() -> None:
    from posture.family.course import dated_of

    with pytest.raises(ValueError, match="one without a summary came"):
        dated_of(FamilyItem(Listed(Path("a")), ""))
