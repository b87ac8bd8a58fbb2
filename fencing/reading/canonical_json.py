"""Canonical JSON: one text for each document, and the digest of that text."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any


def write_canonical(document: Any, *, exact: bool = False) -> str:
    """Return the canonical text of a document: members in alphabetical order, no spaces.

    Args:
        document: dicts, lists, texts, truth values, None, integers and decimals.
        exact: if true, decimals keep all their digits; otherwise ``1.50`` and ``1.5`` are the same number.

    Raises:
        TypeError: a document can't contain this value, for example a float.

    >>> document = {"b": Decimal("1.50"), "a": ["\u00e9", True, None, 3]}
    >>> write_canonical(document), write_canonical(document, exact=True)
    ('{"a":["\u00e9",true,null,3],"b":1.5}', '{"a":["\u00e9",true,null,3],"b":1.50}')
    """
    parts: list[str] = []
    _write(document, parts, exact)
    return "".join(parts)


def digest(text: str) -> str:
    """Return the SHA-256 digest of a text, in hexadecimal [64 digits]. Source: FIPS 180-4, with its example "abc".

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
            raise TypeError(f"a document can't contain {type(value).__name__} {value!r}")


def _members(members: Mapping[str, Any], parts: list[str], exact: bool) -> None:
    parts.append("{")
    for index, key in enumerate(sorted(members)):
        parts.append(("," if index else "") + json.dumps(key, ensure_ascii=False) + ":")
        _write(members[key], parts, exact)
    parts.append("}")


def _items(items: Sequence[Any], parts: list[str], exact: bool) -> None:
    parts.append("[")
    for index, item in enumerate(items):
        if index:
            parts.append(",")
        _write(item, parts, exact)
    parts.append("]")
