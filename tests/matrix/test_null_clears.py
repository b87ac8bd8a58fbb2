"""A PATCH merges (RFC 7396): null clears a field, or is an error, as the OpenAPI document states."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.utils import timezone

from catalogue.models import (
    Component,
    FenceSystem,
    FenceSystemVersion,
    Finish,
    PriceRule,
    Supplier,
    SupplierPrice,
    SupplierTerms,
)
from quotes.integrations.models import WebhookEndpoint
from quotes.jobs.services import add_customer, add_site, open_job
from quotes.purchasing.draft_orders import start_order
from quotes.purchasing.models import Reservation, StockItem
from shared.api.row_serializer import short
from shared.business.actors import SYSTEM
from shared.business.roles import MemberRole
from shared.models import Business, SupplierAccount
from tests.conftest import Cast
from tests.matrix.addresses import Case, cases
from tests.quotes.quoting.cast import actor_of

ROOT = Path(__file__).resolve().parents[2]
JSON = "application/json"
# a number that a row of this kind must have gets the default of a new row
DEFAULTS = {"pack_size": "1", "minimum_quantity": "0", "minimum_order": "0", "lead_time_days": "0", "sale_unit": "C62"}
# clearing these would leave an invalid row of its kind: it is an error, although another kind may do without
BY_THE_ROW = {("price-rules", "applies_to"), ("price-rules", "value")}


def members(schemas: Mapping[str, Any], operation: Mapping[str, Any]) -> Iterator[tuple[str, bool]]:
    """Each member that a PATCH may send, and whether it may be null."""
    named = operation["requestBody"]["content"][JSON]["schema"]["$ref"].rsplit("/", 1)[-1]
    for name, data in schemas[named]["properties"].items():
        if not data.get("readOnly"):
            yield name, any("null" in str(item.get("type", "")) for item in (data, *data.get("oneOf", ())))


@pytest.fixture
def refs(cast: Cast) -> dict[str, str]:
    """Create a record of every kind that has a PATCH. Return their refs by the kind of ``addresses.HOLDERS``."""
    business, account = cast.business, cast.supplier
    rows: dict[str, Any] = {"member": business.members.order_by("id").last(), **_sold(business, account)}
    customer = add_customer(business=business, actor=SYSTEM, name="Ada Quill")
    site = add_site(customer=customer, actor=SYSTEM, address="4 Reed Lane", city="Tern Bay")
    job = open_job(customer=customer, site=site, label="Back fence", actor=actor_of(business))
    line = {"component": "cap", "quantity": Decimal(1), "price": Decimal(2)}
    place = {"address": "4 Reed Lane", "city": "Tern Bay"}
    order = start_order(supplier=rows["supplier"], actor=actor_of(business), lines=[line], deliver_to=place)
    item = StockItem.objects.of(business).create(component=rows["component"], quantity=Decimal(8))
    reservation = Reservation.objects.of(business).create(item=item, job=job, quantity=Decimal(2))
    hook = {"url": "https://hooks.example.test/a", "event_types": ["order.placed"]}
    rows["hook"] = WebhookEndpoint.objects.create(business=business, **hook)
    rows["suppliers hook"] = WebhookEndpoint.objects.create(account=account, **hook)
    rows |= {"customer": customer, "site": site, "job": job, "order": order, "reservation": reservation}
    return {kind: row.ref for kind, row in rows.items()}


def _sold(business: Business, account: SupplierAccount) -> dict[str, Any]:
    begins = timezone.localdate() + timedelta(days=1)
    finish = Finish.objects.of(business).create(code="inkstone", name="Inkstone", drawing_colour="#445566")
    supplier = Supplier.objects.of(business).create(code="north", name="Northmill", account=account, phone="555 0100")
    component = Component.objects.of(business).create(
        sku="cap",
        name="Cap",
        role="cap.square",
        finish=finish,
        length_mm=60,
        pack_size=10,
        sale_unit="KGM",
        gtin="95060002",
    )
    system = FenceSystem.objects.of(business).create(code="plain", label="Plain", latest_version=1)
    FenceSystemVersion.objects.of(business).create(system=system, number=1, document={}, sha256="0" * 64)
    since = date(2024, 1, 1)
    PriceRule.objects.of(business).create(kind="tax", applies_to="standard", value=0, option="Z", valid_from=since)
    PriceRule.objects.of(business).create(kind="tax_code_for", option="standard", valid_from=since)
    return {
        "finish": finish,
        "supplier": supplier,
        "component": component,
        "fence system": system,
        "terms": SupplierTerms.objects.of(business).create(
            supplier=supplier, valid_from=begins, delivery_fees=[["0", "9"]], minimum_order=5, lead_time_days=3
        ),
        "offer": SupplierPrice.objects.of(business).create(
            supplier=supplier,
            component=component,
            valid_from=begins,
            price=2,
            price_breaks=[["10", "1"]],
            pack_size=10,
            minimum_quantity=10,
        ),
        "price rule": PriceRule.objects.of(business).create(
            kind="hire", applies_to="auger", value=90, valid_from=begins
        ),
    }


def test_null_clears_what_may_be_cleared_and_all_else_says_so(
    cast: Cast, refs: dict[str, str], signed_in: Any, key_client: Any, settings: Any
) -> None:
    settings.RATE_QUOTA = 1_000_000
    clients = {False: signed_in(cast.person(MemberRole.OWNER)), True: key_client(supplier=cast.supplier)}
    made, wrong = json.loads((ROOT / "docs/openapi.json").read_text()), list[object]()
    for case in [case for case in cases() if case.method == "PATCH"]:
        path = case.path(refs.get(case.holder, ""), refs)
        operation = made["paths"]["/api/v1/" + case.address.replace("<str:", "{").replace(">", "}")]["patch"]
        client = clients[case.address.startswith("supply/")]
        for name, nullable in members(made["components"]["schemas"], operation):
            wrong += [(case.address, name, nullable, *found) for found in faults(client, case, path, name, nullable)]
    assert not wrong, "\n".join(map(str, wrong))


def faults(client: Client, case: Case, path: str, name: str, nullable: bool) -> Iterator[tuple[Any, ...]]:
    """Yield what is wrong with the answer to a null. The row does not stay changed."""
    with transaction.atomic():
        answer: Any = client.patch(path, {name: None}, JSON, headers={"If-Match": "*"})
        data = answer.json()
        transaction.set_rollback(True)
    if nullable and answer.status_code == 200:
        if data[name] and short(str(data[name])) != DEFAULTS.get(name):
            yield answer.status_code, data[name]
        return
    pointers = [(error["pointer"], error["code"]) for error in data.get("errors", ())]
    refused = "invalid" if (case.address.partition("/")[0], name) in BY_THE_ROW else "" if nullable else "null"
    if answer.status_code != 422 or pointers != [(f"#/{name}", refused)]:
        yield answer.status_code, data


def test_an_object_within_is_merged_and_a_list_within_is_not(cast: Cast, refs: dict[str, str], signed_in: Any) -> None:
    client = signed_in(cast.person(MemberRole.OWNER))

    def patch(path: str, body: Any) -> Any:
        return client.patch(f"/api/v1/{path}", body, JSON, headers={"If-Match": "*"}).json()

    order = f"orders/{refs['order']}"
    assert patch(order, {"deliver_to": {"city": None, "postcode": "0123"}})["deliver_to"] == {
        "address": "4 Reed Lane",
        "city": "",
        "postcode": "0123",
    }
    assert patch(order, {"deliver_to": None})["deliver_to"] == {}
    # a list is always replaced as a whole
    refused = patch(order, {"lines": [{"quantity": None}]})["errors"]
    assert [(item["pointer"], item["code"]) for item in refused] == [
        ("#/lines/0/component", "required"),
        ("#/lines/0/quantity", "null"),
    ]
    patch("business", {"custom_texts": {"care_sheet": "Wash it down.", "how_to_accept": "Sign here."}})
    assert patch("business", {"custom_texts": {"care_sheet": None}})["custom_texts"] == {"how_to_accept": "Sign here."}
    assert patch("business", {"custom_texts": None})["custom_texts"] == {}
