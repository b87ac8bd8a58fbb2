"""Columns of a sheet: how a cell becomes a value, and a value a cell."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models

from catalogue.rules.price_bands import format_bands, parsed
from catalogue.spreadsheets.limits import SpreadsheetCell

_DAY_0 = date(1899, 12, 30)  # day 0 of a spreadsheet's date numbers (common practice)
_TRUE_TEXT = 24


class Unreadable(ValueError):
    """A cell that cannot be read; the message states what is accepted."""


@dataclass(frozen=True, slots=True)
class SpreadsheetColumn:
    """``name`` in the header, ``attr`` of the row; ``number``: written as a number; ``by``: what it sorts by, if not that."""

    name: str
    attr: str
    read: Callable[[SpreadsheetCell, bool], Any]
    write: Callable[[Any], str]
    number: bool = False
    key: bool = False
    by: str = ""

    def value(self, cell: SpreadsheetCell, decimal_comma: bool) -> Any:
        """Return the value of a cell. Raise Unreadable for a formula or a value that the column does not accept."""
        if cell.formula:
            raise Unreadable("Formulas are not imported. Enter the value, or put ' before a text that begins like one.")
        return self.read(cell, decimal_comma)


def _field(model: type[models.Model], name: str) -> models.Field[Any, Any]:
    field = model._meta.get_field(name)
    if not isinstance(field, models.Field):
        raise TypeError(f"{model.__name__} has no column {name}")
    return field


def _checked(field: models.Field[Any, Any], value: Any) -> Any:
    try:
        field.run_validators(value)
    except ValidationError as fault:
        raise Unreadable(" ".join(fault.messages)) from None
    return value


def plain(text: str) -> str:
    """Return a text without outer spaces and without characters that cannot be printed."""
    if "\x00" in text:
        raise Unreadable("A text can't hold the character NUL.")
    return "".join(char for char in text.strip() if char.isprintable() or char == "\n")


def text_column(
    model: type[models.Model], name: str, *, key: bool = False, choices: bool = False, named: str = ""
) -> SpreadsheetColumn:
    """Return a column of texts of a model; ``named`` is the column if its name differs."""
    field = _field(model, name)
    known = {str(value) for value, _ in field.flatchoices} if choices else None

    def read(cell: SpreadsheetCell, decimal_comma: bool) -> str:
        value = plain(cell.text)
        _refuse_unfit(field, value)
        if known is not None and value not in known:
            raise Unreadable(f"Choose from: {', '.join(sorted(known))}.")
        return str(_checked(field, value)) if value else ""

    return SpreadsheetColumn(named or name, name, read, str, key=key)


def _refuse_unfit(field: models.Field[Any, Any], text: str) -> None:
    if not text and not field.blank:
        raise Unreadable("This must not be empty.")
    if field.max_length and len(text) > field.max_length:
        raise Unreadable(f"At most {field.max_length} characters.")


_TWO_WAYS = re.compile(r"[+-]?[1-9][0-9]{0,2}\.[0-9]{3}")


def _refuse_two_ways(text: str) -> None:
    """Reject an ambiguous number: with decimal commas, 1.234 may be 1234 or 1.234."""
    if _TWO_WAYS.fullmatch(text):
        either = f"{text.replace('.', '')} or {text.replace('.', ',')}0"
        raise Unreadable(
            f"{text} can be taken two ways in a file whose columns are not parted by commas; write {either}."
        )


def read_number(text: str, *, places: int, comma: bool) -> Decimal:
    """Read a number: digits, one decimal sign, no thousands separators."""
    if comma:
        _refuse_two_ways(text.strip())
    mark = "," if comma and "," in text else "."
    plain = text.strip().replace(mark, ".", 1)
    if not plain.isascii() or len(plain) > _TRUE_TEXT or not set(plain) <= set("+-.0123456789"):
        raise Unreadable("Enter a number such as 1234.50, without thousands separators or currency.")
    try:
        number = Decimal(plain)
    except InvalidOperation:
        raise Unreadable("Enter a number such as 1234.50.") from None
    return _at_most(places, number)


def _at_most(places: int, number: Decimal) -> Decimal:
    exponent = number.normalize().as_tuple().exponent
    if isinstance(exponent, int) and -exponent > places:
        raise Unreadable(f"At most {places} decimal places.")
    return number


def shown_number(value: Any) -> str:
    """Write a number without trailing zeros, so that a file reads back the same."""
    if value is None:
        return ""
    return f"{Decimal(value).normalize():f}" if isinstance(value, Decimal) else str(value)


def number_column(model: type[models.Model], name: str, *, least: Decimal | None = Decimal(0)) -> SpreadsheetColumn:
    """Return a column of numbers of a model; an empty cell is the default, or None if that is allowed."""
    field = _field(model, name)
    places, most = _room(field)

    def read(cell: SpreadsheetCell, decimal_comma: bool) -> Any:
        text = cell.text.strip()
        if not text:
            return _left_empty(field)
        number = from_float(text, places) if cell.number else read_number(text, places=places, comma=decimal_comma)
        if not number < most or (least is not None and number < least):
            raise Unreadable(f"Enter a number {'' if least is None else f'from {least} '}below {most:f}.")
        return _checked(field, number if places else int(number))

    return SpreadsheetColumn(name, name, read, shown_number, number=True)


def _room(field: models.Field[Any, Any]) -> tuple[int, Decimal]:
    """Decimal places of a number's column, and what the number must stay below."""
    if not isinstance(field, models.DecimalField):
        return 0, Decimal(2**31)
    places = field.decimal_places or 0
    return places, Decimal(10) ** ((field.max_digits or 10) - places)


def _left_empty(field: models.Field[Any, Any]) -> Any:
    if not field.null and not field.has_default():
        raise Unreadable("This must not be empty.")
    return None if field.null else field.get_default()


def from_float(text: str, places: int) -> Decimal:
    """Return the decimal that a spreadsheet's float stands for: 0.1 + 0.2 is stored as 0.30000000000000004."""
    try:
        number = Decimal(text)
    except InvalidOperation:
        raise Unreadable("Enter a number.") from None
    if not number.is_finite() or abs(number) >= Decimal(10) ** 15:
        raise Unreadable("Enter a number of at most 15 digits.")
    return _at_most(places, Decimal(repr(float(f"{number:.15g}"))))


_FLAGS = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}


def flag_column(model: type[models.Model], name: str) -> SpreadsheetColumn:
    """yes or no; empty is the column's default."""
    field = _field(model, name)

    def read(cell: SpreadsheetCell, decimal_comma: bool) -> bool:
        text = cell.text.strip().lower()
        if text and text not in _FLAGS:
            raise Unreadable("Enter yes or no.")
        return _FLAGS[text] if text else bool(field.get_default())

    return SpreadsheetColumn(name, name, read, lambda value: "yes" if value else "no")


def date_column(name: str, *, needed: bool = False, key: bool = False) -> SpreadsheetColumn:
    """Return a column of dates: YYYY-MM-DD, or a spreadsheet's date."""

    def read(cell: SpreadsheetCell, decimal_comma: bool) -> date | None:
        text = cell.text.strip()
        if not text and not needed:
            return None
        try:
            return _day(float(text)) if cell.number else date.fromisoformat(text)
        except (ValueError, OverflowError):
            raise Unreadable("Enter a date such as 2026-07-01.") from None

    return SpreadsheetColumn(name, name, read, lambda value: "" if value is None else value.isoformat(), key=key)


def _day(serial: float) -> date:
    if serial != int(serial) or not 1 <= serial < 2958466:  # the year 9999
        raise ValueError
    return _DAY_0 + timedelta(days=int(serial))


def bands_column(name: str, check: Callable[[Any], str | None]) -> SpreadsheetColumn:
    """Bands on one line: ``10:4.50 50:4.10``."""

    def read(cell: SpreadsheetCell, decimal_comma: bool) -> list[list[str]]:
        for part in re.split(r"[\s:]+", cell.text) if decimal_comma else ():
            _refuse_two_ways(part)
        value = parsed(cell.text.replace(",", ".") if decimal_comma else cell.text)
        if value is None:
            raise Unreadable("Enter pairs such as 10:4.50 50:4.10.")
        fault = check(value)
        if fault:
            raise Unreadable(fault)
        return value

    return SpreadsheetColumn(name, name, read, format_bands)


def code_column(
    name: str, attr: str, ids: Mapping[str, int], *, needed: bool, what: str, key: str = ""
) -> SpreadsheetColumn:
    """Return a column of codes of the business's records, read as ids; ``key`` is the code's path if it identifies rows."""
    codes = {pk: code for code, pk in ids.items()}

    def read(cell: SpreadsheetCell, decimal_comma: bool) -> int | None:
        text = plain(cell.text)
        if not text and not needed:
            return None
        if text not in ids:
            raise Unreadable(f"There is no {what} {text[:80]!r}.")
        return ids[text]

    return SpreadsheetColumn(
        name, attr, read, lambda value: "" if value is None else codes[value], key=bool(key), by=key
    )
