"""A photograph from bytes, never through FFmpeg: upright, with its date and its focal length where the camera wrote them."""

from __future__ import annotations

import io
import math
import warnings
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageOps

from posture.clip.planes import Rgb
from posture.clip.source import MAX_PHOTO_BYTES, MAX_PHOTO_PIXELS, Source, believable_date
from posture.errors import ClipError

FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)
"""The 35 mm frame. Camera makers compare fields of view along the diagonal (CIPA DCG-001), so for the 4:3 pictures of phones
the long side, 36 mm, would read a focal length 4 % too short."""

SHAPE_TOLERANCE = 0.02
"""A picture whose shape differs by more than this from the one the camera wrote was cropped: its focal length is not known."""

_EXIF_PART, _ORIENTATION, _TAKEN = 0x8769, 0x0112, 0x9003
_WIDTH, _HEIGHT, _FOCAL_35MM = 0xA002, 0xA003, 0xA405


@dataclass(frozen=True)
class Photograph:
    """A decoded photograph.

    Attributes
    ----------
    rgb : (h, w, 3) uint8
        Upright.
    filmed_on : str or None
        ISO date that the camera wrote.
    focal_px : float or None
        From the 35 mm equivalent.
    steps : tuple of str
    """

    rgb: Rgb
    filmed_on: str | None
    focal_px: float | None
    steps: tuple[str, ...]


def read_photograph(source: Source) -> Photograph:
    """Decode a photograph whole.

    Parameters
    ----------
    source : Source
        Of kind "photograph".

    Returns
    -------
    Photograph

    Raises
    ------
    ClipError
        If it is too large, damaged, or HEIC without the library that reads it.
    """
    if source.size_bytes > MAX_PHOTO_BYTES:
        raise ClipError(
            f"Expected a photograph of at most {MAX_PHOTO_BYTES // 1_000_000} MB; '{source.name}' has"
            f" {source.size_bytes // 1_000_000} MB. Save it smaller."
        )
    photo_format = source.photo_format or ""
    if photo_format == "HEIF":
        _register_heif()
    try:
        with warnings.catch_warnings():
            # Pillow warns of bombs and of odd metadata; the size is checked below, before anything is decoded.
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(source.path.read_bytes()), formats=(photo_format,)) as image:
                _check_size(image.width, image.height, source.name)
                return _decode(image)
    except ClipError:
        raise
    except Image.DecompressionBombError as error:
        raise ClipError(_too_large(source.name, "far more")) from error
    except Exception as error:  # A foreign file may make a decoder raise anything.
        raise ClipError(
            f"Expected a whole photograph; '{source.name}' is damaged or of an unknown kind. Copy it again from the camera."
        ) from error


def is_animated(path: Path) -> bool:
    """Tell whether a GIF has more than one picture.

    Parameters
    ----------
    path : Path

    Returns
    -------
    bool
        False also for a damaged one, so that it is read as a photograph, where what is wrong with it is told.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path, formats=("GIF",)) as image:
                return bool(getattr(image, "is_animated", False))
    except Exception:  # A foreign file may make a decoder raise anything.
        return False


def _decode(image: Image.Image) -> Photograph:
    """Turn an opened picture upright and read what the camera wrote."""
    steps = []
    exif = image.getexif()
    part: dict[int, Any] = dict(exif.get_ifd(_EXIF_PART))
    if exif.get(_ORIENTATION, 1) in range(2, 9):
        steps.append("turned upright as the photograph says")
    if getattr(image, "n_frames", 1) > 1:
        steps.append("first picture of several")
    shown = ImageOps.exif_transpose(image)
    if shown.mode.startswith("I;16"):
        # Pillow would cut 16 bits off at 255 instead of scaling them.
        grey = (np.asarray(shown) >> 8).astype(np.uint8)
        rgb = np.repeat(grey[:, :, None], 3, axis=2)
    else:
        rgb = np.array(shown.convert("RGB"), dtype=np.uint8)
    focal_px = _focal_px(part, rgb.shape[1], rgb.shape[0])
    if focal_px is not None:
        steps.append("focal length from the 35 mm equivalent in the photograph, along the diagonal")
    return Photograph(np.ascontiguousarray(rgb), believable_date(_date_taken(part)), focal_px, tuple(steps))


def _date_taken(part: dict[int, Any]) -> date | None:
    """Return the day on which the camera says the picture was taken."""
    try:
        return datetime.strptime(str(part.get(_TAKEN, ""))[:10], "%Y:%m:%d").date()
    except ValueError:
        return None


def _focal_px(part: dict[int, Any], width: int, height: int) -> float | None:
    """Return the focal length in pixels from the 35 mm equivalent, or None when it is missing or the picture was cropped."""
    try:
        equivalent_mm = float(part.get(_FOCAL_35MM, 0))
        written = sorted((float(part.get(_WIDTH, 0)), float(part.get(_HEIGHT, 0))))
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    if not 5 <= equivalent_mm <= 2000:  # Outside it is 0 (unknown) or nonsense.
        return None
    if written[0] > 0 and abs(max(width, height) / min(width, height) / (written[1] / written[0]) - 1) > SHAPE_TOLERANCE:
        return None
    return equivalent_mm / FILM_DIAGONAL_MM * math.hypot(width, height)


def _check_size(width: int, height: int, name: str) -> None:
    """Refuse a picture with too many pixels, before it is decoded."""
    if width * height > MAX_PHOTO_PIXELS:
        raise ClipError(_too_large(name, f"{width} x {height}"))


def _too_large(name: str, came: str) -> str:
    """Word the refusal of a photograph with too many pixels."""
    limit = MAX_PHOTO_PIXELS // 1_000_000
    return f"Expected a photograph of at most {limit} megapixels; '{name}' has {came}. Save it smaller, in the same shape."


def _register_heif() -> None:
    """Teach Pillow to read HEIC, or say what is missing."""
    try:
        import pillow_heif
    except ImportError as error:
        raise ClipError(
            "Expected a photograph that can be read here; HEIC came and the library pillow-heif cannot be loaded."
            " Install pillow-heif, or save the photograph as JPEG."
        ) from error
    pillow_heif.register_heif_opener()
