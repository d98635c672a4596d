"""The drawn head leans and turns to the side that was measured."""

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from posture.report.head import EAR_CENTRE, paint_head, place_points
from posture.report.heads import draw_heads
from posture.report.style import blank_axes, svg_text

EARS = np.stack([EAR_CENTRE * [-1, 1, 1], EAR_CENTRE])
NOSE = np.array([[0.0, -0.38, 1.1]])


def drawn_ear(ax, name):
    """Middle of a drawn ear on the page, shape (2,)."""
    (patch,) = (p for p in ax.patches if p.get_gid() == name)
    return patch.get_xy()[:-1].mean(axis=0)


def painted(tilt, turn, chin, view="front"):
    ax = blank_axes(Figure(), (0, 0, 1, 1))
    paint_head(ax, tilt, turn, chin, view)
    return ax


@pytest.mark.parametrize("turn", [-30.0, 0.0, 30.0])
@pytest.mark.parametrize("chin", [-15.0, 0.0, 15.0])
@pytest.mark.parametrize("tilt", [-25.0, -6.0, 6.0, 25.0])
def test_paint_head_lowers_the_ear_on_the_side_of_the_tilt(tilt, turn, chin):
    ax = painted(tilt, turn, chin)
    right, left = drawn_ear(ax, "right ear"), drawn_ear(ax, "left ear")
    assert right[0] < left[0]
    assert (right[1] < left[1]) == (tilt > 0)


def test_paint_head_keeps_an_upright_head_symmetric():
    ax = painted(0.0, 0.0, 0.0)
    right, left = drawn_ear(ax, "right ear"), drawn_ear(ax, "left ear")
    np.testing.assert_allclose(right * [-1, 1], left, atol=0.02)


@pytest.mark.parametrize("view", ["front", "above"])
@pytest.mark.parametrize("turn", [-40.0, -8.0, 8.0, 40.0])
def test_place_points_turns_the_nose_to_the_right_side(turn, view):
    (nose,), _ = place_points(NOSE, 0.0, turn, 0.0, view)
    assert (nose[0] < 0) == (turn > 0)


def test_place_points_from_above_puts_the_nose_below_the_ears():
    (nose,), _ = place_points(NOSE, 0.0, 0.0, 0.0, "above")
    ears, _ = place_points(EARS, 0.0, 0.0, 0.0, "above")
    assert nose[1] < ears[:, 1].min()


@pytest.mark.parametrize("tilt", [-20.0, -5.0, 10.0])
def test_place_points_slopes_the_ears_by_the_tilt(tilt):
    (right, left), _ = place_points(EARS, tilt, 0.0, 0.0, "front")
    slope = np.degrees(np.arctan2(*(left - right)[::-1]))
    assert slope == pytest.approx(tilt, abs=1e-9)


def test_place_points_lowers_the_nose_with_the_chin_down():
    heights = [place_points(NOSE, 0, 0, chin, "front")[0][0, 1] for chin in (-15.0, 0.0, 15.0)]
    assert heights == sorted(heights)


@pytest.mark.parametrize("held", [(-14.0, -12.0, -8.0), (18.0, 20.0, 5.0), (12.0, -20.0, 0.0)])
def test_draw_heads_draws_the_measured_side(measure, held):
    made = measure(held=(held,))
    front, above = draw_heads(made.summary, made.found).axes
    right, left = drawn_ear(front, "right ear"), drawn_ear(front, "left ear")
    assert (right[1] < left[1]) == (held[0] > 0)
    # From above the ear of the side to which the face is turned goes back, which is up the page.
    right, left = drawn_ear(above, "right ear"), drawn_ear(above, "left ear")
    assert (right[1] > left[1]) == (held[1] > 0)


def test_draw_heads_puts_the_thick_line_at_the_measured_tilt(measure):
    made = measure()
    front = draw_heads(made.summary, made.found).axes[0]
    thick = max(front.lines, key=lambda line: line.get_linewidth())
    (x0, x1), (y0, y1) = thick.get_data()
    # Towards the child's left is towards the far edge of the page.
    assert np.degrees(np.arctan2(x1 - x0, y1 - y0)) == pytest.approx(-made.summary.habitual.tilt_deg.value, abs=1e-6)


def test_draw_heads_fan_spans_the_interval(measure):
    made = measure()
    front = draw_heads(made.summary, made.found).axes[0]
    (fan,) = (p for p in front.patches if not isinstance(p, Polygon))
    tilt = made.summary.habitual.tilt_deg
    assert sorted([fan.theta1 - 90, fan.theta2 - 90]) == pytest.approx([tilt.low, tilt.high])


@pytest.mark.parametrize("name", ["", "a b", "x-1", "ä"])
def test_svg_text_refuses_names_that_are_not_letters(name):
    with pytest.raises(ValueError, match="letters only"):
        svg_text(Figure(), name)
