"""The JSON Schemas that ship with the package: written from the records, read by anyone.

``python -m posture.summary.schema`` writes them anew; a test says when that was forgotten.
"""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path

from posture.summary.record import Conditions, Record, Summary

SCHEMAS: dict[str, type[Record]] = {"summary-1.schema.json": Summary, "conditions-1.schema.json": Conditions}


def schema_text(model: type[Record]) -> str:
    """The schema of a record as JSON text."""
    schema = model.model_json_schema(by_alias=True, mode="serialization" if model is Summary else "validation")
    return json.dumps({"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}, indent=1) + "\n"


def shipped_schema(name: str) -> str:
    """The text of a schema as it ships."""
    return (resources.files("posture.summary") / "schemas" / name).read_text(encoding="utf-8")


if __name__ == "__main__":
    for file_name, record in SCHEMAS.items():
        (Path(__file__).parent / "schemas" / file_name).write_text(schema_text(record), encoding="utf-8")
