"""Purchase: its lines in whole packs with their reasons, cutting plans and sheets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, Decimal

from fencing.cutting import CutBar, CutPlan
from fencing.model.fence import Piece


@dataclass(frozen=True, slots=True)
class PackQuantity:
    """Quantity in packs: ``ordered`` sale units in ``packs`` packs; ``spare`` is the surplus."""

    packs: int
    ordered: Decimal
    spare: Decimal
    why: str


def in_packs(needed: Decimal, pack: Decimal = Decimal(1), minimum: Decimal = Decimal(0)) -> PackQuantity:
    """Round a quantity up to whole packs and to the minimum order.

    Rule: order nothing if nothing is needed; otherwise the fewest whole packs for the needed quantity and the minimum order.

    Args:
        needed: quantity with its allowance [sale units, >= 0].
        pack: sale units in a pack [> 0].
        minimum: minimum order [sale units, >= 0].

    Returns:
        Packs, sale units ordered (never less than needed), and the surplus.

    Raises:
        ValueError: the pack is empty, or a quantity is negative.

    Source: common practice.

    Example:
        >>> in_packs(Decimal(328), Decimal(100)).ordered
        Decimal('400')
        >>> in_packs(Decimal(3), Decimal(1), minimum=Decimal(10)).why
        '3 needed, the minimum order is 10'
    """
    if pack <= 0 or needed < 0 or minimum < 0:
        raise ValueError("a pack must be above 0, and quantities must not be negative")
    if not needed:
        return PackQuantity(0, Decimal(0), Decimal(0), "nothing needed")
    packs = int((max(needed, minimum) / pack).to_integral_value(ROUND_CEILING))
    ordered = packs * pack
    held = f"{packs} pack{'s' if packs != 1 else ''} of {plain(pack)}"
    if minimum > needed:
        why = f"{plain(needed)} needed, the minimum order is {plain(minimum)}"
    elif ordered == needed:
        why = f"{plain(needed)} needed" + (f", {held}" if pack != 1 else "")
    else:
        why = f"{plain(needed)} needed, {held} hold{'s' if packs == 1 else ''} {plain(ordered)}"
    return PackQuantity(packs, ordered, ordered - needed, why)


def plain(number: Decimal) -> str:
    """Format a quantity without trailing zeros.

    >>> plain(Decimal("12.500")), plain(Decimal("400"))
    ('12.5', '400')
    """
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


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


def list_bars(plan: CutPlan) -> list[CutBar]:
    """Return each bar separately, in the order of the plan [lengths in mm].

    >>> from fencing.cutting import Demand, StockLength, plan_cuts
    >>> plan = plan_cuts(Demand(3, ((2390, 4),), (StockLength(4800, 36),)))
    >>> [bar.cuts for bar in list_bars(plan)]  # two of 2390 and a saw cut of 3 are 4783
    [((2390, 2),), ((2390, 2),)]
    """
    return [bar for bar in plan.bars for _ in range(bar.count)]
