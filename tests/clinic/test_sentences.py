"""Every sentence has a source that exists, and keeps to the words of the clinic."""

import inspect
import re
import string

import pytest

from posture.clinic import also_fits, clips, evidence, hint, outcome, sentences
from posture.clinic.references import REFERENCES
from posture.clinic.sentences import CAUSES, CAUTIONS, EVIDENCE, NEXT, OUTCOMES, SIDES, Cause, Sentence, cite

TABLES = {"outcomes": OUTCOMES, "sides": SIDES, "evidence": EVIDENCE, "next": NEXT, "cautions": CAUTIONS}
ALL = [pytest.param(row, id=f"{name}: {key}") for name, table in TABLES.items() for key, row in table.items()]
ROWS = [pytest.param(row, id=key) for key, row in CAUSES.items()]
FORBIDDEN = re.compile(r"weak side|eye mattered|diagnosed|healthy|nothing wrong|safe to|probab|\d+ ?% likely", re.IGNORECASE)


@pytest.mark.parametrize("row", ALL)
def test_sentence_is_whole_and_in_the_words_of_the_clinic(row: Sentence) -> None:
    assert row.text[0].isupper() or row.text[0] == "{"
    assert row.text.rstrip(")").endswith(".")
    assert not FORBIDDEN.search(row.text)


@pytest.mark.parametrize("row", [*ALL, *ROWS])
def test_sentence_has_a_source_that_exists(row: Sentence | Cause) -> None:
    assert row.source
    numbers = [int(number) for number in re.findall(r"\[(\d+)\]", row.source)]
    assert set(numbers) <= set(REFERENCES)
    named = any(word in row.source for word in ("common practice", "derived", "teaching", "abstract"))
    assert numbers or named
    assert all(f"{REFERENCES[number]} [{number}]" in cite(row.source) for number in numbers)


@pytest.mark.parametrize("row", ALL)
def test_no_sentence_names_a_side_by_itself(row: Sentence) -> None:
    # Sides are filled in, so that none stands there while it is not known whether the picture is mirrored.
    assert not re.search(r"\b(right|left)\b", row.text)


@pytest.mark.parametrize("row", ROWS)
def test_cause_says_what_separates_it_and_how_fast(row: Cause) -> None:
    assert row.cause
    assert row.separates
    assert row.speed in {
        "today if new",
        "today, do not move",
        "today with a red flag, else 2 weeks",
        "new sixth: today",
        "new: today",
        "white pupil: today",
        "new: 2 weeks",
        "2 weeks",
        "acquired: 2 weeks",
        "routine; new: soon",
        "routine",
        "refraction",
        "as fits",
    }
    assert not FORBIDDEN.search(f"{row.cause} {row.separates}")


def test_source_that_does_not_exist_is_an_error() -> None:
    with pytest.raises(KeyError, match="999"):
        cite("[999]")


def test_keys_are_those_of_the_rows() -> None:
    for table in TABLES.values():
        assert all(key == row.key for key, row in table.items())
    assert set(sentences.NECK_CAUSES) <= set(CAUSES)
    assert set(sentences.NAMES_NECK) <= set(EVIDENCE)


def test_words_that_must_stand_as_they_are() -> None:
    assert CAUTIONS["red flags"].text == "Red flags were not asked."
    assert CAUTIONS["do not move"].text == "Do not move the neck. No tilt test, no range. Refer first."
    assert "not stated until the urgent questions are answered" in CAUTIONS["not stated"].text
    assert NEXT["examine the neck"].text.startswith("Examine the neck too")
    assert NEXT["examine the eyes"].text == "Orthoptic and refraction check before physiotherapy alone."
    assert (
        "in this clip under these conditions; film looking far, tired, with and without glasses"
        in CAUTIONS["no posture"].text.lower()
    )


def test_every_sentence_can_be_said() -> None:
    source = "".join(inspect.getsource(module) for module in (also_fits, clips, evidence, hint, outcome))
    by_word = {"today", "soon", "refer today", "refer soon", *OUTCOMES}
    said = {key for table in (*TABLES.values(), CAUSES) for key in table if f'"{key}"' in source}
    assert {key for table in (*TABLES.values(), CAUSES) for key in table} <= said | by_word


def test_every_blank_has_a_name() -> None:
    for table in TABLES.values():
        for row in table.values():
            assert all(name for _, name, _, _ in string.Formatter().parse(row.text) if name is not None)
