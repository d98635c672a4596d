"""Private folders: who may enter, what stays, and what is swept."""

from __future__ import annotations

import io
import os
import subprocess
import sys

import pytest

from posture.errors import OutputError
from posture.page import uploads

posix = pytest.mark.skipif(sys.platform == "win32", reason="folders have no such modes on Windows")

HOLD = """
import os, sys
from posture.page.uploads import work_folder
print(work_folder(), flush=True)
sys.stdin.read()
os._exit(1)  # As a crash: nothing is tidied.
"""


@posix
def test_folders_are_private(private):
    for folder in (private, uploads.work_folder(), uploads.results_folder(), private / "results"):
        assert folder.stat().st_mode & 0o777 == 0o700


def test_kept_upload_is_whole_then_gone(private):
    data = bytes(range(256)) * 20_000
    with uploads.kept_upload(io.BytesIO(data)) as path:
        assert path.read_bytes() == data
        assert path.is_relative_to(private)
    assert not path.parent.exists()


def test_kept_upload_goes_also_after_an_error(private):
    with pytest.raises(RuntimeError, match="inside"), uploads.kept_upload(io.BytesIO(b"x")) as path:
        raise RuntimeError("inside")
    assert not path.parent.exists()


def test_kept_upload_says_when_it_cannot_write(private, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(uploads.shutil, "copyfileobj", full)
    with pytest.raises(OutputError, match="No space left on device"), uploads.kept_upload(io.BytesIO(b"x")):
        pass
    assert not list(private.glob("work-*/upload-*"))


def test_sweep_spares_the_living_and_removes_the_dead(private):
    other = subprocess.Popen([sys.executable, "-c", HOLD], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert other.stdin is not None
    assert other.stdout is not None
    with other:
        folder = private / other.stdout.readline().strip().rsplit("/", 1)[-1]
        assert (folder / uploads.OWNER).read_text() == f"{other.pid}\n"
        mine = uploads.work_folder()
        assert uploads.sweep(private) == []
        assert folder.exists()
        other.stdin.close()
        other.wait(30)
    assert uploads.sweep(private) == [folder]
    assert not folder.exists()
    assert mine.exists()


def test_sweep_waits_for_a_page_that_is_starting(private):
    folder = private / "work-new"
    folder.mkdir()
    assert uploads.sweep(private) == []
    os.utime(folder, (0, 0))
    assert uploads.sweep(private) == [folder]


def test_sweep_keeps_results(private):
    kept = uploads.results_folder()
    (kept / "clip.summary.json").write_text("{}")
    uploads.sweep(private)
    assert (kept / "clip.summary.json").exists()


def test_data_folder_says_when_it_cannot_be_made(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("")
    for name in ("XDG_DATA_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "file"))
    with pytest.raises(OutputError, match="Make it writable"):
        uploads.data_folder()
