"""Where the write-ahead log is not to be trusted."""

from __future__ import annotations

from pathlib import Path

import pytest

from posture.records import journal
from posture.records.journal import NETWORK_KINDS, mount_kind, pick_journal
from posture.records.store import open_records
from posture.records.values import Person

MOUNTS = """/dev/sda1 / ext4 rw 0 0
server:/export /mnt/clinic nfs4 rw 0 0
//server/share /mnt/my\\040share cifs rw 0 0
/dev/sdb1 /mnt/clinic/local ext4 rw 0 0
broken line
user@host: /home/a/remote fuse.sshfs rw 0 0
"""


@pytest.mark.parametrize(
    ("folder", "kind"),
    [
        ("/home/a", "ext4"),
        ("/mnt/clinic/records", "nfs4"),
        ("/mnt/clinical", "ext4"),
        ("/mnt/clinic/local/records", "ext4"),
        ("/mnt/my share/records", "cifs"),
        ("/home/a/remote", "fuse.sshfs"),
    ],
)
def test_kind_of_the_innermost_mount(folder: str, kind: str) -> None:
    assert mount_kind(Path(folder), MOUNTS) == kind


@pytest.mark.parametrize(
    "name", ["Dropbox", "Dropbox (Clinic)", "OneDrive - Eye Clinic", "CloudStorage", "iCloud Drive", "Nextcloud"]
)
def test_folder_that_a_client_copies_has_the_rollback_journal_and_a_warning(tmp_path: Path, name: str) -> None:
    path = tmp_path / name / "clinic" / "records.sqlite"
    with open_records(path) as records:
        records.persons.add(Person("K7"))
        assert records.database.rows("PRAGMA journal_mode")[0][0] == "delete"
        (warning,) = records.warnings
        assert f"'{name}', which seems to be copied" in warning
        assert [file.name for file in path.parent.iterdir()] == ["records.sqlite"]


@pytest.mark.parametrize("name", ["dropbox-like things", "Boxes", "megabytes", "my drives"])
def test_folder_of_a_similar_name_is_none(tmp_path: Path, name: str) -> None:
    assert pick_journal(tmp_path / name / "r.sqlite") == ("wal", None)


def test_mark_of_a_client_is_seen(tmp_path: Path) -> None:
    (tmp_path / ".stfolder").mkdir()
    assert pick_journal(tmp_path / "deep" / "r.sqlite")[0] == "delete"


@pytest.mark.parametrize("kind", NETWORK_KINDS)
def test_network_drive_has_the_rollback_journal_and_a_warning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    monkeypatch.setattr(journal, "_mounts", lambda: f"/dev/sda1 / ext4 rw 0 0\nserver:/x {tmp_path.resolve()} {kind} rw 0 0\n")
    picked, warning = pick_journal(tmp_path / "r.sqlite")
    assert picked == "delete"
    assert warning is not None
    assert "network drive" in warning


def test_records_that_were_moved_into_such_a_folder_lose_the_log(tmp_path: Path) -> None:
    with open_records(tmp_path / "r.sqlite") as records:
        records.persons.add(Person("K7"))
        assert records.database.rows("PRAGMA journal_mode")[0][0] == "wal"
    moved = tmp_path / "OneDrive" / "r.sqlite"
    moved.parent.mkdir()
    (tmp_path / "r.sqlite").rename(moved)
    with open_records(moved) as records:
        assert records.database.rows("PRAGMA journal_mode")[0][0] == "delete"
        assert len(records.persons.lines()) == 1
        assert len(records.warnings) == 1
    # While somebody else has it open with the log, it cannot be changed, and that is said.
    back = moved.rename(tmp_path / "r.sqlite")
    with open_records(back) as first:
        first.persons.lines()
        (tmp_path / ".stfolder").mkdir()
        with open_records(back, wait_s=0.1) as second:
            assert any("Close all other pages" in warning for warning in second.warnings)
