"""Texts that are fit to be kept: bounded, on one line or on several, nothing that is no character."""

from __future__ import annotations

import re
import unicodedata

from posture.errors import RecordsError

LONGEST = 4000
"""Characters of a note: a page of writing. More is a file that was pasted."""

LONGEST_LINE = 200
"""Characters of a name, a source or a label."""

LONGEST_CODE = 40

_SHA256 = re.compile(r"[0-9a-f]{64}")


def check_text(text: str, what: str, longest: int = LONGEST_LINE) -> None:
    """Refuse what is no text, is too long, or holds characters that no file or font can hold.

    Parameters
    ----------
    text : str
    what : str
        Which field, for the error.
    longest : int
        Characters. Line breaks and tabs are allowed in notes only, which are longer than a line.

    Raises
    ------
    RecordsError
    """
    if not isinstance(text, str):
        raise RecordsError(f"Expected text as {what}; {type(text).__name__} came.")
    if len(text) > longest:
        raise RecordsError(f"Expected {longest} characters or fewer as {what}; {len(text)} came. Shorten it.")
    allowed = "\n\t\r" if longest > LONGEST_LINE else ""
    if any(unicodedata.category(letter) in ("Cc", "Cs") and letter not in allowed for letter in text):
        raise RecordsError(f"Expected plain text as {what}; it holds characters that cannot be shown. Type it anew.")


def check_choice(value: str, known: tuple[str, ...], what: str) -> None:
    """Refuse what is not one of the known values."""
    if value not in known:
        raise RecordsError(f"Expected one of {', '.join(known)} as {what}; '{value}' came.")


def check_code(code: str) -> None:
    """Refuse a code that is empty, long, or not tidy: two codes that look the same must be the same."""
    check_text(code, "the code", LONGEST_CODE)
    if not code or code != tidy_code(code):
        raise RecordsError("Expected a code of letters and figures, without spaces around it; another came. Type it anew.")


def tidy_code(typed: str) -> str:
    """A code as it was typed, brought into the form that is kept: composed letters, single spaces, none around."""
    return " ".join(unicodedata.normalize("NFC", typed).split())


def code_key(code: str) -> str:
    """By which codes are told apart and found: capitals do not matter."""
    return unicodedata.normalize("NFC", tidy_code(code).casefold())


def check_sha256(sha256: str) -> None:
    """Refuse what is no SHA-256 in small hexadecimal figures."""
    if not isinstance(sha256, str) or not _SHA256.fullmatch(sha256):
        raise RecordsError(
            "Expected the SHA-256 of a file, 64 hexadecimal figures; something else came. Measure the clip anew."
        )
