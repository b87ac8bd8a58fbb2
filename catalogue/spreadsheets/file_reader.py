"""Reader of spreadsheet files: the content decides the format, not the file name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain

from catalogue.spreadsheets import csv_file, xlsx_file
from catalogue.spreadsheets.limits import MAX_BYTES, SheetRefusedError, SpreadsheetCell, SpreadsheetRow

_NOT_SHEETS = {
    b"MZ": "a program",
    b"\x7fELF": "a program",
    b"%PDF": "a PDF",
    b"\xd0\xcf\x11\xe0": "an old or protected workbook",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"<?xml": "XML",
    b"<html": "a web page",
    b"{": "JSON",
    b"\x1f\x8b": "packed",
}


@dataclass(frozen=True, slots=True)
class Spreadsheet:
    """A file's header and its rows, read as they are asked for. ``decimal_comma``: numbers may be written with one."""

    columns: tuple[str, ...]
    rows: Iterator[SpreadsheetRow]
    decimal_comma: bool


def read_sheet(content: bytes) -> Spreadsheet:
    """Return header and rows of a CSV or XLSX file. Raise if it is neither, too large, or has no header."""
    if len(content) > MAX_BYTES:
        raise SheetRefusedError("too-large", f"A file may have {MAX_BYTES} bytes.")
    for start, what in _NOT_SHEETS.items():
        if content.startswith(start):
            raise SheetRefusedError("kind", f"This is {what}, not a CSV or XLSX file.")
    if xlsx_file.is_zip(content):
        return _headed(xlsx_file.rows(content), decimal_comma=False)
    text = csv_file.decoded(content)
    csv_file.refuse_too_many(text)
    separator = csv_file.separator_of(text.split("\n", 1)[0])
    return _headed(csv_file.rows(text), decimal_comma=separator != ",")


def _headed(rows: Iterator[SpreadsheetRow], *, decimal_comma: bool) -> Spreadsheet:
    head = next(rows, None)
    if head is None:
        raise SheetRefusedError("empty", "The file has no header row.")
    columns = tuple(_name(cell) for cell in head.cells)
    while columns and not columns[-1]:
        columns = columns[:-1]
    doubles = sorted({name for name in columns if columns.count(name) > 1})
    if doubles:
        raise SheetRefusedError("header", f"The header names a column twice: {', '.join(doubles)[:200]}.", head.number)
    return Spreadsheet(columns, chain(rows), decimal_comma)


def _name(cell: SpreadsheetCell) -> str:
    return cell.text.strip().lower().replace(" ", "_")
