"""A page for the family: how to film at home, in pictures and few words; nothing of a cause."""

from __future__ import annotations

from posture.report.home_scene import (
    CLOCK_IN,
    SCENE_IN,
    VIEW_IN,
    WRONG_IN,
    Wrong,
    draw_clock,
    draw_good_view,
    draw_scene,
    draw_wrong_view,
)
from posture.report.sheet import MARGIN_MM, TEXT_MM, Sheet

MM_PER_IN = 25.4

TITLE = "Filming your child at home"
WHY = "Eight quiet minutes show the clinic how your child holds the head when nobody is asking."

STEPS = (
    ("Your child sits on a chair", "with the light from the front, not from behind. Glasses as always. Both shoulders can be seen."),
    ("Hang up a string with a weight", "(a key, a spoon) beside your child, where the phone sees it. It shows what is upright."),
    ("Stand the phone on its long side", "on something firm, as high as your child's eyes, 1 m away, its edge along the string."
     " Use the camera on the back; no mirror."),
    ("Put a picture or screen behind the phone,", "3 m or more from your child, at eye height: something that your child likes to look at."),
    ("Start, and say the date aloud.", "Then let it run for 8 minutes. Only your child is in the picture."),
    ("Stand behind the phone, a step aside.", "Let your child be. Do not say “sit straight” and do not touch the head."),
)  # fmt: skip
"""What to do, and how: the number of a step stands in the drawing where it belongs."""

GOOD = "This is what the phone should show"
GOOD_WORDS = ("Head and shoulders, whole and large.", "The string beside them.", "A picture wider than it is high.")
LENGTH = "8 minutes in one piece"

WRONGS: tuple[tuple[Wrong, str], ...] = (
    ("upright", "phone upright"),
    ("far", "too far away"),
    ("dark", "light behind"),
    ("two", "two people"),
    ("aslant", "phone aslant"),
)

LAST = (
    "Did your child get up? Go on filming; it may sit down again. Three minutes are better than none.",
    "Give the clinic the film as it is: not cut, not turned, with no filter.",
)
FOOT = "The clinic looks at the film and explains it to you."

NUMBER_MM = 8.0
"""Width of the column of numbers."""


def home_sheet_bytes() -> bytes:
    """Make the page.

    Returns
    -------
    bytes
        A PDF of one A4 page, with the drawings as vectors.
    """
    sheet = Sheet(11.0, 100.0, FOOT)
    sheet.text(MARGIN_MM, TEXT_MM, TITLE, style="B", size_pt=23.0)
    sheet.y += 1.0
    sheet.text(MARGIN_MM, TEXT_MM, WHY, size_pt=11.5)
    sheet.y += 2.0
    height = TEXT_MM * SCENE_IN[1] / SCENE_IN[0]
    words = (
        "The room from the side: child on a chair, string with a weight, phone on books, parent behind it, picture on the wall."
    )
    sheet.figure(draw_scene(), MARGIN_MM, sheet.y, TEXT_MM, height, words)
    sheet.y += height + 3.0
    _put_steps(sheet)
    _put_views(sheet)
    for line in LAST:
        sheet.text(MARGIN_MM, TEXT_MM, line, size_pt=10.5)
        sheet.y += 0.6
    return sheet.to_bytes()


def _put_steps(sheet: Sheet) -> None:
    """The steps, in two columns that are read downwards."""
    top, width = sheet.y, (TEXT_MM - 6) / 2
    low = top
    for k, (what, how) in enumerate(STEPS):
        column, row = divmod(k, len(STEPS) // 2)
        if row == 0:
            sheet.y = top
        x = MARGIN_MM + column * (width + 6)
        start = sheet.y
        sheet.text(x, NUMBER_MM, str(k + 1), style="B", size_pt=17.0)
        sheet.y = start
        sheet.text(x + NUMBER_MM, width - NUMBER_MM, what, style="B")
        sheet.text(x + NUMBER_MM, width - NUMBER_MM, how, size_pt=10.5)
        sheet.y += 2.6
        low = max(low, sheet.y)
    sheet.y = low


def _put_views(sheet: Sheet) -> None:
    """What the phone should show, and below what it should not."""
    sheet.heading(GOOD)
    top = sheet.y + 1.0
    wide, high = VIEW_IN[0] * MM_PER_IN, VIEW_IN[1] * MM_PER_IN
    sheet.figure(draw_good_view(), MARGIN_MM, top, wide, high, f"{GOOD}. {GOOD_WORDS[0]} {GOOD_WORDS[1]}")
    x, clock = MARGIN_MM + wide + 6, CLOCK_IN * MM_PER_IN
    sheet.y = top + 2
    for line in GOOD_WORDS:
        sheet.text(x, TEXT_MM - wide - 6, line, size_pt=12.0)
        sheet.y += 0.6
    sheet.figure(draw_clock(), x, sheet.y + 1.5, clock, clock, LENGTH)
    sheet.y += 1.5 + clock / 2 - 3
    sheet.text(x + clock + 4, TEXT_MM - wide - clock - 10, LENGTH, style="B", size_pt=13.0)
    sheet.y = top + high + 2.0
    sheet.heading("Not so")
    top = sheet.y + 1.0
    step = TEXT_MM / len(WRONGS)
    for k, (wrong, words) in enumerate(WRONGS):
        x = MARGIN_MM + k * step
        wide, high = WRONG_IN[0] * MM_PER_IN, WRONG_IN[1] * MM_PER_IN
        sheet.figure(draw_wrong_view(wrong), x + (step - wide) / 2, top, wide, high, f"Not so: {words}")
        sheet.y = top + high
        sheet.text(x, step, words, align="C", size_pt=10.5)
    sheet.y += 3.0
