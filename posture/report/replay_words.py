"""The words of a face-free replay: what stands in every picture, and the angles, which change twice a second."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import as_file

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from posture.report.free_text import FONTS, letters_file
from posture.report.style import GREY, INK, PAPER
from posture.summary.record import Interval
from posture.summary.words import say_angle

Picture = NDArray[np.uint8]

SIZE_PX = (800, 450)
"""Width and height of the film: letters are still read on a telephone, and the file of a minute stays under a megabyte."""

TITLE = "The measured head as a drawing: no picture of the child is in this film"
FOOT = "Measured by posture {version}. Screening aid for trained eye-care staff, not a diagnosis."
NOT_SEEN = "The face was not seen here."
NOT_KNOWN_TARGET = "Turn and chin: what the child looked at is not known."

TITLE_PX, WORDS_PX, SMALL_PX = 16, 16, 12

PANEL_PX = (376, 238, 424, 96)
"""Where the angles in words stand: from the near edge, from above, width, height."""

ROW_PX, LABEL_PX = 24, 50


@dataclass(frozen=True)
class Said:
    """What is said of a moment.

    Attributes
    ----------
    seconds : int
        In the time of the clip.
    tilt_deg, turn_deg, chin_deg : int or None
        None where the face was not seen.
    """

    seconds: int
    tilt_deg: int | None = None
    turn_deg: int | None = None
    chin_deg: int | None = None


def background(version: str, *, is_target_known: bool, has_shoulder_line: bool) -> Picture:
    """What stands in every picture.

    Parameters
    ----------
    version : str
        Of this program.
    is_target_known : bool
        Else it is said that turn and chin are not evidence.
    has_shoulder_line : bool
        Whether a shoulder line is drawn, and so is to be named.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)
    """
    page = Image.new("RGB", SIZE_PX, PAPER)
    draw = ImageDraw.Draw(page)
    draw.text((14, 8), TITLE, INK, _letters("B", TITLE_PX))
    _small(draw, 190, 36, "as you face the child; dashed: the plumb line")
    _small(draw, 580, 36, "the same, from above; dashed: straight ahead")
    for x, side in ((46, "right"), (334, "left")):
        _small(draw, x, 250, "child's")
        _small(draw, x, 265, side)
    if has_shoulder_line:
        _small(draw, 190, 324, "blue line across: the shoulder line")
    if not is_target_known:
        draw.text((PANEL_PX[0], 334), NOT_KNOWN_TARGET, GREY, _letters("", SMALL_PX))
    draw.text((14, SIZE_PX[1] - 6), FOOT.format(version=version), GREY, _letters("", SMALL_PX), anchor="ld")
    return np.array(page)


@lru_cache(maxsize=8)
def panel_of(said: Said) -> Picture:
    """The words of a moment.

    Parameters
    ----------
    said : Said

    Returns
    -------
    ndarray of uint8, shape of `PANEL_PX`
    """
    page = Image.new("RGB", PANEL_PX[2:], PAPER)
    draw = ImageDraw.Draw(page)
    for i, (label, words) in enumerate(replay_words(said)):
        draw.text((0, i * ROW_PX), label, GREY, _letters("", WORDS_PX))
        draw.text((LABEL_PX, i * ROW_PX), words, INK, _letters("B" if i == 1 else "", WORDS_PX))
    return np.array(page)


def replay_words(said: Said) -> list[tuple[str, str]]:
    """A moment in words, without a sign: label and text of each line.

    Parameters
    ----------
    said : Said
    """
    rows = [("Time", f"{said.seconds // 60}:{said.seconds % 60:02d}")]
    if said.tilt_deg is None or said.turn_deg is None or said.chin_deg is None:
        return [*rows, ("Tilt", NOT_SEEN)]
    tilt, turn, chin = (Interval(value=v, low=v, high=v) for v in (said.tilt_deg, said.turn_deg, said.chin_deg))
    chin_words = say_angle("chin", chin).removeprefix("chin ")
    return [*rows, ("Tilt", say_angle("tilt", tilt)), ("Face", say_angle("turn", turn)), ("Chin", chin_words)]


def _small(draw: ImageDraw.ImageDraw, x: float, y: float, text: str) -> None:
    """Small words, centred below a place."""
    draw.text((x, y), text, GREY, _letters("", SMALL_PX), anchor="ma")


@lru_cache(maxsize=8)
def _letters(style: str, size_px: int) -> ImageFont.FreeTypeFont:
    """Letters of a size."""
    with as_file(letters_file(FONTS[style])) as path:
        return ImageFont.truetype(str(path), size_px)


def tick_words(picture: Picture, ticks: list[tuple[int, str]], right_px: int) -> None:
    """Write the names of ticks into a picture, each centred at its height and ending at a place.

    Parameters
    ----------
    picture : ndarray of uint8, shape (h, w, 3)
        Written into.
    ticks : list of tuple
        Height in pixels and text.
    right_px : int
    """
    page = Image.fromarray(picture)
    draw = ImageDraw.Draw(page)
    for y, text in ticks:
        draw.text((right_px, y), text, GREY, _letters("", SMALL_PX), anchor="rm")
    picture[:] = np.array(page)
