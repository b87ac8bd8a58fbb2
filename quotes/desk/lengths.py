"""Lengths as people type them, and as they are said back."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from typing import Any

from fencing.drawing.lettering import pointed

_DECIMAL = re.compile(r"-?\d+\.\d+\Z", re.ASCII)
_TYPED = re.compile(r"([+-]?)(\d*(?:[.,]\d*)?)(mm|cm|m)?\Z")
_SCALE = {"mm": Decimal(1), "cm": Decimal(10), "m": Decimal(1000)}
_SPACES = re.compile(r"[\s'’\u202f\u00a0]+")

TAPE = 100
"""A whole number below this is metres where a tape is read: nobody measures a run of 18 mm."""
HEIGHT = 10
"""The same for heights and openings."""
LEVEL = 0
"""A whole number is always mm where a level is written."""


def read_length(text: str, metres_below: int = TAPE) -> int | str:
    """Whole mm, or the text as it was typed where it says no length.

    Rule: what has a unit is in it; what has a decimal point or comma is metres; a bare whole number is mm, unless it is below
    ``metres_below``.

    >>> [read_length(text) for text in ("18.24", "18,24 m", "18240", "18240 mm", "18", "1 824 cm", "0")]
    [18240, 18240, 18240, 18240, 18000, 18240, 0]
    >>> read_length("-0.54", LEVEL), read_length("-540", LEVEL), read_length("1.8", HEIGHT), read_length("1800", HEIGHT)
    (-540, -540, 1800, 1800)
    >>> read_length("eighteen"), read_length("18.24.1"), read_length("0.0005")
    ('eighteen', '18.24.1', '0.0005')
    """
    bare = _SPACES.sub("", text).lower().replace("\N{MINUS SIGN}", "-")
    found = _TYPED.match(bare)
    number = _number(found.group(1) + found.group(2)) if found and len(bare) < 24 else None
    if found is None or number is None:
        return text
    whole = not re.search(r"[.,]", found.group(2))
    unit = found.group(3) or ("mm" if whole and abs(number) >= metres_below else "m")
    size = number * _SCALE[unit]
    return int(size) if size == size.to_integral_value() else text


def read_number(text: str) -> int | Decimal | str:
    """A plain number with point or comma, or the text as it was typed.

    >>> read_number("90"), read_number("-12,5"), read_number("1.452"), read_number("left")
    (90, Decimal('-12.5'), Decimal('1.452'), 'left')
    """
    number = _number(_SPACES.sub("", text).replace("\N{MINUS SIGN}", "-"))
    if number is None:
        return text
    return int(number) if number == number.to_integral_value() and "." not in text and "," not in text else number


def _number(text: str) -> Decimal | None:
    try:
        number = Decimal(text.replace(",", "."))
    except InvalidOperation:
        return None
    return number if number.is_finite() and len(text) < 24 else None


def metres(millimetres: int) -> str:
    """Metres with three decimals, for a field, with the decimal sign that is written now; ``read_length`` takes either.

    >>> metres(18240), metres(-60), metres(0)
    ('18.240', '-0.060', '0.000')
    """
    whole, rest = divmod(abs(millimetres), 1000)
    return pointed(f"{'-' if millimetres < 0 else ''}{whole}.{rest:03d}")


def typed(value: Any) -> str:
    """A plain number as the text of its field, with the decimal sign that is written now; ``read_number`` takes either.

    >>> typed(Decimal("12.5")), typed("0.30"), typed("clay"), typed(None)
    ('12.5', '0.30', 'clay', '')
    """
    text = "" if value is None else str(value)
    return pointed(text) if _DECIMAL.match(text) else text
