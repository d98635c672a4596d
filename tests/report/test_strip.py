"""The strip: which rows, to which side each stands, and that nothing names a side that is not known."""

import re
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from posture.clinic.cover import Covered, CoverTest, cover_test
from posture.clinic.demand import Comparison, demand_of
from posture.report.strip import LEAST_ARROW_DEG, NOTHING, draw_strip
from posture.report.strip_rows import strip_parts
from posture.report.style import svg_text
from posture.summary.record import Interval
from tests.clinic.made import clip, interval

SIDE = re.compile(r"\b(right|left)\b", re.IGNORECASE)
LIKE: dict[str, Any] = {"position": "sitting", "age_months": 60}


def cover(right: float | None, left: float | None, open_: float = -14.0, minutes: float = 30.0) -> CoverTest:
    tilts = [None if tilt is None else Covered(interval(tilt), minutes) for tilt in (right, left)]
    return cover_test(interval(open_), *tilts, age_months=60)


def glasses(first: float, second: float, sided: bool = True, **more: Any) -> tuple[Comparison, ...]:
    return demand_of(
        [clip(first, sided=sided, correction="none", **LIKE), clip(second, sided=sided, correction="glasses", **(LIKE | more))]
    )


def words(figure: Figure) -> list[str]:
    texts = [*figure.texts, *(t for ax in figure.axes for t in (*ax.texts, *ax.get_xticklabels()))]
    return [t.get_text() for t in texts if t.get_text()]


def tilts(figure: Figure) -> Axes:
    (ax,) = [ax for ax in figure.axes if ax.get_gid() == "tilts"]
    return ax


def dots(figure: Figure) -> list[float]:
    """Where the dots stand along the axis, from the top."""
    found = [line for line in tilts(figure).lines if line.get_marker() == "o"]
    return [float(line.get_xdata()[0]) for line in sorted(found, key=lambda line: line.get_ydata()[0])]


def leans_deg(ax: Axes) -> float:
    """How far a head leans clockwise, as the reader sees it."""
    ears = [next(p for p in ax.patches if p.get_gid() == f"{side} ear").get_xy().mean(0) for side in ("right", "left")]
    across = ears[1] - ears[0]
    return float(np.degrees(np.arctan2(-across[1], across[0])))


@pytest.mark.parametrize(
    ("right", "left", "title"),
    [
        (-3.0, -2.0, "Relieved by either eye"),
        (-3.0, -14.0, "Relieved by right only"),
        (-14.0, -3.0, "Relieved by left only"),
        (-14.0, -14.0, "Relieved by neither"),
        (-14.0, None, "Cover test: right eye covered: stays; left eye covered: not done"),
    ],
)
def test_title_is_the_word_of_the_cover_test(right: float, left: float | None, title: str) -> None:
    assert words(draw_strip(cover(right, left)))[0] == title


def test_too_short_is_no_verdict_in_the_title() -> None:
    said = words(draw_strip(cover(-14, -14, minutes=5.0)))
    assert said[0] == "Cover test: too short to say"
    assert sum(text.startswith("too short to say (") for text in said) == 2


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_rows_stand_where_one_who_faces_the_child_sees_them(sign: float) -> None:
    figure = draw_strip(cover(3 * sign, 2 * sign, 14 * sign), glasses(14 * sign, 4 * sign))
    # The child's right, which is positive, is on the left of the page.
    assert dots(figure) == [pytest.approx(-sign * value) for value in (14, 3, 2, 14, 4)]
    heads = [ax for ax in figure.axes if ax.get_gid() == "head"]
    assert [round(leans_deg(ax)) for ax in heads] == [round(-sign * value) for value in (14, 3, 2, 14, 4)]
    said = words(figure)
    assert "to the child's right" in said
    assert "to the child's left" in said
    ends = {t.get_text(): t.get_position()[0] for t in tilts(figure).texts if "child's" in t.get_text()}
    assert ends["to the child's right"] < ends["to the child's left"]


def test_bars_are_the_intervals_and_dots_lie_in_them() -> None:
    ax = tilts(draw_strip(cover(-3, -2)))
    bars = sorted(
        (tuple(sorted(map(float, line.get_xdata()))) for line in ax.lines if line.get_linewidth() == 6.0), reverse=True
    )
    assert bars == [pytest.approx(ends, abs=1e-9) for ends in ((12, 16), (1, 5), (0, 4))]


def test_arrow_leads_from_the_open_tilt_and_says_how_far() -> None:
    figure = draw_strip(cover(-3, -2))
    arrows = [text for text in tilts(figure).texts if getattr(text, "arrow_patch", None) is not None]
    assert [(round(a.xyann[0]), round(a.xy[0])) for a in arrows] == [(14, 3), (14, 2)]
    assert all(a.arrow_patch.get_linestyle() == "solid" for a in arrows)
    said = words(figure)
    assert "falls by 11 (8 to 14)" in said
    assert "falls by 12 (9 to 15)" in said
    still = draw_strip(cover(-14 + LEAST_ARROW_DEG / 2, -14))
    assert not [text for text in tilts(still).texts if getattr(text, "arrow_patch", None) is not None]


@pytest.mark.parametrize(
    ("second", "more", "heading", "change"),
    [
        (-4, {}, "Less tilt with glasses", "smaller by 10 (7 to 13)"),
        (-24, {}, "More tilt with glasses", "larger by 10 (7 to 13)"),
        (14, {}, "Tilt to the other side with glasses", "to the other side, apart by 28 (25 to 31)"),
        (-13, {}, "No change of tilt shown with glasses", "no change shown (2 more to 4 less)"),
        (-4, {"position": "standing"}, "No verdict with glasses: other conditions differ", "smaller by 10 (7 to 13)"),
        (-4, {"camera_height": "above"}, "Less tilt with glasses (other conditions differ too)", "smaller by 10 (7 to 13)"),
    ],
)
def test_demand_is_said_in_its_heading_and_over_its_arrow(
    second: float, more: dict[str, Any], heading: str, change: str
) -> None:
    figure = draw_strip(None, glasses(-14, second, **more))
    said = words(figure)
    assert said[0] == heading
    assert change in said
    bold = [t for t in tilts(figure).texts if t.get_text() == change and t.get_weight() == "bold"]
    assert bool(bold) == ("verdict" not in heading and "No change" not in heading)


def test_every_part_has_its_rows() -> None:
    demand = demand_of(
        [
            clip(-14, target="far picture", target_distance_m=4.0, **LIKE),
            clip(-6, target="near picture", target_distance_m=0.35, **LIKE),
            clip(-14, attention="idle", **LIKE),
            clip(-6, attention="looking hard", **LIKE),
        ]
    )
    parts = strip_parts(cover(-3, -2), demand)
    assert [[row.words for row in part.rows] for part in parts] == [
        ["both eyes open", "right eye covered for 30 min", "left eye covered for 30 min"],
        ["looking far (4 m)", "looking near (0.35 m)"],
        ["idle", "looking hard"],
    ]
    said = words(draw_strip(cover(-3, -2), demand))
    assert all(row.words in " ".join(said) or row.words.split()[0] in " ".join(said) for part in parts for row in part.rows)


@pytest.mark.parametrize("narrow", [False, True])
def test_no_side_is_named_or_drawn_while_it_is_not_known(narrow: bool) -> None:
    figure = draw_strip(cover(-3, -2), glasses(-14, -4, sided=False), narrow)
    assert not SIDE.search(" ".join(words(figure)))
    assert not SIDE.search(svg_text(figure, "strip"))
    assert not [ax for ax in figure.axes if ax.get_gid() == "head"]
    assert dots(figure) == [14, 4]
    assert tilts(figure).get_xlim()[0] == 0
    assert "side not known" in " ".join(words(figure))
    # With the side known one is named, so that the look above can fail.
    assert SIDE.search(" ".join(words(draw_strip(None, glasses(-14, -4), narrow))))


def test_no_size_beyond_0_where_one_clip_alone_has_no_side() -> None:
    demand = demand_of([clip(-14, sided=False, correction="none", **LIKE), clip(-4, correction="glasses", **LIKE)])
    assert dots(draw_strip(None, demand)) == [14, 4]


def test_nothing_to_compare_is_said() -> None:
    for found in (draw_strip(None), draw_strip(None, []), draw_strip(cover_test(interval(-14), None, None))):
        assert not found.axes
        assert " ".join(words(found)) == NOTHING


def test_tilts_beyond_the_axis_end_on_its_edge() -> None:
    figure = draw_strip(
        cover_test(Interval(value=-80, low=-170, high=-70), Covered(interval(-3), 30), Covered(interval(-2), 30))
    )
    ax = tilts(figure)
    assert ax.get_xlim() == (-60, 60)
    assert dots(figure)[0] == 60


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize(("right", "left", "second"), [(-3, -2, -13), (-14, -13, -4), (3, 20, 14), (-14, None, -40)])
def test_words_stay_on_the_paper_and_apart(narrow: bool, right: float, left: float | None, second: float) -> None:
    figure = draw_strip(cover(right, left), glasses(-14, second, camera_height="above"), narrow)
    figure.canvas.draw()
    texts = [*figure.texts, *(t for ax in figure.axes for t in (*ax.texts, *(ax.get_xticklabels() if ax.axison else ())))]
    boxes = [(t.get_text(), t.get_window_extent()) for t in texts if t.get_text()]
    width, height = figure.get_size_inches() * figure.dpi
    outside = [text for text, b in boxes if not (b.x0 >= -1 and b.x1 <= width + 1 and b.y0 >= -1 and b.y1 <= height + 1)]
    assert not outside
    over = [
        (a, b)
        for i, (a, box) in enumerate(boxes)
        for b, other in boxes[:i]
        if box.shrunk(0.96, 0.6).overlaps(other.shrunk(0.96, 0.6))
    ]
    assert not over


def test_grey_alone_tells_bar_band_and_paper_apart() -> None:
    from matplotlib.colors import to_rgb

    from posture.report.style import BLUE, INK, PALE, PAPER

    greys = [float(np.dot(to_rgb(colour), (0.299, 0.587, 0.114))) for colour in (INK, BLUE, PALE, PAPER)]
    assert greys == sorted(greys)
    assert min(np.diff(greys)) > 0.08
