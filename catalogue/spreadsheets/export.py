"""Export of spreadsheets with the columns of the import, so that a file reads back unchanged."""

from __future__ import annotations

from collections.abc import Iterator

from catalogue.rules.codes import ImportKind
from catalogue.spreadsheets import csv_file, xlsx_file
from catalogue.spreadsheets.import_plan import stored_rows
from catalogue.spreadsheets.sheet_types import SheetType, kind_for
from shared.business.models import Business

FORMATS = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def _table(kind: SheetType, business: Business) -> Iterator[list[tuple[str, bool]]]:
    yield [(column.name, False) for column in kind.columns]
    keys = [column.by or column.attr for column in kind.columns if column.key]
    for _, values in stored_rows(kind, business, *keys):
        yield [(column.write(value), column.number) for column, value in zip(kind.columns, values, strict=True)]


def csv_sheet(kind: ImportKind, business: Business) -> Iterator[str]:
    """Yield the business's records as lines of CSV, in the order of their keys."""
    return csv_file.csv_lines(_table(kind_for(kind, business), business))


def xlsx_sheet(kind: ImportKind, business: Business) -> bytes:
    """Return the business's records as an XLSX file."""
    return xlsx_file.xlsx_bytes(_table(kind_for(kind, business), business), kind.value)
