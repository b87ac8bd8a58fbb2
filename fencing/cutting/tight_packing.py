"""Tight packing: fills bars one by one with minimum waste. With many lengths, nearly all bars have none."""

from __future__ import annotations

from collections.abc import Sequence

from fencing.cutting.greedy import Bars, left_over, room_in_groups
from fencing.cutting.knapsack import Pattern, splits
from fencing.cutting.problem import CuttingProblem


def laid(problem: CuttingProblem, last: int) -> tuple[tuple[int, ...], Bars]:
    """Fill bars with the longest pieces until at most ``last`` pieces are left; return what is needed then, and the bars."""
    need, made = list(problem.counts), Bars()
    while sum(need) > last:
        bar = _cheapest(problem, need, left_over(problem, made), room_in_groups(problem, made))
        if bar is None:
            break
        made.append((*bar, 1))
        need = [max(0, count - cut) for count, cut in zip(need, bar[1], strict=True)]
    return tuple(need), made


def _cheapest(
    problem: CuttingProblem, need: Sequence[int], left: list[int], shared: list[int]
) -> tuple[int, Pattern] | None:
    """Return the bar with the longest piece left that costs least for what it holds."""
    first = next(piece for piece, count in enumerate(need) if count)
    need = [count - (piece == first) for piece, count in enumerate(need)]
    sums = _sums_from(problem, need, first)
    best: tuple[float, int, int] | None = None
    for place, kind in enumerate(problem.kinds):
        room = kind.width - problem.widths[first]
        few = min(
            [
                left[place],
                *(most for most, (members, _) in zip(shared, problem.groups, strict=True) if place in members),
            ]
        )
        if room < 0 or few <= 0 or place == problem.absent:
            continue
        fill = (sums[first] & ((1 << (room + 1)) - 1)).bit_length() - 1
        best = min(best or (float("inf"), 0, 0), (kind.cost / (fill + problem.widths[first]), place, fill))
    return None if best is None else (best[1], _pattern(problem, need, sums, first, best[2]))


def _sums_from(problem: CuttingProblem, need: Sequence[int], first: int) -> list[int]:
    """Return the possible sums: entry i has bit x set if some of the pieces left from i on add up to x."""
    sums, mask = [1] * (len(need) + 1), (1 << (problem.widest + 1)) - 1
    for piece in range(len(need) - 1, first - 1, -1):
        bits, width = sums[piece + 1], problem.widths[piece]
        for times in splits(min(need[piece], problem.widest // width)):
            bits |= (bits << (width * times)) & mask
        sums[piece] = bits
    return sums


def _pattern(problem: CuttingProblem, need: Sequence[int], sums: list[int], first: int, fill: int) -> Pattern:
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
