"""A resource of the catalogue as a form: a box for each member that may be written, and what was typed as a body again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import QueryDict
from rest_framework import serializers

from catalogue import naming, queries
from catalogue.codes import SALE_UNITS, Role
from catalogue.resources import Resource
from catalogue.rows import columns, told
from shared.boxes import Box, typed_number
from shared.business.models import Business
from shared.reading import ExactField, TextField

WORDS = {
    "gtin": "GTIN", "gln": "GLN", "length_mm": "Length, mm", "width_mm": "Width, mm",
    "height_mm": "Height, mm", "mass_kg": "Mass, kg", "bag_yield_m3": "One bag makes, m³", "valid_from": "From",
    "valid_to": "To", "active_from": "Sold from", "active_to": "Sold to", "sale_unit": "Unit",
    "supplier_sku": "Supplier's number", "least_quantity": "Least quantity", "least_order": "Least order",
    "email": "E-mail", "sample": "Colour for drawings", "breaks": "Price breaks", "delivery": "Delivery fees",
    "key": "For", "choice": "How or which", "amount": "Amount or %", "label": "Name", "sku": "Our number",
    "lead_days": "Days to deliver", "country": "Country, two letters", "account_code": "Account",
}  # fmt: skip
HINTS = {
    "breaks": "From a quantity, then the price: 10 4.50; 50 4.20",
    "delivery": "From a value of the order, then the fee: 0 45; 800 0",
    "sample": "As #445566",
    "pack": "Sold in whole packs of so many",
    "key": "A code: dig, dig.clay, erect.1800; sheet or materials for a markup; the tax code for a rate",
    "choice": "Markup: markup or margin. Tax: S, Z or E. Which tax, account: its code",
    "least_quantity": "Fewer are not sold",
    "bag_yield_m3": "Concrete in bags only",
    "length_mm": "Of stock that is cut; empty where sold by the metre",
}
BANDS = ("breaks", "delivery")
WIDE = frozenset({"label", "component", "supplier", "address", "name"})
FIRST = frozenset({"component", "supplier"})
MOST_PICKED = 300


def word(name: str) -> str:
    """A member's name as people read it."""
    return WORDS.get(name, name.replace("_", " ").capitalize())


def boxes(
    resource: Resource, values: Mapping[str, Any], faults: Mapping[str, str], business: Business | None = None
) -> list[Box]:
    """The form's boxes, filled with ``values``; finishes, suppliers and components to choose from are the business's."""
    fields = sorted(resource.body().fields.items(), key=lambda one: one[0] not in FIRST)
    return [
        _box(name, field, values, faults.get(f"/{name}", ""), choices_of(business, name, needed=field.required))
        for name, field in fields
    ]


def choices_of(business: Business | None, name: str, *, needed: bool) -> tuple[tuple[str, str], ...]:
    """What a member may be, by its name with the code beside it; nothing where anything may be typed."""
    found: Mapping[str, str] = {}
    if name == "role":
        found = {role.value: naming.role_word(role) for role in Role}
    elif name == "sale_unit":
        found = SALE_UNITS
    elif name == "kind":
        found = naming.KINDS
    elif name == "finish" and business:
        found = naming.finish_words(business)
    elif name == "supplier" and business:
        found = naming.supplier_words(business)
    elif name == "component" and business:
        return tuple(queries.components(business).order_by("sku").values_list("sku", "label")[:MOST_PICKED])
    listed = tuple((code, f"{words} ({code})" if words != code else code) for code, words in found.items())
    return listed if needed or not listed else (("", "None" if name == "finish" else ""), *listed)


def _box(name: str, field: Any, values: Mapping[str, Any], fault: str, choices: tuple[tuple[str, str], ...]) -> Box:
    value, kind = values.get(name), "text"
    if choices:
        kind = "pick" if name == "component" else "select"
        if kind == "select" and value and value not in dict(choices):
            choices = (*choices, (str(value), str(value)))
    elif isinstance(field, serializers.BooleanField):
        kind, value = "check", "1" if (value if value is not None else name == "active") else ""
    elif isinstance(field, serializers.DateField):
        kind = "date"
    elif name in BANDS:
        value = written_bands(value)
    elif not isinstance(field, TextField):
        kind = "number"
    most = getattr(field, "max_length", 0) or 0
    text = "" if value is None else str(value)
    return Box(name, word(name), text, kind, fault, HINTS.get(name, ""), choices, most, wide=name in WIDE)


def written_bands(value: Any) -> str:
    """[[from, amount], ...] as it is typed; text as it was typed."""
    return value if isinstance(value, str) else "; ".join(f"{start} {amount}" for start, amount in value or ())


def stored(resource: Resource, business: Business, ref: str) -> dict[str, Any]:
    """A stored row's members."""
    return told(resource.members, resource.rows(business).values(*columns(resource.members)).get(ref=ref))


def read_typed(resource: Resource, posted: QueryDict) -> dict[str, Any]:
    """What was typed as the body the API would be sent; empty boxes are left out or are null where null may be."""
    body: dict[str, Any] = {}
    for name, field in resource.body().fields.items():
        text = posted.get(name, "").strip().replace("\r\n", "\n")
        if isinstance(field, serializers.BooleanField):
            body[name] = bool(text)
        elif name in BANDS:
            body[name] = [pair.split(None, 1) for pair in text.split(";") if pair.strip()]
        elif text:
            body[name] = _value(field, text)
        elif getattr(field, "allow_null", False):
            body[name] = None
        elif getattr(field, "allow_blank", False):
            body[name] = ""
    return body


def _value(field: Any, text: str) -> Any:
    if isinstance(field, ExactField):
        return typed_number(text)
    if isinstance(field, serializers.IntegerField):
        number = typed_number(text)
        return int(number) if number.isascii() and number.isdigit() and len(number) < 10 else text
    return text
