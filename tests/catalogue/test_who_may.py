"""Tests of every catalogue address for every actor, from the address table: a new address without an entry fails."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern

from catalogue.api_urls import urlpatterns
from catalogue.models import (
    AskedPlan,
    Component,
    FenceSystem,
    Finish,
    Import,
    PriceRule,
    Supplier,
    SupplierPrice,
    SupplierTerms,
)
from catalogue.spreadsheets.sample_catalogue import load_starter
from shared.api.endpoint import Endpoint
from shared.business.business_owned import BusinessOwned
from shared.business.models import Business
from shared.business.roles import GRANTS, MemberRole, Scope
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
API = "/api/v1"

# address: what its {ref} is one of; None where it has none
ROWS: dict[str, type[BusinessOwned] | None] = {
    "finishes": None,
    "finishes/<str:ref>": Finish,
    "components": None,
    "components/<str:ref>": Component,
    "suppliers": None,
    "suppliers/<str:ref>": Supplier,
    "supplier-terms": None,
    "supplier-terms/<str:ref>": SupplierTerms,
    "supplier-prices": None,
    "supplier-prices/<str:ref>": SupplierPrice,
    "price-rules": None,
    "price-rules/<str:ref>": PriceRule,
    "fence-systems": None,
    "fence-systems/<str:ref>": FenceSystem,
    "fence-systems/completeness": None,
    "cutting-plans": None,
    "cutting-plans/<str:ref>": AskedPlan,
    "cutting-plans/<str:ref>/cancel": AskedPlan,
    "imports": None,
    "imports/<str:ref>": Import,
    "exports/<str:kind>.<str:format>": None,
    "supply/prices": None,
    "supply/prices/<str:ref>": SupplierPrice,
}
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
ENDPOINTS: dict[str, type[Endpoint]] = {
    str(pattern.pattern): pattern.callback.view_class  # type: ignore[attr-defined]  # DRF's as_view names its class
    for pattern in urlpatterns
    if isinstance(pattern, URLPattern)
}
CASES = [
    (address, method)
    for address, endpoint in ENDPOINTS.items()
    for method in METHODS
    if hasattr(endpoint, method.lower())
]
ACTORS = [
    "anonymous",
    *(role.value for role in MemberRole),
    "stranger",
    "key without scope",
    "supplier",
    "other supplier",
]


def test_every_address_has_its_entry() -> None:
    assert set(ENDPOINTS) == set(ROWS)


def test_every_method_names_the_scope_it_needs() -> None:
    assert [case for case in CASES if case[1] not in ENDPOINTS[case[0]].scopes] == []


@dataclass(frozen=True)
class Stage:
    """Clients of all actors, and records of the business and of another one."""

    clients: dict[str, Client]
    own: Business
    foreign: Business


@pytest.fixture
def stage(cast: Cast, stocked: Business, signed_in: Callable[..., Client], key_client: Callable[..., Client]) -> Stage:
    load_starter(cast.strangers_business, tax_name="GST", tax_rate=Decimal(15))
    for business in (stocked, cast.strangers_business):
        Import.objects.of(business).create(kind="supplier_prices", file_name="x", content=b"x")
        AskedPlan.objects.of(business).create(demand={}, seconds=1)
    Supplier.objects.of(stocked).filter(code="ostrel").update(account=cast.supplier)
    Supplier.objects.of(stocked).filter(code="merrow").update(account=cast.other_supplier)
    clients = {
        "anonymous": Client(),
        **{role.value: signed_in(cast.person(role)) for role in MemberRole},
        "stranger": signed_in(cast.stranger),
        "key without scope": key_client(Scope.WEBHOOKS_READ),
        "supplier": key_client(supplier=cast.supplier),
        "other supplier": key_client(supplier=cast.other_supplier),
    }
    return Stage(clients, stocked, cast.strangers_business)


def ask(client: Client, method: str, address: str, ref: str) -> Any:
    path = address.replace("<str:ref>", ref).replace("<str:kind>.<str:format>", "components.csv")
    body = json.dumps({}) if method in {"POST", "PUT", "PATCH"} else ""
    headers = {"If-Match": "*"}
    kind = "text/csv" if address == "imports" else "application/json"
    return client.generic(method, f"{API}/{path}", body, content_type=kind, headers=headers)


def expected(actor: str, address: str, method: str, *, own: bool) -> set[int]:
    """Return the expected answer for an actor: 401, 403, 404, or any answer that shows its access."""
    scope = ENDPOINTS[address].scopes[method]
    supply = address.startswith("supply/")
    if actor == "anonymous":
        return {401}
    if actor in {"supplier", "other supplier"}:
        if not supply:
            return {403}
        return {404} if ROWS[address] and not (own and actor == "supplier") else {200, 201, 400, 422}
    role = MemberRole.OWNER if actor == "stranger" else None if actor == "key without scope" else MemberRole(actor)
    if role is None or scope not in GRANTS[role]:
        return {403}
    if ROWS[address] and (not own or actor == "stranger"):
        return {404}
    return {200, 201, 202, 204, 400, 409, 415, 422}


def ref_of(business: Business, model: type[BusinessOwned]) -> str:
    ostrels = SupplierPrice.objects.of(business).filter(supplier__code="ostrel")
    row: BusinessOwned | None = (
        ostrels.first() if model is SupplierPrice else model.objects.of(business).order_by("id").first()
    )
    assert row is not None
    return row.ref


def tries() -> Iterator[tuple[str, str, str, bool]]:
    """Every (address, method, actor, own) of the matrix; the owner's own removals are left out: the row must outlive them."""
    for address, method in CASES:
        for actor in ACTORS:
            if not (actor == "owner" and method == "DELETE"):
                yield address, method, actor, True
            if ROWS[address] and actor != "stranger":  # a stranger's own rows are no foreign ones to it
                yield address, method, actor, False


def test_everybody_at_every_address_is_answered_as_the_table_says(stage: Stage) -> None:
    wrong = []
    for address, method, actor, own in tries():
        model = ROWS[address]
        ref = ref_of(stage.own if own else stage.foreign, model) if model else ""
        status, wanted = (
            ask(stage.clients[actor], method, address, ref).status_code,
            expected(actor, address, method, own=own),
        )
        if status not in wanted:
            wrong.append((actor, method, address, "own" if own else "foreign", status, wanted))
    assert wrong == []


ONE_ROW = sorted(address for address, model in ROWS.items() if model and not address.startswith("supply/"))


@pytest.mark.parametrize("method", ["GET", "PATCH", "DELETE"])
@pytest.mark.parametrize(
    "address", sorted(address for address, model in ROWS.items() if model and not address.startswith("supply/"))
)
def test_what_belongs_to_another_business_looks_just_like_what_does_not_exist(
    stage: Stage, address: str, method: str
) -> None:
    model, client = ROWS[address], stage.clients["owner"]
    assert model is not None
    if (address, method) not in CASES:
        return
    foreign, nothing = (ask(client, method, address, ref) for ref in (ref_of(stage.foreign, model), "0" * 22))

    def body_of(answer: Any) -> dict[str, Any]:
        return {name: value for name, value in answer.json().items() if name != "instance"}

    assert (foreign.status_code, body_of(foreign)) == (nothing.status_code, body_of(nothing))
    assert foreign.status_code == 404
