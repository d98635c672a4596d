"""The band of the paper that is looked at first: the heads, and the three angles large beside them."""

from __future__ import annotations

from matplotlib.figure import Figure

from posture.report.paper_heads import Views
from posture.report.paper_words import Said
from posture.report.sheet import MARGIN_MM, TEXT_MM, Sheet

HEADS_MM, VIEW_MM, TILT_MM, TURN_MM = 31.0, 38.0, 44.0, 36.0
"""Height of the heads, width of one, and widths of the words of tilt and of turn; chin has the rest."""

LARGE_STRETCH = 90.0
"""Width of the large letters in per cent, so that "12 degrees" stands in one line."""

SIZES_MM = (66.0, 36.0)
"""Width and height of the bars without a side."""

LARGE_PT, SMALL_PT, CAPTION_PT = 15.0, 10.0, 8.0
"""Letters of the three angles, of their direction, and of what stands below."""

BAND_MM = HEADS_MM + 12.0
"""Height of all with the lines below the heads."""


def draw_band(sheet: Sheet, said: list[Said], views: Views) -> None:
    """Draw what was measured, and go below it.

    Parameters
    ----------
    sheet : Sheet
    said : list of Said
        From `posture.report.paper_words.angle_words`.
    views : list
        From `posture.report.paper_heads.paper_views`, of the same summary.
    """
    if len(views) == 2:
        _draw_heads(sheet, said, views)
    elif said:
        _draw_sizes(sheet, said, views)
    else:
        sheet.y += 1
        sheet.text(MARGIN_MM, TEXT_MM, "No head posture could be measured, so no head is drawn.", style="B", size_pt=12)
        sheet.y += 1


def _draw_heads(sheet: Sheet, said: list[Said], views: Views) -> None:
    """Two views, the words of each to its right: of two postures one each, else tilt beside the front and the rest from above."""
    top = sheet.y + 0.5
    half = TEXT_MM / 2
    words = [half - VIEW_MM] * 2 if len(said) == 2 else [TILT_MM, TURN_MM, TEXT_MM - 2 * VIEW_MM - TILT_MM - TURN_MM]
    x, low = MARGIN_MM, top
    for i, (angle, width) in enumerate(zip(said, words, strict=True)):
        if i < len(views):
            low = max(low, _draw_view(sheet, *views[i], x, top))
            x += VIEW_MM
        sheet.y = top + 2.0
        _draw_angle(sheet, angle, x + 2.0, width - 3.0)
        x += width
        low = max(low, sheet.y)
    sheet.y = low + 1.0


def _draw_view(sheet: Sheet, figure: Figure, words: tuple[str, str], x: float, top: float) -> float:
    """A view, its sides and what it is below it; gives how far down it reaches."""
    sheet.figure(figure, x, top, VIEW_MM, HEADS_MM, ", ".join(words))
    sheet.y = top + HEADS_MM + 0.3
    sheet.text(x, VIEW_MM, "child's right", size_pt=CAPTION_PT, grey=True)
    sheet.y = top + HEADS_MM + 0.3
    sheet.text(x, VIEW_MM, "child's left", size_pt=CAPTION_PT, grey=True, align="R")
    for line in words:
        sheet.text(x, VIEW_MM, line, size_pt=CAPTION_PT, grey=True, align="C")
    return sheet.y


def _draw_sizes(sheet: Sheet, said: list[Said], views: Views) -> None:
    """Sizes and the chin in columns, and bars of the sizes where there are any."""
    top = sheet.y + 1.0
    left, low = MARGIN_MM, top
    for figure, words in views:
        sheet.figure(figure, MARGIN_MM, top, *SIZES_MM, ", ".join(words))
        sheet.y = top + SIZES_MM[1]
        sheet.text(MARGIN_MM, SIZES_MM[0], "; ".join(words), size_pt=CAPTION_PT, grey=True)
        left += SIZES_MM[0] + 3.0
        low = sheet.y
    column = (MARGIN_MM + TEXT_MM - left) / len(said)
    for i, angle in enumerate(said):
        sheet.y = top
        _draw_angle(sheet, angle, left + i * column, column - 2.5)
        low = max(low, sheet.y)
    sheet.y = low + 0.5


def _draw_angle(sheet: Sheet, angle: Said, x: float, width: float) -> None:
    """An angle: its name, its size large, its direction, its interval and share."""
    sheet.text(x, width, angle.name, size_pt=8.5, grey=True)
    sheet.text(x, width, angle.large, style="B", size_pt=LARGE_PT, stretch=LARGE_STRETCH)
    if angle.small:
        sheet.text(x, width, angle.small, style="B", size_pt=SMALL_PT, stretch=LARGE_STRETCH)
    for line in angle.lines:
        sheet.text(x, width, line, size_pt=CAPTION_PT)
    sheet.y += 1.2
