"""The demand: pieces to cut, stock to buy, and the work that a search may spend on it.

Lengths are integer mm, prices whole units of the price's last decimal. Work is counted, not timed, so that a search stops
at the same point on every machine.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

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
        """The cost of using one bar, before any credit."""
        return self.price + self.handling

    @property
    def usable(self) -> int:
        """The length [mm] that pieces may be cut from."""
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
        """The number of pieces."""
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
