"""Purchase options of a day: components, and the suppliers with their terms and prices."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

ZERO = Decimal(0)
Bands = tuple[tuple[Decimal, Decimal], ...]
"""(from, amount) pairs, ascending. The amount of the last one reached applies."""


def amount_at(bands: Bands, value: Decimal, otherwise: Decimal = ZERO) -> Decimal:
    """Return the amount of the band that a value reaches; ``otherwise`` below the first. Source: common practice.

    >>> amount_at(((Decimal(10), Decimal("4.50")), (Decimal(50), Decimal("4.10"))), Decimal(49), Decimal("5.00"))
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
        """Return the price of one sale unit for an order of ``quantity``."""
        return amount_at(self.breaks, quantity, self.price)


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
        """Return the delivery fee for goods of that value."""
        return amount_at(self.delivery, goods)


@dataclass(frozen=True)
class PurchaseOptions:
    """Everything that can be bought on a day."""

    articles: tuple[Article, ...] = ()
    suppliers: tuple[SupplierTermsAndPrices, ...] = ()

    @cached_property
    def _prices(self) -> dict[str, dict[str, SupplierPrice]]:
        """Return the prices by component and supplier's code."""
        found: dict[str, dict[str, SupplierPrice]] = {}
        for supplier in self.suppliers:
            for price in supplier.offers:
                found.setdefault(price.component, {})[supplier.code] = price
        return found

    def supplier(self, code: str) -> SupplierTermsAndPrices:
        """Return a supplier; one without terms and prices for an unknown code."""
        return next((item for item in self.suppliers if item.code == code), SupplierTermsAndPrices(code))

    def price(self, sku: str, supplier: str) -> SupplierPrice | None:
        """Return a supplier's price of a component, or None if it does not sell it."""
        return self._prices.get(sku, {}).get(supplier)

    def cheapest(self, sku: str, supplier: str | None = None) -> SupplierPrice | None:
        """Return the lowest price of a component, of equal ones that of the first supplier by code; None if no supplier sells it.

        If a supplier is named, only its price counts.
        """
        if supplier is not None:
            return self.price(sku, supplier)
        prices = self._prices.get(sku)
        return prices[min(prices, key=lambda code: (prices[code].price, code))] if prices else None

    def sold(self, role: str, finish: str | None) -> Iterator[Article]:
        """Yield the articles of a role in a finish that a supplier sells."""
        return (item for item in self.articles if item.serves(role, finish) and item.sku in self._prices)
