"""Amounts that machines read have every minor unit of their currency, and more only where a price has more."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from typing import Any

import pytest

from catalogue.api.api_fields import PRICE_RULE, row_serializer
from catalogue.models import Component, Supplier
from quotes.accounting.reports import ReportTable, money, totals_of
from quotes.integrations.order_formats import ubl_values
from quotes.integrations.order_spreadsheet import order_csv
from quotes.purchasing.api_fields import order_full
from quotes.purchasing.models import OrderLine, SupplierOrder
from shared.models import Business
from shared.spreadsheets import Cell


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
