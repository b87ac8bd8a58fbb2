"""CSV as people's programs write it: several encodings, several separators, quoted cells."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

from catalogue.spreadsheets import limits

_SEPARATORS = ",;\t|"
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
_KEPT_AS_IS = "'"


def decoded(content: bytes) -> str:
    """Decode a file in UTF-8, UTF-16 with its mark, or Windows-1252; anything else is rejected with its line."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")) and not content.startswith(b"\xff\xfe\x00\x00"):
        return _strictly(content, "utf-16")
    if b"\x00" in content:
        line = content[: content.index(b"\x00")].count(b"\n") + 1
        raise limits.SheetRefusedError("encoding", "This is not text; save it as CSV in UTF-8.", line)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return _strictly(content, "cp1252")


def _strictly(content: bytes, encoding: str) -> str:
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as fault:
        line = content[: fault.start].count(b"\n") + 1
        raise limits.SheetRefusedError(
            "encoding", "The characters can't be read; save it as CSV in UTF-8.", line
        ) from None


def separator_of(head: str) -> str:
    """Return the separator of a header line: the most frequent of comma, semicolon, tab and bar."""
    return max(_SEPARATORS, key=head.count)


def _lines(text: str) -> Iterator[str]:
    for number, line in enumerate(io.StringIO(text, newline=""), 1):
        if len(line) > limits.MAX_LINE:
            raise limits.SheetRefusedError("line", f"A line may have {limits.MAX_LINE} characters.", number)
        yield line


def refuse_too_many(text: str) -> None:
    """Refuses a file of too many rows before the first of them is looked at."""
    if text.count("\n") + text.count("\r") <= limits.MAX_ROWS:
        return
    count, reader = 0, _reader(text)
    with suppress(csv.Error):  # reported with its line when the rows are read
        for cells in reader:
            count += any(map(str.strip, cells))
            if count > limits.MAX_ROWS + 1:
                raise limits.SheetRefusedError("rows", f"A file may have {limits.MAX_ROWS} rows.", reader.line_num)


def _reader(text: str) -> Any:
    separator = separator_of(text[: limits.MAX_LINE].split("\n", 1)[0])
    csv.field_size_limit(limits.MAX_LINE)
    return csv.reader(_lines(text), delimiter=separator, strict=True)


def rows(text: str) -> Iterator[limits.SpreadsheetRow]:
    """Yield the rows of a file, without empty rows."""
    reader, count = _reader(text), 0
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            count += 1
            _check_size(cells, count, reader.line_num)
            yield limits.SpreadsheetRow(reader.line_num, tuple(_cell(cell) for cell in cells))
    except csv.Error as fault:
        raise limits.SheetRefusedError("csv", f"This line is not well-formed CSV: {fault}.", reader.line_num) from None


def _check_size(cells: list[str], count: int, line: int) -> None:
    if count > limits.MAX_ROWS + 1:
        raise limits.SheetRefusedError("rows", f"A file may have {limits.MAX_ROWS} rows.", line)
    if len(cells) > limits.MAX_COLUMNS:
        raise limits.SheetRefusedError("columns", f"A file may have {limits.MAX_COLUMNS} columns.", line)
    if any(len(cell) > limits.MAX_CELL for cell in cells):
        raise limits.SheetRefusedError("cell", f"A cell may have {limits.MAX_CELL} characters.", line)


def _cell(text: str) -> limits.SpreadsheetCell:
    if text.startswith(_KEPT_AS_IS):
        return limits.SpreadsheetCell(text[1:])
    return limits.SpreadsheetCell(text, formula=text.lstrip().startswith(_FORMULA) and not _is_number(text))


def _is_number(text: str) -> bool:
    return text.strip()[1:].replace(".", "", 1).replace(",", "", 1).isdigit() and text.strip()[0] in "+-"


def guarded(text: str) -> str:
    """Write a text cell that no spreadsheet reads as a formula, and that reads back unchanged."""
    return f"'{text}" if text.startswith(_KEPT_AS_IS) or text.lstrip(" ;").startswith(_FORMULA) else text


def csv_lines(table: Iterator[list[tuple[str, bool]]]) -> Iterator[str]:
    """Lines of CSV (RFC 4180) from cells of (text, whether it is a number): numbers stay numbers, texts are guarded."""
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    for cells in table:
        writer.writerow([text if number else guarded(text) for text, number in cells])
        yield buffer.getvalue()
        buffer.seek(0)
        buffer.truncate()
