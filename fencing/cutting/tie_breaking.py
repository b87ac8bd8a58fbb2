"""Tie breaking between plans of equal cost: the longest useful offcut first, then the fewest different patterns.

A free offcut of R mm is one more piece of R mm that can be cut for the same money. So the same search finds how long
it can be.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace

from fencing.cutting.branch_and_price import Search
from fencing.cutting.demand import Demand, Effort
from fencing.cutting.plan_builder import build_bars, calculate_cost
from fencing.cutting.plan_model import CutBar, CutPlan, calculate_rest
from fencing.cutting.problem import build_problem

MAX_LENGTHS = 60


def polish(plan: CutPlan, effort: Effort) -> CutPlan:
    """Look for a plan of the same cost with a longer offcut or fewer patterns, within the work left.

    The result is never dearer, its longest offcut is never shorter, and at an equal one it never has more patterns.
    """
    demand = plan.demand
    if len(demand.pieces) > MAX_LENGTHS or not plan.bars:
        return plan
    bars = _longest(plan, effort)
    fewer = _fewest(demand, bars, plan.cost, effort)
    return replace(plan, bars=min(plan.bars, bars, fewer, key=_rank))


def _rank(bars: tuple[CutBar, ...]) -> tuple[int, int]:
    return -find_longest_offcut(bars), len(bars)


def find_longest_offcut(bars: tuple[CutBar, ...]) -> int:
    """Return the length [mm] of the longest offcut to keep; 0 if there is none."""
    return max((bar.left for bar in bars if bar.keep), default=0)


def _longest(plan: CutPlan, effort: Effort) -> tuple[CutBar, ...]:
    """Find the longest offcut by bisection, until it is known to a centimetre or the work is used up."""
    demand, best = plan.demand, plan.bars
    usable = [stock for stock in demand.stock if stock.have != 0]
    free = [stock.usable for stock in usable if not stock.cost]
    low = max([find_longest_offcut(best), min(stock.keep for stock in usable) - 1, *free])
    high = max(stock.usable for stock in usable) - demand.pieces[-1][0]
    while high - low > 1 and effort.left > 0:
        middle = (low + high + 1) // 2
        bars = _with_remnant(demand, middle, plan.cost, effort)
        reached = find_longest_offcut(bars) if bars else 0
        if bars and reached >= middle:
            best, low = bars, reached
        else:
            high = middle
    return best


def _with_remnant(demand: Demand, length: int, cost: int, effort: Effort) -> tuple[CutBar, ...]:
    """Return bars of that cost, one of which leaves ``length``; nothing if there are none or the search is too long."""
    counts = dict(demand.pieces)
    counts[length] = counts.get(length, 0) + 1
    wider = replace(demand, pieces=tuple(sorted(counts.items(), reverse=True)))
    problem = build_problem(wider)
    own = Effort(min(effort.left, 40_000))
    search = Search(problem, own, ceiling=cost // problem.money + 1)
    search.run.most_columns = 200
    found = search.solve()
    effort.note(own.done + 300)
    if not found.bars or found.cost * problem.money > cost:
        return ()
    bars = build_bars(wider, problem, found.bars)
    made = _without_piece(demand, bars, length)
    return made if calculate_cost(demand, made) == cost else ()


def _without_piece(demand: Demand, bars: tuple[CutBar, ...], length: int) -> tuple[CutBar, ...]:
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


def _fewest(demand: Demand, bars: tuple[CutBar, ...], cost: int, effort: Effort) -> tuple[CutBar, ...]:
    """Reduce the number of patterns: repeat those that cover most and cut the same pieces from the same bars."""
    best = bars
    for _ in range(20):
        better = _merged_pair(demand, best)
        effort.note(len(best) * len(best) * 4)
        if better is None or effort.left <= 0:
            break
        best = better
    return best if calculate_cost(demand, best) == cost else bars


def _merged_pair(demand: Demand, bars: tuple[CutBar, ...]) -> tuple[CutBar, ...] | None:
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
