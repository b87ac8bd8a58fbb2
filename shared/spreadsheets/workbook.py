"""Workbooks written row by row in bounded memory: texts are texts, never formulas or links; the same bytes every time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import IO, Any

import xlsxwriter

from shared.spreadsheets.safe_cells import Cell

MADE = datetime(2000, 1, 1, tzinfo=UTC)


class Workbook:
    """A workbook. ``add`` writes the next row; ``close`` finishes the file."""

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
        """Begin another sheet: rows are added to it from now on."""
        self.sheet = self._book.add_worksheet(name[:31])
        self._row = 0

    def add(self, row: Sequence[Cell], *, bold: bool = False) -> None:
        """The next row; an empty one leaves a line free."""
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
        """Writes what is still to be written."""
        self._book.close()
