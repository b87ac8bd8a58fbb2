"""Diving heuristic: turns shares of patterns into whole bars by fixing whole bars and pricing again."""

from __future__ import annotations

import numpy as np

from fencing.cutting.column_generation import SURE, PricingResult, SearchState, generate_columns, subtract_pattern
from fencing.cutting.greedy import Bars, calculate_cost, fill_greedily
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
            times = _useful(need, pattern, int(shares[column] + 1.0 - threshold + SURE))
            if times > 0 and _allowed(run, bars, kind) >= times:
                bars.append((kind, pattern, times))
                need = subtract_pattern(need, pattern, times)
        for thrift in (1.0, 0.0):
            rest = fill_greedily(run.problem, need, bars, thrift)
            run.effort.spend(20 + len(need) * (len(rest or ()) + 1) // 2)
            better |= rest is not None and run.offer(bars + rest)
    return better


def _useful(need: tuple[int, ...], pattern: tuple[int, ...], most: int) -> int:
    """Return how many bars of the pattern cut pieces that are still needed."""
    return min(most, max((-(-count // cut) for count, cut in zip(need, pattern, strict=True) if cut), default=0))


def _allowed(run: SearchState, bars: Bars, kind: int) -> int:
    """Return how many more bars of a kind may be bought."""
    problem = run.problem
    limit = problem.kinds[kind].limit
    used = [0] * len(problem.kinds)
    for item, _, times in bars:
        used[item] += times
    rooms = [most - sum(used[other] for other in members) for members, most in problem.groups if kind in members]
    return min([sum(problem.counts) if limit is None else limit - used[kind], *rooms])


def dive(run: SearchState, box: VariableBounds, priced: PricingResult) -> bool:
    """Fix whole bars step by step and price again after each step; return True if that gave a better plan."""
    need = run.problem.counts
    bars: Bars = []
    shares = priced.relaxed.shares
    low, high = box
    better = False
    try:
        while any(need):
            chosen = _chosen(run, need, shares, high)
            if not chosen:
                break
            for kind, pattern, times in chosen:
                bars.append((kind, pattern, times))
                need = subtract_pattern(need, pattern, times)
                low = _less(low, kind, times)
                high = _less(high, kind, times)
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


def _less(bars: tuple[int, ...], kind: int, times: int) -> tuple[int, ...]:
    return tuple(max(0, count - times) if place == kind else count for place, count in enumerate(bars))


def _solve_remainder(
    run: SearchState, bars: Bars, need: tuple[int, ...], box: VariableBounds, spent: int
) -> Floats | None:
    """Return shares for the rest, or None if it can't give a cheaper plan than the best one."""
    used = [0] * len(run.problem.kinds)
    for kind, _, times in bars:
        used[kind] += times
    run.master.set_shared([limit - sum(used[k] for k in members) for members, limit in run.problem.groups])
    kept, upper = run.bars, run.upper
    run.upper = max(1, upper - spent)
    try:
        priced = generate_columns(run, need, box, rounds=4)
    finally:
        run.bars, run.upper = kept, upper
    if priced.closed or priced.relaxed.missing > SURE:
        return None
    return priced.relaxed.shares


def _chosen(run: SearchState, need: tuple[int, ...], shares: Floats, high: tuple[int, ...]) -> Bars:
    """Select the bars to fix now: all whole ones, or else those with the greatest share, one in twelve at once."""
    whole = [int(column) for column in np.flatnonzero(shares >= WHOLE)]
    bars: Bars = []
    room = list(high)
    for column in whole:
        kind, pattern = run.master.columns[column]
        most = min(room[kind], _useful(need, pattern, int(shares[column] + SURE)))
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
        if room[kind] > 0 and _useful(need, pattern, 1) and (not bars or shares[column] > 0.6):
            bars.append((kind, pattern, 1))
            room[kind] -= 1
            need = subtract_pattern(need, pattern, 1)
    return bars
