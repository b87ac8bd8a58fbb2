"""Costs in the content of a revision, for the business only: calculation, suppliers, suggested changes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from msgspec import Meta

from quotes.quoting.json_values import Exact, Value


class Costing(Value, frozen=True):
    """Calculation of one price line, for the business only.

    ``reason`` is that of the quantity and the supplier. ``allocated_to``: parts of its net by the key of the customer line.
    """

    key: str
    kind: str
    category: str
    role: str
    text: str
    quantity: Exact
    unit: str
    cost: Exact
    net: Exact
    tax_code: str
    account: str
    calculation: str
    reason: str
    allocated_to: Mapping[str, Exact]


class PricedChange(Value, frozen=True):
    """A suggested change of the strength screening with the price it adds before tax; for the business only."""

    kind: str
    value: int
    unit: str
    depth_mm: int | None
    run: str | None
    posts: tuple[str, ...]
    resolves: bool
    change: str
    text: str
    blocked_by: str | None
    cost: Exact | None


class SupplierOrderCost(Value, frozen=True):
    supplier: str
    name: str
    goods: Exact
    delivery: Exact
    total: Exact
    note: Annotated[str, Meta(description="States if an order is below the supplier's minimum order.")]


class SingleSupplierCost(Value, frozen=True):
    """Cost of buying everything from one supplier."""

    supplier: str
    name: str
    total: Exact | None
    rejection_reason: Annotated[str, Meta(description="Reason why this supplier cannot deliver everything.")]


class BuyingCosts(Value, frozen=True):
    """Suppliers whose prices are used, for the business only.

    ``max_further_saving``: the largest amount by which another split may be cheaper; 0: none is.
    """

    orders: tuple[SupplierOrderCost, ...]
    single_supplier_options: tuple[SingleSupplierCost, ...]
    max_further_saving: Exact
