"""Stock options as plain values: stock lengths, offcuts, sheets, made-to-length items and counted items."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, Decimal

from fencing.buying.needs import BuyingPolicy, Needs
from fencing.buying.suppliers import PurchaseOptions
from fencing.model.roles import CUT_ROLES

ZERO = Decimal(0)
ONE = Decimal(1)
CUBIC_METRE = "MTQ"


@dataclass(frozen=True, slots=True)
class StockLengthOption:
    """A stock length [mm] of a role; ``width`` is for sheets. If ``finish`` is None, it fits every finish.

    If ``have`` is None, any number can be bought. Otherwise it is the number on hand (offcuts or full lengths), at ``price``
    (usually 0) plus ``handling``. ``keep`` is the minimum length of an offcut to keep, ``credit`` is its value.
    """

    sku: str
    role: str
    finish: str | None
    length: int
    price: Decimal
    width: int | None = None
    have: int | None = None
    handling: Decimal = ZERO
    trim: int = 0
    keep: int = 1000
    credit: Decimal = ZERO
    pack: int = 1
    least: int = 0

    def __post_init__(self) -> None:
        if self.length <= 0 or self.price < 0 or self.handling < 0 or self.pack < 1:
            raise ValueError(f"{self.sku}: lengths and packs must be above 0, prices must not be negative")

    def serves(self, role: str, finish: str | None) -> bool:
        """Return whether this is sold for a role in a finish; :meth:`holds` checks sizes [mm]. Source: house rule.

        >>> StockLengthOption("r", "rail", None, 2400, Decimal(19)).serves("rail", "slate")
        True
        """
        return self.role == role and self.finish in (None, finish)

    def holds(self, length: int, width: int) -> bool:
        """Return whether a piece of ``length`` by ``width`` [mm] can be cut from it; without a width, any width fits.

        >>> StockLengthOption("s", "sheet", None, 1788, Decimal(21), width=822).holds(1788, 830)
        False
        """
        return self.length >= length and (self.width is None or self.width >= width)


@dataclass(frozen=True, slots=True)
class MadeItem:
    """Item made to length by the supplier: in steps of ``step`` [mm], from ``shortest`` to ``longest``."""

    sku: str
    role: str
    finish: str | None
    price_per_metre: Decimal
    step: int = 1
    shortest: int = 1
    longest: int = 12_000
    width: int | None = None

    def serves(self, role: str, finish: str | None) -> bool:
        """Return whether this is made for a role in a finish; :meth:`made` checks the length [mm]. Source: house rule.

        >>> MadeItem("s", "sheet", "slate", Decimal("9.00")).serves("sheet", "bone")
        False
        """
        return self.role == role and self.finish in (None, finish)

    def made(self, length: int) -> int | None:
        """Return the length [mm] to order for a piece of ``length`` [mm], or None if it can't be made.

        Source: common practice.

        >>> MadeItem("s", "sheet", None, Decimal("9.00"), step=50).made(1788)
        1800
        """
        ordered = max(-(-length // self.step), -(-self.shortest // self.step)) * self.step
        return ordered if ordered <= self.longest else None

    def price(self, length: int) -> Decimal:
        """Return the price of one piece ordered at ``length`` [mm]. Source: common practice.

        >>> MadeItem("s", "sheet", None, Decimal("9.00")).price(1800)
        Decimal('16.20')
        """
        return self.price_per_metre * length / 1000


@dataclass(frozen=True, slots=True)
class CountedItem:
    """Item sold by sale unit in packs."""

    sku: str
    role: str
    finish: str | None
    price: Decimal
    pack: Decimal = ONE
    least: Decimal = ZERO
    bag_yield: Decimal | None = None

    def sale_units(self, quantity: Decimal, unit: str) -> Decimal:
        """Return a quantity in sale units: concrete in cubic metres is sold in bags. Source: common practice.

        >>> str(CountedItem("b", "concrete.bag", None, ONE, bag_yield=Decimal("0.015")).sale_units(Decimal("0.33"), "MTQ"))
        '22'
        """
        if self.bag_yield is None or unit != CUBIC_METRE:
            return quantity
        return (quantity / self.bag_yield).to_integral_value(ROUND_CEILING)


@dataclass(frozen=True, slots=True)
class OnHand:
    """Quantity of a component in stock; ``length`` [mm] if it comes in lengths."""

    sku: str
    role: str
    finish: str | None
    length: int | None
    have: Decimal


@dataclass(frozen=True, slots=True)
class StockOptions:
    """All stock options. ``kerf`` is by role (mm, 0 if not stated); ``cut_from`` maps a role to the role of its stock.

    ``rip`` is the kerf [mm] when a sheet is ripped along its length. If ``reuse_strips`` is true, the strip that is left may be
    used as a narrow sheet.
    """

    stock: tuple[StockLengthOption, ...] = ()
    made: tuple[MadeItem, ...] = ()
    counted: tuple[CountedItem, ...] = ()
    kerf: Mapping[str, int] = field(default_factory=dict)
    cut_from: Mapping[str, str] = field(default_factory=dict)
    rip: int = 0
    reuse_strips: bool = True

    def source_role(self, role: str) -> str:
        """Return the role whose stock a piece comes from [a role's code].

        >>> StockOptions(cut_from={"gate.rail": "rail"}).source_role("gate.rail")
        'rail'
        """
        return self.cut_from.get(role, role)


def stock_options(
    options: PurchaseOptions,
    needed: Needs,
    policy: BuyingPolicy,
    on_hand: Iterable[OnHand] = (),
    supplier: str | None = None,
) -> StockOptions:
    """Return what a plan may choose from: the stock, and each article at its lowest price.

    If a supplier is named, only its stock lengths [mm] are returned, at its own prices.

    Source: house rule.

    >>> from fencing.buying.needs import ORDER_POLICY
    >>> from fencing.buying.suppliers import Article, SupplierPrice, SupplierTermsAndPrices
    >>> bar = Article("R6", "Rail", "rail", None, 6000, None, "C62", None, "")
    >>> near = SupplierTermsAndPrices("near", (SupplierPrice("R6", Decimal(31), pack=Decimal(5)),))
    >>> [item] = stock_options(PurchaseOptions((bar,), (near,)), Needs((), (), 3), ORDER_POLICY).stock
    >>> item.length, item.pack, str(item.price)
    (6000, 5, '31')
    """
    strips = None if policy.one_each else needed.strip_width
    widths = {"sheet": strips}
    stock = [
        StockLengthOption(
            item.sku, item.role, item.finish, item.length or 0, ZERO, width=widths.get(item.role), have=int(item.have)
        )
        for item in on_hand
    ]
    made, counted = list[MadeItem](), list[CountedItem]()
    for article in options.articles:
        best = options.cheapest(article.sku, supplier if article.length is not None else None)
        if best is None:
            continue
        named = (article.sku, article.role, article.finish)
        if article.role not in CUT_ROLES:
            counted.append(CountedItem(*named, best.price, best.pack, bag_yield=article.bag_yield))
        elif article.length is None:
            step = needed.sheet_step if article.role == "sheet" else 1
            made.append(MadeItem(*named, best.price, step, width=widths.get(article.role)))
        else:
            pack = max(1, int(best.pack.to_integral_value(ROUND_CEILING)))
            stock.append(
                StockLengthOption(*named, article.length, best.price, width=widths.get(article.role), pack=pack)
            )
    kerfs = dict.fromkeys(CUT_ROLES - {"sheet"}, needed.kerf)
    return StockOptions(
        tuple(stock), () if supplier else tuple(made), tuple(counted), kerfs, {}, needed.kerf, strips is not None
    )
