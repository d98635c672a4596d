"""From a file to a summary, with a film made of a photograph; and the file of conditions."""

import csv
import json
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, Literal

import av
import cv2
import numpy as np
import pytest
from PIL import Image

from posture.errors import ClipError, ConditionsError, RecordError, SpanError
from posture.face.model import MODEL_SHA256, POSE_MODEL_SHA256
from posture.geometry.angles import FACING, camera_matrix, posture_angles
from posture.geometry.lens import Lens, lens_of, refit
from posture.measure import Measurement, Settings, measure_clip, read_chin_zero, read_clip, read_conditions
from posture.see import SeenClip, SeenPerson
from posture.signal.asked import Asked
from posture.signal.chin_zero import ChinZero
from posture.signal.interval import Z95
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
    return SeenClip(
        "video", "d" * 64, 1280, 720, time_s, tuple(persons), None, "2024-05-01", "the container", lens_of(1280), None, ()
    )


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

    for name in ("open_clip", "FacesFollower", "estimate_poses"):
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


DIFFERENT: dict[str, list[Any]] = {
    "mirrored": ["no", "yes", "unknown"],
    "roll_deg": [None, 0.0, 3.0, -3.0],
    "pitch_deg": [None, 0.0, 12.0],
    "roll_sd_deg": [None, 0.5, 1.0],
    "pitch_sd_deg": [None, 0.5, 3.0],
    "from_scene": [False, True],
    "focal_px": [None, 900.0, 901.0],
    "view_deg": [None, 60.0],
    "device": [None, "laptop", "phone"],
    "every_s": [0.0, 0.5, 1.0],
    "person": [None, 1, 2],
    "target_cm": [None, (0.0, 0.0, 0.0), (-30.0, 10.0, 5.0), (10.0, -30.0, 5.0), (100.0001, 0.0, 0.0), (100.0004, 0.0, 0.0)],
    "on_target": [None, (), ((1.0, 2.0),), ((1.0, 2.5),), ((1.0, 2.0), (3.0, 4.0)),
                  ((3723.255, 3800.0),), ((3723.259, 3800.0),)],
    "head_set": [(), ((1.0, 2.0),), ((1.0, 2.0), (3.0, 4.0)), ((12.0, 3.0),), ((1.0, 23.0),)],
    "chin_zero": [None, ChinZero(0.0, 4.5, 1), ChinZero(-5.0, 4.5, 1), ChinZero(-5.0, 2.6, 1), ChinZero(-5.0, 4.5, 3),
                  ChinZero(-12.34561, 4.5, 1), ChinZero(-12.34564, 4.5, 1)],
    "mirrored_from": [None, "the recording", "a second witness"],
    "asked": [(), (Asked("turn right", 1.0, 2.0),), (Asked("turn left", 1.0, 2.0),), (Asked("turn right", 1.0, 2.5),),
              (Asked("turn right", 1.0, 2.0), Asked("turn left", 3.0, 4.0))],
}  # fmt: skip
"""Values of each setting of which no two are equal."""


SAID_WHERE_SET = {"mirrored_from", "asked", "passive"}
"""Settings that are stated only where something was set."""


def test_every_setting_is_tried() -> None:
    # Who moved the head says something only of what was asked, see below.
    assert {*DIFFERENT, "passive"} == {field.name for field in fields(Settings)}


def test_who_moved_the_head_is_stated_with_what_was_asked() -> None:
    asked = (Asked("turn right", 1.0, 2.0),)
    stated = [Settings(mirrored="no", asked=asked, passive=passive).stated()["asked"] for passive in (False, True)]
    assert stated[0] != stated[1]
    assert Settings(passive=True).stated() == Settings().stated()


@pytest.mark.parametrize("name", DIFFERENT)
def test_settings_are_stated_alike_exactly_where_they_are_equal(name: str) -> None:
    # While mirroring is unknown what was asked is stated without a side.
    known = {"mirrored": "no"} if name == "asked" else {}
    settings = [Settings(**known, **{name: value}) for value in DIFFERENT[name]]
    for k, one in enumerate(settings):
        for j, other in enumerate(settings):
            assert (one.stated() == other.stated()) == (k == j), (one.stated().get(name), other.stated().get(name))
    # Nothing else moves with it.
    rest = [{key: value for key, value in s.stated().items() if key != name} for s in settings]
    assert all(r == rest[0] for r in rest)


@pytest.mark.parametrize("name", DIFFERENT)
def test_stated_settings_are_plain_and_outlast_json(name: str) -> None:
    for value in DIFFERENT[name]:
        stated = Settings(**{name: value}).stated()
        assert set(stated) - SAID_WHERE_SET == {field.name for field in fields(Settings)} - SAID_WHERE_SET
        assert {type(v) for v in stated.values()} <= {str, float, int, type(None)}
        assert json.loads(json.dumps(stated, allow_nan=False)) == stated


def test_settings_in_the_record_are_those_stated_and_those_used(seen: SeenClip) -> None:
    settings = Settings(
        mirrored="no", device="phone", target_cm=(-30.0, 10.0, 5.0), on_target=((1.0, 20.0),), chin_zero=ChinZero(2.0, 3.0, 2)
    )
    made = read_clip(seen, settings).summary.made_with.settings
    assert made.items() >= {k: v for k, v in settings.stated().items() if k != "focal_px"}.items()
    assert made["focal_px"] == pytest.approx(640 / np.tan(np.radians(30.0)), abs=1e-3)
    assert made["shoulder_model_sha256"] == POSE_MODEL_SHA256
    assert (made["chin_zero_deg"], made["chin_zero_sd_deg"], made["chin_zero_settings"]) == (2.0, 3.0, 2)
    bare = read_clip(seen, Settings()).summary.made_with.settings
    assert (bare["chin_zero_deg"], bare["chin_zero_sd_deg"], bare["chin_zero_settings"]) == (None, None, None)


@pytest.mark.parametrize(
    ("target_cm", "read"),
    [
        (None, (0.0, 0.0, 0.0)),
        ((30.0, 0.0, 0.0), (-30.0, 0.0, 0.0)),
        ((0.0, 10.0, 0.0), (0.0, -10.0, 0.0)),
        ((0.0, 0.0, 5.0), (0.0, 0.0, 5.0)),
        ((-30.0, -10.0, -5.0), (30.0, 10.0, -5.0)),
    ],
)
def test_target_as_the_person_sees_it_is_turned_to_the_camera(target_cm: Any, read: tuple[float, float, float]) -> None:
    """To the right of whoever faces the camera is the camera's left; up is not down; nearer is forward of it."""
    assert Settings(target_cm=target_cm).read_settings().target_cm == read


def straight(
    make_track: Track, time_s: np.ndarray, turn_deg: float, chin_deg: float, place_cm: Any = (0.0, 0.0, 60.0)
) -> SeenClip:
    """A clip of one person, seen with a focal length of 1000 px; angles are the camera's where the place is before it."""
    track = make_track(time_s, -12.0, turn_deg, chin_deg, place_cm=place_cm)
    person = SeenPerson(track, None, (1,), 1.0, False)
    return SeenClip("video", "e" * 64, 1280, 720, time_s, (person,), None, None, None, lens_of(1280, 1000.0), None, ())


@pytest.mark.parametrize("mirrored", ["no", "yes"])
@pytest.mark.parametrize(
    ("target_cm", "turn_deg", "chin_deg"),
    [
        ((30.0, 0.0, 0.0), 26.565, 0.0),
        ((-30.0, 0.0, 0.0), -26.565, 0.0),
        ((0.0, 30.0, 0.0), 0.0, 26.565),
        ((30.0, 0.0, 20.0), 36.870, 0.0),
    ],
    ids=["right", "left", "above", "right and nearer"],
)
def test_who_faces_the_target_is_not_turned(
    make_track: Track, mirrored: Literal["no", "yes"], target_cm: Any, turn_deg: float, chin_deg: float
) -> None:
    """From 60 cm, 30 cm beside the camera takes atan(30 / 60) = 26.565, and atan(30 / 40) = 36.870 for 20 cm nearer."""
    picture = -1 if mirrored == "yes" else 1
    clip = straight(make_track, np.arange(30) / 15, picture * turn_deg, chin_deg)
    moment = read_clip(clip, Settings(mirrored=mirrored, target_cm=target_cm, focal_px=1000.0)).summary.moment
    assert moment is not None
    assert moment.turn_deg is not None
    assert [moment.turn_deg.value, moment.chin_deg.value] == pytest.approx([0.0, 0.0], abs=0.02)  # type: ignore[union-attr]


def test_another_lens_is_read_without_a_picture(make_track: Track, monkeypatch: pytest.MonkeyPatch) -> None:
    """A head 20 cm beside the axis at 60 cm is at 78 cm through 1.3 of the focal length.

    Its line of sight, atan(20 / 60) = 18.435, becomes atan(20 / 78) = 14.381. The head turns with it, so that against
    the camera little changes, and against a target 30 cm to the person's right, where x is -30, it does:
    atan(50 / 60) = 39.806 and atan(50 / 78) = 32.661.
    """
    for name in ("open_clip", "FacesFollower", "estimate_poses"):
        monkeypatch.setattr(f"posture.see.{name}", None)
    clip = straight(make_track, np.arange(30) / 15, 7.0, 0.0, (20.0, 0.0, 60.0))
    same, other = (read_clip(clip, Settings(mirrored="no", focal_px=focal)) for focal in (1000.0, 1300.0))
    assert same.found.read.lens.focal_px == 1000.0
    assert other.found.read.lens == Lens(1300.0, 0.03, "a stated focal length")
    assert other.summary.made_with.settings["focal_px"] == 1300.0
    assert other.track is same.track
    track = clip.persons[0].track
    fitted, _ = refit(track.rotation[0], track.place_cm[0], 1000.0, 1300.0)
    tilt, turn, chin = (float(angle) for angle in posture_angles(fitted))
    # What a fit changes beside the turn of the line of sight is the perspective of a near face.
    against_camera = [tilt, turn - 14.381, chin]
    assert against_camera == pytest.approx([-12.0, 7.0, 0.0], abs=1.0)
    for measured, azimuth, angles in ((same, 18.435, [-12.0, 7.0, 0.0]), (other, 14.381, against_camera)):
        assert measured.found.read.azimuth_deg == pytest.approx(np.full(30, azimuth), abs=0.002)
        assert measured.found.read.angles_deg == pytest.approx(np.tile(angles, (30, 1)), abs=0.01)
    beside = [read_clip(clip, Settings(mirrored="no", focal_px=f, target_cm=(30.0, 0.0, 0.0))) for f in (1000.0, 1300.0)]
    turns = [m.found.read.angles_deg[0, 1] for m in beside]
    assert turns == pytest.approx([7.0 + 18.435 - 39.806, turn - 32.661], abs=0.01)


@pytest.mark.parametrize(
    ("settings", "file_px", "focal_px", "sd_share"),
    [
        ({}, None, 1152.0, 0.18),
        ({}, 900.0, 900.0, 0.05),
        ({"device": "phone"}, None, 1108.513, 0.12),
        ({"device": "phone"}, 900.0, 900.0, 0.05),
        ({"view_deg": 90.0, "device": "phone"}, 900.0, 640.0, 0.05),
        ({"focal_px": 1000.0, "device": "phone"}, 900.0, 1000.0, 0.03),
    ],
)
def test_best_known_lens_is_taken_when_read_anew(
    make_track: Track, settings: dict[str, Any], file_px: float | None, focal_px: float, sd_share: float
) -> None:
    """1280 / 2 / tan(30) = 1108.5 px for a phone, 640 for a right angle across."""
    clip = replace(straight(make_track, np.arange(30) / 15, 0.0, 0.0), file_focal_px=file_px)
    measured = read_clip(clip, Settings(**settings))
    assert measured.summary.made_with.settings["focal_px"] == pytest.approx(focal_px, abs=1e-3)
    # Seen with the stated 1000 px, whose own uncertainty the track does not hold here.
    if settings.get("focal_px") != 1000.0:
        assert (measured.found.read.lens.focal_px, measured.found.read.lens.sd_share) == (
            pytest.approx(focal_px, abs=1e-3),
            sd_share,
        )


def test_upright_from_the_scene_is_in_the_record(make_track: Track) -> None:
    clip = straight(make_track, np.arange(30) / 15, 0.0, 0.0)
    camera = camera_matrix(6.0, 10.0)
    track = clip.persons[0].track
    n = len(track.time_s)
    said = {"roll_deg": 6.0, "pitch_deg": 10.0, "roll_sd_deg": 0.5, "pitch_sd_deg": 1.0}
    filmed = replace(
        track,
        rotation=FACING @ camera @ FACING @ track.rotation,
        place_cm=track.place_cm @ camera.T,
        **{f"camera_{name}": np.full(n, value) for name, value in said.items()},
    )
    clip = replace(clip, persons=(replace(clip.persons[0], track=filmed),))
    asked, plain = (
        read_clip(clip, Settings(mirrored="no", focal_px=1000.0, from_scene=scene)).summary for scene in (True, False)
    )
    assert (asked.clip.upright, plain.clip.upright) == ("scene", "as-filmed")
    assert (asked.clip.camera_roll_deg.value, asked.clip.camera_pitch_deg.value) == (pytest.approx(6.0), pytest.approx(10.0))
    assert asked.made_with.settings["from_scene"] != plain.made_with.settings["from_scene"]
    assert asked.moment is not None
    assert asked.moment.tilt_deg is not None
    assert asked.moment.tilt_deg.value == pytest.approx(-12.0, abs=0.05)
    # Without it the interval reaches as far as the picture's own lines do.
    roll = plain.clip.camera_roll_deg
    assert roll.value == 0.0
    assert roll.high >= 6.0
    assert {c.name: c.level for c in asked.checks}["upright"] == "pass"


SET = ((0.0, 2.9), (3.6, 6.3))
"""Times of the first two holds."""


@pytest.fixture
def saved_zero(seen: SeenClip, tmp_path: Path) -> tuple[Measurement, Path]:
    """A clip in which the head was set twice, and its summary on disk."""
    measured = read_clip(seen, Settings(mirrored="no", head_set=SET))
    return measured, measured.save(tmp_path, "set")[1]


def test_chin_zero_comes_back_out_of_a_summary(saved_zero: tuple[Measurement, Path], seen: SeenClip) -> None:
    measured, path = saved_zero
    used, zero = measured.found.read.chin_zero, read_chin_zero(path)
    assert used is not None
    assert used.settings == 2
    assert zero == ChinZero(pytest.approx(used.value_deg, abs=6e-4), pytest.approx(used.sd_deg, abs=6e-4), 2)
    assert zero.sd_deg == pytest.approx(4.5 / 2**0.5, abs=1e-3)
    # Another clip counts its chin from there, and hands the zero on.
    other = read_clip(seen, Settings(mirrored="no", chin_zero=zero))
    plain = read_clip(seen, Settings(mirrored="no"))
    assert other.summary.habitual is not None
    assert plain.summary.habitual is not None
    moved = plain.summary.habitual.chin_deg.value - other.summary.habitual.chin_deg.value
    assert moved == pytest.approx(zero.value_deg, abs=0.011)
    assert read_chin_zero(other.save(path.parent, "other")[1]) == zero
    # The interval holds the sd of the zero instead of that of faces.
    chins = [m.chin_deg for m in (plain.summary.habitual, other.summary.habitual)]
    widths = [(chin.high - chin.value) ** 2 for chin in chins]
    assert widths[0] - widths[1] == pytest.approx(Z95**2 * (4.5**2 - zero.sd_deg**2), abs=0.5)


@pytest.mark.parametrize("content", [b"", b"no JSON", b"[]", b"{}", b"\xff\xfe", b'{"schema": "posture.summary/1"}'], ids=repr)
def test_chin_zero_of_what_is_no_summary_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "thing.json"
    path.write_bytes(content)
    with pytest.raises(
        RecordError,
        match=r"^Expected the summary of a clip; 'thing\.json' is none\. Give .*\.summary\.json, as measure writes it\.$",
    ):
        read_chin_zero(path)


def test_chin_zero_of_nothing_is_refused(tmp_path: Path) -> None:
    for path in (tmp_path / "absent.summary.json", tmp_path):
        with pytest.raises(RecordError, match="Expected the summary of a clip"):
            read_chin_zero(path)


@pytest.mark.parametrize("head_set", [(), ((900.0, 910.0),)], ids=["none marked", "marked after the end"])
def test_chin_zero_of_a_clip_without_one_is_refused(seen: SeenClip, tmp_path: Path, head_set: Any) -> None:
    _, path = read_clip(seen, Settings(mirrored="no", head_set=head_set)).save(tmp_path, "bare")
    with pytest.raises(SpanError, match=r"head was set straight; in 'bare\.summary\.json' it was not\. Mark when it was"):
        read_chin_zero(path)


def test_chin_zero_of_a_summary_that_was_tampered_with_is_refused(saved_zero: tuple[Measurement, Path]) -> None:
    _, path = saved_zero
    whole = json.loads(path.read_text(encoding="utf-8"))
    whole["made_with"]["settings"]["chin_zero_deg"] = "seven"
    path.write_text(json.dumps(whole), encoding="utf-8")
    with pytest.raises(SpanError, match="it was not"):
        read_chin_zero(path)
