"""The demand in the integers of the search: without kerf, with equal and useless stock merged.

n pieces with n - 1 kerfs fit a bar when ``sum + (n - 1) * kerf <= length``, which is ``sum(piece + kerf) <= length +
kerf``. So the kerf is added once to every piece and once to every bar, and the search needs no kerf. A bar whose
offcut earns a credit is a kind of its own: shorter by the offcut, cheaper by the credit, with the limit of the plain
kind.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from math import gcd

from fencing.cutting.knapsack import split_count
from fencing.cutting.plan_model import Demand

VariableBounds = tuple[tuple[int, ...], tuple[int, ...]]
"""Minimum and maximum number of bars of each kind."""

ABSENT = -1
"""Row of the stand-in kind for pieces that the stock can't supply: a plan that uses it is not valid."""


@dataclass(frozen=True, slots=True)
class BarType:
    """A way to buy a bar. ``rows`` are its stock rows as (row, with credit); the kerf is added to ``width``."""

    width: int
    cost: int
    limit: int | None
    rows: tuple[tuple[int, bool], ...]


@dataclass(frozen=True, slots=True)
class CuttingProblem:
    """The problem of a search: ``widths`` and ``counts`` of the pieces, longest first; kinds of ``groups`` share a limit.

    ``grid`` is one unit of width in mm; ``money`` is one unit of cost in units of the price.
    """

    widths: tuple[int, ...]
    counts: tuple[int, ...]
    kinds: tuple[BarType, ...]
    groups: tuple[tuple[tuple[int, ...], int], ...]
    absent: int | None
    money: int = 1

    @property
    def widest(self) -> int:
        return max(kind.width for kind in self.kinds)

    def most_bars(self, ceiling: int) -> tuple[int, ...]:
        """Return the maximum number of bars of each kind in a plan cheaper than ``ceiling``."""
        pieces = sum(self.counts)
        return tuple(_find_most(kind, pieces, ceiling) for kind in self.kinds)


def _find_most(kind: BarType, pieces: int, ceiling: int) -> int:
    most = pieces if kind.limit is None else min(pieces, kind.limit)
    return min(most, ceiling // kind.cost) if kind.cost else most


def find_reachable_sums(widths: tuple[int, ...], counts: tuple[int, ...], most: int) -> int:
    """Return a number with bit x set if some of the pieces add up to x <= most.

    >>> bin(find_reachable_sums((5, 3), (1, 2), 10))
    '0b101101001'
    """
    bits, mask = 1, (1 << (most + 1)) - 1
    for width, count in zip(widths, counts, strict=True):
        for times in split_count(min(count, most // width)):
            bits |= (bits << (width * times)) & mask
    return bits


def build_problem(demand: Demand) -> CuttingProblem:
    """Build the integer problem of a demand in which every piece fits some stock length."""
    kerf = demand.kerf
    widths = tuple(length + kerf for length, _ in demand.pieces)
    counts = tuple(count for _, count in demand.pieces)
    bits = find_reachable_sums(widths, counts, max(stock.usable + kerf for stock in demand.stock))
    ways = _list_ways(demand, bits, widths[-1])
    merged = _merge_kinds(ways, {row for row, stock in enumerate(demand.stock) if stock.credit})
    kinds = _remove_dominated(merged)
    widest_free = max((kind.width for kind in kinds if kind.limit is None and not _is_credited(kind)), default=0)
    absent: int | None = None
    if widest_free < widths[0] and any(kind.limit is not None for kind in kinds):
        absent = len(kinds)
        kinds.append(BarType(widths[0], _calculate_absent_cost(kinds, sum(counts)), None, ((ABSENT, False),)))
    money = reduce(gcd, (kind.cost for kind in kinds)) or 1
    final = tuple(BarType(k.width, k.cost // money, k.limit, k.rows) for k in kinds)
    return CuttingProblem(widths, counts, final, _build_groups(demand, final), absent, money)


def _is_credited(kind: BarType) -> bool:
    return any(credit for _, credit in kind.rows)


def _calculate_absent_cost(kinds: list[BarType], pieces: int) -> int:
    """Return a cost above that of any plan."""
    dear = max((kind.cost for kind in kinds if kind.limit is None), default=0)
    limited = sum(kind.cost * min(kind.limit, pieces) for kind in kinds if kind.limit is not None)
    return 1 + limited + dear * pieces


def _list_ways(demand: Demand, bits: int, narrowest: int) -> list[BarType]:
    """Return one kind for each stock row that takes any piece, and one more if its offcut earns a credit."""
    ways: list[BarType] = []
    for row, stock in enumerate(demand.stock):
        choices = [(stock.usable + demand.kerf, stock.cost, False)]
        if stock.credit:
            choices.append((stock.usable - stock.keep, stock.cost - stock.credit, True))
        for room, cost, credit in choices:
            if room >= narrowest and stock.have != 0:
                width = (bits & ((1 << (room + 1)) - 1)).bit_length() - 1
                ways.append(BarType(width, cost, stock.have, ((row, credit),)))
    return ways


def _merge_kinds(ways: list[BarType], credited: set[int]) -> list[BarType]:
    """Merge kinds of equal width and cost, except limited ones that share their limit with a credited kind."""
    kinds: dict[tuple[int, int, bool, tuple[int, bool]], BarType] = {}
    for kind in ways:
        row, credit = kind.rows[0]
        apart = (row, credit) if row in credited and kind.limit is not None else (-1, credit)
        key = (kind.width, kind.cost, kind.limit is None, apart)
        old = kinds.get(key)
        if old is None:
            kinds[key] = kind
        else:
            limit = None if old.limit is None or kind.limit is None else old.limit + kind.limit
            kinds[key] = BarType(kind.width, kind.cost, limit, old.rows + kind.rows)
    return list(kinds.values())


def _remove_dominated(kinds: list[BarType]) -> list[BarType]:
    """Remove kinds that an unlimited kind no narrower and no dearer can replace; their rows go to that kind."""
    ranked = sorted(kinds, key=lambda kind: (kind.cost, -kind.width, kind.limit is not None, kind.rows))
    kept: list[BarType] = []
    for kind in ranked:
        for place, better in enumerate(kept):
            if better.limit is None and better.width >= kind.width:
                kept[place] = BarType(better.width, better.cost, None, better.rows + kind.rows)
                break
        else:
            kept.append(kind)
    return sorted(kept, key=lambda kind: (kind.width, kind.cost, kind.rows))


def _build_groups(demand: Demand, kinds: tuple[BarType, ...]) -> tuple[tuple[tuple[int, ...], int], ...]:
    """Return the groups: kinds of the same limited rows, plain and with credit, share their number of bars."""
    groups: list[tuple[tuple[int, ...], int]] = []
    for place, kind in enumerate(kinds):
        rows = {row for row, _ in kind.rows}
        same = [other for other in range(place + 1, len(kinds)) if rows & {row for row, _ in kinds[other].rows}]
        if kind.limit is None or not same or rows == {ABSENT}:
            continue
        members = [k for k in (place, *same) if kinds[k].limit is not None]
        held = {row for k in members for row, _ in kinds[k].rows}
        limit = sum(demand.stock[row].have or 0 for row in held)
        if len(members) > 1:
            groups.append((tuple(members), limit))
    return tuple(groups)
