"""Plans made bar by bar: a first plan to beat, and what finishes a plan that was rounded down."""

from __future__ import annotations

from collections.abc import Sequence

from fencing.cutting.kinds import Problem
from fencing.cutting.knapsack import Pattern

Bars = list[tuple[int, Pattern, int]]
"""(kind, pattern, how many)."""


def cost_of(problem: Problem, bars: Bars) -> int:
    return sum(problem.kinds[kind].cost * times for kind, _, times in bars)


def filled(problem: Problem, need: Sequence[int], room: int, first: int) -> Pattern:
    """Longest first from ``first`` on, as many of each as fit: one bar."""
    found = [0] * len(need)
    for piece in range(first, len(need)):
        found[piece] = min(need[piece], room // problem.widths[piece])
        room -= found[piece] * problem.widths[piece]
    return tuple(found)


def left_over(problem: Problem, bars: Bars) -> list[int]:
    """How many of each kind may still be bought; shared limits are kept by the plain count of both."""
    pieces = sum(problem.counts)
    left = [pieces if kind.limit is None else kind.limit for kind in problem.kinds]
    for kind, _, times in bars:
        left[kind] -= times
    return left


def room_in_groups(problem: Problem, bars: Bars) -> list[int]:
    """What is left of every shared limit."""
    used = [0] * len(problem.kinds)
    for kind, _, times in bars:
        used[kind] += times
    return [limit - sum(used[kind] for kind in members) for members, limit in problem.groups]


def greedy(problem: Problem, need: Sequence[int], before: Bars, thrift: float = 1.0) -> Bars | None:
    """Finish a plan: always the longest piece left, on the bar that costs least for what is cut from it.

    ``thrift`` weighs cost against length used: 1 is cost per mm, more prefers cheap bars, 0 is the fullest bar.
    None where limited stock runs out.
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
        kind, pattern = choice
        own = [need[item] // times for item, times in enumerate(pattern) if times]
        times = max(1, min([*own, left[kind], *_shared_room(problem, kind, shared)]))
        made.append((kind, pattern, times))
        left[kind] -= times
        shared = [room - times * (kind in members) for room, (members, _) in zip(shared, problem.groups, strict=True)]
        need = [max(0, count - times * cut) for count, cut in zip(need, pattern, strict=True)]
    return made


def _shared_room(problem: Problem, kind: int, shared: list[int]) -> list[int]:
    return [room for room, (members, _) in zip(shared, problem.groups, strict=True) if kind in members]


def _best_bar(
    problem: Problem, need: list[int], piece: int, left: list[int], shared: list[int], thrift: float
) -> tuple[int, Pattern] | None:
    best: tuple[float, int, Pattern] | None = None
    for place, kind in enumerate(problem.kinds):
        room = min([left[place], *_shared_room(problem, place, shared)])
        if kind.width < problem.widths[piece] or room <= 0:
            continue
        pattern = filled(problem, need, kind.width, piece)
        used = sum(times * width for times, width in zip(pattern, problem.widths, strict=True))
        score = kind.cost**thrift / used if thrift else 1 - used / kind.width
        if place == problem.absent:
            score = float("inf")
        if best is None or (score, place) < best[:2]:
            best = (score, place, pattern)
    return None if best is None else best[1:]


def trimmed(problem: Problem, bars: Bars) -> Bars:
    """Drop bars that are not needed: dearest first, as long as every piece is still covered."""
    made = [0] * len(problem.counts)
    for _, pattern, times in bars:
        made = [have + times * cut for have, cut in zip(made, pattern, strict=True)]
    kept: Bars = []
    for kind, pattern, times in sorted(bars, key=lambda bar: (-problem.kinds[bar[0]].cost, bar)):
        spare = [(have - count) // cut for have, count, cut in zip(made, problem.counts, pattern, strict=True) if cut]
        drop = max(0, min([times, *spare])) if spare else times
        made = [have - drop * cut for have, cut in zip(made, pattern, strict=True)]
        if times > drop:
            kept.append((kind, pattern, times - drop))
    return kept
