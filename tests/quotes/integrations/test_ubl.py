"""UBL documents: valid against the OASIS schemas, the same after a round trip, and closed to attacks."""

from __future__ import annotations

import re
import string
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fencing.model.faults import InvalidDocument
from quotes.integrations.messages.despatch_advice import (
    UblDespatchAdvice,
    UblDespatchLine,
    read_despatch,
    write_despatch,
)
from quotes.integrations.messages.order_response import (
    LineStatus,
    ResponseCode,
    ResponseLine,
    UblOrderResponse,
    read_response,
    write_response,
)
from quotes.integrations.ubl.documents import OrderDocument, UblAddress, UblOrderLine, UblParty
from quotes.integrations.ubl.order import write_order
from quotes.integrations.ubl.xml import parse
from tests.quotes.integrations.order_reader import read_order
from tests.quotes.integrations.totals_check import line_net, tax_rows, wrong_sums

BUYER = UblParty(
    "Larkrow Fencing", UblAddress("3 Kiln Lane", "Quarrow", "QW1", "NZ"), "5790000435968", "0088", "12-3", "NZ123"
)
SELLER = UblParty("Tamarack Yard", UblAddress(country="NZ"))


def order_of(lines: tuple[UblOrderLine, ...], charge: Decimal = Decimal(0)) -> OrderDocument:
    """An order whose sums follow from its lines."""
    taxed = [(line.tax_category, line.tax_percent, line.net) for line in lines]
    if charge:
        taxed.append(("S", Decimal(15), charge))
    taxes, net = tax_rows(taxed), sum((line.net for line in lines), Decimal(0))
    tax = sum((row.tax for row in taxes), Decimal(0))
    total = net + charge + tax
    extra = {"charge": charge, "charge_reason": "Delivery", "charge_tax_percent": Decimal(15)} if charge else {}
    return OrderDocument("PO-7", date(2031, 5, 6), "NZD", BUYER, SELLER, lines, net, taxes, tax, total, total, **extra)  # type: ignore[arg-type]


def line_of(number: int, name: str, quantity: Decimal, price: Decimal, percent: Decimal = Decimal(15)) -> UblOrderLine:
    return UblOrderLine(
        str(number), name, quantity, "C62", price, line_net(price, quantity), seller_sku="S1", gtin="05704066204093",
        tax_percent=percent,
    )  # fmt: skip


text = st.text(st.characters(blacklist_categories=("Cs", "Cc", "Co", "Cn")), min_size=1, max_size=255).map(
    lambda value: " ".join(value.split()) or "x"
)
amounts = st.decimals(Decimal(0), Decimal(99999), places=4)
quantities = st.decimals(Decimal("0.001"), Decimal(9999), places=3)
rates = st.sampled_from([Decimal(0), Decimal(5), Decimal("12.5"), Decimal(15)])


@given(
    rows=st.lists(st.tuples(text, quantities, amounts, rates), min_size=1, max_size=8),
    charge=st.decimals(Decimal("0.01"), Decimal(500), places=2) | st.just(Decimal(0)),
    note=text,
)
@settings(max_examples=150, deadline=None)
def test_an_order_comes_back_as_it_went_out(
    rows: list[tuple[str, Decimal, Decimal, Decimal]], charge: Decimal, note: str
) -> None:
    lines = tuple(line_of(number, *row) for number, row in enumerate(rows, 1))
    order = replace(
        order_of(lines, charge), note=note, deliver_to=UblAddress("9 Gate Rd", "Quarrow"), deliver_by=date(2031, 6, 1)
    )
    assert wrong_sums(order) == []
    assert read_order(write_order(order)) == order


def test_the_golden_tax_pairs_hold() -> None:
    # 3 x 0.33 at 20 %: 0.198 -> 0.20 (line by line it would be 0.21); 4 x 10.02: 8.016 -> 8.02; 4 x 10.03: 8.024 -> 8.02
    for price, count, tax in (("0.33", 3, "0.20"), ("10.02", 4, "8.02"), ("10.03", 4, "8.02")):
        rows = tax_rows([("S", Decimal(20), Decimal(price))] * count)
        assert [row.tax for row in rows] == [Decimal(tax)]


def test_twenty_five_and_twenty_five_point_nought_are_one_rate() -> None:
    rows = tax_rows([("S", Decimal(25), Decimal(10)), ("S", Decimal("25.00"), Decimal(10))])
    assert [(row.taxable, row.tax) for row in rows] == [(Decimal(20), Decimal(5))]


def test_a_cent_too_much_is_named_by_its_rule() -> None:
    order = order_of((line_of(1, "Rail 2400", Decimal(3), Decimal("19.99")),))
    assert [fault[:8] for fault in wrong_sums(replace(order, total=order.total + Decimal("0.01")))] == ["BR-CO-15"]
    assert [fault[:8] for fault in wrong_sums(replace(order, tax=order.tax + Decimal("0.01")))] == [
        "BR-CO-14",
        "BR-CO-15",
    ]


def test_a_response_comes_back_as_it_went_out() -> None:
    changed = ResponseLine(
        "1",
        "2",
        LineStatus.CHANGED,
        "Rail 2400",
        Decimal(10),
        "C62",
        Decimal("20.10"),
        date(2031, 6, 9),
        "short by two",
    )
    response = UblOrderResponse(
        "R-1", date(2031, 5, 7), "PO-7", ResponseCode.CONDITIONAL, "NZD", BUYER, SELLER,
        (changed, ResponseLine("2", "3", LineStatus.REFUSED, "Cap")), "see lines",
    )  # fmt: skip
    assert read_response(write_response(response)) == response
    whole = replace(response, code=ResponseCode.ACCEPTED, lines=(), promised_on=date(2031, 6, 1))
    assert read_response(write_response(whole)) == whole


def test_what_no_xml_can_hold_is_left_out_of_an_order() -> None:
    order = replace(
        order_of((line_of(1, "Rail\ufffe", Decimal(1), Decimal(2)),)), note="left\uffff gate", buyer_reference="\ufffe"
    )
    read = read_order(write_order(order))
    assert (read.lines[0].name, read.note, read.buyer_reference) == ("Rail", "left gate", "")


@pytest.mark.parametrize(
    ("currency", "total", "price"), [("NZD", "30.00", "1.50"), ("JPY", "30", "1.5"), ("KWD", "30.000", "1.500")]
)
def test_amounts_have_their_currencys_decimals_and_prices_their_own(currency: str, total: str, price: str) -> None:
    # 20 at 1.5000 make 30, stored with four decimals; BR-DEC: no amount but a price has more than its currency
    line = replace(line_of(1, "Rail", Decimal(20), Decimal("1.5000"), Decimal(0)), net=Decimal("30.0000"))
    taxes = tax_rows([("S", Decimal(0), Decimal("30.0000"))])
    written = write_order(replace(order_of((line,)), currency=currency, taxes=taxes)).decode()
    amounts = set(re.findall(r"<cbc:(\w+Amount) [^>]*>([\d.]+)<", written))
    assert {text for name, text in amounts if name != "PriceAmount" and Decimal(text)} == {total}
    assert {text for name, text in amounts if name == "PriceAmount"} == {price}


def response_of(*lines: ResponseLine) -> bytes:
    """A conditional response."""
    code = ResponseCode.CONDITIONAL
    return write_response(UblOrderResponse("R-1", date(2031, 5, 7), "PO-7", code, "NZD", BUYER, SELLER, lines))


@pytest.mark.parametrize("day", ["-0001-01-01", "12031-05-07"])
@pytest.mark.parametrize(("stated", "pointer"), [("2031-05-07", "/IssueDate"), ("2031-06-01", "EndDate")])
def test_a_year_no_calendar_of_ours_has_is_refused_where_it_stands(day: str, stated: str, pointer: str) -> None:
    line = ResponseLine("1", "1", LineStatus.ACCEPTED, "Rail", promised_on=date(2031, 6, 1))
    with pytest.raises(InvalidDocument) as refused:
        read_response(response_of(line).replace(stated.encode(), day.encode()))
    [fault] = refused.value.faults
    assert (fault.code, fault.pointer.endswith(pointer)) == ("ubl.date", True)


def test_a_price_in_another_currency_is_refused_line_by_line() -> None:
    lines = [ResponseLine(n, n, LineStatus.CHANGED, "Rail", price=Decimal(7)) for n in "12"]
    body = response_of(*lines).replace(b'currencyID="NZD"', b'currencyID="USD"')
    with pytest.raises(InvalidDocument) as refused:
        read_response(body)
    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [
        ("/OrderLine/0/Price", "currency"),
        ("/OrderLine/1/Price", "currency"),
    ]
    stated = b"<cbc:DocumentCurrencyCode>NZD</cbc:DocumentCurrencyCode>"
    assert read_response(response_of(*lines).replace(stated, b"")).currency == "NZD"


@pytest.mark.parametrize("code", [ResponseCode.ACCEPTED, ResponseCode.REFUSED, ResponseCode.ACKNOWLEDGED])
def test_only_a_conditional_response_carries_lines(code: ResponseCode) -> None:
    line = ResponseLine("1", "2", LineStatus.ACCEPTED, "Rail")
    response = UblOrderResponse("R-1", date(2031, 5, 7), "PO-7", code, "NZD", BUYER, SELLER, (line,))
    with pytest.raises(InvalidDocument) as refused:
        read_response(write_response(response))
    assert [fault.code for fault in refused.value.faults] == ["PEPPOL-T76-R008"]
    with pytest.raises(InvalidDocument):
        read_response(write_response(replace(response, code=ResponseCode.CONDITIONAL, lines=())))


def test_a_despatch_comes_back_as_it_went_out() -> None:
    lines = (
        UblDespatchLine(
            "1", "2", "Rail 2400", Decimal(8), "C62", "S1", outstanding=Decimal(2), outstanding_reason="on order"
        ),
        UblDespatchLine("2", "3", "Mix", Decimal("0.5"), "MTQ"),
    )
    advice = UblDespatchAdvice(
        "D-1", date(2031, 5, 9), "PO-7", BUYER, SELLER, lines, "", date(2031, 5, 9), date(2031, 5, 10)
    )
    assert read_despatch(write_despatch(advice)) == advice


def test_every_fault_of_a_despatch_is_named_at_once() -> None:
    lines = (
        UblDespatchLine("1", "2", "Rail", Decimal(-1), "C62"),
        UblDespatchLine("2", "3", "Mix", Decimal(1), "BG", outstanding=Decimal(1)),
    )
    with pytest.raises(InvalidDocument) as refused:
        read_despatch(write_despatch(UblDespatchAdvice("D-1", date(2031, 5, 9), "PO-7", BUYER, SELLER, lines)))
    assert [fault.code for fault in refused.value.faults] == ["T16-R002", "REC20", "T16-R003"]


HOSTILE = {
    "doctype": b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "b">]><OrderResponse/>',
    "external entity": b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><x>&a;</x>',
    "another encoding": '<?xml version="1.0" encoding="UTF-16"?><x/>'.encode("utf-16"),
    "declared encoding": b'<?xml version="1.0" encoding="utf-7"?><x/>',
    "encoding declared far behind": b'<?xml version="1.0"' + b" " * 300 + b'encoding="utf-7"?>+ADw-x/+AD4-',
    "deep nesting": b"<a>" * 300_000,
    "too large": b"<a>" + b" " * 1_000_001,
    "no XML": b"\xff\xfe{}",
    "empty": b"",
    "wrong document": b"<Order/>",
    "schema location": b'<x xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xsi:schemaLocation="u http://127.0.0.1/x.xsd"/>',
}


@pytest.mark.parametrize("body", HOSTILE.values(), ids=HOSTILE)
def test_hostile_xml_is_refused(body: bytes) -> None:
    with pytest.raises(InvalidDocument) as refused:
        parse(body, "OrderResponse")
    assert all(set(fault.text) <= set(string.printable) for fault in refused.value.faults)
