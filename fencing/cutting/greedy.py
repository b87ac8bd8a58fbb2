"""Plans made bar by bar: a first plan, the rest of a plan that was rounded down, and bars filled with minimum waste.

The last hundred pieces of a large order are an order of their own, small enough for a complete search.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import replace
from operator import neg

from fencing.cutting.knapsack import Pattern, split_count
from fencing.cutting.problem import CuttingProblem

Bars = list[tuple[int, Pattern, int]]
"""A list of (kind, pattern, number of bars)."""
Cut = list[tuple[int, int]]
"""The pieces of one bar as (piece, times), without pieces it has none of."""


def calculate_cost(problem: CuttingProblem, bars: Bars) -> int:
    """Return the cost of bars [units of cost of the problem].

    >>> from fencing.cutting.plan_model import Demand, StockLength
    >>> from fencing.cutting.problem import build_problem
    >>> problem = build_problem(Demand(3, ((2390, 4),), (StockLength(4800, 3650),)))
    >>> calculate_cost(problem, [(0, (2,), 2)])  # two bars at one unit each
    2
    """
    return sum(problem.kinds[kind].cost * times for kind, _, times in bars)


def fill_bar(widths: Sequence[int], need: Sequence[int], room: int, first: int) -> tuple[Cut, int]:
    """Fill one bar with as many pieces as fit, longest first from ``first`` on; return the cuts and the room left.

    Args:
        widths: each piece with its saw cut [mm], longest first.
        need: pieces needed of each width [0 or more].
        room: room in the bar [mm].
        first: index of the first piece to try.

    >>> fill_bar((2393,), (4,), 4803, 0)
    ([(0, 2)], 17)
    """
    cut: Cut = []
    piece = first
    while piece < len(widths):
        width = widths[piece]
        if width > room:
            # go on with the longest piece that still fits: the widths fall
            piece = bisect_left(widths, -room, piece + 1, key=neg)
            continue
        times = min(need[piece], room // width)
        if times > 0:
            cut.append((piece, times))
            room -= times * width
        piece += 1
    return cut, room


def count_used(problem: CuttingProblem, bars: Bars) -> list[int]:
    """Return the number of bars of each kind.

    >>> from fencing.cutting.plan_model import Demand, StockLength
    >>> from fencing.cutting.problem import build_problem
    >>> problem = build_problem(Demand(3, ((2390, 4),), (StockLength(4800, 3650),)))
    >>> count_used(problem, [(0, (2,), 1), (0, (1,), 2)])
    [3]
    """
    used = [0] * len(problem.kinds)
    for kind, _, times in bars:
        used[kind] += times
    return used


def count_bars_left(problem: CuttingProblem, bars: Bars) -> list[int]:
    """Return how many bars of each kind may still be bought. Shared limits count both kinds.

    >>> from fencing.cutting.plan_model import Demand, StockLength
    >>> from fencing.cutting.problem import build_problem
    >>> problem = build_problem(Demand(3, ((2390, 4),), (StockLength(4800, 3650),)))
    >>> count_bars_left(problem, [(0, (2,), 2)])  # no limit: one bar for each of the four pieces, less the two bought
    [2]
    """
    pieces, used = sum(problem.counts), count_used(problem, bars)
    return [
        (pieces if kind.limit is None else kind.limit) - number
        for kind, number in zip(problem.kinds, used, strict=True)
    ]


def count_group_room(problem: CuttingProblem, bars: Bars) -> list[int]:
    """Return the bars left of every shared limit."""
    used = count_used(problem, bars)
    return [limit - sum(used[kind] for kind in members) for members, limit in problem.groups]


def fill_greedily(problem: CuttingProblem, need: Sequence[int], before: Bars, thrift: float = 1.0) -> Bars | None:
    """Finish a plan: cut the longest piece left from the bar that costs least for what is cut from it.

    ``thrift`` weighs cost against length used: 1 is cost per mm, more prefers cheap bars, 0 is the fullest bar. Return
    None if limited stock runs out.
    """
    left = count_bars_left(problem, before)
    shared = count_group_room(problem, before)
    need = list(need)
    made: Bars = []
    piece = 0
    while piece < len(need):
        if need[piece] <= 0:
            piece += 1
            continue
        choice = _find_best_bar(problem, need, piece, left, shared, thrift)
        if choice is None:
            return None
        kind, cut = choice
        times = max(
            1, min([*(need[item] // held for item, held in cut), left[kind], *find_shared_room(problem, kind, shared)])
        )
        pattern = [0] * len(need)
        for item, held in cut:
            pattern[item] = held
            need[item] = max(0, need[item] - times * held)
        made.append((kind, tuple(pattern), times))
        left[kind] -= times
        shared = [room - times * (kind in members) for room, (members, _) in zip(shared, problem.groups, strict=True)]
    return made


def find_shared_room(problem: CuttingProblem, kind: int, shared: list[int]) -> list[int]:
    """Return the bars left of the limits that a kind shares, from the bars left of every shared limit."""
    return [room for room, (members, _) in zip(shared, problem.groups, strict=True) if kind in members]


def _find_best_bar(
    problem: CuttingProblem, need: list[int], piece: int, left: list[int], shared: list[int], thrift: float
) -> tuple[int, Cut] | None:
    best: tuple[float, int, Cut] | None = None
    for place, kind in enumerate(problem.kinds):
        room = min([left[place], *find_shared_room(problem, place, shared)])
        if kind.width < problem.widths[piece] or room <= 0:
            continue
        cut, over = fill_bar(problem.widths, need, kind.width, piece)
        used = kind.width - over
        score = kind.cost**thrift / used if thrift else 1 - used / kind.width
        if place == problem.absent:
            score = float("inf")
        if best is None or (score, place) < best[:2]:
            best = (score, place, cut)
    return None if best is None else best[1:]


def trim_bars(problem: CuttingProblem, bars: Bars) -> Bars:
    """Remove bars that are not needed, dearest first, while every piece stays covered.

    >>> from fencing.cutting.plan_model import Demand, StockLength
    >>> from fencing.cutting.problem import build_problem
    >>> problem = build_problem(Demand(3, ((2390, 4),), (StockLength(4800, 3650),)))
    >>> trim_bars(problem, [(0, (2,), 3)])
    [(0, (2,), 2)]
    """
    held = [[(piece, cut) for piece, cut in enumerate(pattern) if cut] for _, pattern, _ in bars]
    spare = [-count for count in problem.counts]
    for cuts, (_, _, times) in zip(held, bars, strict=True):
        for piece, cut in cuts:
            spare[piece] += times * cut
    kept: Bars = []
    for place in sorted(range(len(bars)), key=lambda place: (-problem.kinds[bars[place][0]].cost, bars[place])):
        kind, pattern, times = bars[place]
        drop = max(0, min([times, *(spare[piece] // cut for piece, cut in held[place])]))
        for piece, cut in held[place]:
            spare[piece] -= drop * cut
        if times > drop:
            kept.append((kind, pattern, times - drop))
    return kept


LAST = 130
"""Number of pieces left at which a large order is finished as an order of its own."""
LARGE = 250
"""Minimum number of pieces of a large order."""
LAST_OF_MIXED, MIXED = 40, 60
"""Number of pieces left for an order that is not large but has more different lengths than the second number."""


def split_remainder(problem: CuttingProblem, need: tuple[int, ...], bars: Bars) -> tuple[CuttingProblem, list[int]]:
    """Return the problem that remains when ``bars`` are bought, and the indices of its pieces in the whole order."""
    pieces, used = [piece for piece, count in enumerate(need) if count], count_used(problem, bars)
    kinds = tuple(
        kind if kind.limit is None else replace(kind, limit=kind.limit - used[place])
        for place, kind in enumerate(problem.kinds)
    )
    members = [group for group, _ in problem.groups]
    groups = tuple(zip(members, count_group_room(problem, bars), strict=True))
    widths = tuple(problem.widths[piece] for piece in pieces)
    return CuttingProblem(
        widths, tuple(need[piece] for piece in pieces), kinds, groups, problem.absent, problem.money
    ), pieces


def restore_patterns(bars: Bars, pieces: list[int], count: int) -> Bars:
    """Convert patterns of the rest to patterns of the whole order."""
    made: Bars = []
    for kind, pattern, times in bars:
        wide = [0] * count
        for piece, cut in zip(pieces, pattern, strict=True):
            wide[piece] = cut
        made.append((kind, tuple(wide), times))
    return made


def lay_tight_bars(problem: CuttingProblem, last: int) -> tuple[tuple[int, ...], Bars]:
    """Fill bars with the longest pieces until at most ``last`` pieces are left; return what is needed then, and the bars."""
    need, made = list(problem.counts), Bars()
    while sum(need) > last:
        bar = _find_cheapest(problem, need, count_bars_left(problem, made), count_group_room(problem, made))
        if bar is None:
            break
        made.append((*bar, 1))
        need = [max(0, count - cut) for count, cut in zip(need, bar[1], strict=True)]
    return tuple(need), made


def _find_cheapest(
    problem: CuttingProblem, need: Sequence[int], left: list[int], shared: list[int]
) -> tuple[int, Pattern] | None:
    """Return the bar with the longest piece left that costs least for what it holds."""
    first = next(piece for piece, count in enumerate(need) if count)
    need = [count - (piece == first) for piece, count in enumerate(need)]
    sums = _find_sums(problem, need, first)
    best: tuple[float, int, int] | None = None
    for place, kind in enumerate(problem.kinds):
        room = kind.width - problem.widths[first]
        if room < 0 or place == problem.absent or min([left[place], *find_shared_room(problem, place, shared)]) <= 0:
            continue
        fill = (sums[first] & ((1 << (room + 1)) - 1)).bit_length() - 1
        best = min(best or (float("inf"), 0, 0), (kind.cost / (fill + problem.widths[first]), place, fill))
    return None if best is None else (best[1], _find_pattern(problem, need, sums, first, best[2]))


def _find_sums(problem: CuttingProblem, need: Sequence[int], first: int) -> list[int]:
    """Return the possible sums: entry i has bit x set if some of the pieces left from i on add up to x."""
    sums, mask = [1] * (len(need) + 1), (1 << (problem.widest + 1)) - 1
    for piece in range(len(need) - 1, first - 1, -1):
        bits, width = sums[piece + 1], problem.widths[piece]
        for times in split_count(min(need[piece], problem.widest // width)):
            bits |= (bits << (width * times)) & mask
        sums[piece] = bits
    return sums


def _find_pattern(problem: CuttingProblem, need: Sequence[int], sums: list[int], first: int, fill: int) -> Pattern:
    """Return pieces that add up to ``fill``, longest first, including the first."""
    cut = [0] * len(need)
    for piece in range(first, len(need)):
        times = min(need[piece], fill // problem.widths[piece])
        while times and not sums[piece + 1] >> (fill - times * problem.widths[piece]) & 1:
            times -= 1
        cut[piece] = times
        fill -= times * problem.widths[piece]
    cut[first] += 1
    return tuple(cut)
