"""Setup of a draft: parties, options, alternatives, extras, discount, payments, texts."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from fencing.model.faults import Fault, InvalidDocument
from fencing.model.measure import Form, Layout
from shared.api.serializers import ExactField, StrictSerializer, TextField, validated_data

KEY = r"^[a-z0-9][a-z0-9_-]{0,39}\Z"
DUE = ("acceptance", "start", "posts_set", "completion")


class KeyField(serializers.RegexField):
    """Short key of an entry, unique within its revision."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(KEY, max_length=40, **kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise serializers.ValidationError("Use lower-case letters, digits, hyphens and underscores.", "key")
        return str(super().to_internal_value(data))


@extend_schema_field({"type": "object", "additionalProperties": {"type": "string"}, "example": {"owner": "1"}})
class SharesField(serializers.Field[dict[str, str], Any, dict[str, str], Any]):
    """Exact shares by party, such as {"owner": "1/2", "neighbour": "1/2"}; they add up to 1."""

    def to_internal_value(self, data: Any) -> dict[str, str]:
        if not isinstance(data, Mapping) or not 0 < len(data) <= 20:
            raise serializers.ValidationError('Enter shares by party, such as {"owner": "1"}.', "shares")
        try:
            exact = {str(key): _share(share) for key, share in data.items()}
        except (ValueError, ZeroDivisionError):
            raise serializers.ValidationError(
                'A share is a fraction, percentage or decimal as text: "1/2".', "share"
            ) from None
        if len(exact) != len(data) or sum(exact.values()) != 1:
            raise serializers.ValidationError("Shares are not negative and add up to exactly 1.", "shares.sum")
        return {key: str(share) for key, share in exact.items()}

    def to_representation(self, value: dict[str, str]) -> dict[str, str]:
        return value


# no exponent: writing out "1e99999999" takes minutes and gigabytes
_SHARE = re.compile(r"[0-9]{1,20}(?:/[0-9]{1,20}|(?:\.[0-9]{1,18})?%?)")


def _share(written: Any) -> Fraction:
    """Return a share from its text. Raise ValueError for other text and for a negative share."""
    text = "" if isinstance(written, bool) else str(written)
    if not _SHARE.fullmatch(text):
        raise ValueError(text[:40])
    return Fraction(text[:-1]) / 100 if text.endswith("%") else Fraction(text)


class PartyIn(StrictSerializer):
    key = KeyField()
    name = TextField(max_length=120)
    email = serializers.EmailField(required=False, allow_blank=True)
    address = TextField(max_length=500, required=False, allow_blank=True)
    must_accept = serializers.BooleanField(required=False)
    chooses_options = serializers.BooleanField(required=False)


class OptionIn(StrictSerializer):
    """A line the customer may add: ``net`` is its price before tax."""

    key = KeyField()
    label = TextField(max_length=200)  # type: ignore[assignment]  # a field of the body, not DRF's attribute
    detail = TextField(max_length=1_000, required=False, allow_blank=True)
    net = ExactField(places=4, least="-100000000", most="100000000")
    cost = ExactField(places=4, most="100000000", required=False)
    tax_code = TextField(max_length=40, required=False)
    shares = SharesField(required=False)


class ExtraIn(StrictSerializer):
    """A line priced by hand: ``net`` is its price before tax, negative for a credit.

    ``licensed_removal``: the kind of hazardous old fence that a licensed contractor removes for this price.
    """

    label = TextField(max_length=200)  # type: ignore[assignment]  # a field of the body, not DRF's attribute
    detail = TextField(max_length=1_000, required=False, allow_blank=True)
    quantity = ExactField(places=3, required=False)
    unit = TextField(max_length=3, required=False)
    net = ExactField(places=4, least="-100000000", most="100000000")
    cost = ExactField(places=4, most="100000000", required=False)
    tax_code = TextField(max_length=40, required=False)
    licensed_removal = TextField(max_length=80, required=False)
    shares = SharesField(required=False)


class AlternativeIn(StrictSerializer):
    """An alternative to the measured fence: its values replace those of every run of the measure."""

    key = KeyField()
    label = TextField(max_length=200)  # type: ignore[assignment]  # a field of the body, not DRF's attribute
    height_mm = serializers.IntegerField(min_value=1, max_value=10_000, required=False)
    lattice_mm = serializers.IntegerField(min_value=0, max_value=5_000, required=False)
    form = serializers.ChoiceField([form.value for form in Form], required=False)
    layout = serializers.ChoiceField([layout.value for layout in Layout], required=False)
    system = TextField(max_length=60, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["key"] == "base":
            raise serializers.ValidationError(
                {"key": "The key base is reserved for the fence as measured. Use another key."}
            )
        if not attrs.keys() - {"key", "label"}:
            raise serializers.ValidationError("Enter at least one difference: height, lattice, form, layout or system.")
        return attrs


class DiscountIn(StrictSerializer):
    """A discount of its own (label with percent, amount or both), or ``rule``: the key of one in the price rules, or "none".

    A quote without it gets the largest automatic discount of the price rules that applies.
    """

    rule = TextField(max_length=60, required=False)
    label = TextField(max_length=120, required=False)  # type: ignore[assignment]  # a field of the body, not DRF's attribute
    percent = ExactField(places=3, most="100", required=False)
    amount = ExactField(places=4, most="100000000", required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "rule" in attrs and attrs.keys() != {"rule"}:
            raise serializers.ValidationError({"rule": "Name a discount of the price rules or enter one, not both."})
        if "rule" not in attrs and "label" not in attrs:
            raise serializers.ValidationError({"label": "Enter a name for the discount."})
        return attrs


class PaymentIn(StrictSerializer):
    key = KeyField()
    label = TextField(max_length=120)  # type: ignore[assignment]  # a field of the body, not DRF's attribute
    percent = ExactField(places=3, most="100")
    milestone = serializers.ChoiceField(DUE)


class SiteConditionsIn(StrictSerializer):
    """Site conditions that decide which cautions are printed."""

    pool_runs = serializers.ListField(child=TextField(max_length=40), max_length=100, required=False)
    near_driveway = serializers.BooleanField(required=False)
    height_limit_mm = serializers.IntegerField(min_value=300, max_value=6_000, required=False)


class SetupIn(StrictSerializer):
    """The whole setup of a draft; a PUT replaces it."""

    parties = PartyIn(many=True, required=False)
    default_shares = SharesField(required=False)
    alternatives = AlternativeIn(many=True, required=False)
    options = OptionIn(many=True, required=False)
    extra_items = ExtraIn(many=True, required=False)
    discount = DiscountIn(required=False)
    payments = PaymentIn(many=True, required=False)
    site_visits = ExactField(places=2, most="1000", required=False)
    hire = serializers.DictField(child=ExactField(places=2, most="1000"), required=False)
    site_conditions = SiteConditionsIn(required=False)
    validity_days = serializers.IntegerField(min_value=1, max_value=366, required=False)
    supply_on = serializers.DateField(required=False)
    introduction = TextField(max_length=5_000, required=False, allow_blank=True)
    terms = TextField(max_length=20_000, required=False, allow_blank=True)


MAX = {"parties": 20, "alternatives": 6, "options": 40, "extra_items": 60, "payments": 12, "hire": 20}


def read_setup(body: Any) -> dict[str, Any]:
    """Return a draft's setup as plain values for storing. Raise InvalidDocument with every error."""
    return checked_setup(validated_data(SetupIn, body))


def checked_setup(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the setup from validated values, checked for errors between fields."""
    faults = [*_too_many(values), *_doubles(values), *_party_faults(values), *_payment_faults(values)]
    if faults:
        raise InvalidDocument(faults)
    kept: dict[str, Any] = _plain(values)
    return kept


def _too_many(values: Mapping[str, Any]) -> list[Fault]:
    return [
        Fault(f"/{name}", "too-many", f"Enter at most {most} entries.")
        for name, most in MAX.items()
        if len(values.get(name, ())) > most
    ]


def _doubles(values: Mapping[str, Any]) -> list[Fault]:
    faults = []
    for name in ("parties", "alternatives", "options", "payments"):
        seen = set[str]()
        for place, value in enumerate(values.get(name, ())):
            if value["key"] in seen:
                faults.append(Fault(f"/{name}/{place}/key", "key.twice", f"The key {value['key']!r} is used twice."))
            seen.add(value["key"])
    return faults


def _party_faults(values: Mapping[str, Any]) -> list[Fault]:
    parties = values.get("parties", [])
    faults = []
    if parties and sum(party.get("chooses_options", False) for party in parties) > 1:
        faults.append(Fault("/parties", "chooses_options.many", "At most one party chooses the options."))
    if parties and not any(party.get("must_accept", True) for party in parties):
        faults.append(Fault("/parties", "must_accept.none", "At least one party must accept."))
    faults += [
        Fault(
            f"/parties/{place}/must_accept",
            "chooses_options.optional",
            "The party that chooses the options must accept too.",
        )
        for place, party in enumerate(parties)
        if party.get("chooses_options") and not party.get("must_accept", True)
    ]
    known = {party["key"] for party in parties}
    named = [("/default_shares", values.get("default_shares"))]
    named += [
        (f"/options/{place}/shares", option.get("shares")) for place, option in enumerate(values.get("options", []))
    ]
    named += [
        (f"/extra_items/{place}/shares", extra.get("shares"))
        for place, extra in enumerate(values.get("extra_items", []))
    ]
    for pointer, shares in named if parties else ():
        faults += [
            Fault(
                f"{pointer}/{key}", "party.unknown", f"There is no party {key!r}. Use the key of a party of this quote."
            )
            for key in shares or ()
            if key not in known
        ]
    return faults


def _payment_faults(values: Mapping[str, Any]) -> list[Fault]:
    payments = values.get("payments", [])
    total = sum((payment["percent"] for payment in payments), Decimal(0))
    if payments and total != 100:
        return [Fault("/payments", "payments.sum", f"The payments add up to {total:f} %, not to 100 %.")]
    return []


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, Decimal):
        return format(value, "f")
    if value is None or isinstance(value, str | int | bool):
        return value
    return str(value)
