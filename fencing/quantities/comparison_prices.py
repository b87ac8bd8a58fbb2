"""What the business pays, as far as the engine needs it to compare one way of building with another.

An estimate for choosing, not a quote: pieces are priced from the cheapest stock that serves each of them alone, so what a
cutting plan would save is left out of every alternative alike. Money is ``Decimal`` in the business's own currency.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from fencing.model.pieces import Piece, Quantity

PIECE_ROLES = frozenset(
    {"post.channel", "post.square", "post.extension", "rail", "sheet", "lattice", "gate.stile", "gate.rail"}
)
"""Roles that are cut from stock lengths; every other role is bought by count, bag or volume."""

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class StockPrice:
    """One stock length [mm] of a role and its price a piece; ``length`` None is sold by the metre, at ``price`` a metre.

    ``colour`` None serves every finish.
    """

    role: str
    colour: str | None
    length: int | None
    price: Decimal

    def __post_init__(self) -> None:
        if self.price < 0 or (self.length is not None and self.length <= 0):
            raise ValueError(f"{self.role}: a stock length is above 0 and a price is not negative")

    def serves(self, role: str, colour: str | None, length: int) -> bool:
        """Whether a piece of ``length`` [mm] can come from this stock. Source: common practice.

        >>> StockPrice("rail", None, 2400, Decimal(19)).serves("rail", "slate", 2401)
        False
        """
        return (
            self.role == role
            and (self.colour is None or self.colour == colour)
            and (self.length is None or self.length >= length)
        )

    def of(self, length: int) -> Decimal:
        """Price of one piece of ``length`` [mm] taken from this stock. Source: common practice.

        >>> StockPrice("sheet", None, None, Decimal("9.00")).of(1800)
        Decimal('16.20')
        """
        return self.price if self.length is not None else self.price * length / 1000


@dataclass(frozen=True, slots=True)
class LabourRates:
    """Labour by what is counted: a post hole dug and filled, a bay erected, what a raked bay takes more, one saw cut.

    ``hole_in`` is what a hole costs in a soil; ``hole`` is for every other soil.
    """

    hole: Decimal = ZERO
    bay: Decimal = ZERO
    raked_bay: Decimal = ZERO
    cut: Decimal = ZERO
    hole_in: Mapping[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class EstimateWork:
    """What labour is counted by. ``raked_bays`` are among the ``bays``; the holes are in ``soil``."""

    holes: int = 0
    bays: int = 0
    raked_bays: int = 0
    cuts: int = 0
    soil: str | None = None


@dataclass(frozen=True, slots=True)
class PriceList:
    """Prices of stock lengths, of things bought by count (``eaches`` by role and colour) and of labour."""

    stock: tuple[StockPrice, ...] = ()
    eaches: Mapping[tuple[str, str | None], Decimal] = field(default_factory=dict)
    labour: LabourRates = LabourRates()
    # `auto` asks for the same few lengths once for every way to build; an answer never changes
    _known: dict[tuple[str, str | None, int], Decimal | None] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def piece(self, role: str, colour: str | None, length: int) -> Decimal | None:
        """Price of one piece of ``length`` mm: the cheapest stock that serves.

        Rule: among the stock of that role which is at least as long and of that colour (or of no particular colour), the
        least price of the piece.

        Args:
            role: role of ``fencing/model/roles.py``.
            colour: finish by name, None where it does not matter.
            length: what is needed [mm, > 0].

        Returns:
            Price of one piece, or None where no stock serves.

        Source: house rule.

        Example:
            >>> short, long = StockPrice("rail", "slate", 2400, Decimal(19)), StockPrice("rail", "slate", 4800, Decimal(36))
            >>> rails = PriceList((short, long))
            >>> rails.piece("rail", "slate", 2200), rails.piece("rail", "slate", 3000), rails.piece("rail", "slate", 5000)
            (Decimal('19'), Decimal('36'), None)
        """
        wanted = (role, colour, length)
        if wanted not in self._known:
            serving = [item.of(length) for item in self.stock if item.serves(*wanted)]
            self._known[wanted] = min(serving, default=None)
        return self._known[wanted]

    def each(self, role: str, colour: str | None) -> Decimal | None:
        """Price of one sale unit [money] of what is bought by count: of that colour, otherwise of no particular colour.

        Source: house rule.

        Example:
            >>> PriceList(eaches={("screw", None): Decimal("0.08")}).each("screw", "slate")
            Decimal('0.08')
        """
        priced = self.eaches.get((role, colour))
        return self.eaches.get((role, None)) if priced is None else priced


def _pieces_cost(prices: PriceList, pieces: Iterable[Piece]) -> Decimal | None:
    total = ZERO
    for piece in pieces:
        price = prices.piece(piece.role, piece.colour, piece.length)
        if price is None:
            return None
        total += price * piece.count
    return total


def _counted_cost(prices: PriceList, quantities: Iterable[Quantity]) -> Decimal | None:
    total = ZERO
    for quantity in quantities:
        if quantity.role in PIECE_ROLES:
            continue
        price = prices.each(quantity.role, quantity.colour)
        if price is None:
            return None
        total += price * quantity.total
    return total


def cost_of(
    prices: PriceList, pieces: Iterable[Piece], quantities: Iterable[Quantity], work: EstimateWork = EstimateWork()
) -> Decimal | None:
    """What building it costs, as an estimate to compare alternatives by.

    Rule: each piece at the cheapest stock that serves it, each counted thing at its price with its allowance, labour at the
    four rates. Quantities of the roles that are cut from stock are left to the pieces, so nothing is counted twice.

    Args:
        prices: the business's prices.
        pieces: pieces of the take-off.
        quantities: quantities of the take-off [sale units].
        work: counts that labour is paid by.

    Returns:
        Money, not rounded; None where anything needed has no price, because then nothing can be compared.

    Source: house rule.

    Example:
        >>> prices = PriceList((StockPrice("rail", None, 2400, Decimal("19.50")),), labour=LabourRates(hole=Decimal("30")))
        >>> cost_of(prices, [Piece("rail", None, "slate", 2200, None, 4, ())], [], EstimateWork(holes=2))
        Decimal('138.00')
    """
    of_pieces, of_counted = _pieces_cost(prices, pieces), _counted_cost(prices, quantities)
    if of_pieces is None or of_counted is None:
        return None
    rates = prices.labour
    hole = rates.hole_in.get(work.soil or "", rates.hole)
    labour = hole * work.holes + rates.bay * work.bays + rates.raked_bay * work.raked_bays + rates.cut * work.cuts
    return of_pieces + of_counted + labour
