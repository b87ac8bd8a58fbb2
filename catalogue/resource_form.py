"""A resource of the catalogue as a form: a box for each member that may be written, and what was typed as a body again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import QueryDict
from rest_framework import serializers

from catalogue.resources import Resource
from catalogue.rows import columns, told
from shared.boxes import Box, typed_number
from shared.business.models import Business
from shared.reading import ExactField, TextField

WORDS = {
    "sku": "Our number", "gtin": "GTIN", "gln": "GLN", "length_mm": "Length, mm", "width_mm": "Width, mm",
    "height_mm": "Height, mm", "mass_kg": "Mass, kg", "bag_yield_m3": "One bag makes, m³", "valid_from": "From",
    "valid_to": "To", "active_from": "Sold from", "active_to": "Sold to", "sale_unit": "Unit", "lead_days": "Days of lead",
    "supplier_sku": "Supplier's number", "least_quantity": "Least quantity", "least_order": "Least order",
    "email": "E-mail", "sample": "Colour for drawings", "breaks": "Price breaks", "delivery": "Delivery fees",
}  # fmt: skip
BANDS = ("breaks", "delivery")


def word(name: str) -> str:
    """A member's name as people read it."""
    return WORDS.get(name, name.replace("_", " ").capitalize())


def boxes(resource: Resource, values: Mapping[str, Any], faults: Mapping[str, str]) -> list[Box]:
    """The form's boxes, filled with ``values``."""
    return [_box(name, field, values, faults.get(f"/{name}", "")) for name, field in resource.body().fields.items()]


def _box(name: str, field: Any, values: Mapping[str, Any], fault: str) -> Box:
    value, kind, hint = values.get(name), "text", ""
    choices: tuple[tuple[str, str], ...] = ()
    if isinstance(field, serializers.ChoiceField):
        kind, choices = "select", tuple((str(key), str(key)) for key in field.choices)
    elif isinstance(field, serializers.BooleanField):
        kind, value = "check", "1" if (value if value is not None else name == "active") else ""
    elif isinstance(field, serializers.DateField):
        kind = "date"
    elif name in BANDS:
        value, hint = written_bands(value), "From a quantity or value, then the price: 10 4.50; 50 4.20"
    elif not isinstance(field, TextField):
        kind = "number"
    most = getattr(field, "max_length", 0) or 0
    return Box(name, word(name), "" if value is None else str(value), kind, fault, hint, choices, most)


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
