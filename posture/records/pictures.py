"""Pictures that are kept because the user asked for it: small, of a known kind, and without what a camera writes into them."""

from __future__ import annotations

import io

from PIL import Image, ImageOps, UnidentifiedImageError

from posture.errors import RecordsError

LONGEST_PX = 1280
MOST_BYTES = 2_000_000
MOST_PIXELS = 40_000_000
"""A photograph of a present telephone; more is no picture of a child."""

QUALITY = 90

KNOWN = ("JPEG", "PNG")

PLAIN_KEYS = {"jfif", "jfif_version", "jfif_unit", "jfif_density", "progressive", "progression"}
"""What may stand in a picture beside its pixels: how they are packed."""


def clean_picture(picture: bytes) -> bytes:
    """A picture made fit to be kept: upright, at most `LONGEST_PX` long, and nothing in it but its pixels.

    Parameters
    ----------
    picture : bytes
        JPEG or PNG.

    Returns
    -------
    bytes
        JPEG.

    Raises
    ------
    RecordsError
        If it is no such picture.
    """
    with _opened(picture) as image:
        try:
            pixels = ImageOps.exif_transpose(image).convert("RGB")
            pixels.thumbnail((LONGEST_PX, LONGEST_PX))
        except (OSError, ValueError, SyntaxError) as error:
            raise RecordsError(f"Expected a picture; it is damaged ({error}). Take another one.") from error
    plain = Image.frombytes("RGB", pixels.size, pixels.tobytes())
    kept = io.BytesIO()
    plain.save(kept, "JPEG", quality=QUALITY)
    return kept.getvalue()


def check_picture(picture: bytes) -> None:
    """Refuse a picture that `clean_picture` would have to change.

    Raises
    ------
    RecordsError
    """
    if len(picture) > MOST_BYTES:
        raise RecordsError(f"Expected a picture of {MOST_BYTES} bytes or fewer; {len(picture)} came. Make it smaller first.")
    with _opened(picture) as image:
        if max(image.size) > LONGEST_PX or set(image.info) - PLAIN_KEYS or image.getexif():
            raise RecordsError("Expected a small picture with nothing but its pixels; it holds more. Clean it first.")


def _opened(picture: bytes) -> Image.Image:
    """The picture, its pixels not read yet."""
    try:
        image = Image.open(io.BytesIO(picture), formats=KNOWN)
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError, SyntaxError) as error:
        raise RecordsError("Expected a picture as JPEG or PNG; something else came.") from error
    if image.width * image.height > MOST_PIXELS:
        image.close()
        raise RecordsError(f"Expected a picture of {MOST_PIXELS} pixels or fewer; {image.width} x {image.height} came.")
    return image
