"""Which clips are under consent for an audit: by the records, or by a list that the clinic keeps in a spreadsheet."""

from __future__ import annotations

import csv
import io
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from posture.errors import ConsentError, RecordsError
from posture.records.dates import PartialDate, check_possible
from posture.records.store import Records
from posture.records.texts import check_code, check_sha256, code_key, tidy_code
from posture.records.values import Consent, Scope

Answer = Literal["allowed", "skipped for consent", "not measured"]

SCOPE: Scope = "audit"

LIST_COLUMNS = ("clip", "sha256", "code", "given_on", "by_whom", "withdrawn_on")
"""Of a list of consents; one of the first two may be missing."""

NOTHING_FOUND = "No consent to an audit was found for this clip."

SEVERAL_CODES = "The same file stands under several codes, so that nobody can tell whose posture it would be."


@dataclass(frozen=True)
class Decision:
    """Whether a clip may be measured in an audit.

    Attributes
    ----------
    code : str
        Of the person; empty when none is known.
    answer : {"allowed", "skipped for consent", "not measured"}
    reason : str
        Why it is not allowed; empty when it is.
    """

    code: str
    answer: Answer
    reason: str = ""


NO_CONSENT = Decision("", "skipped for consent", NOTHING_FOUND)
"""Of a clip of which nothing is known."""


def decisions_of_records(records: Records) -> dict[str, Decision]:
    """What the records say of every clip that they hold.

    Parameters
    ----------
    records : Records

    Returns
    -------
    dict of str to Decision
        By the SHA-256 of the file. A file under several codes is never allowed.
    """
    found: dict[str, list[Decision]] = {}
    with records.database.one_moment():
        for line in records.persons.lines():
            person = line.person
            clips = records.clips.of_person(person.id)
            consents = records.consents.of_person(person.id) if clips else []
            for clip in clips:
                # Consents for the clip itself decide where there are any.
                counted = [c for c in consents if c.clip_id == clip.id] or [c for c in consents if c.clip_id is None]
                allows = records.consents.allow(person.id, clip.id, SCOPE)
                decision = Decision(person.code, "allowed") if allows else _refused(person.code, counted)
                found.setdefault(clip.sha256, []).append(decision)
    return {sha256: _of_all(decisions) for sha256, decisions in found.items()}


def decisions_of_list(path: Path, files: Mapping[str, str]) -> dict[str, Decision]:
    """What a list of consents says of clips: CSV with the columns `LIST_COLUMNS`, each row a consent to an audit.

    Parameters
    ----------
    path : Path
        Commas or semicolons between the cells.
    files : mapping of str to str
        The SHA-256 of each file in the folder by its name. A row whose `sha256` is filled in is for that file, whatever its name; a
        row that names a file which is not in the folder is for nothing.

    Returns
    -------
    dict of str to Decision
        By the SHA-256 of the file.

    Raises
    ------
    ConsentError
        If it cannot be read, has other columns, or a row holds something that is no code, date or hash: a list that is understood by
        half must not decide.
    """
    by_name = {unicodedata.normalize("NFC", name): sha256 for name, sha256 in files.items()}
    codes: dict[str, dict[str, str]] = {}
    given: dict[tuple[str, str], list[Consent]] = {}
    for number, row in _rows_of(path):
        try:
            sha256, code, consent = _read_row(row, by_name)
        except (ConsentError, RecordsError) as error:
            raise ConsentError(f"'{path.name}', line {number}: {error}") from error
        if sha256 is None:
            continue
        codes.setdefault(sha256, {}).setdefault(code_key(code), code)
        given.setdefault((sha256, code_key(code)), []).extend([consent] if consent else [])
    decisions = {}
    for sha256, own in codes.items():
        each = [_decided(code, given[sha256, key]) for key, code in sorted(own.items())]
        decisions[sha256] = _of_all(each)
    return decisions


def _rows_of(path: Path) -> list[tuple[int, dict[str, str]]]:
    """The rows of a list that hold something, with the number of the line on which each ends."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise ConsentError(f"Expected a list of consents; '{path.name}' cannot be read. Save it as CSV in UTF-8.") from error
    head = text.partition("\n")[0]
    reader = csv.DictReader(
        io.StringIO(text, newline=""), delimiter=";" if head.count(";") > head.count(",") else ",", strict=True
    )
    try:
        names = [name.strip() for name in reader.fieldnames or ()]
        _check_columns(names, path)
        reader.fieldnames = names
        rows = [(reader.line_num, row) for row in reader]
    except csv.Error as error:
        raise ConsentError(f"Expected a list of consents as CSV; '{path.name}' is none ({error}). Save it anew.") from error
    for number, row in rows:
        if None in row or None in row.values():
            raise ConsentError(
                f"'{path.name}', line {number}: expected {len(names)} cells; another number came. Correct the line."
            )
    trimmed = [(number, {name: cell.strip() for name, cell in row.items()}) for number, row in rows]
    return [(number, row) for number, row in trimmed if any(row.values())]


def _check_columns(names: list[str], path: Path) -> None:
    """Refuse a list with other columns: one called otherwise may hold a withdrawal, or say that this was for something else."""
    fits = {*LIST_COLUMNS[2:]} <= {*names} <= {*LIST_COLUMNS} and len({*names}) == len(names)
    if not fits or not {"clip", "sha256"} & {*names}:
        raise ConsentError(
            f"Expected the columns {', '.join(LIST_COLUMNS)} in '{path.name}' (clip or sha256 may be missing); others came:"
            f" {', '.join(names) or 'none'}. Give these, and no other."
        )


def _read_row(row: dict[str, str], by_name: Mapping[str, str]) -> tuple[str | None, str, Consent | None]:
    """Of a row: which file it is for (None: none in the folder), the code, and the consent if it says who gave it and when."""
    code = tidy_code(row["code"])
    check_code(code)
    sha256: str | None = row.get("sha256", "").lower()
    if sha256:
        check_sha256(sha256)
    elif row.get("clip"):
        sha256 = by_name.get(unicodedata.normalize("NFC", row["clip"]))
    else:
        raise ConsentError("Expected the name of a file as clip or its sha256; both are empty. Fill in one.")
    withdrawn = PartialDate.parse(row["withdrawn_on"]) if row["withdrawn_on"] else None
    on = PartialDate.parse(row["given_on"]) if row["given_on"] else None
    for day in (on, withdrawn):
        check_possible(day, None, "the day of a consent")
    if withdrawn is not None and on is None:
        raise ConsentError(
            "Expected the day on which the consent was given that was withdrawn; none came. Put both in one line."
        )
    if on is None or not row["by_whom"]:
        return sha256, code, None
    return sha256, code, Consent(0, None, row["by_whom"], on, frozenset({SCOPE}), withdrawn)


def _decided(code: str, consents: list[Consent]) -> Decision:
    """What the rows of a list come to: a consent stands unless it, or one that was given before, was withdrawn since."""
    ends = [consent.withdrawn_on.latest for consent in consents if consent.withdrawn_on is not None]
    if any(c.withdrawn_on is None and all(c.given_on.earliest >= end for end in ends) for c in consents):
        return Decision(code, "allowed")
    return _refused(code, consents)


def _refused(code: str, consents: Iterable[Consent]) -> Decision:
    """The decision where no consent stands, with the last day on which one was withdrawn."""
    withdrawn = [c.withdrawn_on for c in consents if SCOPE in c.scopes and c.withdrawn_on is not None]
    if not withdrawn:
        return Decision(code, "skipped for consent", NOTHING_FOUND)
    last = max(withdrawn, key=lambda day: (day.latest, day.stored))
    return Decision(code, "skipped for consent", f"The consent to an audit was withdrawn on {last}.")


def _of_all(decisions: list[Decision]) -> Decision:
    """One decision for a file; under several codes each must allow it, and even then it is nobody's."""
    if len(decisions) == 1:
        return decisions[0]
    code = " and ".join(sorted(decision.code for decision in decisions))
    refused = [decision for decision in decisions if decision.answer != "allowed"]
    reasons = " ".join(dict.fromkeys(decision.reason for decision in refused))
    return Decision(code, "skipped for consent", reasons) if refused else Decision(code, "not measured", SEVERAL_CODES)
