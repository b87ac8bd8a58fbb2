"""Price rules and a small fence that the pricing tests share. Sizes are the tests' own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from catalogue.rules.price_rule_lines import Category, Due
from catalogue.rules.price_rules import Instalment, Markup, PriceRules, TaxCode
from fencing.model.measure import Measure, Run
from fencing.model.system import (
    GateRules,
    Hole,
    HoleShape,
    LatticeStock,
    PostSection,
    Rails,
    Screws,
    Sheets,
    SheetSupply,
    System,
)
from fencing.quantities.take_off import TakeOff, take_off
from quotes.pricing.costs import CostLine
from quotes.pricing.price_lines import PriceLine, price_lines
from quotes.pricing.shares import Shares
from quotes.quoting.totals import SumRules, Sums, sum_lines
from tests.quotes.quoting.contents import some_line

TEN = TaxCode("standard", "S", Decimal(10), "Sales tax")
FREE = TaxCode("free", "Z", Decimal(0), "Free of tax")


def rules(**changes: Any) -> PriceRules:
    """Rules without any markup, 10 percent tax on everything, unless given."""
    values: dict[str, Any] = {
        "currency": "EUR",
        "on": date(2026, 3, 2),
        "taxes": {"standard": TEN, "free": FREE},
        "tax_code_for": {"": "standard"},
    }
    return PriceRules(**{**values, **changes})


def cost(amount: str, key: str = "a", category: Category = Category.MATERIALS, **changes: Any) -> CostLine:
    """One thing that costs ``amount``."""
    return CostLine(key, category, key, Decimal(1), "C62", Decimal(amount), **changes)


def percent(markup: str, *, of_price: bool = False) -> Markup:
    return Markup(Decimal(markup), of_price)


@dataclass(frozen=True, slots=True)
class Price:
    """Price lines and what they add up to."""

    lines: Sequence[PriceLine]
    sums: Sums


def price(costs: Sequence[CostLine], rules: PriceRules, *, shares: Shares | None = None, **others: Any) -> Price:
    """Price costs and add the lines up for every party they name."""
    lines = price_lines(costs, rules, shares or Shares(), **others)
    written = [
        some_line(
            str(line.net), line.key, tax_category=line.tax.category, tax_rate=line.tax.rate, shares=line.parts or {}
        )
        for line in lines
    ]
    keys = list(dict.fromkeys(key for line in written for key in line.shares)) or ["owner"]
    payments = tuple(Fraction(instalment.percent) / 100 for instalment in rules.instalments)
    return Price(
        lines, sum_lines(written, keys, SumRules(rules.tax_rounding, rules.digits, rules.rounding_difference, payments))
    )


THIRDS = (
    Instalment("1", "On acceptance", Decimal("33.3"), Due.ACCEPTANCE),
    Instalment("2", "When the posts stand", Decimal("33.3"), Due.POSTS_SET),
    Instalment("3", "On completion", Decimal("33.4"), Due.COMPLETION),
)

SYSTEM = System(
    code="test",
    label="Test",
    pitch=2000,
    closing_bay_min=300,
    ground_gap=50,
    ground_gap_max=150,
    step_max=300,
    rake_max=Decimal(12),
    hole=Hole(600, 300, HoleShape.STRAIGHT, 300, 50, 20),
    channel=PostSection(32, 5, 550, (1500, 1800, 2100, 2400, 2700), 250),
    square=PostSection(60, 35, 550, (1500, 1800, 2100, 2400, 2700), 450),
    rails=Rails((1990, 4000), 3, 15),
    sheets=Sheets(750, 30, 10, 10, SheetSupply.STOCK, (890, 1190, 1490, 1790, 2090)),
    lattice=LatticeStock((300,), (1990,), raked=False),
    screws=Screws(80, 100, 300, 2, 4, 2),
    gates=GateRules(20, 20, 30, 40, {"single": 1200, "wide": 1800}, 10, (5, 10), (10, 40), 4, 6, 150, 200),
    retrofit_overlap=40,
)


def taken_off(*runs: Run, **others: Any) -> TakeOff:
    """The take-off of some runs in the test system."""
    return take_off(Measure("test", "test", runs, **others), SYSTEM)
