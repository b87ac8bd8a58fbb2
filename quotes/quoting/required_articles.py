"""Articles a job needs, before suppliers are chosen. Cut items come from the cheapest cutting plan."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, Decimal

from fencing.buying.supplier_prices import Article, PurchaseOptions
from fencing.cutting import Budget, Demand, Status, StockLength, plan_cuts
from fencing.model.faults import Fault
from fencing.model.pieces import Piece, Quantity
from fencing.model.roles import CUT_ROLES, ROLES
from fencing.quantities.take_off import TakeOff

BUDGET = Budget(work=400_000, seconds=2.0, polish=False)
DECIMALS = 4  # of catalogue prices

Ways = Mapping[str, Decimal]
"""Suitable articles, and the sale units of each."""


@dataclass(frozen=True, slots=True)
class RequiredArticle:
    """An article to buy: ``ways`` has one article, or several to choose from. ``finish`` None: for every finish."""

    role: str
    finish: str | None
    ways: Ways

    @property
    def name(self) -> str:
        """Return the name of the required article."""
        skus = sorted(self.ways)
        return skus[0] if len(skus) == 1 else f"{self.role} ({', '.join(skus)})"


@dataclass(slots=True)
class _ArticleReader:
    """Reads the articles of a take-off. Stock lengths have the prices of ``supplier`` if it is given and sells suitable ones."""

    market: PurchaseOptions
    kerf: int
    step: int
    supplier: str | None
    plans: dict[Demand, dict[int, int] | None]
    faults: list[Fault] = field(default_factory=list)
    rows: list[RequiredArticle] = field(default_factory=list)

    def pieces(self, pieces: Iterable[Piece]) -> None:
        grouped: dict[tuple[str, str | None], dict[int, int]] = {}
        for piece in pieces:
            lengths = grouped.setdefault((piece.role, piece.finish), {})
            lengths[piece.length] = lengths.get(piece.length, 0) + piece.count
        for (role, finish), lengths in grouped.items():
            self._cut(role, finish, tuple(sorted(lengths.items(), reverse=True)))

    def _cut(self, role: str, finish: str | None, pieces: tuple[tuple[int, int], ...]) -> None:
        articles = self._articles(role, finish)
        stock = [article for article in articles if article.length is not None]
        if not articles:
            return
        if not stock:
            step = self.step if role == "sheet" else 1
            total = Decimal(sum(-(-length // step) * step * count for length, count in pieces)) / 1000
            self.rows.append(RequiredArticle(role, finish, {article.sku: total for article in articles}))
            return
        counts = self._counts(role, stock, pieces)
        if counts is None:
            longest = max(item.length or 0 for item in stock)
            text = f"{_article_name(role, finish)}: {pieces[0][0]} mm is needed, the longest sold is {longest} mm."
            self.faults.append(Fault(f"/catalogue/{role}", "stock.short", text))
            return
        self.rows += [RequiredArticle(role, finish, {sku: Decimal(count)}) for sku, count in counts.items()]

    def _counts(self, role: str, stock: list[Article], pieces: tuple[tuple[int, int], ...]) -> dict[str, int] | None:
        own = self._priced(stock, self.supplier)
        way = _one_each if ROLES[role].one_each else self._planned
        counts = way(own, pieces) if own else None
        return way(self._priced(stock, None), pieces) if counts is None else counts

    def _priced(self, stock: list[Article], supplier: str | None) -> list[tuple[Article, Decimal]]:
        """Return articles at the lowest price, or those of a supplier at its own price."""
        offers = [(article, self.market.cheapest(article.sku, supplier)) for article in stock]
        return [(article, offer.price) for article, offer in offers if offer is not None]

    def _planned(
        self, stock: list[tuple[Article, Decimal]], pieces: tuple[tuple[int, int], ...]
    ) -> dict[str, int] | None:
        rows = tuple(
            StockLength(item.length or 0, int(price.scaleb(DECIMALS)), label=item.sku) for item, price in stock
        )
        demand = Demand(self.kerf, pieces, rows, DECIMALS)
        if demand not in self.plans:
            self.plans[demand] = _bars(demand)
        bars = self.plans[demand]
        return None if bars is None else {stock[place][0].sku: count for place, count in bars.items()}

    def counted(self, quantities: Iterable[Quantity]) -> None:
        """Add up the quantities that the same articles serve, over all finishes."""
        pooled: dict[tuple[str, ...], list[tuple[str | None, Ways]]] = {}
        for row in quantities:
            if row.role in CUT_ROLES or not row.total:
                continue
            articles = self._articles(row.role, row.finish)
            named = [article for article in articles if article.sku == row.component]
            finish = [article for article in articles if article.finish is not None]
            ways = {item.sku: row.total for item in named or finish or articles}
            if ways:
                pooled.setdefault((row.role, *sorted(ways)), []).append((row.finish, ways))
        known = {article.sku: article for article in self.market.articles}
        for (role, *skus), found in pooled.items():
            finishes = {finish for finish, _ in found}
            total = {sku: sum((ways[sku] for _, ways in found), Decimal(0)) for sku in skus}
            ways = {sku: _in_sale_units(known[sku], amount) for sku, amount in total.items()}
            self.rows.append(RequiredArticle(role, finishes.pop() if len(finishes) == 1 else None, ways))

    def _articles(self, role: str, finish: str | None) -> list[Article]:
        """Return the articles of the role that a supplier sells; record an error if there are none."""
        articles = list(self.market.sold(role, finish))
        if not articles:
            self.faults.append(_nobody(role, finish, self.market))
        return articles


def wanted_of(
    takeoff: TakeOff, market: PurchaseOptions, supplier: str | None, plans: dict[Demand, dict[int, int] | None]
) -> tuple[list[RequiredArticle], list[Fault]]:
    """Return the required articles of a job, and an error for each that no supplier sells.

    ``supplier``: stock lengths are chosen as if it were the only supplier.

    ``plans`` keeps cutting plans between calls.
    """
    reader = _ArticleReader(market, takeoff.system.rails.kerf, takeoff.system.sheets.step, supplier, plans)
    reader.pieces(takeoff.pieces)
    reader.counted(takeoff.quantities)
    return reader.rows, reader.faults


def _one_each(stock: list[tuple[Article, Decimal]], pieces: tuple[tuple[int, int], ...]) -> dict[str, int] | None:
    counts: dict[str, int] = {}
    for length, count in pieces:
        serving = [(price, item.length or 0, item.sku) for item, price in stock if (item.length or 0) >= length]
        if not serving:
            return None
        _, _, sku = min(serving)
        counts[sku] = counts.get(sku, 0) + count
    return counts


def _bars(demand: Demand) -> dict[int, int] | None:
    """Return the number of bars by the index of their stock length."""
    plan = plan_cuts(demand, BUDGET)
    if plan.status is Status.INFEASIBLE:
        return None
    counts: dict[int, int] = {}
    for bar in plan.bars:
        counts[bar.stock] = counts.get(bar.stock, 0) + bar.count
    return counts


def _in_sale_units(article: Article, quantity: Decimal) -> Decimal:
    """Return a quantity in sale units: concrete is counted in cubic metres and sold in bags."""
    return (quantity / article.bag_yield).to_integral_value(ROUND_CEILING) if article.bag_yield else quantity


def _nobody(role: str, finish: str | None, market: PurchaseOptions) -> Fault:
    text = f"{_article_name(role, finish)}: no supplier sells it today."
    sold = {
        article.finish
        for article in market.articles
        if article.role == role and article.finish and market.cheapest(article.sku)
    }
    if sold:
        finishes = f"{role} is sold in {', '.join(sorted(sold))}; name one of them under finishes in the measure."
        text = f"{text[:-1]}; {finishes}" if finish else f"No finish is chosen: {finishes}"
    return Fault(f"/catalogue/{role}", "price.missing", text)


def _article_name(role: str, finish: str | None) -> str:
    return f"{role} in {finish}" if finish else role
