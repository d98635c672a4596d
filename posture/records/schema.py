"""The JSON Schema of exported records that ships with the package, see `posture.summary.schema`.

``python -m posture.records.schema`` writes it anew; a test says when that was forgotten.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path

from posture.records.exchange_form import RecordsForm
from posture.summary import schema

SCHEMAS: schema.Schemas = {"records-1.schema.json": (RecordsForm, "validation")}

shipped_schema = partial(schema.shipped_schema, room="posture.records")
"""The text of the schema as it ships, by its name."""

if __name__ == "__main__":
    schema.write_schemas(SCHEMAS, Path(__file__).parent)
