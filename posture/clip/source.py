"""What may be opened as a clip: one existing regular file of a known kind and size, told by its bytes and not its name."""

from __future__ import annotations

import hashlib
import os
import re
import stat
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Literal

from posture.errors import ClipError

Kind = Literal["video", "photograph"]

MAX_VIDEO_PIXELS = 36_000_000
"""Largest picture of a video. 8K film (33 Mpx) fits; a 198 kB file can declare 67 Mpx and take gigabytes to decode."""

MAX_PHOTO_PIXELS = 60_000_000
"""Largest photograph: the whole-sensor pictures of common cameras fit, decompression bombs do not."""

MAX_PHOTO_BYTES = 400_000_000
"""A photograph is read into memory whole; 60 megapixels stored raw at 16 bits take 360 MB."""

MAX_DURATION_S = 4 * 3600.0
"""Longest clip. A longer one is a mistake or a damaged header, and would keep a clinic's computer busy for hours."""

EARLIEST_DATE = date(1990, 1, 1)
"""Before this no common camera wrote a date; 1904, 1970 and 1980-01-01 are the zeros of three clocks that were never set."""

READABLE = "a video (MP4, MOV, MKV, WebM, AVI, MPEG, WMV ...) or a photograph (JPEG, PNG, HEIC, WebP, TIFF, BMP)"
"""What is expected, in the words of every refusal."""

_HASH_PIECE_BYTES = 1_000_000
_HEAD_BYTES = 4096
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"mif2", b"msf1"})
_AVIF_BRANDS = frozenset({b"avif", b"avis"})


@dataclass(frozen=True)
class ClipInfo:
    """What is known of a clip without measuring it; holds no file name and no other metadata of the file.

    Attributes
    ----------
    kind : {"video", "photograph"}
    sha256 : str
        Of the whole file, 64 hexadecimal digits.
    width_px, height_px : int
        As shown upright, with square pixels.
    duration_s : float or None
        As the file declares it; None when unknown and for a photograph.
    filmed_on : str or None
        ISO date, local; None when the file holds none that can be believed.
    filmed_on_source : str or None
        Where the date came from, in plain words.
    focal_px : float or None
        Focal length in pixels of the upright picture, when a photograph carries its 35 mm equivalent.
    steps : tuple of str
        What was done to the pictures, in plain words and in order.
    """

    kind: Kind
    sha256: str
    width_px: int
    height_px: int
    duration_s: float | None
    filmed_on: str | None
    filmed_on_source: str | None
    focal_px: float | None
    steps: tuple[str, ...]


@dataclass(frozen=True)
class Source:
    """A file that may be opened.

    Attributes
    ----------
    path : Path
        Absolute and resolved. Never shown.
    name : str
        Bare file name, for error lines only.
    kind : {"video", "photograph"}
    photo_format : str or None
        Pillow's name of the format of a photograph.
    sha256 : str
    size_bytes, changed_ns : int
        As they were when the file was hashed.
    """

    path: Path
    name: str
    kind: Kind
    photo_format: str | None
    sha256: str
    size_bytes: int
    changed_ns: int

    def check_unchanged(self) -> None:
        """Raise ClipError when the file is no longer the one that was hashed."""
        try:
            now = self.path.stat()
        except OSError as error:
            raise ClipError(
                f"'{self.name}' could be read a moment ago and is gone now. Bring it back and try again."
            ) from error
        if (now.st_size, now.st_mtime_ns) != (self.size_bytes, self.changed_ns):
            raise ClipError(f"'{self.name}' changed while it was being read. Wait until it is copied completely and try again.")


def examine(path: str | os.PathLike[str]) -> Source:
    """Decide whether a file may be opened, what kind it is by its first bytes, and hash it.

    Parameters
    ----------
    path : str or path
        Of an existing regular file. Never understood as an address or a protocol.

    Returns
    -------
    Source

    Raises
    ------
    ClipError
        If it is not an existing readable regular file, is empty, or is plainly text.
    """
    resolved = _resolve(path)
    try:
        with resolved.open("rb") as file:
            facts = os.fstat(file.fileno())
            if facts.st_size == 0:
                raise ClipError(f"Expected {READABLE}; '{resolved.name}' is empty (0 bytes). Copy it again from the camera.")
            head = file.read(_HEAD_BYTES)
            kind, photo_format = _kind_of(head, resolved.name)
            digest = hashlib.sha256(head)
            while piece := file.read(_HASH_PIECE_BYTES):
                digest.update(piece)
    except OSError as error:
        raise _no_such_file(resolved.name) from error
    if photo_format == "GIF":
        from posture.clip.photo import is_animated

        if is_animated(resolved):
            kind, photo_format = "video", None
    return Source(resolved, resolved.name, kind, photo_format, digest.hexdigest(), facts.st_size, facts.st_mtime_ns)


def believable_date(moment: date | None) -> str | None:
    """Return an ISO date, or None when the date is missing, before 1990 or in the future.

    Parameters
    ----------
    moment : date or None
        Local date.

    Returns
    -------
    str or None
    """
    if moment is None or not EARLIEST_DATE <= moment <= datetime.now(UTC).astimezone().date():
        return None
    return moment.isoformat()


def is_network_path(text: str) -> bool:
    """Whether a path leads to another computer or to a device: touching it may already show who asks."""
    return text.startswith(("\\\\", "//"))


def _resolve(path: str | os.PathLike[str]) -> Path:
    """Return the absolute path of an existing regular file, or raise ClipError."""
    text = os.fspath(path)
    if not isinstance(text, str) or "\0" in text or not text.strip():
        raise ClipError(f"Expected the path of {READABLE}; came something that is no path. Give the path of one file.")
    if is_network_path(text):
        raise ClipError(
            "Expected a file on this computer; came a network or device path. Copy the clip to this computer first."
        )
    name = re.split(r"[\\/]", text.rstrip("\\/"))[-1] or "the path"
    try:
        resolved = Path(text).resolve(strict=True)
        mode = resolved.stat().st_mode
    except (OSError, RuntimeError, ValueError) as error:
        if re.match(r"[A-Za-z][A-Za-z0-9+.-]+:", text):
            raise ClipError(
                "Expected a file; came an address. Save the clip as a file on this computer and give its path."
            ) from error
        raise _no_such_file(name) from error
    if stat.S_ISDIR(mode):
        raise ClipError(f"Expected {READABLE}; '{resolved.name}' is a folder. Give the clips in it one by one.")
    if not stat.S_ISREG(mode):
        raise ClipError(f"Expected an ordinary file; '{resolved.name}' is a device or a pipe. Save the clip as a file first.")
    return resolved


def _no_such_file(name: str) -> ClipError:
    """Build the one refusal for a file that is absent and for one that may not be read."""
    return ClipError(f"Expected a file that can be read; '{name}' is none. Check its name and that you may open it.")


def _kind_of(head: bytes, name: str) -> tuple[Kind, str | None]:
    """Tell photograph from video by the first bytes; refuse text."""
    brand = head[8:12] if head[4:8] == b"ftyp" else b""
    known = {
        "JPEG": head.startswith(b"\xff\xd8\xff"),
        "PNG": head.startswith(b"\x89PNG\r\n\x1a\n"),
        "WEBP": head.startswith(b"RIFF") and head[8:12] == b"WEBP",
        "TIFF": head.startswith((b"II*\0", b"MM\0*")),
        "BMP": head.startswith(b"BM") and head[6:10] == bytes(4),
        "GIF": head.startswith((b"GIF87a", b"GIF89a")),
        "HEIF": brand in _HEIF_BRANDS,
        "AVIF": brand in _AVIF_BRANDS,
    }
    for photo_format, fits in known.items():
        if fits:
            return "photograph", photo_format
    if _is_text(head):
        raise ClipError(
            f"Expected {READABLE}; '{name}' is a text file (a playlist or script is not followed). Give the clip itself."
        )
    return "video", None


def _is_text(head: bytes) -> bool:
    """Tell whether the first bytes of a file are text."""
    if head.startswith(b"YUV4MPEG2"):  # An uncompressed film: a line of text before the pictures.
        return False
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return True
    controls = bytes(code for code in range(32) if code not in b"\t\n\v\f\r\x1b")
    return not any(byte in controls for byte in head)
