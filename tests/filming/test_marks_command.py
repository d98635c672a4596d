"""`posture measure FILM --marks`: a film that was marked while it was filmed gives a result for every step."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from posture.batch.child import Job
from posture.cli import main
from posture.clinic.examination import read_examination
from posture.errors import SpanError
from posture.filming import marked
from posture.filming.marked import MIRRORED_FROM, read_marks_file, settings_of_film
from posture.filming.marks import Mark, marks_text
from posture.geometry.angles import posture_matrix
from posture.geometry.lens import lens_of
from posture.measure import Measurement, Settings, read_clip
from posture.see import SeenClip, SeenPerson
from posture.signal.track import HeadTrack
from posture.summary.files import read_summary
from tests.test_cli import run

SAMPLE = Path(__file__).parents[2] / "sample_videos" / "steady-left-tilt.mp4"

MARKS = (
    Mark("play", 0, 40), Mark("far", 40.2, 70), Mark("cover-right", 70.2, 110, 1620), Mark("tilt-right", 110.2, 129.8),
)  # fmt: skip
HELD = ((-14, 40), (-14, 30), (-4, 40), (25, 20))
"""Tilt and seconds of each."""


def seen_film() -> SeenClip:
    """The whole film as it was seen."""
    time_s = np.arange(0, sum(seconds for _, seconds in HELD), 1 / 15)
    which = np.searchsorted(np.cumsum([seconds for _, seconds in HELD]), time_s, side="right")
    wobble, n = 0.3 * np.sin(1.7 * time_s), len(time_s)
    aside = 20 * np.exp(-(((time_s % 4 - 3.6) / 0.15) ** 2))
    rotation = posture_matrix(np.array([tilt for tilt, _ in HELD])[which] + wobble, aside + wobble, wobble)
    track = HeadTrack(time_s, rotation, np.tile([0.0, 0.0, 60.0], (n, 1)), np.full(n, 150.0), np.ones(n), 640, 480, 576.0)
    persons = (SeenPerson(track, None, (1,), 1.0, False),)
    return SeenClip("video", 64 * "c", 640, 480, time_s, persons, None, "2026-01-02", "file", lens_of(640), None, ())


@pytest.fixture
def jobs(monkeypatch: pytest.MonkeyPatch) -> list[Job]:
    """Measuring, answered with a made-up film; the jobs that came."""
    came: list[Job] = []

    def instead(job: Job, on_progress, **_) -> Measurement:
        came.append(job)
        return read_clip(seen_film(), job.settings, job.conditions, job.label)

    monkeypatch.setattr(marked, "measure_in_child", instead)
    return came


@pytest.fixture
def film(tmp_path: Path) -> Path:
    """A film and its marks."""
    path = tmp_path / "film.mkv"
    path.write_bytes(b"film")
    path.with_suffix(".marks.json").write_text(marks_text(MARKS, length_s=130.0, notes=[]))
    return path


def command(film: Path, *more: str) -> list[str]:
    """The arguments with which a film is measured by its marks."""
    return ["measure", str(film), "--marks", str(film.with_suffix(".marks.json")), "--out", str(film.parent / "out"), *more]


def test_marks_give_every_step_a_result_with_its_conditions(film, jobs):
    done = CliRunner().invoke(main, command(film, "--upright", "0", "--label", "K7"))
    assert done.exit_code == 0, done.output
    out = film.parent / "out"
    assert sorted(path.name for path in out.iterdir()) == [
        "film.cover-right.summary.json", "film.cover-right.track.csv", "film.far.summary.json", "film.far.track.csv",
        "film.play.examination.json", "film.play.summary.json", "film.play.track.csv",
    ]  # fmt: skip
    summaries = {name: read_summary(out / f"film.{name}.summary.json") for name in ("play", "far", "cover-right")}
    tilts = {name: summary.habitual.tilt_deg.value for name, summary in summaries.items()}
    assert tilts == pytest.approx({"play": -14, "far": -14, "cover-right": -4}, abs=0.5)
    assert summaries["cover-right"].conditions.covered_eye == "right"
    assert summaries["far"].conditions.target == "far picture"
    assert {summary.clip.label for summary in summaries.values()} == {"K7"}
    examination = read_examination(out / "film.play.examination.json")
    assert examination.sha256 == summaries["play"].clip.sha256
    assert examination.asked[0].reached_deg.value == pytest.approx(25, abs=1.5)
    for words in ("Free play:", "Far picture:", "Right eye covered:", "14 degrees to the child's left shoulder"):
        assert words in done.output
    assert len(jobs) == 1


def test_marks_say_that_the_film_is_not_mirrored(film, jobs):
    assert CliRunner().invoke(main, command(film)).exit_code == 0
    assert (jobs[0].settings.mirrored, jobs[0].settings.mirrored_from) == ("no", MIRRORED_FROM)
    summary = read_summary(film.parent / "out" / "film.play.summary.json")
    assert summary.sided
    assert summary.made_with.settings["mirrored_from"] == MIRRORED_FROM


@pytest.mark.parametrize("stated", ["yes", "unknown"])
def test_marks_leave_what_was_stated_of_mirroring(film, jobs, stated):
    done = CliRunner().invoke(main, command(film, "--mirrored", stated))
    assert done.exit_code == 0
    assert (jobs[0].settings.mirrored, jobs[0].settings.mirrored_from) == (stated, None)
    assert read_summary(film.parent / "out" / "film.play.summary.json").sided == (stated == "yes")


def test_settings_of_film_keep_a_stated_side():
    assert settings_of_film(Settings(mirrored="yes")) == Settings(mirrored="yes")
    assert settings_of_film(Settings()).mirrored == "no"


def test_marks_measured_twice_write_over_their_own_results(film, jobs):
    for _ in range(2):
        assert CliRunner().invoke(main, command(film)).exit_code == 0
    assert len(list((film.parent / "out").iterdir())) == 7


def test_marks_as_json_give_a_line_for_every_step(film, jobs):
    done = CliRunner().invoke(main, command(film, "--json"))
    read = [json.loads(line) for line in done.stdout.splitlines()]
    assert [one["schema"] for one in read] == 3 * ["posture.summary/1"]


@pytest.mark.parametrize(
    "more", [("--asked", "turn-left=1-2"), ("--on-target", "1-2"), ("--head-set", "1-2"), ("--resume",), ("other.mkv",)]
)
def test_marks_refuse_times_from_elsewhere(film, jobs, more):
    done = CliRunner().invoke(main, command(film, *more))
    assert done.exit_code == 2
    assert "Expected --marks with one film" in done.output
    assert not jobs


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{}", "Expected marks with schema posture.marks/1"),
        ("no json", "as JSON; what came is none"),
        ("\udcff", "cannot be read as such"),
        (marks_text([]), "has none. Measure the film without --marks"),
    ],
)
def test_read_marks_file_refuses(tmp_path, text, words):
    path = tmp_path / "film.marks.json"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(SpanError, match=words):
        read_marks_file(path)


def test_marks_of_another_film_are_refused(film, jobs):
    film.with_suffix(".marks.json").write_text(marks_text([Mark("play", 500, 540)]))
    done = CliRunner().invoke(main, command(film))
    assert done.exit_code == 2
    assert "the marks of another film?" in done.output


@pytest.mark.slow
def test_marks_of_a_real_film_measure_in_a_process_of_their_own(tmp_path):
    marks = tmp_path / "film.marks.json"
    marks.write_text(marks_text([Mark("play", 0, 14), Mark("cover-left", 14, 28, 1620)]))
    done = run("measure", SAMPLE, "--marks", marks, "--upright", "0", "--every", "0.2", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    names = sorted(path.name for path in (tmp_path / "out").glob("*.summary.json"))
    assert names == ["steady-left-tilt.cover-left.summary.json", "steady-left-tilt.play.summary.json"]
    assert read_summary(tmp_path / "out" / names[0]).conditions.covered_eye == "left"
