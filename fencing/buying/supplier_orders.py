"""Orders to suppliers before they are placed: quantities in packs with price breaks, in exact money."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from fencing.buying.packs import in_packs, plain
from fencing.buying.supplier_prices import SupplierPrice, SupplierTermsAndPrices

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class PurchasedComponent:
    """One component from one supplier. ``need`` is the name of its need; ``choice`` is the reason for this supplier."""

    component: str
    wanted: Decimal
    ordered: Decimal
    price: Decimal
    cost: Decimal
    why: str
    need: str = ""
    choice: str = ""

    @property
    def reason(self) -> str:
        """Return the reasons for the quantity and for the supplier."""
        return "; ".join(part for part in (self.why, self.choice) if part)


@dataclass(frozen=True, slots=True)
class Order:
    """Everything to order from one supplier."""

    supplier: str
    lines: tuple[PurchasedComponent, ...]
    goods: Decimal
    delivery: Decimal
    ready_in: int

    @property
    def total(self) -> Decimal:
        return self.goods + self.delivery


@dataclass(frozen=True, slots=True)
class SupplierSplit:
    """One way to buy everything; ``orders`` are sorted by the supplier's code."""

    orders: tuple[Order, ...]

    @property
    def total(self) -> Decimal:
        return sum((order.total for order in self.orders), ZERO)


def in_time(supplier: SupplierTermsAndPrices, offer: SupplierPrice, days: int | None) -> bool:
    """Return whether a supplier can deliver within ``days``."""
    return days is None or (supplier.lead if offer.lead is None else offer.lead) <= days


def in_money(amount: Decimal, digits: int | None) -> Decimal:
    """Round an amount to ``digits`` decimals, halves up; None: do not round."""
    return amount if digits is None else amount.quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)


def levels(wanted: Decimal, offer: SupplierPrice, digits: int | None = None) -> list[tuple[Decimal, Decimal]]:
    """Return quantities to consider with their cost: the needed quantity in packs, and each higher price break.

    Rule: order more only if the next break makes the total cheaper. Source: common practice.

    >>> levels(Decimal(95), SupplierPrice("s", Decimal(2), ((Decimal(100), Decimal("1.50")),), pack=Decimal(5)))
    [(Decimal('95'), Decimal('190')), (Decimal('100'), Decimal('150.00'))]
    """
    starts = [start for start, _ in offer.breaks if start > wanted]
    quantities = {in_packs(amount, offer.pack, offer.least).ordered for amount in (wanted, *starts)}
    return [(quantity, in_money(quantity * offer.unit_price(quantity), digits)) for quantity in sorted(quantities)]


@dataclass(frozen=True, slots=True)
class ChosenQuantity:
    """Quantity to buy for a need."""

    need: str
    component: str
    wanted: Decimal
    ordered: Decimal
    choice: str = ""


def order_from(supplier: SupplierTermsAndPrices, chosen: Iterable[ChosenQuantity], digits: int | None = None) -> Order:
    """Make the order to a supplier, in exact money."""
    offers = {offer.component: offer for offer in supplier.offers}
    lines = [_line(item, offers[item.component], digits) for item in sorted(chosen, key=lambda item: item.need)]
    goods = sum((line.cost for line in lines), ZERO)
    leads = [supplier.lead if (lead := offers[line.component].lead) is None else lead for line in lines]
    return Order(supplier.code, tuple(lines), goods, supplier.fee(goods), max(leads, default=0))


def _line(item: ChosenQuantity, offer: SupplierPrice, digits: int | None) -> PurchasedComponent:
    price, packed = offer.unit_price(item.ordered), in_packs(item.wanted, offer.pack, offer.least)
    reached = "" if item.ordered == packed.ordered else f"; {plain(item.ordered)} reach the price of {plain(price)}"
    cost = in_money(item.ordered * price, digits)
    return PurchasedComponent(
        item.component, item.wanted, item.ordered, price, cost, f"{packed.why}{reached}", item.need, item.choice
    )
