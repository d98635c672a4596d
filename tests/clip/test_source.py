"""What may be opened, and what is refused before anything is decoded."""

import hashlib
import itertools
import os
import re
import socket
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import av
import numpy as np
import pytest

from posture.clip import open_clip
from posture.clip.source import believable_date, examine
from posture.errors import ClipError

ROOT = Path(__file__).resolve().parents[2]
MAX_PEAK_MB = 400


def run_python(code: str, *arguments: str) -> str:
    """Run code in a fresh interpreter that can import this package; return what it printed."""
    env = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, env=env, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_open_clip_hashes_whole_file(film):
    with open_clip(film) as clip:
        assert clip.info.sha256 == hashlib.sha256(film.read_bytes()).hexdigest()


def test_open_clip_hashes_files_longer_than_one_piece(tmp_path, make):
    noise = np.random.default_rng(1).integers(0, 256, (700, 900, 3), dtype=np.uint8)
    path = tmp_path / "noise.bmp"
    path.write_bytes(make.photo(noise, "BMP"))
    assert path.stat().st_size > 1_500_000
    assert examine(path).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize(
    ("name", "data", "message"),
    [
        pytest.param("a.mp4", b"", r"is empty \(0 bytes\)", id="empty"),
        pytest.param("a.mp4", b"hello, not a film\n" * 20, "is a text file", id="text"),
        pytest.param("a.mp4", b"ffconcat version 1.0\nfile film.mp4\n", "is a text file", id="ffconcat"),
        pytest.param("a.mp4", b"#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\nfilm.ts\n", "is a text file", id="playlist"),
        pytest.param("a.mp4", "<html>Größe</html>".encode("utf-16"), "is a text file", id="utf-16"),
        pytest.param("a.mp4", bytes(range(256)) * 40, "is none of these", id="noise"),
        pytest.param("a.jpg", b"\xff\xd8\xff\xe0" + bytes(100), "is damaged or of an unknown kind", id="broken JPEG"),
        pytest.param("a.heic", b"\0\0\0\x18ftypheic" + bytes(100), "is damaged or of an unknown kind", id="broken HEIC"),
    ],
)
def test_open_clip_refuses_other_content(tmp_path, name, data, message):
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(ClipError, match=message) as caught:
        open_clip(path)
    assert str(tmp_path) not in str(caught.value)


@pytest.mark.parametrize(
    "script",
    [
        pytest.param("ffconcat version 1.0\nfile {film}\n", id="ffconcat"),
        pytest.param("#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\n{film}\n#EXT-X-ENDLIST\n", id="playlist"),
    ],
)
def test_open_clip_follows_no_script_even_disguised_as_binary(tmp_path, film, script):
    (tmp_path / "film.mp4").write_bytes(film.read_bytes())
    path = tmp_path / "a.mp4"
    path.write_bytes(script.format(film="film.mp4").encode() + b"#\x01\x02\n")
    with pytest.raises(ClipError, match="is none of these"):
        open_clip(path)
    with pytest.raises(ClipError, match="is none of these"):
        open_clip(path.rename(tmp_path / "a.m3u8"))


def test_ffmpeg_alone_would_follow_the_script(tmp_path, film):
    """Guards the test above: without the list of containers the same bytes open another file."""
    (tmp_path / "film.mp4").write_bytes(film.read_bytes())
    path = tmp_path / "a.mp4"
    path.write_bytes(b"ffconcat version 1.0\nfile film.mp4\n#\x01\x02\n")
    with av.open(str(path)) as container:
        assert next(container.decode(video=0)).width == 160


def test_open_clip_makes_no_connection():
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.3)
        port = server.getsockname()[1]
        for address in (f"http://127.0.0.1:{port}/a.mp4", f"tcp://127.0.0.1:{port}"):
            with pytest.raises(ClipError, match="Expected a file; came an address"):
                open_clip(address)
        with pytest.raises(TimeoutError):
            server.accept()


@pytest.mark.parametrize("address", ["concat:a.mp4|b.mp4", "udp://127.0.0.1:9", "file:a.mp4", "pipe:0", "data:text/plain,a"])
def test_open_clip_refuses_protocols(address):
    with pytest.raises(ClipError, match="came an address"):
        open_clip(address)


@pytest.mark.parametrize("path", [r"\\host\share\a.mp4", "//host/share/a.mp4", r"\\.\PhysicalDrive0", r"\\?\C:\a.mp4"])
def test_open_clip_refuses_network_and_device_paths(path):
    with pytest.raises(ClipError, match="network or device path"):
        open_clip(path)


@pytest.mark.parametrize("path", ["", "  ", "a\0b.mp4"])
def test_open_clip_refuses_what_is_no_path(path):
    with pytest.raises(ClipError, match="is no path"):
        open_clip(path)


def test_open_clip_refuses_folder_pipe_and_device(tmp_path):
    with pytest.raises(ClipError, match="is a folder"):
        open_clip(tmp_path)
    if not hasattr(os, "mkfifo"):
        pytest.skip("no named pipes here")
    os.mkfifo(tmp_path / "pipe.mp4")
    for path in (tmp_path / "pipe.mp4", Path("/dev/zero")):
        with pytest.raises(ClipError, match="is a device or a pipe"):
            open_clip(path)


def test_absent_and_forbidden_read_the_same(tmp_path, film, monkeypatch):
    forbidden = tmp_path / "a.mp4"
    with pytest.raises(ClipError) as absent:
        open_clip(forbidden)
    forbidden.write_bytes(film.read_bytes())

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError

    monkeypatch.setattr(Path, "open", refuse)  # Rights do not bind whoever runs tests as root.
    with pytest.raises(ClipError) as denied:
        open_clip(forbidden)
    assert (
        str(absent.value)
        == str(denied.value)
        == ("Expected a file that can be read; 'a.mp4' is none. Check its name and that you may open it.")
    )


def test_numbered_name_reads_that_file_and_no_other(tmp_path, make):
    dark, light = np.full((40, 60, 3), 20, np.uint8), np.full((40, 60, 3), 230, np.uint8)
    (tmp_path / "a1.png").write_bytes(make.photo(light, "PNG"))
    (tmp_path / "a%d.png").write_bytes(make.photo(dark, "PNG"))
    with open_clip(tmp_path / "a%d.png") as clip:
        assert next(clip.frames()).rgb().max() == 20
    make.video(tmp_path / "b1.mp4", [light] * 3)
    make.video(tmp_path / "b0.mp4", [dark] * 3).rename(tmp_path / "b%d.mp4")
    with open_clip(tmp_path / "b%d.mp4") as clip:
        assert next(clip.frames()).rgb().mean() < 30


@pytest.mark.parametrize("name", ["Müller #1 %d.mp4", "子供.mp4", "-i.mp4", "noextension", "photo.jpg"])
def test_name_does_not_matter(tmp_path, film, name):
    path = tmp_path / name
    path.write_bytes(film.read_bytes())
    with open_clip(path) as clip:
        assert clip.info.kind == "video"


def test_open_clip_takes_links_and_relative_paths(tmp_path, film, monkeypatch):
    (tmp_path / "link.mp4").symlink_to(film)
    monkeypatch.chdir(tmp_path)
    with open_clip("link.mp4") as clip:
        assert (clip.info.width_px, clip.info.height_px) == (160, 120)


def test_open_clip_refuses_sound_only_with_cover(tmp_path, make):
    path = tmp_path / "song.mp4"
    with av.open(str(path), "w") as container:
        sound = container.add_stream("aac", rate=44100)
        for index in range(20):
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
            frame.sample_rate, frame.pts = 44100, 1024 * index
            container.mux(sound.encode(frame))
        container.mux(sound.encode())
    with pytest.raises(ClipError, match="holds no moving pictures"):
        open_clip(path)


def test_open_clip_refuses_too_many_tracks(tmp_path):
    path = tmp_path / "tracks.mkv"
    with av.open(str(path), "w") as container:
        tracks = [container.add_stream("pcm_s16le", rate=8000) for _ in range(65)]
        for track in tracks:
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 80), np.int16), format="s16", layout="mono")
            frame.sample_rate, frame.pts = 8000, 0
            container.mux(track.encode(frame))
            container.mux(track.encode())
    with pytest.raises(ClipError, match=r"at most 64 tracks in a file; 'tracks\.mkv' has 65"):
        open_clip(path)


def test_open_clip_refuses_more_than_four_hours(tmp_path, make):
    path = make.video(tmp_path / "long.mkv", make.moving(2), times_s=[0, 5 * 3600])
    with pytest.raises(ClipError, match=r"at most 4 hours; 'long\.mkv' declares 5\.0 hours"):
        open_clip(path)


@pytest.mark.parametrize(("which", "message"), [("whole", "has 8192 x 8192"), ("stream", None), ("grows", None)])
def test_bombs_stay_small(bombs, which, message):
    """A few kilobytes that unpack to gigabytes end with a ClipError or a note, with little memory."""
    if not Path("/proc/self/status").exists():
        pytest.skip("the peak of a process is read from /proc")
    code = """
import re, sys
from pathlib import Path
from posture.clip import open_clip
from posture.errors import ClipError
told = "nothing"
try:
    with open_clip(sys.argv[1]) as clip:
        for frame in clip.frames(0):
            assert frame.width_px == 160, "a large picture came through"
        told = str(clip.damage_note)
except ClipError as error:
    told = str(error)
print(int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) // 1024)
print(told)
"""
    peak_mb, told = run_python(code, str(bombs[which])).splitlines()
    assert int(peak_mb) < MAX_PEAK_MB
    assert told not in ("nothing", "None")
    if message:
        assert message in told


def test_video_limit_is_checked_before_decoding(bombs, monkeypatch):
    def decode(*_: object) -> None:
        raise AssertionError("decoded before the size was checked")

    monkeypatch.setattr("posture.clip.video._decoded", decode)
    with pytest.raises(ClipError, match="at most 36 megapixels a picture"):
        open_clip(bombs["whole"])


def test_file_that_changes_is_refused(tmp_path, film):
    path = tmp_path / "film.mp4"
    path.write_bytes(film.read_bytes())
    with open_clip(path) as clip:
        path.write_bytes(film.read_bytes() + b"more")
        with pytest.raises(ClipError, match="changed while it was being read"):
            list(clip.frames())
        path.unlink()
        with pytest.raises(ClipError, match="is gone now"):
            list(clip.frames())


@pytest.mark.parametrize("damaged", range(40))
def test_damaged_bytes_end_with_frames_or_a_clip_error(tmp_path, film, damaged, capfd):
    rng = np.random.default_rng(damaged)
    data = bytearray(film.read_bytes())
    for place in rng.integers(0, len(data), rng.integers(1, 30)):
        data[place] = rng.integers(256)
    path = tmp_path / "film.mp4"
    path.write_bytes(data)
    times, told = [], "Expected words. None needed."
    try:
        with open_clip(path) as clip:
            times = [frame.time_s for frame in clip.frames(0)]
    except ClipError as error:
        told = str(error)
    assert re.match(r"Expected .*\. .*\.$|Expected .*: .*\.$", told)
    assert all(later > earlier for earlier, later in itertools.pairwise(times))
    assert capfd.readouterr().err == ""


def test_import_stays_light():
    code = "import sys, posture.clip; print([name for name in sys.argv[1:] if name in sys.modules])"
    heavy = ["mediapipe", "scipy", "streamlit", "matplotlib", "av", "PIL", "pillow_heif", "posture.geometry", "posture.signal"]
    assert run_python(code, *heavy).strip() == "[]"


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        (None, None),
        (date(1904, 1, 1), None),
        (date(1970, 1, 1), None),
        (date(1980, 1, 1), None),
        (date(1989, 12, 31), None),
        (date(1990, 1, 1), "1990-01-01"),
        (date(2015, 6, 7), "2015-06-07"),
        (datetime.now(UTC).astimezone().date() + timedelta(days=1), None),
    ],
)
def test_believable_date(moment, expected):
    assert believable_date(moment) == expected
