"""Replies and dockets go out as UBL, valid against the schemas, and state what was received."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from lxml import etree

from quotes.integrations.messages.despatch_advice import read_despatch
from quotes.integrations.messages.order_response import read_response
from quotes.integrations.ubl.xml_parser import SCHEMAS
from quotes.purchasing.models import SupplierOrder
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.integrations.conftest import post, post_xml
from tests.quotes.purchasing.cast import placed

pytestmark = pytest.mark.django_db
D = Decimal
SAID = [
    {"line": 1, "action": "change", "quantity": "4", "promised_on": "2031-06-01", "reason": "six  later"},
    {"line": 2, "action": "change", "price": "2.605", "reason": "steel & <zinc>"},
]


@pytest.fixture
def order(yard: Business, cast: Cast) -> SupplierOrder:
    return placed(yard, account=cast.supplier)


def valid(body: bytes, name: str) -> bytes:
    """Judged by the OASIS schema itself, not by the reader."""
    etree.XMLSchema(etree.parse(str(SCHEMAS / f"UBL-{name}-2.1.xsd"))).assertValid(etree.fromstring(body))
    return body


@pytest.mark.parametrize("path", ["supply/orders", "orders"])
def test_a_reply_goes_out_as_it_came_in_to_both_sides(
    order: SupplierOrder, theirs: Client, owner_client: Client, path: str
) -> None:
    asked = {"number": "R1", "code": "CA", "note": "see lines", "lines": SAID}
    [data] = post(theirs, f"supply/orders/{order.ref}/responses", asked)["responses"]
    client = theirs if path.startswith("supply") else owner_client
    answer = client.get(f"/api/v1/{path}/{order.ref}/responses/{data['ref']}.xml")
    # a row's own number tells how many there are in all businesses: only the public ref is shown
    assert f"{order.number}-response-{data['ref']}.xml" in answer["Content-Disposition"]
    response = read_response(valid(answer.content, "OrderResponse"))
    assert (response.id, response.order, response.code.value, response.note) == ("R1", order.number, "CA", "see lines")
    first, second = response.lines
    assert (first.status.value, first.quantity, str(first.promised_on), first.note) == (
        "3",
        D(4),
        "2031-06-01",
        "six later",
    )
    assert (second.price, second.note) == (D("2.605"), "steel & <zinc>")


@pytest.mark.parametrize(("code", "state"), [("AB", "placed"), ("AP", "acknowledged"), ("RE", "cancelled")])
def test_a_reply_to_the_whole_carries_no_lines_and_is_known_when_it_comes_back(
    order: SupplierOrder, theirs: Client, code: str, state: str
) -> None:
    path = f"supply/orders/{order.ref}/responses"
    made = post(theirs, path, {"number": "R1", "code": code})
    body = theirs.get(f"/api/v1/{path}/{made['responses'][0]['ref']}.xml").content
    response = read_response(valid(body, "OrderResponse"))
    assert (response.code.value, response.lines, made["status"]) == (code, (), state)
    # the same reply once more, as a document: nothing happens twice
    assert len(post_xml(theirs, path, body, 200)["responses"]) == 1


def test_a_docket_goes_out_with_what_is_still_to_come_and_is_known_when_it_comes_back(
    order: SupplierOrder, theirs: Client, owner_client: Client
) -> None:
    path = f"supply/orders/{order.ref}/despatches"
    lines = [{"line": 1, "quantity": "4", "outstanding_reason": "six later"}, {"line": 2, "quantity": "100"}]
    made = post(
        theirs, path, {"number": "D1", "despatched_on": "2031-05-06", "arrives_on": "2031-05-07", "lines": lines}
    )
    ref = made["despatches"][0]["ref"]
    body = theirs.get(f"/api/v1/{path}/{ref}.xml").content
    assert owner_client.get(f"/api/v1/orders/{order.ref}/despatches/{ref}.xml").content == body
    advice = read_despatch(valid(body, "DespatchAdvice"))
    first, second = advice.lines
    assert (first.quantity, first.outstanding, first.outstanding_reason) == (D(4), D(6), "six later")
    assert (second.quantity, second.outstanding) == (D(100), None)
    assert all(line.seller_sku for line in advice.lines)
    again = post_xml(theirs, path, body, 200)
    assert (len(again["despatches"]), again["lines"][0]["in_transit"]) == (1, "4")


def test_another_orders_documents_are_not_there(
    yard: Business, cast: Cast, order: SupplierOrder, theirs: Client, key_client: Callable[..., Any]
) -> None:
    made = post(theirs, f"supply/orders/{order.ref}/responses", {"number": "R1", "code": "AB"})["responses"][0]["ref"]
    second = placed(yard, account=cast.supplier)
    assert theirs.get(f"/api/v1/supply/orders/{second.ref}/responses/{made}.xml").status_code == 404
    stranger = key_client(supplier=cast.other_supplier)
    assert stranger.get(f"/api/v1/supply/orders/{order.ref}/responses/{made}.xml").status_code == 404
