"""Greedy plans, made bar by bar: a first plan, and the rest of a plan that was rounded down."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from operator import neg

from fencing.cutting.knapsack import Pattern
from fencing.cutting.problem import CuttingProblem

Bars = list[tuple[int, Pattern, int]]
"""A list of (kind, pattern, number of bars)."""
Cut = list[tuple[int, int]]
"""The pieces of one bar as (piece, times), without pieces it has none of."""


def cost_of(problem: CuttingProblem, bars: Bars) -> int:
    return sum(problem.kinds[kind].cost * times for kind, _, times in bars)


def filled(widths: Sequence[int], need: Sequence[int], room: int, first: int) -> tuple[Cut, int]:
    """Fill one bar with as many pieces as fit, longest first from ``first`` on; return the cuts and the room left."""
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


def left_over(problem: CuttingProblem, bars: Bars) -> list[int]:
    """Return how many bars of each kind may still be bought. Shared limits count both kinds."""
    pieces = sum(problem.counts)
    left = [pieces if kind.limit is None else kind.limit for kind in problem.kinds]
    for kind, _, times in bars:
        left[kind] -= times
    return left


def room_in_groups(problem: CuttingProblem, bars: Bars) -> list[int]:
    """Return the bars left of every shared limit."""
    used = [0] * len(problem.kinds)
    for kind, _, times in bars:
        used[kind] += times
    return [limit - sum(used[kind] for kind in members) for members, limit in problem.groups]


def greedy(problem: CuttingProblem, need: Sequence[int], before: Bars, thrift: float = 1.0) -> Bars | None:
    """Finish a plan: cut the longest piece left from the bar that costs least for what is cut from it.

    ``thrift`` weighs cost against length used: 1 is cost per mm, more prefers cheap bars, 0 is the fullest bar. Return
    None if limited stock runs out.
    """
    left = left_over(problem, before)
    shared = room_in_groups(problem, before)
    need = list(need)
    made: Bars = []
    piece = 0
    while piece < len(need):
        if need[piece] <= 0:
            piece += 1
            continue
        choice = _best_bar(problem, need, piece, left, shared, thrift)
        if choice is None:
            return None
        kind, cut = choice
        times = max(
            1, min([*(need[item] // held for item, held in cut), left[kind], *_shared_room(problem, kind, shared)])
        )
        pattern = [0] * len(need)
        for item, held in cut:
            pattern[item] = held
            need[item] = max(0, need[item] - times * held)
        made.append((kind, tuple(pattern), times))
        left[kind] -= times
        shared = [room - times * (kind in members) for room, (members, _) in zip(shared, problem.groups, strict=True)]
    return made


def _shared_room(problem: CuttingProblem, kind: int, shared: list[int]) -> list[int]:
    return [room for room, (members, _) in zip(shared, problem.groups, strict=True) if kind in members]


def _best_bar(
    problem: CuttingProblem, need: list[int], piece: int, left: list[int], shared: list[int], thrift: float
) -> tuple[int, Cut] | None:
    best: tuple[float, int, Cut] | None = None
    for place, kind in enumerate(problem.kinds):
        room = min([left[place], *_shared_room(problem, place, shared)])
        if kind.width < problem.widths[piece] or room <= 0:
            continue
        cut, over = filled(problem.widths, need, kind.width, piece)
        used = kind.width - over
        score = kind.cost**thrift / used if thrift else 1 - used / kind.width
        if place == problem.absent:
            score = float("inf")
        if best is None or (score, place) < best[:2]:
            best = (score, place, cut)
    return None if best is None else best[1:]


def trimmed(problem: CuttingProblem, bars: Bars) -> Bars:
    """Remove bars that are not needed, dearest first, while every piece stays covered."""
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
