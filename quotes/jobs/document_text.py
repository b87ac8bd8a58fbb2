"""Documents as the rows keep them: canonical text, decimals digit for digit as they were told."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

from fencing.reading import canonical as spelled
from fencing.reading import digest

__all__ = ["canonical", "digest", "parsed"]


def canonical(document: Any) -> str:
    """JSON with sorted members and no spaces; a ``Decimal`` is written as the number it is, digit for digit.

    >>> canonical({"b": Decimal("1.50"), "a": ["1/2", True, None, 3]})
    '{"a":["1/2",true,null,3],"b":1.50}'
    """
    return spelled(document, exact=True)


def parsed(text: str) -> Any:
    """A document kept as text, its decimals exact."""
    return json.loads(text, parse_float=Decimal)
