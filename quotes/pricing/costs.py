"""Cost lines: the costs of a job, line by line, before markup."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from catalogue.rules.price_rule_lines import Category
from catalogue.rules.price_rules import PriceRules
from fencing.model.faults import Fault, InvalidDocument
from shared.common.money import rounded

RunShares = Mapping[str, Fraction]
"""Parts of a line by run (or retrofit) id; they add up to 1. Empty: the line is for the whole job."""


@dataclass(frozen=True, slots=True)
class CostLine:
    """One line of cost: ``quantity`` of a ``unit`` (UN/ECE Rec 20) at ``rate``.

    ``cost`` is the amount paid if it is not the product (a supplier's own rounding). ``tax_code`` overrides the
    category's; ``why`` gives the reason for the quantity and the supplier.
    """

    key: str
    category: Category
    label: str
    quantity: Decimal
    unit: str
    rate: Decimal
    role: str = ""
    runs: RunShares = field(default_factory=dict)
    tax_code: str | None = None
    cost: Decimal | None = None
    why: str = ""

    def __post_init__(self) -> None:
        if not all(number.is_finite() for number in (self.quantity, self.rate, self.cost or Decimal(0))):
            raise ValueError(f"{self.key}: quantity, rate and cost are finite numbers")
        if self.runs and (sum(self.runs.values()) != 1 or min(self.runs.values()) < 0):
            raise ValueError(f"{self.key}: parts by run are not negative and add up to 1")

    def costs(self, digits: int) -> Decimal:
        """Return the cost of the line, in whole minor units (half up)."""
        return rounded(self.quantity * self.rate if self.cost is None else self.cost, digits)


def by_weight(weights: Mapping[str, int | Fraction | Decimal]) -> dict[str, Fraction]:
    """Return the weights of runs as exact parts that add up to 1; empty if all weights are 0.

    >>> by_weight({"A": 30, "B": 10, "C": 0})
    {'A': Fraction(3, 4), 'B': Fraction(1, 4)}
    """
    exact = {name: Fraction(weight) for name, weight in weights.items() if weight}
    total = sum(exact.values(), Fraction(0))
    return {name: weight / total for name, weight in exact.items()}


def parts_by_run(weights: Iterable[tuple[str, int | Decimal]]) -> dict[str, Fraction]:
    """Return the added weights of each run as exact parts that add up to 1; empty if all weights are 0."""
    totals: dict[str, int | Decimal] = {}
    for run, weight in weights:
        totals[run] = totals.get(run, 0) + weight
    return by_weight(totals)


def hire_lines(days: Mapping[str, Decimal], rules: PriceRules) -> list[CostLine]:
    """Return the cost lines for hire, by key of the price rules and number of days."""
    missing = [key for key in days if key not in rules.hire]
    if missing:
        raise InvalidDocument(
            Fault(f"/hire/{key}", "hire.missing", f"There is no hire rate for {key}.") for key in missing
        )
    return [
        CostLine(f"hire.{key}", Category.HIRE, rules.hire[key][0], count, "DAY", rules.hire[key][1])
        for key, count in days.items()
        if count
    ]


@dataclass(frozen=True, slots=True)
class DeliveryCharge:
    """A supplier's delivery fee for goods of a value."""

    supplier: str
    goods: Decimal
    fee: Decimal

    def __str__(self) -> str:
        fee = f"{self.fee.normalize():f}" if self.fee else "nothing"
        return f"{self.supplier} charges {fee} for goods of {self.goods:f}"


def delivery_lines(deliveries: Iterable[DeliveryCharge]) -> list[CostLine]:
    """Return one line for the whole job with the number of deliveries and their fees; an empty list if delivery is free."""
    rows = list(deliveries)
    asked = [row.fee for row in rows if row.fee]
    if not asked:
        return []
    total, count, why = sum(asked, Decimal(0)), Decimal(len(asked)), "; ".join(map(str, rows))
    return [CostLine("delivery", Category.DELIVERY, "Delivery", count, "C62", total / count, cost=total, why=why)]
