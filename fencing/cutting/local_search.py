"""Local search: re-optimises the most wasteful bars together with a few others."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random

import numpy as np

from fencing.cutting.column_generation import SearchState
from fencing.cutting.greedy import Bars, calculate_cost
from fencing.cutting.knapsack import Pattern, find_most_worth
from fencing.cutting.lower_bounds import find_minimum_payment

PIECES = 44
"""Pieces in one part: about what a search proves at once."""
MIN, MAX = 24, 130
"""Minimum and maximum number of pieces of the most wasteful bars."""
WORK = 150_000
"""Maximum work for one part."""
TRIES = 12
"""Maximum number of parts in a row without a better plan."""

Planned = Callable[[tuple[int, ...], Bars, int], Bars | None]
"""Plans the pieces that the given bars do not cover, within a work limit; None if that is not cheaper."""


def recut(run: SearchState, values: Sequence[int], planned: Planned, tries: int = TRIES) -> bool:
    """Plan parts of the best plan again until ``tries`` of them in a row were not better; return True if one was.

    ``values`` are prices of the pieces. A bar wastes the part of its cost that its pieces are not worth.
    """
    luck = Random(len(run.bars))  # noqa: S311 - which bars go together; the same every time
    better, failed = False, 0
    while failed < tries and run.upper > run.floor:
        failed += 1
        part = _part(run, values, luck)
        if part is None:
            break
        need, kept = part
        bars = planned(need, kept, WORK + 4000 * max(0, sum(need) - PIECES))
        if bars is not None and run.offer(kept + bars):
            better, failed = True, 0
    return better


def _part(run: SearchState, values: Sequence[int], luck: Random) -> tuple[tuple[int, ...], Bars] | None:
    """Return pieces to plan again, and the bars that stay. The most wasteful bars are chosen first, others at random.

    Return None if the prices leave no room for a cheaper part of that size.
    """
    waste = [_waste(run, bar, values) for bar in run.bars]
    order = sorted(range(len(run.bars)), key=lambda place: -waste[place])
    skipped = set(luck.sample(order[1:10], min(2, len(order[1:10]))))
    order = [place for place in order if place not in skipped]
    sure, size = 4, 0
    while True:
        sure += 2
        chosen = order[:sure]
        size = sum(sum(run.bars[place][1]) for place in chosen)
        if size > MAX or sure > len(order):
            return None
        if size >= MIN and _can_be_cheaper(run, values, *_without(run, chosen)):
            break
    rest = order[sure:]
    luck.shuffle(rest)
    while rest and size < PIECES:
        chosen.append(rest.pop())
        size += sum(run.bars[chosen[-1]][1])
    return _without(run, chosen)


def _waste(run: SearchState, bar: tuple[int, Pattern, int], values: Sequence[int]) -> int:
    kind, pattern, _ = bar
    return run.problem.kinds[kind].cost * run.scale - sum(
        cut * values[piece] for piece, cut in enumerate(pattern) if cut
    )


def _without(run: SearchState, chosen: Sequence[int]) -> tuple[tuple[int, ...], Bars]:
    """Return the pieces of one bar of each of these, and the bars that stay."""
    places = set(chosen)
    kept = [(kind, pattern, times - (place in places)) for place, (kind, pattern, times) in enumerate(run.bars)]
    kept = [bar for bar in kept if bar[2]]
    made = np.zeros(len(run.problem.counts), dtype=np.int64)
    for _, pattern, times in kept:
        made += times * np.array(pattern)
    return tuple(int(count) for count in np.maximum(np.array(run.problem.counts) - made, 0)), kept


def _can_be_cheaper(run: SearchState, values: Sequence[int], need: tuple[int, ...], kept: Bars) -> bool:
    """Return True if these prices leave room for a cheaper way to buy this part."""
    problem = run.problem
    ceiling = run.upper - calculate_cost(problem, kept)
    best = find_most_worth(problem.widths, need, values, problem.widest)
    worth = [int(best[kind.width]) for kind in problem.kinds]
    used = [0] * len(problem.kinds)
    for kind, _, times in kept:
        used[kind] += times
    high = tuple(
        sum(need) if kind.limit is None else kind.limit - used[place] for place, kind in enumerate(problem.kinds)
    )
    wanted = sum(count * value for count, value in zip(need, values, strict=True))
    paid, cells = find_minimum_payment(problem, ((0,) * len(high), high), worth, wanted, ceiling)
    run.effort.spend((cells + sum(1 for item in need if item) * problem.widest) // 800)
    return paid < ceiling
