"""From a file to a summary, with a film made of a photograph; and the file of conditions."""

import csv
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Literal

import av
import cv2
import numpy as np
import pytest
from PIL import Image

from posture.errors import ClipError, ConditionsError
from posture.face.model import MODEL_SHA256
from posture.measure import Measurement, Settings, measure_clip, read_clip, read_conditions
from posture.see import SeenClip, SeenPerson
from posture.signal.track import HeadTrack
from posture.summary.record import Conditions

SECONDS, RATE = 3, 15

Film = Callable[[str, np.ndarray], Path]


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Film:
    """Writes a film of a picture that shifts by a pixel or two, three seconds long."""
    folder = tmp_path_factory.mktemp("films")

    def write(name: str, picture: np.ndarray) -> Path:
        path = folder / name
        with av.open(str(path), "w") as container:
            stream = container.add_stream("libx264", rate=RATE, options={"qp": "10", "preset": "ultrafast"})
            stream.height, stream.width = picture.shape[:2]
            stream.pix_fmt = "yuv420p"
            for k in range(SECONDS * RATE):
                shift = np.array([[1, 0, 1.5 * np.sin(k / 7)], [0, 1, np.cos(k / 9)]])
                moved = cv2.warpAffine(picture, shift, picture.shape[1::-1], borderMode=cv2.BORDER_REPLICATE)
                container.mux(stream.encode(av.VideoFrame.from_ndarray(np.asarray(moved, np.uint8), format="rgb24")))
            container.mux(stream.encode())
        return path

    return write


@pytest.fixture(scope="module")
def path(film: Film, astronaut: np.ndarray) -> Path:
    return film("child surname.mp4", astronaut)


@pytest.fixture(scope="module")
def measured(path: Path) -> Measurement:
    return measure_clip(path, Settings(mirrored="no"), Conditions(target="camera"), label="K7")


def test_every_frame_has_a_face(measured: Measurement) -> None:
    assert measured.facts.faces_found_share == 1
    assert measured.facts.persons == measured.facts.person == 1
    assert measured.facts.frames_analysed == pytest.approx(SECONDS * RATE, abs=1)
    assert measured.facts.duration_s == pytest.approx(SECONDS, abs=0.1)
    assert measured.facts.damage is None
    assert measured.facts.face_height_px == pytest.approx(108, abs=6)
    assert (measured.track.quality > 0.2).all()


def test_still_head_is_one_steady_moment(measured: Measurement) -> None:
    angles = measured.found.cleaned.angles_deg
    assert angles.std(0).max() < 0.6
    assert measured.found.steady_s == pytest.approx(SECONDS, abs=0.3)
    summary = measured.summary
    assert summary.habitual is None
    assert summary.moment is not None
    assert summary.moment.tilt_deg is not None
    assert summary.moment.tilt_deg.value == pytest.approx(np.median(angles[:, 0]), abs=0.3)
    assert {c.name: c.level for c in summary.checks}["steady time"] == "fail"


def test_film_reads_as_the_photograph_that_it_was_made_of(measured: Measurement, astronaut: np.ndarray, tmp_path: Path) -> None:
    Image.fromarray(astronaut).save(tmp_path / "photo.png")
    photo = measure_clip(tmp_path / "photo.png", Settings(mirrored="no"))
    assert photo.facts.kind == "photograph"
    assert photo.facts.duration_s is None
    assert photo.summary.moment is not None
    assert photo.summary.habitual is None
    found = photo.found.cleaned.angles_deg[0]
    assert np.median(measured.found.cleaned.angles_deg, axis=0) == pytest.approx(found, abs=1.2)


def test_unknown_mirroring_hides_sides(path: Path) -> None:
    measurement = measure_clip(path, Settings(every_s=0.5))
    document = json.loads(measurement.summary.to_json())
    assert document["sided"] is False
    assert document["clip"]["mirrored"] == "unknown"
    assert document["moment"]["tilt_deg"] is None
    assert document["moment"]["turn_deg"] is None
    assert document["moment"]["chin_deg"] is not None


def test_record_names_no_file_and_says_what_made_it(measured: Measurement, path: Path) -> None:
    text = measured.summary.to_json()
    assert "surname" not in text
    assert str(path.parent) not in text
    made_with = measured.summary.made_with
    assert made_with.model_sha256 == MODEL_SHA256
    assert made_with.settings["mirrored"] == "no"
    assert made_with.settings["focal_px"] == pytest.approx(0.9 * 512)
    assert measured.summary.clip.label == "K7"


def test_mirrored_film_reads_as_the_same_posture(measured: Measurement, film: Film, astronaut: np.ndarray) -> None:
    mirrored = measure_clip(
        film("mirrored.mp4", np.ascontiguousarray(astronaut[:, ::-1])), Settings(mirrored="yes", every_s=0.3)
    )
    ours, theirs = (np.median(m.found.cleaned.angles_deg, axis=0) for m in (measured, mirrored))
    assert theirs == pytest.approx(ours, abs=2.0)
    assert theirs[0] == pytest.approx(ours[0], abs=0.8)


def test_stated_roll_brings_a_turned_film_upright(measured: Measurement, film: Film, astronaut: np.ndarray) -> None:
    matrix = cv2.getRotationMatrix2D((255.5, 255.5), 10.0, 1.0)
    turned = cv2.warpAffine(astronaut, matrix, (512, 512), borderMode=cv2.BORDER_REPLICATE)
    path = film("turned.mp4", turned)
    upright = measure_clip(path, Settings(mirrored="no", roll_deg=10.0, every_s=0.3))
    ours, theirs = (np.median(m.found.cleaned.angles_deg, axis=0) for m in (measured, upright))
    assert theirs == pytest.approx(ours, abs=2.0)
    assert theirs[0] == pytest.approx(ours[0], abs=0.8)
    assert upright.summary.clip.upright == "marked"
    as_filmed = read_clip(upright.seen, Settings(mirrored="no"))
    tilt = np.median(as_filmed.found.cleaned.angles_deg[:, 0])
    assert tilt == pytest.approx(ours[0] + 10, abs=1.0)


def test_measuring_twice_gives_equal_numbers(path: Path) -> None:
    first, second = (measure_clip(path, Settings(mirrored="no", every_s=0.5)) for _ in range(2))
    assert np.array_equal(first.track.rotation, second.track.rotation)
    assert first.summary == second.summary


def test_every_frame_is_reported_with_progress(path: Path) -> None:
    told: list[tuple[float, bool, float | None]] = []
    measure_clip(
        path, Settings(every_s=0.5), on_frame=lambda frame, faces, share: told.append((frame.time_s, len(faces) == 1, share))
    )
    assert len(told) == pytest.approx(6, abs=1)
    assert all(found for _, found, _ in told)
    shares = [share for *_, share in told]
    assert all(share is not None and 0 <= share <= 1 for share in shares)
    assert shares == sorted(shares)  # type: ignore[type-var]


def test_track_is_kept_as_seen_whatever_the_reading(measured: Measurement) -> None:
    assert isinstance(measured.track, HeadTrack)
    other = read_clip(measured.seen, Settings(mirrored="yes"))
    assert other.track is measured.track
    assert np.nanmedian(other.found.cleaned.angles_deg[:, 0]) == pytest.approx(
        -np.nanmedian(measured.found.cleaned.angles_deg[:, 0]), abs=0.01
    )


def test_film_without_a_face_is_measured_as_one(film: Film) -> None:
    empty = measure_clip(film("empty.mp4", np.full((240, 320, 3), 128, np.uint8)), Settings(mirrored="no"))
    assert empty.facts.faces_found_share == 0
    assert empty.facts.face_height_px is None
    assert (empty.facts.persons, empty.facts.person) == (0, None)
    assert empty.seen.persons == ()
    assert not empty.track.face_found.any()
    assert empty.summary.habitual is None
    assert empty.summary.moment is None
    assert empty.summary.checks[0].level == "fail"


Track = Callable[..., HeadTrack]
Held = Callable[..., tuple[np.ndarray, np.ndarray]]

FIRST, SECOND = (-14.0, -12.0, -8.0), (9.0, 15.0, 2.0)
"""Tilt, turn and chin of two persons."""


@pytest.fixture
def seen(make_track: Track, make_held: Held) -> SeenClip:
    """A clip of two persons who both held a posture for long; the second is out of sight at first."""
    persons = []
    for k, (tilt, turn, chin) in enumerate((FIRST, SECOND)):
        holds = [(tilt + a, turn + b, chin) for a, b in ((0, 0), (4, 3), (-3, -2), (1, 1))] * 4
        time_s, angles = make_held(holds, hold_s=3.0)
        gone = time_s < 5 if k else np.zeros(len(time_s), bool)
        persons.append(SeenPerson(make_track(time_s, *angles.T, missing=gone), None, (k + 1,), 1 - gone.mean(), False))
    return SeenClip("video", "d" * 64, 1280, 720, time_s, tuple(persons), None, "2024-05-01", "the container", 1000.0, ())


def checks_of(measurement: Measurement) -> dict[str, str]:
    return {c.name: c.level for c in measurement.summary.checks}


def rows_of(measurement: Measurement, folder: Path) -> list[dict[str, str]]:
    track, _ = measurement.save(folder, "clip")
    with track.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize(("person", "number", "tilt_deg"), [(None, 1, FIRST[0]), (1, 1, FIRST[0]), (2, 2, SECOND[0])])
def test_person_is_chosen_by_number(seen: SeenClip, tmp_path: Path, person: int | None, number: int, tilt_deg: float) -> None:
    measured = read_clip(seen, Settings(mirrored="no", person=person))
    assert measured.track is seen.persons[number - 1].track
    assert measured.summary.habitual is not None
    assert measured.summary.habitual.tilt_deg is not None
    assert measured.summary.habitual.tilt_deg.value == pytest.approx(tilt_deg, abs=1.0)
    assert (measured.summary.clip.persons, measured.summary.clip.person) == (2, number)
    assert measured.summary.made_with.settings["person"] == person
    assert checks_of(measured)["persons"] == "warn"
    assert "person" not in checks_of(measured)
    table = rows_of(measured, tmp_path)
    found = [row["person"] for row in table if row["face_found"] == "1"]
    assert set(found) == {str(number)}
    assert {row["person"] for row in table if row["face_found"] == "0"} <= {""}
    assert len(found) == seen.persons[number - 1].track.face_found.sum()


def test_another_person_needs_no_picture(seen: SeenClip, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither the clip nor the landmarks are opened again."""

    def refuse(*_: object) -> None:
        raise AssertionError("the clip was opened again")

    for name in ("open_clip", "FacesFollower", "estimate_pose"):
        monkeypatch.setattr(f"posture.see.{name}", refuse)
    first, second = (read_clip(seen, Settings(mirrored="no", person=n)) for n in (1, 2))
    assert first.seen is second.seen is seen
    assert first.facts.faces_found_share == 1
    assert second.facts.faces_found_share == pytest.approx(seen.persons[1].track.face_found.mean())
    assert np.nanmedian(second.found.read.angles_deg[:, 0]) == pytest.approx(SECOND[0], abs=1.5)


@pytest.mark.parametrize("mirrored", ["no", "unknown"])
def test_person_who_was_not_seen_gives_nothing(seen: SeenClip, tmp_path: Path, mirrored: Literal["no", "unknown"]) -> None:
    measured = read_clip(seen, Settings(mirrored=mirrored, person=3))
    assert np.isnan(measured.track.rotation).all()
    assert len(measured.track.time_s) == len(seen.time_s)
    summary = measured.summary
    assert (summary.habitual, summary.unsided, summary.moment, summary.postures) == (None, None, None, [])
    assert summary.clip.person is None
    assert summary.clip.persons == 2
    assert checks_of(measured)["person"] == "fail"
    assert {row["person"] for row in rows_of(measured, tmp_path)} == {""}
    document = json.loads(summary.to_json())
    assert document["habitual"] is None
    assert document["clip"]["person"] is None


@pytest.mark.parametrize("mirrored", ["no", "unknown"])
def test_still_face_has_no_habitual_posture(seen: SeenClip, mirrored: Literal["no", "unknown"]) -> None:
    """The same track has one as long as it is a person's."""
    alone = replace(seen, persons=seen.persons[:1])
    assert read_clip(alone, Settings(mirrored=mirrored)).found.postures
    measured = read_clip(replace(alone, persons=(replace(alone.persons[0], is_still=True),)), Settings(mirrored=mirrored))
    assert (measured.summary.habitual, measured.summary.unsided) == (None, None)
    assert checks_of(measured)["movement"] == "fail"
    assert measured.facts.is_still
    assert (measured.facts.persons, measured.facts.still_faces) == (1, 1)


def test_thing_beside_a_person_is_no_second_person(seen: SeenClip) -> None:
    with_doll = replace(seen, persons=(seen.persons[0], replace(seen.persons[1], is_still=True)))
    measured = read_clip(with_doll, Settings(mirrored="no"))
    assert (measured.facts.persons, measured.facts.still_faces, measured.facts.is_still) == (1, 1, False)
    assert measured.summary.habitual is not None
    assert checks_of(measured)["movement"] == "pass"
    assert "persons" not in checks_of(measured)
    # It can still be asked for, and is then what it is.
    asked = read_clip(with_doll, Settings(mirrored="no", person=2))
    assert asked.facts.is_still
    assert asked.summary.habitual is None
    assert checks_of(asked)["movement"] == "fail"


def test_date_of_the_file_is_taken_where_none_is_given(seen: SeenClip) -> None:
    dated = read_clip(seen, Settings()).summary.conditions
    assert (dated.filmed_on, dated.filmed_on_source) == ("2024-05-01", "the container")
    assert read_clip(seen, Settings(), Conditions(filmed_on="2023-01-02")).summary.conditions.filmed_on == "2023-01-02"


def test_file_that_is_no_clip_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "text.mp4"
    path.write_text("no film", encoding="utf-8")
    with pytest.raises(ClipError, match="Expected"):
        measure_clip(path)


@pytest.mark.parametrize(
    ("settings", "focal_px"),
    [(Settings(focal_px=700.0), 700.0), (Settings(view_deg=90.0), 256.0), (Settings(), 0.9 * 512)],
    ids=["stated", "from the view", "usual"],
)
def test_focal_length(path: Path, settings: Settings, focal_px: float) -> None:
    spaced = Settings(focal_px=settings.focal_px, view_deg=settings.view_deg, every_s=2.0)
    assert measure_clip(path, spaced).track.focal_px == pytest.approx(focal_px)


def write(folder: Path, text: str) -> Path:
    path = folder / "conditions.json"
    path.write_text(text, encoding="utf-8")
    return path


def test_conditions_are_read(tmp_path: Path) -> None:
    text = '{"age_months": 50, "target": "far picture", "position": "sitting", "covered_eye": "none"}'
    conditions = read_conditions(write(tmp_path, text))
    assert (conditions.age_months, conditions.target, conditions.position) == (50, "far picture", "sitting")
    assert conditions.examiner is None


@pytest.mark.parametrize(
    ("text", "message"),
    [
        pytest.param("", "'conditions.json' cannot be read as one", id="empty"),
        pytest.param("{", "cannot be read as one", id="broken"),
        pytest.param("[1]", "Expected a JSON object of conditions.*list came", id="list"),
        pytest.param("3", "int came", id="number"),
        pytest.param("null", "NoneType came", id="null"),
        pytest.param('{"colour": 1}', "'colour': Extra inputs.*Keys are filmed_on", id="unknown key"),
        pytest.param('{"age_months": "young"}', "'age_months': .*valid integer", id="word for a number"),
        pytest.param('{"age_months": -1}', "'age_months': .*greater than or equal to 0", id="negative"),
        pytest.param('{"target": "television"}', "'target': .*'camera'", id="unknown target"),
        pytest.param('{"target_distance_m": NaN}', "'target_distance_m': .*finite", id="not a number"),
    ],
)
def test_conditions_that_are_wrong_name_the_key(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(ConditionsError, match=message):
        read_conditions(write(tmp_path, text))


def test_conditions_in_another_encoding_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "conditions.json"
    path.write_bytes('{"examiner": "\xe9"}'.encode("latin-1"))
    with pytest.raises(ConditionsError, match="cannot be read as one"):
        read_conditions(path)


def test_missing_conditions_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ConditionsError, match=r"Expected a JSON file of conditions; 'none\.json'"):
        read_conditions(tmp_path / "none.json")
