"""Suppliers of a day with their terms and prices, and the orders to them before they are placed, in exact money."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import cached_property

from fencing.buying.purchase_lines import in_packs, plain

ZERO = Decimal(0)
Bands = tuple[tuple[Decimal, Decimal], ...]
"""(from, amount) pairs, ascending. The amount of the last one reached applies."""


def find_amount(bands: Bands, value: Decimal, otherwise: Decimal = ZERO) -> Decimal:
    """Return the amount of the band that a value reaches; ``otherwise`` below the first. Source: common practice.

    >>> find_amount(((Decimal(10), Decimal("4.50")), (Decimal(50), Decimal("4.10"))), Decimal(49), Decimal("5.00"))
    Decimal('4.50')
    """
    reached = [amount for start, amount in bands if value >= start]
    return reached[-1] if reached else otherwise


@dataclass(frozen=True, slots=True)
class Article:
    """A component that can be bought. ``length`` [mm] is None if it is sold by the metre or by count.

    If ``finish`` is None, it fits every finish. ``bag_yield`` is the concrete of a bag [m3].
    """

    sku: str
    label: str
    role: str
    finish: str | None
    length: int | None
    height: int | None
    unit: str
    bag_yield: Decimal | None
    account: str

    def serves(self, role: str, finish: str | None) -> bool:
        """Return whether this is for a role in a finish. Source: house rule.

        >>> Article("r", "Rail", "rail", None, 2400, None, "C62", None, "").serves("rail", "slate")
        True
        """
        return self.role == role and self.finish in (None, finish)


@dataclass(frozen=True, slots=True)
class SupplierPrice:  # words: ok
    """A supplier's price of one sale unit of a component. ``breaks`` are (quantity from, price), ascending.

    The price of the highest break reached applies to the whole quantity. ``lead`` is in days; None: the supplier's lead time.
    """

    component: str
    price: Decimal
    breaks: Bands = ()
    pack: Decimal = Decimal(1)
    least: Decimal = ZERO
    lead: int | None = None
    supplier_sku: str = ""

    def unit_price(self, quantity: Decimal) -> Decimal:
        """Return the price of one sale unit for an order of ``quantity``.

        >>> SupplierPrice("R6", Decimal(31), ((Decimal(10), Decimal(29)),)).unit_price(Decimal(12))
        Decimal('29')
        """
        return find_amount(self.breaks, quantity, self.price)


@dataclass(frozen=True, slots=True)
class SupplierTermsAndPrices:
    """Supplier with its terms and prices.

    ``minimum_order`` is the minimum value of goods. ``delivery`` are (goods' value from, fee), ascending. ``name`` is for people;
    if it is empty, the code is shown.
    """

    code: str
    offers: tuple[SupplierPrice, ...] = ()
    minimum_order: Decimal = ZERO
    delivery: Bands = ()
    lead: int = 0
    preferred: bool = False
    name: str = ""

    def fee(self, goods: Decimal) -> Decimal:
        """Return the delivery fee for goods of that value.

        >>> SupplierTermsAndPrices("near", delivery=((Decimal(0), Decimal(40)), (Decimal(500), Decimal(0)))).fee(Decimal(120))
        Decimal('40')
        """
        return find_amount(self.delivery, goods)


@dataclass(frozen=True)
class PurchaseOptions:
    """Everything that can be bought on a day."""

    articles: tuple[Article, ...] = ()
    suppliers: tuple[SupplierTermsAndPrices, ...] = ()

    @cached_property
    def _prices(self) -> dict[str, dict[str, SupplierPrice]]:
        """Return the prices by component and supplier's code."""
        prices: dict[str, dict[str, SupplierPrice]] = {}
        for supplier in self.suppliers:
            for price in supplier.offers:
                prices.setdefault(price.component, {})[supplier.code] = price
        return prices

    def supplier(self, code: str) -> SupplierTermsAndPrices:
        """Return a supplier; one without terms and prices for an unknown code.

        >>> near = SupplierTermsAndPrices("near", (SupplierPrice("R6", Decimal(31)),))
        >>> far = SupplierTermsAndPrices("far", (SupplierPrice("R6", Decimal(29)),), name="Far Steel")
        >>> PurchaseOptions((), (near, far)).supplier("far").name
        'Far Steel'
        """
        return next((item for item in self.suppliers if item.code == code), SupplierTermsAndPrices(code))

    def price(self, sku: str, supplier: str) -> SupplierPrice | None:
        """Return a supplier's price of a component, or None if it does not sell it.

        >>> near = SupplierTermsAndPrices("near", (SupplierPrice("R6", Decimal(31)),))
        >>> far = SupplierTermsAndPrices("far", (SupplierPrice("R6", Decimal(29)),), name="Far Steel")
        >>> PurchaseOptions((), (near, far)).price("R6", "near").price
        Decimal('31')
        """
        return self._prices.get(sku, {}).get(supplier)

    def cheapest(self, sku: str, supplier: str | None = None) -> SupplierPrice | None:
        """Return the lowest price of a component, of equal ones that of the first supplier by code; None if no supplier sells it.

        If a supplier is named, only its price counts.

        >>> near = SupplierTermsAndPrices("near", (SupplierPrice("R6", Decimal(31)),))
        >>> far = SupplierTermsAndPrices("far", (SupplierPrice("R6", Decimal(29)),), name="Far Steel")
        >>> PurchaseOptions((), (near, far)).cheapest("R6").price
        Decimal('29')
        """
        if supplier is not None:
            return self.price(sku, supplier)
        prices = self._prices.get(sku)
        return prices[min(prices, key=lambda code: (prices[code].price, code))] if prices else None

    def sold(self, role: str, finish: str | None) -> Iterator[Article]:
        """Yield the articles of a role in a finish that a supplier sells."""
        return (item for item in self.articles if item.serves(role, finish) and item.sku in self._prices)


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


def is_in_time(supplier: SupplierTermsAndPrices, offer: SupplierPrice, days: int | None) -> bool:
    """Return whether a supplier can deliver within ``days``.

    >>> near = SupplierTermsAndPrices("near", lead=5)
    >>> is_in_time(near, SupplierPrice("R6", Decimal(31)), 3), is_in_time(near, SupplierPrice("R6", Decimal(31), lead=2), 3)
    (False, True)
    """
    return days is None or (supplier.lead if offer.lead is None else offer.lead) <= days


def round_money(amount: Decimal, digits: int | None) -> Decimal:
    """Round an amount to ``digits`` decimals, halves up; None: do not round.

    >>> round_money(Decimal("16.205"), 2), round_money(Decimal("16.205"), None)
    (Decimal('16.21'), Decimal('16.205'))
    """
    return amount if digits is None else amount.quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)


def list_quantities(needed: Decimal, offer: SupplierPrice, digits: int | None = None) -> list[tuple[Decimal, Decimal]]:
    """Return quantities to consider with their cost: the needed quantity in packs, and each higher price break.

    Rule: order more only if the next break makes the total cheaper. Source: common practice.

    >>> list_quantities(Decimal(95), SupplierPrice("s", Decimal(2), ((Decimal(100), Decimal("1.50")),), pack=Decimal(5)))
    [(Decimal('95'), Decimal('190')), (Decimal('100'), Decimal('150.00'))]
    """
    starts = [start for start, _ in offer.breaks if start > needed]
    quantities = {in_packs(amount, offer.pack, offer.least).ordered for amount in (needed, *starts)}
    return [(quantity, round_money(quantity * offer.unit_price(quantity), digits)) for quantity in sorted(quantities)]


@dataclass(frozen=True, slots=True)
class ChosenQuantity:
    """Quantity to buy for a need."""

    need: str
    component: str
    wanted: Decimal
    ordered: Decimal
    choice: str = ""


def build_order(supplier: SupplierTermsAndPrices, chosen: Iterable[ChosenQuantity], digits: int | None = None) -> Order:
    """Make the order to a supplier, in exact money."""
    offers = {offer.component: offer for offer in supplier.offers}
    lines = [_build_line(item, offers[item.component], digits) for item in sorted(chosen, key=lambda item: item.need)]
    goods = sum((line.cost for line in lines), ZERO)
    leads = [supplier.lead if (lead := offers[line.component].lead) is None else lead for line in lines]
    return Order(supplier.code, tuple(lines), goods, supplier.fee(goods), max(leads, default=0))


def _build_line(item: ChosenQuantity, offer: SupplierPrice, digits: int | None) -> PurchasedComponent:
    price, packed = offer.unit_price(item.ordered), in_packs(item.wanted, offer.pack, offer.least)
    reached = "" if item.ordered == packed.ordered else f"; {plain(item.ordered)} reach the price of {plain(price)}"
    cost = round_money(item.ordered * price, digits)
    return PurchasedComponent(
        item.component, item.wanted, item.ordered, price, cost, f"{packed.why}{reached}", item.need, item.choice
    )
