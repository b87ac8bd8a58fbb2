"""Numbers in form fields: reading and formatting."""

from __future__ import annotations

import re
from decimal import Decimal

from shared.common.figures import localize

_NUMBER = re.compile(r"(-?\d*)[.,]?(\d*)\Z")
_THOUSANDS = re.compile(r"-?[1-9]\d{0,2}([.,])\d{3}\Z")


def typed_number(text: str) -> str:
    """Return a number with a decimal point instead of a comma; return any other text unchanged.

    If three digits follow the sign that is not the decimal sign of the business, they may be thousands. With a decimal point
    1,200 is rejected, and with a decimal comma 1.200, because 1.2 and 1200 differ too much.

    >>> typed_number(" 12,50 "), typed_number("1 200"), typed_number("1.5"), typed_number("a lot")
    ('12.50', '1200', '1.5', 'a lot')
    >>> typed_number("1,200"), typed_number("1.200"), typed_number("0,372")
    ('1,200', '1.200', '0.372')
    """
    tight = text.replace(" ", "").replace("\N{NO-BREAK SPACE}", "").replace("\N{NARROW NO-BREAK SPACE}", "")
    thousands = _THOUSANDS.match(tight)
    if thousands and thousands[1] != localize("."):
        return tight.replace(".", "'")
    return tight.replace(",", ".") if _NUMBER.match(tight) else text.strip()


def as_shown(value: object) -> str:
    """Return a number with the decimal sign of the page; return any other text unchanged.

    >>> as_shown("64.00"), as_shown("1/2"), as_shown(3)
    ('64.00', '1/2', '3')
    """
    text = str(value)
    return localize(text) if _NUMBER.match(text) else text


def shown_number(value: object, least: int = 0) -> str:
    """Return a stored number for a field: with the decimal sign of the page, and without trailing zeros after ``least`` places.

    Any other text is unchanged.

    >>> shown_number("10.000"), shown_number("1.7800", 2), shown_number("150.0000", 2), shown_number(None)
    ('10', '1.78', '150.00', '')
    """
    if value is None or not _NUMBER.match(str(value)):
        return str(value or "")
    exact = Decimal(str(value)).normalize()
    exponent = exact.as_tuple().exponent
    places = max(least, -exponent if isinstance(exponent, int) else 0)
    return localize(f"{exact:.{places}f}")
