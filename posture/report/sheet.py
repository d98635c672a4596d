"""An A4 sheet of paper: letters that show any text as text, lines of a label and what belongs to it, boxes and vector figures."""

from __future__ import annotations

import io
from collections.abc import Sequence
from importlib.resources import as_file
from typing import Any

from fpdf import FPDF
from fpdf.enums import MethodReturnValue
from fpdf.fonts import TTFFont
from matplotlib.figure import Figure

from posture.report.free_text import FONTS, letters_file, show_text

MARGIN_MM = 12.0
WIDTH_MM, HEIGHT_MM = 210.0, 297.0
TEXT_MM = WIDTH_MM - 2 * MARGIN_MM
LABEL_MM = 31.0
"""Width of the column of labels."""

FOOT_MM = 11.5
"""Kept free at the foot of a page."""

LINE = 1.21
"""Height of a line in sizes of its letters."""

MM_PER_PT = 25.4 / 72

FAMILY = "DejaVu"

INK, GREY = 0x22, 0x60
"""Two greys that a copier keeps apart from white."""


class Sheet:
    """A4 sheets that are filled from above; every text goes through `show_text`, and none is read as markup.

    Parameters
    ----------
    size_pt : float
        Of the letters of the running text.
    stretch : float
        Width of the letters in per cent.
    foot : str
        Stands at the foot of every page, before its number.
    is_draft : bool
        Then figures only take their room; to find out how much room all takes.
    """

    def __init__(self, size_pt: float, stretch: float, foot: str, *, is_draft: bool = False) -> None:
        self._is_draft = is_draft
        self.size_pt, self.stretch = size_pt, stretch
        self.pdf = FPDF(unit="mm", format="A4")
        self.pdf.set_margin(MARGIN_MM)
        self.pdf.c_margin = 0
        self.pdf.set_auto_page_break(False)
        # Else "{nb}" in a free text would become a number of pages.
        self.pdf.alias_nb_pages("")
        for style, name in FONTS.items():
            with as_file(letters_file(name)) as path:
                self.pdf.add_font(FAMILY, style, path)
        self._foot = show_text(foot, 60)
        self.new_page()

    @property
    def y(self) -> float:
        """How far down the page is filled, in mm."""
        return float(self.pdf.get_y())

    @y.setter
    def y(self, y_mm: float) -> None:
        self.pdf.set_xy(MARGIN_MM, y_mm)

    @property
    def left_mm(self) -> float:
        """What is still free on the page."""
        return HEIGHT_MM - FOOT_MM - self.y

    def new_page(self) -> None:
        """Begin the next page."""
        self.pdf.add_page()
        self.y = MARGIN_MM - 3

    def text(
        self,
        x: float,
        width: float,
        text: str,
        *,
        style: str = "",
        size_pt: float | None = None,
        stretch: float | None = None,
        align: str = "L",
        grey: bool = False,
    ) -> None:
        """Write a paragraph at the height that was reached, and go below it.

        Parameters
        ----------
        x, width : float
            In mm.
        text : str
            Fit to be printed, see `show_text`.
        style : {"", "B"}
        size_pt : float or None
            None is that of the running text.
        stretch : float or None
            Width of the letters in per cent; None is that of the running text.
        align : {"L", "C", "R"}
        grey : bool
        """
        size_pt = size_pt or self.size_pt
        self._letters(style, size_pt, stretch)
        self.pdf.set_text_color(GREY if grey else INK)
        self.pdf.set_x(x)
        height = size_pt * MM_PER_PT * LINE
        self.pdf.multi_cell(width, height, text, align=align, new_x="LMARGIN", new_y="NEXT", markdown=False)
        self.pdf.set_text_color(INK)

    def height_of(self, width: float, text: str, *, style: str = "", size_pt: float | None = None) -> float:
        """How high a paragraph would be, in mm."""
        size_pt = size_pt or self.size_pt
        height = size_pt * MM_PER_PT * LINE
        self._letters(style, size_pt)
        found: Any = self.pdf.multi_cell(width, height, text, align="L", dry_run=True, output=MethodReturnValue.HEIGHT)
        return float(found)

    def make_room(self, height_mm: float) -> None:
        """Begin a new page where the height is not left on this one."""
        if height_mm > self.left_mm:
            self.new_page()

    def make_room_for(self, width: float, text: str, style: str = "") -> None:
        """Begin a new page where a paragraph does not fit on this one; what fits in any case is not measured, which takes its time."""
        # No letter is wider than high, and no line is broken before its half.
        size = self.size_pt * MM_PER_PT
        if size * LINE * (2 + 2 * len(text) * size / width) > self.left_mm:
            self.make_room(self.height_of(width, text, style=style))

    def row(self, label: str, text: str, *, style: str = "", width: float = TEXT_MM) -> None:
        """A label and what belongs to it, on one page.

        Parameters
        ----------
        label, text : str
        style : {"", "B"}
            Of the text.
        width : float
            Of both, in mm.
        """
        self.make_room_for(width - LABEL_MM, text, style)
        top = self.y
        self.text(MARGIN_MM, LABEL_MM - 2, label, grey=True)
        low = self.y
        self.y = top
        self.text(MARGIN_MM + LABEL_MM, width - LABEL_MM, text, style=style)
        self.y = max(low, self.y)

    def heading(self, text: str, keep_mm: float = 8.0) -> None:
        """A heading over a thin line, with some of what follows on the same page."""
        self.make_room(7.0 + keep_mm)
        self.y += 1.1
        self.text(MARGIN_MM, TEXT_MM, text, style="B", size_pt=self.size_pt + 1.0)
        self.pdf.set_draw_color(GREY)
        self.pdf.set_line_width(0.2)
        self.pdf.line(MARGIN_MM, self.y + 0.2, MARGIN_MM + TEXT_MM, self.y + 0.2)
        self.y += 0.8

    def bullets(self, lines: Sequence[tuple[str, str]]) -> None:
        """Lines of a mark and a text, such as ("!", "The face is small.")."""
        for mark, text in lines:
            self.make_room_for(TEXT_MM - 5, text)
            top = self.y
            self.text(MARGIN_MM, 4, mark, style="B", align="C")
            self.y = top
            self.text(MARGIN_MM + 5, TEXT_MM - 5, text)

    def box(self, lines: Sequence[str], *, style: str, size_pt: float, border_mm: float) -> None:
        """Paragraphs within a frame, over the whole width, on one page."""
        inside = TEXT_MM - 6
        heights = [self.height_of(inside, line, style=style, size_pt=size_pt) for line in lines]
        self.make_room(sum(heights) + 3)
        top = self.y
        self.y = top + 1.5
        for line in lines:
            self.text(MARGIN_MM + 3, inside, line, style=style, size_pt=size_pt)
        self.frame(MARGIN_MM, top, TEXT_MM, self.y + 1.5 - top, border_mm)
        self.y += 3.0

    def frame(self, x: float, y: float, width: float, height: float, border_mm: float) -> None:
        """An empty frame, in mm."""
        self.pdf.set_draw_color(INK)
        self.pdf.set_line_width(border_mm)
        self.pdf.rect(x, y, width, height)

    def figure(self, figure: Figure, x: float, y: float, width: float, height: float, words: str) -> None:
        """Put a figure as vectors into a frame that it fits.

        Parameters
        ----------
        figure : Figure
        x, y, width, height : float
            Of the frame, in mm.
        words : str
            What it shows, for those who do not see it.
        """
        if self._is_draft:
            return
        out = io.BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
        out.seek(0)
        self.pdf.image(out, x=x, y=y, w=width, h=height, keep_aspect_ratio=True, alt_text=words)

    def to_bytes(self) -> bytes:
        """The document; but for the time of writing it says nothing of who made it, where and with what."""
        pages = self.pdf.pages_count
        for page in range(1, pages + 1):
            self.pdf.page = page
            # Last on its page, so that whoever reads it aloud or copies it begins with what is urgent. Bold first: the letters that
            # were last chosen on another page are not known on this one.
            self._letters("B", 8.5)
            self._letters("", 8)
            self.pdf.set_text_color(GREY)
            self.pdf.set_xy(MARGIN_MM, HEIGHT_MM - 10.0)
            self.pdf.cell(TEXT_MM, 4, f"{self._foot} page {page} of {pages}".strip(), align="R")
        return bytes(self.pdf.output())

    def close(self) -> None:
        """Close the files of the letters of a sheet that is not written after all."""
        for font in self.pdf.fonts.values():
            if isinstance(font, TTFFont):
                font.close()

    def _letters(self, style: str, size_pt: float, stretch: float | None = None) -> None:
        """Choose letters."""
        self.pdf.set_font(FAMILY, style, size_pt)
        self.pdf.set_stretching(self.stretch if stretch is None else stretch)
