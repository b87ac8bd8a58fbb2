"""Calls of a supplier's system arrive twice and in any order, as JSON or UBL: the order ends in the same state."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from itertools import permutations
from typing import Any

import pytest
from django.db import transaction

from catalogue.models import SupplierPrice
from fencing.model.faults import InvalidDocument
from quotes.integrations.bulk_prices import BatchResult, store_prices
from quotes.integrations.messages import despatch_advice, order_response
from quotes.integrations.messages.despatch_advice import (
    UblDespatchAdvice,
    UblDespatchLine,
    write_despatch,
)
from quotes.integrations.messages.order_response import (
    LineStatus,
    ResponseCode,
    ResponseLine,
    UblOrderResponse,
    write_response,
)
from quotes.integrations.order_formats import ubl_values
from quotes.purchasing.deliveries import DespatchData, despatch
from quotes.purchasing.models import Decision, OrderLine, OrderResponseLine, SupplierOrder
from quotes.purchasing.models import DespatchLine as OnDocket
from quotes.purchasing.order_responses import OrderResponseData, record_response
from shared.api.serializers import validated_data
from shared.business.actors import Actor
from shared.common.json_encoder import write_json
from shared.common.problems import Problem
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.integrations.conftest import offers
from tests.quotes.purchasing.cast import now, placed, supplier_actor

pytestmark = pytest.mark.django_db
D = Decimal
DAY = date(2031, 6, 1)
Reader = Callable[[SupplierOrder, "Call"], OrderResponseData | DespatchData]
_STATUS = {"accept": LineStatus.ACCEPTED, "reject": LineStatus.REFUSED, "change": LineStatus.CHANGED}


@dataclass(frozen=True, slots=True)
class Call:
    """One call of a supplier's system: ``kind`` is its address, ``or_else`` a problem that it may get instead."""

    kind: str
    body: dict[str, Any]
    or_else: str = ""

    @property
    def name(self) -> str:
        return str(self.body.get("number", self.kind))


def reply(number: str, code: str, *lines: dict[str, Any], **more: Any) -> Call:
    return Call("responses", {"number": number, "code": code, **more, **({"lines": list(lines)} if lines else {})})


def docket(number: str, **loaded: str) -> Call:
    lines = [{"line": int(line.removeprefix("line_")), "quantity": quantity} for line, quantity in loaded.items()]
    return Call("despatches", {"number": number, "lines": lines})


SEEN = reply("R-seen", "AB")
WHOLE = reply("R-whole", "AP", promised_on=DAY.isoformat())
TOO_LATE = replace(WHOLE, or_else="conflict")  # after changes the whole is no longer accepted
DEARER = reply("R-price", "CA", {"line": 1, "action": "change", "price": "2.80", "reason": "steel went up"})
LATER = reply("R-date", "CA", {"line": 2, "action": "change", "promised_on": DAY.isoformat()})
FEWER = reply("R-fewer", "CA", {"line": 1, "action": "change", "quantity": "4", "reason": "no more available"})
IN_PARTS = reply(
    "R-parts",
    "CA",
    {"line": 2, "action": "change", "quantity": "40", "promised_on": DAY.isoformat(), "reason": "rest later"},
)
REFUSED = reply("R-none", "CA", {"line": 2, "action": "reject", "reason": "no longer made"})
OFFER = Call("offers", {}, "unchanged")  # the same price again

FOURS = {
    "accepted and despatched in two lorries": (
        SEEN, WHOLE, docket("D1", line_1="4"), docket("D2", line_1="6", line_2="500"),
    ),
    "price and date proposed, part of it on the road": (SEEN, DEARER, LATER, docket("D1", line_1="4")),
    "price proposed for what is all on the road": (DEARER, docket("D1", line_1="10"), LATER, OFFER),
    "accepted, then a price after all": (TOO_LATE, DEARER, docket("D1", line_2="500"), OFFER),
    "fewer available, the rest of the other later": (FEWER, IN_PARTS, docket("D1", line_1="4", line_2="40"), SEEN),
    "one line refused, the other despatched": (REFUSED, docket("D1", line_1="10"), TOO_LATE, DEARER),
}  # fmt: skip


@pytest.fixture
def order(yard: Business, cast: Cast) -> SupplierOrder:
    return placed(yard, account=cast.supplier)  # 10 of line 1 and 500 of line 2, at 2.50


def as_json(order: SupplierOrder, call: Call) -> OrderResponseData | DespatchData:
    if call.kind == "responses":
        return order_response.read_json(validated_data(order_response.OrderResponseIn, call.body))
    return despatch_advice.read_json(validated_data(despatch_advice.DespatchIn, call.body))


def as_ubl(order: SupplierOrder, call: Call) -> OrderResponseData | DespatchData:
    if call.kind == "responses":
        return order_response.read_xml(_response(order, call.body), order)
    return despatch_advice.read_xml(_advice(order, call.body), order)


def _response(order: SupplierOrder, body: dict[str, Any]) -> bytes:
    data = ubl_values(order)
    lines = tuple(
        ResponseLine(
            str(place), str(line["line"]), _STATUS[line["action"]], "Goods",
            D(line["quantity"]) if "quantity" in line else None,
            "C62" if "quantity" in line else "",
            D(line["price"]) if "price" in line else None,
            date.fromisoformat(line["promised_on"]) if "promised_on" in line else None,
            line.get("reason", ""),
        )
        for place, line in enumerate(body.get("lines", []), 1)
    )  # fmt: skip
    promised = date.fromisoformat(body["promised_on"]) if "promised_on" in body else None
    head = (body["number"], DAY, order.number, ResponseCode(body["code"]), order.currency, data.buyer, data.seller)
    return write_response(UblOrderResponse(*head, lines, promised_on=promised))


def _advice(order: SupplierOrder, body: dict[str, Any]) -> bytes:
    data = ubl_values(order)
    lines = tuple(
        UblDespatchLine(str(place), str(line["line"]), "Goods", D(line["quantity"]), "C62")
        for place, line in enumerate(body["lines"], 1)
    )
    return write_despatch(UblDespatchAdvice(body["number"], DAY, order.number, data.buyer, data.seller, lines))


def state(order: SupplierOrder) -> bytes:
    """Everything the order has come to, canonical: states, sums, lines, what waits, what is on the road, offers."""
    business, row = order.business, now(order)
    lines = OrderLine.objects.of(business).filter(order=order).order_by("position")
    waiting = OrderResponseLine.objects.of(business).filter(line__order=order, decision=Decision.WAITING)
    on_dockets = OnDocket.objects.of(business).filter(despatch__order=order).order_by("despatch__number", "line")
    figures = ("quantity", "received", "outstanding", "cancelled", "in_transit", "price", "net", "due_on", "reason")
    return write_json(
        {
            "order": [row.state, row.response_status, row.promised_on, row.goods, row.tax, row.total],
            "lines": list(lines.values("position", *figures)),
            "waiting": list(waiting.order_by("line").values("line__position", "price", "promised_on")),
            "dockets": list(on_dockets.values_list("despatch__number", "line__position", "quantity")),
            "offers": list(
                SupplierPrice.objects.of(business).order_by("id").values_list("component", "price", "valid_from")
            ),
        }
    )


class _Undo(Exception):
    """Give the next permutation an unchanged order."""


@dataclass(frozen=True, slots=True)
class System:
    """A supplier's system, which sends each call once as JSON and once as UBL."""

    order: SupplierOrder
    actor: Actor

    def send(self, call: Call, reader: Reader) -> str:
        """Return the result of a call: done, the same as before, or the code of the problem."""
        try:
            with transaction.atomic():
                if call.kind == "offers":
                    [outcome] = self._offer()
                    return "done" if outcome.status == 201 else outcome.result
                value = reader(self.order, call)
                if isinstance(value, OrderResponseData):
                    _, new = record_response(order=self.order, response=value, actor=self.actor)
                else:
                    _, _, new = despatch(order=self.order, docket=value, actor=self.actor)
        except Problem as refused:
            return refused.code
        except InvalidDocument as refused:
            return refused.faults[0].code
        return "done" if new else "same"

    def _offer(self) -> Sequence[BatchResult]:
        account = self.actor.supplier_account
        assert account is not None
        asked = offers(self.order.business, "2.75")
        return store_prices(account=account, actor=self.actor, prices=asked, test=False, whole=False, dry=False)

    def ended(self, calls: Sequence[Call], first: Reader, second: Reader) -> bytes:
        """Return the final state of the order after the calls in this order, and then again in reverse."""
        try:
            with transaction.atomic():
                for call in calls:
                    answer = self.send(call, first)
                    assert answer in ("done", call.or_else), (call, answer)
                for call in reversed(calls):
                    answer = self.send(call, second)
                    assert answer in ("same", call.or_else), (call, answer)
                raise _Undo(state(self.order))
        except _Undo as end:
            result: bytes = end.args[0]
            return result


@pytest.mark.parametrize("four", FOURS)
def test_four_calls_sent_twice_in_any_order_end_in_one_state(order: SupplierOrder, cast: Cast, four: str) -> None:
    system = System(order, supplier_actor(cast.supplier))
    ends: dict[bytes, list[str]] = {}
    for place, calls in enumerate(permutations(FOURS[four])):
        readers = (as_json, as_ubl) if place % 2 else (as_ubl, as_json)
        ends.setdefault(system.ended(calls, *readers), []).append(", ".join(call.name for call in calls))
    assert len(ends) == 1, ends
    assert state(order) not in ends, "the calls changed something"
