"""Asks on a picture of the child whether the clip is mirrored: is the right hand really where it should be.

The pictures are in the memory of the open page and in the window, and in no file. No word here depends on what was measured.
"""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import streamlit as st
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from posture.conventions import Mirrored
from posture.page.persons import portrait_url
from posture.page.style import no_markup, tag

LONGER_PX = 1000
"""Longer side of the picture that is shown: sharp in the page, and small enough to be sent with it."""

FLATTEST, NARROWEST = 0.5, 0.5
"""Least height for the width, and width for the height; a picture beyond gets ground around it, to have room for the lettering."""

BAND_SHARE = 0.32
"""Width of the lettered band for that of the picture: large enough to be read on a phone. It stands beside the picture, since on it
it would hide a hand, a watch or writing."""

SHORT_OF_FACE = 0.3
"""The arrow ends so far before the face, in widths of the face."""

SHOULDER_SHARE = 0.55
"""The arrow lies so far below the face, in heights of the face: at the shoulder, not across other faces."""

MAIN, GROUND, WHITE = (31, 95, 120), (226, 232, 232), (255, 255, 255)
BAND_WORDS, BAND_SMALL = ("CHILD'S", "RIGHT", "HAND", "HERE?"), ("if the", "picture is", "not mirrored")
PICTURE_WORDS = "The child, and an arrow from the side on which the right hand is if the picture is not mirrored"

CROP_PX, MOST_ENLARGED = (420, 180), 6.0
"""Most width and height of an enlarged piece of writing; more than so often enlarged it only gets blurred."""

AT_ONCE = 2
"""So many pieces of writing are shown without unfolding."""

QUESTION = "Is the child's right hand really on the side of the arrow?"
ANSWERS: dict[Mirrored, str] = {
    "no": "Yes, the right hand is there",
    "yes": "No, the left hand is there",
    "unknown": "I can't tell",
}
"""What is pressed for each value, in the order of the buttons: a picture is not mirrored when the right hand is where it should be."""

SETTLED: dict[Mirrored | None, str] = {
    None: "Not answered yet: no side is named in the result.",
    "no": "Answered: the picture is not mirrored.",
    "yes": "Answered: the picture is mirrored. It is read the right way round; nothing has to be filmed again.",
    "unknown": "Answered: it cannot be told. No side is named in the result.",
}

CONDITION = (
    "A child who faces the camera has the right hand on the left of the picture, like somebody who stands opposite you. A mirrored"
    " picture shows it the other way round. Do not guess: answer by one of these, or press “I can't tell”."
)

HINTS = (
    (
        "Writing",
        "on a shirt, a poster, a book or a clock: if it reads the right way round, answer yes; if it reads backwards, no.",
    ),
    ("The child", "the parting of the hair, a scar, a plaster, a hearing aid, a watch: is it on the side where it really is?"),
    ("The clothes", "buttons, a pocket, a badge: are they on the side where they really are?"),
    (
        "The camera",
        "the back camera of a phone and a camcorder do not mirror. A front camera, a video call and many webcam programs may.",
    ),
)

WRITING = "This looks like writing. Which of the two can you read?"
AS_FILMED, TURNED_ROUND = "as filmed", "turned round"
BOTH_WAYS = "Words such as OTTO or 808 read both ways and settle nothing. A spot that is no writing can be passed over."
NO_WRITING = "No writing was found in this picture by the program; you may see some all the same."

CSS = """<style>
.p-side-ask { font-size: 1.45rem; line-height: 1.3; font-weight: 650; margin: .6rem 0 0; }
.p-side-picture { display: block; max-width: 100%; max-height: 75vh; margin: 0 auto; border-radius: 6px; }
.p-side-list { display: grid; grid-template-columns: max-content 1fr; gap: .4rem 1rem; font-size: 1.08rem; line-height: 1.4; }
.p-side-list b { font-weight: 600; } .p-side-list span { color: #45575e; }
.p-side-word { display: grid; grid-template-columns: 1fr 1fr; gap: .8rem; margin-top: .8rem; }
.p-side-word figure { margin: 0; background: #fff; border: 1px solid #d8e0e1; border-radius: 6px; padding: .7rem; }
.p-side-word img { display: block; max-width: 100%; margin: 0 auto .5rem; border-radius: 3px; }
.p-side-word b, .p-side-word span { display: block; font-size: 1.05rem; line-height: 1.35; }
.p-side-word b { font-weight: 600; } .p-side-word span { color: #45575e; }
.p-side-settled { font-size: 1.1rem; font-weight: 600; color: #1f5f78; margin: 0; } .p-side-open { color: #855300; }
[class*="st-key-"][class*="-answers"] button { min-height: 3rem; }
[class*="st-key-"][class*="-answers"] button p { font-size: 1.12rem; }
@media (max-width: 560px) { .p-side-list { grid-template-columns: 1fr; gap: 0; } .p-side-list b { margin-top: .5rem; } }
</style>"""

OnAnswer = Callable[[Mirrored], None]
"""Called with the answer that was pressed."""

Box = tuple[float, float, float, float]
Rgb = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class SideView:
    """One moment of the clip in which the child was seen.

    Attributes
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        As filmed.
    box_px : tuple of float
        Left, top, right, bottom of the child's face in pixels of rgb.
    writing_px : tuple of tuple of float
        Regions that look like writing, likewise, the likeliest first.
    """

    rgb: Rgb
    box_px: Box
    writing_px: tuple[Box, ...] = ()


def draw_side_check(views: Sequence[SideView], answer: Mirrored | None, on_answer: OnAnswer, key: str = "side") -> None:
    """Draw the question on a picture of the child, what to compare with, the writing in it, and the answers.

    Parameters
    ----------
    views : sequence of SideView
        At least one; the first is shown, and the others on request.
    answer : {"no", "yes", "unknown"} or None
        So far; None while nobody has answered.
    on_answer : callable
        Called with the new answer, before the page is drawn again.
    key : str
        Of this part of the page; another clip or another person needs another one, or the count of pictures goes on.

    Raises
    ------
    ValueError
        If there is no view.
    """
    if not views:
        raise ValueError("Expected at least one picture of the child; there is none. Ask without a picture.")
    place = f"{key}-shown"
    shown = int(st.session_state.get(place, 0)) % len(views)
    view = views[shown]
    st.html(CSS + tag("p", QUESTION, "p-side-ask"))
    st.html(_image(side_picture(view), PICTURE_WORDS, "p-side-picture"))
    if len(views) > 1:
        st.button(
            no_markup(f"Another picture ({shown + 1} of {len(views)})"),
            key=f"{key}-another",
            on_click=_show,
            args=(place, shown + 1),
        )
    st.html(tag("p", CONDITION, "p-note"))
    st.html(f'<div class="p-side-list">{"".join(tag("b", what) + tag("span", text) for what, text in HINTS)}</div>')
    _draw_writing(view)
    st.html(tag("p", QUESTION, "p-side-ask"))
    with st.container(horizontal=True, gap="small", key=f"{key}-answers"):
        for value, text in ANSWERS.items():
            st.button(
                no_markup(f"✓ {text}" if value == answer else text), key=f"{key}-{value}", on_click=on_answer, args=(value,),
                width="content",
            )  # fmt: skip
    st.html(tag("p", SETTLED[answer], "p-side-settled" if answer in ("no", "yes") else "p-side-settled p-side-open"))


def side_picture(view: SideView) -> Rgb:
    """Draw where the child's right hand is if the picture is not mirrored.

    Parameters
    ----------
    view : SideView

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)
        RGB. The picture, its longer side brought to `LONGER_PX`, a lettered band on its left, and an arrow from there to the child.
        To the right of the arrow, which ends before the face, the picture is as filmed.
    """
    rgb, left, top, right, bottom = _fitted(view)
    height, width = rgb.shape[:2]
    band = round(BAND_SHARE * width)
    marked = Image.fromarray(np.concatenate([np.full((height, band, 3), MAIN, np.uint8), rgb], axis=1))
    tip = int(np.clip(round(left - SHORT_OF_FACE * (right - left)), 0, width)) + band
    _draw_mark(ImageDraw.Draw(marked), band, tip, height, bottom + SHOULDER_SHARE * (bottom - top))
    return np.asarray(marked, np.uint8)


def enlarged(view: SideView, box_px: Box) -> Rgb | None:
    """A piece of the picture, enlarged to be read; None where the box lies outside of the picture.

    Parameters
    ----------
    view : SideView
    box_px : tuple of float
        Left, top, right, bottom in pixels of the view's picture.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3), or None
        At most `CROP_PX`, as filmed.
    """
    height, width = view.rgb.shape[:2]
    left, right = (int(v) for v in np.clip([np.floor(box_px[0]), np.ceil(box_px[2])], 0, width))
    top, bottom = (int(v) for v in np.clip([np.floor(box_px[1]), np.ceil(box_px[3])], 0, height))
    if right <= left or bottom <= top:
        return None
    scale = min(CROP_PX[0] / (right - left), CROP_PX[1] / (bottom - top), MOST_ENLARGED)
    return _resized(view.rgb[top:bottom, left:right], scale)


def _draw_writing(view: SideView) -> None:
    """The pieces of writing, each as it is and turned round."""
    pieces = [piece for box in view.writing_px if (piece := enlarged(view, box)) is not None]
    if not pieces:
        st.html(tag("p", NO_WRITING, "p-note"))
        return
    st.html(tag("p", WRITING, "p-head") + tag("p", BOTH_WAYS, "p-note"))
    st.html("".join(_piece_html(piece) for piece in pieces[:AT_ONCE]))
    if more := pieces[AT_ONCE:]:
        with st.expander(no_markup(f"{len(more)} more")):
            st.html("".join(_piece_html(piece) for piece in more))


def _piece_html(piece: Rgb) -> str:
    """One piece as filmed and turned round, with what follows if that one reads."""
    figures = []
    for picture, name, value in ((piece, AS_FILMED, "no"), (np.ascontiguousarray(piece[:, ::-1]), TURNED_ROUND, "yes")):
        words = tag("b", name) + tag("span", f"If this one reads, press “{ANSWERS[value]}”")  # type: ignore[index]
        figures.append(f"<figure>{_image(picture, name)}{words}</figure>")
    return f'<div class="p-side-word">{"".join(figures)}</div>'


def _image(picture: Rgb, words: str, style: str = "") -> str:
    """An element that holds the picture itself."""
    return f'<img class="{style}" src="{portrait_url(picture)}" alt="{html.escape(words)}">'


def _show(place: str, number: int) -> None:
    """Have another picture shown at the next drawing."""
    st.session_state[place] = number


def _fitted(view: SideView) -> tuple[Rgb, float, float, float, float]:
    """The picture in the size that is shown, and the left, top, right and bottom of the face on it."""
    height, width = view.rgb.shape[:2]
    scale = LONGER_PX / max(height, width)
    rgb = _resized(view.rgb, scale)
    height, width = rgb.shape[:2]
    above = max(0, round(FLATTEST * width) - height) // 2
    aside = max(0, round(NARROWEST * height) - width) // 2
    if above or aside:
        bordered = cv2.copyMakeBorder(rgb, above, above, aside, aside, cv2.BORDER_CONSTANT, value=GROUND)
        rgb = np.asarray(bordered, np.uint8)
    left, right = sorted(x * scale + aside for x in view.box_px[::2])
    top, bottom = sorted(y * scale + above for y in view.box_px[1::2])
    return rgb, left, top, right, bottom


def _resized(rgb: Rgb, scale: float) -> Rgb:
    """A picture that many times as large, at least a pixel wide and high."""
    size = (max(1, round(rgb.shape[1] * scale)), max(1, round(rgb.shape[0] * scale)))
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(np.ascontiguousarray(rgb), size, interpolation=how), np.uint8)


def _draw_mark(pen: ImageDraw.ImageDraw, band: int, tip: int, height: int, level: float) -> None:
    """Words on the band, and between them an arrow at this level (pixels from the top, kept where the words fit) up to the tip."""
    large, small = _font_for(BAND_WORDS, 0.86 * band), _font_for(BAND_SMALL, 0.78 * band)
    # A flat picture has less room from top to bottom than from side to side.
    lines = 1.12 * len(BAND_WORDS) * large.size + 1.25 * len(BAND_SMALL) * small.size + 1.6 * large.size
    shrink = min(1.0, 0.94 * height / lines)
    large, small = large.font_variant(size=shrink * large.size), small.font_variant(size=shrink * small.size)
    step, low, arrow = 1.12 * large.size, 1.25 * small.size, 1.6 * large.size
    above, below = len(BAND_WORDS) * step + arrow / 2, len(BAND_SMALL) * low + arrow / 2
    y = float(np.clip(level, above + 0.02 * height, height - below - 0.02 * height))
    for k, word in enumerate(BAND_WORDS):
        pen.text((band / 2, y - above + (k + 0.5) * step), word, fill=WHITE, font=large, anchor="mm")
    for k, line in enumerate(BAND_SMALL):
        pen.text((band / 2, y + arrow / 2 + (k + 0.5) * low), line, fill=WHITE, font=small, anchor="mm")
    tip = max(tip, band - 1)
    tail, head, thin, wide = 0.08 * band, tip - 0.45 * arrow, 0.11 * arrow, 0.32 * arrow
    upper = [(tail, y - thin), (head, y - thin), (head, y - wide)]
    shape = [*upper, (tip, y), *((a, 2 * y - b) for a, b in upper[::-1])]
    pen.polygon(shape, fill=WHITE, outline=MAIN, width=max(2, round(0.04 * arrow)))


def _font_for(lines: Sequence[str], width_px: float) -> ImageFont.FreeTypeFont:
    """Pillow's own font in the size in which the longest of the lines is so wide."""
    font = ImageFont.load_default(100)
    assert isinstance(font, ImageFont.FreeTypeFont), "Pillow was built without FreeType"
    longest = max(font.getlength(line) for line in lines)
    return font.font_variant(size=max(6.0, 100 * width_px / longest))
