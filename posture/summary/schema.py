"""The JSON Schemas that ship with the package: written from the records, read by anyone.

``python -m posture.summary.schema`` writes them anew; a test says when that was forgotten.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Literal

from posture.summary.record import Conditions, Record, Summary

Schemas = Mapping[str, tuple[type[Record], Literal["validation", "serialization"]]]
"""File -> record, and whether it is the schema of what may be read ("validation") or of what is written ("serialization")."""

SCHEMAS: Schemas = {
    "summary-1.schema.json": (Summary, "serialization"),
    "conditions-1.schema.json": (Conditions, "validation"),
}


def schema_text(model: type[Record], mode: Literal["validation", "serialization"]) -> str:
    """The schema of a record as JSON text."""
    schema = model.model_json_schema(by_alias=True, mode=mode)
    return json.dumps({"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}, indent=1) + "\n"


def shipped_schema(name: str, room: str = "posture.summary") -> str:
    """The text of a schema as it ships in a room of the package."""
    return (resources.files(room) / "schemas" / name).read_text(encoding="utf-8")


def write_schemas(schemas: Schemas, room: Path) -> None:
    """Write the schemas into the folder of a room."""
    for name, of in schemas.items():
        (room / "schemas" / name).write_text(schema_text(*of), encoding="utf-8")


if __name__ == "__main__":
    write_schemas(SCHEMAS, Path(__file__).parent)
