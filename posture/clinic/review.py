"""All that the program can say about a cause, as a list in Markdown for a clinician to read through and sign.

``python -m posture.clinic.review`` prints it. Nothing is written here: every sentence comes from `posture.clinic.sentences`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from posture.clinic.references import REFERENCES
from posture.clinic.sentences import CAUSES, TABLES

INTRODUCTION = """# For review

Words in {braces} are filled in by the program. In brackets after each sentence its source: a number is one of the references below;
"derived" is arithmetic or geometry; "common practice" has no source; "from memory" was not read."""


def review_text() -> str:
    """Lay all sentences out for review.

    Returns
    -------
    str
        Markdown: a heading for each table and a list item for each sentence with its source, each sentence once; then the references
        that are cited.
    """
    parts = [INTRODUCTION]
    said: set[str] = set()
    for heading, table in TABLES.items():
        items = []
        for sentence in table.values():
            # What two tables share is read once, where it stands first.
            if sentence.text not in said:
                items.append(f"- {sentence.text} ({sentence.source})")
            said.add(sentence.text)
        parts.append(_section(heading, items))
    rows = [f"- {row.cause}: {row.separates} ({row.speed}) ({row.source})" for row in CAUSES.values()]
    parts.append(_section("What also fits: cause, what separates it, how fast", rows))
    parts.append(_section("References", [f"- [{number}] {REFERENCES[number]}" for number in sorted(set(_cited()))]))
    return "\n\n".join(parts) + "\n"


def _section(heading: str, items: list[str]) -> str:
    """A heading with its list."""
    return "\n".join([f"## {heading}", "", *items])


def _cited() -> Iterator[int]:
    """The numbers of all references that a sentence cites."""
    sources = [sentence.source for table in TABLES.values() for sentence in table.values()]
    for source in [*sources, *(row.source for row in CAUSES.values())]:
        yield from (int(number) for number in re.findall(r"\[(\d+)\]", source))


if __name__ == "__main__":
    print(review_text(), end="")
