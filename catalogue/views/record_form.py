"""Forms of the catalogue's records. The API's bodies give their fields and validate their entries."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django import forms
from rest_framework import serializers

from catalogue import labels, queries
from catalogue.api.api_fields import columns, serialize_row
from catalogue.api.resources import Resource
from catalogue.rules.codes import SALE_UNITS
from catalogue.rules.price_bands import MAX_BANDS
from catalogue.rules.price_rule_lines import RuleKind
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.roles import ROLES
from shared.api.serializers import ExactField, validated_data
from shared.business.models import Business
from shared.common.figures import localize
from shared.common.money import minor_digits
from shared.common.typed_entries import LEVEL, read_length, read_percent
from shared.common.typed_numbers import shown_number, typed_number
from shared.web.forms import PageForm, PageTextField

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
    "pack_size": "Units in a pack; whole packs are ordered",
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


class RecordForm(PageForm):
    """Form of a record, with a field for each member of the API's body, which validates the entries.

    ``removes``: the record is removed, so its entries are not validated.
    """

    def __init__(self, resource: Resource, business: Business, *, removes: bool = False, **options: Any) -> None:
        members = sorted(resource.body().fields.items(), key=lambda item: item[0] not in FIRST)
        kind = (options.get("data") or {}).get("kind", "")
        fields = {name: _form_field(name, member, business, kind) for name, member in members}
        super().__init__(fields=fields, **options)
        self.resource, self.business, self.removes = resource, business, removes

    def body(self) -> dict[str, Any]:
        """Return the entries as an API body; empty fields are left out, or null if null is allowed."""
        body: dict[str, Any] = {}
        for name, member in self.resource.body().fields.items():
            value = self.cleaned_data[name]
            if value != "":
                body[name] = value
            elif name in BANDS:
                body[name] = []
            elif getattr(member, "allow_null", False):
                body[name] = None
            elif getattr(member, "allow_blank", False):
                body[name] = ""
        return body

    def clean(self) -> dict[str, Any]:
        """Return the values of the record."""
        if self.removes:
            return self.cleaned_data
        try:
            values = validated_data(self.resource.body, self.body())
            return self.resource.resolve(self.business, values)
        except InvalidDocument as refused:
            self.refuse(InvalidDocument(_in_words(fault) for fault in refused.faults))
        return self.cleaned_data


def stored_record(resource: Resource, business: Business, ref: str) -> dict[str, Any]:
    """Return the members of a stored record."""
    return serialize_row(resource.members, resource.rows(business).values(*columns(resource.members)).get(ref=ref))


def word(name: str) -> str:
    """Return the label of a field."""
    return WORDS.get(name, name.replace("_", " ").capitalize())


def choices_of(business: Business, name: str, *, needed: bool) -> tuple[tuple[str, str], ...]:
    """Return the choices of a field as names with codes; none if any text may be entered."""
    if name == "component":
        return tuple(queries.components(business).order_by("sku").values_list("sku", "name")[:MAX_PICKED])
    words = _SAME_FOR_ALL.get(name) or (_OWN[name](business) if name in _OWN else {})
    listed = tuple((code, f"{label} ({code})" if label != code else code) for code, label in words.items())
    return listed if needed or not listed else (("", "None" if name == "finish" else ""), *listed)


_SAME_FOR_ALL: Mapping[str, Mapping[str, str]] = {
    "role": {role: labels.role_word(role) for role in ROLES}, "sale_unit": SALE_UNITS, "kind": labels.KINDS,
}  # fmt: skip
_OWN: Mapping[str, Callable[[Business], Mapping[str, str]]] = {
    "finish": labels.finish_words, "supplier": labels.supplier_words,
}  # fmt: skip


def _form_field(name: str, member: Any, business: Business, kind: str) -> forms.Field:
    """Return the field of a member. ``kind`` is the kind of a price rule, whose amount may be a percentage."""
    hint = HINTS.get(name, "")
    if isinstance(member, serializers.BooleanField):
        return forms.BooleanField(label=word(name), help_text=hint, required=False, initial=name == "active")
    choices = choices_of(business, name, needed=member.required)
    longest = getattr(member, "max_length", None)
    options: dict[str, Any] = {"hint": hint, "choices": choices, "wide": name in WIDE, "longest": longest}
    if choices:
        return PageTextField(word(name), "pick" if name == "component" else "select", **options)
    if name in BANDS:
        return PageTextField(word(name), **{**options, "hint": localize(hint)}, read=_read_bands, show=_written_bands)
    if isinstance(member, ExactField):
        least = minor_digits(business.currency) if name in MONEY else 0
        read = read_percent if name == "value" and kind in PERCENTAGES else typed_number
        return PageTextField(word(name), "number", **options, read=read, show=lambda value: shown_number(value, least))
    if isinstance(member, serializers.IntegerField):
        return PageTextField(
            word(name), "number", **options, read=_read_length if name.endswith("_mm") else _read_whole
        )
    date = isinstance(member, serializers.DateField)
    return PageTextField(word(name), "date" if date else "text", **options)


def _read_length(text: str) -> int | str:
    return read_length(text, LEVEL)


def _read_whole(text: str) -> int | str:
    number = typed_number(text)
    return int(number) if number.isascii() and number.isdigit() and len(number) < 10 else text


def _read_bands(text: str) -> list[list[str]]:
    return [[typed_number(item) for item in pair.split(None, 1)] for pair in text.split(";") if pair.strip()]


def _written_bands(value: Any) -> str:
    """Return [[from, amount], ...] as entered text; other text is unchanged."""
    return value if isinstance(value, str) else "; ".join(localize(f"{start} {amount}") for start, amount in value)


def _in_words(fault: Fault) -> Fault:
    """Return an error in the words of the form, in which pairs are entered on one line."""
    if fault.pointer.removeprefix("/") in BANDS and "decimal strings" in fault.text:
        text = f"Write pairs as in the line below, semicolons between them: at most {MAX_BANDS}."
        return Fault(fault.pointer, fault.code, text)
    return fault
