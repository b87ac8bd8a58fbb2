"""Filters for calculations: units by name and figures without trailing zeros."""

from __future__ import annotations

import re
from decimal import Decimal

from django import template

from catalogue.rules.codes import SALE_UNITS
from quotes.documents.number_format import UNITS
from shared.common.form_fields import shown_number

register = template.Library()
_FIGURE = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?)(?: ([A-Z][A-Z0-9]{1,2})\b)?(?![\w.]*\w)")
_EACH = re.compile(r"(?<= at )\d+(?:\.\d)?(?= =)")
"""Write a unit price with at least two decimals."""
_MANY = {"box": "boxes", "number of packs": "packs"}


@register.filter
def working(text: str) -> str:
    """Write a price calculation with the units and the decimal sign of the reader.

    >>> working("36.000 XBG as ordered = 268.20; 22 % markup = 327.20")
    '36 bags as ordered = 268.20; 22 % markup = 327.20'
    >>> working("14.877 MTR x 24.000000 = 357.05"), working("10 C62 x 6.500000 = 65.00"), working("1 XBG x 7.45 = 7.45")
    ('14.877 m × 24.00 = 357.05', '10 × 6.50 = 65.00', '1 bag × 7.45 = 7.45')
    >>> working("13 at 22.9 = 297.70; 22 % markup = 363.19"), working("500 at 0.0858 = 42.90")
    ('13 at 22.90 = 297.70; 22 % markup = 363.19', '500 at 0.0858 = 42.90')
    """
    priced = _EACH.sub(lambda found: f"{Decimal(found[0]):.2f}", text)
    return _FIGURE.sub(_amount_text, priced).replace(" x ", " × ")


def _amount_text(found: re.Match[str]) -> str:
    number, code = found[1], found[2]
    if code not in SALE_UNITS:
        written = shown_number(number, min(2, len(number.partition(".")[2])))
        return f"{written} {code}" if code else written
    return shown_number(number) + (UNITS[code] if code in UNITS else f" {_word(code, number)}")


def _word(code: str, number: str) -> str:
    word = SALE_UNITS[code]
    return word if float(number) == 1 else _MANY.get(word, f"{word}s")
