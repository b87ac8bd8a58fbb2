"""What is to be cut and what may be bought for it. Lengths are integer mm, prices whole units of the price's last decimal."""

from __future__ import annotations

from dataclasses import dataclass

KEEP_DEFAULT = 1000
"""Least length [mm] of a remnant worth keeping where the demand names none. Source: house rule."""


@dataclass(frozen=True, slots=True)
class StockLength:
    """One stock length. ``have`` None: as many as wanted. ``trim`` is lost off the ends of every bar.

    ``handling`` is paid for using a bar on top of its price; ``credit`` is earned for a bar whose remnant is at least
    ``keep`` long. Money is in units of ``10 ** -decimals`` of the demand.
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
        """What using one bar costs before any credit."""
        return self.price + self.handling

    @property
    def usable(self) -> int:
        """Length [mm] pieces may be cut from."""
        return self.length - self.trim


@dataclass(frozen=True, slots=True)
class Demand:
    """``pieces`` are (length, count) with every length once, longest first; ``decimals`` of the prices."""

    kerf: int
    pieces: tuple[tuple[int, int], ...]
    stock: tuple[StockLength, ...]
    decimals: int = 2

    @property
    def count(self) -> int:
        """Number of pieces."""
        return sum(count for _, count in self.pieces)


@dataclass(frozen=True, slots=True)
class Budget:
    """How hard to try. ``work`` is counted, not timed: the same demand and work give the same plan on every machine.

    One unit is about a microsecond of one core. ``seconds`` is only the outer guard of the worker process: when it
    strikes, the best plan so far is given and marked ``stopped_early``. ``polish``: also look for the longest remnant
    and the fewest patterns at the same cost.
    """

    work: int = 2_000_000
    seconds: float = 2.0
    polish: bool = True


INTERACTIVE = Budget()
ORDER = Budget(work=10_000_000, seconds=10.0)
CONSOLIDATED = Budget(work=60_000_000, seconds=60.0)
