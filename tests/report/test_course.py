"""The figures of a course and of a change: what is where, words at the ends, no side while it is not settled, hostile text."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from matplotlib.text import Text

from posture.clinic.change import Change, compare
from posture.clinic.course import Dated, course_of
from posture.clinic.dates import Event
from posture.errors import DateError
from posture.report import draw_change, draw_course, png_bytes
from posture.report.change import REAL_WORDS
from posture.report.style import INK, PAPER, svg_text
from tests.clinic.test_course import GROWING, STEADY, film, photograph

SIDE = re.compile(r"\b(right|left)\b", re.IGNORECASE)
HOSTILE = "![x](http://a.b/c) <b> $\\frac{1}{0}$ =cmd()"
SURGERY = Event("2020-02-03", "surgery", "tuck")


def words(figure: Figure) -> str:
    """All that is written in a figure, in reading order of its making."""
    figure.draw_without_rendering()
    return " | ".join(t.get_text() for t in figure.findobj(Text) if t.get_text() and t.get_visible())


def marks(ax: Axes, marker: str) -> list[tuple[float, float, str]]:
    """Place and filling of single marks of a kind, rings aside."""
    found = []
    for line in ax.lines:
        if line.get_marker() == marker and len(np.atleast_1d(line.get_xdata())) == 1 and line.get_markerfacecolor() != "none":
            x, y = (float(np.atleast_1d(v)[0]) for v in (line.get_xdata(), line.get_ydata()))
            found.append((x, y, str(line.get_markerfacecolor())))
    return found


def course_figure(items: Sequence[Dated], *events: Event) -> Figure:
    return draw_course(course_of(items), events)


def pair_figure(before: Dated, after: Dated, *events: Event) -> tuple[Figure, Change]:
    change = compare([before.summary], [after.summary])
    return draw_change(before.summary, after.summary, change, events), change


# --- The course. ---


def test_films_are_filled_photographs_hollow_and_each_stands_at_its_tilt() -> None:
    figure = course_figure([*STEADY, photograph(-7.0, "2020-01-01", 49)])
    ax = figure.axes[0]
    films, photographs = marks(ax, "o"), marks(ax, "s")
    assert [y for _, y, _ in films] == [-9.0, -10.0, -1.0, -9.5, -8.0]
    assert {colour for *_, colour in films} == {INK}
    assert [(y, colour) for _, y, colour in photographs] == [(-7.0, PAPER)]
    assert [x for x, *_ in films] == sorted(x for x, *_ in films)


def test_intervals_are_drawn_from_end_to_end() -> None:
    figure = course_figure([film(-9.0, "2019-01-01", half=3.0), film(-4.0, "2020-01-01", half=1.0)])
    bars = [line.get_ydata() for line in figure.axes[0].lines if len(np.atleast_1d(line.get_ydata())) == 2]
    assert any(np.allclose(bar, (-12.0, -6.0)) for bar in bars)
    assert any(np.allclose(bar, (-5.0, -3.0)) for bar in bars)


def test_right_is_up_and_named_at_the_ends_of_the_axis() -> None:
    figure = course_figure(STEADY)
    ends = {t.get_text(): t.get_position()[1] for t in figure.findobj(Text) if t.get_text().startswith("to the child's")}
    assert ends["to the child's right"] > ends["to the child's left"]
    assert not re.search(r"[-−]\d", re.sub(r"\d{4}-\d{2}", "", words(figure)))


@pytest.mark.parametrize(("items", "axis"), [(STEADY, "age"), ([*STEADY, film(-9.0, "2021-01-01")], "date")])
def test_the_axis_is_of_age_where_every_age_is_known(items: list[Dated], axis: str) -> None:
    assert course_figure(items).axes[0].get_xlabel() == axis


def test_ticks_of_age_fit_the_ages() -> None:
    figure = course_figure(GROWING)
    ax = figure.axes[0]
    at = {label.get_text(): x for label, x in zip(ax.get_xticklabels(), ax.get_xticks(), strict=True)}
    places = [x for x, *_ in marks(ax, "o")]
    for year, x in enumerate(places, 1):
        assert at[f"{year} y"] == pytest.approx(x, abs=0.6)


def test_what_has_no_date_stands_in_a_margin_beyond_the_last() -> None:
    figure = course_figure([*STEADY, film(-6.0, None)])
    *dated, undated = marks(figure.axes[0], "o")
    assert undated[1] == -6.0
    assert undated[0] > max(x for x, *_ in dated)
    assert undated[2] != INK
    assert "no date" in words(figure)
    assert "does not count" in words(figure)


def test_unlike_conditions_are_ringed_and_in_the_key() -> None:
    alike = [film(-8.0, f"{2017 + year}-04-01", correction="glasses") for year in range(3)]
    figure = course_figure([*alike, film(-8.0, "2021-04-01", correction="none")])
    rings = [line for line in figure.axes[0].lines if line.get_markerfacecolor() == "none"]
    assert len(rings) == 1
    assert "other conditions" in words(figure)
    assert "other conditions" not in words(course_figure(alike))


def test_events_are_vertical_lines_with_their_words_that_do_not_meet() -> None:
    events = [
        Event("2020-02-03", "surgery", "tuck"),
        Event("2020-03", "glasses", "new glasses"),
        Event("about 2019", "patching", ""),
    ]
    figure = course_figure(STEADY, *events)
    figure.draw_without_rendering()
    said = [t for t in figure.axes[0].texts if any(word in t.get_text() for word in ("tuck", "glasses", "patching"))]
    assert [t.get_text() for t in said] == ["patching, about 2019", "tuck, 3 February 2020", "new glasses, March 2020"]
    boxes = [t.get_window_extent() for t in said]
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[i + 1 :])
    upright = [line for line in figure.axes[0].lines if len(set(np.atleast_1d(line.get_xdata()))) == 1 and line.is_dashed()]
    assert len(upright) >= 3


def test_an_unsettled_side_is_drawn_to_both_and_named_nowhere() -> None:
    items = [film(-9.0, "2019-01-01", sided=False), film(7.0, None, sided=False)]
    figure = course_figure(items, Event("2020-02-03", "surgery", "left tuck"))
    assert sorted(y for _, y, _ in marks(figure.axes[0], "o")) == [-9.0, -7.0, 7.0, 9.0]
    assert not SIDE.search(words(figure))
    assert not SIDE.search(svg_text(figure, "course"))
    assert "one side" in words(figure)
    assert "surgery, 3 February 2020" in words(figure)


def test_an_uncertain_date_is_drawn_as_wide_as_it_is() -> None:
    figure = course_figure([film(-9.0, "about 2019"), film(-8.0, "2022-01-01")])
    flat = [line.get_xdata() for line in figure.axes[0].lines if tuple(np.atleast_1d(line.get_ydata())) == (-9.0, -9.0)]
    assert max(float(x[1] - x[0]) for x in flat if len(np.atleast_1d(x)) == 2) == pytest.approx(36, abs=0.5)


@pytest.mark.parametrize("items", [[], [film(None, "2019-01-01", nothing=True)]])
def test_nothing_to_draw_is_said(items: list[Dated]) -> None:
    assert "No film or picture shows a tilt" in words(course_figure(items))


def test_a_tilt_beyond_the_axis_stays_at_its_edge() -> None:
    ax = course_figure([film(-75.0, "2019-01-01"), film(-8.0, "2022-01-01")]).axes[0]
    assert ax.get_ylim() == (-60.0, 60.0)
    assert min(y for _, y, _ in marks(ax, "o")) == -60.0


def test_a_date_of_an_event_that_cannot_be_read_is_an_error() -> None:
    with pytest.raises(DateError, match="Expected a date"):
        course_figure(STEADY, Event("spring", "surgery", "tuck"))


# --- Before and after. ---


def heads_of(figure: Figure) -> list[Axes]:
    return [ax for ax in figure.axes if sum(isinstance(p, Polygon) for p in ax.patches) > 5]


@pytest.mark.parametrize(("after", "real"), [(-4.0, True), (-13.0, False)])
def test_heads_bars_and_verdict_stand_together(after: float, real: bool) -> None:
    figure, change = pair_figure(film(-14.0, None, filmed_on="2020-01-01"), film(after, None, filmed_on="2020-06-01"), SURGERY)
    assert change.tilt_deg.real is real
    said = words(figure)
    assert REAL_WORDS[real] in said
    assert REAL_WORDS[not real] not in said
    moved = {
        -4.0: "Change: 10 degrees towards the child's right shoulder (between 6 and 14)",
        -13.0: "Change: 1 degree towards",
    }
    assert moved[after] in said
    assert "Before, 1 January 2020" in said
    assert "between them: tuck, 3 February 2020" in said
    assert "Tilt 14 degrees to the child's left shoulder" in said
    assert len(heads_of(figure)) == 2
    assert not re.search(r"[-−]\d", said)


def test_a_tilt_to_the_left_is_on_the_side_named_left_in_heads_and_bars() -> None:
    figure, _ = pair_figure(film(-14.0, None), film(6.0, None))
    ax = figure.axes[-1]
    ends = {t.get_text(): t.get_position()[0] for t in ax.texts if t.get_text().startswith("child's")}
    assert ends["child's left"] > ends["child's right"]
    points = {(round(x), colour) for x, _, colour in marks(ax, "o")}
    assert points == {(14, PAPER), (-6, INK)}
    bars = [sorted(line.get_xdata()) for line in ax.lines if line.get_marker() == "|"]
    assert bars == [[12.0, 16.0], [-8.0, -4.0]]


def test_events_outside_of_the_two_are_not_between_them() -> None:
    before, after = film(-14.0, None, filmed_on="2020-01-01"), film(-4.0, None, filmed_on="2020-06-01")
    early, late = Event("2019-05", "glasses", "first pair"), Event("2021", "glasses", "second pair")
    assert "pair" not in words(pair_figure(before, after, early, late)[0])


def test_no_verdict_is_said_with_its_reasons() -> None:
    before = film(-14.0, None, position="sitting", covered_eye="none", drops="atropine", age_months=3)
    figure, _ = pair_figure(before, film(-4.0, None, position="standing", covered_eye="right"))
    said = words(figure).replace("\n", " ")
    assert "No verdict on the change: the covered eye differs; the position differs; a recording was made under drops" in said
    figure.draw_without_rendering()
    assert all(
        t.get_window_extent().x0 >= 0 and t.get_window_extent().x1 <= figure.bbox.x1 for t in figure.texts if t.get_text()
    )


def test_an_unsided_pair_has_bars_of_sizes_and_names_no_side() -> None:
    figure, _ = pair_figure(film(-14.0, None, sided=False), film(4.0, None), Event("2020", "surgery", "left tuck"))
    assert heads_of(figure) == []
    assert not SIDE.search(words(figure))
    assert not SIDE.search(svg_text(figure, "change"))
    assert {round(x) for x, *_ in marks(figure.axes[-1], "o")} == {14, 4}


def test_without_a_tilt_it_is_only_said() -> None:
    figure, _ = pair_figure(film(-14.0, None), film(0.0, None, nothing=True))
    assert "No tilt is compared." in words(figure)
    assert figure.axes == []


# --- Both. ---


@pytest.mark.parametrize("kind", ["course", "change"])
def test_hostile_words_are_shown_as_text(kind: str) -> None:
    event = Event("2020-02-03", "surgery", HOSTILE)
    if kind == "course":
        figure = course_figure(STEADY, event)
    else:
        figure, _ = pair_figure(film(-14.0, None, filmed_on="2020-01-01"), film(-4.0, None, filmed_on="2021-01-01"), event)
    assert HOSTILE[:20] in words(figure)
    assert all(not t.get_parse_math() for t in figure.findobj(Text) if "$" in t.get_text())
    svg = svg_text(figure, "course")
    assert ET.fromstring(svg).tag.endswith("svg")
    assert png_bytes(figure, 40).startswith(b"\x89PNG")


def test_marks_differ_without_colour() -> None:
    items: list[Any] = [*STEADY, photograph(-7.0, "2020-01-01", 49), film(-6.0, None)]
    lines: list[Line2D] = [line for line in course_figure(items).axes[0].lines if line.get_marker() in ("o", "s")]
    looks = {(line.get_marker(), line.get_markerfacecolor()) for line in lines}
    assert len(looks) == 3
