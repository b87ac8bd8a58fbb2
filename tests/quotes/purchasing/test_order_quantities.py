"""Quantities and amounts of an order: named components, whole pieces, and every minor unit of a currency."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from catalogue.api.api_fields import PRICE_RULE, row_serializer
from catalogue.models import Component, Supplier
from catalogue.rules.codes import COUNTED, MEASURED
from fencing.buying.suppliers import Article, PurchaseOptions, SupplierPrice, SupplierTermsAndPrices
from fencing.model.faults import InvalidDocument
from quotes.accounting.reports import ReportTable, money, totals_of
from quotes.documents.templatetags.format_tags import beside
from quotes.integrations.order_formats import ubl_values
from quotes.integrations.order_spreadsheet import order_csv
from quotes.jobs.as_built import record_built
from quotes.purchasing import stock_services
from quotes.purchasing.api_fields import order_full
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
from quotes.purchasing.purchase_plan import plan_for
from shared.models import Business
from shared.spreadsheets import Cell
from tests.conftest import Cast
from tests.quotes.purchasing.cast import agreed_job, component_of, drafted, line, placed, seller_of, supplier_actor
from tests.quotes.quoting.cast import actor_of

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


@pytest.mark.django_db
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


@pytest.mark.django_db
def test_metres_may_be_ordered_and_come_in_parts(yard: Business, cast: Cast) -> None:
    in_metres(yard)
    order = placed(yard, {"rail": "12.5"})
    despatch(order=order, docket=DespatchData("D1", (DespatchLineData(1, PART),)), actor=supplier_actor(cast.supplier))
    receive(order=order, count=ReceiptData("D1", DAY, (ReceivedLine(1, PART),)), actor=actor_of(yard))
    assert line(order, 1).received == PART


@pytest.mark.django_db
def test_the_yard_holds_whole_pieces(yard: Business) -> None:
    rail, actor = component_of(yard, "rail"), actor_of(yard)
    with pytest.raises(InvalidDocument, match="whole number"):
        stock_services.add_stock(component=rail, quantity=PART, actor=actor, reason="found")
    item = stock_services.add_stock(component=rail, quantity=D(4), actor=actor, reason="found")
    with pytest.raises(InvalidDocument, match="whole number"):
        stock_services.remove_stock(item=item, quantity=PART, actor=actor, reason="bent")
    with pytest.raises(InvalidDocument, match="whole number"):
        stock_services.reserve_item(item=item, job=agreed_job(yard), quantity=PART, actor=actor)


@pytest.mark.django_db
def test_what_is_sold_by_the_metre_and_cut_to_a_length_is_counted_in_pieces(yard: Business) -> None:
    rail, actor = in_metres(yard), actor_of(yard)
    assert stock_services.add_stock(component=rail, quantity=PART, actor=actor, reason="a roll").quantity == PART
    with pytest.raises(InvalidDocument, match="whole number"):
        stock_services.add_stock(component=rail, quantity=PART, length_mm=1200, actor=actor, reason="cut")


@pytest.mark.django_db
@pytest.mark.parametrize("kind", ["used", "returned"])
def test_the_crew_uses_and_brings_back_whole_pieces(yard: Business, kind: str) -> None:
    data: dict[str, Any] = {"role": "rail", "component": component_of(yard, "rail").sku, "unit": "C62"}
    with pytest.raises(InvalidDocument, match="whole number"):
        record_built(job=agreed_job(yard), kind=kind, actor=actor_of(yard), quantity=PART, **data)


@pytest.mark.django_db
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


@pytest.mark.django_db
def test_every_unit_is_counted_or_measured() -> None:
    assert {"C62", "XBG", "SET", "PR"} <= COUNTED
    assert {"MTR", "KGM", "MTQ"} <= MEASURED


def bag(sku: str, makes: str, price: str) -> tuple[Article, SupplierPrice]:
    """A bag with its yield of concrete in cubic metres."""
    bought = Article(sku, sku, "concrete.bag", None, None, None, "C62", Decimal(makes), "")
    return bought, SupplierPrice(sku, Decimal(price))


def market(*bags: tuple[Article, SupplierPrice]) -> PurchaseOptions:
    """Nothing but bags."""
    near = SupplierTermsAndPrices("near", tuple(price for _, price in bags))
    return PurchaseOptions(tuple(item for item, _ in bags), (near,))


def takeoff(component: str | None) -> dict[str, Any]:
    """A third of a cubic metre of concrete, in bags."""
    row: dict[str, Any] = {
        "role": "concrete.bag",
        "component": component,
        "finish": None,
        "unit": "MTQ",
        "breakdown": [],
    }
    return {"pieces": [], "quantities": [{**row, "net": "0.300", "allowance": "0.030", "total": "0.330"}]}


LARGE, SMALL = bag("CB-30", "0.0150", "9"), bag("CB-20", "0.0100", "7")


@pytest.mark.parametrize("bags", [(LARGE, SMALL), (SMALL, LARGE)])
def test_concrete_is_ordered_in_the_bags_that_cost_least_for_it(
    bags: tuple[tuple[Article, SupplierPrice], ...],
) -> None:
    """0.330 m3 takes 22 bags of 0.0150 m3 at 9, which is 198, or 33 bags of 0.0100 m3 at 7, which is 231."""
    needs = plan_for({"J1": takeoff(None)}, market(*bags), kerf=3).needs
    assert [(need.name, need.quantity) for need in needs] == [("CB-30", Decimal(22))]


@pytest.mark.parametrize("bags", [(LARGE, SMALL), (SMALL, LARGE)])
def test_the_bag_that_the_fence_system_names_is_ordered(bags: tuple[tuple[Article, SupplierPrice], ...]) -> None:
    needs = plan_for({"J1": takeoff("CB-20")}, market(*bags), kerf=3).needs
    assert [(need.name, need.quantity) for need in needs] == [("CB-20", Decimal(33))]


@pytest.fixture
def order(business: Business) -> SupplierOrder:
    """20 rails at 1.5 each make 30; no tax."""
    supplier = Supplier.objects.of(business).create(code="north", name="Northmill")
    rail = Component.objects.of(business).create(sku="rail", name="Rail", role="rail", length_mm=2400)
    thirty, twenty = Decimal(30), Decimal(20)
    order = SupplierOrder.objects.of(business).create(
        supplier=supplier, number="O1", goods=thirty, total=thirty, fee_tax_category="Z"
    )
    OrderLine.objects.of(business).create(
        order=order, position=1, component=rail, sku="rail", label="Rail", role="rail", unit="C62", tax_category="Z",
        pack=Decimal(1), required_quantity=twenty, quantity=twenty, outstanding=twenty, price=Decimal("1.5"), net=thirty,
    )  # fmt: skip
    return SupplierOrder.objects.of(business).select_related("supplier", "business").get(pk=order.pk)


# ISO 4217: the yen has no minor unit, the dollar two digits of them, the Kuwaiti dinar three
@pytest.mark.parametrize(
    ("currency", "goods", "price"), [("NZD", "30.00", "1.50"), ("JPY", "30", "1.5"), ("KWD", "30.000", "1.500")]
)
def test_an_order_tells_its_money_in_its_currency(order: SupplierOrder, currency: str, goods: str, price: str) -> None:
    order.currency = currency
    data: dict[str, Any] = order_full(order)
    assert (data["goods_total"], data["lines"][0]["price"], data["lines"][0]["net_amount"]) == (goods, price, goods)
    assert data["taxes"][0]["tax"] == goods.replace("30", "0")
    head, line, *_ = csv.reader(io.StringIO(order_csv(order).decode()))
    assert [line[head.index(name)] for name in ("price", "net_amount")] == [price, goods]
    assert [str(value) for value in (ubl_values(order).lines_total, ubl_values(order).lines[0].price)] == [goods, price]


def test_the_books_add_up_in_the_currency_of_the_business() -> None:
    rows: list[list[Cell]] = [["a", money(Decimal("12.5000"), 3)], ["b", money(Decimal("0.0125"), 3)]]
    assert [str(row[1]) for row in rows] == ["12.500", "0.0125"]
    assert totals_of(ReportTable("sums", ("of", "net"), rows, ("net",), 3)) == {"net": Decimal("12.5125")}
    assert str(money(Decimal("1200.0000"), 0)) == "1200"


def test_a_rule_tells_money_as_money_and_a_percentage_as_itself() -> None:
    places = row_serializer(PRICE_RULE).places
    assert places is not None
    rules = {"hire": "auger", "labour": "dig.clay", "tax": "standard", "markup": "materials"}
    assert [places.of("KWD", kind, key) for kind, key in rules.items()] == [3, 3, 0, 0]
    assert [places.of("NZD", "setting", key) for key in ("minimum_job_charge", "travel_visits")] == [2, 0]


def test_a_finish_is_written_beside_a_name_that_does_not_end_with_it() -> None:
    assert [beside("Ash", "Rail 2250, Ash"), beside("Ash", "Ashlar sheet"), beside("", "Latch")] == ["", "Ash", ""]
