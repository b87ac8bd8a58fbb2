"""Plan builder: turns kinds and patterns into bars of stock, and breaks ties between plans of equal cost.

Of plans of equal cost the longest useful offcut comes first, then the fewest different patterns. A free offcut of R mm
is one more piece of R mm that can be cut for the same money. So the same search finds how long it can be.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace

from fencing.cutting.branch_and_price import Node, Search, SearchResult
from fencing.cutting.greedy import Bars
from fencing.cutting.knapsack import Pattern
from fencing.cutting.plan_model import (
    Certificate,
    CutBar,
    CutPlan,
    Demand,
    Effort,
    ProofBranch,
    ProofLeaf,
    Status,
    calculate_rest,
)
from fencing.cutting.problem import CuttingProblem, build_problem

Cuts = tuple[tuple[int, int], ...]


def build_plan(demand: Demand, problem: CuttingProblem, result: SearchResult) -> CutPlan:
    """Build the plan in the terms of the demand."""
    if problem.absent is not None and any(kind == problem.absent for kind, _, _ in result.bars):
        return _build_infeasible(demand, problem, result)
    bars = build_bars(demand, problem, result.bars)
    cost = calculate_cost(demand, bars)
    bound = min(result.bound * problem.money, cost)
    proof = Certificate(
        tuple(kind.rows for kind in problem.kinds), result.scale, problem.money, _build_tree(result.tree)
    )
    status = Status.OPTIMAL if bound == cost else Status.GAP
    return CutPlan(demand, status, bars, cost, bound, certificate=proof)


def calculate_cost(demand: Demand, bars: tuple[CutBar, ...]) -> int:
    """Return the cost of the bars, in units of the price."""
    rows = demand.stock
    return sum(bar.count * (rows[bar.stock].cost - (rows[bar.stock].credit if bar.credited else 0)) for bar in bars)


def _build_infeasible(demand: Demand, problem: CuttingProblem, result: SearchResult) -> CutPlan:
    """Build the plan for too little stock: infeasible once proved; until then no better plan is known."""
    short: Counter[int] = Counter()
    for kind, pattern, times in _remove_surplus(problem, result.bars):
        if kind == problem.absent:
            for piece, cut in enumerate(pattern):
                short[demand.pieces[piece][0]] += cut * times
    nowhere = tuple((length, count) for length, count in sorted(short.items(), reverse=True) if count)
    return CutPlan(demand, Status.INFEASIBLE, (), 0, 0, nowhere, stopped_early=result.bound < result.cost)


def _build_tree(node: Node) -> ProofBranch | ProofLeaf:
    if node.below is not None and node.cut is not None:
        return ProofBranch(node.cut[0], node.cut[1], _build_tree(node.below[0]), _build_tree(node.below[1]))
    return ProofLeaf(node.proof, node.bound, tuple(node.values), node.packing)


def _remove_surplus(problem: CuttingProblem, bars: Bars) -> Bars:
    """Remove pieces that were cut too often, from the bar where that leaves the longest offcut."""
    counts: Counter[tuple[int, Pattern]] = Counter()
    made = [0] * len(problem.counts)
    for kind, pattern, times in bars:
        counts[kind, pattern] += times
        made = [have + times * cut for have, cut in zip(made, pattern, strict=True)]
    for piece, count in enumerate(problem.counts):
        while made[piece] > count:
            kind, pattern = max(
                (key for key in counts if key[1][piece]), key=lambda key: (_calculate_room(problem, key), key)
            )
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


def _calculate_room(problem: CuttingProblem, key: tuple[int, Pattern]) -> int:
    """Return the width left on a bar."""
    return problem.kinds[key[0]].width - sum(cut * width for cut, width in zip(key[1], problem.widths, strict=True))


def _downsize(problem: CuttingProblem, bars: Bars) -> Bars:
    """Move bars that are not full to the cheapest unlimited kind that takes their pieces."""
    moved: Bars = []
    for kind, pattern, times in bars:
        used = problem.kinds[kind].width - _calculate_room(problem, (kind, pattern))
        choices = [place for place, item in enumerate(problem.kinds) if item.limit is None and item.width >= used]
        choices = [place for place in choices if place != problem.absent]
        best = min([kind, *choices], key=lambda place: (problem.kinds[place].cost, place != kind))
        moved.append((best, pattern, times))
    return moved


def build_bars(demand: Demand, problem: CuttingProblem, bars: Bars) -> tuple[CutBar, ...]:
    """Return bars of the demand's own stock rows, each different one once."""
    left = {row: stock.have for row, stock in enumerate(demand.stock)}
    counts: Counter[tuple[int, Cuts]] = Counter()
    for kind, pattern, times in _downsize(problem, _remove_surplus(problem, bars)):
        lengths = [length for length, _ in demand.pieces]
        cuts = tuple((length, cut) for length, cut in zip(lengths, pattern, strict=False) if cut)
        for row, _ in problem.kinds[kind].rows if cuts else ():
            have = left[row]
            take = times if have is None else min(times, have)
            if take > 0:
                counts[row, cuts] += take
                left[row] = None if have is None else have - take
                times -= take
    return sort_bars(
        measure_offcut(demand, CutBar(row, count, cuts, 0, keep=False)) for (row, cuts), count in counts.items()
    )


MAX_LENGTHS = 60


def polish(plan: CutPlan, effort: Effort) -> CutPlan:
    """Look for a plan of the same cost with a longer offcut or fewer patterns, within the work left.

    The result is never dearer, its longest offcut is never shorter, and at an equal one it never has more patterns.
    """
    demand = plan.demand
    if len(demand.pieces) > MAX_LENGTHS or not plan.bars:
        return plan
    bars = _find_longest(plan, effort)
    fewer = _reduce_patterns(demand, bars, plan.cost, effort)
    return replace(plan, bars=min(plan.bars, bars, fewer, key=_rank))


def _rank(bars: tuple[CutBar, ...]) -> tuple[int, int]:
    return -find_longest_offcut(bars), len(bars)


def find_longest_offcut(bars: tuple[CutBar, ...]) -> int:
    """Return the length [mm] of the longest offcut to keep; 0 if there is none."""
    return max((bar.left for bar in bars if bar.keep), default=0)


def _find_longest(plan: CutPlan, effort: Effort) -> tuple[CutBar, ...]:
    """Find the longest offcut by bisection, until it is known to a centimetre or the work is used up."""
    demand, best = plan.demand, plan.bars
    usable = [stock for stock in demand.stock if stock.have != 0]
    free = [stock.usable for stock in usable if not stock.cost]
    low = max([find_longest_offcut(best), min(stock.keep for stock in usable) - 1, *free])
    high = max(stock.usable for stock in usable) - demand.pieces[-1][0]
    while high - low > 1 and effort.left > 0:
        middle = (low + high + 1) // 2
        bars = _find_with_remnant(demand, middle, plan.cost, effort)
        reached = find_longest_offcut(bars) if bars else 0
        if bars and reached >= middle:
            best, low = bars, reached
        else:
            high = middle
    return best


def _find_with_remnant(demand: Demand, length: int, cost: int, effort: Effort) -> tuple[CutBar, ...]:
    """Return bars of that cost, one of which leaves ``length``; nothing if there are none or the search is too long."""
    counts = dict(demand.pieces)
    counts[length] = counts.get(length, 0) + 1
    wider = replace(demand, pieces=tuple(sorted(counts.items(), reverse=True)))
    problem = build_problem(wider)
    own = Effort(min(effort.left, 40_000))
    search = Search(problem, own, ceiling=cost // problem.money + 1)
    search.run.most_columns = 200
    result = search.solve()
    effort.note(own.done + 300)
    if not result.bars or result.cost * problem.money > cost:
        return ()
    bars = build_bars(wider, problem, result.bars)
    made = _remove_piece(demand, bars, length)
    return made if calculate_cost(demand, made) == cost else ()


def _remove_piece(demand: Demand, bars: tuple[CutBar, ...], length: int) -> tuple[CutBar, ...]:
    """Remove the piece that represents the offcut from the bar where that leaves most."""
    holders = [place for place, bar in enumerate(bars) if any(cut == length for cut, _ in bar.cuts)]
    place = max(holders, key=lambda place: (bars[place].left, -place))
    bar = bars[place]
    cuts = tuple((cut, count - (cut == length)) for cut, count in bar.cuts if count > (cut == length))
    rest = [*bars[:place], *bars[place + 1 :]]
    if bar.count > 1:
        rest.append(replace(bar, count=bar.count - 1))
    if cuts:
        rest.append(measure_offcut(demand, replace(bar, count=1, cuts=cuts)))
    return sort_bars(rest)


def sort_bars(bars: Iterable[CutBar]) -> tuple[CutBar, ...]:
    """Sort bars by stock, longest cuts first, each different pattern once."""
    counts: Counter[CutBar] = Counter()
    for bar in bars:
        counts[replace(bar, count=1)] += bar.count
    merged = [replace(bar, count=count) for bar, count in counts.items()]
    return tuple(sorted(merged, key=lambda bar: (bar.stock, [(-length, -count) for length, count in bar.cuts])))


def measure_offcut(demand: Demand, bar: CutBar) -> CutBar:
    """Calculate the offcut of the bar."""
    stock = demand.stock[bar.stock]
    left = calculate_rest(demand, bar.stock, bar.cuts)
    keep = left >= stock.keep
    return replace(bar, left=left, keep=keep, credited=keep and stock.credit > 0)


def _reduce_patterns(demand: Demand, bars: tuple[CutBar, ...], cost: int, effort: Effort) -> tuple[CutBar, ...]:
    """Reduce the number of patterns: repeat those that cover most and cut the same pieces from the same bars."""
    best = bars
    for _ in range(20):
        better = _merge_pair(demand, best)
        effort.note(len(best) * len(best) * 4)
        if better is None or effort.left <= 0:
            break
        best = better
    return best if calculate_cost(demand, best) == cost else bars


def _merge_pair(demand: Demand, bars: tuple[CutBar, ...]) -> tuple[CutBar, ...] | None:
    """Cut two single bars of one stock in the same way, if their pieces halve evenly and the longest offcut stays."""
    longest = find_longest_offcut(bars)
    for first, item in enumerate(bars):
        for second in range(first + 1, len(bars)):
            other = bars[second]
            if item.stock != other.stock or item.count != other.count or longest in (item.left, other.left):
                continue
            together: dict[int, int] = {}
            for length, count in (*item.cuts, *other.cuts):
                together[length] = together.get(length, 0) + count
            if any(count % 2 for count in together.values()):
                continue
            cuts = tuple((length, count // 2) for length, count in sorted(together.items(), reverse=True))
            bar = measure_offcut(demand, replace(item, count=2 * item.count, cuts=cuts))
            if bar.left >= 0 and bar.credited == item.credited == other.credited:
                rest = [kept for place, kept in enumerate(bars) if place not in (first, second)]
                return sort_bars([*rest, bar])
    return None
