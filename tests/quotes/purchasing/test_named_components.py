"""Counted goods of an order: the component that the quote priced, and the concrete by the yield of the bags."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from fencing.buying.suppliers import Article, PurchaseOptions, SupplierPrice, SupplierTermsAndPrices
from quotes.purchasing.purchase_plan import plan_for


def bag(sku: str, makes: str, price: str) -> tuple[Article, SupplierPrice]:
    """A bag with its yield of concrete in cubic metres."""
    bought = Article(sku, sku, "concrete.bag", None, None, None, "C62", Decimal(makes), "")
    return bought, SupplierPrice(sku, Decimal(price))


def market(*bags: tuple[Article, SupplierPrice]) -> PurchaseOptions:
    """Nothing but bags."""
    near = SupplierTermsAndPrices("near", tuple(price for _, price in bags))
    return PurchaseOptions(tuple(item for item, _ in bags), (near,))


def takeoff(component: str | None) -> dict[str, Any]:
    """A third of a cubic metre of concrete, in bags."""
    row: dict[str, Any] = {
        "role": "concrete.bag",
        "component": component,
        "finish": None,
        "unit": "MTQ",
        "breakdown": [],
    }
    return {"pieces": [], "quantities": [{**row, "net": "0.300", "allowance": "0.030", "total": "0.330"}]}


LARGE, SMALL = bag("CB-30", "0.0150", "9"), bag("CB-20", "0.0100", "7")


@pytest.mark.parametrize("bags", [(LARGE, SMALL), (SMALL, LARGE)])
def test_concrete_is_ordered_in_the_bags_that_cost_least_for_it(
    bags: tuple[tuple[Article, SupplierPrice], ...],
) -> None:
    """0.330 m3 takes 22 bags of 0.0150 m3 at 9, which is 198, or 33 bags of 0.0100 m3 at 7, which is 231."""
    needs = plan_for({"J1": takeoff(None)}, market(*bags), kerf=3).needs
    assert [(need.name, need.quantity) for need in needs] == [("CB-30", Decimal(22))]


@pytest.mark.parametrize("bags", [(LARGE, SMALL), (SMALL, LARGE)])
def test_the_bag_that_the_fence_system_names_is_ordered(bags: tuple[tuple[Article, SupplierPrice], ...]) -> None:
    needs = plan_for({"J1": takeoff("CB-20")}, market(*bags), kerf=3).needs
    assert [(need.name, need.quantity) for need in needs] == [("CB-20", Decimal(33))]
