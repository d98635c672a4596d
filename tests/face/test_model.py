"""The model that ships is the published one, and its canonical face is what the geometry takes it for."""

import hashlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from posture.errors import ModelError
from posture.face import model
from posture.face.model import (
    MODEL_NAME,
    MODEL_SHA256,
    POSE_MODEL_NAME,
    POSE_MODEL_SHA256,
    CanonicalFace,
    load_canonical_face,
    load_model_bytes,
)


@pytest.fixture
def fresh() -> Iterator[None]:
    """Nothing remembered before, nothing wrong remembered after."""
    load_model_bytes.cache_clear()
    load_canonical_face.cache_clear()
    yield
    load_model_bytes.cache_clear()
    load_canonical_face.cache_clear()


@pytest.fixture(scope="module")
def face() -> CanonicalFace:
    return load_canonical_face()


class Folder:
    """Stands for the installed package, with a model of our own."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __truediv__(self, name: str) -> Path:
        return self.path / name


def test_shipped_model_is_the_published_one(fresh: None) -> None:
    assert hashlib.sha256(load_model_bytes()).hexdigest() == MODEL_SHA256


@pytest.mark.parametrize("change", ["one byte", "cut short", "empty"])
def test_altered_model_is_refused(fresh: None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, change: str) -> None:
    data = bytearray(load_model_bytes())
    load_model_bytes.cache_clear()
    if change == "one byte":
        data[len(data) // 2] ^= 1
    (tmp_path / "models").mkdir()
    altered = {"one byte": data, "cut short": data[:-1], "empty": b""}[change]
    (tmp_path / "models" / model.MODEL_NAME).write_bytes(bytes(altered))
    monkeypatch.setattr("posture.face.model.resources.files", lambda _: Folder(tmp_path))
    for load in (load_model_bytes, load_canonical_face):
        with pytest.raises(ModelError, match=rf"sha256 {MODEL_SHA256[:12]}.*damaged or replaced"):
            load()


def test_missing_model_is_refused(fresh: None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("posture.face.model.resources.files", lambda _: Folder(tmp_path))
    with pytest.raises(ModelError, match=r"inside the package; it is missing\. Install again"):
        load_model_bytes()


@pytest.mark.parametrize(("name", "published"), [(MODEL_NAME, MODEL_SHA256), (POSE_MODEL_NAME, POSE_MODEL_SHA256)])
def test_each_model_is_checked_by_its_name(fresh: None, name: str, published: str) -> None:
    assert hashlib.sha256(load_model_bytes(name)).hexdigest() == published


@pytest.mark.parametrize(
    ("data", "message"),
    [
        pytest.param(None, rf"Expected the pose model '{POSE_MODEL_NAME}' inside the package; it is missing", id="missing"),
        pytest.param(b"", rf"pose model with sha256 {POSE_MODEL_SHA256[:12]}.*damaged or replaced", id="empty"),
    ],
)
def test_wrong_pose_model_is_refused(
    fresh: None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, data: bytes | None, message: str
) -> None:
    if data is not None:
        (tmp_path / "models").mkdir()
        (tmp_path / "models" / POSE_MODEL_NAME).write_bytes(data)
    monkeypatch.setattr("posture.face.model.resources.files", lambda _: Folder(tmp_path))
    with pytest.raises(ModelError, match=message):
        load_model_bytes(POSE_MODEL_NAME)


def test_model_that_does_not_ship_is_refused() -> None:
    with pytest.raises(ValueError, match=r"Expected one of the models face_landmarker\.task, pose.*'hands' came"):
        load_model_bytes("hands")


def test_canonical_face_has_the_size_of_a_face(face: CanonicalFace) -> None:
    assert face.vertices_cm.shape == (468, 3)
    assert face.uv.shape == (468, 2)
    assert face.triangles.shape == (898, 3)
    width, height, depth = np.ptp(face.vertices_cm, axis=0)
    assert 13 < width < 18
    assert 15 < height < 20
    assert 5 < depth < 13
    assert (face.triangles.min(), face.triangles.max()) == (0, 467)


def test_canonical_face_is_symmetric(face: CanonicalFace) -> None:
    mirrored = face.vertices_cm * [-1, 1, 1]
    nearest = np.linalg.norm(mirrored[:, None] - face.vertices_cm[None], axis=2).min(1)
    assert nearest.max() < 0.02


def test_canonical_face_has_the_axes_of_the_head(face: CanonicalFace) -> None:
    right_eye, left_eye, nose_tip, chin, forehead = face.vertices_cm[[33, 263, 1, 152, 10]]
    assert right_eye[0] < -3 < 3 < left_eye[0]
    assert right_eye[1:] == pytest.approx(left_eye[1:], abs=0.01)
    assert forehead[1] > nose_tip[1] > chin[1]
    assert nose_tip[2] > max(right_eye[2], left_eye[2], chin[2], forehead[2])


def test_pose_points_are_33_symmetric_ones_with_weights(face: CanonicalFace) -> None:
    assert len(set(face.pose_index.tolist())) == 33
    assert face.pose_weight.shape == (33,)
    assert (face.pose_weight > 0).all()
    points = face.vertices_cm[face.pose_index]
    apart = np.linalg.norm((points * [-1, 1, 1])[:, None] - points[None], axis=2)
    assert apart.min(1).max() < 0.02
    assert face.pose_weight[apart.argmin(1)] == pytest.approx(face.pose_weight)


def test_canonical_face_is_read_only(face: CanonicalFace) -> None:
    for array in (face.vertices_cm, face.uv, face.triangles, face.pose_index, face.pose_weight):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0
