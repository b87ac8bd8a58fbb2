"""A resource of the catalogue as a form: a box for each member that may be written, and what was typed as a body again."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.http import QueryDict
from rest_framework import serializers

from catalogue import labels, queries
from catalogue.api.api_fields import columns, serialize_row
from catalogue.api.resources import Resource
from catalogue.rules.codes import SALE_UNITS
from catalogue.rules.price_bands import MAX_BANDS
from catalogue.rules.price_rules import RuleKind
from fencing.model.roles import ROLES
from shared.api.serializers import ExactField, TextField
from shared.business.models import Business
from shared.common.figures import localize
from shared.common.form_fields import FormField, shown_number, typed_number
from shared.common.typed_lengths import LEVEL, read_length
from shared.common.typed_shares import read_percent

WORDS = {
    "gtin": "GTIN", "gln": "GLN", "length_mm": "Length, mm", "width_mm": "Width, mm",
    "height_mm": "Height, mm", "mass_kg": "Mass, kg", "bag_yield_m3": "Yield of one bag, m³", "valid_from": "From",
    "valid_to": "To", "available_from": "Available from", "available_to": "Available to", "sale_unit": "Unit",
    "supplier_sku": "Supplier's number", "minimum_quantity": "Minimum quantity", "price": "Price before tax",
    "minimum_order": "Minimum order before tax",
    "email": "E-mail", "drawing_colour": "Colour for drawings", "price_breaks": "Price breaks",
    "delivery_fees": "Delivery fees", "applies_to": "Applies to", "option": "Setting",
    "value": "Amount, % or factor", "label": "Name", "sku": "Our number",
    "lead_time_days": "Lead time (days)", "country": "Country, two letters", "account_code": "Account",
}  # fmt: skip
HINTS = {
    "price_breaks": "From a quantity, then the price: 10 4.50; 50 4.20",
    "delivery_fees": "From a value of the order, then the fee: 0 45; 800 0",
    "drawing_colour": "As #445566",
    "pack_size": "Pack size",
    "applies_to": "A code: dig.clay, dig_deeper.clay, erect.1800; diameter.300, bulking; sheet or materials for a markup; "
    "a tax code",
    "option": "Markup: markup or margin. Discount: picked, returning or shared. Tax: S, Z or E. Tax code, account: its code. "
    "Digging: the depth the rate includes, mm. Removal: hazardous for a licensed contractor",
    "minimum_quantity": "Smallest quantity sold",
    "bag_yield_m3": "Concrete in bags only",
    "length_mm": "Of stock that is cut; empty where sold by the metre",
}
BANDS = ("price_breaks", "delivery_fees")
MONEY = frozenset({"price", "minimum_order"})
WIDE = frozenset({"label", "component", "supplier", "address", "name"})
FIRST = frozenset({"component", "supplier"})
MAX_PICKED = 300
PERCENTAGES = frozenset({RuleKind.MARKUP, RuleKind.DISCOUNT, RuleKind.TAX, RuleKind.PAYMENT})
"""Kinds of price rules whose amount is a percentage."""
_SAME_FOR_ALL: Mapping[str, Mapping[str, str]] = {
    "role": {role: labels.role_word(role) for role in ROLES}, "sale_unit": SALE_UNITS, "kind": labels.KINDS,
}  # fmt: skip
_OWN: Mapping[str, Callable[[Business], Mapping[str, str]]] = {
    "finish": labels.finish_words, "supplier": labels.supplier_words,
}  # fmt: skip


def word(name: str) -> str:
    """Return the label of a field."""
    return WORDS.get(name, name.replace("_", " ").capitalize())


def boxes(
    resource: Resource, values: Mapping[str, Any], faults: Mapping[str, str], business: Business | None = None
) -> list[FormField]:
    """Return the form's fields with ``values``; finishes, suppliers and components to choose are the business's."""
    fields = sorted(resource.body().fields.items(), key=lambda item: item[0] not in FIRST)
    return [
        _box(name, field, values, faults.get(f"/{name}", ""), choices_of(business, name, needed=field.required))
        for name, field in fields
    ]


def choices_of(business: Business | None, name: str, *, needed: bool) -> tuple[tuple[str, str], ...]:
    """Return the choices of a field as names with codes; none if any text may be entered."""
    if name == "component":
        rows = queries.components(business).order_by("sku") if business else None
        return () if rows is None else tuple(rows.values_list("sku", "name")[:MAX_PICKED])
    words = _words(business, name)
    listed = tuple((code, f"{label} ({code})" if label != code else code) for code, label in words.items())
    return listed if needed or not listed else (("", "None" if name == "finish" else ""), *listed)


def _words(business: Business | None, name: str) -> Mapping[str, str]:
    """Return the names of all choices of a field by code; empty if it has no choices."""
    if name in _SAME_FOR_ALL:
        return _SAME_FOR_ALL[name]
    return _OWN[name](business) if business and name in _OWN else {}


def _box(
    name: str, field: Any, values: Mapping[str, Any], fault: str, choices: tuple[tuple[str, str], ...]
) -> FormField:
    value = values.get(name)
    if choices:
        kind = "pick" if name == "component" else "select"
        if kind == "select" and value and value not in dict(choices):
            choices = (*choices, (str(value), str(value)))
    else:
        kind, value = _field_type(name, field, value)
    most = getattr(field, "max_length", 0) or 0
    text, hint = "" if value is None else str(value), HINTS.get(name, "")
    return FormField(
        name, word(name), text, kind, _on_page(name, fault), localize(hint) if name in BANDS else hint, choices, most,
        wide=name in WIDE,
    )  # fmt: skip


def _on_page(name: str, fault: str) -> str:
    """Return a fault in the words of the form, in which pairs are entered on one line."""
    if name in BANDS and "decimal strings" in fault:
        return f"Write pairs as in the line below, semicolons between them: at most {MAX_BANDS}."
    return fault


def _field_type(name: str, field: Any, value: Any) -> tuple[str, Any]:
    """Return the input type of a field, and its value."""
    if isinstance(field, serializers.BooleanField):
        ticked = name == "active" if value is None else value
        return "check", "1" if ticked else ""
    if isinstance(field, serializers.DateField):
        return "date", value
    if name in BANDS:
        return "text", written_bands(value)
    return "text" if isinstance(field, TextField) else "number", value


def written_bands(value: Any) -> str:
    """Return [[from, amount], ...] as entered text; other text is unchanged."""
    if isinstance(value, str):
        return value
    return "; ".join(localize(f"{start} {amount}") for start, amount in value or ())


def stored_record(resource: Resource, business: Business, ref: str) -> dict[str, Any]:
    """Return a stored row's members."""
    return serialize_row(resource.members, resource.rows(business).values(*columns(resource.members)).get(ref=ref))


def as_typed(resource: Resource, row: Mapping[str, Any], digits: int) -> dict[str, Any]:
    """Return the fields of a record as entered text; ``digits`` are those of the business's currency."""
    exact = {name for name, field in resource.body().fields.items() if isinstance(field, ExactField)}
    return {
        name: shown_number(value, digits if name in MONEY else 0) if name in exact else value
        for name, value in row.items()
    }


def read_typed(resource: Resource, posted: QueryDict) -> dict[str, Any]:
    """Return the entries as an API body; empty fields are left out, or null if null is allowed."""
    body: dict[str, Any] = {}
    for name, field in resource.body().fields.items():
        text = posted.get(name, "").strip().replace("\r\n", "\n")
        if isinstance(field, serializers.BooleanField):
            body[name] = bool(text)
        elif name in BANDS:
            body[name] = [
                [typed_number(item) for item in pair.split(None, 1)] for pair in text.split(";") if pair.strip()
            ]
        elif text:
            body[name] = _value(name, field, text, percent=posted.get("kind", "") in PERCENTAGES)
        elif getattr(field, "allow_null", False):
            body[name] = None
        elif getattr(field, "allow_blank", False):
            body[name] = ""
    return body


def _value(name: str, field: Any, text: str, *, percent: bool) -> Any:
    if isinstance(field, ExactField):
        return read_percent(text) if percent and name == "value" else typed_number(text)
    if name.endswith("_mm"):
        return read_length(text, LEVEL)
    if isinstance(field, serializers.IntegerField):
        number = typed_number(text)
        return int(number) if number.isascii() and number.isdigit() and len(number) < 10 else text
    return text
