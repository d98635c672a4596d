"""The paragraph for the letter, and the picture for the parents: the measurement, and of the parents' nothing of a cause."""

import re
from dataclasses import replace

import pytest
from matplotlib.text import Text

from posture.clinic.sentences import CAUSES
from posture.report.letter import LONGEST, SHORT_DISCLAIMER, letter_paragraph
from posture.report.parent import NOTE, draw_parent, parent_words
from tests.report.made_notes import CASES, case, summary_of

SIDE = re.compile(r"\b(right|left)\b", re.IGNORECASE)


@pytest.mark.parametrize("name", CASES)
def test_letter_is_one_line_that_ends_with_the_limits(name: str) -> None:
    said = letter_paragraph(case(name))
    assert "\n" not in said
    assert said.endswith(SHORT_DISCLAIMER)
    assert "K-0417" not in said


def test_letter_says_what_was_measured_and_what_it_fits() -> None:
    said = letter_paragraph(case("sided"))
    for words in (
        "measured from video filmed on 2026-11-20 at the age of 3 years 5 months (60 s held steady, in 20 spells, of 70 s filmed).",
        "The head is held 14 degrees to the child's left shoulder (between 12 and 16).",
        "own estimate by eye: about 10 degrees.",
        "The findings fit an eye-driven posture. Side of the weak muscle: right.",
        "Next: ",
    ):
        assert words in said


@pytest.mark.parametrize(("name", "first"), [("urgent", "Urgent, today: headache"), ("not asked", "Red flags were not asked.")])
def test_letter_begins_with_what_is_urgent(name: str, first: str) -> None:
    assert letter_paragraph(case(name)).startswith(first)


def test_letter_names_no_side_while_none_is_known() -> None:
    assert not SIDE.search(letter_paragraph(case("unsided")))
    assert SIDE.search(letter_paragraph(case("sided")))


def test_letter_bears_hostile_text() -> None:
    said = letter_paragraph(replace(case("sided"), eye_estimate="<b>\n\x07=cmd " + "W" * 5000))
    assert "<b> =cmd WW" in said
    assert "\n" not in said
    assert "\x07" not in said
    assert len(said) < 4 * LONGEST


def words_of(figure) -> str:
    figure.draw_without_rendering()
    return " ".join(t.get_text() for t in figure.findobj(Text) if t.get_text())


@pytest.mark.parametrize("kind", ["one", "two", "unsided", "moment", "lying", "nothing"])
def test_parent_picture_shows_the_measurement_and_no_cause(kind: str) -> None:
    said = words_of(draw_parent(summary_of(kind)))
    causes = {"muscle", "eye", "neck", "weak", "tight", "urgent", "palsy", "nerve"} | {
        word for cause in CAUSES.values() for word in re.findall(r"[A-Za-z]{6,}", cause.cause) if word != "posture"
    }
    assert not causes & set(re.findall(r"[a-z]+", said.lower()))
    assert NOTE in said
    for sentence in parent_words(summary_of(kind)):
        assert sentence in said
    assert not re.search(r"-\d", said)


@pytest.mark.parametrize(
    ("kind", "sentence"),
    [
        ("one", "In this film your child mostly tilted the head by about 14 degrees towards the left shoulder."),
        ("unsided", "In this film your child mostly held the head tilted by about 14 degrees."),
        ("two", "Sometimes your child tilted the head by about 9 degrees towards the right shoulder."),
        ("moment", "One moment does not show a habit."),
        ("nothing", "This film does not show enough to say how the head is held."),
        ("lying", "In this film the child was lying or held, so a tilt cannot be given."),
    ],
)
def test_parent_words(kind: str, sentence: str) -> None:
    assert sentence in parent_words(summary_of(kind))


def test_parent_picture_leans_nowhere_while_no_side_is_known() -> None:
    figure = draw_parent(summary_of("unsided"))
    assert not SIDE.search(words_of(figure))
    assert not [p for ax in figure.axes for p in ax.patches if str(p.get_gid()).endswith("ear")]
    drawn = draw_parent(summary_of())
    assert len([p for ax in drawn.axes for p in ax.patches if str(p.get_gid()).endswith("ear")]) == 2


@pytest.mark.parametrize("kind", ["one", "two", "unsided", "moment", "nothing"])
def test_parent_words_stay_on_the_picture_and_apart(kind: str) -> None:
    figure = draw_parent(summary_of(kind))
    figure.canvas.draw()
    width, height = figure.get_size_inches() * figure.dpi
    boxes = [t.get_window_extent() for t in figure.texts]
    assert all(box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height for box in boxes)
    assert not [(a, b) for i, a in enumerate(boxes) for b in boxes[:i] if a.overlaps(b)]
