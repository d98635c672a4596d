"""Backups: one encrypted file, and records out of it."""

from __future__ import annotations

import io
import shutil
import zipfile
from pathlib import Path

import pyrage
import pytest

from posture.errors import OutputError, RecordsError
from posture.records.backup import make_backup, restore_backup
from posture.records.form_of import person_form
from posture.records.seen import Measured
from posture.records.store import Records, open_records
from tests.records.made import fill

PASSPHRASE = "four words like these"


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory, measured: Measured) -> Path:
    """Records with a backup beside their folder; made once, as what opens a passphrase takes a second on purpose."""
    path = tmp_path_factory.mktemp("source") / "records" / "records.sqlite"
    with open_records(path) as records:
        fill(records, measured=measured)
        make_backup(records, path.parent.parent / "away" / "records.backup", PASSPHRASE)
    return path


@pytest.fixture
def backup(source: Path, tmp_path: Path) -> Path:
    """A copy of that backup."""
    (tmp_path / "away").mkdir()
    return Path(shutil.copy(source.parent.parent / "away" / "records.backup", tmp_path / "away"))


def test_restored_records_are_equal(source: Path, backup: Path, tmp_path: Path) -> None:
    target = tmp_path / "restored" / "records.sqlite"
    restore_backup(backup, PASSPHRASE, target)
    assert list(target.parent.iterdir()) == [target]
    with open_records(target) as restored, open_records(source) as records:
        ours, theirs = records.persons.lines(), restored.persons.lines()
        assert theirs == ours
        assert person_form(restored, theirs[0].person.id) == person_form(records, ours[0].person.id)


def test_backup_shows_nothing_and_leaves_nothing_plain(source: Path, backup: Path) -> None:
    content = backup.read_bytes()
    for word in (b"Quagga", b"SQLite format", b"inferior oblique"):
        assert word not in content
    assert [file.name for file in (source.parent.parent / "away").iterdir()] == [backup.name]
    assert [file.name for file in source.parent.iterdir()] == [source.name]


def test_backup_opens_with_any_tool_of_the_format(backup: Path) -> None:
    with zipfile.ZipFile(backup) as archive:
        assert archive.namelist() == ["key.age", "records.sqlite.age"]
        sealed, data = (archive.read(name) for name in archive.namelist())
    assert sealed.startswith(b"age-encryption.org/v1\n-> scrypt ")
    assert data.startswith(b"age-encryption.org/v1\n-> X25519 ")
    key = pyrage.passphrase.decrypt(sealed, PASSPHRASE).decode()
    assert key.startswith("AGE-SECRET-KEY-1")
    plain = pyrage.decrypt(data, [pyrage.x25519.Identity.from_str(key)])
    assert plain.startswith(b"SQLite format 3\x00")


def test_wrong_passphrase_is_one_clear_line(backup: Path, tmp_path: Path) -> None:
    with pytest.raises(
        RecordsError, match=r"Expected the passphrase with which 'records.backup' was made; another came"
    ) as caught:
        restore_backup(backup, "four words like those", tmp_path / "new.sqlite")
    assert "\n" not in str(caught.value)
    assert not list(tmp_path.glob("*.sqlite"))
    assert not list(tmp_path.glob(".writing-*"))


def test_files_that_are_there_are_left(records: Records, backup: Path, path: Path) -> None:
    before = backup.read_bytes()
    with pytest.raises(OutputError, match=r"'records.sqlite' is there and was left"):
        restore_backup(backup, PASSPHRASE, path)
    with pytest.raises(OutputError, match=r"'records.backup' is there and was left"):
        make_backup(records, backup, PASSPHRASE)
    assert backup.read_bytes() == before
    assert records.persons.lines() == []


def test_short_passphrase_is_refused(records: Records, tmp_path: Path) -> None:
    with pytest.raises(RecordsError, match="10 letters or more; 4 came"):
        make_backup(records, tmp_path / "b", "1234")
    assert not (tmp_path / "b").exists()


def test_place_that_is_none_is_one_line(records: Records, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="Expected to write 'b' in"):
        make_backup(records, tmp_path / "file" / "b", PASSPHRASE)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9])
def test_backup_that_was_cut_is_refused(backup: Path, tmp_path: Path, share: float) -> None:
    content = backup.read_bytes()
    backup.write_bytes(content[: int(share * len(content))])
    with pytest.raises(RecordsError, match=r"'records.backup' is none, or damaged"):
        restore_backup(backup, PASSPHRASE, tmp_path / "new.sqlite")


def test_backup_that_was_changed_is_refused(backup: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(backup) as archive:
        sealed, data = (archive.read(name) for name in archive.namelist())
    for changed in (data[:-20] + bytes(20), data[: len(data) // 2], b""):
        again = io.BytesIO()
        with zipfile.ZipFile(again, "w") as archive:
            archive.writestr("key.age", sealed)
            archive.writestr("records.sqlite.age", changed)
        backup.write_bytes(again.getvalue())
        with pytest.raises(RecordsError, match=r"'records.backup' is damaged, and nothing was restored"):
            restore_backup(backup, PASSPHRASE, tmp_path / "new.sqlite")
        assert not (tmp_path / "new.sqlite").exists()


def test_another_archive_is_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.writestr("key.txt", "x")
    with pytest.raises(RecordsError, match=r"'a.zip' holds something else"):
        restore_backup(tmp_path / "a.zip", PASSPHRASE, tmp_path / "new.sqlite")


def test_backup_of_something_else_is_refused(tmp_path: Path) -> None:
    key = pyrage.x25519.Identity.generate()
    with zipfile.ZipFile(tmp_path / "b", "w") as archive:
        archive.writestr("key.age", pyrage.passphrase.encrypt(str(key).encode(), PASSPHRASE))
        archive.writestr("records.sqlite.age", pyrage.encrypt(b"a letter" * 100, [key.to_public()]))
    with pytest.raises(RecordsError, match=r"Expected records in '.*b'; the file holds something else"):
        restore_backup(tmp_path / "b", PASSPHRASE, tmp_path / "new.sqlite")
    assert not (tmp_path / "new.sqlite").exists()
