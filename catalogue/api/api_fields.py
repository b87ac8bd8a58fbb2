"""Rows of the catalogue as the API tells them, and the schemas that say so."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from catalogue.rules.price_rule_lines import is_money
from shared.api.row_serializer import Money, MoneyPlaces, RowSerializer
from shared.common.money import minor_digits

_TEXT = {"type": "string"}
_MAYBE_TEXT = {"type": ["string", "null"]}
_WHOLE = {"type": "integer"}
_MAYBE_WHOLE = {"type": ["integer", "null"]}
_FLAG = {"type": "boolean"}
_DAY = {"type": "string", "format": "date"}
_MAYBE_DAY = {"type": ["string", "null"], "format": "date"}
_AMOUNT = {"type": "string", "pattern": r"^-?\d+(\.\d+)?$"}
_MAYBE_AMOUNT = {"type": ["string", "null"]}
_BANDS = {"type": "array", "items": {"type": "array", "items": _AMOUNT, "minItems": 2, "maxItems": 2}}

# member of the answer: (column of the row, its schema)
Members = Mapping[str, tuple[str, dict[str, Any]]]

FINISH: Members = {
    "ref": ("ref", _TEXT),
    "code": ("code", _TEXT),
    "name": ("name", _TEXT),
    "drawing_colour": ("drawing_colour", _TEXT),
    "active": ("active", _FLAG),
}
COMPONENT: Members = {
    "ref": ("ref", _TEXT),
    "sku": ("sku", _TEXT),
    "name": ("name", _TEXT),
    "role": ("role", _TEXT),
    "finish": ("finish__code", _MAYBE_TEXT),
    "length_mm": ("length_mm", _MAYBE_WHOLE),
    "width_mm": ("width_mm", _MAYBE_WHOLE),
    "height_mm": ("height_mm", _MAYBE_WHOLE),
    "sale_unit": ("sale_unit", _TEXT),
    "pack_size": ("pack_size", _AMOUNT),
    "gtin": ("gtin", _TEXT),
    "mass_kg": ("mass_kg", _MAYBE_AMOUNT),
    "bag_yield_m3": ("bag_yield_m3", _MAYBE_AMOUNT),
    "account_code": ("account_code", _TEXT),
    "available_from": ("available_from", _MAYBE_DAY),
    "available_to": ("available_to", _MAYBE_DAY),
}
SUPPLIER: Members = {
    "ref": ("ref", _TEXT),
    **{
        name: (name, _TEXT)
        for name in (
            "code", "name", "email", "phone", "address", "country", "gln", "registration_number", "tax_number",
            "customer_number",
        )
    },
    "preferred": ("preferred", _FLAG),
    "active": ("active", _FLAG),
}  # fmt: skip
TERMS: Members = {
    "ref": ("ref", _TEXT),
    "supplier": ("supplier__code", _TEXT),
    "valid_from": ("valid_from", _DAY),
    "minimum_order": ("minimum_order", _AMOUNT),
    "delivery_fees": ("delivery_fees", _BANDS),
    "lead_time_days": ("lead_time_days", _WHOLE),
}
_PRICED: Members = {
    "supplier_sku": ("supplier_sku", _TEXT),
    "price": ("price", _AMOUNT),
    "price_breaks": ("price_breaks", _BANDS),
    "pack_size": ("pack_size", _AMOUNT),
    "minimum_quantity": ("minimum_quantity", _AMOUNT),
    "lead_time_days": ("lead_time_days", _MAYBE_WHOLE),
    "valid_from": ("valid_from", _DAY),
    "valid_to": ("valid_to", _MAYBE_DAY),
}
SUPPLIER_PRICE: Members = {
    "ref": ("ref", _TEXT),
    "component": ("component__sku", _TEXT),
    "supplier": ("supplier__code", _TEXT),
    **_PRICED,
}
SUPPLIER_OWN_PRICE: Members = {
    "ref": ("ref", _TEXT),
    "business": ("business__ref", _TEXT),
    "component": ("component__sku", _TEXT),
    "name": ("component__name", _TEXT),
    **_PRICED,
}
PRICE_RULE: Members = {
    "ref": ("ref", _TEXT),
    "kind": ("kind", _TEXT),
    "applies_to": ("applies_to", _TEXT),
    "value": ("value", _MAYBE_AMOUNT),
    "option": ("option", _TEXT),
    "label": ("label", _TEXT),
    "valid_from": ("valid_from", _DAY),
    "valid_to": ("valid_to", _MAYBE_DAY),
}
SYSTEM: Members = {
    "ref": ("ref", _TEXT),
    "code": ("code", _TEXT),
    "label": ("label", _TEXT),
    "is_default": ("is_default", _FLAG),
    "active": ("active", _FLAG),
    "latest_version": ("latest_version", _WHOLE),
}
IMPORT: Members = {
    "ref": ("ref", _TEXT),
    "kind": ("kind", _TEXT),
    "status": ("state", _TEXT),
    "file_name": ("file_name", _TEXT),
    "requested_by": ("requested_by", _TEXT),
    "rows_total": ("rows_total", _MAYBE_WHOLE),
    "rows_done": ("rows_done", _WHOLE),
    "created_at": ("created_at", {"type": "string", "format": "date-time"}),
    "finished_at": ("finished_at", {"type": ["string", "null"], "format": "date-time"}),
}


def columns(members: Members) -> tuple[str, ...]:
    """Return the columns for ``values()``; the id is for the cursor."""
    return ("id", *(column for column, _ in members.values()))


def shape(members: Members) -> dict[str, Any]:
    """Return the JSON Schema of one row."""
    return {
        "type": "object",
        "required": list(members),
        "properties": {name: schema for name, (_, schema) in members.items()},
    }


def serialize_row(members: Members, row: Mapping[str, Any]) -> dict[str, Any]:
    """One row of ``values()`` as it is answered."""
    return {name: row[column] for name, (column, _) in members.items()}


def row_serializer(members: Members) -> RowSerializer:
    """Return the serializer of a list; it is made once, because it is the same for every request."""
    data = {name: Money(column) if name in _MONEY else column for name, (column, _) in members.items()}
    places = _RULES if members is PRICE_RULE else _PRICES if _MONEY & members.keys() else None
    return RowSerializer(data, places)


def _rule_digits(currency: str, kind: str, key: str) -> int:
    return minor_digits(currency) if is_money(kind, key) else 0


_MONEY = {"price", "minimum_order", "value"}
_PRICES, _RULES = (
    MoneyPlaces(("business__currency",)),
    MoneyPlaces(("business__currency", "kind", "applies_to"), _rule_digits),
)


REPORT_SCHEMA: dict[str, Any] = {
    "type": "object",
    "properties": {
        "kind": _TEXT,
        **dict.fromkeys(("rows", "added", "changed", "unchanged", "rejected"), _WHOLE),
        "errors": {
            "type": "array",
            "items": {"type": "object", "properties": {"row": _WHOLE, "column": _TEXT, "reason": _TEXT}},
        },
        "changed_rows": {"type": "array", "items": {"type": "object"}},
        "added_rows": {"type": "array", "items": {"type": "object"}},
        "open_quotes": {"type": "array", "items": {"type": "object"}},
    },
}
IMPORT_SCHEMA: dict[str, Any] = {
    **shape(IMPORT),
    "properties": {**shape(IMPORT)["properties"], "report": REPORT_SCHEMA},
}
COMPLETENESS_SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["system", "is_complete", "missing_items"],
    "properties": {
        "system": _MAYBE_TEXT,
        "is_complete": _FLAG,
        "missing_items": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {"code": _TEXT, "role": _TEXT, "finish": _MAYBE_TEXT, "text": _TEXT},
            },
        },
    },
}
SYSTEM_FULL_SCHEMA: dict[str, Any] = {
    **shape(SYSTEM),
    "properties": {**shape(SYSTEM)["properties"], "version": _WHOLE, "sha256": _TEXT, "document": {"type": "object"}},
}
