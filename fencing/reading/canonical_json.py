"""Documents as text that is the same wherever and whenever it is written, and its digest."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any


def canonical(document: Any, *, exact: bool = False) -> str:
    """The one spelling of a document: members in order, no spaces.

    Args:
        document: dicts, lists, texts, truth values, None, integers and decimals.
        exact: whether a decimal is written digit for digit; otherwise ``1.50`` and ``1.5`` are the same number.

    Raises:
        TypeError: a value that has no place in a document, such as a float.

    >>> document = {"b": Decimal("1.50"), "a": ["\u00e9", True, None, 3]}
    >>> canonical(document), canonical(document, exact=True)
    ('{"a":["\u00e9",true,null,3],"b":1.5}', '{"a":["\u00e9",true,null,3],"b":1.50}')
    """
    parts: list[str] = []
    _write(document, parts, exact)
    return "".join(parts)


def digest(text: str) -> str:
    """SHA-256 of a text, in hexadecimal [64 digits]. Source: FIPS 180-4, with its example of "abc".

    >>> digest("abc")[:8]
    'ba7816bf'
    """
    return hashlib.sha256(text.encode()).hexdigest()


def _write(value: Any, parts: list[str], exact: bool) -> None:
    match value:
        case Decimal() if value.is_finite():
            parts.append(format(value if exact else value.normalize(), "f"))
        case dict():
            _members(value, parts, exact)
        case list() | tuple():
            _items(value, parts, exact)
        case str() | int() | None:
            parts.append(json.dumps(value, ensure_ascii=False))
        case _:
            raise TypeError(f"{type(value).__name__} {value!r} has no place in a document")


def _members(members: Mapping[str, Any], parts: list[str], exact: bool) -> None:
    parts.append("{")
    for place, key in enumerate(sorted(members)):
        parts.append(("," if place else "") + json.dumps(key, ensure_ascii=False) + ":")
        _write(members[key], parts, exact)
    parts.append("}")


def _items(items: Sequence[Any], parts: list[str], exact: bool) -> None:
    parts.append("[")
    for place, item in enumerate(items):
        if place:
            parts.append(",")
        _write(item, parts, exact)
    parts.append("]")
