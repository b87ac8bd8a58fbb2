"""What is bought for one job, for its price: stock lengths by the cheapest cutting plan, everything else in whole packs.

Orders plan again over all jobs, remnants and suppliers together; what that saves is the business's, not a new price.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from catalogue.market import Article, Market, Sold
from fencing.cutting import Budget, Demand, Status, Stock, plan_cuts
from fencing.faults import Fault, Refused
from fencing.piece import Piece
from fencing.prices import PIECE_ROLES
from fencing.takeoff import TakeOff
from quotes.pricing.materials import Bought

ONE_EACH = frozenset({"sheet", "post.channel", "post.square", "post.extension"})
"""Roles of which every piece is taken from a stock length of its own; all others are cut by a plan."""

BUDGET = Budget(work=400_000, seconds=2.0, polish=False)
DECIMALS = 4  # of catalogue prices


@dataclass(frozen=True, slots=True)
class _Wanted:
    """Pieces of one role and finish: (length, count)."""

    role: str
    colour: str | None
    pieces: tuple[tuple[int, int], ...]


def bought_for(takeoff: TakeOff, market: Market) -> list[Bought]:
    """Everything a job takes, as it is ordered. Refused with everything nobody sells."""
    faults, bought = list[Fault](), list[Bought]()
    for wanted in _wanted(takeoff.pieces):
        step = takeoff.system.sheets.step if wanted.role == "sheet" else 1
        bought += _cut(wanted, market, takeoff.system.rails.kerf, step, faults)
    for row in takeoff.quantities:
        if row.role not in PIECE_ROLES and row.total:
            bought += _counted(row.role, row.colour, row.component, row.total, market, faults)
    if faults:
        raise Refused(faults)
    return bought


def delivery_fees(bought: Iterable[Bought], market: Market) -> list[Decimal]:
    """What each supplier of these asks for delivering its part, by the value of that part."""
    goods: dict[str, Decimal] = {}
    for one in bought:
        cost = one.quantity * one.price if one.cost is None else one.cost
        goods[one.supplier] = goods.get(one.supplier, Decimal(0)) + cost
    return [seller.delivery_fee(goods[seller.code]) for seller in market.sellers if goods.get(seller.code)]


def _wanted(pieces: Iterable[Piece]) -> list[_Wanted]:
    grouped: dict[tuple[str, str | None], dict[int, int]] = {}
    for piece in pieces:
        lengths = grouped.setdefault((piece.role, piece.colour), {})
        lengths[piece.length] = lengths.get(piece.length, 0) + piece.count
    return [
        _Wanted(role, colour, tuple(sorted(lengths.items(), reverse=True)))
        for (role, colour), lengths in grouped.items()
    ]


def _cut(wanted: _Wanted, market: Market, kerf: int, step: int, faults: list[Fault]) -> list[Bought]:
    """``step``: what is made to length comes in whole steps [mm]."""
    articles = [one for one in market.serving(wanted.role, wanted.colour) if market.offers(one.sku)]
    by_metre = [one for one in articles if one.length is None]
    stock = [one for one in articles if one.length is not None]
    if not articles:
        faults.append(_nobody(wanted.role, wanted.colour, market))
        return []
    if not stock:
        total = Decimal(sum(-(-length // step) * step * count for length, count in wanted.pieces)) / 1000
        return [_order(_cheapest(by_metre, total, market), wanted.colour, total, market)]
    counts = _one_each(wanted, stock, market) if wanted.role in ONE_EACH else _planned(wanted, stock, market, kerf)
    if counts is None:
        longest = max(one.length or 0 for one in stock)
        text = f"{_named(wanted.role, wanted.colour)}: {wanted.pieces[0][0]} mm is needed, the longest sold is {longest} mm."
        faults.append(Fault(f"/catalogue/{wanted.role}", "stock.short", text))
        return []
    by_sku = {one.sku: one for one in stock}
    return [_order(by_sku[sku], wanted.colour, Decimal(count), market) for sku, count in counts.items()]


def _one_each(wanted: _Wanted, stock: list[Article], market: Market) -> dict[str, int] | None:
    counts: dict[str, int] = {}
    for length, count in wanted.pieces:
        serving = [one for one in stock if (one.length or 0) >= length]
        if not serving:
            return None
        sku = min(serving, key=lambda one: (_least_price(one, market), one.length, one.sku)).sku
        counts[sku] = counts.get(sku, 0) + count
    return counts


def _planned(wanted: _Wanted, stock: list[Article], market: Market, kerf: int) -> dict[str, int] | None:
    rows = tuple(
        Stock(one.length or 0, int(_least_price(one, market).scaleb(DECIMALS)), label=one.sku) for one in stock
    )
    plan = plan_cuts(Demand(kerf, wanted.pieces, rows, DECIMALS), BUDGET)
    if plan.status is Status.INFEASIBLE:
        return None
    counts: dict[str, int] = {}
    for bar in plan.bars:
        sku = stock[bar.stock].sku
        counts[sku] = counts.get(sku, 0) + bar.count
    return counts


def _counted(
    role: str, colour: str | None, component: str | None, total: Decimal, market: Market, faults: list[Fault]
) -> list[Bought]:
    articles = [one for one in market.serving(role, colour) if market.offers(one.sku)]
    named = [one for one in articles if one.sku == component]
    finish = [one for one in articles if one.colour is not None]
    if not articles:
        faults.append(_nobody(role, colour, market))
        return []
    article = _cheapest(named or finish or articles, total, market)
    return [_order(article, colour, _in_sale_units(article, total), market)]


def _cheapest(articles: list[Article], quantity: Decimal, market: Market) -> Article:
    return min(articles, key=lambda one: (_best(one, _in_sale_units(one, quantity), market)[0], one.sku))


def _in_sale_units(article: Article, quantity: Decimal) -> Decimal:
    """Concrete is counted in cubic metres; a bag makes its yield of it."""
    return (quantity / article.bag_yield).to_integral_value(ROUND_CEILING) if article.bag_yield else quantity


def _best(article: Article, quantity: Decimal, market: Market) -> tuple[Decimal, Decimal, str]:
    """What it comes to, quantity ordered and supplier, where that is cheapest: whole packs, no less than the least quantity."""
    orders = [(_packed(quantity, sold), sold) for sold in market.offers(article.sku)]
    return min((ordered * sold.price_at(ordered), ordered, sold.supplier) for ordered, sold in orders)


def _packed(quantity: Decimal, sold: Sold) -> Decimal:
    least = max(quantity, sold.least_quantity)
    return (least / sold.pack).to_integral_value(ROUND_CEILING) * sold.pack


def _least_price(article: Article, market: Market) -> Decimal:
    return min(sold.price for sold in market.offers(article.sku))


def _order(article: Article, colour: str | None, quantity: Decimal, market: Market) -> Bought:
    cost, ordered, supplier = _best(article, quantity, market)
    price = cost / ordered if ordered else Decimal(0)
    named = (article.sku, article.label, article.role, colour)
    return Bought(*named, ordered, article.unit, price, cost=cost, supplier=supplier)


def _nobody(role: str, colour: str | None, market: Market) -> Fault:
    text = f"{_named(role, colour)}: no supplier sells it today."
    sold = {one.colour for one in market.articles if one.role == role and one.colour and market.offers(one.sku)}
    if sold:
        finishes = f"{role} is sold in {', '.join(sorted(sold))}; name one of them under colours in the measure."
        text = f"{text[:-1]}; {finishes}" if colour else f"No finish is chosen: {finishes}"
    return Fault(f"/catalogue/{role}", "price.missing", text)


def _named(role: str, colour: str | None) -> str:
    return f"{role} in {colour}" if colour else role
