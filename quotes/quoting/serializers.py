"""Request bodies of the quote API."""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from catalogue.rules.price_rule_lines import Due
from fencing.model.measure import Form, Layout
from shared.api.serializers import ExactField, StrictSerializer, TextField

KEY = r"^[a-z0-9][a-z0-9_-]{0,39}\Z"


class KeyField(serializers.RegexField):
    """Short key of an entry, unique within its revision."""

    def __init__(self) -> None:
        super().__init__(KEY, max_length=40)

    def to_internal_value(self, data: object) -> str:
        if not isinstance(data, str):
            raise serializers.ValidationError("Use lower-case letters, digits, hyphens and underscores.", "key")
        return str(super().to_internal_value(data))


@extend_schema_field({"type": "object", "additionalProperties": {"type": "string"}, "example": {"owner": "1"}})
class SharesField(serializers.Field[dict[str, Fraction], object, object, object]):
    """Exact shares by party, such as {"owner": "1/2", "neighbour": "1/2"}; they add up to 1."""

    def to_internal_value(self, data: object) -> dict[str, Fraction]:
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
        return exact


# no exponent: writing out "1e99999999" takes minutes and gigabytes
_SHARE = re.compile(r"[0-9]{1,20}(?:/[0-9]{1,20}|(?:\.[0-9]{1,18})?%?)")


def _share(written: object) -> Fraction:
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


class PriceByHandIn(StrictSerializer):
    """A line priced by hand: ``net`` is its price before tax."""

    label = TextField(max_length=200)  # type: ignore[assignment]  # a field of the body, not DRF's attribute
    detail = TextField(max_length=1_000, required=False, allow_blank=True)
    net = ExactField(places=4, least="-100000000", most="100000000")
    cost = ExactField(places=4, most="100000000", required=False)
    tax_code = TextField(max_length=40, required=False)
    shares = SharesField(required=False)


class OptionIn(PriceByHandIn):
    """A line the customer may add: ``net`` is its price before tax."""

    key = KeyField()


class ExtraIn(PriceByHandIn):
    """A line priced by hand: ``net`` is its price before tax, negative for a credit.

    ``licensed_removal``: the kind of hazardous old fence that a licensed contractor removes for this price.
    """

    quantity = ExactField(places=3, required=False)
    unit = TextField(max_length=3, required=False)
    licensed_removal = TextField(max_length=80, required=False)


class AlternativeIn(StrictSerializer):
    """An alternative to the measured fence: its values replace those of every run of the measure."""

    key = KeyField()
    label = TextField(max_length=200)  # type: ignore[assignment]  # a field of the body, not DRF's attribute
    height_mm = serializers.IntegerField(min_value=1, max_value=10_000, required=False)
    lattice_mm = serializers.IntegerField(min_value=0, max_value=5_000, required=False)
    form = serializers.ChoiceField([form.value for form in Form], required=False)
    layout = serializers.ChoiceField([layout.value for layout in Layout], required=False)
    system = TextField(max_length=60, required=False)

    def validate(self, attrs: dict[str, object]) -> dict[str, object]:
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

    def validate(self, attrs: dict[str, object]) -> dict[str, object]:
        if "rule" in attrs and attrs.keys() != {"rule"}:
            raise serializers.ValidationError({"rule": "Name a discount of the price rules or enter one, not both."})
        if "rule" not in attrs and "label" not in attrs:
            raise serializers.ValidationError({"label": "Enter a name for the discount."})
        return attrs


class PaymentIn(StrictSerializer):
    key = KeyField()
    label = TextField(max_length=120)  # type: ignore[assignment]  # a field of the body, not DRF's attribute
    percent = ExactField(places=3, most="100")
    milestone = serializers.ChoiceField([due.value for due in Due])


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


class QuoteIn(StrictSerializer):
    job = TextField(max_length=32)
    measure = TextField(max_length=32)
    version = serializers.IntegerField(min_value=1, required=False)
    label = TextField(max_length=200, required=False)  # type: ignore[assignment]  # a field of the body
    setup = SetupIn(required=False)


class ReviseIn(StrictSerializer):
    measure = TextField(max_length=32, required=False)
    version = serializers.IntegerField(min_value=1, required=False)


class SetupChange(StrictSerializer):
    setup = SetupIn()
    measure = TextField(max_length=32, required=False)
    version = serializers.IntegerField(min_value=1, required=False)


class SendIn(StrictSerializer):
    override_reason = TextField(max_length=1_000, required=False, allow_blank=True)


class ReplyIn(StrictSerializer):
    text = TextField(max_length=4_000)


class ChoicesIn(StrictSerializer):
    build = TextField(max_length=40, required=False)
    options = serializers.ListField(child=TextField(max_length=40), max_length=40, required=False)


class AcceptIn(StrictSerializer):
    """Acceptance of a quote. ``content_sha256`` is the digest of the accepted document."""

    name = TextField(max_length=120)
    content_sha256 = serializers.RegexField(r"^[0-9a-f]{64}\Z")
    choices = ChoicesIn(required=False)


class DeclineIn(StrictSerializer):
    name = TextField(max_length=120)
    reason = TextField(max_length=2_000, required=False, allow_blank=True)


class AskIn(StrictSerializer):
    text = TextField(max_length=2_000)
