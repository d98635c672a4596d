"""What is wrong in a file of JSON, in words: the key, what came and what may stand there, read off the schema of the record."""

from __future__ import annotations

import difflib
import json
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

LONGEST = 60
"""Characters of a value that are shown: enough to find it again in the file."""


def say_value(value: Any) -> str:
    """What came, short enough for a line.

    Parameters
    ----------
    value : object
        As read from JSON.
    """
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."


def say_first_error(error: ValidationError, model: type[BaseModel]) -> str:
    """The first thing that is wrong in a file: key, what came, what may stand there.

    Parameters
    ----------
    error : ValidationError
        As the model raised it.
    model : type
        The record that the file should hold.

    Returns
    -------
    str
        Sentences with the key as it stands in the file.
    """
    first = error.errors()[0]
    schema = model.model_json_schema()
    place = _place_of(schema, first)
    key = ".".join(str(part) for part in place)
    if first["type"] == "extra_forbidden":
        known = list(_node_at(schema, place[:-1]).get("properties", {}))
        near = difflib.get_close_matches(str(place[-1]), known, n=1)
        meant = f" Did you mean '{near[0]}'?" if near else ""
        return f"there is no key '{key}'.{meant} Keys there are {', '.join(known)}."
    if first["type"] == "missing":
        return f"'{key}' is missing. It holds {_may_stand(schema, _node_at(schema, place))}."
    if first["type"] == "value_error":
        return f"'{key}' came as {say_value(first['input'])}; it holds {first['ctx']['error']}."
    return f"'{key}' came as {say_value(first['input'])}; it holds {_may_stand(schema, _node_at(schema, place))}."


def _place_of(whole: dict[str, Any], first: ErrorDetails) -> list[int | str]:
    """The place of an error by the keys of the file alone: pydantic adds the kinds that it tried."""
    place: list[int | str] = []
    node = whole
    for part in first["loc"]:
        inner = _inside(whole, node, part)
        if inner is None:
            break
        place.append(part)
        node = inner
    return [*place, first["loc"][-1]] if first["type"] == "extra_forbidden" else place


def _of_object(whole: dict[str, Any], node: dict[str, Any]) -> dict[str, Any]:
    """The schema that a reference or an optional value stands for."""
    if "$ref" in node:
        found: dict[str, Any] = whole["$defs"][node["$ref"].rsplit("/", 1)[-1]]
        return found
    kinds = [kind for kind in node.get("anyOf", []) if kind.get("type") != "null"]
    return _of_object(whole, kinds[0]) if len(kinds) == 1 else node


def _inside(whole: dict[str, Any], node: dict[str, Any], part: int | str) -> dict[str, Any] | None:
    """The schema one step further in; None where there is no such step."""
    inner = _of_object(whole, node)
    found: dict[str, Any] | None = inner.get("items") if isinstance(part, int) else inner.get("properties", {}).get(part)
    return found


def _node_at(whole: dict[str, Any], place: list[int | str]) -> dict[str, Any]:
    """The schema at a place that exists."""
    node = whole
    for part in place:
        node = _inside(whole, node, part) or {}
    return _of_object(whole, node)


def _may_stand(whole: dict[str, Any], node: dict[str, Any]) -> str:
    """What a value may be, in words."""
    node = _of_object(whole, node)
    if "anyOf" in node:
        kinds = [_may_stand(whole, kind) for kind in node["anyOf"] if kind.get("type") != "null"]
        return " or ".join(dict.fromkeys(kinds))
    if "enum" in node or "const" in node:
        return " or ".join(f"'{value}'" for value in node.get("enum", [node.get("const")]))
    if node.get("type") in ("number", "integer"):
        kind = "a whole number" if node["type"] == "integer" else "a number"
        low, high = node.get("minimum", node.get("exclusiveMinimum")), node.get("maximum")
        return kind if low is None else f"{kind} from {low:g} to {high:g}"
    if node.get("type") == "array":
        return f"a list of {_may_stand(whole, node['items'])}"
    if node.get("type") == "object":
        return f"an object with keys of {', '.join(node['properties'])}"
    return {"boolean": "true or false", "string": "a text"}.get(node.get("type", ""), "another value")
