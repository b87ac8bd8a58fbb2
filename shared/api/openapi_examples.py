"""Examples for every schema of the API that has none. A schema always gets the same example."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

_DEEP: Final = 6
_BY_FORMAT: Final[Mapping[str, str]] = {
    "date": "2026-03-02",
    "date-time": "2026-03-02T08:30:00Z",
    "email": "ada@example.com",
    "uri": "https://example.com/",
    "binary": "",
}
_CANDIDATES: Final = (
    "12.50",
    "12",
    "0",
    "a" * 64,
    "2026-03",
    "2026-03-02",
    "abc",
    "ABC",
    "1/2",
    "5h2Jt9XbQm4Zr7Kc1Vd8Ny",
)
# strings that match a pattern, by the name of the field
_BY_NAME: Final[Mapping[str, str]] = {
    "country": "NZ",
    "currency": "NZD",
    "language": "en",
    "locale": "en_NZ",
    "ref": "5h2Jt9XbQm4Zr7Kc1Vd8Ny",
    "time_zone": "Pacific/Auckland",
    "until": "2026-03",
    "gtin": "09506000134352",
}


def example_of(schema: Mapping[str, Any], schemas: Mapping[str, Any], name: str = "", depth: int = 0) -> Any:
    """Return a value that a schema allows, with all fields except the read-only ones."""
    if "$ref" in schema:
        return example_of(schemas[schema["$ref"].rsplit("/", 1)[-1]], schemas, name, depth)
    for keyword in ("example", "const", "default"):
        if keyword in schema:
            return schema[keyword]
    for keyword in ("examples", "enum"):
        if schema.get(keyword):
            return schema[keyword][0]
    for choice in ("allOf", "oneOf", "anyOf"):
        if schema.get(choice):
            return example_of(schema[choice][0], schemas, name, depth)
    return _of_type(schema, schemas, name, depth)


def _of_type(schema: Mapping[str, Any], schemas: Mapping[str, Any], name: str, depth: int) -> Any:
    kinds = schema.get("type", "object")
    kind = kinds if isinstance(kinds, str) else next(item for item in kinds if item != "null")
    match kind:
        case "object":
            return _object(schema, schemas, depth)
        case "array":
            count = max(1 if depth < _DEEP else 0, schema.get("minItems", 0))
            return [example_of(schema.get("items", {}), schemas, name, depth + 1)] * count
        case "integer" | "number":
            return schema.get("minimum", 1)
        case "boolean":
            return True
        case "string":
            return _text(schema, name)
    return None


def _object(schema: Mapping[str, Any], schemas: Mapping[str, Any], depth: int) -> dict[str, Any]:
    required = schema.get("required", ())
    return {
        name: example_of(member, schemas, name, depth + 1)
        for name, member in schema.get("properties", {}).items()
        if not member.get("readOnly") and (depth < _DEEP or name in required)
    }


def _text(schema: Mapping[str, Any], name: str) -> str:
    if schema.get("format") in _BY_FORMAT:
        return _BY_FORMAT[schema["format"]]
    text = _BY_NAME.get(name) or (name.replace("_", " ") or "text")
    if "pattern" in schema:
        text = next((item for item in (text, *_CANDIDATES) if re.search(schema["pattern"], item)), text)
    return text.ljust(schema.get("minLength", 0), "-")[: schema.get("maxLength", 200)]


def fill_in(document: dict[str, Any]) -> None:
    """Add an example to every JSON body of every operation that has none."""
    schemas = document.get("components", {}).get("schemas", {})
    for methods in document.get("paths", {}).values():
        for operation in methods.values():
            bodies = [operation.get("requestBody", {}), *operation.get("responses", {}).values()]
            for content in (body.get("content", {}) for body in bodies):
                for kind, media in content.items():
                    if "json" in kind and "example" not in media and "examples" not in media:
                        media["example"] = example_of(media.get("schema", {}), schemas)
