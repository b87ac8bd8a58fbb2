"""Reports as files: CSV, XLSX and JSON, streamed, the same bytes for the same rows."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from decimal import Decimal
from functools import lru_cache
from tempfile import TemporaryFile
from typing import IO

from django.db import connection

from quotes.accounting.reports import ENTRY_COLUMNS, ENTRY_HEAD, TEXTS, DateRange, ReportTable, entry_table, money
from shared.common.json_encoder import write_json
from shared.common.money import minor_digits
from shared.models import Business
from shared.spreadsheets import RUNS, Workbook, cell, guarded

BLOCK = 64 * 1024
EOL = "\r\n"
TYPES = {
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
MAX_XLSX_ROWS = 1_048_000


def csv_blocks(table: ReportTable) -> Iterator[bytes]:
    """Yield CSV (RFC 4180, UTF-8) in blocks."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator=EOL)
    writer.writerow(table.head)
    # names repeat: each is checked once
    known = lru_cache(maxsize=10_000)(guarded)
    for row in table.rows:
        writer.writerow([known(value) if type(value) is str else cell(value) for value in row])
        if text.tell() > BLOCK:
            yield text.getvalue().encode()
            text.seek(0)
            text.truncate()
    yield text.getvalue().encode()


def ledger_csv(business: Business, span: DateRange) -> Iterator[bytes]:
    """Yield the ledger as CSV: by COPY on PostgreSQL, row by row elsewhere. The bytes are the same."""
    if connection.vendor != "postgresql":
        yield from csv_blocks(entry_table(business, span))
        return
    yield (",".join(ENTRY_HEAD) + EOL).encode()
    yield from copied(business, span)


def copied(business: Business, span: DateRange) -> Iterator[bytes]:
    """Yield the rows of the ledger in blocks, by PostgreSQL's COPY."""
    digits = minor_digits(business.currency)
    columns = [_guarded(name) if name in TEXTS else _plain(name, digits) for name in ENTRY_COLUMNS]
    query = (
        f"COPY (SELECT {', '.join(columns)}, {_amount('net + tax', digits)} FROM accounting_ledgerentry "  # noqa: S608 - our own names
        f"WHERE business_id = {int(business.pk)} AND day BETWEEN '{span.first:%Y-%m-%d}' AND '{span.last:%Y-%m-%d}' "
        "ORDER BY day, id) TO STDOUT (FORMAT csv)"
    )
    end = EOL.encode()
    with connection.cursor() as cursor, cursor.cursor.copy(query) as copy:
        block = bytearray()
        for row in copy:  # one at a time, each with the line feed that COPY ends it with
            block += row
            block[-1:] = end
            if len(block) > BLOCK:
                yield bytes(block)
                block.clear()
        yield bytes(block)


def _guarded(name: str) -> str:
    """Return the SQL of a text column: NULL if it is empty, with an apostrophe if a spreadsheet would run it."""
    pattern = RUNS.replace("'", "''")
    return f"CASE WHEN {name} ~ E'{_escaped(pattern)}' THEN '''' || {name} ELSE nullif({name}, '') END"


def _escaped(pattern: str) -> str:
    return pattern.replace("\\", "\\\\")


def _plain(name: str, digits: int) -> str:
    if name == "tax_rate":
        return "trim_scale(tax_rate)"
    return _amount(name, digits) if name in {"net", "tax"} else name


def _amount(expression: str, digits: int) -> str:
    """Return the SQL of an amount with all minor units, and more decimals only if there are any."""
    whole = f"round({expression}, {digits})"
    return f"CASE WHEN {whole} = {expression} THEN {whole} ELSE trim_scale({expression}) END"


def json_blocks(table: ReportTable) -> Iterator[bytes]:
    """Yield ``{"name", "rows": [...]}`` in blocks."""
    block = bytearray(b'{"name":' + write_json(table.name) + b',"rows":[')
    for number, row in enumerate(table.rows):
        block += (b"," if number else b"") + write_json(dict(zip(table.head, row, strict=True)))
        if len(block) > BLOCK:
            yield bytes(block)
            block.clear()
    yield bytes(block) + b"]}"


def xlsx_file(table: ReportTable) -> IO[bytes]:
    """Write a workbook row by row: the rows on the first sheet, their totals on the second; texts are never formulas or links."""
    file: IO[bytes] = TemporaryFile()  # noqa: SIM115 - the answer closes it
    book = Workbook(file, table.name)
    book.sheet.freeze_panes(1, 0)
    book.add(table.head, bold=True)
    sums: dict[str, Decimal] = {}
    for row in table.add_up(sums):
        book.add(row)
    book.begin_sheet("Totals")
    book.add(("column", "total"), bold=True)
    for name, value in sums.items():
        book.add((name, money(value, table.digits)))
    book.close()
    file.seek(0)
    return file


def file_blocks(file: IO[bytes]) -> Iterable[bytes]:
    """Yield a file in blocks and close it."""
    with file:
        while block := file.read(BLOCK):
            yield block
