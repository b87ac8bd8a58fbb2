"""Request bodies of orders and stock, for the business and the supplier."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from quotes.purchasing.deliveries import ReceiptData, ReceivedLine
from quotes.purchasing.models import ReservationState
from shared.api.serializers import ExactField, StrictSerializer, TextField

MAX_LINES = 500
MAX_JOBS = 20
_MAX = "1000000"
MIN = "0.001"


def quantity_field(least: str = MIN, **options: Any) -> ExactField:
    """Return the field of a quantity."""
    return ExactField(places=3, least=least, most=_MAX, **options)


def price_field(**options: Any) -> ExactField:
    """Return the field of a price."""
    return ExactField(places=4, least="0", most=_MAX, **options)


class AddressIn(StrictSerializer):
    address = TextField(max_length=500, required=False, allow_blank=True)
    city = TextField(max_length=120, required=False, allow_blank=True)
    postcode = TextField(max_length=20, required=False, allow_blank=True)
    country = serializers.RegexField(r"^([A-Z]{2})?\Z", required=False, allow_blank=True)


class AddressChange(AddressIn):
    """Change of an address. Fields that are left out stay."""


class OrderLineIn(StrictSerializer):
    """``price`` is for one sale unit. Default: the supplier's price today."""

    component = TextField(max_length=64)
    quantity = quantity_field()
    price = price_field(required=False)
    length_mm = serializers.IntegerField(min_value=1, max_value=100_000, required=False)


class OrderChange(StrictSerializer):
    merges = True
    cleared = {"deliver_to": dict}
    lines: serializers.ListSerializer[Any] = serializers.ListSerializer(
        child=OrderLineIn(), required=False, min_length=1, max_length=MAX_LINES
    )
    note = TextField(max_length=2_000, required=False, allow_blank=True)
    deliver_to = AddressChange(required=False)
    deliver_from = serializers.DateField(required=False, allow_null=True)
    deliver_by = serializers.DateField(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        begin, end = attrs.get("deliver_from"), attrs.get("deliver_by")
        if begin and end and end < begin:
            raise serializers.ValidationError({"deliver_by": "Enter a date that is not before deliver_from."})
        return attrs


class OrderIn(OrderChange):
    """``supplier`` is a code; ``job`` is the ref of the job the goods are for."""

    merges = False
    supplier = TextField(max_length=40)
    job = TextField(max_length=32, required=False)
    deliver_to = AddressIn(required=False)  # type: ignore[assignment]  # as nullable as any other text of a new thing
    lines: serializers.ListSerializer[Any] = serializers.ListSerializer(
        child=OrderLineIn(), min_length=1, max_length=MAX_LINES
    )


class OrdersForJobsIn(StrictSerializer):
    """``jobs`` by ref; ``supplier`` (code) takes everything from one; ``allow_reorder`` orders again for a job with orders."""

    jobs = serializers.ListField(child=TextField(max_length=32), min_length=1, max_length=MAX_JOBS)
    supplier = TextField(max_length=40, required=False)
    max_suppliers = serializers.IntegerField(min_value=1, max_value=20, required=False)
    deliver_by = serializers.DateField(required=False)
    allow_reorder = serializers.BooleanField(required=False)


class OrderPlanIn(StrictSerializer):
    jobs = serializers.ListField(child=TextField(max_length=32), min_length=1, max_length=MAX_JOBS)
    max_suppliers = serializers.IntegerField(min_value=1, max_value=20, required=False)
    deliver_by = serializers.DateField(required=False)


class OrderPlacingIn(StrictSerializer):
    """``allow_below_minimum``: place an order below the supplier's minimum order value."""

    allow_below_minimum = serializers.BooleanField(required=False)


class ReasonIn(StrictSerializer):
    reason = TextField(max_length=500)


class CancelLinesIn(ReasonIn):
    lines = serializers.ListField(child=serializers.IntegerField(min_value=1), min_length=1, max_length=MAX_LINES)


class ChangeDecisionIn(StrictSerializer):
    line = serializers.IntegerField(min_value=1)
    accept = serializers.BooleanField()


class ChangeDecisionsIn(StrictSerializer):
    lines: serializers.ListSerializer[Any] = serializers.ListSerializer(
        child=ChangeDecisionIn(), min_length=1, max_length=MAX_LINES
    )


class ReceiptLineIn(StrictSerializer):
    """``arrived_quantity`` counts all pieces of the line. ``damaged_quantity`` is the damaged part of them."""

    line = serializers.IntegerField(min_value=1)
    arrived_quantity = quantity_field("0", help_text="Everything of this line that arrived, damaged pieces too.")
    damaged_quantity = quantity_field("0", required=False, help_text="The part of what arrived that is damaged.")


class ReceiptIn(StrictSerializer):
    """The count of one docket. ``more_than_docket`` confirms a count above what the docket states.

    Without a despatch advice the limit is the outstanding quantity.
    """

    docket_number = TextField(max_length=60)
    received_on = serializers.DateField()
    note = TextField(max_length=2_000, required=False, allow_blank=True)
    more_than_docket = serializers.BooleanField(required=False)
    lines: serializers.ListSerializer[Any] = serializers.ListSerializer(child=ReceiptLineIn(), max_length=MAX_LINES)


class ReturnIn(StrictSerializer):
    line = serializers.IntegerField(min_value=1)
    quantity = quantity_field()
    replacement_required = serializers.BooleanField()
    reason = TextField(max_length=500)


class StockIn(StrictSerializer):
    component = TextField(max_length=64)
    quantity = quantity_field()
    length_mm = serializers.IntegerField(min_value=1, max_value=100_000, required=False)
    location = TextField(max_length=80, required=False, allow_blank=True)
    job = TextField(max_length=32, required=False)
    reason = TextField(max_length=500)


class StockRemovalIn(StrictSerializer):
    quantity = quantity_field()
    reason = TextField(max_length=500)


class ReservationIn(StrictSerializer):
    job = TextField(max_length=32)
    quantity = quantity_field()


class ReservationChange(StrictSerializer):
    merges = True
    status = serializers.ChoiceField([ReservationState.USED, ReservationState.RELEASED])


def read_receipt(body: dict[str, Any]) -> ReceiptData:
    """Return a receipt from its request body."""
    lines = tuple(
        ReceivedLine(line["line"], line["arrived_quantity"], line.get("damaged_quantity", Decimal(0)))
        for line in body["lines"]
    )
    return ReceiptData(body["docket_number"], body["received_on"], lines, body.get("note", ""))
