"""The measured head beside the heads to expect: of the causes that tilt as measured, and of the one that is suspected."""

from __future__ import annotations

import textwrap
from typing import Any, Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from posture.clinic.expected import EXPECTED, Direction, Expected
from posture.clinic.held import MIN_HINT_MONTHS, TURN_DIRECTION_DEG, clear_sign
from posture.clinic.hint import Hint
from posture.clinic.outcome import Suspected
from posture.clinic.sentences import CAUTIONS
from posture.conventions import STRAIGHT_DEG
from posture.report.head import paint_head
from posture.report.style import (
    BLUE,
    BODY_PT,
    GREY,
    HEAD_PT,
    INK,
    SIDE_UNKNOWN,
    SMALL_PT,
    TILT_NOT_GIVEN,
    WIDTH_IN,
    blank_axes,
    new_figure,
    put_text,
    quiet_figure,
)
from posture.summary.record import Habitual, Summary
from posture.summary.words import say_angle, say_interval

DRAWN_TURN_DEG, DRAWN_CHIN_DEG = 14.0, 10.0
"""No size of turn or chin was published: enough to see the direction, no more; the figure says so."""

NOT_PUBLISHED = "Turn and chin are drawn by their direction only: no size of them was published."
MEASURED_LINE = "The thick blue line over each head is the measured tilt."
NECK_NOT_SHOWN = "No tight neck muscle is shown until the urgent questions are answered."

COLUMN_IN = WIDTH_IN / 3
"""Width of a head with its words where three stand side by side; fewer get more."""

HEAD_IN, TITLE_IN, LINE_IN = 2.0, 0.42, 0.165
"""Heights of a head, of the title and of a line of words."""

LETTERS_PER_IN = 15.0
"""Of the small letters, so that words stay in their column."""

STRONG_SHARE = 0.78
"""Of the letters of a line when they are larger and bold."""

Agrees = Literal["same", "other", "not clear", "not evidence"]


def draw_expected(summary: Summary, suspected: Suspected = "unknown", hint: Hint | None = None, columns: int = 3) -> Figure:
    """Draw the measured head beside those to expect, as one who faces the child sees them.

    Parameters
    ----------
    summary : Summary
    suspected : {"right", "left", "both", "unknown"}
        Side of the eye muscle that is suspected to be weak.
    hint : Hint or None
        Of the same clip. Without one, while something is urgent and while the red flags were not asked no neck muscle is shown.
    columns : int
        Heads side by side, at most; 1 for a narrow window.

    Returns
    -------
    Figure
        Only words while mirroring is unknown, where there is no habitual tilt, and under the age for a hint.

    Raises
    ------
    ValueError
        If there is no column.
    """
    if columns < 1:
        raise ValueError(f"Expected at least one column; {columns} came. Give 1 to 3.")
    why = _why_not(summary)
    if why:
        return quiet_figure(why)
    held = summary.habitual
    assert held is not None
    assert held.tilt_deg is not None
    cells = [None, *expected_heads(summary, suspected, hint)]
    columns = _columns(len(cells), columns)
    width_in = WIDTH_IN if columns > 1 else 1.35 * COLUMN_IN
    words = [_broken(_lines(cause, held, suspected), LETTERS_PER_IN * width_in / columns) for cause in cells]
    rows = [range(i, min(i + columns, len(cells))) for i in range(0, len(cells), columns)]
    words_in = [LINE_IN * (1 + max(len(words[i]) for i in row)) for row in rows]
    foot = f"{MEASURED_LINE} {NOT_PUBLISHED}" + ("" if neck_may_show(hint) else f" {NECK_NOT_SHOWN}")
    feet = textwrap.wrap(foot, round(LETTERS_PER_IN * width_in))
    height_in = TITLE_IN + len(rows) * HEAD_IN + sum(words_in) + LINE_IN * (len(feet) + 0.6)
    figure = new_figure(height_in, width_in)
    put_text(figure, 0.5, 1 - 0.2 / height_in, "Measured and expected", HEAD_PT, weight="bold")
    top_in = height_in - TITLE_IN
    for row, row_words_in in zip(rows, words_in, strict=True):
        for i in row:
            middle = 0.5 + (i - row[0] - (len(row) - 1) / 2) / columns
            ax = blank_axes(figure, (middle - 0.5 / columns, (top_in - HEAD_IN) / height_in, 1 / columns, HEAD_IN / height_in))
            cause = cells[i]
            ax.set_gid("measured" if cause is None else cause.name)
            _head(ax, held, cause)
            for k, (text, style) in enumerate(words[i]):
                put_text(figure, middle, (top_in - HEAD_IN - (k + 0.5) * LINE_IN) / height_in, text, **style)
        top_in -= HEAD_IN + row_words_in
    for k, text in enumerate(reversed(feet)):
        put_text(figure, 0.5, LINE_IN * (k + 0.8) / height_in, text, SMALL_PT, color=GREY)
    return figure


def expected_heads(summary: Summary, suspected: Suspected, hint: Hint | None) -> list[Expected]:
    """Which of the five postures are laid beside the measured one.

    Parameters
    ----------
    summary : Summary
    suspected : {"right", "left", "both", "unknown"}
    hint : Hint or None

    Returns
    -------
    list of Expected
        Those that tilt to the measured side and the suspected one, in the order of the table; all where the tilt is not clear and
        nothing is suspected; none while no side is known.
    """
    if _why_not(summary):
        return []
    sign = _tilt_sign(summary)
    wanted = [
        cause
        for cause in EXPECTED
        if (sign and cause.tilt == sign)
        or (cause.kind == "superior oblique" and cause.side == suspected)
        or (not sign and suspected == "unknown")
    ]
    return [cause for cause in wanted if cause.kind != "neck muscle" or neck_may_show(hint)]


def neck_may_show(hint: Hint | None) -> bool:
    """Whether a tight neck muscle may be shown: the red flags were asked, and nothing is urgent.

    Parameters
    ----------
    hint : Hint or None
        None counts as not asked.
    """
    return hint is not None and hint.urgency is None and CAUTIONS["red flags"].text not in hint.cautions


def _why_not(summary: Summary) -> list[str]:
    """What is said in the place of heads; empty where they are drawn."""
    if not summary.sided:
        lines = [f"No expected postures are laid beside this clip: {SIDE_UNKNOWN}."]
        return [*lines, "Settle whether the picture is mirrored to see them drawn."]
    age = summary.conditions.age_months
    if age is not None and age < MIN_HINT_MONTHS:
        return [CAUTIONS["under 4 months"].text]
    if summary.habitual is None:
        return ["No habitual posture was found, so none to expect is laid beside it."]
    return [] if summary.habitual.tilt_deg else [TILT_NOT_GIVEN, "So no expected posture is laid beside it."]


def _tilt_sign(summary: Summary) -> Direction:
    """Side of the tilt, 0 where it is not clear."""
    held = summary.habitual
    return clear_sign(held.tilt_deg, STRAIGHT_DEG) if held else 0


def _columns(heads: int, most: int) -> int:
    """As many as leave no head alone in its row: four go two by two."""
    return 1 if most == 1 else min(most, 2 if heads == 4 else heads)


def _pose(held: Habitual, cause: Expected | None) -> tuple[float, float, float]:
    """Tilt, turn and chin to draw; the chin of one weak superior oblique level, as it is in four of five."""
    if cause is None:
        assert held.tilt_deg is not None
        return held.tilt_deg.value, held.turn_deg.value, held.chin_deg.value
    chin = cause.chin * DRAWN_CHIN_DEG if cause.side == "both" else 0.0
    return cause.tilt * (cause.tilt_deg or 0.0), cause.turn * DRAWN_TURN_DEG, chin


def _head(ax: Axes, held: Habitual, cause: Expected | None) -> None:
    """A head in its posture, the plumb line, and the measured tilt over it."""
    paint_head(ax, *_pose(held, cause), "front")
    ax.set_xlim(-2.3, 2.3)
    ax.set_ylim(-1.45, 2.85)
    ax.plot([0, 0], [-0.25, 2.8], color=INK, linewidth=0.9, linestyle=(0, (4, 3)), zorder=6, alpha=0.7)
    assert held.tilt_deg is not None
    a = np.radians(held.tilt_deg.value)
    ends = np.outer([2.38, 2.8], [-np.sin(a), np.cos(a)])
    ax.plot(*ends.T, color=BLUE, linewidth=3.2, solid_capstyle="butt", zorder=6.1, gid="measured tilt")
    for x, side in ((-1.0, "child's right"), (1.0, "child's left")):
        put_text(ax, 1.45 * x, -1.28, side, SMALL_PT, color=GREY)


def _broken(lines: list[tuple[str, bool]], letters: float) -> list[tuple[str, dict[str, Any]]]:
    """Lines broken where their column ends, each with the style of its letters."""
    found: list[tuple[str, dict[str, Any]]] = []
    for text, is_strong in lines:
        style = {"size": BODY_PT, "weight": "bold"} if is_strong else {"size": SMALL_PT}
        found += [(piece, style) for piece in textwrap.wrap(text, round(letters * (STRONG_SHARE if is_strong else 1)))]
    return found


def _lines(cause: Expected | None, held: Habitual, suspected: Suspected) -> list[tuple[str, bool]]:
    """What stands below a head; the name of it is the strong one."""
    return _measured_lines(held) if cause is None else _expected_lines(cause, held, suspected)


def _measured_lines(held: Habitual) -> list[tuple[str, bool]]:
    """What was measured, in words."""
    assert held.tilt_deg is not None
    note = "" if held.turn_counts else ", not evidence"
    words = say_angle("tilt", held.tilt_deg)
    tilt = "Upright" if words == "upright" else f"Tilt {words}"
    return [
        ("Measured", True),
        (f"{tilt} ({say_interval('tilt', held.tilt_deg)})", False),
        (f"Face {say_angle('turn', held.turn_deg)}{note}", False),
    ]


def _expected_lines(cause: Expected, held: Habitual, suspected: Suspected) -> list[tuple[str, bool]]:
    """A cause, whether it goes the measured way, and its directions and sizes."""
    is_suspected = cause.kind == "superior oblique" and cause.side == suspected
    name = f"{cause.name[0].upper()}{cause.name[1:]}"
    lines = [(f"{name} (suspected)" if is_suspected else name, True)]
    lines += [
        (say_agreement(part, agrees), False) for part, agrees in zip(("tilt", "turn"), _agreements(cause, held), strict=True)
    ]
    lines.append((say_directions(cause), False))
    return [*lines, (say_sizes(cause), False)]


def _agreements(cause: Expected, held: Habitual) -> tuple[Agrees, Agrees]:
    """Whether tilt and turn go the way of a cause."""
    turn: Agrees = "not evidence"
    if held.turn_counts:
        turn = _agreement(cause.turn, clear_sign(held.turn_deg, TURN_DIRECTION_DEG))
    return _agreement(cause.tilt, clear_sign(held.tilt_deg, STRAIGHT_DEG)), turn


def _agreement(expected: Direction, seen: Direction) -> Agrees:
    """One direction against another."""
    if not seen:
        return "not clear"
    return "same" if expected == seen else "other"


def say_agreement(part: str, agrees: Agrees) -> str:
    """Whether a direction is the expected one, by sign and word.

    Parameters
    ----------
    part : str
        "tilt" or "turn".
    agrees : {"same", "other", "not clear", "not evidence"}
    """
    said = {"same": "✓ {} as measured", "other": "✕ {} not as measured", "not clear": "? {} not clear"}
    return said.get(agrees, "– {} is not evidence").format(part)


def say_directions(cause: Expected) -> str:
    """Which way the head usually goes, in a sentence without signs.

    Parameters
    ----------
    cause : Expected
    """
    if cause.side == "both":
        return "Usually hardly tilted, not turned, chin down"
    tilt, turn = (f"to the {'right' if way > 0 else 'left'}" for way in (cause.tilt, cause.turn))
    way = f"tilted and turned {tilt}" if tilt == turn else f"tilted {tilt}, turned {turn}"
    return f"Usually {way}, chin {'down in about one in five' if cause.chin < 0 else 'level'}"


def say_sizes(cause: Expected) -> str:
    """The published sizes of a tilt in a line: by which the head is drawn, and how far the groups reach.

    Parameters
    ----------
    cause : Expected
    """
    if cause.tilt_deg is None:
        return "No size was published"
    means = sorted(size.value for size in cause.sizes)
    sources = "".join(dict.fromkeys(size.source for size in cause.sizes))
    return f"Drawn at {cause.tilt_deg:.0f} degrees; published means {means[0]:.0f} to {means[-1]:.0f} {sources}"
