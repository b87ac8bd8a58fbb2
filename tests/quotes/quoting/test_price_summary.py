"""Cost, margin and price beside each other."""

from __future__ import annotations

from decimal import Decimal

import pytest

from quotes.quoting.price_summary import PriceSummaryLine, made_of
from tests.quotes.quoting.contents import some_costing, some_line


@pytest.mark.parametrize(
    ("cost", "net", "margin"),
    [("60", "80", "25.0"), ("80", "60", "-33.3"), ("60", "0", ""), ("0", "0.04", ""), ("0", "-0.04", "")],
)
def test_a_margin_stands_only_where_there_is_both_a_cost_and_a_price(cost: str, net: str, margin: str) -> None:
    assert PriceSummaryLine("", "", None, "", Decimal(cost), Decimal(net)).margin == margin


@pytest.mark.parametrize(
    ("net", "made"),
    [
        ("42.50", (("Rails", Decimal("30.00")), ("Caps", Decimal("12.50")))),
        # a line with an accepted price is not made of today's costs
        ("43.00", ()),
    ],
)
def test_a_line_tells_its_costs_where_they_are_all_of_it(net: str, made: tuple[tuple[str, Decimal], ...]) -> None:
    costing = [
        some_costing("Rails", A="30.00", B="9.00"),
        some_costing("Caps", A="12.50"),
        some_costing("Travel", travel="64.00"),
    ]
    assert made_of(some_line(net), costing) == made
    assert made_of(some_line("64.00", "travel"), costing) == ()  # one cost tells its own working
