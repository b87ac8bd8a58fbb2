"""What a dry run of new prices says about open quotes."""

from __future__ import annotations

from decimal import Decimal

import pytest

from catalogue.codes import ImportKind
from catalogue.effects import effect_on_quotes
from quotes.jobs.canonical import parsed
from shared.business.models import Business
from tests.quotes.offers.cast import PARTIES, drafted, measure, sent, stock_up

pytestmark = pytest.mark.django_db


def test_a_dearer_rail_is_told_for_every_open_quote_that_buys_it(business: Business) -> None:
    stock_up(business)
    sent_one = sent(business, {"parties": PARTIES[:1]}, measure(7200))
    drafted(business, {"parties": PARTIES[:1]}, measure(7200))
    costing = parsed(sent_one.content)["builds"][0]["costing"]
    rail = next(line for line in costing if line["role"] == "rail")
    sku, quantity, cost = rail["key"].removeprefix("material."), Decimal(rail["quantity"]), Decimal(rail["cost"])
    told = effect_on_quotes(business, ImportKind.OFFERS, {sku: Decimal(100)})
    assert [row["state"] for row in told] == ["draft", "sent"]
    assert {Decimal(row["cost_change"]) for row in told} == {quantity * 100 - cost}
    assert effect_on_quotes(business, ImportKind.OFFERS, {"no-such-sku": Decimal(1)}) == []


def test_new_price_rules_touch_drafts_and_leave_sent_quotes_alone(business: Business) -> None:
    stock_up(business)
    sent(business, {"parties": PARTIES[:1]}, measure(7200))
    draft = drafted(business, {"parties": PARTIES[:1]}, measure(7200))
    told = effect_on_quotes(business, ImportKind.PRICE_RULES, {})
    assert [row["ref"] for row in told] == [draft.ref]
