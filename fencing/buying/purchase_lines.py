"""What is to be bought, line by line, each with the reasons for it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from fencing.cutting import CutBar, CutPlan
from fencing.model.pieces import Piece


@dataclass(frozen=True, slots=True)
class PurchaseLine:
    """``net`` is what the job needs, ``ordered`` what is bought or taken (never less), in sale units (``unit``).

    ``length`` [mm] of each for what comes in lengths; ``on_hand`` lines are taken from stock and cost only their handling.
    ``price`` is for one sale unit. ``why`` are sentences for the person who asks.
    """

    role: str
    colour: str | None
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


@dataclass(frozen=True, slots=True)
class SawLabel:
    """A piece at the saw: what it is for and where it goes."""

    role: str
    length: int
    where: str


@dataclass(frozen=True, slots=True)
class SawnBar:
    """One physical bar: its stock, its pieces in the order of cutting, the remnant and the name to write on it (None: scrap)."""

    sku: str
    number: int
    length: int
    trim: int
    pieces: tuple[SawLabel, ...]
    left: int
    remnant: str | None


@dataclass(frozen=True, slots=True)
class Cutting:
    """One material's part of the purchase: which pieces, which plan, and each bar with its labels."""

    role: str
    colour: str | None
    kerf: int
    pieces: tuple[Piece, ...]
    plan: CutPlan
    bars: tuple[SawnBar, ...]


@dataclass(frozen=True, slots=True)
class Blank:
    """One sheet to buy or take: its stock length and width, and the sheets got from it, with their places."""

    sku: str
    colour: str | None
    length: int
    width: int | None
    cost: Decimal
    takes: tuple[tuple[int, int | None, str], ...]
    """(blank length, width, where)."""
    why: str
    on_hand: bool = False


@dataclass(frozen=True, slots=True)
class Missing:
    """What nothing on the market serves."""

    role: str
    colour: str | None
    length: int | None
    count: Decimal
    text: str


@dataclass(frozen=True, slots=True)
class Purchase:
    """The whole purchase. ``total`` is the sum of the printed lines; ``bound`` what bars can't cost less than."""

    lines: tuple[PurchaseLine, ...]
    cuttings: tuple[Cutting, ...]
    blanks: tuple[Blank, ...]
    missing: tuple[Missing, ...]

    @property
    def total(self) -> Decimal:
        """What the printed lines come to [the business's currency].

        >>> line = PurchaseLine("rail", None, "r48", "C62", Decimal(2), Decimal(0), Decimal(2), Decimal(36), Decimal(72), ())
        >>> Purchase((line, line), (), (), ()).total
        Decimal('144')
        """
        return sum((line.cost for line in self.lines), Decimal(0))

    @property
    def gap_ppm(self) -> int:
        """The worst gap among the cutting plans [ppm over the cheapest]; 0 where nothing is cut.

        >>> Purchase((), (), (), ()).gap_ppm
        0
        """
        return max((cutting.plan.gap_ppm for cutting in self.cuttings), default=0)


def bars_in(plan: CutPlan) -> list[CutBar]:
    """Each physical bar by itself, in the order of the plan [lengths in mm].

    >>> from fencing.cutting import Demand, Stock, plan_cuts
    >>> plan = plan_cuts(Demand(3, ((2390, 4),), (Stock(4800, 36),)))
    >>> [bar.cuts for bar in bars_in(plan)]  # two of 2390 and a saw cut of 3 are 4783
    [((2390, 2),), ((2390, 2),)]
    """
    return [bar for bar in plan.bars for _ in range(bar.count)]
