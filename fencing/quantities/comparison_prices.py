"""Prices for comparing ways to build a run.

The cost is an estimate for the choice, not a quote: each piece is priced from the cheapest stock that fits it. The savings of
a cutting plan are left out of every alternative. Money is ``Decimal`` in the business's currency.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from fencing.model.fence import Piece, Quantity
from fencing.model.roles import CUT_ROLES

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class StockPrice:
    """One stock length [mm] of a role and its price for each piece. If ``length`` is None, ``price`` is for each metre.

    If ``finish`` is None, it fits every finish.
    """

    role: str
    finish: str | None
    length: int | None
    price: Decimal

    def __post_init__(self) -> None:
        if self.price < 0 or (self.length is not None and self.length <= 0):
            raise ValueError(f"{self.role}: a stock length must be above 0 and a price must not be negative")

    def serves(self, role: str, finish: str | None, length: int) -> bool:
        """Return whether a piece of ``length`` [mm] can be cut from this stock. Source: common practice.

        >>> StockPrice("rail", None, 2400, Decimal(19)).serves("rail", "slate", 2401)
        False
        """
        return (
            self.role == role
            and (self.finish is None or self.finish == finish)
            and (self.length is None or self.length >= length)
        )

    def of(self, length: int) -> Decimal:
        """Return the price of one piece of ``length`` [mm] from this stock. Source: common practice.

        >>> StockPrice("sheet", None, None, Decimal("9.00")).of(1800)
        Decimal('16.20')
        """
        return self.price if self.length is not None else self.price * length / 1000


@dataclass(frozen=True, slots=True)
class LabourRates:
    """Labour rates: digging and filling a post hole, building a bay, the extra for a raked bay, one saw cut.

    ``hole_in`` is the rate of a hole by soil; ``hole`` is for every other soil.
    """

    hole: Decimal = ZERO
    bay: Decimal = ZERO
    raked_bay: Decimal = ZERO
    cut: Decimal = ZERO
    hole_in: Mapping[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class EstimateWork:
    """Counts for the labour cost. ``raked_bays`` are part of ``bays``; the holes are in ``soil``."""

    holes: int = 0
    bays: int = 0
    raked_bays: int = 0
    cuts: int = 0
    soil: str | None = None


@dataclass(frozen=True, slots=True)
class PriceList:
    """Prices of stock lengths, of items bought by count (``eaches`` by role and finish) and of labour."""

    stock: tuple[StockPrice, ...] = ()
    eaches: Mapping[tuple[str, str | None], Decimal] = field(default_factory=dict)
    labour: LabourRates = LabourRates()
    # cache: `auto` needs the same few lengths for every way to build
    _cache: dict[tuple[str, str | None, int], Decimal | None] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def piece(self, role: str, finish: str | None, length: int) -> Decimal | None:
        """Return the price of one piece of ``length`` mm from the cheapest stock that fits.

        Rule: the minimum price of the piece from all stock of that role that is long enough and has that finish or no
        finish.

        Args:
            role: role of ``fencing/model/roles.py``.
            finish: name of the finish, or None for any finish.
            length: needed length [mm, > 0].

        Returns:
            Price of one piece, or None if no stock fits.

        Source: house rule.

        Example:
            >>> short, long = StockPrice("rail", "slate", 2400, Decimal(19)), StockPrice("rail", "slate", 4800, Decimal(36))
            >>> rails = PriceList((short, long))
            >>> rails.piece("rail", "slate", 2200), rails.piece("rail", "slate", 3000), rails.piece("rail", "slate", 5000)
            (Decimal('19'), Decimal('36'), None)
        """
        key = (role, finish, length)
        if key not in self._cache:
            self._cache[key] = min((item.of(length) for item in self.stock if item.serves(*key)), default=None)
        return self._cache[key]

    def each(self, role: str, finish: str | None) -> Decimal | None:
        """Return the price of one sale unit of an item bought by count: of that finish, otherwise without a finish.

        Source: house rule.

        Example:
            >>> PriceList(eaches={("screw", None): Decimal("0.08")}).each("screw", "slate")
            Decimal('0.08')
        """
        priced = self.eaches.get((role, finish))
        return self.eaches.get((role, None)) if priced is None else priced


def estimate_cost(
    prices: PriceList, pieces: Iterable[Piece], quantities: Iterable[Quantity], work: EstimateWork = EstimateWork()
) -> Decimal | None:
    """Return the estimated cost of building, for comparing alternatives.

    Rule: each piece from the cheapest stock that fits, each counted item at its price with its allowance, labour at the four
    rates. Roles that are cut from stock are counted as pieces only, so that nothing is counted twice.

    Args:
        prices: the business's prices.
        pieces: pieces of the take-off.
        quantities: quantities of the take-off [sale units].
        work: counts for the labour cost.

    Returns:
        Money, not rounded; None if any needed item has no price, because then no comparison is possible.

    Source: house rule.

    Example:
        >>> prices = PriceList((StockPrice("rail", None, 2400, Decimal("19.50")),), labour=LabourRates(hole=Decimal("30")))
        >>> estimate_cost(prices, [Piece("rail", None, "slate", 2200, None, 4, ())], [], EstimateWork(holes=2))
        Decimal('138.00')
    """
    counted = [quantity for quantity in quantities if quantity.role not in CUT_ROLES]
    amounts: list[tuple[Decimal | None, Decimal]] = [
        *((prices.piece(piece.role, piece.finish, piece.length), Decimal(piece.count)) for piece in pieces),
        *((prices.each(quantity.role, quantity.finish), quantity.total) for quantity in counted),
    ]
    material = ZERO
    for price, number in amounts:
        if price is None:
            return None
        material += price * number
    rates = prices.labour
    hole = rates.hole_in.get(work.soil or "", rates.hole)
    labour = hole * work.holes + rates.bay * work.bays + rates.raked_bay * work.raked_bays + rates.cut * work.cuts
    return material + labour
