"""What the program can say about a cause stands in one file, with its source beside it, and can be read through in one go."""

import ast
import re
import runpy
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import get_args

import pytest

from posture.clinic import cover, expected, findings, muscles, outcome, review, sentences, tilt_pair, vertical
from posture.clinic.expected import EXPECTED
from posture.clinic.references import REFERENCES
from posture.clinic.review import review_text
from posture.clinic.sentences import CAUSES, COVER_NOTES, STEP_NOTES, STEP_WORDS, TABLES, TILT_PAIR, Cause, Sentence
from posture.conventions import STRAIGHT_DEG

FOLDER = Path(str(resources.files("posture.clinic")))
MODULES = {path.stem: path for path in sorted(FOLDER.glob("*.py")) if path.stem != "sentences"}
TREES = {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in MODULES.items()}

CAUSE = re.compile(
    r"\b(obliques?|rectus|recti|skew|ocular tilt|brown|duane|sixth nerve|nystag\w*|spasmus|neck muscles?|tight|subluxation|tumou?rs?|pals(y|ies)"
    r"|torticollis|hemianopia|ptosis|dvd|dissociated|synostosis|plagiocephaly|astigmatism|hyperopia|refraction|dystonia|scoliosis"
    r"|posterior fossa|vestibular|contracture|hearing|webbed|eye-driven|neck-driven|weak (eye )?muscles?|single muscle|imaging|depressor"
    r"|ey(e|es) (is|are) (higher|rolled|turned)|relieved)\b",
    re.IGNORECASE,
)
"""Words of causes: those of the tables of what also fits and of the expected postures, and what leads up to one."""

SENTENCE = re.compile(r"^[A-Z{].*\w.* .* .*[.:]\)?$", re.DOTALL)
"""Three words or more from a capital to a full stop: whatever it is about, it belongs where sentences are reviewed."""

NAMES = {
    # Names that are put together or compared with, no sentence: the eight muscles and the expected postures.
    *get_args(muscles.MuscleKind),
    *get_args(expected.Kind),
    "weak superior obliques of both sides",
    "weak {} superior oblique",
    "tight {} neck muscle",
    # The names of two published figures, with their source beside them in the table of expected postures.
    "both sides, of traumatic superior oblique palsies",
    "tilt to the side of the weak muscle, at most",
    # Names in the code for sorting by the cause of the outcome.
    *get_args(outcome.OutcomeName),
}
"""Every name of a cause that may stand outside of the one file."""

KEYS = {key for table in TABLES.values() for key in table} | set(CAUSES)
"""Keys of rows, by which the modules choose."""

WORDS_OF_KEYS = ("key_errors", "schema")
"""Modules that speak of the keys of a file and of nothing else."""

USED_BY = {
    "OUTCOMES": ("outcome",),
    "SIDES": ("hint", "outcome"),
    "FLAGS_TODAY": ("findings",),
    "FLAGS_SOON": ("findings",),
    "REASONS": ("urgency", "outcome"),
    "EVIDENCE": ("evidence", "hint"),
    "STEP_NOTES": ("muscles", "urgency", "hint"),
    "STEP_WORDS": ("muscles", "vertical"),
    "TILT_PAIR": ("tilt_pair",),
    "EXAMINATION": ("examination", "filmed"),
    "COVER_NOTES": ("cover", "hint"),
    "COVER_WORDS": ("cover",),
    "DEMAND_NOTES": ("demand",),
    "NECK_NOTES": ("neck",),
    "NEXT": ("hint",),
    "CAUTIONS": ("hint", "outcome", "clips"),
    "CAUSES": ("also_fits",),
    "CHANGES": ("change", "change_cautions", "change_words", "pairs"),
    "COURSES": ("course", "course_words"),
    "VISITS": ("visits",),
}
"""Table -> the modules that choose its rows by their keys."""

PUT_TOGETHER = {"NEXT": {"refer today", "refer soon"}, "CAUTIONS": {"today", "soon"}}
"""Keys that are made from the speed of an urgency."""


def bare_texts(tree: ast.AST) -> set[int]:
    """Ids of texts that nobody sees: docstrings of modules, classes, functions and constants."""
    return {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)}


def texts_of(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and text of every string, a formatted one whole with {} for what is filled in; without docstrings and errors."""
    left_out = bare_texts(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise):
            left_out |= {id(inner) for inner in ast.walk(node)}
        elif isinstance(node, ast.JoinedStr):
            parts = [str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values]
            left_out |= {id(part) for part in node.values}
            if id(node) not in left_out:
                yield node.lineno, "".join(parts)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in left_out:
            yield node.lineno, node.value


def said_outside(tree: ast.AST) -> list[str]:
    """What stands in a module that should stand in the one file."""
    texts = [(line, text) for line, text in texts_of(tree) if text not in NAMES | KEYS]
    return [f"line {line}: {text}" for line, text in texts if CAUSE.search(text) or SENTENCE.match(text)]


def chosen_in(name: str) -> set[str]:
    """Every string of a module that may be a key."""
    return {text for _, text in texts_of(TREES[name])}


# References hold names of papers, and the review is looked at by itself below.
@pytest.mark.parametrize("name", [name for name in MODULES if name not in (*WORDS_OF_KEYS, "review", "references")])
def test_no_module_says_anything_about_a_cause_by_itself(name: str) -> None:
    assert said_outside(TREES[name]) == []


def test_the_review_adds_no_words_on_a_cause() -> None:
    texts = [text for _, text in texts_of(TREES["review"]) if text != review.INTRODUCTION]
    assert not [text for text in texts if CAUSE.search(text)]
    assert not CAUSE.search(review.INTRODUCTION)


@pytest.mark.parametrize("name", WORDS_OF_KEYS)
def test_words_on_keys_name_no_cause(name: str) -> None:
    assert not [text for _, text in texts_of(TREES[name]) if CAUSE.search(text)]


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ('x = "Think of a tumour"', 1),
        ('def f(side):\n    return f"the {side} superior oblique is weak"', 1),
        ('x = ["one", ("Brown is likely", 2)]', 1),
        ('x = f"{n} weak superior obliques"', 1),
        ('x = "The head leans to it."', 1),
        ('x = {"skew": "Rolled inwards: until excluded."}', 1),
        ('f(text="a" if y else "atlanto-axial subluxation")', 1),
        ('"""Of Brown and of tumours."""\nX = 1\n"""A tight muscle."""', 0),
        ('raise ValueError(f"Expected a tight muscle; {x} came.")', 0),
        ('x = "superior oblique"', 0),
        ('x = EVIDENCE["higher eye turned inwards"]', 0),
        ('x = "tilt_deg"', 0),
    ],
)
def test_the_walk_finds_what_it_should(source: str, found: int) -> None:
    assert len(said_outside(ast.parse(source))) == found


def test_every_cause_of_the_tables_is_among_the_words() -> None:
    # Words alone that are no cause, such as "others", need not be found; what the tables name does.
    unnamed = {"feeds", "attacks", "others", "one poor eye"}
    assert {key for key, row in CAUSES.items() if not CAUSE.search(f"{key} {row.cause}")} <= unnamed
    assert all(CAUSE.search(name.name) for name in EXPECTED)


@pytest.mark.parametrize("name", sorted(NAMES))
def test_every_exception_is_needed(name: str) -> None:
    assert any(name == text for tree in TREES.values() for _, text in texts_of(tree))


ROWS = [pytest.param(row, id=f"{title}: {key}") for title, table in TABLES.items() for key, row in table.items()]
CAUSE_ROWS = [pytest.param(row, id=f"also fits: {key}") for key, row in CAUSES.items()]


@pytest.mark.parametrize("row", [*ROWS, *CAUSE_ROWS])
def test_every_row_has_a_source_that_resolves(row: Sentence | Cause) -> None:
    numbers = [int(number) for number in re.findall(r"\[(\d+)\]", row.source)]
    assert set(numbers) <= set(REFERENCES)
    without_source = ("common practice", "derived", "from memory", "teaching only", "an abstract")
    assert numbers or any(words in row.source for words in without_source)


@pytest.mark.parametrize("row", ROWS)
def test_a_number_in_a_sentence_stands_in_its_source_too(row: Sentence) -> None:
    assert set(re.findall(r"\[\d+\]", row.text)) <= set(re.findall(r"\[\d+\]", row.source))


@pytest.mark.parametrize("row", ROWS)
def test_no_row_promises_or_blames(row: Sentence) -> None:
    assert not re.search(
        r"weak side|eye mattered|diagnosed|nothing wrong|safe to|probab|\d+ ?% likely|\bnormal\.", row.text, re.IGNORECASE
    )
    assert not re.search(r"\{\W*\}|\{\d", row.text), "every blank has a name"


@pytest.mark.parametrize("title", TABLES)
def test_rows_stand_under_their_keys_and_say_something(title: str) -> None:
    assert all(row.key == key and row.text.strip() == row.text != "" for key, row in TABLES[title].items())


def test_no_table_is_left_out() -> None:
    tables = {
        name: value
        for name, value in vars(sentences).items()
        if isinstance(value, dict) and name.isupper() and all(isinstance(row, Sentence | Cause) for row in value.values())
    }
    assert set(tables) == set(USED_BY)
    assert {id(value) for name, value in tables.items() if name != "CAUSES"} == {id(table) for table in TABLES.values()}


@pytest.mark.parametrize("table", USED_BY)
def test_every_row_is_used(table: str) -> None:
    rows = set(getattr(sentences, table))
    assert rows - PUT_TOGETHER.get(table, set()) <= set().union(*(chosen_in(name) for name in USED_BY[table]))
    users = [
        name for name, tree in TREES.items() if any(isinstance(node, ast.Name) and node.id == table for node in ast.walk(tree))
    ]
    assert users


def test_two_rows_with_the_same_words_are_one() -> None:
    texts = [row.text for table in TABLES.values() for row in table.values()]
    shared = {text for text in texts if texts.count(text) > 1}
    assert shared == {STEP_NOTES["supine fall"].text, STEP_NOTES["torsion out"].text}
    source = (FOLDER / "sentences.py").read_text(encoding="utf-8")
    written = [text for _, text in texts_of(ast.parse(source))]
    assert all(written.count(text) == 1 for text in set(texts) if len(text) > 30)


def test_bounds_in_sentences_are_those_that_decide() -> None:
    assert f"nder {cover.FIRST_MONTH} months" in COVER_NOTES["too young"].text
    assert f"under {cover.FIRST_MONTH} months" in COVER_NOTES["age not said"].text
    assert COVER_NOTES["no tilt"].source.startswith(f"{STRAIGHT_DEG:.0f} degrees")
    assert f"no more than {vertical.NORMAL_PD:g} PD" in STEP_WORDS["undecided, normal"].text
    assert f"; {tilt_pair.TILT_REACHED_DEG:.0f} are needed" in TILT_PAIR["too small"].text
    assert f"at most {tilt_pair.TILT_EQUAL_DEG:.0f} are allowed" in TILT_PAIR["unequal"].text
    assert f"; {tilt_pair.MEASURED_WITHIN_S:.0f} s are allowed" in TILT_PAIR["too late"].text


def test_red_flags_are_those_of_the_file_of_findings() -> None:
    assert tuple(sentences.FLAGS_TODAY) == get_args(findings.FlagToday)
    assert tuple(sentences.FLAGS_SOON) == get_args(findings.FlagSoon)


# --- The list to read through. ---


def test_review_holds_every_sentence_once_with_its_source() -> None:
    lines = review_text().splitlines()
    for row in {row.text: row for table in TABLES.values() for row in table.values()}.values():
        assert [line for line in lines if line.startswith(f"- {row.text} (")] == [f"- {row.text} ({row.source})"]
    for cause in CAUSES.values():
        assert lines.count(f"- {cause.cause}: {cause.separates} ({cause.speed}) ({cause.source})") == 1


def test_review_holds_nothing_else() -> None:
    items = [line for line in review_text().splitlines() if line.startswith("- ") and not line.startswith("- [")]
    texts = {row.text for table in TABLES.values() for row in table.values()}
    assert len(items) == len(set(items)) == len(texts) + len(CAUSES)


def test_review_has_every_heading_and_every_reference_that_is_cited() -> None:
    text, references = review_text().split("## References\n")
    assert [line.removeprefix("## ") for line in text.splitlines() if line.startswith("## ")][:-1] == list(TABLES)
    cited = {int(number) for number in re.findall(r"\[(\d+)\]", text)}
    listed = [int(number) for number in re.findall(r"^- \[(\d+)\] \S", references, re.MULTILINE)]
    assert listed == sorted(cited)
    assert text.startswith("# ")


def test_review_runs_as_a_program(capsys: pytest.CaptureFixture[str]) -> None:
    runpy.run_path(str(FOLDER / "review.py"), run_name="__main__")
    assert capsys.readouterr().out == review_text()


def test_every_number_cited_is_in_the_list_for_contributors() -> None:
    text = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    listed = {int(number) for number in re.findall(r"^- \[(\d+)\] ", text, re.MULTILINE)}
    assert set(REFERENCES) <= listed, sorted(set(REFERENCES) - listed)
