"""Purchase options of a day, as plain values: supplier, component, price, pack and terms."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from catalogue.rules.price_bands import Bands, amount_at
from fencing.buying.supplier_prices import SupplierPrice, SupplierTermsAndPrices


@dataclass(frozen=True, slots=True)
class SupplierListing:
    """One supplier's offer for one component, in the component's sale unit. ``lead_time_days`` includes the supplier's own."""

    supplier: str
    sku: str
    supplier_sku: str
    price: Decimal
    breaks: Bands
    pack: Decimal
    minimum_quantity: Decimal
    lead_time_days: int

    def price_at(self, quantity: Decimal) -> Decimal:
        """Return the price of one sale unit for an ordered quantity."""
        return amount_at(self.breaks, quantity, self.price)


@dataclass(frozen=True, slots=True)
class Seller:
    """A supplier and what it asks for any order: ``delivery`` is a fee by order value."""

    code: str
    name: str
    preferred: bool
    minimum_order: Decimal
    delivery: Bands

    def delivery_fee(self, order_value: Decimal) -> Decimal:
        """Fee for delivering an order of this value."""
        return amount_at(self.delivery, order_value, Decimal(0))


@dataclass(frozen=True, slots=True)
class Article:
    """A component as buying sees it. ``length`` None: sold by the metre, or no piece at all."""

    sku: str
    label: str
    role: str
    finish: str | None
    length: int | None
    height: int | None
    unit: str
    bag_yield: Decimal | None
    account: str


@dataclass(frozen=True, slots=True)
class PurchaseOptions:
    """Everything that can be bought on a day."""

    articles: tuple[Article, ...]
    sellers: tuple[Seller, ...]
    sold: tuple[SupplierListing, ...]

    def serving(self, role: str, finish: str | None) -> tuple[Article, ...]:
        """Articles of a role in a finish; those of no finish serve every finish."""
        return tuple(article for article in self.articles if article.role == role and article.finish in {None, finish})

    def offers(self, sku: str) -> tuple[SupplierListing, ...]:
        """Every supplier's offer for an article."""
        return tuple(item for item in self.sold if item.sku == sku)

    def suppliers(self) -> list[SupplierTermsAndPrices]:
        """Suppliers with their offers, as the split over them asks for them; one without terms asks nothing of an order."""
        offers: dict[str, list[SupplierPrice]] = {}
        for item in self.sold:
            offer = SupplierPrice(
                item.sku, item.price, item.breaks, item.pack, item.minimum_quantity, item.lead_time_days
            )
            offers.setdefault(item.supplier, []).append(offer)
        known = {item.code: item for item in self.sellers}
        plain = [Seller(code, code, False, Decimal(0), ()) for code in offers if code not in known]
        return [
            SupplierTermsAndPrices(
                item.code,
                tuple(offers.get(item.code, ())),
                item.minimum_order,
                item.delivery,
                preferred=item.preferred,
                name=item.name,
            )
            for item in [*self.sellers, *plain]
        ]
