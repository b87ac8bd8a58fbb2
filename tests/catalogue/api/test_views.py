"""The catalogue through the API: written, read, listed, refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from catalogue.models import Component, FenceSystem, PriceRule, Supplier, SupplierPrice
from shared.business.models import Business
from shared.business.roles import Scope
from shared.database.audit_log import AuditEntry
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
API = "/api/v1"
RAIL = {"sku": "R-3000", "name": "Rail 3000", "role": "rail", "length_mm": 3000}


def days(number: int) -> str:
    return (timezone.localdate() + timedelta(days=number)).isoformat()


def send(client: Client, method: str, path: str, body: Any = None, **headers: str) -> Any:
    return client.generic(method, f"{API}{path}", json.dumps(body), content_type="application/json", headers=headers)


def pointers(answer: Any) -> set[str]:
    return {error["pointer"] for error in answer.json()["errors"]}


def test_a_component_is_added_read_changed_and_removed(owner_client: Client, business: Business) -> None:
    added = send(owner_client, "POST", "/components", {**RAIL, "pack_size": "5", "gtin": "4006381333931"})
    assert added.status_code == 201, added.content
    at = added["Location"].removeprefix(API)
    assert owner_client.get(f"{API}{at}").json()["pack_size"] == "5.000"
    changed = send(owner_client, "PATCH", at, {"name": "Rail, long"}, **{"If-Match": added["ETag"]})
    assert (changed.status_code, changed.json()["name"]) == (200, "Rail, long")
    assert send(owner_client, "PATCH", at, {"name": "late"}, **{"If-Match": added["ETag"]}).status_code == 412
    assert send(owner_client, "DELETE", at, **{"If-Match": changed["ETag"]}).status_code == 204
    assert owner_client.get(f"{API}{at}").status_code == 404
    entries = AuditEntry.objects.filter(business=business, action__startswith="component.").order_by("number")
    assert list(entries.values_list("action", flat=True)) == [
        "component.added",
        "component.changed",
        "component.removed",
    ]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"gtin": "4006381333932"}, "#/gtin"),
        ({"sale_unit": "BG"}, "#/sale_unit"),
        ({"role": "moat"}, "#/role"),
        ({"length_mm": None}, "#/length_mm"),
        ({"length_mm": -5}, "#/length_mm"),
        ({"length_mm": "3000"}, "#/length_mm"),
        ({"pack_size": "0"}, "#/pack_size"),
        ({"pack_size": 5}, "#/pack_size"),
        ({"finish": "gold"}, "#/finish"),
        ({"available_from": "2026-02-30"}, "#/available_from"),
        ({"available_from": "2026-03-02", "available_to": "2026-03-01"}, "#"),
        ({"business": "mine"}, "#/business"),
        ({"ref": "x"}, "#/ref"),
        ({"name": "a\u0000b"}, "#/name"),
        ({"sku": "x" * 65}, "#/sku"),
        ({"role": "concrete.bag"}, "#/bag_yield_m3"),
    ],
)
def test_a_component_that_can_not_be_is_refused_at_its_member(
    owner_client: Client, change: dict[str, Any], pointer: str
) -> None:
    answer = send(owner_client, "POST", "/components", {**RAIL, **change})
    assert answer.status_code == 422
    assert pointer in pointers(answer)


def test_every_fault_of_a_body_is_named_at_once(owner_client: Client) -> None:
    answer = send(owner_client, "POST", "/components", {"role": "moat", "pack_size": "x", "colour": "red"})
    assert pointers(answer) == {"#/sku", "#/name", "#/role", "#/pack_size", "#/colour"}


def test_a_sku_that_is_taken_is_refused_but_free_in_another_business(
    owner_client: Client, cast: Cast, signed_in: Callable[..., Client]
) -> None:
    assert send(owner_client, "POST", "/components", RAIL).status_code == 201
    assert pointers(send(owner_client, "POST", "/components", RAIL)) == {"#/sku"}
    assert send(signed_in(cast.stranger), "POST", "/components", RAIL).status_code == 201


def offer(client: Client, **changes: Any) -> Any:
    body = {"component": "HG-1", "supplier": "ostrel", "price": "15.20", "valid_from": days(1), **changes}
    return send(client, "POST", "/supplier-prices", body)


def test_a_new_price_is_a_new_offer_and_the_old_one_still_tells_the_past(
    owner_client: Client, stocked: Business
) -> None:
    assert offer(owner_client).status_code == 201

    def price_on(day: str) -> str:
        rows = owner_client.get(f"{API}/supplier-prices?component=HG-1&supplier=ostrel&as_of={day}").json()["items"]
        assert len(rows) == 1
        return str(rows[0]["price"])

    assert (price_on(days(0)), price_on(days(1)), price_on("2024-06-01")) == ("16.40", "15.20", "16.40")


def test_a_price_that_has_begun_can_only_be_ended(owner_client: Client, stocked: Business) -> None:
    row = SupplierPrice.objects.of(stocked).get(component__sku="HG-1", supplier__code="ostrel")
    at, tag = f"/supplier-prices/{row.ref}", f'"{row.ref}.{row.version}"'
    assert pointers(send(owner_client, "PATCH", at, {"price": "1.00"}, **{"If-Match": tag})) == {"#/price"}
    assert send(owner_client, "DELETE", at, **{"If-Match": tag}).status_code == 422
    assert pointers(send(owner_client, "PATCH", at, {"valid_to": days(-1)}, **{"If-Match": tag})) == {"#/valid_to"}
    assert send(owner_client, "PATCH", at, {"valid_to": days(0)}, **{"If-Match": tag}).status_code == 200


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"price": "-1"}, "#/price"),
        ({"price": "1.1234567"}, "#/price"),
        ({"price": "1,5"}, "#/price"),
        ({"price": "£3"}, "#/price"),
        ({"price": 3.5}, "#/price"),
        ({"price": "١٢"}, "#/price"),
        ({"valid_from": "2020-01-01"}, "#/valid_from"),
        ({"price_breaks": [["50", "1"], ["10", "2"]]}, "#/price_breaks"),
        ({"component": "NOPE"}, "#/component"),
        ({"supplier": "unknown"}, "#/supplier"),
        ({"valid_to": days(0)}, "#"),
    ],
)
def test_an_offer_that_can_not_be_is_refused(
    owner_client: Client, stocked: Business, change: dict[str, Any], pointer: str
) -> None:
    answer = offer(owner_client, **change)
    assert answer.status_code == 422
    assert pointer in pointers(answer)


def test_price_rules_are_the_owners_to_change_and_the_estimators_to_read(
    cast: Cast, signed_in: Callable[..., Client], stocked: Business
) -> None:
    body = {"kind": "labour", "applies_to": "dig", "value": "33", "valid_from": days(0)}
    assert send(signed_in(cast.estimator), "POST", "/price-rules", body).status_code == 403
    assert signed_in(cast.estimator).get(f"{API}/price-rules?kind=labour").status_code == 200
    assert send(signed_in(cast.owner), "POST", "/price-rules", body).status_code == 201
    assert PriceRule.objects.of(stocked).filter(kind="labour", applies_to="dig").count() == 2


def test_a_rule_that_means_nothing_is_refused_at_its_member(owner_client: Client, business: Business) -> None:
    body = {"kind": "tax", "applies_to": "standard", "value": "0", "option": "S", "valid_from": days(0)}
    assert pointers(send(owner_client, "POST", "/price-rules", body)) == {"#/value"}


def test_a_fence_system_keeps_every_version(owner_client: Client, stocked: Business) -> None:
    system = FenceSystem.objects.of(stocked).get()
    first = owner_client.get(f"{API}/fence-systems/{system.ref}")
    document = {**first.json()["document"], "pitch_mm": 2300}
    second = send(owner_client, "PUT", f"/fence-systems/{system.ref}", document, **{"If-Match": first["ETag"]})
    assert (second.status_code, second.json()["version"]) == (200, 2)
    again = send(owner_client, "PUT", f"/fence-systems/{system.ref}", document, **{"If-Match": second["ETag"]})
    assert again.json()["version"] == 2
    earlier = owner_client.get(f"{API}/fence-systems/{system.ref}?version=1").json()
    assert (earlier["version"], earlier["document"]) == (1, first.json()["document"])
    assert owner_client.get(f"{API}/fence-systems/{system.ref}?version=9").status_code == 404


def test_a_fence_system_at_fault_is_refused_with_every_fault(owner_client: Client, stocked: Business) -> None:
    system = FenceSystem.objects.of(stocked).get()
    first = owner_client.get(f"{API}/fence-systems/{system.ref}")
    document = {**first.json()["document"], "pitch_mm": 0, "colour": "red"}
    answer = send(owner_client, "PUT", f"/fence-systems/{system.ref}", document, **{"If-Match": first["ETag"]})
    assert answer.status_code == 422
    assert {"#/pitch_mm", "#/colour"} <= pointers(answer)


def test_the_default_system_can_be_moved_but_not_ended(owner_client: Client, stocked: Business) -> None:
    system = FenceSystem.objects.of(stocked).get()
    first = owner_client.get(f"{API}/fence-systems/{system.ref}")
    ended = send(
        owner_client, "PATCH", f"/fence-systems/{system.ref}", {"active": False}, **{"If-Match": first["ETag"]}
    )
    assert ended.status_code == 422
    other = send(owner_client, "POST", "/fence-systems", {**first.json()["document"], "code": "second"})
    moved = send(
        owner_client, "PATCH", other["Location"].removeprefix(API), {"is_default": True}, **{"If-Match": other["ETag"]}
    )
    assert moved.json()["is_default"] is True
    assert FenceSystem.objects.of(stocked).get(is_default=True).code == "second"


def test_completeness_says_in_words_what_is_missing(owner_client: Client, stocked: Business) -> None:
    whole = owner_client.get(f"{API}/fence-systems/completeness").json()
    assert whole == {"system": "corrugated-50", "is_complete": True, "missing_items": []}
    SupplierPrice.objects.of(stocked).filter(component__sku="CH-2490-FT").delete()
    Component.objects.of(stocked).filter(sku="CH-2490-FT").delete()
    SupplierPrice.objects.of(stocked).filter(component__sku="RL-4600-SM").delete()
    found = owner_client.get(f"{API}/fence-systems/completeness?system=corrugated-50").json()
    assert [lack["text"] for lack in found["missing_items"]] == [
        "no 2490 post channel in fogthistle",
        "no price for 4600 rail in saltmarl",
    ]


def test_a_supplier_sees_and_prices_its_own_offers_alone(
    cast: Cast, stocked: Business, key_client: Callable[..., Client]
) -> None:
    Supplier.objects.of(stocked).filter(code="merrow").update(account=cast.supplier)
    Supplier.objects.of(stocked).filter(code="ostrel").update(account=cast.other_supplier)
    supplier = key_client(supplier=cast.supplier)
    rows = supplier.get(f"{API}/supply/prices?component=HG-1").json()["items"]
    assert [(row["business"], row["price"]) for row in rows] == [(stocked.ref, "14.43")]
    body = {"business": stocked.ref, "component": "HG-1", "price": "14.00", "valid_from": days(3)}
    assert send(supplier, "POST", "/supply/prices", body).status_code == 201
    theirs = SupplierPrice.objects.of(stocked).get(component__sku="HG-1", supplier__code="ostrel")
    assert supplier.get(f"{API}/supply/prices/{theirs.ref}").status_code == 404
    elsewhere = {**body, "business": cast.strangers_business.ref}
    assert pointers(send(supplier, "POST", "/supply/prices", elsewhere)) == {"#/business"}
    assert supplier.get(f"{API}/supplier-prices").status_code == 403


@pytest.mark.parametrize(
    "path", ["components", "supplier-prices", "price-rules", "suppliers", "finishes", "fence-systems", "supplier-terms"]
)
def test_a_list_takes_the_same_few_queries_at_any_size(owner_client: Client, stocked: Business, path: str) -> None:
    def queries(size: int) -> int:
        with CaptureQueriesContext(
            connection,
        ) as captured:
            assert owner_client.get(f"{API}/{path}?page_size={size}").status_code == 200
        own = [item["sql"] for item in captured if "catalogue_" in item["sql"]]
        return len(own)

    assert queries(1) == queries(100) <= 3


def test_pages_walk_through_every_row_once(owner_client: Client, stocked: Business) -> None:
    seen, address = list[str](), f"{API}/components?page_size=20"
    while address:
        page = owner_client.get(address).json()
        seen += [row["sku"] for row in page["items"]]
        address = page["next"]
    assert len(seen) == len(set(seen)) == Component.objects.of(stocked).count()


def test_a_key_without_the_scope_is_stated_which_it_needs(key_client: Callable[..., Client]) -> None:
    answer = key_client(Scope.JOBS_READ).get(f"{API}/components")
    assert (answer.status_code, "catalogue:read" in answer.json()["detail"]) == (403, True)
