"""Fast and exact JSON encoder."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

import orjson


def write_json(value: Any) -> bytes:
    """Return a value as JSON, with decimals and fractions as strings and times in UTC ending in Z."""
    return orjson.dumps(value, default=_as_text, option=orjson.OPT_UTC_Z | orjson.OPT_NON_STR_KEYS)


def _as_text(value: object) -> Any:
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, Fraction | Exception):
        return str(value)
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, frozenset | set):
        return sorted(value)
    return str(value)  # lazy translations, error details
