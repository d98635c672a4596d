"""The figure of the face: drawn as uneven as measured, with its figures, and no side while none is known."""

import re
from collections.abc import Callable

import numpy as np
import pytest
from matplotlib.figure import Figure

from posture.geometry.face_lines import symmetry_of_corners
from posture.report.style import svg_text
from posture.report.symmetry import GROUPS, NOT_GIVEN, draw_symmetry, drawn_corners, size_of_angle, size_of_ratio
from posture.summary.record import Interval, Summary, Symmetry


def symmetry(angle: tuple[float, float, float], size: tuple[float, float, float]) -> Symmetry:
    intervals = [Interval(value=v, low=low, high=high) for low, v, high in (angle, size)]
    return Symmetry(facial_angle_deg=intervals[0], relative_facial_size=intervals[1])


UNEVEN = symmetry((-4.3, -2.6, -0.9), (0.92, 0.955, 0.99))


def words(figure: Figure) -> str:
    """All that is written in a figure."""
    return " ".join(text.get_text() for where in (figure, *figure.axes) for text in where.texts)


@pytest.fixture
def uneven(measure: Callable) -> Summary:
    found: Summary = measure().summary
    return found.model_copy(update={"symmetry": UNEVEN})


def test_figure_says_both_measures_as_sizes_with_their_intervals(uneven: Summary) -> None:
    said = words(draw_symmetry(uneven))
    assert "2.6, between 0.9 and 4.3" in said
    assert "1.047, between 1.010 and 1.087" in said


def test_figure_says_how_long_and_names_neither_eye_nor_neck_as_a_cause(uneven: Summary) -> None:
    said = " ".join(words(draw_symmetry(uneven)).split())
    assert "says how long a posture has lasted and nothing else" in said
    assert "neck" not in said
    assert "no difference between any groups" in said
    for group in GROUPS:
        assert group.name in said


@pytest.mark.parametrize("angle", [-6.0, 0.0, 3.0])
@pytest.mark.parametrize("size", [0.93, 1.0, 1.05])
def test_face_is_drawn_as_uneven_as_measured(angle: float, size: float) -> None:
    drawn = symmetry_of_corners(drawn_corners(symmetry((angle - 1, angle, angle + 1), (size - 0.02, size, size + 0.02))))
    assert drawn.angle_deg == pytest.approx(angle, abs=1e-6)
    assert drawn.relative_size == pytest.approx(size, abs=1e-6)


def test_mouth_that_is_higher_on_the_left_rises_to_the_right_of_the_page() -> None:
    corners = drawn_corners(symmetry((2.0, 3.0, 4.0), (0.98, 1.0, 1.02)))
    assert corners[3, 0] > corners[2, 0]
    assert corners[3, 1] > corners[2, 1]


def test_size_that_no_shift_reaches_is_still_drawn() -> None:
    assert np.isfinite(drawn_corners(symmetry((0.0, 1.0, 2.0), (2.0, 3.0, 4.0)))).all()


def test_figure_is_quiet_without_symmetry_and_without_sides(uneven: Summary) -> None:
    assert NOT_GIVEN in words(draw_symmetry(uneven.model_copy(update={"symmetry": None})))
    said = words(draw_symmetry(uneven.model_copy(update={"sided": False})))
    assert "side not known" in said
    assert not re.search(r"\b(right|left)\b|2\.6", said)


@pytest.mark.parametrize(
    ("low", "value", "high", "expected"),
    [(1.0, 2.0, 3.0, (1.0, 2.0, 3.0)), (-3.0, -2.0, -1.0, (1.0, 2.0, 3.0)), (-1.0, 1.0, 3.0, (0.0, 1.0, 3.0))],
)
def test_size_of_an_angle(low: float, value: float, high: float, expected: tuple[float, float, float]) -> None:
    size = size_of_angle(Interval(value=value, low=low, high=high))
    assert (size.low, size.value, size.high) == expected


def test_size_of_a_ratio_is_the_same_for_either_side() -> None:
    one = size_of_ratio(Interval(value=1.05, low=1.02, high=1.08))
    other = size_of_ratio(Interval(value=1 / 1.05, low=1 / 1.08, high=1 / 1.02))
    assert vars(other) == pytest.approx(vars(one))
    assert one.value == pytest.approx(1.05)
    assert size_of_ratio(Interval(value=1.01, low=0.98, high=1.04)).low == 1.0


def test_figure_leaves_as_vectors(uneven: Summary) -> None:
    assert svg_text(draw_symmetry(uneven), "symmetry").startswith("<svg")
