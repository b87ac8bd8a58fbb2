"""Heuristics that improve a plan: diving turns shares of patterns into whole bars, local search plans wasteful bars again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random

import numpy as np

from fencing.cutting.column_generation import SURE, PricingResult, SearchState, generate_columns, subtract_pattern
from fencing.cutting.greedy import Bars, calculate_cost, count_group_room, count_used, fill_greedily, find_shared_room
from fencing.cutting.knapsack import Pattern, find_most_worth
from fencing.cutting.lower_bounds import find_minimum_payment
from fencing.cutting.master_problem import Floats
from fencing.cutting.problem import VariableBounds

WHOLE = 1.0 - 1e-6


def round_off(run: SearchState, shares: Floats) -> bool:
    """Round the shares at several thresholds and finish with greedy bars; return True if that gave a better plan."""
    better = False
    used = [int(column) for column in np.flatnonzero(shares > SURE)]
    for threshold in (1.0, 0.85, 0.6, 0.45):
        bars: Bars = []
        need = run.problem.counts
        for column in sorted(used, key=lambda column: -shares[column]):
            kind, pattern = run.master.columns[column]
            times = _count_useful(need, pattern, int(shares[column] + 1.0 - threshold + SURE))
            if times > 0 and _count_allowed(run, bars, kind) >= times:
                bars.append((kind, pattern, times))
                need = subtract_pattern(need, pattern, times)
        for thrift in (1.0, 0.0):
            rest = fill_greedily(run.problem, need, bars, thrift)
            run.effort.spend(20 + len(need) * (len(rest or ()) + 1) // 2)
            better |= rest is not None and run.offer(bars + rest)
    return better


def _count_useful(need: tuple[int, ...], pattern: tuple[int, ...], most: int) -> int:
    """Return how many bars of the pattern cut pieces that are still needed."""
    return min(most, max((-(-count // cut) for count, cut in zip(need, pattern, strict=True) if cut), default=0))


def _count_allowed(run: SearchState, bars: Bars, kind: int) -> int:
    """Return how many more bars of a kind may be bought."""
    problem = run.problem
    limit = problem.kinds[kind].limit
    rooms = find_shared_room(problem, kind, count_group_room(problem, bars))
    return min([sum(problem.counts) if limit is None else limit - count_used(problem, bars)[kind], *rooms])


def dive(run: SearchState, box: VariableBounds, priced: PricingResult) -> bool:
    """Fix whole bars step by step and price again after each step; return True if that gave a better plan."""
    need = run.problem.counts
    bars: Bars = []
    shares = priced.relaxed.shares
    low, high = box
    better = False
    try:
        while any(need):
            chosen = _choose_bars(run, need, shares, high)
            if not chosen:
                break
            for kind, pattern, times in chosen:
                bars.append((kind, pattern, times))
                need = subtract_pattern(need, pattern, times)
                low = _subtract(low, kind, times)
                high = _subtract(high, kind, times)
            spent = calculate_cost(run.problem, bars)
            if run.finish is not None and any(need) and sum(need) <= run.last:
                end = run.finish(need, bars)
                return (end is not None and run.offer(bars + end)) or better
            rest = fill_greedily(run.problem, need, bars) if sum(need) < 60 else None
            better |= rest is not None and run.offer(bars + rest)
            if not any(need) or spent >= run.target:
                break
            again = _solve_remainder(run, bars, need, (low, high), spent)
            if again is None:
                break
            shares = again
        if not any(need):
            better |= run.offer(bars)
    finally:
        run.master.set_shared([limit for _, limit in run.problem.groups])
    return better


def _subtract(bars: tuple[int, ...], kind: int, times: int) -> tuple[int, ...]:
    return tuple(max(0, count - times) if place == kind else count for place, count in enumerate(bars))


def _solve_remainder(
    run: SearchState, bars: Bars, need: tuple[int, ...], box: VariableBounds, spent: int
) -> Floats | None:
    """Return shares for the rest, or None if it can't give a cheaper plan than the best one."""
    run.master.set_shared(count_group_room(run.problem, bars))
    kept, upper = run.bars, run.upper
    run.upper = max(1, upper - spent)
    try:
        priced = generate_columns(run, need, box, rounds=4)
    finally:
        run.bars, run.upper = kept, upper
    if priced.closed or priced.relaxed.missing > SURE:
        return None
    return priced.relaxed.shares


def _choose_bars(run: SearchState, need: tuple[int, ...], shares: Floats, high: tuple[int, ...]) -> Bars:
    """Select the bars to fix now: all whole ones, or else those with the greatest share, one in twelve at once."""
    whole = [int(column) for column in np.flatnonzero(shares >= WHOLE)]
    bars: Bars = []
    room = list(high)
    for column in whole:
        kind, pattern = run.master.columns[column]
        most = min(room[kind], _count_useful(need, pattern, int(shares[column] + SURE)))
        if most > 0:
            bars.append((kind, pattern, most))
            room[kind] -= most
            need = subtract_pattern(need, pattern, most)
    if bars:
        return bars
    parts = [int(column) for column in np.flatnonzero(shares > SURE)]
    parts.sort(key=lambda column: (-shares[column], column))
    for column in parts[: max(1, len(parts) // 12)]:
        kind, pattern = run.master.columns[column]
        if room[kind] > 0 and _count_useful(need, pattern, 1) and (not bars or shares[column] > 0.6):
            bars.append((kind, pattern, 1))
            room[kind] -= 1
            need = subtract_pattern(need, pattern, 1)
    return bars


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
        part = _choose_part(run, values, luck)
        if part is None:
            break
        need, kept = part
        bars = planned(need, kept, WORK + 4000 * max(0, sum(need) - PIECES))
        if bars is not None and run.offer(kept + bars):
            better, failed = True, 0
    return better


def _choose_part(run: SearchState, values: Sequence[int], luck: Random) -> tuple[tuple[int, ...], Bars] | None:
    """Return pieces to plan again, and the bars that stay. The most wasteful bars are chosen first, others at random.

    Return None if the prices leave no room for a cheaper part of that size.
    """
    waste = [_calculate_waste(run, bar, values) for bar in run.bars]
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
        if size >= MIN and _can_be_cheaper(run, values, *_remove_bars(run, chosen)):
            break
    rest = order[sure:]
    luck.shuffle(rest)
    while rest and size < PIECES:
        chosen.append(rest.pop())
        size += sum(run.bars[chosen[-1]][1])
    return _remove_bars(run, chosen)


def _calculate_waste(run: SearchState, bar: tuple[int, Pattern, int], values: Sequence[int]) -> int:
    kind, pattern, _ = bar
    return run.problem.kinds[kind].cost * run.scale - sum(
        cut * values[piece] for piece, cut in enumerate(pattern) if cut
    )


def _remove_bars(run: SearchState, chosen: Sequence[int]) -> tuple[tuple[int, ...], Bars]:
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
    used = count_used(problem, kept)
    high = tuple(
        sum(need) if kind.limit is None else kind.limit - used[place] for place, kind in enumerate(problem.kinds)
    )
    wanted = sum(count * value for count, value in zip(need, values, strict=True))
    paid, cells = find_minimum_payment(problem, ((0,) * len(high), high), worth, wanted, ceiling)
    run.effort.spend((cells + sum(1 for item in need if item) * problem.widest) // 800)
    return paid < ceiling
