"""The preview of a price list shows its effect on open quotes."""

from __future__ import annotations

import json
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from catalogue.rules.codes import ImportKind
from catalogue.spreadsheets.import_rows import dry_run, report
from shared.business.models import Business
from tests.conftest import Cast
from tests.quotes.quoting.cast import drafted, sent, stock_up

pytestmark = pytest.mark.django_db


def tried(business: Business, kind: ImportKind, content: str) -> list[dict[str, object]]:
    """Return the effect on open quotes from the preview of a file."""
    day = (timezone.localdate() + timedelta(days=1)).isoformat()
    data = report(*dry_run(kind, content.format(day=day).encode(), business), business)
    assert data["rejected"] == 0
    return list(data["open_quotes"])


def test_a_dearer_component_costs_an_open_quote_its_quantity_times_the_new_price(business: Business) -> None:
    stock_up(business)
    revision = sent(business)
    costing = json.loads(revision.content)["builds"][0]["costing"]
    bag = next(line for line in costing if line["key"] == "material.CB-25")
    effect = tried(business, ImportKind.SUPPLIER_PRICES, "supplier,sku,price,valid_from\nostrel,CB-25,30.00,{day}\n")
    after = (Decimal(bag["quantity"]) * 30).quantize(Decimal("0.01"))
    assert effect == [
        {
            "quote": revision.quote.number,
            "revision": 1,
            "status": "sent",
            "text": "keeps its sent price",
            "components": ["CB-25"],
            "cost_quoted": bag["cost"],
            "cost_then": format(after, "f"),
            "difference": format(after - Decimal(bag["cost"]), "f"),
        }
    ]


def test_a_component_no_quote_uses_touches_none(business: Business) -> None:
    stock_up(business)
    sent(business)
    assert (
        tried(business, ImportKind.SUPPLIER_PRICES, "supplier,sku,price,valid_from\nostrel,DB-450,30.00,{day}\n") == []
    )


def test_a_draft_is_priced_anew_and_price_rules_touch_everything(business: Business) -> None:
    stock_up(business)
    drafted(business)
    sent(business)
    effect = tried(business, ImportKind.PRICE_RULES, "kind,applies_to,value,valid_from\nlabour,dig,40,{day}\n")
    assert [(item["status"], item["text"]) for item in effect] == [
        ("sent", "keeps its sent price"),
        ("draft", "priced again when it is sent"),
    ]


def test_quotes_of_another_business_are_not_shown(business: Business, cast: Cast) -> None:
    stock_up(business)
    stock_up(cast.strangers_business)
    sent(business)
    content = "supplier,sku,price,valid_from\nostrel,CB-25,30.00,{day}\n"
    assert tried(cast.strangers_business, ImportKind.SUPPLIER_PRICES, content) == []
