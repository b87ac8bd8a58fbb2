"""Frozen, typed values that are stored and sent as JSON, with their JSON Schema."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Annotated, Any, TypeVar

import msgspec
from msgspec import Meta, Struct

Exact = Annotated[
    Decimal, Meta(extra_json_schema={"pattern": r"^-?[0-9]+(\.[0-9]+)?$", "description": "A decimal number as text."})
]


class EngineDocument(dict[str, Any]):
    """A document of the engine (measure, fence system, take-off); its own schema describes it."""


class Value(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """Base of the values: frozen, and read only if there are no other members than its fields."""


AnyValue = TypeVar("AnyValue")
JsonObject = Mapping[str, Any]
"""An object from JSON without a type: the setup of a draft, choices as stored, a measure as typed."""


def to_value(source: object, kind: type[AnyValue]) -> AnyValue:
    """Return a value from plain JSON values, or from an object with attributes of the same names."""
    return msgspec.convert(source, kind, from_attributes=True, dec_hook=lambda own, value: own(value))


def plain(value: Any) -> Any:
    """Return a value as plain JSON values: exact numbers as texts, times in UTC. Documents of the engine stay as they are."""
    match value:
        case Struct():
            defaults = dict(zip(reversed(value.__struct_fields__), reversed(value.__struct_defaults__), strict=False))
            members = ((name, getattr(value, name)) for name in value.__struct_fields__)
            return {name: plain(own) for name, own in members if name not in defaults or own != defaults[name]}
        case EngineDocument():
            return value
        case Mapping():
            return {str(key): plain(own) for key, own in value.items()}
        case tuple() | list():
            return [plain(own) for own in value]
        case Decimal():
            return format(value, "f")
        case datetime.datetime():
            return value.isoformat().replace("+00:00", "Z")
        case Fraction() | datetime.date() | StrEnum():
            return str(value)
    return value


def json_schema(kind: type[Value], name: str, title: str) -> dict[str, Any]:
    """Return the JSON Schema of a kind of value."""
    share = {"type": "string", "pattern": "^[0-9]+(/[0-9]+)?$"}
    [_], parts = msgspec.json.schema_components(
        [kind], schema_hook=lambda own: share if own is Fraction else {"type": "object"}, ref_template="#/$defs/{name}"
    )
    for part in parts.values():
        part["description"] = " ".join(part.get("description", part["title"]).split())
        for member in part.get("properties", {}).values():
            if "default" in member and member.pop("default") is None:  # it is left out, never null
                [shape] = [item for item in member.pop("anyOf") if item["type"] != "null"]
                member.update(shape)
    whole = parts.pop(kind.__name__)
    draft = "https://json-schema.org/draft/2020-12/schema"
    return {"$schema": draft, "$id": f"urn:baywright:{name}", **whole, "title": title, "$defs": parts}
