"""A business set up from nothing by the REST API alone, until its own take-off has its own price."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from shared.business.roles import BUSINESS_SCOPES
from tests.flows import own_catalogue as own
from tests.flows.cast_of_quotes import Caller, send_quote

pytestmark = pytest.mark.django_db


def lacks(api: Caller) -> list[str]:
    return [item["text"] for item in api.get("fence-systems/completeness")["missing_items"]]


def test_a_business_is_set_up_and_prices_its_own_take_off_by_api_alone(
    monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    assert "none yet" in own.begun_empty(monkeypatch)
    signed_in = Caller(own.sign_in(Client()))
    key = signed_in.post("keys", {"name": "set-up", "scopes": sorted(BUSINESS_SCOPES)})["secret"]
    api = Caller(Client(headers={"Authorization": f"Bearer {key}"}))

    nothing = api.get("fence-systems/completeness")
    assert (nothing["system"], nothing["is_complete"], lacks(api)) == (None, False, ["no fence system"])
    data = api.post("take-offs", {"measure": own.MEASURE}, status=422)
    assert data["errors"][0]["pointer"] == "#/measure/system"

    api.post("fence-systems", own.SYSTEM)
    assert {
        "no finish",
        "no drop bolts",
        "no concrete in bags",
        "no labour rate for dig",
        "no markup: everything would be sold at cost",
    } <= set(lacks(api))
    api.post("finishes", own.FINISH)
    assert "no 2480 post channel in bogmoss" in lacks(api)
    for sku in own.PARTS:
        api.post("components", own.component(sku))
    assert {"no price for 2480 post channel in bogmoss", "no price for 4190 rail in bogmoss"} <= set(lacks(api))
    api.post("suppliers", own.SUPPLIER)
    api.post("supplier-terms", {"supplier": "fenlane", "valid_from": own.today(), "lead_time_days": 4})
    for sku, (_, _, price) in own.PARTS.items():
        offer = {"component": sku, "supplier": "fenlane", "price": price, "valid_from": own.today()}
        api.post("supplier-prices", offer)
    assert lacks(api) == [
        *(f"no labour rate for {name}" for name in ("set_out", "dig", "erect", "rake", "gate", "remove")),
        "no markup: everything would be sold at cost",
    ]
    for rule in own.RULES:
        api.post("price-rules", {**rule, "valid_from": own.today()})
    assert api.get("fence-systems/completeness") == {"system": "flat-45", "is_complete": True, "missing_items": []}

    draft = own.priced(api)
    send_quote(api, draft, django_capture_on_commit_callbacks)
    sent = api.get(f"revisions/{draft['ref']}")
    assert (Decimal(sent["net"]), Decimal(sent["total"])) == (own.NET, own.TOTAL)


def test_a_business_begun_empty_has_its_tax_and_nothing_else_and_is_begun_once(monkeypatch: pytest.MonkeyPatch) -> None:
    own.begun_empty(monkeypatch)
    assert "there already" in own.begun_empty(monkeypatch)
    api = Caller(own.sign_in(Client()))
    found = {
        name: api.get(name)["items"]
        for name in ("components", "supplier-prices", "suppliers", "finishes", "fence-systems")
    }
    assert not any(found.values())
    rules = [(row["kind"], row["applies_to"], row["value"], row["option"]) for row in api.get("price-rules")["items"]]
    assert sorted(rules) == [("tax", "standard", "10", "S"), ("tax_code_for", "", None, "standard")]
