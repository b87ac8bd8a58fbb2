"""Purchase: its lines with their reasons, cutting plans and sheets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from fencing.cutting import CutBar, CutPlan
from fencing.model.pieces import Piece


@dataclass(frozen=True, slots=True)
class PurchaseLine:
    """Line of a purchase. ``net`` is needed, ``ordered`` is bought or used from stock (never less), in sale units (``unit``).

    ``length`` [mm] is set for stock lengths. ``on_hand`` lines come from own stock and cost only their handling. ``price`` is
    for one sale unit. ``why`` has sentences that explain the line.
    ``ways`` are the equivalent counted components, with the sale units of each.
    """

    role: str
    finish: str | None
    sku: str
    unit: str
    net: Decimal
    allowance: Decimal
    ordered: Decimal
    price: Decimal
    cost: Decimal
    why: tuple[str, ...]
    length: int | None = None
    on_hand: bool = False
    ways: Mapping[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SawLabel:
    """Label of a cut piece: its role and its location."""

    role: str
    length: int
    used_at: str


@dataclass(frozen=True, slots=True)
class SawnBar:
    """One bar to cut: its stock, its pieces in cutting order, and the offcut with its name (None: scrap)."""

    sku: str
    number: int
    length: int
    trim: int
    pieces: tuple[SawLabel, ...]
    left: int
    remnant: str | None


@dataclass(frozen=True, slots=True)
class Cutting:
    """Part of a purchase for one material: pieces, cutting plan, and each bar with its labels."""

    role: str
    finish: str | None
    kerf: int
    pieces: tuple[Piece, ...]
    plan: CutPlan
    bars: tuple[SawnBar, ...]


@dataclass(frozen=True, slots=True)
class Blank:
    """One sheet to buy or to use from stock: its length and width, and the sheets cut from it, with their locations."""

    sku: str
    finish: str | None
    length: int
    width: int | None
    cost: Decimal
    takes: tuple[tuple[int, int | None, str], ...]
    """(blank length, width, where)."""
    why: str
    on_hand: bool = False


@dataclass(frozen=True, slots=True)
class Missing:
    """Needed item that no stock option fits."""

    role: str
    finish: str | None
    length: int | None
    count: Decimal
    text: str


@dataclass(frozen=True, slots=True)
class Purchase:
    """Whole purchase: lines, cutting plans, sheets and missing items."""

    lines: tuple[PurchaseLine, ...]
    cuttings: tuple[Cutting, ...]
    blanks: tuple[Blank, ...]
    missing: tuple[Missing, ...]

    @property
    def total(self) -> Decimal:
        """Return the sum of the printed lines [the business's currency].

        >>> line = PurchaseLine("rail", None, "r48", "C62", Decimal(2), Decimal(0), Decimal(2), Decimal(36), Decimal(72), ())
        >>> Purchase((line, line), (), (), ()).total
        Decimal('144')
        """
        return sum((line.cost for line in self.lines), Decimal(0))

    @property
    def gap_ppm(self) -> int:
        """Return the largest gap of the cutting plans [ppm over the cheapest]; 0 if nothing is cut.

        >>> Purchase((), (), (), ()).gap_ppm
        0
        """
        return max((cutting.plan.gap_ppm for cutting in self.cuttings), default=0)


def bars_in(plan: CutPlan) -> list[CutBar]:
    """Return each bar separately, in the order of the plan [lengths in mm].

    >>> from fencing.cutting import Demand, StockLength, plan_cuts
    >>> plan = plan_cuts(Demand(3, ((2390, 4),), (StockLength(4800, 36),)))
    >>> [bar.cuts for bar in bars_in(plan)]  # two of 2390 and a saw cut of 3 are 4783
    [((2390, 2),), ((2390, 2),)]
    """
    return [bar for bar in plan.bars for _ in range(bar.count)]
