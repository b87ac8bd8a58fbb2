"""Keys of suppliers' systems: listed, replaced and ended by the business, and by the supplier itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from catalogue.models import Supplier
from shared.business.actors import SYSTEM
from shared.business.models import ApiKey, Business
from shared.business.roles import SUPPLIER_SCOPES, Scope
from shared.database.audit_log import AuditEntry
from shared.members import services
from tests.conftest import Cast

JSON = "application/json"
KEYS = "/api/v1/supply/keys"


@pytest.fixture
def supplier(business: Business, cast: Cast) -> Supplier:
    return Supplier.objects.of(business).create(code="dry-creek", name="Dry Creek Steel", account=cast.supplier)


def issued(client: Client, supplier: Supplier, **body: Any) -> dict[str, Any]:
    answer = client.post(
        f"/api/v1/suppliers/{supplier.ref}/keys",
        {"name": "till", **body},
        JSON,
        headers={"Idempotency-Key": str(uuid4())},
    )
    assert answer.status_code == 201
    data: dict[str, Any] = answer.json()
    return data


def bearer(text: str) -> Client:
    return Client(headers={"Authorization": f"Bearer {text}"})


def test_a_business_lists_replaces_and_ends_a_suppliers_keys(
    owner_client: Client, supplier: Supplier, business: Business
) -> None:
    old, new = issued(owner_client, supplier, name="old"), issued(owner_client, supplier, name="new")
    listed = owner_client.get(f"/api/v1/suppliers/{supplier.ref}/keys").json()["items"]
    assert [item["name"] for item in listed] == ["new", "old"]
    assert old["secret"] not in str(listed)
    address = f"/api/v1/suppliers/{supplier.ref}/keys/{old['ref']}"
    assert owner_client.get(address).json()["revoked_at"] is None
    assert bearer(old["secret"]).get(KEYS).status_code == 200
    assert owner_client.delete(address).status_code == 204
    assert owner_client.get(address).json()["revoked_at"] is not None
    assert bearer(old["secret"]).get(KEYS).status_code == 401
    assert bearer(new["secret"]).get(KEYS).status_code == 200
    ended = AuditEntry.objects.filter(business=business, action="key.revoked", subject=f"key:{old['ref']}")
    assert ended.count() == 1


def test_a_business_reaches_no_keys_of_a_supplier_that_serves_others_too(
    owner_client: Client, supplier: Supplier, cast: Cast
) -> None:
    key = issued(owner_client, supplier)
    Supplier.objects.of(cast.strangers_business).create(code="dry-creek", name="Dry Creek", account=cast.supplier)
    assert owner_client.get(f"/api/v1/suppliers/{supplier.ref}/keys").json()["items"] == []
    address = f"/api/v1/suppliers/{supplier.ref}/keys/{key['ref']}"
    assert [owner_client.get(address).status_code, owner_client.delete(address).status_code] == [404, 404]
    assert bearer(key["secret"]).get(KEYS).status_code == 200


def test_a_supplier_replaces_its_key_by_itself(key_client: Callable[..., Client], cast: Cast) -> None:
    old = key_client(supplier=cast.supplier)
    made = old.post(KEYS, {"name": "next year"}, JSON)
    assert (made.status_code, made["Cache-Control"]) == (201, "no-store")
    new = bearer(made.json()["secret"])
    names = {item["name"]: item["ref"] for item in new.get(KEYS).json()["items"]}
    assert set(names) == {"till", "next year"}
    assert new.get(made["Location"]).json()["scopes"] == sorted(SUPPLIER_SCOPES)
    assert new.delete(f"{KEYS}/{names['till']}").status_code == 204
    assert [old.get(KEYS).status_code, new.get(KEYS).status_code] == [401, 200]


def test_a_key_gives_no_more_than_it_has_and_a_test_key_reaches_test_keys_alone(cast: Cast) -> None:
    def holding(*scopes: Scope, live: bool = True) -> tuple[ApiKey, Client]:
        key, text = services.issue_key(
            name="till", scopes=scopes, supplier_account=cast.supplier, live=live, actor=SYSTEM
        )
        return key, bearer(text)

    key, narrow = holding(Scope.SUPPLY_READ, Scope.SUPPLY_WRITE)
    beyond = narrow.post(KEYS, {"name": "more", "scopes": ["supply-prices:write"]}, JSON)
    assert (beyond.status_code, beyond.json()["errors"][0]["code"]) == (422, "scopes.beyond")
    assert narrow.post(KEYS, {"name": "same"}, JSON).json()["scopes"] == ["supply:read", "supply:write"]
    _, trying = holding(Scope.SUPPLY_READ, Scope.SUPPLY_WRITE, live=False)
    assert trying.post(KEYS, {"name": "again"}, JSON).json()["secret"].startswith("bwt_")
    assert {item["prefix"][:4] for item in trying.get(KEYS).json()["items"]} == {"bwt_"}
    assert trying.delete(f"{KEYS}/{key.ref}").status_code == 404


def test_no_supplier_reaches_the_keys_of_another(key_client: Callable[..., Client], cast: Cast) -> None:
    theirs = ApiKey.objects.filter(supplier_account=cast.other_supplier)
    key_client(supplier=cast.other_supplier)
    assert key_client(supplier=cast.supplier).delete(f"{KEYS}/{theirs.get().ref}").status_code == 404
