"""Documents as text that is the same wherever and whenever it is written."""

from __future__ import annotations

import hashlib
import json
from decimal import Decimal
from typing import Any


def canonical(document: Any) -> str:
    """JSON with sorted members and no spaces; a ``Decimal`` is written as the number it is, digit for digit.

    >>> canonical({"b": Decimal("1.50"), "a": ["1/2", True, None, 3]})
    '{"a":["1/2",true,null,3],"b":1.50}'
    """
    parts: list[str] = []
    _write(document, parts)
    return "".join(parts)


def parsed(text: str) -> Any:
    """A document kept as text, its decimals exact."""
    return json.loads(text, parse_float=Decimal)


def digest(text: str) -> str:
    """SHA-256 of a text, in hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def _write(value: Any, parts: list[str]) -> None:
    match value:
        case Decimal() if value.is_finite():
            parts.append(format(value, "f"))
        case dict():
            _members(value, parts)
        case list() | tuple():
            _items(value, parts)
        case str() | int() | None:
            parts.append(json.dumps(value, ensure_ascii=False))
        case _:
            raise TypeError(f"{type(value).__name__} {value!r} has no place in a document")


def _members(members: dict[str, Any], parts: list[str]) -> None:
    parts.append("{")
    for place, key in enumerate(sorted(members)):
        parts.append(("," if place else "") + json.dumps(key, ensure_ascii=False) + ":")
        _write(members[key], parts)
    parts.append("}")


def _items(items: list[Any] | tuple[Any, ...], parts: list[str]) -> None:
    parts.append("[")
    for place, item in enumerate(items):
        if place:
            parts.append(",")
        _write(item, parts)
    parts.append("]")
