"""What can be bought, as plain values: stock lengths and remnants, sheets, made-to-length items, counted things."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

ZERO = Decimal(0)
ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class StockLengthOption:
    """A stock length [mm] of a role; ``width`` for sheets. ``colour`` None serves every finish.

    ``have`` None: bought, as many as wanted. A number: a remnant (or bars) on hand, taken at ``price`` (usually 0) plus
    ``handling``. ``keep`` is the least length worth keeping, ``credit`` what such a remnant is worth.
    """

    sku: str
    role: str
    colour: str | None
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
            raise ValueError(f"{self.sku}: lengths and packs are above 0, prices not negative")

    def serves(self, role: str, colour: str | None) -> bool:
        """Whether this is sold for a role in a finish; where and how long [mm] is for :meth:`holds`. Source: house rule.

        >>> StockLengthOption("r", "rail", None, 2400, Decimal(19)).serves("rail", "slate")
        True
        """
        return self.role == role and self.colour in (None, colour)

    def holds(self, length: int, width: int) -> bool:
        """Whether a piece of ``length`` by ``width`` [mm] can be cut from it; what has no width is as wide as is asked.

        >>> StockLengthOption("s", "sheet", None, 1788, Decimal(21), width=822).holds(1788, 830)
        False
        """
        return self.length >= length and (self.width is None or self.width >= width)


@dataclass(frozen=True, slots=True)
class MadeItem:
    """Made to length by the supplier: lengths go up to the next ``step`` [mm], from ``shortest`` to ``longest``."""

    sku: str
    role: str
    colour: str | None
    price_per_metre: Decimal
    step: int = 1
    shortest: int = 1
    longest: int = 12_000
    width: int | None = None

    def serves(self, role: str, colour: str | None) -> bool:
        """Whether this is made for a role in a finish; how long [mm] is for :meth:`made`. Source: house rule.

        >>> MadeItem("s", "sheet", "slate", Decimal("9.00")).serves("sheet", "bone")
        False
        """
        return self.role == role and self.colour in (None, colour)

    def made(self, length: int) -> int | None:
        """The length [mm] to order for a piece of ``length`` [mm]; None where it can't be made. Source: common practice.

        >>> MadeItem("s", "sheet", None, Decimal("9.00"), step=50).made(1788)
        1800
        """
        ordered = max(-(-length // self.step), -(-self.shortest // self.step)) * self.step
        return ordered if ordered <= self.longest else None

    def price(self, length: int) -> Decimal:
        """Price of one piece ordered at ``length`` [mm]. Source: common practice.

        >>> MadeItem("s", "sheet", None, Decimal("9.00")).price(1800)
        Decimal('16.20')
        """
        return self.price_per_metre * length / 1000


@dataclass(frozen=True, slots=True)
class CountedItem:
    """Something sold by sale unit in packs."""

    sku: str
    role: str
    colour: str | None
    price: Decimal
    pack: Decimal = ONE
    least: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class StockOptions:
    """Everything on offer. ``kerf`` by role (mm, 0 where none is named); ``cut_from``: a role cut from another's stock.

    ``rip`` is the kerf [mm] when a sheet is ripped along its length; ``reuse_strips``: whether the strip left may serve where
    a narrow sheet is needed.
    """

    stock: tuple[StockLengthOption, ...] = ()
    made: tuple[MadeItem, ...] = ()
    counted: tuple[CountedItem, ...] = ()
    kerf: Mapping[str, int] = field(default_factory=dict)
    cut_from: Mapping[str, str] = field(default_factory=dict)
    rip: int = 0
    reuse_strips: bool = True

    def source_role(self, role: str) -> str:
        """The role whose stock a piece comes from [a role's code].

        >>> StockOptions(cut_from={"gate.rail": "rail"}).source_role("gate.rail")
        'rail'
        """
        return self.cut_from.get(role, role)
