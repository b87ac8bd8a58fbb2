"""Cells of CSV files. A text that a spreadsheet would run as a formula is marked as text."""

from __future__ import annotations

import re
from datetime import date, datetime
from decimal import Decimal

Cell = str | int | Decimal | date | None
# first sign of a formula, also in full width, after white space or a field separator (OWASP, CSV injection); some kinds of
# spaces are listed, because Python and PostgreSQL define white space differently
RUNS = r"^[\s\u001c-\u001f\u0085\u00a0\u2007\u202f;,|]*[=+\-@\uff1d\uff0b\uff0d\uff20\t\r]"
_RUNS = re.compile(RUNS)


def guarded(text: str) -> str:
    """Return a text, with an apostrophe in front if a spreadsheet would run it.

    >>> guarded("=1+1"), guarded(" @SUM(A1)"), guarded("Rail 2250")
    ("'=1+1", "' @SUM(A1)", 'Rail 2250')
    """
    return f"'{text}" if _RUNS.match(text) or text[:1] in ("\t", "\r") else text


def cell(value: Cell) -> str:
    """Return a value as a CSV cell: texts guarded, numbers in plain digits, dates in ISO 8601.

    >>> cell(Decimal("-12.50")), cell("-12.50"), cell(None)
    ('-12.50', "'-12.50", '')
    """
    match value:
        case None:
            return ""
        case Decimal():
            return f"{value:f}"
        case datetime() | date():
            return value.isoformat()
        case int():
            return str(value)
    return guarded(value)
