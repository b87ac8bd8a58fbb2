"""XLSX workbooks, written row by row with limited memory. Texts never become formulas or links, and the bytes are stable."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import IO, Any

import xlsxwriter

from shared.spreadsheets.safe_cells import Cell

MADE = datetime(2000, 1, 1, tzinfo=UTC)


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
