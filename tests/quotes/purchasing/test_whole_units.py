"""Pieces stay whole: a part of a piece is refused wherever a quantity is typed; metres are measured."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from catalogue.models import Component
from catalogue.rules.units import COUNTED, MEASURED
from fencing.model.faults import InvalidDocument
from quotes.jobs.as_built import record_built
from quotes.purchasing import stock_services
from quotes.purchasing.deliveries import (
    DespatchData,
    DespatchLineData,
    ReceiptData,
    ReceivedLine,
    despatch,
    receive,
    return_goods,
)
from quotes.purchasing.draft_orders import change_draft
from quotes.purchasing.models import OrderLine, SupplierOrder
from quotes.purchasing.order_responses import LineResponseData, OrderResponseData, record_response
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.purchasing.cast import agreed_job, component_of, drafted, line, placed, seller_of, supplier_actor
from tests.quotes.quoting.cast import actor_of

pytestmark = pytest.mark.django_db
DAY = date(2031, 5, 6)
D = Decimal
PART = D("1.5")


def in_metres(business: Business) -> Component:
    """The rail, sold by the metre."""
    rail = component_of(business, "rail")
    rail.sale_unit, rail.length_mm = "MTR", None
    rail.save()
    return rail


def _change(order: SupplierOrder, cast: Cast) -> object:
    rail = component_of(order.business, "rail")
    return change_draft(order=order, actor=actor_of(order.business), lines=[{"component": rail.sku, "quantity": PART}])


def _reply(order: SupplierOrder, cast: Cast) -> object:
    response_lines = (LineResponseData(1, "change", "no more", quantity=PART),)
    return record_response(
        order=order, response=OrderResponseData("R1", "CA", lines=response_lines), actor=supplier_actor(cast.supplier)
    )


def _despatch(order: SupplierOrder, cast: Cast) -> object:
    return despatch(
        order=order, docket=DespatchData("D1", (DespatchLineData(1, PART),)), actor=supplier_actor(cast.supplier)
    )


def _receive(order: SupplierOrder, cast: Cast) -> object:
    return receive(order=order, count=ReceiptData("D1", DAY, (ReceivedLine(1, PART),)), actor=actor_of(order.business))


def _damaged(order: SupplierOrder, cast: Cast) -> object:
    count = ReceiptData("D1", DAY, (ReceivedLine(1, D(2), PART),))
    return receive(order=order, count=count, actor=actor_of(order.business))


def _send_back(order: SupplierOrder, cast: Cast) -> object:
    return return_goods(
        order=order, line=1, quantity=PART, replacement_required=False, reason="bent", actor=actor_of(order.business)
    )


def received(order: SupplierOrder) -> None:
    """Everything of the first line arrives."""
    count = ReceiptData("D0", DAY, (ReceivedLine(1, line(order, 1).outstanding),))
    receive(order=order, count=count, actor=actor_of(order.business))


TYPED: list[tuple[Callable[[SupplierOrder, Cast], object], str, str]] = [
    (_change, "draft", "/lines/0/quantity"),
    (_reply, "placed", "/lines/0/quantity"),
    (_despatch, "placed", "/lines/0/quantity"),
    (_receive, "placed", "/lines/0/arrived_quantity"),
    (_damaged, "placed", "/lines/0/damaged_quantity"),
    (_send_back, "received", "/quantity"),
]


@pytest.mark.parametrize(("type_it", "state", "pointer"), TYPED)
def test_one_and_a_half_pieces_of_an_order_are_refused_where_they_are_typed(
    yard: Business, cast: Cast, type_it: Callable[[SupplierOrder, Cast], object], state: str, pointer: str
) -> None:
    order = drafted(yard) if state == "draft" else placed(yard)
    if state == "received":
        received(order)
    before = list(OrderLine.objects.of(yard).filter(order=order).values())
    with pytest.raises(InvalidDocument) as refused:
        type_it(order, cast)
    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [(pointer, "whole")]
    assert "Enter a whole number" in refused.value.faults[0].text
    assert list(OrderLine.objects.of(yard).filter(order=order).values()) == before


def test_metres_may_be_ordered_and_come_in_parts(yard: Business, cast: Cast) -> None:
    in_metres(yard)
    order = placed(yard, {"rail": "12.5"})
    despatch(order=order, docket=DespatchData("D1", (DespatchLineData(1, PART),)), actor=supplier_actor(cast.supplier))
    receive(order=order, count=ReceiptData("D1", DAY, (ReceivedLine(1, PART),)), actor=actor_of(yard))
    assert line(order, 1).received == PART


def test_the_yard_holds_whole_pieces(yard: Business) -> None:
    rail, actor = component_of(yard, "rail"), actor_of(yard)
    with pytest.raises(InvalidDocument, match="whole number"):
        stock_services.add_stock(component=rail, quantity=PART, actor=actor, reason="found")
    item = stock_services.add_stock(component=rail, quantity=D(4), actor=actor, reason="found")
    with pytest.raises(InvalidDocument, match="whole number"):
        stock_services.remove_stock(item=item, quantity=PART, actor=actor, reason="bent")
    with pytest.raises(InvalidDocument, match="whole number"):
        stock_services.reserve_item(item=item, job=agreed_job(yard), quantity=PART, actor=actor)


def test_what_is_sold_by_the_metre_and_cut_to_a_length_is_counted_in_pieces(yard: Business) -> None:
    rail, actor = in_metres(yard), actor_of(yard)
    assert stock_services.add_stock(component=rail, quantity=PART, actor=actor, reason="a roll").quantity == PART
    with pytest.raises(InvalidDocument, match="whole number"):
        stock_services.add_stock(component=rail, quantity=PART, length_mm=1200, actor=actor, reason="cut")


@pytest.mark.parametrize("kind", ["used", "returned"])
def test_the_crew_uses_and_brings_back_whole_pieces(yard: Business, kind: str) -> None:
    data: dict[str, Any] = {"role": "rail", "component": component_of(yard, "rail").sku, "unit": "C62"}
    with pytest.raises(InvalidDocument, match="whole number"):
        record_built(job=agreed_job(yard), kind=kind, actor=actor_of(yard), quantity=PART, **data)


def test_a_pack_of_pieces_holds_whole_ones(yard: Business) -> None:
    rail = component_of(yard, "rail")
    price = rail.offers.get(supplier=seller_of(yard, rail))
    rail.pack_size = price.pack_size = PART
    for row in (rail, price):
        with pytest.raises(ValidationError) as refused:
            row.clean()
        assert refused.value.message_dict == {"pack_size": ["Enter a whole number: 1.5 is part of one."]}
    rail.sale_unit = "MTR"
    rail.clean()


def test_every_unit_is_counted_or_measured() -> None:
    assert {"C62", "XBG", "SET", "PR"} <= COUNTED
    assert {"MTR", "KGM", "MTQ"} <= MEASURED
