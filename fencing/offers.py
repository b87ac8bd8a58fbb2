"""What suppliers ask, and what an order to one of them costs, in exact money."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from fencing.packs import in_packs

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Offer:
    """A supplier's price of a component for one sale unit. ``breaks`` are (quantity from, price), ascending.

    The price of the highest break reached counts for the whole quantity. ``lead`` days; None: the supplier's own.
    """

    component: str
    price: Decimal
    breaks: tuple[tuple[Decimal, Decimal], ...] = ()
    pack: Decimal = Decimal(1)
    least: Decimal = ZERO
    lead: int | None = None

    def unit_price(self, quantity: Decimal) -> Decimal:
        """Price of one sale unit when ``quantity`` is ordered."""
        reached = [price for start, price in self.breaks if quantity >= start]
        return reached[-1] if reached else self.price


@dataclass(frozen=True, slots=True)
class Supplier:
    """``least_order`` is the goods' value under which no order is taken; ``delivery`` are (goods' value from, fee), ascending."""

    code: str
    offers: tuple[Offer, ...]
    least_order: Decimal = ZERO
    delivery: tuple[tuple[Decimal, Decimal], ...] = ()
    lead: int = 0
    preferred: bool = False

    def fee(self, goods: Decimal) -> Decimal:
        """Delivery fee of an order of that value."""
        reached = [fee for start, fee in self.delivery if goods >= start]
        return reached[-1] if reached else ZERO


@dataclass(frozen=True, slots=True)
class Bought:
    """One component from one supplier."""

    component: str
    wanted: Decimal
    ordered: Decimal
    price: Decimal
    cost: Decimal
    why: str


@dataclass(frozen=True, slots=True)
class Order:
    """All that one supplier is asked for."""

    supplier: str
    lines: tuple[Bought, ...]
    goods: Decimal
    delivery: Decimal
    ready_in: int

    @property
    def total(self) -> Decimal:
        return self.goods + self.delivery


@dataclass(frozen=True, slots=True)
class Split:
    """One way to buy everything; ``orders`` in the order of the suppliers."""

    orders: tuple[Order, ...]

    @property
    def total(self) -> Decimal:
        return sum((order.total for order in self.orders), ZERO)


def in_time(supplier: Supplier, offer: Offer, days: int | None) -> bool:
    """Whether an offer can be there when it is needed."""
    return days is None or (supplier.lead if offer.lead is None else offer.lead) <= days


def levels(wanted: Decimal, offer: Offer) -> list[tuple[Decimal, Decimal]]:
    """Quantities worth ordering with their cost: what is wanted in packs, and each break beyond it where that is cheaper.

    Rule: more is ordered only where the next break makes the whole cheaper than less would be. Source: common practice.

    >>> levels(Decimal(95), Offer("s", Decimal(2), ((Decimal(100), Decimal("1.50")),), pack=Decimal(5)))
    [(Decimal('95'), Decimal('190')), (Decimal('100'), Decimal('150.00'))]
    """
    starts = [start for start, _ in offer.breaks if start > wanted]
    quantities = {in_packs(amount, offer.pack, offer.least).ordered for amount in (wanted, *starts)}
    found: list[tuple[Decimal, Decimal]] = []
    for quantity in sorted(quantities):
        cost = quantity * offer.unit_price(quantity)
        found.append((quantity, cost))
    return found


def order_from(supplier: Supplier, chosen: Mapping[str, tuple[Decimal, Decimal]]) -> Order:
    """The order for (wanted, ordered) by component, in exact money."""
    offers = {offer.component: offer for offer in supplier.offers}
    lines: list[Bought] = []
    for component, (wanted, ordered) in sorted(chosen.items()):
        offer = offers[component]
        price = offer.unit_price(ordered)
        why = in_packs(wanted, offer.pack, offer.least)
        text = why.why if ordered == why.ordered else f"{why.why}; {ordered} reach the price of {price}"
        lines.append(Bought(component, wanted, ordered, price, ordered * price, text))
    goods = sum((line.cost for line in lines), ZERO)
    leads = [supplier.lead if (lead := offers[name].lead) is None else lead for name in chosen]
    return Order(supplier.code, tuple(lines), goods, supplier.fee(goods), max(leads, default=0))
