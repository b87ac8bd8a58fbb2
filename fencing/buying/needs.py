"""Needs of a job, and how a purchase for them may be planned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from fencing.cutting import CONSOLIDATED, ORDER, Budget
from fencing.model.fence import Piece, Quantity
from fencing.quantities.take_off import TakeOff


@dataclass(frozen=True, slots=True)
class Needs:
    """Pieces and quantities to buy, with the saw cut [mm] and the length step [mm] of sheets made to length.

    ``strip_width`` is the width of a sheet [mm] if its ripped strips can be reused on the same job, otherwise None.
    """

    pieces: tuple[Piece, ...]
    quantities: tuple[Quantity, ...]
    kerf: int
    sheet_step: int = 1
    strip_width: int | None = None


def needs(taken: TakeOff) -> Needs:
    """Return what the take-off of a job needs, before stock lengths and suppliers are chosen.

    Source: house rule.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> own = needs(take_off(TWO_BAYS, ROUND_SIZES))
    >>> own.strip_width, [piece.length for piece in own.pieces if piece.role == "rail"]
    (830, [2355])
    """
    system = taken.system
    strips = system.sheets.width if system.sheets.reuse_strips else None
    return Needs(taken.pieces, taken.quantities, system.rails.kerf, system.sheets.step, strips)


@dataclass(frozen=True, slots=True)
class BuyingPolicy:
    """Rules that a purchase is planned by; everything else is the same for a quote and an order.

    - ``budget``: work limit of each cutting plan.
    - ``one_each``: posts take a length of their own, sheets are not cut from strips, and made-to-length articles are bought
      only if there are no stock lengths. Otherwise all of them may be combined.
    - ``any_component``: of equivalent components the supplier search takes one. Otherwise the one with the lowest price.
    - ``own_lengths``: maximum number of suppliers for which stock lengths are chosen by their own prices too.
    - ``below_minimum``: if no split reaches the minimum orders, they are ignored.
    """

    budget: Budget
    one_each: bool = False
    any_component: bool = False
    own_lengths: int = 0
    below_minimum: bool = False


QUOTE_POLICY = BuyingPolicy(Budget(400_000, 2, polish=False), True, True, 6, True)
ORDER_POLICY = BuyingPolicy(ORDER)
COMBINED_POLICY = BuyingPolicy(CONSOLIDATED)


@dataclass(frozen=True, slots=True)
class Need:
    """Goods that come completely from one supplier. ``ways`` are the components that fit, with the sale units of each.

    ``count`` pieces of ``length`` [mm] if they are made to length; ``why`` has sentences that explain the quantity.
    """

    role: str
    finish: str | None
    ways: Mapping[str, Decimal]
    length: int | None = None
    count: int | None = None
    why: tuple[str, ...] = field(default=(), compare=False)

    @property
    def name(self) -> str:
        """Return the component, or the role with all components that fit. Needs of equal names are bought together."""
        skus = sorted(self.ways)
        return skus[0] if len(skus) == 1 else f"{self.role} ({', '.join(skus)})"

    @property
    def quantity(self) -> Decimal:
        """Return the sale units of the first component that fits."""
        return next(iter(self.ways.values()))
