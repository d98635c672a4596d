"""The JSON Schemas of this room that ship with the package, see `posture.summary.schema`.

``python -m posture.clinic.schema`` writes them anew; a test says when that was forgotten.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path

from posture.clinic.change import Change
from posture.clinic.examination import Examination
from posture.clinic.findings import Findings
from posture.clinic.hint import Hint
from posture.summary import schema

SCHEMAS: schema.Schemas = {
    "change-1.schema.json": (Change, "serialization"),
    "findings-1.schema.json": (Findings, "validation"),
    "hint-1.schema.json": (Hint, "serialization"),
    "examination-1.schema.json": (Examination, "serialization"),
}

shipped_schema = partial(schema.shipped_schema, room="posture.clinic")
"""The text of a schema of this room as it ships, by its name."""

if __name__ == "__main__":
    schema.write_schemas(SCHEMAS, Path(__file__).parent)
