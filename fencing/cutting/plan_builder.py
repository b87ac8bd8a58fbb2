"""Plan builder: turns kinds and patterns into bars of stock, removes surplus pieces, and calculates offcuts and cost."""

from __future__ import annotations

from collections import Counter

from fencing.cutting.branch_and_price import Node, SearchResult
from fencing.cutting.demand import Demand
from fencing.cutting.greedy import Bars
from fencing.cutting.knapsack import Pattern
from fencing.cutting.plan_model import Certificate, CutBar, CutPlan, ProofBranch, ProofLeaf, Status, calculate_rest
from fencing.cutting.problem import CuttingProblem

Cuts = tuple[tuple[int, int], ...]


def build_plan(demand: Demand, problem: CuttingProblem, found: SearchResult) -> CutPlan:
    """Build the plan in the terms of the demand."""
    if problem.absent is not None and any(kind == problem.absent for kind, _, _ in found.bars):
        return _not_all(demand, problem, found)
    bars = build_bars(demand, problem, found.bars)
    cost = calculate_cost(demand, bars)
    bound = min(found.bound * problem.money, cost)
    proof = Certificate(tuple(kind.rows for kind in problem.kinds), found.scale, problem.money, _tree(found.tree))
    status = Status.OPTIMAL if bound == cost else Status.GAP
    return CutPlan(demand, status, bars, cost, bound, certificate=proof)


def calculate_cost(demand: Demand, bars: tuple[CutBar, ...]) -> int:
    """Return the cost of the bars, in units of the price."""
    rows = demand.stock
    return sum(bar.count * (rows[bar.stock].cost - (rows[bar.stock].credit if bar.credited else 0)) for bar in bars)


def _not_all(demand: Demand, problem: CuttingProblem, found: SearchResult) -> CutPlan:
    """Build the plan for too little stock: infeasible once proved; until then no better plan is known."""
    short: Counter[int] = Counter()
    for kind, pattern, times in _without_surplus(problem, found.bars):
        if kind == problem.absent:
            for piece, cut in enumerate(pattern):
                short[demand.pieces[piece][0]] += cut * times
    nowhere = tuple((length, count) for length, count in sorted(short.items(), reverse=True) if count)
    return CutPlan(demand, Status.INFEASIBLE, (), 0, 0, nowhere, stopped_early=found.bound < found.cost)


def _tree(node: Node) -> ProofBranch | ProofLeaf:
    if node.below is not None and node.cut is not None:
        return ProofBranch(node.cut[0], node.cut[1], _tree(node.below[0]), _tree(node.below[1]))
    return ProofLeaf(node.proof, node.bound, tuple(node.values), node.packing)


def _without_surplus(problem: CuttingProblem, bars: Bars) -> Bars:
    """Remove pieces that were cut too often, from the bar where that leaves the longest offcut."""
    counts: Counter[tuple[int, Pattern]] = Counter()
    made = [0] * len(problem.counts)
    for kind, pattern, times in bars:
        counts[kind, pattern] += times
        made = [have + times * cut for have, cut in zip(made, pattern, strict=True)]
    for piece, count in enumerate(problem.counts):
        while made[piece] > count:
            kind, pattern = max((key for key in counts if key[1][piece]), key=lambda key: (_room(problem, key), key))
            times = min(counts[kind, pattern], max(1, (made[piece] - count) // pattern[piece]))
            drop = min(pattern[piece], made[piece] - count)
            counts[kind, pattern] -= times
            if not counts[kind, pattern]:
                del counts[kind, pattern]
            rest = (*pattern[:piece], pattern[piece] - drop, *pattern[piece + 1 :])
            if any(rest):
                counts[kind, rest] += times
            made[piece] -= drop * times
    return [(kind, pattern, times) for (kind, pattern), times in sorted(counts.items())]


def _room(problem: CuttingProblem, key: tuple[int, Pattern]) -> int:
    """Return the width left on a bar."""
    return problem.kinds[key[0]].width - sum(cut * width for cut, width in zip(key[1], problem.widths, strict=True))


def _downsized(problem: CuttingProblem, bars: Bars) -> Bars:
    """Move bars that are not full to the cheapest unlimited kind that takes their pieces."""
    moved: Bars = []
    for kind, pattern, times in bars:
        used = problem.kinds[kind].width - _room(problem, (kind, pattern))
        choices = [place for place, item in enumerate(problem.kinds) if item.limit is None and item.width >= used]
        choices = [place for place in choices if place != problem.absent]
        best = min([kind, *choices], key=lambda place: (problem.kinds[place].cost, place != kind))
        moved.append((best, pattern, times))
    return moved


def build_bars(demand: Demand, problem: CuttingProblem, bars: Bars) -> tuple[CutBar, ...]:
    """Return bars of the demand's own stock rows, each different one once."""
    left = {row: stock.have for row, stock in enumerate(demand.stock)}
    found: Counter[tuple[int, Cuts]] = Counter()
    for kind, pattern, times in _downsized(problem, _without_surplus(problem, bars)):
        lengths = [length for length, _ in demand.pieces]
        cuts = tuple((length, cut) for length, cut in zip(lengths, pattern, strict=False) if cut)
        for row, _ in problem.kinds[kind].rows if cuts else ():
            have = left[row]
            take = times if have is None else min(times, have)
            if take > 0:
                found[row, cuts] += take
                left[row] = None if have is None else have - take
                times -= take
    return tuple(_bar(demand, row, cuts, count) for (row, cuts), count in sorted(found.items(), key=_order))


def _order(entry: tuple[tuple[int, Cuts], int]) -> tuple[int, list[tuple[int, int]]]:
    (row, cuts), _ = entry
    return row, [(-length, -count) for length, count in cuts]


def _bar(demand: Demand, row: int, cuts: Cuts, count: int) -> CutBar:
    left = calculate_rest(demand, row, cuts)
    stock = demand.stock[row]
    keep = left >= stock.keep
    return CutBar(row, count, cuts, left, keep, keep and stock.credit > 0)
