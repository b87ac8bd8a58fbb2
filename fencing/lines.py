"""What is to be bought, line by line, each with the reasons for it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from fencing.cutting import Bar, CutPlan
from fencing.piece import Piece


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
class Label:
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
    pieces: tuple[Label, ...]
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
        return sum((line.cost for line in self.lines), Decimal(0))

    @property
    def gap_ppm(self) -> int:
        """The worst gap among the cutting plans."""
        return max((cutting.plan.gap_ppm for cutting in self.cuttings), default=0)


def bars_in(plan: CutPlan) -> list[Bar]:
    """Each physical bar by itself, in the order of the plan."""
    return [bar for bar in plan.bars for _ in range(bar.count)]
