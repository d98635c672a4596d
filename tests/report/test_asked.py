"""The figure of asked movements: what it draws of each end, and what it must not draw."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Wedge
from matplotlib.text import Text

from posture.report.asked import draw_asked
from posture.report.style import png_bytes
from tests.clinic.examinations import examination, mirror_examination

BOTH: dict[str, Any] = {"tilt right": 44.0, "tilt left": 22.0, "turn right": 26.0, "turn left": "at least 45"}
AGE = 100


def words(figure: Figure) -> list[str]:
    return [text.get_text() for text in figure.findobj(Text) if text.get_text()]  # type: ignore[attr-defined]


def parts(figure: Figure, name: str, panel: str | None = None) -> list[Any]:
    axes = [ax for ax in figure.axes if panel is None or ax.get_gid() == panel]
    return [part for ax in axes for part in ax.get_children() if part.get_gid() == name]


def wedge_size(figure: Figure, name: str, panel: str) -> float:
    (wedge,) = parts(figure, name, panel)
    assert isinstance(wedge, Wedge)
    return float(wedge.theta2 - wedge.theta1)


def test_each_end_has_its_angle_its_interval_and_its_words() -> None:
    figure = draw_asked(examination(BOTH, 5.0, trunk=2.0), AGE)
    said = words(figure)
    for text in ("44° right", "22° left", "26° right", "at least 45° left"):
        assert text in said
    assert "between 39 and 49, held for 2.0 s" in said
    assert "beyond the camera, held for 2.0 s" in said
    assert "against the shoulder line" in said
    assert wedge_size(figure, "reached", "tilt right") == pytest.approx(44)
    assert wedge_size(figure, "interval", "tilt right") == pytest.approx(10)
    assert wedge_size(figure, "reached", "turn left") == pytest.approx(45)
    assert parts(figure, "interval", "turn left") == []
    assert len(png_bytes(figure, 60)) > 1000


def test_the_head_leans_to_the_side_that_was_asked() -> None:
    figure = draw_asked(examination({"tilt right": 30.0, "tilt left": 30.0}))
    for side, sign in (("right", -1), ("left", 1)):
        (wedge,) = parts(figure, "reached", f"tilt {side}")
        middle = np.cos(np.radians((wedge.theta1 + wedge.theta2) / 2))
        assert np.sign(middle) == sign


@pytest.mark.parametrize(
    ("ends", "more", "text"),
    [
        (
            {"tilt right": 29.0, "tilt left": 27.0},
            {},
            "as a head-tilt test, against gravity: both reached 20°; equal within 5°",
        ),
        ({"tilt right": 29.0, "tilt left": 17.0}, {"trunk": 0.0}, "not both reached 20°; 12° apart, 5° are allowed"),
        ({"tilt right": 29.0, "tilt left": "at least 27"}, {}, "whether they are equal was not seen"),
        ({"tilt right": 29.0, "tilt left": 27.0}, {"half": 4.0}, "the sides differ by 2° (between 0 and 10)"),
        ({"turn right": 40.0, "turn left": "at least 45"}, {}, "an end was not seen: the sides are not compared"),
        ({"turn right": 40.0}, {}, "one side only: not compared"),
        ({"turn right": 40.0, "turn left": 2.0}, {}, "the head stayed, or went the other way"),
    ],
)
def test_what_the_two_are_beside_each_other(ends: dict[str, Any], more: dict[str, Any], text: str) -> None:
    assert any(text in said for said in words(draw_asked(examination(ends, **more))))


def test_the_bracket_lies_where_the_other_side_would_be_equal() -> None:
    figure = draw_asked(examination({"tilt right": 30.0, "tilt left": 22.0}, trunk=None))
    (line,) = parts(figure, "equal within", "tilt left")
    x, y = np.asarray(line.get_xdata()), np.asarray(line.get_ydata())
    angles = np.degrees(np.arctan2(x, y))
    assert (angles.min(), angles.max()) == (pytest.approx(25, abs=0.1), pytest.approx(35, abs=0.1))


@pytest.mark.parametrize(
    ("age_months", "passive", "marks"), [(100, False, 4), (100, True, 0), (48, True, 4), (48, False, 0), (None, False, 0)]
)
def test_a_published_range_of_the_right_kind_and_age_or_none(age_months: int | None, passive: bool, marks: int) -> None:
    figure = draw_asked(examination(BOTH, passive=passive), age_months)
    assert len(parts(figure, "published")) == marks
    assert any("published" in said.lower() for said in words(figure))
    assert any("moved by the examiner" in said for said in words(figure)) is passive


def test_no_published_range_beside_a_tilt_against_gravity() -> None:
    figure = draw_asked(examination(BOTH, trunk=None), AGE)
    assert [len(parts(figure, "published", panel)) for panel in ("tilt right", "tilt left", "turn right")] == [0, 0, 1]


def test_while_mirroring_is_unknown_nothing_leans_and_no_side_is_named() -> None:
    ends = {"tilt one side": 29.0, "tilt other side": 17.0, "turn one side": "at least 45"}
    figure = draw_asked(examination(ends, sided=False), AGE)
    said = words(figure)
    assert not [text for text in said if re.search(r"\b(right|left)\b", text, re.IGNORECASE)]
    assert {"Tilt, one side", "Tilt, other side", "Turn, one side", "Turn, other side", "not asked"} <= set(said)
    assert any("side not known" in text for text in said)
    assert not figure.findobj(Wedge)


def test_nothing_asked_is_said() -> None:
    assert "No movement was asked" in " ".join(words(draw_asked(examination({}))))


def test_the_mirrored_child_gives_the_mirrored_figure() -> None:
    here = draw_asked(examination(BOTH, 5.0), AGE)
    there = draw_asked(mirror_examination(examination(BOTH, 5.0)), AGE)
    for panel, other in (("tilt right", "tilt left"), ("turn left", "turn right")):
        assert wedge_size(here, "reached", panel) == pytest.approx(wedge_size(there, "reached", other))


def test_the_farther_of_two_tries_is_drawn() -> None:
    film = examination({"tilt right": 20.0, "tilt left": 20.0})
    again = film.model_copy(update={"asked": [*film.asked, *examination({"tilt right": 33.0}).asked]})
    assert "33° right" in words(draw_asked(again))
