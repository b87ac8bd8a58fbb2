"""Errors of a file, and the limits of an import."""

from __future__ import annotations

from dataclasses import dataclass

MAX_BYTES = 10_000_000
MAX_ROWS = 50_000
MAX_COLUMNS = 40
MAX_LINE = 20_000  # characters of one line of a CSV file
MAX_CELL = 2_000


class SheetRefusedError(ValueError):
    """A file that cannot be imported. ``row`` is the line of the file, counted from 1, if it is known."""

    def __init__(self, code: str, reason: str, row: int | None = None) -> None:
        self.code, self.reason, self.row = code, reason, row
        super().__init__(reason if row is None else f"line {row}: {reason}")


@dataclass(frozen=True, slots=True)
class SpreadsheetCell:
    """A cell of a file. ``number``: the file stores it as a number (XLSX)."""

    text: str
    number: bool = False
    formula: bool = False


@dataclass(frozen=True, slots=True)
class SpreadsheetRow:
    """A row with its number in the file, counted from 1."""

    number: int
    cells: tuple[SpreadsheetCell, ...]


EMPTY = SpreadsheetCell("")
