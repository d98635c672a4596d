"""The command line as a user runs it: exit statuses, lines, files; foreign and broken input."""

import csv
import hashlib
import json
import os
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import av
import cv2
import jsonschema
import numpy as np
import pytest

from posture.signal.spans import spans_from
from posture.summary.files import PICTURE_COLUMNS, TRACK_COLUMNS
from posture.summary.schema import SCHEMAS, schema_text, shipped_schema
from tests.test_batch import processes_of, wait_until

SAMPLES = Path(__file__).parents[1] / "sample_videos"
SECRET = "Little Maria 2019"


def run(
    *arguments: object, cwd: Path | None = None, environment: dict[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    """Run the program in a process of its own."""
    command = [sys.executable, "-m", "posture.cli", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, env=environment, timeout=120, check=False)


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
    assert [path.name for path in out.iterdir()] == ["results.csv"]
    rows = list(csv.DictReader((out / "results.csv").read_text().splitlines()))
    assert [f"posture: {row['reason']}" for row in rows] == lines
    table = done.stdout.strip().splitlines()
    assert len(table) == len(lines) + 3
    assert table[-1].startswith(f"{len(lines)} clips: 0 with a habitual posture, 0 without one, {len(lines)} without a result.")


def test_measure_goes_on_after_an_unreadable_file(tmp_path: Path, short_film: Path) -> None:
    bad = tmp_path / "bad.mp4"
    bad.write_bytes(b"not a film")
    done = run("measure", bad, short_film, "--out", tmp_path / "out", "--json")
    assert done.returncode == 3
    line, head, *rows, _, counts = done.stderr.strip().splitlines()
    assert line.startswith("posture: Expected a video")
    assert head.startswith("clip ")
    assert [row.split("  ")[0] for row in rows] == ["bad.mp4", SECRET]
    assert counts.startswith("2 clips: 0 with a habitual posture, 1 without one, 1 without a result.")
    assert json.loads(done.stdout)["schema"] == "posture.summary/1"


@pytest.fixture(scope="module")
def four_films(tmp_path_factory: pytest.TempPathFactory, astronaut: np.ndarray) -> list[Path]:
    """Films of a photograph, all different."""
    folder = tmp_path_factory.mktemp("films")
    return [write_video(folder / f"film-{k}.mp4", [np.roll(astronaut, k, axis=1)] * 20) for k in range(4)]


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory, four_films: list[Path]) -> tuple[Path, str]:
    """The folder of results and the output of a run of four films that nothing stopped."""
    out = tmp_path_factory.mktemp("undisturbed")
    done = run("measure", *four_films, "--out", out)
    assert done.returncode == 0
    assert done.stderr == ""
    return out, done.stdout


def files_in(folder: Path) -> dict[str, str]:
    """What the files of a folder hold, but for one that was being written when the program was killed."""
    return {path.name: path.read_text() for path in folder.iterdir() if not path.name.startswith(".writing-")}


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are counted in /proc")
@pytest.mark.parametrize(("how", "workers"), [(signal.SIGKILL, 2), (signal.SIGINT, 1)], ids=["killed", "Ctrl-C"])
def test_measure_stopped_in_the_middle_and_resumed(
    tmp_path: Path, four_films: list[Path], undisturbed: tuple[Path, str], how: signal.Signals, workers: int
) -> None:
    out = tmp_path / "out"
    command = [sys.executable, "-m", "posture.cli", "measure", *map(str, four_films), "--out", str(out)]
    with subprocess.Popen(
        [*command, "--workers", str(workers)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        # A shell starts what runs in its background with Ctrl-C ignored; the tests may run there.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    ) as program:  # fmt: skip
        wait_until(lambda: list(out.glob("*.summary.json")) or program.poll() is not None, 60)
        assert program.poll() is None, program.communicate()
        # As a terminal does it: to the program and to all that it started. Killing is for the program alone.
        if how is signal.SIGINT:
            os.killpg(program.pid, how)
        else:
            os.kill(program.pid, how)
        _, said = program.communicate(timeout=30)
        wait_until(lambda: not processes_of(program.pid), 10)
    assert program.returncode == (1 if how is signal.SIGINT else -how)
    if how is signal.SIGINT:
        assert re.fullmatch(r"posture: stopped; \d of 4 clips are done and kept\. --resume goes on from there\.\n", said)
    kept = list(out.glob("*.summary.json"))
    assert 1 <= len(kept) < 4
    before = {path: path.stat().st_mtime_ns for path in kept}
    done = run("measure", *four_films, "--out", out, "--resume")
    assert done.returncode == 0
    assert f"posture: {len(kept)} of 4 clips were measured before" in done.stderr
    assert {path: path.stat().st_mtime_ns for path in kept} == before
    assert files_in(out) == files_in(undisturbed[0])
    assert done.stdout.replace(str(out), "") == undisturbed[1].replace(str(undisturbed[0]), "")


def test_measure_resume_measures_again_with_other_settings(undisturbed: tuple[Path, str], four_films: list[Path]) -> None:
    arguments = ["measure", four_films[0], "--out", undisturbed[0], "--resume", "--json"]
    taken, again = run(*arguments), run(*arguments, "--person", "1", "--upright", "3")
    assert "1 of 1 clips were measured before" in taken.stderr
    assert again.stderr == ""
    assert json.loads(taken.stdout)["clip"]["camera_roll_deg"]["value"] == 0
    assert json.loads(again.stdout)["clip"]["camera_roll_deg"]["value"] == 3


def test_measure_several_clips_as_json_in_their_order(tmp_path: Path, four_films: list[Path]) -> None:
    clips = [four_films[2], four_films[0]]
    done = run("measure", *clips, "--out", tmp_path, "--json", "--workers", "2", "--label", "P7")
    sums = [hashlib.sha256(clip.read_bytes()).hexdigest() for clip in clips]
    assert [json.loads(line)["clip"]["sha256"] for line in done.stdout.splitlines()] == sums
    rows = list(csv.DictReader((tmp_path / "results.csv").read_text().splitlines()))
    assert [(row["clip"], row["label"], row["sha256"]) for row in rows] == [
        ("film-2", "P7", sums[0][:8]), ("film-0", "P7", sums[1][:8]),
    ]  # fmt: skip


@pytest.mark.parametrize(("module", "library"), [("mediapipe", "libEGL"), ("cv2", "libGL")])
def test_measure_without_a_system_library_is_one_line(
    tmp_path: Path, four_films: list[Path], module: str, library: str
) -> None:
    (tmp_path / module).mkdir()
    (tmp_path / module / "__init__.py").write_text(f"raise OSError('{library}.so.1: cannot open shared object file')")
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(tmp_path), str(Path(__file__).parents[1])])}
    done = run("measure", *four_films, "--out", tmp_path / "out", environment=environment)
    assert done.returncode == 1
    assert done.stdout == ""
    assert re.fullmatch(rf"posture: Expected the system library {library}; .* sudo apt-get install .*\n", done.stderr)
    assert not (tmp_path / "out").exists()


def test_measure_keeps_a_foreign_results_file_and_shows_the_table(tmp_path: Path) -> None:
    (tmp_path / "results.csv").write_text("mine")
    done = run("measure", tmp_path / "no.mp4", tmp_path / "none.mp4", "--out", tmp_path)
    assert done.returncode == 1
    assert (tmp_path / "results.csv").read_text() == "mine"
    assert "2 clips: 0 with a habitual posture" in done.stdout
    assert done.stderr.splitlines()[-1].startswith("posture: Expected 'results.csv' to be free")


def test_measure_one_clip_writes_no_table(tmp_path: Path, four_films: list[Path]) -> None:
    done = run("measure", four_films[0], "--out", tmp_path)
    assert done.stdout.count("\n") == 3
    assert sorted(path.name for path in tmp_path.iterdir()) == ["film-0.summary.json", "film-0.track.csv"]


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
        ["--workers", "0"],
        ["--workers", "33"],
        ["--person", "0"],
        ["--device", "telescope"],
        ["--pitch", "70"],
        ["--target-cm", "1", "2", "three"],
        ["--target-cm", "3000", "0", "0"],
        ["--chin-zero", "absent.summary.json"],
    ],
    ids=" ".join,
)
def test_measure_bad_arguments(tmp_path: Path, short_film: Path, arguments: list[str]) -> None:
    done = run("measure", short_film, "--out", tmp_path / "out", *arguments)
    assert done.returncode == 2
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--upright", "scene", "--pitch", "0"], "Expected --upright scene, which reads the pitch too, or --pitch; both came"),
        (["--head-set", "0-1", "--chin-zero", __file__], "Expected --head-set or --chin-zero; both came"),
    ],
    ids=["scene and pitch", "two zeros"],
)
def test_measure_two_that_exclude_each_other(tmp_path: Path, short_film: Path, arguments: list[str], said: str) -> None:
    done = run("measure", short_film, "--out", tmp_path / "out", *arguments)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("option", "times", "said"),
    [
        ("--on-target", "soon", r"'soon' came\. Write minutes:seconds, from - to\."),
        ("--head-set", "0:01-0:02, 0:10", r"'0:10' came\. Write minutes:seconds, from - to\."),
        ("--head-set", "0:01-0:02, 9-4", r"from the earlier to the later; '9-4' came\. Exchange the two\."),
    ],
)
def test_measure_times_that_cannot_be_read(tmp_path: Path, short_film: Path, option: str, times: str, said: str) -> None:
    done = run("measure", short_film, "--out", tmp_path / "out", option, times)
    assert done.returncode == 2
    assert re.fullmatch(rf"posture: Expected times .*{said}\n", done.stderr)
    assert done.stdout == ""
    assert not (tmp_path / "out").exists()


def test_measure_chin_zero_of_what_is_no_summary(tmp_path: Path, short_film: Path) -> None:
    zero = tmp_path / "zero.txt"
    zero.write_text("{}")
    done = run("measure", short_film, "--out", tmp_path / "out", "--chin-zero", zero)
    assert done.returncode == 2
    assert re.fullmatch(r"posture: Expected the summary of a clip; 'zero\.txt' is none\. Give .*\n", done.stderr)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("arguments", [["--target-cm", "nan", "0", "0"], ["--focal-px", "nan"]], ids=" ".join)
def test_measure_not_a_number_is_refused(tmp_path: Path, short_film: Path, arguments: list[str]) -> None:
    done = run("measure", short_film, "--out", tmp_path / "out", *arguments)
    assert done.returncode == 2
    assert arguments[0] in done.stderr
    assert not (tmp_path / "out").exists()


def test_measure_with_all_that_can_be_stated(tmp_path: Path, short_film: Path) -> None:
    stated = ["--mirrored", "no", "--upright", "scene", "--device", "phone-front", "--target-cm", "-30", "10", "5"]
    times = ["--on-target", "0:00-0:01, 0:01.2-0:01.5", "--head-set", "0.5-1.5"]
    done = run("measure", short_film, "--out", tmp_path, "--json", *stated, *times)
    assert (done.returncode, done.stderr) == (0, "")
    summary = json.loads(done.stdout)
    jsonschema.validate(summary, json.loads(shipped_schema("summary-1.schema.json")))
    settings = summary["made_with"]["settings"]
    assert {name: settings[name] for name in ("mirrored", "device", "focal_px", "roll_deg", "pitch_deg", "view_deg")} == {
        "mirrored": "no", "device": "phone-front", "roll_deg": None, "pitch_deg": None, "view_deg": None,
        "focal_px": pytest.approx(256 / np.tan(np.radians(33.0)), abs=1e-3),
    }  # fmt: skip
    assert [float(v) for v in settings["target_cm"].split(",")] == [-30.0, 10.0, 5.0]
    assert spans_from(settings["on_target"]) == ((0.0, 1.0), (1.2, 1.5))
    assert spans_from(settings["head_set"]) == ((0.5, 1.5),)
    assert settings["from_scene"] == "yes"
    assert settings["chin_zero_settings"] == 1
    levels = {check["name"]: check["level"] for check in summary["checks"]}
    assert levels["target"] == "warn"
    # The zero of this clip is that of the next one, whose head it moves.
    zero = settings["chin_zero_deg"]
    (written,) = tmp_path.glob("*.summary.json")
    moments = [
        json.loads(run("measure", short_film, "--out", tmp_path / "b", "--json", "--mirrored", "no", *more).stdout)
        for more in ([], ["--chin-zero", written])
    ]
    chins = [m["moment"]["chin_deg"]["value"] for m in moments]
    assert chins[0] - chins[1] == pytest.approx(zero, abs=0.02)
    assert moments[1]["made_with"]["settings"]["chin_zero_deg"] == zero


def test_measure_no_times_on_the_target(tmp_path: Path, short_film: Path) -> None:
    """No times at all are marks with nothing inside."""
    done = run("measure", short_film, "--out", tmp_path, "--json", "--on-target", "")
    assert done.returncode == 0
    (target,) = [check for check in json.loads(done.stdout)["checks"] if check["name"] == "target"]
    assert target["level"] == "warn"
    assert "0 s" in target["text"]


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


def test_measure_imports_nothing_of_the_working_folder(tmp_path: Path, short_film: Path) -> None:
    (tmp_path / "numpy.py").write_text("from pathlib import Path\nPath('taken').touch()\n", encoding="utf-8")
    # As the installed command does: a script of another folder, which puts that one on the path and not the working folder.
    (tmp_path / "bin").mkdir()
    script = tmp_path / "bin" / "run.py"
    script.write_text("from posture.cli import main\nmain(prog_name='posture')\n", encoding="utf-8")
    command = [sys.executable, str(script), "measure", str(short_film), "--out", "out"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, timeout=120, check=False)
    assert (done.returncode, list((tmp_path / "out").glob("*.summary.json")) != []) == (0, True), done.stderr
    assert not (tmp_path / "taken").exists()


def test_measure_twice_gives_the_same(tmp_path: Path, short_film: Path) -> None:
    first, second = (run("measure", short_film, "--out", tmp_path / name, "--json").stdout for name in ("a", "b"))
    assert first == second
    assert json.loads(first)["clip"]["faces_found_share"] == 1


@pytest.mark.parametrize("name", SCHEMAS)
def test_shipped_schema_is_current(name: str) -> None:
    assert shipped_schema(name) == schema_text(*SCHEMAS[name])


def test_measure_help_names_every_option() -> None:
    """With what it takes, and in sentences."""
    done = run("measure", "--help", environment=os.environ | {"COLUMNS": "120"})
    assert done.returncode == 0
    said = " ".join(done.stdout.split())
    for option, taken in {
        "--upright": "as-filmed|scene|DEGREES",
        "--pitch": "",
        "--device": "[laptop|webcam|phone|phone-front|tablet|camcorder]",
        "--target-cm": "RIGHT UP NEARER",
        "--on-target": "FROM-TO,...",
        "--head-set": "FROM-TO,...",
        "--chin-zero": "SUMMARY",
        "--conditions": "FILE",
        "--resume": "",
    }.items():
        assert f"{option} {taken}".strip() in said, option
    assert "as the child sees it" in said
    assert "plumb lines" in said
    assert not re.search(r"None|<|Sentinel", said.replace("<=", ""))


def test_help_names_every_command() -> None:
    said = run("--help").stdout
    assert all(command in said for command in ("measure", "hint", "sample", "demo", "page"))
