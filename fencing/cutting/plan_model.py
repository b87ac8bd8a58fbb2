"""Values of a cutting plan: the demand, the work that a search may spend on it, the plan and its proof.

Lengths are integer mm, prices whole units of the price's last decimal. Work is counted, not timed, so that a search stops
at the same point on every machine.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

DEMAND_SCHEMA = "cut-demand-2"
"""Name of the document format, in its optional member ``schema`` and under ``/schemas``."""
KEEP_DEFAULT = 1000
"""Default minimum length [mm] of an offcut to keep. Source: house rule."""


@dataclass(frozen=True, slots=True)
class StockLength:
    """One stock length. ``have`` None: no limit. ``trim`` is lost off the ends of every bar.

    ``handling`` is paid for each bar used, on top of its price. ``credit`` is earned for a bar with an offcut of at
    least ``keep``. Money is in units of ``10 ** -decimals`` of the demand.
    """

    length: int
    price: int
    have: int | None = None
    trim: int = 0
    handling: int = 0
    keep: int = KEEP_DEFAULT
    credit: int = 0
    label: str | None = None

    @property
    def cost(self) -> int:
        """The cost of using one bar, before any credit.

        >>> StockLength(4800, 3650, handling=50).cost
        3700
        """
        return self.price + self.handling

    @property
    def usable(self) -> int:
        """The length [mm] that pieces may be cut from.

        >>> StockLength(4800, 3650, trim=20).usable
        4780
        """
        return self.length - self.trim


@dataclass(frozen=True, slots=True)
class Demand:
    """Pieces and stock. ``pieces`` are (length, count), each length once, longest first; ``decimals`` of the prices."""

    kerf: int
    pieces: tuple[tuple[int, int], ...]
    stock: tuple[StockLength, ...]
    decimals: int = 2

    @property
    def count(self) -> int:
        """The number of pieces.

        >>> Demand(3, ((2390, 4), (2100, 2)), ()).count
        6
        """
        return sum(count for _, count in self.pieces)


@dataclass(frozen=True, slots=True)
class Budget:
    """The effort limit of a search. ``work`` is counted, not timed, so that every machine gives the same plan.

    One unit is about a microsecond of one core. ``seconds`` is the time limit of the worker process: when it is
    reached, the best plan so far is returned and marked ``stopped_early``. ``polish``: also look for the longest
    offcut and the fewest patterns at the same cost.
    """

    work: int = 2_000_000
    seconds: float = 2.0
    polish: bool = True


INTERACTIVE = Budget()
ORDER = Budget(work=10_000_000, seconds=10.0)
CONSOLIDATED = Budget(work=60_000_000, seconds=60.0)


class Spent(Exception):
    """Raised when the allowed work is used up, or when a caller stops the search."""


class Effort:
    """Counter of work units of about a microsecond; ``beat`` is called now and then and may return False to stop the search."""

    __slots__ = ("beat", "done", "limit", "next_beat")

    BEAT = 100_000

    def __init__(self, limit: int, beat: Callable[[], bool] | None = None) -> None:
        self.limit = limit
        self.done = 0
        self.beat = beat
        self.next_beat = self.BEAT

    @property
    def left(self) -> int:
        return max(0, self.limit - self.done)

    def note(self, units: int) -> None:
        """Count finished work without stopping."""
        self.done += units

    def spend(self, units: int) -> None:
        """Count work; stop at the limit."""
        self.done += units
        if self.done > self.limit:
            raise Spent
        if self.beat is not None and self.done >= self.next_beat:
            self.next_beat = self.done + self.BEAT
            if not self.beat():
                raise Spent


PLAN_SCHEMA = "cutplan-2"
"""Name of the document format, in its member ``schema`` and under ``/schemas``."""


class Status(StrEnum):
    OPTIMAL = "optimal"
    GAP = "gap"
    INFEASIBLE = "infeasible"


@dataclass(frozen=True, slots=True)
class CutBar:
    """A bar of one stock row, used ``count`` times. ``cuts`` are (length, count), longest first; ``left`` in mm.

    ``keep``: the offcut is long enough to keep. ``credited``: it earned the stock's credit.
    """

    stock: int
    count: int
    cuts: tuple[tuple[int, int], ...]
    left: int
    keep: bool
    credited: bool = False


@dataclass(frozen=True, slots=True)
class ProofEnd:
    """An end without a cheaper plan: prices of the pieces, and ``fees`` of the branches above, outermost first."""

    values: tuple[int, ...]
    fees: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class PatternBranch:
    """At most ``most`` bars of a kind (None: any) that hold at least ``holds`` (piece, times) in ``under``, more in ``over``."""

    kind: int | None
    holds: tuple[tuple[int, int], ...]
    most: int
    under: PatternBranch | ProofEnd
    over: PatternBranch | ProofEnd


@dataclass(frozen=True, slots=True)
class ProofLeaf:
    """A box closed by whole prices on the pieces (``values``, in the demand's order) or by ``mip``, or left ``open``.

    ``listed``: the values leave few enough patterns to list, and ``packing`` closes those.
    """

    proof: str
    bound: int
    values: tuple[int, ...]
    packing: PatternBranch | ProofEnd | None = None


@dataclass(frozen=True, slots=True)
class ProofBranch:
    """At most ``most`` bars of a kind in ``under``, more in ``over``."""

    kind: int
    most: int
    under: ProofBranch | ProofLeaf
    over: ProofBranch | ProofLeaf


@dataclass(frozen=True, slots=True)
class Certificate:
    """Proof of the bound. ``kinds`` lists the (stock row, with credit) of each kind.

    ``scale`` units of value make one unit of ``money``, which is a number of units of the price.
    """

    kinds: tuple[tuple[tuple[int, bool], ...], ...]
    scale: int
    money: int
    tree: ProofBranch | ProofLeaf


@dataclass(frozen=True, slots=True)
class CutPlan:
    """The cheapest bars found.

    ``cost`` and ``bound`` in units of the price; ``nowhere``: (length, count) that fit no stock.
    """

    demand: Demand
    status: Status
    bars: tuple[CutBar, ...]
    cost: int
    bound: int
    nowhere: tuple[tuple[int, int], ...] = ()
    stopped_early: bool = False
    certificate: Certificate | None = None

    @property
    def gap_ppm(self) -> int:
        """The maximum excess of the cost over the bound, in parts per million of the cost, rounded up.

        >>> CutPlan(Demand(3, ((2390, 4),), ()), Status.GAP, (), cost=1000, bound=999).gap_ppm
        1000
        """
        return -(-(self.cost - self.bound) * 1_000_000 // self.cost) if self.cost else 0

    @property
    def proof(self) -> str:
        """The basis of the bound: ``exact`` if whole numbers can be checked, ``solver`` if part of it relies on a solver."""
        return "solver" if self.certificate is not None and _relies_on_solver(self.certificate.tree) else "exact"

    def money(self, units: int) -> str:
        """Format a price with the decimals of the demand.

        >>> CutPlan(Demand(3, ((2390, 4),), ()), Status.OPTIMAL, (), 7300, 7300).money(7300)
        '73.00'
        """
        return format_money(units, self.demand.decimals)

    def document(self) -> dict[str, object]:
        """Return the document of ``cutplan-2.json``."""
        if self.status is Status.INFEASIBLE:
            nowhere = [[length, count] for length, count in self.nowhere]
            return {
                "schema": PLAN_SCHEMA,
                "result": self.status.value,
                "unplaced_pieces": nowhere,
                "summary": _explain_infeasible(self),
            }
        plan: dict[str, object] = {
            "schema": PLAN_SCHEMA,
            "result": self.status.value,
            "cost": self.money(self.cost),
            "lower_bound": self.money(self.bound),
            "gap_ppm": self.gap_ppm,
            "bars": self._bars(),
        }
        if self.proof != "exact":
            plan["proof"] = self.proof
        if self.stopped_early:
            plan["stopped_early"] = True
        return plan

    def _bars(self) -> list[dict[str, object]]:
        """Return each pattern once. Equal bars of two stock rows are counted together."""
        merged: dict[str, tuple[dict[str, object], int]] = {}
        for bar in self.bars:
            row = self._bar(bar)
            _, count = merged.get(str(row), (row, 0))
            merged[str(row)] = (row, count + bar.count)
        return [item | {"count": count} for item, count in merged.values()]

    def _bar(self, bar: CutBar) -> dict[str, object]:
        stock = self.demand.stock[bar.stock]
        row: dict[str, object] = {"stock_mm": stock.length, "price": self.money(stock.price), "count": 0}
        row["cuts"] = [[length, count] for length, count in bar.cuts]
        row |= {"offcut_mm": bar.left, "keep": bar.keep}
        if stock.handling:
            row["handling"] = self.money(stock.handling)
        if bar.credited:
            row["offcut_credit"] = self.money(stock.credit)
        if stock.label:
            row["label"] = stock.label
        return row


Progress = Callable[[CutPlan | None], bool]
"""Callback for each better plan (None: no news). Return False to stop."""


def format_money(units: int, decimals: int) -> str:
    """Format units of the last decimal as text.

    >>> format_money(12480, 2), format_money(5, 0)
    ('124.80', '5')
    """
    return f"{Decimal(units).scaleb(-decimals):.{decimals}f}"


def calculate_rest(demand: Demand, row: int, cuts: tuple[tuple[int, int], ...]) -> int:
    """Return the length [mm] that remains of a bar; negative if the cuts do not fit.

    Rule: n pieces take n - 1 kerfs between them, and one more when something is left after it.
    """
    pieces = sum(count for _, count in cuts)
    rest = demand.stock[row].usable - sum(length * count for length, count in cuts) - max(0, pieces - 1) * demand.kerf
    if not pieces or rest < 0:
        return rest
    return max(0, rest - demand.kerf)


def _relies_on_solver(tree: ProofBranch | ProofLeaf) -> bool:
    """Return True if any leaf was closed by a solver alone."""
    if isinstance(tree, ProofLeaf):
        return tree.proof == "mip"
    return _relies_on_solver(tree.under) or _relies_on_solver(tree.over)


def _explain_infeasible(plan: CutPlan) -> str:
    longest = max((stock.usable for stock in plan.demand.stock if stock.have != 0), default=0)
    length, count = plan.nowhere[0]
    if length > longest:
        return f"no stock is long enough for a piece of {length} mm (the longest takes {longest} mm)"
    return f"not enough stock: no bar is left for {count} of {length} mm"
