"""What must not break: programs killed, power cut, disks full, folders that cannot be written, others who write."""

from __future__ import annotations

import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from posture.errors import RecordsError
from posture.records.clips import clip_of
from posture.records.seen import Measured
from posture.records.store import Records, open_records
from posture.records.values import Person
from tests.proof.killed import kill_again_and_again
from tests.records.made import another

ROOT = Path(__file__).resolve().parents[2]
posix = pytest.mark.skipif(sys.platform == "win32", reason="needs signals, limits and modes of POSIX")


@posix
@pytest.mark.parametrize("folder", ["here", "Dropbox"], ids=["write-ahead log", "rollback journal"])
def test_program_killed_loses_nothing_that_was_said_to_be_kept(tmp_path: Path, folder: str) -> None:
    result = kill_again_and_again(tmp_path / folder / "records.sqlite", 8, seed=3)
    assert result.deaths == 8
    assert result.faults == []
    assert len(result.told) > 3
    assert result.told <= result.kept


@pytest.mark.parametrize("rest", ["cut", "garbage", "zeros"])
def test_power_cut_leaves_whole_entries_only(path: Path, tmp_path: Path, measured: Measured, rest: str) -> None:
    """The file as it was, and the log as far as it reached the disk: behind that nothing, or anything."""
    log = path.with_name(f"{path.name}-wal")
    chance = random.Random(5)
    with open_records(path) as records:
        person = records.persons.add(Person("K7"))
        ends = []
        for number in range(6):
            new = another(measured, str(number))
            records.clips.keep(clip_of(person.id, new), new)
            ends.append(log.stat().st_size)
        base, written = path.read_bytes(), log.read_bytes()
    assert len(set(ends)) == 6
    # At and around the end of every entry, and anywhere.
    cuts = [end + by for end in ends for by in (-1, 0, 1)] + [chance.randrange(32, len(written)) for _ in range(12)]
    for number, cut in enumerate(cut for cut in cuts if cut <= len(written)):
        copy = tmp_path / f"copy {number}" / path.name
        copy.parent.mkdir()
        copy.write_bytes(base)
        lost = len(written) - cut
        behind = {"cut": b"", "garbage": chance.randbytes(lost), "zeros": bytes(lost)}[rest]
        reached = written[:cut] + behind
        copy.with_name(log.name).write_bytes(reached)
        with open_records(copy) as records:
            assert [row[0] for row in records.database.rows("PRAGMA integrity_check")] == ["ok"]
            there = records.persons.lines()
            clips = records.clips.of_person(there[0].person.id) if there else []
            assert len(clips) == sum(reached[:end] == written[:end] for end in ends), f"cut at {cut}"
            for clip in clips:
                assert records.readings.current(clip.id).summary.clip.sha256 == clip.sha256
                assert len(records.readings.track(records.readings.current(clip.id).track_id).time_s) > 0


def test_power_cut_in_the_middle_of_an_entry_goes_back_to_the_one_before(tmp_path: Path, measured: Measured) -> None:
    """The rollback journal: the file as it was half written, with the journal that was on the disk before it."""
    path = tmp_path / "Dropbox" / "records.sqlite"
    copy = tmp_path / "copy" / "Dropbox" / path.name
    copy.parent.mkdir(parents=True)
    with open_records(path) as records:
        person = records.persons.add(Person("K7"))
        first, second = another(measured, "1"), another(measured, "2")
        records.clips.keep(clip_of(person.id, first), first)
        whole = path.read_bytes()
        records.database.run("PRAGMA cache_size = 2")
        with records.database.writing():
            records.clips.keep(clip_of(person.id, second), second)
            for file in path.parent.iterdir():
                shutil.copy(file, copy.parent)
    assert copy.read_bytes() != whole
    assert {file.name for file in copy.parent.iterdir()} == {path.name, f"{path.name}-journal"}
    with open_records(copy) as records:
        (clip,) = records.clips.of_person(person.id)
        assert clip.sha256 == first.summary.clip.sha256
        assert records.database.rows("PRAGMA integrity_check")[0][0] == "ok"


FILL = """
import sys
from dataclasses import replace
from pathlib import Path
from posture.errors import RecordsError
from posture.records.clips import clip_of
from posture.records.store import open_records
from posture.records.values import Person
from tests.records.made import another, made_measured

path, limit = Path(sys.argv[1]), int(sys.argv[2])
measured = made_measured()
with open_records(path) as records:
    person = records.persons.add(Person("K7"))
if limit:
    import resource
    hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
kept = 0
with open_records(path) as records:
    try:
        for number in range(1000):
            new = another(measured, str(number))
            records.clips.keep(clip_of(person.id, new), new)
            kept += 1
    except RecordsError as error:
        print(error)
    # The open page goes on showing what there is.
    print(len(records.clips.of_person(person.id)) == kept)
    try:
        records.persons.change(replace(person, suspected_by="x" * 200))
    except RecordsError:
        pass
if limit:
    resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
with open_records(path) as records:
    clips = records.clips.of_person(person.id)
    whole = [records.readings.track(records.readings.current(clip.id).track_id) for clip in clips]
    print(len(whole) == kept > 3, [row[0] for row in records.database.rows("PRAGMA integrity_check")])
"""


def run(script: str, *arguments: object, before: tuple[str, ...] = ()) -> list[str]:
    """The lines that a program of its own prints."""
    command = [*before, sys.executable, "-c", script, *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


@posix
def test_file_that_may_not_grow_is_one_clear_line(path: Path) -> None:
    line, still_there, after = run(FILL, path, 400_000)
    assert line.startswith("Expected to use the records in")
    assert "nothing was changed. Free some space" in line
    assert still_there == "True"
    assert after == "True ['ok']"


@posix
def test_full_disk_is_one_clear_line(tmp_path: Path) -> None:
    mount = f'mount -t tmpfs -o size=600k none {tmp_path} && exec "$@"'
    own_mounts = ("unshare", "--mount", "sh", "-c", mount, "sh")
    if shutil.which("unshare") is None or subprocess.run([*own_mounts, "true"], capture_output=True, check=False).returncode:
        pytest.skip("this user may not mount a small disk; the test of a file that may not grow stands for it")
    line, still_there, after = run(FILL, tmp_path / "records" / "records.sqlite", 0, before=own_mounts)
    assert "the disk is full; nothing was changed. Free some space and try again." in line
    assert still_there == "True"
    assert after == "True ['ok']"


@pytest.fixture
def open_to_all() -> Iterator[Path]:
    """A folder that also a user without rights reaches."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


OPEN = """
import sys
from posture.errors import RecordsError
from posture.records.store import open_records
try:
    open_records(sys.argv[1])
except RecordsError as error:
    print(error)
"""


@posix
@pytest.mark.parametrize("what", ["the folder", "the file", "no folder yet"])
def test_place_that_cannot_be_written_is_one_clear_line(open_to_all: Path, what: str) -> None:
    nobody = ("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups")
    importable = [sys.executable, "-c", "import posture"]
    if (
        shutil.which("setpriv") is None
        or subprocess.run([*nobody, *importable], capture_output=True, cwd=ROOT, check=False).returncode
    ):
        pytest.skip("no user without rights can be taken here, who reads this program")
    path = open_to_all / "records" / "records.sqlite"
    if what != "no folder yet":
        open_records(path).close()
        path.parent.chmod(0o777 if what == "the file" else 0o555)
        path.chmod(0o444 if what == "the file" else 0o666)
    before = path.read_bytes() if path.exists() else None
    (line,) = run(OPEN, path, before=nobody)
    assert line.startswith(f"Expected to keep the records in '{path}'; that failed (")
    assert line.endswith("Make it writable for you, or choose another file with --records.")
    assert (path.read_bytes() if path.exists() else None) == before


@pytest.mark.parametrize(
    ("content", "words"),
    [
        pytest.param(b"not a database, however long it is" * 40, "holds something else, and was left", id="text"),
        pytest.param(b"SQLite format 3\x00", "holds something else, and was left", id="cut in the header"),
        pytest.param(b"x", "holds something else, and was left", id="one byte"),
    ],
)
def test_what_is_no_file_of_records_is_refused_unharmed(path: Path, content: bytes, words: str) -> None:
    path.parent.mkdir()
    path.write_bytes(content)
    with pytest.raises(RecordsError, match=words):
        open_records(path)
    assert path.read_bytes() == content
    assert list(path.parent.iterdir()) == [path]


def test_database_of_another_program_is_refused_unharmed(path: Path) -> None:
    path.parent.mkdir()
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE shop (price)")
    other.close()
    content = path.read_bytes()
    with pytest.raises(RecordsError, match="holds something else, and was left"):
        open_records(path)
    assert path.read_bytes() == content


def test_damaged_file_is_one_clear_line(path: Path, measured: Measured) -> None:
    with open_records(path) as records:
        person = records.persons.add(Person("K7"))
        records.clips.keep(clip_of(person.id, measured), measured)
    content = path.read_bytes()
    path.write_bytes(content[:4096] + b"\x55" * (len(content) - 4096))
    words = r"the file is damaged, and was left as it is. Restore a backup"
    with pytest.raises(RecordsError, match=words), open_records(path) as records:
        records.persons.lines()


def test_folder_in_the_place_of_the_file_is_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(RecordsError, match="that failed"):
        open_records(tmp_path)


def test_somebody_else_who_writes_for_long_is_waited_for_then_told(records: Records, path: Path) -> None:
    with open_records(path, wait_s=0.1) as other, records.database.writing():
        records.persons.add(Person("K1"))
        with pytest.raises(RecordsError, match="somebody else is writing for long; nothing was changed"):
            other.persons.add(Person("K2"))
        # Reading goes on.
        assert other.persons.lines() == []
    assert [line.person.code for line in records.persons.lines()] == ["K1"]


def test_somebody_else_who_writes_shortly_is_waited_for(records: Records, path: Path) -> None:
    ready, failed = threading.Event(), []

    def write() -> None:
        with open_records(path) as other:
            ready.set()
            try:
                other.persons.add(Person("K2"))
            except RecordsError as error:
                failed.append(error)

    page = threading.Thread(target=write)
    with records.database.writing():
        records.persons.add(Person("K1"))
        page.start()
        ready.wait()
        page.join(0.3)
        assert page.is_alive()
    page.join()
    assert failed == []
    assert len(records.persons.lines()) == 2


def test_error_of_this_program_is_no_line_for_the_user(records: Records) -> None:
    with pytest.raises(sqlite3.OperationalError, match="no such table"):
        records.database.run("SELECT * FROM nowhere")
