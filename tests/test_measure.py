"""From a file to a summary, with a film made of a photograph; and the file of conditions."""

import json
from collections.abc import Callable
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from PIL import Image

from posture.errors import ClipError, ConditionsError
from posture.face.model import MODEL_SHA256
from posture.measure import Measurement, Settings, measure_clip, read_conditions, read_measurement
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
                container.mux(stream.encode(av.VideoFrame.from_ndarray(moved, format="rgb24")))
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
    assert measured.facts.persons == 1
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
    as_filmed = read_measurement(upright.track, upright.facts, Settings(mirrored="no"), Conditions())
    tilt = np.median(as_filmed.found.cleaned.angles_deg[:, 0])
    assert tilt == pytest.approx(ours[0] + 10, abs=1.0)


def test_measuring_twice_gives_equal_numbers(path: Path) -> None:
    first, second = (measure_clip(path, Settings(mirrored="no", every_s=0.5)) for _ in range(2))
    assert np.array_equal(first.track.rotation, second.track.rotation)
    assert first.summary == second.summary


def test_every_frame_is_reported_with_progress(path: Path) -> None:
    told: list[tuple[float, bool, float | None]] = []
    measure_clip(
        path, Settings(every_s=0.5), on_frame=lambda frame, face, share: told.append((frame.time_s, face is not None, share))
    )
    assert len(told) == pytest.approx(6, abs=1)
    assert all(found for _, found, _ in told)
    shares = [share for *_, share in told]
    assert all(share is not None and 0 <= share <= 1 for share in shares)
    assert shares == sorted(shares)  # type: ignore[type-var]


def test_track_is_kept_as_seen_whatever_the_reading(measured: Measurement) -> None:
    assert isinstance(measured.track, HeadTrack)
    other = read_measurement(measured.track, measured.facts, Settings(mirrored="yes"), Conditions())
    assert other.track is measured.track
    assert np.nanmedian(other.found.cleaned.angles_deg[:, 0]) == pytest.approx(
        -np.nanmedian(measured.found.cleaned.angles_deg[:, 0]), abs=0.01
    )


def test_film_without_a_face_is_measured_as_one(film: Film) -> None:
    empty = measure_clip(film("empty.mp4", np.full((240, 320, 3), 128, np.uint8)), Settings(mirrored="no"))
    assert empty.facts.faces_found_share == 0
    assert empty.facts.face_height_px is None
    assert empty.summary.habitual is None
    assert empty.summary.moment is None
    assert empty.summary.checks[0].level == "fail"


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
