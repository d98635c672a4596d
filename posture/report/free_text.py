"""Free text made fit to be printed: shown as text whatever it is, and no longer than a page for the notes bears."""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from importlib.resources import as_file, files
from importlib.resources.abc import Traversable

from fontTools.ttLib import TTFont

MOST_TEXT = 4000
"""Letters of anything that is printed; what the program itself says is shorter."""

CUT = " [...]"
MISSING = "\u25a1"
"""A box, in the place of what the letters do not have."""

FONTS = {"": "DejaVuSans.ttf", "B": "DejaVuSans-Bold.ttf"}
"""The letters that matplotlib ships, plain and bold: some six thousand signs, and the same in figure and text on every machine."""


def show_text(text: str, longest: int = MOST_TEXT) -> str:
    """Make any text fit to be printed as it stands.

    Parameters
    ----------
    text : str
        Anything that a person entered.
    longest : int
        Letters of it that are kept.

    Returns
    -------
    str
        Breaks and tabs as spaces; signs that the letters do not have, control signs and signs that turn the direction of others as a box;
        what is too long ends in "[...]".
    """
    shown = " ".join("".join(map(_shown, unicodedata.normalize("NFC", text))).split())
    return shown if len(shown) <= longest else shown[: longest - len(CUT)] + CUT


def _shown(sign: str) -> str:
    """A sign, a space for a break, nothing for an invisible hyphen, or a box."""
    if sign.isspace():
        return " "
    if sign == "\u00ad":
        return ""
    hidden = unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Co", "Cn")
    return MISSING if hidden or ord(sign) not in _signs() else sign


def letters_file(name: str) -> Traversable:
    """A file of letters as matplotlib ships it.

    Parameters
    ----------
    name : str
        One of `FONTS`.
    """
    return files("matplotlib") / "mpl-data" / "fonts" / "ttf" / name


@lru_cache(maxsize=1)
def _signs() -> frozenset[int]:
    """Code points that both the plain and the bold letters have."""
    found = []
    for name in FONTS.values():
        with as_file(letters_file(name)) as path, TTFont(path) as font:
            found.append(frozenset(font.getBestCmap()))
    return found[0] & found[1]
