"""XLSX without trust: sizes are checked before anything is unpacked, cells are counted while they are read.

A file of 100 kB can hold gigabytes, so this reads the few parts it needs with a streaming parser that stops at the first row or
column too many, and refuses document types, macros, formulas and encryption.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from typing import Any
from xml.etree.ElementTree import ParseError, XMLPullParser

import xlsxwriter

from catalogue.spreadsheets import limits

MAX_UNPACKED = 40_000_000
MAX_MEMBERS = 200
MAX_RATIO = 100
MAX_DEPTH = 40
_CHUNK = 64 * 1024
_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def is_zip(content: bytes) -> bool:
    """Return whether the bytes begin like an XLSX file."""
    return content.startswith(b"PK\x03\x04")


def rows(content: bytes) -> Iterator[limits.SpreadsheetRow]:
    """Yield the rows of the first sheet, without empty rows."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            _check_archive(archive)
            strings = _strings(archive)
            yield from _sheet(archive, _first_sheet(archive), strings)
    except (zipfile.BadZipFile, ParseError, EOFError, NotImplementedError, KeyError, UnicodeDecodeError) as fault:
        raise limits.SheetRefusedError("xlsx", "This is not a well-formed XLSX file.") from fault


def _check_archive(archive: zipfile.ZipFile) -> None:
    members = archive.infolist()
    names = {member.filename for member in members}
    if _unpacks_to_too_much(members):
        raise limits.SheetRefusedError("bomb", "This file unpacks to far more than a price list needs.")
    if any(member.flag_bits & 1 for member in members):
        raise limits.SheetRefusedError("encrypted", "This file is protected by a password; save it without.")
    if any(map(_is_macro_or_astray, names)):
        raise limits.SheetRefusedError("macros", "This file holds macros; save it as XLSX without.")
    if not {"[Content_Types].xml", "xl/workbook.xml"} <= names:
        raise limits.SheetRefusedError("xlsx", "This is not an XLSX file.")


def _unpacks_to_too_much(members: list[zipfile.ZipInfo]) -> bool:
    total = sum(member.file_size for member in members)
    packed = sum(member.compress_size for member in members) or 1
    return len(members) > MAX_MEMBERS or total > MAX_UNPACKED or (total > 1_000_000 and total / packed > MAX_RATIO)


def _is_macro_or_astray(name: str) -> bool:
    return "vba" in name.lower() or name.startswith(("/", "..")) or "../" in name


def _events(archive: zipfile.ZipFile, name: str) -> Iterator[tuple[str, Any]]:
    """Yield start and end of every element of a part; the caller clears elements that it has read."""
    parser: XMLPullParser[Any] = XMLPullParser(events=("start", "end"))
    depth = 0
    with archive.open(name) as part:
        chunk = part.read(_CHUNK)
        # a document type is declared before the first element; UTF-16 parts are nothing a spreadsheet writes
        if b"<!DOCTYPE" in chunk or chunk.startswith((b"\xff\xfe", b"\xfe\xff")):
            raise limits.SheetRefusedError("xlsx", "This file declares a document type, which no spreadsheet needs.")
        while chunk:
            parser.feed(chunk)
            for event, node in parser.read_events():  # type: ignore[misc]  # only these two kinds were asked for
                depth += 1 if event == "start" else -1
                if depth > MAX_DEPTH:
                    raise limits.SheetRefusedError("xlsx", "This file is nested deeper than a spreadsheet is.")
                yield str(event), node
            chunk = part.read(_CHUNK)
    parser.close()


def _first_sheet(archive: zipfile.ZipFile) -> str:
    wanted = next(
        (node.get(_LINK) for event, node in _events(archive, "xl/workbook.xml") if node.tag == f"{_MAIN}sheet"), None
    )
    for _, node in _events(archive, "xl/_rels/workbook.xml.rels"):
        if node.get("Id") == wanted and wanted is not None:
            target = str(node.get("Target", ""))
            return target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    raise limits.SheetRefusedError("xlsx", "This file has no sheet.")


def _strings(archive: zipfile.ZipFile) -> list[str]:
    if "xl/sharedStrings.xml" not in archive.namelist():
        return []
    found, root = list[str](), None
    for event, node in _events(archive, "xl/sharedStrings.xml"):
        root = node if root is None else root
        if event == "end" and node.tag == f"{_MAIN}si":
            if len(found) > limits.MAX_ROWS * limits.MAX_COLUMNS // 4:
                raise limits.SheetRefusedError("bomb", "This file holds more texts than a price list needs.")
            found.append(_text(node))
            root.clear()
    return found


def _text(node: Any) -> str:
    return "".join(part.text or "" for part in node.iter(f"{_MAIN}t"))


def _column(reference: str) -> int:
    """Column of a reference such as ``AB12``, counted from 0."""
    number = 0
    for letter in reference.rstrip("0123456789"):
        number = number * 26 + ord(letter.upper()) - 64
        if not letter.isascii() or not letter.isalpha() or number > limits.MAX_COLUMNS:
            raise limits.SheetRefusedError("columns", f"A file may have {limits.MAX_COLUMNS} columns.")
    return number - 1


def _sheet(archive: zipfile.ZipFile, name: str, strings: list[str]) -> Iterator[limits.SpreadsheetRow]:
    for count, (number, cells) in enumerate(_filled(archive, name, strings), 1):
        if count > limits.MAX_ROWS + 1:
            raise limits.SheetRefusedError("rows", f"A file may have {limits.MAX_ROWS} rows.", number)
        if any(cell.text.strip() or cell.formula for cell in cells.values()):
            yield limits.SpreadsheetRow(
                number, tuple(cells.get(place, limits.EMPTY) for place in range(max(cells) + 1))
            )


def _filled(
    archive: zipfile.ZipFile, name: str, strings: list[str]
) -> Iterator[tuple[int, dict[int, limits.SpreadsheetCell]]]:
    """Yield each row's number and its cells by column; a row's memory is freed before the next row."""
    cells: dict[int, limits.SpreadsheetCell] = {}
    number, sheet_data = 0, None
    for event, node in _events(archive, name):
        if node.tag == f"{_MAIN}sheetData":
            sheet_data = node
        elif node.tag == f"{_MAIN}c" and event == "end":
            _add_cell(cells, node, strings, number + 1)
            node.clear()
        elif node.tag == f"{_MAIN}row" and event == "end":
            number = int(node.get("r") or number + 1)
            yield number, cells
            cells = {}
            if sheet_data is not None:
                sheet_data.clear()


def _add_cell(cells: dict[int, limits.SpreadsheetCell], node: Any, strings: list[str], row: int) -> None:
    place = _column(node.get("r")) if node.get("r") else len(cells)
    if len(cells) >= limits.MAX_COLUMNS:
        raise limits.SheetRefusedError("columns", f"A file may have {limits.MAX_COLUMNS} columns.", row)
    cells[place] = _cell(node, strings, row)


def _cell(node: Any, strings: list[str], row: int) -> limits.SpreadsheetCell:
    kind, text = node.get("t", "n"), _cell_text(node, strings, row)
    if len(text) > limits.MAX_CELL:
        raise limits.SheetRefusedError("cell", f"A cell may have {limits.MAX_CELL} characters.", row)
    return limits.SpreadsheetCell(
        text, number=kind == "n" and bool(text), formula=node.find(f"{_MAIN}f") is not None or kind == "e"
    )


def _cell_text(node: Any, strings: list[str], row: int) -> str:
    value = node.find(f"{_MAIN}v")
    text = str(value.text or "") if value is not None else ""
    match node.get("t", "n"):
        case "s":
            return _shared(strings, text, row)
        case "inlineStr":
            return _text(node)
        case "b":
            return "yes" if text == "1" else "no"
        case _:
            return text


def _shared(strings: list[str], number: str, row: int) -> str:
    place = int(number) if number.isascii() and number.isdigit() else -1
    if not 0 <= place < len(strings):
        raise limits.SheetRefusedError("xlsx", "A cell names a text that is not there.", row)
    return strings[place]


def xlsx_bytes(table: Iterator[list[tuple[str, bool]]], sheet: str) -> bytes:
    """Return an XLSX file from cells of (text, whether it is a number): texts are texts, never formulas or links."""
    buffer = io.BytesIO()
    options = {
        "constant_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "in_memory": False,
    }
    book = xlsxwriter.Workbook(buffer, options)
    page = book.add_worksheet(sheet)
    page.freeze_panes(1, 0)
    for row, cells in enumerate(table):
        for column, (text, number) in enumerate(cells):
            if number and text:
                page.write_number(row, column, float(text))  # a spreadsheet's numbers are floats; 15 digits stay exact
            elif text:
                page.write_string(row, column, text)
    book.close()
    return buffer.getvalue()
