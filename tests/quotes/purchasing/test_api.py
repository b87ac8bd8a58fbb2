"""The owner's side by HTTP: from accepted jobs to received goods, and the yard."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from catalogue.models import SupplierTerms
from quotes.jobs.as_built import record_built, take_back
from shared.business.models import Person
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.purchasing.cast import agreed_job, component_of, drafted, placed
from tests.quotes.quoting.cast import actor_of

pytestmark = pytest.mark.django_db


def send(client: Client, path: str, body: Any = None, status: int = 200, **headers: str) -> Any:
    response = client.post(
        f"/api/v1/{path}",
        body or {},
        "application/json",
        headers={"Idempotency-Key": str(uuid4()), "If-Match": "*", **headers},
    )
    assert response.status_code == status, response.content[:1500]
    return response.json()


def test_accepted_jobs_become_orders_that_are_placed_counted_in_and_closed(
    yard: Business, owner_client: Client
) -> None:
    job = agreed_job(yard)
    plan = send(owner_client, "orders/plan", {"jobs": [job.ref]})
    made = send(owner_client, "orders/for-jobs", {"jobs": [job.ref]}, 201)["items"]
    assert [order["total"] for order in plan["orders"]] == [
        f"{float(item['goods_total']) + float(item['delivery_fee']):.2f}" for item in made
    ]
    # every line states the reason for its supplier, in the plan and on the draft, and no split is cheaper
    names = {"merrow": "Merrow Yard Supplies", "ostrel": "Ostrel Metalworks"}
    whys = [(names[order["supplier"]], line["purchase_reason"]) for order in plan["orders"] for line in order["lines"]]
    assert all(f"{name}: " in why for name, why in whys)
    assert {why for _, why in whys} == {line["purchase_reason"][-1] for item in made for line in item["lines"]}
    assert plan["max_further_saving"] == "0.00"
    ref = made[0]["ref"]
    assert send(owner_client, f"orders/{ref}/place")["status"] == "placed"
    lines = [{"line": item["line"], "arrived_quantity": item["quantity"]} for item in made[0]["lines"]]
    counted = send(
        owner_client,
        f"deliveries/{ref}/receipts",
        {"docket_number": "77", "received_on": "2031-05-06", "lines": lines},
        201,
    )
    assert counted["status"] == "received"
    assert send(owner_client, f"orders/{ref}/close")["status"] == "closed"
    events = owner_client.get(f"/api/v1/orders/{ref}/events").json()["items"]
    assert [event["type"] for event in events] == [
        "order.drafted",
        "order.placed",
        "order.goods_received",
        "order.closed",
    ]


def test_a_job_of_another_business_is_no_job(cast: Cast, yard: Business, signed_in: Callable[[Person], Client]) -> None:
    job = agreed_job(yard)
    data = send(signed_in(cast.stranger), "orders/for-jobs", {"jobs": [job.ref]}, 422)
    assert data["errors"][0]["pointer"] == "#/jobs/0"


def test_an_order_of_another_business_is_not_found(
    cast: Cast, yard: Business, signed_in: Callable[[Person], Client]
) -> None:
    order = placed(yard)
    stranger = signed_in(cast.stranger)
    assert stranger.get(f"/api/v1/orders/{order.ref}").status_code == 404
    send(stranger, f"orders/{order.ref}/cancel", {"reason": "x"}, 404)


@pytest.mark.parametrize("name", ["crew", "bookkeeper"])
def test_a_role_without_access_gets_the_name_of_the_scope(
    cast: Cast, yard: Business, signed_in: Callable[[Person], Client], name: str
) -> None:
    order = drafted(yard)
    data = send(signed_in(getattr(cast, name)), f"orders/{order.ref}/place", None, 403)
    assert data["scope"] == "orders:write"


def test_placing_without_a_key_against_doubles_is_refused(yard: Business, owner_client: Client) -> None:
    order = drafted(yard)
    assert owner_client.post(f"/api/v1/orders/{order.ref}/place").status_code == 400


def test_an_order_is_placed_without_a_word_and_below_the_least_only_with_one(
    yard: Business, owner_client: Client
) -> None:
    order, small = drafted(yard), drafted(yard, {"rail": "10"})
    SupplierTerms.objects.of(yard).update(minimum_order=100)
    headers = {"Idempotency-Key": str(uuid4()), "If-Match": "*"}
    assert owner_client.generic("POST", f"/api/v1/orders/{order.ref}/place", b"", headers=headers).status_code == 200
    assert "takes orders from" in send(owner_client, f"orders/{small.ref}/place", None, 409)["detail"]
    assert send(owner_client, f"orders/{small.ref}/place", {"allow_below_minimum": True})["status"] == "placed"


def test_read_only_and_unknown_members_are_named(yard: Business, owner_client: Client) -> None:
    order = drafted(yard)
    tag = owner_client.get(f"/api/v1/orders/{order.ref}").headers["ETag"]
    body = {"total": "1.00", "status": "closed", "note": "ring first"}
    response = owner_client.patch(f"/api/v1/orders/{order.ref}", body, "application/json", headers={"If-Match": tag})
    assert response.status_code == 422
    assert {error["pointer"] for error in response.json()["errors"]} == {"#/total", "#/status"}


@pytest.mark.parametrize("quantity", ["-1", "0", "1e9", "0.0001", "١٢", "1000000.001", 5])
def test_a_quantity_out_of_range_is_refused(yard: Business, owner_client: Client, quantity: object) -> None:
    order = placed(yard)
    body = {"line": 1, "quantity": quantity, "replacement_required": True, "reason": "bent"}
    data = send(owner_client, f"orders/{order.ref}/returns", body, 422)
    assert [error["pointer"] for error in data["errors"]] == ["#/quantity"]


def test_lists_are_found_by_state_supplier_and_job(yard: Business, owner_client: Client) -> None:
    order = placed(yard)
    drafted(yard)
    found = owner_client.get("/api/v1/orders", {"status": "placed", "supplier": order.supplier.code}).json()["items"]
    assert [item["number"] for item in found] == [order.number]
    assert owner_client.get("/api/v1/orders?status=lost").status_code == 400


def test_a_list_with_lines_tells_each_order_its_own_in_one_query_more(yard: Business, owner_client: Client) -> None:
    orders = [drafted(yard), placed(yard, {"rail": "7"})]
    with CaptureQueriesContext(connection) as without:
        plain = owner_client.get("/api/v1/orders").json()["items"]
    with CaptureQueriesContext(connection) as asked:
        listed = owner_client.get("/api/v1/orders?include=lines").json()["items"]
    assert len(asked) == len(without) + 1
    assert [{name: value for name, value in item.items() if name != "lines"} for item in listed] == plain
    for item, order in zip(listed, reversed(orders), strict=True):
        whole = owner_client.get(f"/api/v1/orders/{order.ref}").json()["lines"]
        assert [{name: line[name] for name in data} for line, data in zip(whole, item["lines"], strict=True)] == item[
            "lines"
        ]
    assert owner_client.get("/api/v1/orders?with=everything").status_code == 400


def test_the_list_asks_the_database_as_often_for_many_as_for_one(yard: Business, owner_client: Client) -> None:
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(
            connection,
        ) as asked:
            owner_client.get("/api/v1/orders")
        counts.append(len(asked))
        for _ in range(5):
            drafted(yard)
    assert counts[0] == counts[1]


def test_stock_comes_in_is_kept_used_and_taken_out(yard: Business, owner_client: Client) -> None:
    job, rail = agreed_job(yard), component_of(yard, "rail")
    body = {"component": rail.sku, "quantity": "4", "length_mm": 1200, "location": "rack 2", "reason": "left over"}
    item = send(owner_client, "stock", body, 201)
    assert (item["kind"], item["available"]) == ("offcut", "4")
    assert send(owner_client, "stock", body, 201)["quantity"] == "8"
    held = send(owner_client, f"stock/{item['ref']}/reservations", {"job": job.ref, "quantity": "3"}, 201)
    send(owner_client, f"stock/{item['ref']}/remove", {"quantity": "6", "reason": "scrap"}, 409)
    tag = owner_client.get(f"/api/v1/reservations/{held['ref']}").headers["ETag"]
    used = owner_client.patch(
        f"/api/v1/reservations/{held['ref']}", {"status": "used"}, "application/json", headers={"If-Match": tag}
    )
    assert used.json()["status"] == "used"
    assert send(owner_client, f"stock/{item['ref']}/remove", {"quantity": "5", "reason": "scrap"})["quantity"] == "0"
    moves = owner_client.get(f"/api/v1/stock/{item['ref']}/movements").json()["items"]
    assert [(move["kind"], move["quantity"]) for move in moves] == [
        ("removed", "-5"), ("used", "-3"), ("reserved", "0"), ("added", "4"), ("added", "4"),
    ]  # fmt: skip


def test_what_the_crew_brings_back_is_in_stock_once(yard: Business, owner_client: Client) -> None:
    job, rail = agreed_job(yard), component_of(yard, "rail")
    actor = actor_of(yard)
    back = {"role": "rail", "component": rail.sku, "unit": "C62"}
    record_built(job=job, kind="returned", actor=actor, quantity=2, length_mm=1100, **back)
    mistaken = record_built(job=job, kind="returned", actor=actor, quantity=9, length_mm=900, **back)
    take_back(entry=mistaken, actor=actor)
    [item] = send(owner_client, f"jobs/{job.ref}/returned-materials")["items"]
    assert (item["kind"], item["length_mm"], item["quantity"], item["from_job"]) == ("offcut", 1100, "2", job.number)
    assert send(owner_client, f"jobs/{job.ref}/returned-materials")["items"] == []
    assert [entry["quantity"] for entry in owner_client.get("/api/v1/stock").json()["items"]] == ["2"]
