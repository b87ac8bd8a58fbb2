"""Builds the engine's purchase options from catalogue and stock, and its demand from a frozen take-off."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import ROUND_CEILING, Decimal
from typing import Any

from fencing.buying.stock_options import CountedItem, MadeItem, StockLengthOption
from fencing.buying.stock_options import StockOptions as Offered
from fencing.buying.supplier_prices import Article, PurchaseOptions, SupplierPrice
from fencing.model.pieces import BreakdownLine, Piece, Quantity
from fencing.model.roles import CUT_ROLES

KEPT_FROM = 1000  # mm: a remnant shorter than this is scrap
CUBIC_METRE = "MTQ"


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


def offered(
    market: PurchaseOptions, on_hand: Iterable[StockLengthOption], kerf: int, strips: int | None = None
) -> Offered:
    """Return the purchase options at the cheapest supplier's price of each article, with the stock.

    ``strips`` is the width of a sheet [mm] if its ripped strips can be reused.
    """
    stock = [replace(item, width=strips) if item.role == "sheet" else item for item in on_hand]
    made, counted = list[MadeItem](), list[CountedItem]()
    for article in market.articles:
        best = market.cheapest(article.sku)
        if best is None:
            continue
        if article.role not in CUT_ROLES:
            counted.append(CountedItem(article.sku, article.role, article.finish, best.price, best.pack))
        elif article.length is None:
            made.append(MadeItem(article.sku, article.role, article.finish, best.price, width=_width(article, strips)))
        else:
            stock.append(_length(article, best, _width(article, strips)))
    kerfs = dict.fromkeys(CUT_ROLES - {"sheet"}, kerf)
    return Offered(tuple(stock), tuple(made), tuple(counted), kerfs, {}, kerf, strips is not None)


def _width(article: Article, strips: int | None) -> int | None:
    return strips if article.role == "sheet" else None


def _length(article: Article, best: SupplierPrice, width: int | None) -> StockLengthOption:
    whole = max(1, int(best.pack.to_integral_value(ROUND_CEILING)))
    length = article.length or 0
    return StockLengthOption(
        article.sku, article.role, article.finish, length, best.price, width=width, keep=KEPT_FROM, pack=whole
    )
