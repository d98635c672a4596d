"""The measured head beside those to expect: which heads, and to which side each of them leans on the page."""

import re
from collections.abc import Callable

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from posture.clinic.expected import EXPECTED, expected_of
from posture.clinic.findings import Findings
from posture.clinic.hint import Hint, hint_of
from posture.report.expected import MEASURED_LINE, NECK_NOT_SHOWN, draw_expected, expected_heads, say_directions, say_sizes
from posture.report.style import svg_text
from posture.summary.record import Conditions, Summary

SIDE = re.compile(r"\b(right|left)\b", re.IGNORECASE)


def tilted(measure: Callable, tilt_deg: float, turn_deg: float = 0.0) -> Summary:
    """A clip of a child on a target, with this posture held."""
    found: Summary = measure(held=((tilt_deg, turn_deg, 0.0),)).summary
    assert found.habitual is not None
    held = found.habitual.model_copy(
        update={
            name: found.habitual.tilt_deg.model_copy(update={"value": value, "low": value - 3, "high": value + 3})
            for name, value in (("tilt_deg", tilt_deg), ("turn_deg", turn_deg))
        }
        | {"turn_counts": True}
    )
    return found.model_copy(update={"habitual": held})


def hint_for(summary: Summary, **findings) -> Hint:
    return hint_of([summary], "unknown", Findings(**findings))


def heads(figure: Figure) -> dict[str, Axes]:
    """The drawn heads by their names."""
    return {ax.get_gid(): ax for ax in figure.axes}


def ear(ax: Axes, side: str) -> np.ndarray:
    """Middle of an ear on the page."""
    (found,) = [p for p in ax.patches if p.get_gid() == f"{side} ear"]
    assert isinstance(found, Polygon)
    return found.get_xy().mean(0)


def leans_deg(ax: Axes) -> float:
    """How far the line of the ears leans clockwise, as the reader sees it: towards the child's left."""
    across = ear(ax, "left") - ear(ax, "right")
    return float(np.degrees(np.arctan2(-across[1], across[0])))


def words(figure: Figure) -> str:
    texts = [*figure.texts, *(t for ax in figure.axes for t in ax.texts)]
    return " ".join(t.get_text() for t in texts)


@pytest.mark.parametrize(
    ("tilt_deg", "suspected", "names"),
    [
        (-14.0, "unknown", ["weak right superior oblique", "tight left neck muscle"]),
        (14.0, "unknown", ["weak left superior oblique", "tight right neck muscle"]),
        (-14.0, "right", ["weak right superior oblique", "tight left neck muscle"]),
        (-14.0, "left", ["weak right superior oblique", "weak left superior oblique", "tight left neck muscle"]),
        (14.0, "both", ["weak left superior oblique", "weak superior obliques of both sides", "tight right neck muscle"]),
        (1.0, "left", ["weak left superior oblique"]),
        (1.0, "unknown", [cause.name for cause in EXPECTED]),
    ],
)
def test_draw_expected_shows_those_that_fit_and_the_suspected_one(measure, tilt_deg, suspected, names):
    summary = tilted(measure, tilt_deg)
    figure = draw_expected(summary, suspected, hint_for(summary, red_flags=[]))
    assert list(heads(figure)) == ["measured", *names]
    assert words(figure).count("(suspected)") == (suspected != "unknown")
    assert NECK_NOT_SHOWN not in words(figure)


@pytest.mark.parametrize("tilt_deg", [-14.0, 14.0])
def test_draw_expected_heads_lean_to_their_side_as_one_faces_the_child(measure, tilt_deg):
    summary = tilted(measure, tilt_deg, turn_deg=2.0)
    figure = draw_expected(summary, "both", hint_for(summary, red_flags=[]))
    found = heads(figure)
    assert np.sign(leans_deg(found.pop("measured"))) == -np.sign(tilt_deg)
    for name, ax in found.items():
        cause = next(c for c in EXPECTED if c.name == name)
        # The child's right is on the left of the page.
        assert ear(ax, "right")[0] < ear(ax, "left")[0]
        if cause.tilt:
            assert np.sign(leans_deg(ax)) == -cause.tilt
            assert abs(leans_deg(ax)) == pytest.approx(cause.tilt_deg, abs=4)
        else:
            assert leans_deg(ax) == pytest.approx(0, abs=0.01)


def nose_x(ax: Axes) -> float:
    """Where the nose stands between the ears: 0 at the child's right, 1 at the child's left."""
    (nose,) = [p for p in ax.patches if p.get_zorder() == 5.5]
    a, b = ear(ax, "right"), ear(ax, "left")
    return float((nose.get_xy().mean(0) - a) @ (b - a) / ((b - a) @ (b - a)))


@pytest.mark.parametrize(("tilt_deg", "kind", "side"), [(-14.0, "superior oblique", "right"), (-14.0, "neck muscle", "left")])
def test_draw_expected_turns_the_oblique_with_the_tilt_and_the_neck_against_it(measure, tilt_deg, kind, side):
    summary = tilted(measure, tilt_deg)
    cause = expected_of(kind, side)
    ax = heads(draw_expected(summary, "unknown", hint_for(summary, red_flags=[])))[cause.name]
    assert cause.turn == (-1 if kind == "superior oblique" else 1)
    assert (nose_x(ax) > 0.55) if cause.turn < 0 else (nose_x(ax) < 0.45)


def test_draw_expected_marks_the_measured_tilt_over_every_head(measure):
    summary = tilted(measure, -14.0)
    figure = draw_expected(summary, "left", hint_for(summary, red_flags=[]))
    assert len(figure.axes) == 4
    for ax in figure.axes:
        (line,) = [line for line in ax.lines if line.get_gid() == "measured tilt"]
        x, y = np.diff(line.get_xydata(), axis=0)[0]
        # To the child's left is to the right of the page.
        assert np.degrees(np.arctan2(x, y)) == pytest.approx(14, abs=0.1)
    assert MEASURED_LINE.split()[-1] in words(figure)


@pytest.mark.parametrize(
    ("turn_deg", "counts", "of_eye", "of_neck"),
    [
        (-12.0, True, "✓ turn as measured", "✕ turn not as measured"),
        (12.0, True, "✕ turn not as measured", "✓ turn as measured"),
        (2.0, True, "? turn not clear", "? turn not clear"),
        (-12.0, False, "– turn is not evidence", "– turn is not evidence"),
    ],
)
def test_draw_expected_says_what_goes_the_same_way(measure, turn_deg, counts, of_eye, of_neck):
    summary = tilted(measure, -14.0, turn_deg)
    summary = summary.model_copy(update={"habitual": summary.habitual.model_copy(update={"turn_counts": counts})})
    said = [t.get_text() for t in draw_expected(summary, "unknown", hint_for(summary, red_flags=[])).texts]
    assert said.count("✓ tilt as measured") == 2
    eye, neck = said.index("Weak right superior oblique"), said.index("Tight left neck muscle")
    assert said[eye + 2] == of_eye
    assert said[neck + 2] == of_neck


@pytest.mark.parametrize(
    "findings",
    [{}, {"red_flags": ["drowsy"]}, {"red_flags": ["new_tilt"]}, {"red_flags": [], "onset": "new"}],
    ids=["not asked", "today", "soon", "new"],
)
def test_draw_expected_shows_no_neck_before_urgent_questions_are_answered(measure, findings):
    summary = tilted(measure, -14.0)
    for hint in (hint_for(summary, **findings), None):
        figure = draw_expected(summary, "right", hint)
        assert list(heads(figure)) == ["measured", "weak right superior oblique"]
        assert "Tight" not in words(figure)
        assert "No tight neck muscle is shown" in words(figure)


@pytest.mark.parametrize("suspected", ["right", "left", "both", "unknown"])
def test_draw_expected_names_no_side_while_mirroring_is_unknown(measure, suspected):
    summary = measure(mirrored="unknown").summary
    assert not summary.sided
    figure = draw_expected(summary, suspected, hint_for(summary, red_flags=[]))
    assert not figure.axes
    assert not SIDE.search(words(figure))
    assert "side not known" in words(figure)
    assert not SIDE.search(svg_text(figure, "expected"))
    assert expected_heads(summary, suspected, None) == []


def test_draw_expected_says_why_there_is_no_head(measure):
    lying = measure(conditions=Conditions(position="lying")).summary
    assert "gravity is no zero" in words(draw_expected(lying))
    young = measure(conditions=Conditions(age_months=3)).summary
    assert "no hint is given" in words(draw_expected(young))
    without = measure().summary.model_copy(update={"habitual": None})
    assert "No habitual posture" in words(draw_expected(without))
    for summary in (lying, young, without):
        assert not draw_expected(summary, "right").axes


@pytest.mark.parametrize("columns", [1, 2, 3])
def test_draw_expected_words_stay_in_their_column_and_apart(measure, columns):
    summary = tilted(measure, 0.5)
    figure = draw_expected(summary, "unknown", hint_for(summary, red_flags=[]), columns)
    figure.canvas.draw()
    boxes = [t.get_window_extent() for t in figure.texts]
    width, height = figure.get_size_inches() * figure.dpi
    assert all(box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height for box in boxes)
    overlaps = [(a, b) for i, a in enumerate(boxes) for b in boxes[:i] if a.shrunk(0.96, 0.6).overlaps(b.shrunk(0.96, 0.6))]
    assert not overlaps


def test_draw_expected_refuses_no_column(measure):
    with pytest.raises(ValueError, match="at least one column; 0 came"):
        draw_expected(measure(mirrored="unknown").summary, columns=0)


def test_say_sizes_and_directions_are_those_of_the_table():
    right, both, neck = (
        expected_of("superior oblique", "right"),
        expected_of("superior oblique", "both"),
        expected_of("neck muscle", "right"),
    )
    assert say_sizes(right) == "Drawn at 15 degrees; published means 10 to 30 [1][2][84][86]"
    assert say_sizes(neck) == "Drawn at 17 degrees; published means 7 to 17 [42][43]"
    assert say_sizes(both) == "No size was published"
    assert say_directions(right) == "Usually tilted and turned to the left, chin down in about one in five"
    assert say_directions(neck) == "Usually tilted to the right, turned to the left, chin level"
