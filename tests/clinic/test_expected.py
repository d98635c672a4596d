"""The expected postures agree with the table of the eight muscles, with each other in the mirror, and with what they cite."""

import re

import pytest

from posture.clinic import expected
from posture.clinic.expected import EXPECTED, Expected, Figure, expected_of
from posture.clinic.muscles import MUSCLES
from posture.clinic.references import REFERENCES

SIGN = {"right": 1, "left": -1, "up": 1, "down": -1}


@pytest.mark.parametrize("side", ["right", "left"])
def test_superior_oblique_goes_where_the_table_of_muscles_says(side: str) -> None:
    muscle, posture = MUSCLES[f"{side} superior oblique"], expected_of("superior oblique", side)
    assert (posture.tilt, posture.turn, posture.chin) == (SIGN[muscle.tilt_to], SIGN[muscle.turn_to], SIGN[muscle.chin])
    assert posture.tilt == posture.turn == -SIGN[side]


@pytest.mark.parametrize("side", ["right", "left"])
def test_tight_neck_muscle_tilts_towards_itself_and_turns_away(side: str) -> None:
    posture = expected_of("neck muscle", side)
    assert (posture.tilt, posture.turn) == (SIGN[side], -SIGN[side])


@pytest.mark.parametrize("kind", ["superior oblique", "neck muscle"])
def test_sides_are_mirror_images(kind: str) -> None:
    right, left = expected_of(kind, "right"), expected_of(kind, "left")
    assert (right.tilt, right.turn, right.chin) == (-left.tilt, -left.turn, left.chin)
    assert (right.sizes, right.frequencies, right.source) == (left.sizes, left.frequencies, left.source)


def test_both_sides_put_the_chin_down_and_nothing_else() -> None:
    both = expected_of("superior oblique", "both")
    assert (both.tilt, both.turn, both.chin) == (0, 0, -1)
    assert both.name == "weak superior obliques of both sides"


def test_neck_muscle_of_both_sides_is_not_in_the_table() -> None:
    with pytest.raises(ValueError, match="Expected one of the postures in the table"):
        expected_of("neck muscle", "both")


@pytest.mark.parametrize("posture", EXPECTED, ids=lambda posture: posture.name)
def test_no_size_of_turn_or_chin_is_invented(posture: Expected) -> None:
    # None was published.
    assert posture.turn_deg is None
    assert posture.chin_deg is None
    assert (posture.tilt_deg is None) == (posture.tilt == 0)


@pytest.mark.parametrize("figure", [f for p in EXPECTED for f in (*p.sizes, *p.frequencies)], ids=lambda figure: figure.text)
def test_figure_has_a_source_and_an_order(figure: Figure) -> None:
    assert int(figure.source.strip("[]")) in REFERENCES
    if figure.low is not None and figure.high is not None:
        assert figure.low < figure.value < figure.high


@pytest.mark.parametrize(
    ("value", "of"),
    [
        (0.91, "43 of 47"),
        (0.489, "23 of 47"),
        (0.40, "19 of 47"),
        (0.77, "10 of 13"),
        (0.21, "10 of 47"),
        (0.15, "2 of 13"),
        (0.087, "8 of 92"),
    ],
)
def test_shares_are_those_of_the_people_counted(value: float, of: str) -> None:
    figures = [f for f in (*expected.OBLIQUE_FREQUENCIES, *expected.BOTH_FREQUENCIES) if f.of == of]
    part, whole = (int(n) for n in re.findall(r"\d+", of))
    assert figures
    assert all(f.value == value == pytest.approx(part / whole, abs=0.006) for f in figures)


def test_table_in_the_text_is_the_one_in_the_code() -> None:
    text = expected.__doc__ or ""
    words = {("tilt", -1): "to the left", ("tilt", 1): "to the right"}
    for posture in EXPECTED:
        row = next(line for line in text.splitlines() if line.startswith(posture.name.replace(" sides", "")))
        if posture.tilt:
            assert row[len(posture.name) :].split("  ", 1)[1].strip().startswith(words["tilt", posture.tilt])
