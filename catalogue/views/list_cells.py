"""Rows of the price lists as cells: names people read, with the code beside them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from catalogue import labels as labels_module
from catalogue import queries
from catalogue.views.record_form import MONEY, word
from shared.business.models import Business

SHOWN: Mapping[str, tuple[str, ...]] = {
    "components": ("name", "role", "finish", "length_mm", "sale_unit"),
    "supplier-prices": ("component", "supplier", "price", "minimum_quantity", "valid_from", "valid_to"),
    "price-rules": ("applies_to", "kind", "value", "option", "label", "valid_from", "valid_to"),
    "suppliers": ("name", "email", "phone", "preferred", "active"),
    "supplier-terms": ("supplier", "valid_from", "minimum_order", "lead_time_days"),
    "finishes": ("name", "drawing_colour", "active"),
}
HEADS = {"label": "Name", "applies_to": "For", "value": "Amount before tax, or percent"}
PERCENT = frozenset({"markup", "discount", "tax", "payment"})
NUMBERS = frozenset({"length_mm", "price", "minimum_quantity", "value", "minimum_order", "lead_time_days"})
_CODES = {("components", "name"): "sku", ("suppliers", "name"): "code", ("finishes", "name"): "code"}
"""The code that stands beside a row's name."""
_WORDS: Mapping[str, Callable[[str], str]] = {"role": labels_module.role_word, "sale_unit": labels_module.unit_word}
"""Members that hold a code of ours, and how it is called."""


@dataclass(frozen=True, slots=True)
class ListCell:
    """A cell of a list; ``code`` is shown small beside it. ``figure`` is formatted by the locale, with cents as ``money``."""

    head: str
    text: Any
    code: str = ""
    number: bool = False
    figure: Decimal | None = None
    money: bool = False
    unit: str = ""
    day: bool = False


Name = Callable[[Mapping[str, Any], Any], tuple[Any, str]]


def heads(name: str) -> list[tuple[str, bool]]:
    """Return the columns of a list, and which hold numbers."""
    return [(head_of(name, item), item in NUMBERS) for item in SHOWN[name]]


def has_money(name: str) -> bool:
    """Return whether a list shows amounts."""
    return not {"value", *MONEY}.isdisjoint(SHOWN[name])


def head_of(name: str, member: str) -> str:
    """Return the label of a column or field of a list."""
    return HEADS.get(member, word(member)) if name in ("components", "price-rules") else word(member)


def rows_of(name: str, rows: Iterable[Mapping[str, Any]], business: Business) -> list[dict[str, Any]]:
    """Each row with its cells. Names come with two queries more, whatever the number of rows."""
    rows = list(rows)
    names = _names(name, rows, business)
    return [{"ref": row["ref"], "cells": [_cell(name, item, row, names) for item in SHOWN[name]]} for row in rows]


def _names(name: str, rows: list[Mapping[str, Any]], business: Business) -> dict[str, Mapping[str, str]]:
    skus = {row["component"] for row in rows} if name == "supplier-prices" else set()
    labels = queries.components(business).filter(sku__in=skus).values_list("sku", "name") if skus else ()
    return {
        "component": dict(labels),
        "finish": labels_module.finish_words(business) if name == "components" else {},
        "supplier": labels_module.supplier_words(business) if name in ("supplier-prices", "supplier-terms") else {},
    }


def _cell(name: str, member: str, row: Mapping[str, Any], names: Mapping[str, Mapping[str, str]]) -> ListCell:
    value, head = row[member], head_of(name, member)
    if member in NUMBERS:
        return _number_cell(head, member, value, "%" if row.get("kind") in PERCENT else "")
    if isinstance(value, date):
        return ListCell(head, value, day=True)
    if member in names:
        return ListCell(head, names[member].get(value, value) or "", value or "")
    if name == "price-rules" and member in ("kind", "applies_to", "option"):
        return _rule_cell(head, member, row)
    if member in _WORDS:
        return ListCell(head, _WORDS[member](value), value)
    beside = _CODES.get((name, member), "")
    return _plain_cell(head, value, row.get(beside, ""))


def _plain_cell(head: str, value: Any, code: str) -> ListCell:
    if isinstance(value, bool):
        return ListCell(head, "yes" if value else "no")
    return ListCell(head, value or "", code)


def _number_cell(head: str, member: str, value: Any, unit: str) -> ListCell:
    if value is None or (member == "minimum_quantity" and not Decimal(value)):
        return ListCell(head, "", number=True)
    if member in ("length_mm", "lead_time_days"):
        return ListCell(head, str(value), number=True)
    return ListCell(head, str(value), number=True, figure=_trimmed(value), money=member in MONEY, unit=unit)


def _rule_cell(head: str, member: str, row: Mapping[str, Any]) -> ListCell:
    kind, value = row["kind"], row[member]
    if member == "kind":
        return ListCell(head, labels_module.KINDS.get(kind, kind))
    label = labels_module.key_word(kind, value) if member == "applies_to" else labels_module.choice_word(kind, value)
    return ListCell(head, label, value if label.casefold() != value.casefold() else "")


def _trimmed(value: Any) -> Decimal:
    """Return a number without trailing zeros.

    >>> _trimmed("37.3900"), _trimmed("15.000000"), _trimmed(2400)
    (Decimal('37.39'), Decimal('15'), Decimal('2400'))
    """
    exact = Decimal(str(value)).normalize()
    return exact.quantize(Decimal(1)) if exact == exact.to_integral_value() else exact
