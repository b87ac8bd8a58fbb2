"""Cost, margin and price beside each other."""

from __future__ import annotations

from decimal import Decimal

import pytest

from quotes.offers.priced import Row


@pytest.mark.parametrize(
    ("cost", "net", "margin"),
    [("60", "80", "25.0"), ("80", "60", "-33.3"), ("60", "0", ""), ("0", "0.04", ""), ("0", "-0.04", "")],
)
def test_a_margin_stands_only_where_there_is_both_a_cost_and_a_price(cost: str, net: str, margin: str) -> None:
    assert Row("", "", "", "", Decimal(cost), Decimal(net)).margin == margin
