"""The JSON Schemas of this room that ship with the package: written from the records, read by anyone.

``python -m posture.clinic.schema`` writes them anew; a test says when that was forgotten.
"""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path
from typing import Literal

from posture.clinic.findings import Findings
from posture.clinic.hint import Hint
from posture.summary.record import Record

SCHEMAS: dict[str, tuple[type[Record], Literal["validation", "serialization"]]] = {
    "findings-1.schema.json": (Findings, "validation"),
    "hint-1.schema.json": (Hint, "serialization"),
}
"""File -> record, and whether it is the schema of what may be read ("validation") or of what is written ("serialization")."""


def schema_text(name: str) -> str:
    """The schema of a record as JSON text.

    Parameters
    ----------
    name : str
        A key of `SCHEMAS`.
    """
    model, mode = SCHEMAS[name]
    schema = model.model_json_schema(by_alias=True, mode=mode)
    return json.dumps({"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}, indent=1) + "\n"


def shipped_schema(name: str) -> str:
    """The text of a schema as it ships.

    Parameters
    ----------
    name : str
        A key of `SCHEMAS`.
    """
    return (resources.files("posture.clinic") / "schemas" / name).read_text(encoding="utf-8")


if __name__ == "__main__":
    for file_name in SCHEMAS:
        (Path(__file__).parent / "schemas" / file_name).write_text(schema_text(file_name), encoding="utf-8")
