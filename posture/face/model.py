"""The models that ship with the package: their bytes, checked, and the canonical face inside the face model."""

from __future__ import annotations

import hashlib
import io
import struct
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from posture.errors import ModelError

MODEL_NAME = "face_landmarker.task"
MODEL_SHA256 = "64184e229b263107bc2b804c6625db1341ff2bb731874b0bcc2fe6544e0bc9ff"
"""Of the bundle as published; see models/README.md beside it."""

POSE_MODEL_NAME = "pose_landmarker.task"
POSE_MODEL_SHA256 = "445714c1152cab7faa862f2e515a0ec8d0496c6201d9bdf1a64878cb62d24895"

_KINDS = {MODEL_NAME: ("face", MODEL_SHA256), POSE_MODEL_NAME: ("pose", POSE_MODEL_SHA256)}
"""What each model is called in an error, and its sha256."""

T = TypeVar("T", bound=np.generic)

_GEOMETRY_NAME = "geometry_pipeline_metadata_landmarks.binarypb"
_EXPRESSIONS_NAME = "face_blendshapes.tflite"


@dataclass(frozen=True)
class CanonicalFace:
    """The mean face of the model bundle, in the head frame (x to the person's left, y up, z out of the face).

    Attributes
    ----------
    vertices_cm : ndarray, shape (468, 3)
        Centimetres.
    uv : ndarray, shape (468, 2)
    triangles : ndarray of int, shape (898, 3)
    pose_index : ndarray of int, shape (33,)
        The vertices that say most about the pose of the head.
    pose_weight : ndarray, shape (33,)
        Their weights.
    """

    vertices_cm: NDArray[np.float64]
    uv: NDArray[np.float64]
    triangles: NDArray[np.int64]
    pose_index: NDArray[np.int64]
    pose_weight: NDArray[np.float64]


@lru_cache(maxsize=len(_KINDS))
def load_model_bytes(name: str = MODEL_NAME) -> bytes:
    """Read a model from the package and check that it is the published one.

    Parameters
    ----------
    name : str
        `MODEL_NAME` or `POSE_MODEL_NAME`.

    Returns
    -------
    bytes
        The whole bundle; the landmarker is made from these very bytes.

    Raises
    ------
    ModelError
        If the file is missing or its sha256 is not the published one.
    ValueError
        If no such model ships.
    """
    if name not in _KINDS:
        raise ValueError(f"Expected one of the models {', '.join(_KINDS)}; '{name}' came.")
    kind, published = _KINDS[name]
    source = resources.files("posture.face") / "models" / name
    try:
        data = source.read_bytes()
    except OSError as error:
        raise ModelError(f"Expected the {kind} model '{name}' inside the package; it is missing. Install again.") from error
    found = hashlib.sha256(data).hexdigest()
    if found != published:
        raise ModelError(
            f"Expected the {kind} model with sha256 {published[:12]}...; the installed one has {found[:12]}..., so it was damaged"
            " or replaced. Install again."
        )
    return data


@lru_cache(maxsize=1)
def load_landmark_bundle() -> bytes:
    """The face model without its part for expressions, which takes the library a twelfth of every look though nobody asks for it.

    Landmarks are the same to the last digit.

    Raises
    ------
    ModelError
        As from `load_model_bytes`.
    """
    smaller = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(load_model_bytes())) as whole, zipfile.ZipFile(smaller, "w") as part:
        for name in whole.namelist():
            if name != _EXPRESSIONS_NAME:
                part.writestr(zipfile.ZipInfo(name), whole.read(name))
    return smaller.getvalue()


@lru_cache(maxsize=1)
def load_canonical_face() -> CanonicalFace:
    """Read the canonical face out of the model bundle.

    Returns
    -------
    CanonicalFace

    Raises
    ------
    ModelError
        If the bundle is missing, altered or not as expected.
    """
    with zipfile.ZipFile(io.BytesIO(load_model_bytes())) as bundle:
        message = bundle.read(_GEOMETRY_NAME)
    mesh = b""
    pose: list[tuple[int, float]] = []
    for number, value in _fields(message):
        if number == 1:
            mesh = _as_bytes(value)
        elif number == 2:
            entry = dict(_fields(_as_bytes(value)))
            pose.append((_as_int(entry.get(1, 0)), struct.unpack("<f", _as_bytes(entry[2]))[0]))
    buffer = [struct.unpack("<f", _as_bytes(v))[0] for n, v in _fields(mesh) if n == 3]
    index = [_as_int(v) for n, v in _fields(mesh) if n == 4]
    if len(buffer) != 468 * 5 or len(index) % 3 or len(pose) != 33:
        raise ModelError("Expected a canonical face of 468 vertices and 33 pose points in the model; the bundle holds another.")
    table = np.array(buffer).reshape(468, 5)
    return CanonicalFace(
        vertices_cm=_fixed(table[:, :3]),
        uv=_fixed(table[:, 3:]),
        triangles=_fixed(np.array(index, np.int64).reshape(-1, 3)),
        pose_index=_fixed(np.array([i for i, _ in pose], np.int64)),
        pose_weight=_fixed(np.array([w for _, w in pose])),
    )


def _fixed(array: NDArray[T]) -> NDArray[T]:
    """The same array, read-only."""
    array.flags.writeable = False
    return array


def _fields(message: bytes) -> Iterator[tuple[int, int | bytes]]:
    """(field number, value) of a protocol-buffer message; fixed-width values stay bytes."""
    at = 0
    while at < len(message):
        key, at = _varint(message, at)
        kind = key & 7
        if kind == 0:
            value, at = _varint(message, at)
            yield key >> 3, value
            continue
        if kind == 2:
            size, at = _varint(message, at)
        else:
            size = {1: 8, 5: 4}[kind]
        yield key >> 3, message[at : at + size]
        at += size


def _varint(message: bytes, at: int) -> tuple[int, int]:
    """A base-128 number and the place after it."""
    value = shift = 0
    while True:
        byte = message[at]
        at += 1
        value |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            return value, at


def _as_bytes(value: int | bytes) -> bytes:
    """The value of a length-delimited or fixed-width field."""
    if not isinstance(value, bytes):
        raise ModelError("Expected bytes in the canonical face of the model; a number came. Install again.")
    return value


def _as_int(value: int | bytes) -> int:
    """The value of a number field."""
    if not isinstance(value, int):
        raise ModelError("Expected a number in the canonical face of the model; bytes came. Install again.")
    return value
