"""Documents held against their published schemas, key for key."""

from __future__ import annotations

import json
from typing import Any

import jsonschema

from pitchcam.records.formats import format_of
from tests.breaks import ROOT

FOLDER = ROOT / "docs" / "schema"


def schema_of(name: str) -> dict[str, Any]:
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def strict(schema: Any) -> Any:
    """The same schema, by which a key that it does not name is wrong."""
    if isinstance(schema, list):
        return [strict(s) for s in schema]
    if not isinstance(schema, dict):
        return schema
    is_object = schema.get("type") == "object"
    closed = {"additionalProperties": False} if is_object else {}
    return closed | {k: strict(v) for k, v in schema.items()}


def check(name: str, document: Any) -> None:
    """Fail unless a document has its format key, and the keys of its schema and no others."""
    jsonschema.Draft202012Validator(strict(schema_of(name))).validate(document)
    assert document["format"] == format_of(name)
