"""A folder for records, and a measurement to keep in them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from posture.records.clips import clip_of
from posture.records.seen import Measured
from posture.records.store import Records, open_records
from posture.records.values import Clip, Person, Reading
from tests.records.made import made_measured


@pytest.fixture(scope="session")
def measured() -> Measured:
    return made_measured()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "records" / "records.sqlite"


@pytest.fixture
def records(path: Path) -> Iterator[Records]:
    with open_records(path) as opened:
        yield opened


@pytest.fixture
def person(records: Records) -> Person:
    return records.persons.add(Person("Quagga-17"))


@pytest.fixture
def kept(records: Records, person: Person, measured: Measured) -> tuple[Clip, Reading]:
    return records.clips.keep(clip_of(person.id, measured), measured)
