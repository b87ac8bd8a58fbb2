"""Purchase costs of one job: the cheapest split over suppliers, with packs, price breaks, deliveries and minimum orders.

Orders are planned again over all jobs, offcuts and suppliers. Savings from that do not change the price.
"""

from __future__ import annotations

from dataclasses import dataclass

from fencing.buying.buy import OrderLimits, PurchaseResult, buy
from fencing.buying.choose_suppliers import Sourcing
from fencing.buying.needs import QUOTE_POLICY, Need, needs
from fencing.buying.suppliers import Order, PurchaseOptions
from fencing.model.faults import Fault, InvalidDocument
from fencing.quantities.take_off import TakeOff
from quotes.pricing.material_costs import MaterialPurchase
from quotes.quoting.content_costs import BuyingCosts, SingleSupplierCost, SupplierOrderCost


@dataclass(frozen=True, slots=True)
class Buying:
    """Purchases by line, and their orders. ``short`` are suppliers whose minimum order is not reached."""

    bought: tuple[MaterialPurchase, ...]
    sourcing: Sourcing
    market: PurchaseOptions
    short: tuple[str, ...]

    @property
    def orders(self) -> tuple[Order, ...]:
        """Return the orders, one for each supplier."""
        return self.sourcing.best.orders if self.sourcing.best else ()

    def name(self, code: str) -> str:
        """Return a supplier's name."""
        return self.market.supplier(code).name or code


def bought_for(takeoff: TakeOff, market: PurchaseOptions, digits: int = 2) -> Buying:
    """Return the cheapest purchase of everything a job needs. Raise InvalidDocument with every article that no supplier sells.

    Rule: ``fencing.buying.buy`` by the policy of quotes. If no split over the suppliers reaches the minimum orders, the job is
    priced without them, with a note.
    """
    found = buy(needs(takeoff), market, QUOTE_POLICY, limits=OrderLimits(digits=digits))
    if found.missing:
        longest: dict[tuple[str, str | None], int] = {}
        for item in found.missing:
            longest.setdefault((item.role, item.finish), item.length or 0)
        raise InvalidDocument(_fault(*named, length, market) for named, length in longest.items())
    return Buying(tuple(_purchases(found, market)), found.sourcing, market, found.short)


def _purchases(found: PurchaseResult, market: PurchaseOptions) -> list[MaterialPurchase]:
    """Return what is bought, in the order in which the pieces are cut."""
    cut = [(cutting.finish, bar.sku) for cutting in found.purchase.cuttings for bar in cutting.bars]
    used = list(dict.fromkeys([*cut, *((blank.finish, blank.sku) for blank in found.purchase.blanks)]))
    materials = list(dict.fromkeys((need.role, need.finish) for need in found.needs))

    def position(need: Need) -> tuple[int, int]:
        first = (need.finish, next(iter(need.ways)))
        return materials.index((need.role, need.finish)), used.index(first) if first in used else 0

    known = {item.sku: item for item in market.articles}
    own: dict[str, list[Need]] = {}
    for need in sorted(found.needs, key=position):
        own.setdefault(need.name, []).append(need)
    bought: dict[str, MaterialPurchase] = {}
    for order in found.sourcing.best.orders if found.sourcing.best else ():
        for line in order.lines:
            article, finishes = known[line.component], {need.finish for need in own[line.need]}
            bought[line.need] = MaterialPurchase(
                article.sku,
                article.label,
                own[line.need][0].role,
                finishes.pop() if len(finishes) == 1 else None,
                line.ordered,
                article.unit,
                line.price,
                cost=line.cost,
                supplier=order.supplier,
                why=line.reason,
            )
    return [bought[name] for name in own]


def _fault(role: str, finish: str | None, length: int, market: PurchaseOptions) -> Fault:
    """Return the error for an article that no supplier sells, or that is too short."""
    name, pointer = f"{role} in {finish}" if finish else role, f"/catalogue/{role}"
    sold = list(market.sold(role, finish))
    if sold:
        longest = max(item.length or 0 for item in sold)
        return Fault(pointer, "stock.short", f"{name}: {length} mm is needed, the longest sold is {longest} mm.")
    text = f"{name}: no supplier sells it today."
    others = {
        item.finish for item in market.articles if item.role == role and item.finish and market.cheapest(item.sku)
    }
    if others:
        finishes = f"{role} is sold in {', '.join(sorted(others))}; name one of them under finishes in the measure."
        text = f"{text[:-1]}; {finishes}" if finish else f"No finish is chosen: {finishes}"
    return Fault(pointer, "price.missing", text)


def buying_costs(buying: Buying) -> BuyingCosts:
    """Return the orders by supplier, and the cost of buying everything from one; for the business only."""
    notes = dict.fromkeys(buying.short, "below its minimum order")
    orders = tuple(
        SupplierOrderCost(code, buying.name(code), order.goods, order.delivery, order.total, notes.get(code, ""))
        for code, order in ((order.supplier, order) for order in buying.orders)
    )
    alone = tuple(
        SingleSupplierCost(
            code, buying.name(code), item.total if item else None, "" if item else buying.sourcing.refused.get(code, "")
        )
        for code, item in buying.sourcing.alone.items()
    )
    return BuyingCosts(orders, alone, buying.sourcing.gap)
