"""Spreadsheets for people: cells of CSV files, and XLSX workbooks written row by row with limited memory.

A text that a spreadsheet would run as a formula is marked as text. The bytes of a workbook are stable.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import IO, Any

import xlsxwriter

Cell = str | int | Decimal | date | None
# first sign of a formula, also in full width, after white space or a field separator (OWASP, CSV injection); some kinds of
# spaces are listed, because Python and PostgreSQL define white space differently
RUNS = r"^[\s\u001c-\u001f\u0085\u00a0\u2007\u202f;,|]*[=+\-@\uff1d\uff0b\uff0d\uff20\t\r]"
_RUNS = re.compile(RUNS)
MADE = datetime(2000, 1, 1, tzinfo=UTC)


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


class Workbook:
    """Workbook. ``add`` writes the next row; ``close`` finishes the file."""

    sheet: Any

    def __init__(self, file: IO[bytes], name: str, widths: Sequence[int] = ()) -> None:
        options = {
            "constant_memory": True,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        }
        self._book: Any = xlsxwriter.Workbook(file, options)
        self._book.set_properties({"created": MADE})
        self._day = self._book.add_format({"num_format": "yyyy-mm-dd"})
        self._bold = self._book.add_format({"bold": True})
        self.begin_sheet(name)
        for place, width in enumerate(widths):
            self.sheet.set_column(place, place, width)

    def begin_sheet(self, name: str) -> None:
        """Start another sheet. Further rows are added to it."""
        self.sheet = self._book.add_worksheet(name[:31])
        self._row = 0

    def add(self, row: Sequence[Cell], *, bold: bool = False) -> None:
        """Add a row. An empty row leaves a blank line."""
        look = (self._bold,) if bold else ()
        for place, value in enumerate(row):
            match value:
                case None | "":
                    continue
                case Decimal() | int():
                    self.sheet.write_number(self._row, place, value, *look)
                case date():
                    self.sheet.write_datetime(self._row, place, datetime.combine(value, time()), self._day)
                case _:
                    self.sheet.write_string(self._row, place, value, *look)
        self._row += 1

    def close(self) -> None:
        """Write the rest of the file."""
        self._book.close()
