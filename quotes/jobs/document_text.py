"""Canonical text of stored documents. Decimals keep their digits."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

from fencing.reading import digest
from fencing.reading import write_canonical as spelled

__all__ = ["canonical", "digest", "parsed"]


def canonical(document: Any) -> str:
    """JSON with sorted members and no spaces; a ``Decimal`` is written as the number it is, digit for digit.

    >>> canonical({"b": Decimal("1.50"), "a": ["1/2", True, None, 3]})
    '{"a":["1/2",true,null,3],"b":1.50}'
    """
    return spelled(document, exact=True)


def parsed(text: str) -> Any:
    """Return a stored document with exact decimals."""
    return json.loads(text, parse_float=Decimal)
