"""Serializers of the catalogue's API: input that may be written."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from catalogue.models import Component, SupplierPrice, SupplierTerms
from catalogue.rules.codes import SALE_UNITS, sale_unit
from catalogue.rules.price_bands import MAX_BANDS, bands_fault
from catalogue.rules.price_rule_lines import RuleKind
from fencing.model.roles import ROLES
from shared.api.serializers import ExactField, StrictSerializer, TextField, defaults

_PAIR = {"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 2}


@extend_schema_field({"type": "array", "items": _PAIR, "maxItems": MAX_BANDS})
class _Bands(serializers.Field[list[list[str]], Any, Any, Any]):
    """[[from, amount], ...] of decimal strings."""

    def __init__(self, *, from_zero: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.from_zero = from_zero

    def to_internal_value(self, data: Any) -> list[list[str]]:
        fault = bands_fault(data, from_zero=self.from_zero)
        if fault:
            raise serializers.ValidationError(f"{fault} At most {MAX_BANDS}.", "bands")
        return [list(pair) for pair in data]


class _Whole(serializers.IntegerField):
    """A whole number, not a text that looks like one."""

    def to_internal_value(self, data: Any) -> int:
        if not isinstance(data, int) or isinstance(data, bool):
            raise serializers.ValidationError("Enter a whole number.", "whole")
        return super().to_internal_value(data)


class _Flag(serializers.BooleanField):
    """true or false."""

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            raise serializers.ValidationError("Enter true or false.", "flag")
        return data


class _SaleUnit(TextField):
    def to_internal_value(self, data: Any) -> str:
        code = sale_unit(super().to_internal_value(data))
        if code is None:
            text = f"A code of UN/ECE Recommendation 20: {', '.join(SALE_UNITS)}."
            raise serializers.ValidationError(text, "sale_unit")
        return code


def _text(length: int, *, needed: bool = False) -> TextField:
    return TextField(max_length=length) if needed else TextField(max_length=length, required=False, allow_blank=True)


def _mm() -> _Whole:
    return _Whole(min_value=1, max_value=30_000, required=False, allow_null=True)


class FinishIn(StrictSerializer):
    code = _text(40, needed=True)
    name = _text(80, needed=True)
    drawing_colour = _text(7)
    active = _Flag(required=False)


class ComponentIn(StrictSerializer):
    cleared = defaults(Component, "sale_unit", "pack_size")
    sku = _text(64, needed=True)
    name = _text(200, needed=True)
    role = serializers.ChoiceField(choices=list(ROLES))
    finish = TextField(max_length=40, required=False, allow_null=True)
    length_mm = _mm()
    width_mm = _mm()
    height_mm = _mm()
    sale_unit = _SaleUnit(max_length=3, required=False)
    pack_size = ExactField(places=3, least="0.001", most="1000000", required=False)
    gtin = _text(14)
    mass_kg = ExactField(places=3, most="100000", required=False, allow_null=True)
    bag_yield_m3 = ExactField(places=5, most="10", required=False, allow_null=True)
    account_code = _text(40)
    available_from = serializers.DateField(required=False, allow_null=True)
    available_to = serializers.DateField(required=False, allow_null=True)


class SupplierIn(StrictSerializer):
    code = _text(40, needed=True)
    name = _text(120, needed=True)
    email = TextField(max_length=254, required=False, allow_blank=True)
    phone = _text(40)
    address = _text(500)
    country = _text(2)
    gln = _text(13)
    registration_number = _text(60)
    tax_number = _text(60)
    customer_number = _text(60)
    preferred = _Flag(required=False)
    active = _Flag(required=False)


class TermsIn(StrictSerializer):
    cleared = defaults(SupplierTerms, "minimum_order", "delivery_fees", "lead_time_days")
    supplier = _text(40, needed=True)
    valid_from = serializers.DateField()
    minimum_order = ExactField(places=4, required=False)
    delivery_fees = _Bands(from_zero=True, required=False)
    lead_time_days = _Whole(min_value=0, max_value=365, required=False)


class _PriceBase(StrictSerializer):
    cleared = defaults(SupplierPrice, "price_breaks", "pack_size", "minimum_quantity")
    supplier_sku = _text(64)
    price = ExactField(places=4)
    price_breaks = _Bands(required=False)
    pack_size = ExactField(places=3, least="0.001", most="1000000", required=False)
    minimum_quantity = ExactField(places=3, most="1000000", required=False)
    lead_time_days = _Whole(min_value=0, max_value=365, required=False, allow_null=True)
    valid_from = serializers.DateField()
    valid_to = serializers.DateField(required=False, allow_null=True)


class SupplierPriceIn(_PriceBase):
    component = _text(64, needed=True)
    supplier = _text(40, needed=True)


class SupplierOwnPriceIn(_PriceBase):
    business = _text(32, needed=True)
    component = _text(64, needed=True)


class PriceRuleIn(StrictSerializer):
    kind = serializers.ChoiceField(choices=[kind.value for kind in RuleKind])
    applies_to = _text(80)
    value = ExactField(places=6, most="99999999", required=False, allow_null=True)
    option = _text(80)
    label = _text(200)  # type: ignore[assignment]  # a member of the body, not DRF's own
    valid_from = serializers.DateField()
    valid_to = serializers.DateField(required=False, allow_null=True)


class SystemChange(StrictSerializer):
    is_default = _Flag(required=False)
    active = _Flag(required=False)
