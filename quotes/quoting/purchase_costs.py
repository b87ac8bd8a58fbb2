"""Purchase costs of one job: the cheapest split over suppliers, with packs, price breaks, deliveries and minimum orders.

Orders are planned again over all jobs, offcuts and suppliers. Savings from that do not change the price.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from fencing.buying.choose_suppliers import Sourcing, split
from fencing.buying.supplier_orders import Order, SupplierSplit
from fencing.buying.supplier_prices import PurchaseOptions, SupplierTermsAndPrices
from fencing.cutting import Demand
from fencing.model.faults import InvalidDocument
from fencing.quantities.take_off import TakeOff
from quotes.pricing.material_costs import MaterialPurchase
from quotes.quoting.content_costs import BuyingCosts, SingleSupplierCost, SupplierOrderCost
from quotes.quoting.required_articles import RequiredArticle, wanted_of

LENGTHS_BY = 6
"""Maximum number of suppliers for which stock lengths are chosen separately."""


@dataclass(frozen=True, slots=True)
class Buying:
    """Purchases by line, and their orders. ``short`` are suppliers whose minimum order is not reached."""

    bought: tuple[MaterialPurchase, ...]
    sourcing: Sourcing
    suppliers: tuple[SupplierTermsAndPrices, ...]
    short: tuple[str, ...]

    @property
    def orders(self) -> tuple[Order, ...]:
        """Return the orders, one for each supplier."""
        return self.sourcing.best.orders if self.sourcing.best else ()

    def name(self, code: str) -> str:
        """Return a supplier's name."""
        return next((supplier.name for supplier in self.suppliers if supplier.code == code and supplier.name), code)


def bought_for(takeoff: TakeOff, market: PurchaseOptions, digits: int = 2) -> Buying:
    """Return the cheapest purchase of everything a job needs. Raise InvalidDocument with every article that no supplier sells.

    Rule: stock lengths are chosen by the lowest price of each, and again for each supplier on its own. The list with the
    cheapest split (``fencing.buying.choose_suppliers.split``) is used, the first of equal ones. If no split reaches the
    minimum orders, the job is priced without them, with a note.
    """
    suppliers = market.suppliers
    lists = _lists(takeoff, market, suppliers)
    tried = [(wanted, _split(wanted, suppliers, digits)) for wanted in lists]
    wanted, sourcing = min(tried, key=lambda item: (item[1].best is None, item[1].best.total if item[1].best else 0))
    sourcing = replace(
        sourcing,
        alone={supplier.code: _least([own.alone[supplier.code] for _, own in tried]) for supplier in suppliers},
    )
    short: tuple[str, ...] = ()
    if sourcing.best is None:
        eased = [replace(supplier, minimum_order=Decimal(0)) for supplier in suppliers]
        sourcing = replace(_split(wanted, eased, digits), alone=sourcing.alone, refused=sourcing.refused)
        least = {supplier.code: supplier.minimum_order for supplier in suppliers}
        orders = sourcing.best.orders if sourcing.best else ()
        short = tuple(order.supplier for order in orders if order.goods < least[order.supplier])
    return Buying(tuple(_bought(wanted, sourcing, market)), sourcing, suppliers, short)


def _least(splits: Sequence[SupplierSplit | None]) -> SupplierSplit | None:
    return min((split for split in splits if split is not None), key=lambda item: item.total, default=None)


def _lists(
    takeoff: TakeOff, market: PurchaseOptions, suppliers: Sequence[SupplierTermsAndPrices]
) -> list[list[RequiredArticle]]:
    """Return the required articles with stock lengths at the lowest prices, and for each supplier alone; each list once."""
    plans: dict[Demand, dict[int, int] | None] = {}
    first, faults = wanted_of(takeoff, market, None, plans)
    if faults:
        raise InvalidDocument(faults)
    lists = [first]
    for supplier in suppliers if len(suppliers) <= LENGTHS_BY else ():
        wanted, _ = wanted_of(takeoff, market, supplier.code, plans)
        if wanted not in lists:
            lists.append(wanted)
    return lists


def _split(wanted: Sequence[RequiredArticle], suppliers: Sequence[SupplierTermsAndPrices], digits: int) -> Sourcing:
    needs: dict[str, Decimal | dict[str, Decimal]] = {}
    for item in wanted:
        before, ways = needs.get(item.name), dict(item.ways)
        if len(ways) > 1:
            needs[item.name] = ways
        else:  # several finishes may need the same stock length
            [amount] = ways.values()
            needs[item.name] = amount + (before if isinstance(before, Decimal) else Decimal(0))
    return split(needs, suppliers, digits=digits)


def _bought(wanted: Sequence[RequiredArticle], sourcing: Sourcing, market: PurchaseOptions) -> list[MaterialPurchase]:
    known = {item.sku: item for item in market.articles}
    roles: dict[str, list[RequiredArticle]] = {}
    for item in wanted:
        roles.setdefault(item.name, []).append(item)
    found: dict[str, MaterialPurchase] = {}
    for order in sourcing.best.orders if sourcing.best else ():
        for line in order.lines:
            article, own = known[line.component], roles[line.need]
            named = (article.sku, article.label, own[0].role, own[0].finish if len(own) == 1 else None)
            found[line.need] = MaterialPurchase(
                *named,
                line.ordered,
                article.unit,
                line.price,
                cost=line.cost,
                supplier=order.supplier,
                why=line.reason,
            )
    return [found[name] for name in roles]


def buying_costs(buying: Buying) -> BuyingCosts:
    """Return the orders by supplier, and the cost of buying everything from one; for the business only."""
    orders = tuple(
        SupplierOrderCost(
            order.supplier,
            buying.name(order.supplier),
            order.goods,
            order.delivery,
            order.total,
            "below its minimum order" if order.supplier in buying.short else "",
        )
        for order in buying.orders
    )
    alone = tuple(
        SingleSupplierCost(
            code,
            buying.name(code),
            item.total if item else None,
            "" if item else buying.sourcing.refused.get(code, ""),
        )
        for code, item in buying.sourcing.alone.items()
    )
    return BuyingCosts(orders, alone, buying.sourcing.gap)
