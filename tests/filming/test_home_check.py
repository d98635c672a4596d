"""Clips that came back from a family: what was not as asked, in lines that a tired person understands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from posture.cli import main
from posture.filming.home_check import (
    BETTER,
    HomeCheck,
    check_home_clip,
    home_lines,
    read_face_height_px,
)
from posture.geometry.angles import posture_matrix
from posture.geometry.lens import lens_of
from posture.measure import Measurement, Settings, read_clip
from posture.see import SeenClip, SeenPerson
from posture.signal.track import HeadTrack
from posture.summary.record import Conditions, Summary

SIDES = ("right", "left")
GOOD = Settings(mirrored="no", roll_deg=0.0, pitch_deg=0.0)
KNOWN = Conditions(filmed_on="2026-05-03", filmed_on_source="said aloud", target="far picture")


def returned(
    seconds: float = 500.0,
    settings: Settings = GOOD,
    conditions: Conditions = KNOWN,
    size_px: tuple[int, int] = (1280, 720),
    face_px: float = 200.0,
    persons: int = 1,
    faces: bool = True,
    shoulders: bool = True,
    restless: bool = False,
) -> Measurement:
    """A clip in which a head is held 12 degrees to the left and looks aside every four seconds."""
    time_s = np.arange(0, seconds, 0.2)
    n = len(time_s)
    wobble = 0.3 * np.sin(1.7 * time_s)
    aside = 20 * np.exp(-(((time_s % 4 - 3.6) / 0.15) ** 2))
    away = 35 * np.sin(7 * time_s) if restless else 0.0
    rotation, place = posture_matrix(-12 + wobble, aside + away, wobble), np.tile([0.0, 0.0, 60.0], (n, 1))
    if not faces:
        rotation[:], place[:] = np.nan, np.nan
    width, height = size_px
    line = np.array([[width / 2 - 1.6 * face_px, 0.8 * height], [width / 2 + 1.6 * face_px, 0.8 * height]])
    seen_line = np.tile(line, (n, 1, 1)) if shoulders else np.full((n, 2, 2), np.nan)
    known = np.where(np.isfinite(rotation[:, 0, 0]), 1.0, np.nan)
    track = HeadTrack(
        time_s, rotation, place, face_px * known, known, width, height, 0.9 * width, shoulders_px=seen_line,
        shoulders_turn_deg=np.zeros(n) if shoulders else np.full(n, np.nan), arm_raised=np.zeros(n),
    )  # fmt: skip
    people = tuple(SeenPerson(track, None, (k,), 1.0, False) for k in range(persons)) if faces else ()
    seen = SeenClip("video", 64 * "b", width, height, time_s, people, None, None, None, lens_of(width), None, ())
    return read_clip(seen, settings, conditions)


def states(measured: Measurement, face_px: float | None = 200.0) -> dict[str, str]:
    """State of every check by its name."""
    return {check.name: check.state for check in check_home_clip(measured.summary, face_px)}


def lines_of(measured: Measurement, face_px: float | None = 200.0) -> list[str]:
    """The lines that are said."""
    return home_lines(measured.summary, check_home_clip(measured.summary, face_px))


def test_home_check_of_a_clip_as_asked_finds_nothing_wrong():
    measured = returned()
    assert set(states(measured).values()) == {"ok"}
    assert lines_of(measured) == [
        "This film can be used.", f"Seen: The head is held 12 degrees to the child's left shoulder ({between(measured.summary)}).",
    ]  # fmt: skip


def between(summary: Summary) -> str:
    """The interval of tilt in words."""
    assert summary.habitual is not None
    assert summary.habitual.tilt_deg is not None
    tilt = summary.habitual.tilt_deg
    return f"between {round(-tilt.high)} and {round(-tilt.low)}"


@pytest.mark.parametrize(
    ("name", "changed", "state"),
    [
        ("long enough", {"seconds": 200.0}, "ok"),
        ("long enough", {"seconds": 170.0}, "not"),
        ("long enough", {"restless": True}, "not"),
        ("face", {"faces": False}, "not"),
        ("landscape", {"size_px": (720, 1280)}, "not"),
        ("plumb line", {"settings": Settings(mirrored="no")}, "not"),
        ("level", {"settings": Settings(mirrored="no", roll_deg=9.0)}, "not"),
        ("shoulders", {"shoulders": False}, "not"),
        ("alone", {"persons": 2}, "not"),
        ("target", {"conditions": Conditions()}, "not known"),
        ("target", {"conditions": Conditions(target="play")}, "not"),
        ("date", {"conditions": Conditions()}, "not known"),
        ("side", {"settings": Settings(roll_deg=0.0)}, "not known"),
        ("side", {"settings": Settings(mirrored="yes", roll_deg=0.0)}, "not"),
    ],
)
def test_home_check_notices(name, changed, state):
    measured = returned(**changed)
    assert states(measured)[name] == state
    if state != "ok":
        assert BETTER[name] in lines_of(measured)[-1]


@pytest.mark.parametrize(("face_px", "state"), [(None, "not known"), (71.0, "not"), (73.0, "ok")])
def test_home_check_wants_a_tenth_of_the_picture(face_px, state):
    assert states(returned(), face_px)["face size"] == state


def test_home_check_knows_no_level_where_nothing_is_plumb():
    assert "level" not in states(returned(settings=Settings(mirrored="no")))


@pytest.mark.parametrize(
    "changed",
    [
        {},
        {"seconds": 40.0},
        {"faces": False},
        {"restless": True},
        {"settings": Settings(), "conditions": Conditions(), "persons": 3},
    ],
    ids=["good", "short", "no face", "restless", "all unknown"],
)
def test_home_lines_are_four_at_most_and_short(changed):
    lines = lines_of(returned(**changed))
    assert 2 <= len(lines) <= 4
    assert all(line.endswith(".") and len(line) < 330 for line in lines)


def test_home_lines_of_a_short_clip_say_why_what_was_seen_and_how_to_film_better():
    lines = lines_of(returned(seconds=40.0, settings=Settings(), conditions=Conditions()))
    assert lines[0] == "Please film again: this film is not enough."
    assert "40 seconds long; 3 minutes are the least, 8 are asked for" in lines[1]
    assert lines[2].startswith("Seen: The head is tilted by 12 degrees")
    assert lines[3].startswith("Next time: film for 8 minutes without stopping; ")


def test_home_lines_name_no_side_while_mirroring_is_unknown():
    measured = returned(settings=Settings(roll_deg=0.0))
    said = " ".join([*lines_of(measured), *(check.text for check in check_home_clip(measured.summary, 200.0))])
    assert not any(side in said for side in SIDES)


def test_home_lines_with_care_where_a_result_is_there_but_not_all_was_as_asked():
    assert lines_of(returned(shoulders=False))[0] == "This film can be used, with care."


def test_every_check_says_how_to_film_better():
    for changed in ({}, {"settings": Settings()}, {"faces": False}):
        checks = check_home_clip(returned(**changed).summary)
        assert {check.name for check in checks} <= set(BETTER)
        assert len({check.name for check in checks}) == len(checks)
    assert home_lines(returned().summary, [HomeCheck("light", "not", "The face was dark")])[-1].endswith(f"{BETTER['light']}.")


def test_read_face_height_is_the_median_of_the_track(tmp_path):
    measured = returned(seconds=30.0, face_px=131.0)
    _, summary = measured.save(tmp_path, "clip")
    assert read_face_height_px(summary) == pytest.approx(131)
    (tmp_path / "other.track.csv").write_text("time_s\n1\n")
    assert read_face_height_px(tmp_path / "other.summary.json") is None
    assert read_face_height_px(tmp_path / "none.summary.json") is None


def test_home_check_command_says_it_for_every_clip(tmp_path):
    good, short = replace(returned(), track=returned().track), returned(seconds=40.0)
    paths = [measured.save(tmp_path, name)[1] for name, measured in (("good", good), ("other", short))]
    done = CliRunner().invoke(main, ["home-check", *map(str, paths), "--all"])
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    assert lines[0] == "good.summary.json:" or "other" in lines[0]
    assert "This film can be used." in lines
    assert "  ok        landscape: It was filmed lengthwise" in lines


def test_home_check_command_refuses_what_is_no_summary(tmp_path):
    path = tmp_path / "clip.summary.json"
    path.write_text("{}")
    done = CliRunner().invoke(main, ["home-check", str(path)])
    assert done.exit_code == 2
    assert "Expected the summary of a clip" in done.output
