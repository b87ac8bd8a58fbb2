"""Needs of a frozen take-off, as the engine buys them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import ROUND_CEILING, Decimal
from typing import Any

from fencing.buying.needs import Needs
from fencing.buying.suppliers import PurchaseOptions
from fencing.model.fence import BreakdownLine, Piece, Quantity

CUBIC_METRE = "MTQ"


def read_needs(takeoff: Mapping[str, Any], market: PurchaseOptions, kerf: int, strips: int | None = None) -> Needs:
    """Return the needs of a frozen take-off. ``strips`` is the width of a sheet [mm] if its strips can be reused."""
    return Needs(tuple(read_pieces(takeoff)), tuple(read_quantities(takeoff, market)), kerf, strip_width=strips)


def read_pieces(takeoff: Mapping[str, Any]) -> list[Piece]:
    """Return the pieces of a frozen take-off."""
    return [
        Piece(
            row["role"],
            row["component"],
            row["finish"],
            row["length_mm"],
            row["width_mm"],
            row["count"],
            tuple(name for name, count in zip(row["used_at"], row["used_counts"], strict=True) for _ in range(count)),
        )
        for row in takeoff["pieces"]
    ]


def read_quantities(takeoff: Mapping[str, Any], market: PurchaseOptions) -> list[Quantity]:
    """Return the quantities of a frozen take-off in sale units. Concrete in bags is counted in the bags that are bought."""
    return [_in_bags(_quantity(row), market) for row in takeoff["quantities"]]


def _quantity(row: Mapping[str, Any]) -> Quantity:
    net, allowance, total = (Decimal(row[name]) for name in ("net", "allowance", "total"))
    breakdown = tuple(
        BreakdownLine(item["element_type"], item["count"], Decimal(str(item["per_element"])), Decimal(item["net"]))
        for item in row["breakdown"]
    )
    return Quantity(row["role"], row["component"], row["finish"], row["unit"], net, allowance, total, breakdown)


def _in_bags(row: Quantity, market: PurchaseOptions) -> Quantity:
    """Return the quantity in bags of the named component, or of the cheapest one, which is then named."""
    choices = [
        (item.sku != row.component, bags * best.price, item.sku, bags, item.bag_yield)
        for item in market.sold(row.role, row.finish)
        if item.bag_yield and (best := market.cheapest(item.sku))
        for bags in [(row.total / item.bag_yield).to_integral_value(ROUND_CEILING)]
    ]
    if not choices or row.unit != CUBIC_METRE:
        return row
    _, _, sku, bags, bag = min(choices)
    breakdown = (BreakdownLine(f"{row.total} m3 of concrete at {bag:f} m3 a bag", int(bags), Decimal(1), bags),)
    return replace(row, component=sku, unit="C62", net=bags, allowance=Decimal(0), total=bags, breakdown=breakdown)


def strip_width(systems: Iterable[Mapping[str, Any]]) -> int | None:
    """Return the width [mm] of sheets with reusable strips, or None if a system forbids it or the widths differ."""
    sheets = [system["sheets"] for system in systems]
    widths = {sheet["cover_mm"] + sheet["lap_mm"] if sheet.get("reuse_strips", True) else None for sheet in sheets}
    return widths.pop() if len(widths) == 1 else None
