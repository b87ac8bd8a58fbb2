"""Deliveries and stock on their pages."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from fencing.model.faults import InvalidDocument
from quotes.accounting.models import LedgerEntry
from quotes.accounting.order_posting import post
from quotes.purchasing.deliveries import (
    DespatchData,
    DespatchLineData,
    ReceiptData,
    ReceivedLine,
    despatch,
    receive,
    return_goods,
)
from quotes.purchasing.models import (
    OrderEvent,
    OrderState,
    ReceiptLine,
    Reservation,
    StockItem,
    StockMovement,
    SupplierOrder,
)
from quotes.purchasing.services import place
from quotes.purchasing.stock_services import add_stock
from shared.business.models import Person
from shared.common.dates import today
from shared.models import Business
from tests.conftest import Cast
from tests.forms import hidden_in, press
from tests.quotes.purchasing.cast import agreed_job, component_of, line, now, placed, supplier_actor
from tests.quotes.quoting.cast import actor_of, new_job, stock_up

pytestmark = pytest.mark.django_db

D = Decimal
DAY = "2031-05-06"
MONEY = re.compile(r"(?<![\d.])\d+[.,]\d{2}(?![\d.])")


@pytest.fixture
def yard(business: Business) -> Business:
    stock_up(business)
    return business


@pytest.fixture
def crew(cast: Cast, signed_in: Any) -> Client:
    client: Client = signed_in(cast.crew)
    return client


@pytest.fixture
def announced(yard: Business, cast: Cast) -> SupplierOrder:
    """22 rails at 2.50, all on docket D1."""
    order = placed(yard, {"rail": "22"})
    despatch(order=order, docket=DespatchData("D1", (DespatchLineData(1, D(22)),)), actor=supplier_actor(cast.supplier))
    return now(order)


def count_form(arrived: str, damaged: str = "", docket: str = "D1", **more: str) -> dict[str, str]:
    return {"do": "receive", "docket": docket, "received": DAY, "arrived-1": arrived, "damaged-1": damaged, **more}


def test_one_bent_of_twenty_two_on_the_docket_leaves_one_outstanding(crew: Client, announced: SupplierOrder) -> None:
    page = f"/deliveries/{announced.ref}"
    answer = press(crew, page, count_form("22", "1"), follow=True).content.decode()
    row = line(announced, 1)
    assert (row.received, row.damaged, row.over_delivered, row.outstanding) == (D(21), D(1), D(0), D(1))
    assert "1 damaged" in answer
    assert ReceiptLine.objects.of(announced.business).get().short_delivered == 0


def test_the_bent_one_sent_back_is_credited_in_the_books(yard: Business, announced: SupplierOrder) -> None:
    us = actor_of(yard)
    receive(order=announced, count=ReceiptData("D1", date(2031, 5, 6), (ReceivedLine(1, D(22), D(1)),)), actor=us)
    _, returned = return_goods(
        order=announced, line=1, quantity=D(1), replacement_required=False, reason="bent", actor=us
    )
    row, order = line(announced, 1), now(announced)
    assert returned.credit == D("2.50")
    assert (row.received, row.outstanding, row.damaged, row.credited) == (D(22), D(0), D(0), D(1))
    assert order.state == "received"
    post(order)
    assert [entry.net for entry in LedgerEntry.objects.of(yard).filter(kind="credit")] == [D("-2.50")]


def test_the_bent_one_sent_back_for_another_is_outstanding_once(yard: Business, announced: SupplierOrder) -> None:
    us = actor_of(yard)
    receive(order=announced, count=ReceiptData("D1", date(2031, 5, 6), (ReceivedLine(1, D(22), D(1)),)), actor=us)
    _, returned = return_goods(
        order=announced, line=1, quantity=D(1), replacement_required=True, reason="bent", actor=us
    )
    row = line(announced, 1)
    assert (returned.credit, row.received, row.outstanding, row.damaged) == (D(0), D(21), D(1), D(0))


def test_more_damaged_than_arrived_is_refused(yard: Business, announced: SupplierOrder) -> None:
    count = ReceiptData("D1", date(2031, 5, 6), (ReceivedLine(1, D(1), D(2)),))
    with pytest.raises(InvalidDocument, match="part of what arrived") as refused:
        receive(order=announced, count=count, actor=actor_of(yard))
    assert [fault.pointer for fault in refused.value.faults] == ["/lines/0/damaged_quantity"]


def test_more_than_the_docket_is_asked_about_and_nothing_typed_is_lost(crew: Client, announced: SupplierOrder) -> None:
    page = f"/deliveries/{announced.ref}"
    refused = press(crew, page, count_form("23"))
    text = refused.content.decode()
    assert refused.status_code == 422
    assert "23 arrived, but 22 are on docket D1" in text
    assert re.search(r'name="arrived-1"[^>]* value="23"', text)
    assert line(announced, 1).received == 0
    sure = {**hidden_in(text), **count_form("23"), "more_than_docket": "1"}
    assert crew.post(page, sure).status_code == 302
    row = line(announced, 1)
    assert (row.received, row.over_delivered) == (D(22), D(1))


def test_without_a_docket_more_than_is_outstanding_is_asked_about(yard: Business, crew: Client) -> None:
    order = placed(yard, {"rail": "22"})
    refused = press(crew, f"/deliveries/{order.ref}", count_form("220", docket="by phone"))
    assert (refused.status_code, "22 are outstanding" in refused.content.decode()) == (422, True)


def _send(client: Client, address: str, body: Any) -> Any:
    return client.post(f"/api/v1/{address}", body, "application/json", headers={"Idempotency-Key": str(uuid4())})


def test_the_crew_counts_by_api_too(crew: Client, announced: SupplierOrder) -> None:
    address = f"deliveries/{announced.ref}/receipts"
    lines = [{"line": 1, "arrived_quantity": "22", "damaged_quantity": "1"}]
    old = _send(crew, address, {"docket_number": "D1", "received_on": DAY, "lines": [{"line": 1, "quantity": "22"}]})
    assert {fault["pointer"] for fault in old.json()["errors"]} == {"#/lines/0/quantity", "#/lines/0/arrived_quantity"}
    answer = _send(crew, address, {"docket_number": "D1", "received_on": DAY, "lines": lines})
    assert answer.status_code == 201, answer.content
    [receipt] = answer.json()["receipts"]
    assert receipt["lines"] == [
        {
            "line": 1,
            "arrived_quantity": "22",
            "damaged_quantity": "1",
            "good_quantity": "21",
            "advised_quantity": "22",
            "short_quantity": "0",
            "over_quantity": "0",
        }
    ]
    assert [item["number"] for item in crew.get("/api/v1/deliveries").json()["items"]] == [announced.number]


def _texts(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [text for part in value.values() for text in _texts(part)]
    return [text for part in value for text in _texts(part)] if isinstance(value, list) else [str(value)]


def test_no_price_reaches_the_crew(crew: Client, cast: Cast, yard: Business, announced: SupplierOrder) -> None:
    press(crew, f"/deliveries/{announced.ref}", count_form("20", "1"))
    money = {
        "price",
        "net_amount",
        "total",
        "goods_total",
        "tax",
        "delivery_fee",
        "cost",
        "margin",
        "credit",
        "currency",
        "account",
    }
    for address in ("deliveries", f"deliveries/{announced.ref}"):
        answer = crew.get(f"/api/v1/{address}")
        keys = set(re.findall(r'"(\w+)":', answer.content.decode()))
        assert not keys & money
        assert not [text for text in _texts(json.loads(answer.content)) if MONEY.fullmatch(text)]
    for page in ("/", "/deliveries", f"/deliveries/{announced.ref}"):
        text = crew.get(page).content.decode()
        assert "2.50" not in text
        assert "55.00" not in text  # 22 x 2.50
        assert cast.business.currency not in text
        assert not MONEY.findall(re.sub(r"<[^>]+>", " ", text))
    assert crew.get(f"/orders/{announced.ref}").status_code == 403
    assert crew.get(f"/api/v1/orders/{announced.ref}").status_code == 403
    assert f"/orders/{announced.ref}" not in crew.get(f"/deliveries/{announced.ref}").content.decode()


def test_a_draft_is_no_delivery_and_anothers_is_not_found(
    cast: Cast, crew: Client, signed_in: Any, announced: SupplierOrder
) -> None:
    SupplierOrder.objects.of(announced.business).filter(pk=announced.pk).update(state=OrderState.CANCELLED)
    assert crew.get(f"/deliveries/{announced.ref}").status_code == 404
    assert signed_in(cast.stranger).get(f"/deliveries/{announced.ref}").status_code == 404


def test_who_only_reads_counts_nothing(cast: Cast, signed_in: Any, announced: SupplierOrder) -> None:
    keeper = signed_in(cast.bookkeeper)
    assert keeper.get(f"/deliveries/{announced.ref}").status_code == 200
    assert press(keeper, f"/deliveries/{announced.ref}", count_form("22")).status_code == 403
    assert not OrderEvent.objects.of(announced.business).filter(kind="order.goods_received").exists()


def today_of(client: Client) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", client.get("/").content.decode()).split())


def test_today_shows_the_crew_what_to_build_where_and_whether_the_material_is_there(
    yard: Business, crew: Client, owner_client: Client
) -> None:
    job = agreed_job(yard)
    assert f"{job.number} {job.label} {job.site.address}" in today_of(crew)
    assert "no material ordered yet" in today_of(crew)
    owner_client.post(f"/jobs/{job.ref}/orders")
    assert "material order not placed yet" in today_of(crew)
    orders = list(SupplierOrder.objects.of(yard).order_by("id"))
    for order in orders:
        place(order=order, actor=actor_of(yard), allow_below_minimum=True)
    first = orders[0]
    SupplierOrder.objects.of(yard).filter(pk=first.pk).update(promised_on=today(yard) - timedelta(days=1))
    waiting = today_of(crew)
    assert re.search(r"0 of \d+ lines of material are here", waiting)
    assert f"{first.number} {first.supplier.name} placed late" in waiting
    for order in orders:
        counted = tuple(ReceivedLine(row.position, row.outstanding) for row in order.lines.order_by("position"))
        receive(order=order, count=ReceiptData("D", date(2031, 5, 6), counted), actor=actor_of(yard))
    assert "all material is here" in today_of(crew)


SignIn = Callable[[Person], Client]


@pytest.fixture
def rails(business: Business) -> StockItem:
    stock_up(business)
    actor = actor_of(business)
    return add_stock(
        component=component_of(business, "rail"), quantity=Decimal(8), actor=actor, reason="Counted in spring"
    )


def test_some_is_kept_for_a_job_by_its_number_and_let_go_where_it_was_looked_at(
    rails: StockItem, business: Business, owner_client: Client
) -> None:
    job, _ = new_job(business)
    at = f"/stock/{rails.ref}"
    page = press(owner_client, at, {"do": "keep", "job": job.number.lower(), "quantity": "2,0"}, follow=True)
    assert f"Reserved for {job.number}" in page.content.decode()
    kept = Reservation.objects.of(business).get()
    assert (kept.job, kept.quantity) == (job, Decimal(2))
    answer = press(owner_client, at, {"status": "released", "at": "item"}, at=f"/reservations/{kept.ref}")
    assert answer["Location"] == at
    rails.refresh_from_db()
    assert rails.reserved == 0


def test_no_more_is_kept_than_is_free_and_what_was_typed_stays(
    rails: StockItem, business: Business, owner_client: Client
) -> None:
    job, _ = new_job(business)
    page = press(owner_client, f"/stock/{rails.ref}", {"do": "keep", "job": job.number, "quantity": "9"})
    assert page.status_code == 409
    assert "are available" in page.content.decode()
    assert 'value="9"' in page.content.decode()
    unknown = press(owner_client, f"/stock/{rails.ref}", {"do": "keep", "job": "J-nothing", "quantity": "1"})
    assert unknown.status_code == 422
    assert "There is no job J-nothing." in unknown.content.decode()
    assert not Reservation.objects.of(business).exists()


def test_every_movement_is_shown_even_if_nothing_is_left(rails: StockItem, owner_client: Client) -> None:
    press(owner_client, f"/stock/{rails.ref}", {"do": "take", "quantity": "8", "reason": "Sold to a neighbour"})
    page = owner_client.get(f"/stock/{rails.ref}").content.decode()
    assert "Counted in spring" in page
    assert "Sold to a neighbour" in page
    assert "+8" in page
    assert "−8" in page
    assert "Reserve for a job" not in page


def test_the_crew_has_no_stock_pages_and_strangers_find_nothing(
    rails: StockItem, cast: Cast, signed_in: SignIn, business: Business
) -> None:
    data = {"do": "take", "quantity": "1", "reason": "Mine"}
    assert signed_in(cast.crew).get(f"/stock/{rails.ref}").status_code == 403
    assert signed_in(cast.bookkeeper).post(f"/stock/{rails.ref}", data).status_code == 403
    assert signed_in(cast.stranger).post(f"/stock/{rails.ref}", data).status_code == 404
    assert StockMovement.objects.of(business).count() == 1
