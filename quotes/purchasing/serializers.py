"""Bodies that the API of orders and stock reads, the supplier's too."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from quotes.purchasing.deliveries import DespatchData, DespatchLineData, ReceiptData, ReceivedLine
from quotes.purchasing.models import LineAction, ReservationState
from quotes.purchasing.order_responses import LineResponseData, OrderResponseData
from shared.api.serializers import ExactField, StrictSerializer, TextField

MAX_LINES = 500
MAX_JOBS = 20
_MAX = "1000000"
MIN = "0.001"


def _quantity(least: str = MIN, **options: Any) -> ExactField:
    return ExactField(places=3, least=least, most=_MAX, **options)


def _price(**options: Any) -> ExactField:
    return ExactField(places=4, least="0", most=_MAX, **options)


class AddressIn(StrictSerializer):
    address = TextField(max_length=500, required=False, allow_blank=True)
    city = TextField(max_length=120, required=False, allow_blank=True)
    postcode = TextField(max_length=20, required=False, allow_blank=True)
    country = serializers.RegexField(r"^([A-Z]{2})?\Z", required=False, allow_blank=True)


class AddressChange(AddressIn):
    """What is left out of it stays."""


class OrderLineIn(StrictSerializer):
    """``price`` of one sale unit; without one it is the supplier's own of today."""

    component = TextField(max_length=64)
    quantity = _quantity()
    price = _price(required=False)
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
            raise serializers.ValidationError({"deliver_by": "Not before deliver_from."})
        return attrs


class OrderIn(OrderChange):
    """``supplier`` by code; ``job`` by ref where the goods are for one."""

    merges = False
    supplier = TextField(max_length=40)
    job = TextField(max_length=32, required=False)
    deliver_to = AddressIn(required=False)  # type: ignore[assignment]  # as nullable as any other text of a new thing
    lines: serializers.ListSerializer[Any] = serializers.ListSerializer(
        child=OrderLineIn(), min_length=1, max_length=MAX_LINES
    )


class JobsIn(StrictSerializer):
    """``jobs`` by ref; ``supplier`` (code) takes everything from one; ``again`` orders a job that is on order already."""

    jobs = serializers.ListField(child=TextField(max_length=32), min_length=1, max_length=MAX_JOBS)
    supplier = TextField(max_length=40, required=False)
    max_suppliers = serializers.IntegerField(min_value=1, max_value=20, required=False)
    deliver_by = serializers.DateField(required=False)
    again = serializers.BooleanField(required=False)


class PlanIn(StrictSerializer):
    jobs = serializers.ListField(child=TextField(max_length=32), min_length=1, max_length=MAX_JOBS)
    max_suppliers = serializers.IntegerField(min_value=1, max_value=20, required=False)
    deliver_by = serializers.DateField(required=False)


class PlacingIn(StrictSerializer):
    """``allow_below_minimum``: place it though it is worth less than the supplier takes an order for."""

    allow_below_minimum = serializers.BooleanField(required=False)


class ReasonIn(StrictSerializer):
    reason = TextField(max_length=500)


class ShortenIn(ReasonIn):
    lines = serializers.ListField(child=serializers.IntegerField(min_value=1), min_length=1, max_length=MAX_LINES)


class DecisionIn(StrictSerializer):
    line = serializers.IntegerField(min_value=1)
    agree = serializers.BooleanField()


class DecisionsIn(StrictSerializer):
    lines: serializers.ListSerializer[Any] = serializers.ListSerializer(
        child=DecisionIn(), min_length=1, max_length=MAX_LINES
    )


class CountedIn(StrictSerializer):
    """``arrived`` counts everything of the line, damaged pieces too. ``damaged`` is the part of it that is not sound."""

    line = serializers.IntegerField(min_value=1)
    arrived = _quantity("0", help_text="Everything of this line that arrived, damaged pieces too.")
    damaged = _quantity("0", required=False, help_text="The part of what arrived that is damaged.")


class CountIn(StrictSerializer):
    """The count of one docket. ``more_than_docket`` confirms a count above what the docket states.

    Without an announced docket the limit is what is outstanding.
    """

    docket = TextField(max_length=60)
    received = serializers.DateField()
    note = TextField(max_length=2_000, required=False, allow_blank=True)
    more_than_docket = serializers.BooleanField(required=False)
    lines: serializers.ListSerializer[Any] = serializers.ListSerializer(child=CountedIn(), max_length=MAX_LINES)


class ReturnIn(StrictSerializer):
    line = serializers.IntegerField(min_value=1)
    quantity = _quantity()
    replace = serializers.BooleanField()
    reason = TextField(max_length=500)


class LineResponseIn(StrictSerializer):
    line = serializers.IntegerField(min_value=1)
    said = serializers.ChoiceField(LineAction.choices)
    reason = TextField(max_length=500, required=False, allow_blank=True)
    quantity = _quantity("0", required=False, allow_null=True)
    price = _price(required=False, allow_null=True)
    promised = serializers.DateField(required=False, allow_null=True)


class OrderReplyIn(StrictSerializer):
    """``number`` is your own. ``code``: AB you have the order, AP accepted whole, RE refused whole, CA line by line."""

    number = TextField(max_length=60)
    code = serializers.ChoiceField(["AB", "AP", "RE", "CA"])
    note = TextField(max_length=2_000, required=False, allow_blank=True)
    promised = serializers.DateField(required=False, allow_null=True)
    lines: serializers.ListSerializer[Any] = serializers.ListSerializer(
        child=LineResponseIn(), required=False, max_length=MAX_LINES
    )


class LoadedIn(StrictSerializer):
    line = serializers.IntegerField(min_value=1)
    quantity = _quantity()
    reason = TextField(max_length=500, required=False, allow_blank=True)


class DocketIn(StrictSerializer):
    """``number`` is the one on your docket; the same number again is the same despatch."""

    number = TextField(max_length=60)
    despatched = serializers.DateField(required=False, allow_null=True)
    arrives = serializers.DateField(required=False, allow_null=True)
    note = TextField(max_length=2_000, required=False, allow_blank=True)
    lines: serializers.ListSerializer[Any] = serializers.ListSerializer(
        child=LoadedIn(), min_length=1, max_length=MAX_LINES
    )


class StockIn(StrictSerializer):
    component = TextField(max_length=64)
    quantity = _quantity()
    length_mm = serializers.IntegerField(min_value=1, max_value=100_000, required=False)
    place = TextField(max_length=80, required=False, allow_blank=True)
    job = TextField(max_length=32, required=False)
    reason = TextField(max_length=500)


class TakenIn(StrictSerializer):
    quantity = _quantity()
    reason = TextField(max_length=500)


class HoldIn(StrictSerializer):
    job = TextField(max_length=32)
    quantity = _quantity()


class HoldChange(StrictSerializer):
    merges = True
    state = serializers.ChoiceField([ReservationState.USED, ReservationState.RELEASED])


def read_response(body: dict[str, Any]) -> OrderResponseData:
    """A reply's body as its value."""
    lines = tuple(LineResponseData(**line) for line in body.get("lines", []))
    return OrderResponseData(body["number"], body["code"], body.get("note", ""), body.get("promised"), lines)


def docket(body: dict[str, Any]) -> DespatchData:
    """A despatch's body as its value."""
    lines = tuple(DespatchLineData(**line) for line in body["lines"])
    return DespatchData(body["number"], lines, body.get("despatched"), body.get("arrives"), body.get("note", ""))


def count(body: dict[str, Any]) -> ReceiptData:
    """A receipt's body as its value."""
    lines = tuple(
        ReceivedLine(line["line"], line["arrived"], line.get("damaged", Decimal(0))) for line in body["lines"]
    )
    return ReceiptData(body["docket"], body["received"], lines, body.get("note", ""))
