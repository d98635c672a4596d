"""The command line as a user runs it: exit statuses, lines, files; foreign and broken input."""

import csv
import json
import shutil
import subprocess
import sys
from pathlib import Path

import av
import cv2
import jsonschema
import numpy as np
import pytest

from posture.summary.files import PICTURE_COLUMNS, TRACK_COLUMNS
from posture.summary.schema import SCHEMAS, schema_text, shipped_schema

SAMPLES = Path(__file__).parents[1] / "sample_videos"
SECRET = "Little Maria 2019"


def run(*arguments: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run the program in a process of its own."""
    command = [sys.executable, "-m", "posture.cli", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, timeout=120, check=False)


def write_video(path: Path, pictures: list[np.ndarray], rate: int = 15) -> Path:
    """An H.264 film of RGB pictures."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=rate)
        stream.height, stream.width = pictures[0].shape[:2]
        stream.pix_fmt = "yuv420p"
        for picture in pictures:
            container.mux(stream.encode(av.VideoFrame.from_ndarray(np.ascontiguousarray(picture), format="rgb24")))
        container.mux(stream.encode())
    return path


@pytest.fixture(scope="module")
def landscape() -> np.ndarray:
    """A hill before a sky; no face in it."""
    picture = np.zeros((240, 320, 3), np.uint8)
    picture[:] = np.linspace(120, 230, 240)[:, None, None]
    cv2.fillPoly(picture, [np.array([[0, 180], [90, 120], [200, 170], [319, 130], [319, 239], [0, 239]])], (70, 120, 60))
    return picture


@pytest.fixture(scope="module")
def short_film(tmp_path_factory: pytest.TempPathFactory, astronaut: np.ndarray) -> Path:
    """Two seconds of a photograph that sways, under a name that must never come out."""
    turned = [cv2.getRotationMatrix2D((256, 256), float(3 * np.sin(i / 5)), 1.0) for i in range(30)]
    pictures = [cv2.warpAffine(astronaut, m, (512, 512), borderMode=cv2.BORDER_REPLICATE) for m in turned]
    return write_video(tmp_path_factory.mktemp("film") / f"{SECRET}.mp4", pictures)


def bad_files(folder: Path) -> dict[str, Path]:
    """Files that no measurement can come of."""
    sound = folder / "sound.mp4"
    with av.open(str(sound), "w") as container:
        stream = container.add_stream("aac", rate=44100)
        for _ in range(20):
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
            frame.rate = 44100
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    target = folder / "target.mp4"
    shutil.copy(SAMPLES / "too-short.mp4", target)
    files = {
        "empty": (folder / "empty.mp4", b""),
        "text": (folder / "text.mp4", b"Dear colleague, thank you for seeing this child.\n" * 40),
        "script": (folder / "script.mp4", f"ffconcat version 1.0\nfile {target.name}\n".encode()),
        "playlist": (folder / "list.m3u8", f"#EXTM3U\n#EXTINF:10,\n{target.name}\n#EXT-X-ENDLIST\n".encode()),
        "cut": (folder / "cut.mp4", target.read_bytes()[:3000]),
    }
    for path, data in files.values():
        path.write_bytes(data)
    return {name: path for name, (path, _) in files.items()} | {"sound": sound}


def test_measure_unreadable_files(tmp_path: Path) -> None:
    bad = bad_files(tmp_path)
    out = tmp_path / "out"
    done = run("measure", *bad.values(), "http://127.0.0.1:9/clip.mp4", tmp_path / "absent.mp4", tmp_path, "--out", out)
    lines = done.stderr.strip().splitlines()
    assert done.returncode == 3
    assert len(lines) == len(bad) + 3
    assert all(line.startswith("posture: Expected") or "no" in line.lower() for line in lines), lines
    assert "Traceback" not in done.stderr
    assert not out.exists() or not list(out.iterdir())


def test_measure_goes_on_after_an_unreadable_file(tmp_path: Path, short_film: Path) -> None:
    bad = tmp_path / "bad.mp4"
    bad.write_bytes(b"not a film")
    done = run("measure", bad, short_film, "--out", tmp_path / "out", "--json")
    assert done.returncode == 3
    assert len(done.stderr.strip().splitlines()) == 1
    assert json.loads(done.stdout)["schema"] == "posture.summary/1"


def write_bomb(path: Path) -> Path:
    """A small file of 8192 x 8192 pixels."""
    frame = av.VideoFrame(8192, 8192, "yuv420p")
    for plane in frame.planes:
        plane.update(bytes(plane.buffer_size))
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=1, options={"qp": "30", "threads": "1", "bframes": "0", "ref": "1"})
        stream.width = stream.height = 8192
        stream.pix_fmt = "yuv420p"
        container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def test_measure_bomb_is_refused(tmp_path: Path) -> None:
    done = run("measure", write_bomb(tmp_path / "bomb.mp4"), "--out", tmp_path / "out")
    assert done.returncode == 3
    assert "8192" in done.stderr


def test_measure_name_with_percent_opens_itself(tmp_path: Path, astronaut: np.ndarray, landscape: np.ndarray) -> None:
    cv2.imwrite(str(tmp_path / "a%d.png"), landscape[:, :, ::-1])
    cv2.imwrite(str(tmp_path / "a1.png"), astronaut[:, :, ::-1])
    done = run("measure", tmp_path / "a%d.png", "--out", tmp_path / "out", "--json")
    assert done.returncode == 0
    assert json.loads(done.stdout)["clip"]["faces_found_share"] == 0


@pytest.mark.parametrize("kind", ["landscape", "one frame", "photograph"])
def test_measure_too_little_is_measured(tmp_path: Path, astronaut: np.ndarray, landscape: np.ndarray, kind: str) -> None:
    if kind == "photograph":
        clip = tmp_path / "picture.png"
        cv2.imwrite(str(clip), astronaut[:, :, ::-1])
    else:
        clip = write_video(tmp_path / "clip.mp4", [landscape] * 10 if kind == "landscape" else [astronaut])
    done = run("measure", clip, "--out", tmp_path / "out", "--mirrored", "no", "--json")
    summary = json.loads(done.stdout)
    assert done.returncode == 0
    assert summary["habitual"] is None
    assert any(check["level"] == "fail" for check in summary["checks"])
    assert (summary["moment"] is None) == (kind == "landscape")


@pytest.mark.parametrize(
    "arguments",
    [
        ["--upright", "aslant"],
        ["--upright", "nan"],
        ["--mirrored", "perhaps"],
        ["--every", "-1"],
        ["--focal-px", "900", "--view-deg", "60"],
    ],
    ids=" ".join,
)
def test_measure_bad_arguments(tmp_path: Path, short_film: Path, arguments: list[str]) -> None:
    done = run("measure", short_film, "--out", tmp_path / "out", *arguments)
    assert done.returncode == 2
    assert not (tmp_path / "out").exists()


def test_measure_bad_conditions(tmp_path: Path, short_film: Path) -> None:
    conditions = tmp_path / "conditions.json"
    conditions.write_text('{"target": "camera", "colour": "red"}')
    done = run("measure", short_film, "--out", tmp_path / "out", "--conditions", conditions)
    assert done.returncode == 2
    assert "colour" in done.stderr
    assert "target_distance_m" in done.stderr


def test_measure_writes_track_and_summary(tmp_path: Path, short_film: Path) -> None:
    conditions = tmp_path / "conditions.json"
    conditions.write_text('{"target": "far picture", "age_months": 40}')
    arguments = ["--mirrored", "no", "--upright", "-11", "--conditions", conditions, "--label", "P7"]
    done = run("measure", short_film, "--out", tmp_path, *arguments)
    assert done.returncode == 0
    assert done.stderr == ""
    summary = json.loads((tmp_path / f"{SECRET}.summary.json").read_text())
    jsonschema.validate(summary, json.loads(shipped_schema("summary-1.schema.json")))
    assert summary["clip"]["camera_roll_deg"]["value"] == -11
    assert summary["conditions"]["age_months"] == 40
    assert summary["clip"]["label"] == "P7"
    rows = list(csv.DictReader((tmp_path / f"{SECRET}.track.csv").read_text().splitlines()))
    assert tuple(rows[0]) == TRACK_COLUMNS
    assert len(rows) == summary["clip"]["frames_analysed"] == 30
    assert SECRET not in (tmp_path / f"{SECRET}.summary.json").read_text() + (tmp_path / f"{SECRET}.track.csv").read_text()


def test_measure_unknown_mirroring_has_no_side(tmp_path: Path, short_film: Path) -> None:
    done = run("measure", short_film, "--out", tmp_path)
    rows = list(csv.DictReader((tmp_path / f"{SECRET}.track.csv").read_text().splitlines()))
    assert tuple(rows[0]) == TRACK_COLUMNS + PICTURE_COLUMNS
    assert all(row["tilt_deg"] == row["turn_deg"] == "" for row in rows)
    assert all(row["tilt_picture_deg"] for row in rows)
    said = done.stdout.replace(str(tmp_path), "").lower()
    assert "left" not in said
    assert "right" not in said


def test_measure_twice_gives_the_same(tmp_path: Path, short_film: Path) -> None:
    first, second = (run("measure", short_film, "--out", tmp_path / name, "--json").stdout for name in ("a", "b"))
    assert first == second
    assert json.loads(first)["clip"]["faces_found_share"] == 1


@pytest.mark.parametrize("name", SCHEMAS)
def test_shipped_schema_is_current(name: str) -> None:
    assert shipped_schema(name) == schema_text(SCHEMAS[name])


def test_help_names_every_command() -> None:
    said = run("--help").stdout
    assert all(command in said for command in ("measure", "sample", "demo", "page"))
