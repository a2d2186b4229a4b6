"""The JSON Schema of the build file, generated from the types so that the two cannot part.

``data/build-file.schema.json`` is the copy that ships with the project; a test keeps it equal to what
``build_file_schema`` gives. Write it anew with ``python -m buildout.changes.engine.schema``.
Dialect: JSON Schema, Draft 2020-12.
"""

from __future__ import annotations

import ast
import inspect
import json
import sys
from functools import lru_cache
from importlib.resources import files
from itertools import pairwise
from typing import Any

import msgspec

from buildout.changes.engine.build_file import BuildFile
from buildout.units.lengths import Length

DIALECT = "https://json-schema.org/draft/2020-12/schema"
ID_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9._-]{0,59}$"

_LENGTH = {
    "title": "Length",
    "description": (
        "A length as people write it, with its unit: feet, inches and tape fractions, or mm, cm, m, yd. "
        "A bare number counts as millimetres; bare text is refused."
    ),
    "type": ["string", "number"],
    "format": "length",
    "examples": ["12' 3 1/4\"", "3.74 m", 3740],
}
_AMOUNT = {
    "title": "Amount",
    "description": "A number of at least 0. Text keeps every digit as typed; a JSON number is taken as well.",
    "type": ["string", "number"],
    "format": "amount",
    "examples": ["12.50", 12.5],
}
_ID = {"pattern": ID_PATTERN, "examples": ["front-room"]}
_NAMES = {"examples": ["A"]}
_COUNT = {"minimum": 0}
_PEOPLE = 1000
"""More people than any build day or task has; a slip of the pen beyond it would fill the memory with them."""
_TIME = {"format": "time-of-day", "examples": ["08:30"]}

MORE: dict[tuple[str, str], dict[str, Any]] = {
    ("Plan", "name"): {"minLength": 1, "maxLength": 120, "examples": ["North Street hall"]},
    ("Plan", "currency"): {"format": "currency", "examples": ["EUR"]},
    ("Plan", "time_zone"): {"format": "time-zone", "examples": ["Europe/Paris"]},
    ("Quote", "currency"): {"format": "currency", "examples": ["EUR"]},
    ("Room", "corners"): {"minItems": 3, "examples": [["A", "B", "C", "D"]]},
    ("Reading", "start"): _NAMES,
    ("Reading", "end"): _NAMES,
    ("Product", "head"): {"minimum": 1, "maximum": 24, "examples": [8]},
    ("Product", "per_pack"): {"minimum": 1, "maximum": 1_000_000},
    ("HeadPlan", "head"): {"minimum": 1, "maximum": 24, "examples": [5]},
    ("FloorSystem", "layers"): {"minItems": 1},
    ("Quote", "lines"): {"minItems": 1},
    ("Quote", "lead_days_low"): _COUNT | {"examples": [5]},
    ("Quote", "lead_days_likely"): _COUNT | {"examples": [8]},
    ("Quote", "lead_days_high"): _COUNT | {"examples": [12]},
    ("QuoteLine", "breaks"): {"minItems": 1, "examples": [[{"start": "1", "price": "4.20"}]]},
    ("AwardRules", "most_suppliers"): {"examples": [4]},
    ("BuildDay", "places"): _COUNT | {"maximum": _PEOPLE, "examples": [20]},
    ("BuildDay", "meal_minutes"): _COUNT | {"maximum": 24 * 60},
    ("BuildDay", "start"): _TIME,
    ("BuildDay", "end"): _TIME,
    ("BuildDay", "meal_start"): _TIME,
    ("OwnTask", "crew"): {"minimum": 1, "maximum": _PEOPLE, "examples": [2]},
}
"""What the types alone do not say: (type, field) → keywords added to that field's schema."""

_WITH_ID = (
    "Room", "Column", "Reading", "WallFeature", "KeepClear", "Product", "FloorSystem", "FoldAwaySystem",
    "WallSystem", "Need", "Remnant", "MadeCut", "Pin", "RouteStep", "Supplier", "Quote", "BuildDay", "CorePerson",
)  # fmt: skip


def _hook(kind: type) -> dict[str, Any]:
    if kind is Length:
        return {"$ref": "#/$defs/Length"}
    raise NotImplementedError(f"no schema for {kind!r}")


def _amounts(node: Any) -> Any:
    """Replace every decimal in a generated schema by the shared Amount."""
    if isinstance(node, dict):
        if node.get("format") == "decimal":
            return {"$ref": "#/$defs/Amount"} | {k: v for k, v in node.items() if k not in ("type", "format")}
        return {key: _amounts(value) for key, value in node.items()}
    if isinstance(node, list):
        return [_amounts(value) for value in node]
    return node


def _field_notes(kind: type) -> dict[str, str]:
    """The text under each field of a class, by field name."""
    tree = ast.parse(inspect.getsource(sys.modules[kind.__module__]))
    body = next(node.body for node in tree.body if isinstance(node, ast.ClassDef) and node.name == kind.__name__)
    notes: dict[str, str] = {}
    for field, after in pairwise(body):
        if (
            isinstance(field, ast.AnnAssign)
            and isinstance(field.target, ast.Name)
            and isinstance(after, ast.Expr)
            and isinstance(after.value, ast.Constant)
            and isinstance(after.value.value, str)
        ):
            notes[field.target.id] = " ".join(after.value.value.replace("``", "").split())
    return notes


def _structs(kind: Any, found: dict[str, type]) -> None:
    """Collect every Struct a type is made of."""
    info = msgspec.inspect.type_info(kind)
    waiting: list[Any] = [info]
    while waiting:
        node = waiting.pop()
        if isinstance(node, msgspec.inspect.StructType):
            if node.cls.__name__ not in found:
                found[node.cls.__name__] = node.cls
                waiting += [field.type for field in node.fields]
        elif isinstance(node, msgspec.inspect.UnionType):
            waiting += list(node.types)
        elif isinstance(node, msgspec.inspect.ListType):
            waiting.append(node.item_type)
        elif isinstance(node, msgspec.inspect.DictType):
            waiting += [node.key_type, node.value_type]


def build_file_schema() -> dict[str, Any]:
    """Generate the schema: types, the text of their docstrings, and the limits in ``MORE``."""
    made = _amounts(msgspec.json.schema(BuildFile, schema_hook=_hook))
    structs: dict[str, type] = {}
    _structs(BuildFile, structs)
    definitions: dict[str, Any] = made["$defs"]
    for name, definition in definitions.items():
        own = structs[name].__dict__.get("__doc__")
        definition.pop("description", None)
        if own:
            definition["description"] = " ".join(inspect.cleandoc(own).replace("``", "").split())
        notes = _field_notes(structs[name])
        for field, schema in definition["properties"].items():
            if field in notes:
                schema["description"] = notes[field]
            schema.update(MORE.get((name, field), {}))
            if field == "id" and name in _WITH_ID:
                schema.update(_ID)
    definitions["Length"] = _LENGTH
    definitions["Amount"] = _AMOUNT
    module = inspect.cleandoc(sys.modules[BuildFile.__module__].__doc__ or "")
    return {
        "$schema": DIALECT,
        "$id": "urn:buildout:build-file:1",
        "title": "Build file, version 1",
        "description": " ".join(module.replace("``", "").split()),
        "$ref": made["$ref"],
        "$defs": dict(sorted(definitions.items())),
    }


def schema_text() -> str:
    """The schema as the text that ships."""
    return json.dumps(build_file_schema(), indent=2, ensure_ascii=False, sort_keys=True) + "\n"


@lru_cache(maxsize=1)
def shipped_schema() -> dict[str, Any]:
    """The schema that ships with the project, read once."""
    text = files("buildout.changes.engine").joinpath("data/build-file.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


if __name__ == "__main__":
    target = files("buildout.changes.engine").joinpath("data/build-file.schema.json")
    with open(str(target), "w", encoding="utf-8") as out:
        out.write(schema_text())
